"""The search: weigh every way of fishing the shortlist coarsely, and the best few closely, at every level of a spot."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from planner.advice.coarse import Coarse, TracksAt, coarse, finalists
from planner.advice.draws import deviations, draw
from planner.advice.field import Field, tracks_of
from planner.advice.kept import page_key
from planner.advice.objective import prefer
from planner.advice.records import Settings
from planner.advice.swum import Ground, Tracks
from planner.advice.tables import Rig, SwimTables
from planner.advice.ways import Way, normal_strip, way_key
from planner.advice.weigh import weigh

__all__ = ["Candidate", "Found", "ground_rows", "track_rows", "weigh_field"]

_AROUND_S = 6


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
class Found:
    """What the search found at a field: candidates and the best of each line by row, and tracks by way and rows."""

    candidates: list[list[Candidate]]
    by_line: list[dict[str, tuple[float, str]]]
    tracks: TracksAt


def weigh_field(field: Field, tables: SwimTables, ways: list[Way], settings: Settings) -> Found:
    """Weigh all ways coarsely, then the finalists of each level at every second around their best.

    A level between two that were weighed coarsely takes the finalists of both. Seconds are weighed to six either side
    of the best coarse ones, which is as wide as a window can become.
    """
    L = field.levels.size
    normal = normal_strip(settings)

    alone: dict[tuple[Way, int], Tracks] = {}  # at the level that is planned for they are asked for again and again

    def tracks(way: Way, rows: Sequence[int]) -> Tracks:
        if len(rows) > 1:
            return tracks_of(field, tables, way.rig, way.mode, way.strip_m_s, normal, rows)
        key = (way, int(rows[0]))
        if key not in alone:
            alone[key] = tracks_of(field, tables, way.rig, way.mode, way.strip_m_s, normal, rows)
        return alone[key]

    found = coarse(field, tables, ways, tracks, ground_rows, settings)
    chosen = [set(finalists(ways, found, c)) for c in range(found.rows.size)]
    candidates: list[list[Candidate]] = [[] for _ in range(L)]
    for w in range(len(ways)):
        rows = [row for row in range(L) if any(w in chosen[c] for c in found.beside[row])]
        if rows:
            for row, one in zip(rows, _closely(field, tables, ways[w], w, rows, found, tracks, settings), strict=True):
                candidates[row].append(one)
    fit = np.stack([np.interp(np.arange(L), found.rows, found.fit[w]) for w in range(len(ways))])
    return Found(candidates, [_by_line(field, tables.rigs, ways, fit[:, row], row) for row in range(L)], tracks)


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
    around = [
        np.array([part[w, found.beside[row]] for part in (found.second, found.strict, found.early)]) for row in rows
    ]
    span = np.array(
        [
            (
                np.searchsorted(seconds, near.min() - _AROUND_S),
                np.searchsorted(seconds, near.max() + _AROUND_S, side="right"),
            )
            for near in around
        ],
        dtype=np.int64,
    )
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
        depth = np.quantile(result.depth_m, [0.1, 0.5, 0.9], axis=2)
        parts = (result.band_time_s, result.touch_chance, result.hang_chance, result.lift_at_m, result.swim_s)
        stacked = np.stack([*parts, *depth, result.bed_m])
        return [stacked[:, i, slice(*span[m])] for i, m in enumerate(missing)]

    return [
        Candidate(
            way,
            seconds[slice(*span[i])],
            band=page[0],
            touch=page[1],
            hang=page[2],
            lift=page[3],
            swim=page[4],
            depth=page[5:8].T,
            bed=page[8],
        )
        for i, page in enumerate(field.book.take(keys, make))
    ]


def _by_line(
    field: Field, rigs: Sequence[Rig], ways: list[Way], fit: np.ndarray, row: int
) -> dict[str, tuple[float, str]]:
    """Largest admissible band time of each line at one level, with the fly that gives it.

    A line without a rig on the shortlist is taken at its share of the best in the screening, and never above the
    least of the shortlist.
    """
    found: dict[str, tuple[float, str]] = {}

    def offer(rig: int, value: float) -> None:
        name = rigs[rig].line_name
        if name not in found or value > found[name][0]:
            found[name] = (value, rigs[rig].fly_name)

    for way, value in zip(ways, fit, strict=True):
        offer(way.rig, float(value))
    listed = set(found)
    top, least = max(value for value, _ in found.values()), min(value for value, _ in found.values())
    count = len(next(iter(field.screened.values())))
    at = int(np.argmin(np.abs(np.linspace(0, field.levels.size - 1, count) - row)))
    best = max(values[at] for values in field.screened.values())
    for rig, values in field.screened.items():
        if best > 0 and rigs[rig].line_name not in listed:
            offer(rig, min(least, float(values[at] / best * top)))
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
    )
