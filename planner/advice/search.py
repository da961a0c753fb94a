"""The search: screen all rigs, tabulate a shortlist, and weigh every way of fishing it at every level."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from planner.advice.draws import deviations, draw
from planner.advice.field import Field, screen_tracks, tracks_of, varied
from planner.advice.objective import prefer
from planner.advice.records import Settings
from planner.advice.tables import Need, Rig, SwimTables
from planner.advice.weigh import Ground, Tracks, weigh

__all__ = [
    "Candidate",
    "Found",
    "Way",
    "ground_rows",
    "normal_strip",
    "require",
    "screen",
    "side_by_side",
    "track_rows",
    "weigh_field",
]

_SCREEN_S, _SCREEN_DRAWS = 5, 16
_COARSE_S, _COARSE_DRAWS, _COARSE_LEVELS = 3, 32, 3
_AROUND_S = 6
_FINALISTS = 4
_KEEP_SHARE = 0.5
_SCREEN_MODE = "held"  # the order of rigs in depth is the same fed; half the swims


@dataclass(frozen=True)
class Way:
    """How a rig is fished at a spot: one column of the search."""

    rig: int
    mode: str
    strip_m_s: float


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


def normal_strip(settings: Settings) -> float:
    """The middle one of the strip paces [m/s]."""
    return sorted(settings.strips_m_s)[len(settings.strips_m_s) // 2]


def screen(jobs: Sequence[tuple[Field, list[int]]], tables: SwimTables, settings: Settings) -> None:
    """Rank all rigs of each field at its lowest, middle and highest level, each at the nearest node, and keep few."""
    strip = normal_strip(settings)
    rows_of, nodes_of, needs = [], [], []
    for field, allowed in jobs:
        L = field.levels.size
        rows = sorted({0, L // 2, L - 1})
        nodes = [field.nodes[int(np.argmax(field.weight[row]))] for row in rows]
        rows_of.append(rows)
        nodes_of.append(nodes)
        needs += [Need(field.canon, rig, _SCREEN_MODE, strip, node) for rig in allowed for node in nodes]
    tables.require(needs)

    def rank(k: int) -> None:
        _rank(jobs[k][0], jobs[k][1], rows_of[k], nodes_of[k], tables, settings)

    side_by_side(rank, range(len(jobs)))


def _rank(
    field: Field, allowed: list[int], rows: list[int], nodes: list, tables: SwimTables, settings: Settings
) -> None:
    """Fill `screened` and `shortlist` of a field from swims at single nodes."""
    dev = deviations(draw(_SCREEN_DRAWS, settings.seed))
    # one job for the compiled pass: the rigs stand beside each other as more levels
    spread = np.concatenate([field.spread(tables.rigs[rig], field.levels[rows]) for rig in allowed])
    tracks = screen_tracks(field, tables, allowed, _SCREEN_MODE, normal_strip(settings), nodes)
    beside = ground_rows(field.ground, rows * len(allowed))
    found = weigh(tracks, beside, spread, dev, field.seconds(_SCREEN_MODE, _SCREEN_S))
    # a node stands up to a fifth of the current off its level: a rig near the limit stays in
    inside = np.where(found.hang_chance <= 2 * settings.hang_limit + 0.05, found.band_time_s, 0.0)
    best = inside.max(axis=1).reshape(len(allowed), len(rows))
    reach = found.band_time_s.max(axis=1).reshape(best.shape)
    field.screened = dict(zip(allowed, best, strict=True))
    raw = dict(zip(allowed, best + 0.01 * reach, strict=True))
    top = np.max(list(raw.values()), axis=0)
    score = {rig: float(np.max(values / np.maximum(top, 1e-9))) for rig, values in raw.items()}
    ranked = sorted(score, key=lambda rig: (-score[rig], rig))
    if not top.any():  # nothing comes near the band: the heaviest rigs say so
        sink = {rig: tables.rigs[rig].line.sink_rate_m_s for rig in allowed}
        ranked = sorted(allowed, key=lambda rig: (-sink[rig], -tables.rigs[rig].fly.wet_weight_n, rig))
    kept = [rig for i, rig in enumerate(ranked) if i < 2 or score[rig] >= _KEEP_SHARE]
    field.shortlist = kept[: settings.shortlist]


def side_by_side(function: Callable[[Any], Any], items: Sequence[Any]) -> list[Any]:
    """Results of a function for each item, one thread a core: the compiled weighing lets go of the interpreter."""
    with ThreadPoolExecutor(max_workers=os.cpu_count() or 1) as pool:
        return list(pool.map(function, items))


def require(field: Field, tables: SwimTables, settings: Settings) -> tuple[list[Way], list[Need]]:
    """The ways of fishing the shortlist, and the swims that they need."""
    normal = normal_strip(settings)
    ways = [Way(rig, mode, strip) for rig in field.shortlist for mode in field.modes for strip in settings.strips_m_s]
    needs = [Need(field.canon, way.rig, way.mode, way.strip_m_s, node) for way in ways for node in field.nodes]
    for rig in field.shortlist:
        for mode in field.modes:
            needs.append(Need(field.canon, rig, mode, normal, field.centre))
            needs += [Need(field.canon, rig, mode, normal, field.centre, name) for name in varied(field)]
    return ways, needs


@dataclass
class Found:
    """What the search found at a field: candidates and the best of each line, by row of its levels."""

    candidates: list[list[Candidate]]
    by_line: list[dict[str, tuple[float, str]]]
    tracks: dict[Way, Tracks]


@dataclass
class _Coarse:
    """Every way at some levels and every third second: the rows weighed, and by way and row what they gave."""

    rows: np.ndarray
    fit: np.ndarray
    worth: np.ndarray
    second: np.ndarray


def _coarse(
    field: Field, ways: list[Way], tracks: dict[Way, Tracks], spread: dict[int, np.ndarray], settings: Settings
) -> _Coarse:
    """Weigh all ways at every third level, the ends, and those that the plan answers first."""
    L = field.levels.size
    asked = [row for row, i in enumerate(field.levels) if field.spot.levels[i].refine]
    rows = np.array(sorted({*range(0, L, _COARSE_LEVELS), L - 1, *asked}))
    dev = deviations(draw(_COARSE_DRAWS, settings.seed))
    ground = ground_rows(field.ground, rows)
    fit, worth, second = (np.zeros((len(ways), rows.size)) for _ in range(3))
    for w, way in enumerate(ways):
        seconds = field.seconds(way.mode, _COARSE_S)
        found = weigh(track_rows(tracks[way], rows), ground, spread[way.rig][rows], dev, seconds)
        inside = np.where(found.hang_chance <= settings.hang_limit + 1e-9, found.band_time_s, 0.0)
        price = found.band_time_s / (0.05 + found.hang_chance)
        fit[w], worth[w] = inside.max(axis=1), price.max(axis=1)
        second[w] = seconds[np.where(fit[w] > 0, inside.argmax(axis=1), price.argmax(axis=1))]
    return _Coarse(rows, fit, worth, second)


def _finalists(ways: list[Way], fit: np.ndarray, worth: np.ndarray) -> list[int]:
    """The best few ways at one level; one with another rig and one with the other mode are always among them."""
    order = sorted(range(len(ways)), key=lambda w: (-fit[w], -worth[w], w))
    chosen, first = order[:_FINALISTS], ways[order[0]]
    for other in (
        next((w for w in order if ways[w].rig != first.rig), None),
        next((w for w in order if ways[w].rig == first.rig and ways[w].mode != first.mode), None),
    ):
        if other is not None and other not in chosen:
            chosen.append(other)
    return chosen


def weigh_field(field: Field, tables: SwimTables, ways: list[Way], settings: Settings) -> Found:
    """Weigh all ways coarsely, then the finalists of each level at every second around their best.

    A level between two that were weighed coarsely takes the finalists of both. Seconds are weighed to six either side
    of the best coarse ones, which is as wide as a window can become.
    """
    L = field.levels.size
    tracks = {way: tracks_of(field, tables, way.rig, way.mode, way.strip_m_s, normal_strip(settings)) for way in ways}
    spread = {rig: field.spread(tables.rigs[rig]) for rig in field.shortlist}
    coarse = _coarse(field, ways, tracks, spread, settings)
    chosen = [_finalists(ways, coarse.fit[:, c], coarse.worth[:, c]) for c in range(coarse.rows.size)]
    after = np.searchsorted(coarse.rows, np.arange(L))
    before = np.where(coarse.rows[after] == np.arange(L), after, after - 1)
    full = deviations(draw(settings.draws, settings.seed))
    candidates: list[list[Candidate]] = [[] for _ in range(L)]
    for w, way in enumerate(ways):
        rows = [row for row in range(L) if w in chosen[before[row]] or w in chosen[after[row]]]
        if not rows:
            continue
        around = coarse.second[w, sorted({*before[rows], *after[rows]})]
        seconds = field.seconds(way.mode)
        seconds = seconds[(seconds >= around.min() - _AROUND_S) & (seconds <= around.max() + _AROUND_S)]
        some = track_rows(tracks[way], rows)
        result = weigh(some, ground_rows(field.ground, rows), spread[way.rig][rows], full, seconds, depths=True)
        depth = np.moveaxis(np.quantile(result.depth_m, [0.1, 0.5, 0.9], axis=2), 0, -1)
        for i, row in enumerate(rows):
            candidates[row].append(
                Candidate(
                    way,
                    seconds,
                    result.band_time_s[i],
                    result.touch_chance[i],
                    result.hang_chance[i],
                    result.lift_at_m[i],
                    result.swim_s[i],
                    depth[i],
                    result.bed_m[i],
                )
            )
    fit = np.stack([np.interp(np.arange(L), coarse.rows, coarse.fit[w]) for w in range(len(ways))])
    return Found(candidates, [_by_line(field, tables.rigs, ways, fit[:, row], row) for row in range(L)], tracks)


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
