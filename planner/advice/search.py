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

_SCREEN_S, _SCREEN_DRAWS = 4, 16
_SLACK = 0.07
_PRUNE_SHARE = 0.6
_COARSE_S, _COARSE_DRAWS, _COARSE_LEVELS = {"held": 3, "fed": 1}, 64, 3
_AROUND_S = 6
_FINALISTS, _BESIDES = 4, 3
_KEEP_SHARE = 0.25
_SCREEN_MODE = "held"  # the order of rigs in depth is the same fed; half the swims


@dataclass(frozen=True)
class Way:
    """How a rig is fished at a spot: one column of the search."""

    rig: int
    mode: str
    strip_m_s: float


TracksAt = Callable[[Way, Sequence[int]], Tracks]


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
    """Rank all rigs of each field at its lowest, middle and highest node, and keep some.

    Rigs are ranked at one pace in one mode, with stand-ins for the responses; which is best depends on both, so the
    list is long: a rig that gives a quarter of the best there may be the best at another pace.
    """
    seen: list[tuple[list[int], list]] = []
    needs = []
    for field, allowed in jobs:
        # at the nodes' own currents and depths, which the gauge does not move: another reading, the same shortlist
        nodes = [field.nodes[k] for k in sorted({0, len(field.nodes) // 2, len(field.nodes) - 1})]
        rows = [int(np.argmax(field.weight[:, field.nodes.index(node)])) for node in nodes]
        seen.append((rows, nodes))
        needs += [
            Need(field.canon, rig, _SCREEN_MODE, strip, node)
            for strip in _screen_strips(field, settings)
            for rig in allowed
            for node in nodes
        ]
    tables.require(needs)

    def rank(k: int) -> None:
        _rank(jobs[k][0], jobs[k][1], seen[k][0], seen[k][1], tables, settings)

    side_by_side(rank, range(len(jobs)))


def _screen_strips(field: Field, settings: Settings) -> tuple[float, ...]:
    """The normal pace; all where the boat moves with the water, so that the strip makes the speed."""
    return settings.strips_m_s if field.canon.boat_ratio != 0.0 else (normal_strip(settings),)


def _all_ways(field: Field, settings: Settings) -> list[tuple[int, str, float]]:
    return [(rig, mode, strip) for rig in field.shortlist for mode in field.modes for strip in settings.strips_m_s]


def _inside(
    field: Field,
    ways: list[tuple[int, str, float]],
    rows: list[int],
    nodes: list,
    tables: SwimTables,
    settings: Settings,
    step: int,
) -> tuple[np.ndarray, np.ndarray]:
    """Largest band time near the limit, and of all, of ways of one mode at some levels, shape (ways, rows) [s]."""
    dev = deviations(draw(_SCREEN_DRAWS, settings.seed))
    # one job for the compiled pass: the ways stand beside each other as more levels
    spread = np.concatenate([field.spread(tables.rigs[rig], field.levels[rows]) for rig, _, _ in ways])
    tracks = screen_tracks(field, tables, ways, nodes)
    ground = field.at_nodes(rows, nodes, len(ways))
    found = weigh(tracks, ground, spread, dev, field.seconds(ways[0][1], step))
    # few draws and a stand-in: a way near the limit stays in
    over = (found.hang_chance - settings.hang_limit) / (3 * _SLACK)
    inside = found.band_time_s * (1.0 - np.clip(over, 0.0, 1.0))
    shape = (len(ways), len(rows))
    return inside.max(axis=1).reshape(shape), found.band_time_s.max(axis=1).reshape(shape)


def _rank(
    field: Field, allowed: list[int], rows: list[int], nodes: list, tables: SwimTables, settings: Settings
) -> None:
    """Fill `screened` and `shortlist` of a field from swims at single nodes."""
    paces = [
        _inside(field, [(rig, _SCREEN_MODE, strip) for rig in allowed], rows, nodes, tables, settings, _SCREEN_S)
        for strip in dict.fromkeys(_screen_strips(field, settings))
    ]
    field.screened = dict(zip(allowed, np.max([best for best, _ in paces], axis=0), strict=True))
    raw = np.max([best + 0.01 * reach for best, reach in paces], axis=0)
    top = raw.max(axis=0)
    score = dict(zip(allowed, (raw / np.maximum(top, 1e-9)).max(axis=1).tolist(), strict=True))
    ranked = sorted(score, key=lambda rig: (-score[rig], rig))
    if not top.any():  # nothing comes near the band: the heaviest rigs say so
        sink = {rig: tables.rigs[rig].line.sink_rate_m_s for rig in allowed}
        ranked = sorted(allowed, key=lambda rig: (-sink[rig], -tables.rigs[rig].fly.wet_weight_n, rig))
    kept = [rig for i, rig in enumerate(ranked) if i < 3 or score[rig] >= _KEEP_SHARE]
    # where the boat moves with the water the strip makes the speed, and the order changes with it: a longer list
    field.shortlist = kept[: settings.shortlist + (2 if field.canon.boat_ratio != 0.0 else 0)]


def side_by_side(function: Callable[[Any], Any], items: Sequence[Any]) -> list[Any]:
    """Results of a function for each item, one thread a core: the compiled weighing lets go of the interpreter."""
    with ThreadPoolExecutor(max_workers=os.cpu_count() or 1) as pool:
        return list(pool.map(function, items))


def require(field: Field, tables: SwimTables, settings: Settings) -> tuple[list[Way], list[Need]]:
    """The ways of fishing the shortlist, and the swims that they need."""
    normal = normal_strip(settings)
    ways = [Way(*way) for way in _all_ways(field, settings)]
    needs = [Need(field.canon, way.rig, way.mode, way.strip_m_s, node) for way in ways for node in field.nodes]
    for rig, mode in dict.fromkeys((way.rig, way.mode) for way in ways):
        needs.append(Need(field.canon, rig, mode, normal, field.centre))
        needs += [Need(field.canon, rig, mode, normal, field.centre, name) for name in varied(field)]
    return ways, needs


@dataclass
class Found:
    """What the search found at a field: candidates and the best of each line by row, and tracks by way and rows."""

    candidates: list[list[Candidate]]
    by_line: list[dict[str, tuple[float, str]]]
    tracks: TracksAt


@dataclass
class _Coarse:
    """Every way at some levels and every third second: the rows weighed, and by way and row what they gave."""

    rows: np.ndarray
    fit: np.ndarray
    worth: np.ndarray
    second: np.ndarray
    strict: np.ndarray
    sure: np.ndarray
    hoped: np.ndarray


def _coarse(
    field: Field, ways: list[Way], tracks: TracksAt, spread: dict[int, np.ndarray], settings: Settings
) -> _Coarse:
    """Weigh all ways at the ends and the middle of the ladder and where the plan answers, the better ones between.

    A way that comes nowhere near the best at any of the first levels is not weighed at every third level between.
    """
    L = field.levels.size
    asked = [row for row, i in enumerate(field.levels) if field.spot.levels[i].refine]
    rows = np.array(sorted({*range(0, L, _COARSE_LEVELS), L // 2, L - 1, *asked}))
    first = [int(np.searchsorted(rows, row)) for row in sorted({0, L // 2, L - 1, *asked})]
    rest = [c for c in range(rows.size) if c not in first]
    dev = deviations(draw(_COARSE_DRAWS, settings.seed))
    fit, worth, second, strict, sure, hoped = (np.zeros((len(ways), rows.size)) for _ in range(6))

    def fill(w: int, columns: list[int]) -> None:
        way, at = ways[w], rows[columns]
        seconds = field.seconds(way.mode, _COARSE_S[way.mode])
        found = weigh(tracks(way, at.tolist()), ground_rows(field.ground, at), spread[way.rig][at], dev, seconds)
        # softened by what few draws can tell, so that a way whose best second is near the limit is looked at closely
        over = (found.hang_chance - settings.hang_limit) / _SLACK
        inside = found.band_time_s * (1.0 - 0.5 * np.clip(over, 0.0, 1.0)) * (over <= 1.0)
        price = found.band_time_s / (0.05 + found.hang_chance)
        fit[w, columns], worth[w, columns] = inside.max(axis=1), price.max(axis=1)
        at_price = np.where(price.max(axis=1) > 0, price.argmax(axis=1), seconds.size - 1)  # nothing near: go deep
        second[w, columns] = seconds[np.where(fit[w, columns] > 0, inside.argmax(axis=1), at_price)]
        within = np.where(over <= 0.0, found.band_time_s, 0.0)
        sure[w, columns] = within.max(axis=1)
        hoped[w, columns] = np.where(over <= 1.0, found.band_time_s, 0.0).max(axis=1)
        strict[w, columns] = np.where(within.max(axis=1) > 0, seconds[within.argmax(axis=1)], second[w, columns])

    for k in range(len(ways)):
        fill(k, first)
    if rest:
        near = (fit[:, first] >= _PRUNE_SHARE * fit[:, first].max(axis=0)).any(axis=1)
        for k in np.flatnonzero(near).tolist():
            fill(k, rest)
        for k in np.flatnonzero(~near).tolist():
            for values in (fit, worth, second, strict, sure, hoped):
                values[k, rest] = np.interp(rows[rest], rows[first], values[k, first])
    return _Coarse(rows, fit, worth, second, strict, sure, hoped)


def _finalists(ways: list[Way], coarse: _Coarse, c: int) -> list[int]:
    """The best few ways at one level; one with another rig and one with the other mode are always among them.

    Few draws place a hang chance to within some hundredths: the best with the limit softened, with the limit as it is,
    and with a limit as much looser are all looked at.
    """
    order = sorted(range(len(ways)), key=lambda w: (-coarse.fit[w, c], -coarse.worth[w, c], w))
    chosen, first = order[:_FINALISTS], ways[order[0]]
    for values in (coarse.sure[:, c], coarse.hoped[:, c]):
        best = sorted(range(len(ways)), key=lambda w: (-values[w], w))[:_BESIDES]
        chosen += [w for w in best if w not in chosen and values[w] > 0]
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
    normal = normal_strip(settings)

    def tracks(way: Way, rows: Sequence[int]) -> Tracks:
        return tracks_of(field, tables, way.rig, way.mode, way.strip_m_s, normal, rows)

    spread = {rig: field.spread(tables.rigs[rig]) for rig in field.shortlist}
    coarse = _coarse(field, ways, tracks, spread, settings)
    chosen = [_finalists(ways, coarse, c) for c in range(coarse.rows.size)]
    after = np.searchsorted(coarse.rows, np.arange(L))
    before = np.where(coarse.rows[after] == np.arange(L), after, after - 1)
    full = deviations(draw(settings.draws, settings.seed))
    candidates: list[list[Candidate]] = [[] for _ in range(L)]
    for w, way in enumerate(ways):
        rows = [row for row in range(L) if w in chosen[before[row]] or w in chosen[after[row]]]
        if not rows:
            continue
        beside = np.stack([best[w, c[rows]] for best in (coarse.second, coarse.strict) for c in (before, after)])
        seconds = field.seconds(way.mode)
        span = np.stack(
            [
                np.searchsorted(seconds, beside.min(axis=0) - _AROUND_S),
                np.searchsorted(seconds, beside.max(axis=0) + _AROUND_S, side="right"),
            ],
            axis=1,
        )
        some = tracks(way, rows)
        ground = ground_rows(field.ground, rows)
        result = weigh(some, ground, spread[way.rig][rows], full, seconds, depths=True, span=span)
        depth = np.moveaxis(np.quantile(result.depth_m, [0.1, 0.5, 0.9], axis=2), 0, -1)
        for i, row in enumerate(rows):
            near = slice(*span[i])
            candidates[row].append(
                Candidate(
                    way,
                    seconds[near],
                    result.band_time_s[i, near],
                    result.touch_chance[i, near],
                    result.hang_chance[i, near],
                    result.lift_at_m[i, near],
                    result.swim_s[i, near],
                    depth[i, near],
                    result.bed_m[i, near],
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
