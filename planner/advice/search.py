"""The search: weigh every way of fishing the shortlist coarsely, and the best few closely, at every level of a spot."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from planner.advice.coarse import Coarse, TracksAt, coarse, finalists, joined, leading
from planner.advice.draws import deviations, draw
from planner.advice.field import Field, tracks_of
from planner.advice.kept import page_key
from planner.advice.objective import counts_for, prefer
from planner.advice.records import Settings
from planner.advice.swum import Ground, Tracks, Weighed
from planner.advice.tables import Need, Rig, SwimTables
from planner.advice.variants import is_own, needs_of, trials_of, variants_of
from planner.advice.ways import Way, normal_strip, way_key
from planner.advice.weigh import weigh

__all__ = [
    "Candidate",
    "Found",
    "Looked",
    "candidate_of",
    "ground_rows",
    "look",
    "look_closely",
    "name_variants",
    "page_of",
    "tenths",
    "track_rows",
]

_AROUND_S = 6
_VARIANTS = 2


@dataclass
class Candidate:
    """A way with its whole-second weights at one level; `tracks` of this level alone once it was solved directly."""

    way: Way
    seconds: np.ndarray
    band: np.ndarray
    touch: np.ndarray
    hang: np.ndarray
    lift: np.ndarray
    swim: np.ndarray
    depth: np.ndarray
    bed: np.ndarray
    refined: bool = False
    tracks: Tracks | None = None

    def best(self, limit: float) -> int | None:
        """Index of the best countdown."""
        return prefer(self.band, self.hang, limit)


@dataclass
class Looked:
    """The coarse look at a field: the box's own ways with what each gave, and the longer leaders to try with swims."""

    ways: list[Way]
    own: Coarse
    trials: list[Way]
    needs: list[Need]
    tracks: TracksAt
    variants: list[Way] = field(default_factory=list)


@dataclass
class Found:
    """What the search found at a field: candidates and the best of each line by row, and tracks by way and rows."""

    candidates: list[list[Candidate]]
    by_line: list[dict[str, tuple[float, str]]]
    tracks: TracksAt


def look(field: Field, tables: SwimTables, ways: list[Way], settings: Settings) -> Looked:
    """Weigh all of the box's own ways coarsely, and name the longer leaders that are worth a trial."""
    normal = normal_strip(settings)

    alone: dict[tuple[Way, int], Tracks] = {}  # at the level that is planned for they are asked for again and again

    def tracks(way: Way, rows: Sequence[int]) -> Tracks:
        if len(rows) > 1:
            return tracks_of(field, tables, way.rig, way.mode, way.strip_m_s, normal, rows)
        key = (way, int(rows[0]))
        if key not in alone:
            alone[key] = tracks_of(field, tables, way.rig, way.mode, way.strip_m_s, normal, rows)
        return alone[key]

    own = coarse(field, tables, ways, tracks, ground_rows, settings)
    return Looked(ways, own, *trials_of(field, ways, own, tables.rigs), tracks)


def name_variants(field: Field, tables: SwimTables, looked: Looked, settings: Settings) -> list[Need]:
    """Name the variants that are worth a look, once the trials' swims are at hand; give the swims that they need."""
    looked.variants = variants_of(field, looked.ways, looked.own, looked.trials, tables, settings)
    return needs_of(field, looked.variants)


def look_closely(field: Field, tables: SwimTables, looked: Looked, settings: Settings) -> Found:
    """Weigh the variants coarsely, then the finalists of each level at every second around their best.

    A level between two that were weighed coarsely takes the finalists of both. Seconds are weighed to six either side
    of the best coarse ones, which is as wide as a window can become. Variants never take a place from the box's own
    ways.

    Raises
    ------
    KeyError
        When the variants' swims were not required before, see `variants.needs_of`.
    """
    L = field.levels.size
    tracks, found, ways = looked.tracks, looked.own, [*looked.ways, *looked.variants]
    if looked.variants:
        more = coarse(field, tables, looked.variants, tracks, ground_rows, settings, looked.own)
        found = joined(looked.own, more)
    chosen = np.zeros((found.rows.size, len(ways)), dtype=bool)
    for c in range(found.rows.size):
        chosen[c, finalists(looked.ways, looked.own, c)] = True
        if looked.variants:
            chosen[c, [len(looked.ways) + w for w in leading(more, c, _VARIANTS, looked.own)]] = True
    close = np.array([chosen[columns].any(axis=0) for columns in found.beside])
    candidates: list[list[Candidate]] = [[] for _ in range(L)]
    for w in np.flatnonzero(close.any(axis=0)).tolist():
        rows = np.flatnonzero(close[:, w]).tolist()
        for row, one in zip(rows, _closely(field, tables, ways[w], w, rows, found, tracks, settings), strict=True):
            candidates[row].append(one)
    gives = [counts_for(own=is_own(way, tables.rigs)) * one for way, one in zip(ways, found.fit, strict=True)]
    fit = np.stack([np.interp(np.arange(L), found.rows, one) for one in gives])
    return Found(candidates, _by_line(field, tables.rigs, ways, fit), tracks)


def _closely(
    field: Field,
    tables: SwimTables,
    way: Way,
    w: int,
    rows: list[int],
    found: Coarse,
    tracks: TracksAt,
    settings: Settings,
) -> list[Candidate]:
    """A way weighed at some rows with all draws, at every second around its best coarse ones."""
    seconds = field.seconds(way.mode)
    bests = np.stack([found.second[w], found.strict[w], found.early[w]])
    low, high = bests.min(axis=0), bests.max(axis=0)
    first = [low[found.beside[row]].min() - _AROUND_S for row in rows]
    last = [high[found.beside[row]].max() + _AROUND_S for row in rows]
    span = np.stack([np.searchsorted(seconds, first), np.searchsorted(seconds, last, side="right")], axis=1)
    key = way_key(way, tables, settings, settings.draws)
    keys = [page_key(field.row_keys[row], key, f"{a} to {b}") for row, (a, b) in zip(rows, span.tolist(), strict=True)]

    def make(missing: list[int]) -> list[np.ndarray]:
        some = [rows[m] for m in missing]
        result = weigh(
            tracks(way, some),
            ground_rows(field.ground, some),
            field.spread(tables.rigs[way.rig], field.levels[some]),
            deviations(draw(settings.draws, settings.seed)),
            seconds,
            depths=True,
            span=span[missing],
        )
        pages = page_of(result)
        return [pages[:, i, slice(*span[m])] for i, m in enumerate(missing)]

    return [candidate_of(way, seconds[slice(*span[i])], page) for i, page in enumerate(field.book.take(keys, make))]


def page_of(result: Weighed) -> np.ndarray:
    """What a candidate needs of a weighing with depths, as it is kept, shape (9, L, W)."""
    parts = (result.band_time_s, result.touch_chance, result.hang_chance, result.lift_at_m, result.swim_s)
    return np.stack([*parts, *tenths(result.depth_m), result.bed_m])


def candidate_of(way: Way, seconds: np.ndarray, page: np.ndarray) -> Candidate:
    """A candidate at one level from its page, shape (9, W), see `page_of`."""
    band, touch, hang, lift, swim, *depth, bed = page
    return Candidate(way, seconds, band, touch, hang, lift, swim, np.array(depth).T, bed)


def tenths(values: np.ndarray) -> np.ndarray:
    """Quantiles of 10, 50 and 90 % over the last axis, linear between the ordered values, shape (3, ...)."""
    n = values.shape[-1]
    place = np.array([0.1, 0.5, 0.9]) * (n - 1)
    low = place.astype(int)
    ordered = np.moveaxis(np.sort(values, axis=-1), -1, 0)
    part = (place - low).reshape(-1, *[1] * (values.ndim - 1))
    return (1 - part) * ordered[low] + part * ordered[np.minimum(low + 1, n - 1)]


def _by_line(field: Field, rigs: Sequence[Rig], ways: list[Way], fit: np.ndarray) -> list[dict[str, tuple[float, str]]]:
    """What each line is worth at each level within the hang limit, with the fly that gives it.

    On its own leader or another and mended or not, as the answers are compared (`objective.worth`): a leader is changed
    at the water in minutes, a line is not, so a line is on a rod for all that can be done with it. A line without a rig
    on the shortlist is taken at its share of the best in the screening, and never above the least of the shortlist.
    """
    L = fit.shape[1]
    found: list[dict[str, tuple[float, str]]] = [{} for _ in range(L)]

    def offer(of: list[int], values: np.ndarray) -> None:
        """The best of some rigs of one line, values of shape (rigs, L); below zero is none."""
        best = values.argmax(axis=0)
        for row, (k, value) in enumerate(zip(best.tolist(), values.max(axis=0).tolist(), strict=True)):
            if value >= 0.0:
                found[row][rigs[of[k]].line_name] = (value, rigs[of[k]].fly_name)

    lines = [rigs[way.rig].line_name for way in ways]
    for name in dict.fromkeys(lines):
        rows = [w for w, line in enumerate(lines) if line == name]
        offer([ways[w].rig for w in rows], fit[rows])
    values = [[value for value, _ in one.values()] for one in found]
    top, least = np.max(values, axis=1), np.min(values, axis=1)
    screened = np.array(list(field.screened.values()))
    at = np.abs(np.linspace(0, L - 1, screened.shape[1]) - np.arange(L)[:, None]).argmin(axis=1)
    best = screened.max(axis=0)[at]
    if not best.any():
        return found
    share = np.where(best > 0, screened[:, at] / np.maximum(best, 1e-300) * top, -1.0)
    for name in dict.fromkeys(rigs[rig].line_name for rig in field.screened):
        if name not in lines:
            rows = [k for k, rig in enumerate(field.screened) if rigs[rig].line_name == name]
            offer([list(field.screened)[k] for k in rows], np.minimum(share[rows], least))
    return found


def ground_rows(ground: Ground, rows: Iterable[int]) -> Ground:
    """The ground at some of its levels."""
    take = list(rows)
    return replace(
        ground,
        rise_m=ground.rise_m[take],
        boat_m_s=ground.boat_m_s[take],
        landing_depth_m=ground.landing_depth_m[take],
    )


def track_rows(tracks: Tracks, rows: Iterable[int]) -> Tracks:
    """Tracks at some of their levels."""
    take = list(rows)
    return replace(
        tracks,
        count=tracks.count[take],
        retrieve=tracks.retrieve[take],
        duration_s=tracks.duration_s[take],
        taut=tracks.taut[take],
        sunk_m=tracks.sunk_m[take],
    )
