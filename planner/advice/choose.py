"""Choose at each level: best, next best, countdown window, and the sentence that says why."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from planner.advice import reasons
from planner.advice.along import Option, steadiest
from planner.advice.alternatives import class_that_would, tips_of
from planner.advice.field import Field, unanswerable
from planner.advice.objective import countdown_window, worth
from planner.advice.records import Advice, Choice, Settings, SpotAtLevels, constants
from planner.advice.search import Candidate, Found
from planner.advice.sensitivity import Sensitivity, sensitivity_of, variances
from planner.advice.tables import SwimTables
from planner.advice.variants import is_own
from planner.sink.constants import constant

__all__ = ["advices_of", "picks_of"]


def advices_of(
    spot: SpotAtLevels,
    field: Field | None,
    found: Found | None,
    tables: SwimTables,
    settings: Settings,
    rigged: set[str] | None,
    left_out: tuple[str, ...],
    only_sinking: bool,
) -> list[Advice]:
    """Advice for each level of a spot.

    Parameters
    ----------
    spot : SpotAtLevels
        The spot.
    field, found : Field, Found or None
        What the search made of it; None when no level can be answered or no line may be used.
    tables : SwimTables
        Gives the rigs.
    settings : Settings
        Hang limit and units.
    rigged : set of str or None
        Lines on the rods, to which ties go.
    left_out : tuple of str
        What had to be left out of the box.
    only_sinking : bool
        Whether all lines were refused for their running line.
    """
    row_of = {} if field is None else {int(i): row for row, i in enumerate(field.levels)}
    bests = [] if found is None else [_bests(candidates, tables, settings) for candidates in found.candidates]
    picks = [] if found is None else _picks(found, bests, tables, rigged)
    reach = reasons.beyond_reach(spot.cast_m, settings.units)
    advices = []
    for i, level in enumerate(spot.levels):
        upstream = reasons.straight_upstream(spot.angle_deg, level.velocity_m_s if spot.river else 0.0)
        limits = tuple(word for word in (*level.limits, *left_out, reach, upstream) if word)
        because = unanswerable(spot, i)
        if not because and (field is None or found is None):
            because = (
                reasons.only_sinking_running_lines() if only_sinking else "No line and fly in the box could be used."
            )
        if because or field is None or found is None:
            advices.append(Advice(spot.spot.id, None, None, because, limits=limits))
        else:
            row = row_of[i]
            advices.append(
                _at_level(field, found, row, picks[row], bests[row], tables, settings, limits, rigged or set())
            )
    for i, level in enumerate(spot.levels):
        if level.planned:
            advices[i] = replace(_beside(advices, i, field, found, row_of, tables, settings), planned=True)
    return advices


def _beside(
    advices: list[Advice],
    i: int,
    field: Field | None,
    found: Found | None,
    row_of: dict[int, int],
    tables: SwimTables,
    settings: Settings,
) -> Advice:
    """The advice at a level with what changes a step below and above it, and the class that would where none does."""
    here = advices[i]
    steps = {}
    for name, n in (("if_lower", i - 1), ("if_higher", i + 1)):
        if 0 <= n < len(advices):
            steps[name] = reasons.one_step(here.best, advices[n].best, advices[n].none_because, settings.units)
    if field is None or found is None or here.best is None:
        return replace(here, **steps)  # type: ignore[arg-type]
    # out of reach above some level only where no higher one has an answer again
    last = max(n for n, advice in enumerate(advices) if advice.best is not None)
    lost = next((n for n in range(max(i, last) + 1, len(advices)) if n in row_of and advices[n].beyond_reach), None)
    ends = None
    if lost is not None:
        would = class_that_would(field, row_of[lost], found, tables.rigs, settings)
        ends = (lost, would[0] if would else 0)
    return replace(here, reach_ends=ends, **steps)  # type: ignore[arg-type]


_Bests = tuple[list[int | None], np.ndarray]


def _bests(candidates: list[Candidate], tables: SwimTables, settings: Settings) -> _Bests:
    """Index of each candidate's best countdown, and what that is worth [s]."""
    bests = [candidate.best(settings.hang_limit) for candidate in candidates]
    values = [
        0.0 if b is None else worth(float(c.band[b]), own=is_own(c.way, tables.rigs))
        for c, b in zip(candidates, bests, strict=True)
    ]
    return bests, np.array(values)


def picks_of(found: Found, tables: SwimTables, settings: Settings, rigged: set[str]) -> list[int | None]:
    """The candidate that would be advised at each row of a field as it was searched."""
    return _picks(found, [_bests(candidates, tables, settings) for candidates in found.candidates], tables, rigged)


def _picks(found: Found, bests: list[_Bests], tables: SwimTables, rigged: set[str] | None) -> list[int | None]:
    """The candidate to advise at each row of a field: within the margin of the best, and steady along the ladder.

    Where some were solved directly, one of these.
    """
    levels = []
    for candidates, (_, band) in zip(found.candidates, bests, strict=True):
        rigs = [tables.rigs[c.way.rig] for c in candidates]
        direct = any(c.refined and value > 0.0 for c, value in zip(candidates, band.tolist(), strict=True))
        levels.append(
            [
                Option(
                    n,
                    rig.line_name,
                    rig.fly_name,
                    c.way.mode,
                    c.way.strip_m_s,
                    value,
                    rig.line_name in (rigged or ()),
                    rig.line.leader_length_m,
                )
                for n, (c, rig, value) in enumerate(zip(candidates, rigs, band.tolist(), strict=True))
                if value > 0.0 and (c.refined or not direct)
            ]
        )
    return steadiest(levels)


def _at_level(
    field: Field,
    found: Found,
    row: int,
    pick: int | None,
    of_each: _Bests,
    tables: SwimTables,
    settings: Settings,
    limits: tuple[str, ...],
    rigged: set[str],
) -> Advice:
    candidates = found.candidates[row]
    if pick is None:
        return _nothing(field, found, row, tables, settings, limits)
    bests, band = of_each
    first = candidates[pick]
    names = [(rig.line_name, rig.fly_name) for rig in (tables.rigs[c.way.rig] for c in candidates)]
    # the next best is told by line, fly and count alone, so it is one on the box's own leader
    own = [n for n, c in enumerate(candidates) if band[n] > 0 and is_own(c.way, tables.rigs)]
    others = [n for n in own if names[n] != names[pick]]
    if not others:
        others = [n for n in own if candidates[n].way.mode != first.way.mode]
    rival = None
    height = 0.0
    if first.refined:  # a direct swim is compared with a direct swim where there is one
        others = [n for n in others if candidates[n].refined] or others
    if others:
        n = others[int(np.argmax(band[others]))]
        second = candidates[n]
        rival = _choice(field, second, int(bests[n] or 0), tables, settings, row, None, 0.0)
        height = float(first.depth[int(bests[pick] or 0), 1] - second.depth[int(bests[n] or 0), 1])
    at = int(bests[pick] or 0)
    best = _choice(field, first, at, tables, settings, row, rival, height, rigged)
    told: tuple[Sensitivity, ...] = ()
    tips: tuple[str, ...] = ()
    if field.spot.levels[int(field.levels[row])].planned:
        rig = tables.rigs[first.way.rig]
        tracks = first.tracks or found.tracks(first.way, [row])
        told = sensitivity_of(field, row, rig, first, at, tracks, settings)
        tips = tuple(
            reasons.tip_words(tip.kind, tip.band_time_s, tip.angle_deg, best, settings.units)
            for tip in tips_of(field, row, rig, first, at, tracks, settings)
        )
    return Advice(
        field.spot.spot.id, best, rival, by_line=found.by_line[row], limits=limits, sensitivity=told, tips=tips
    )


def _choice(
    field: Field,
    candidate: Candidate,
    at: int,
    tables: SwimTables,
    settings: Settings,
    row: int,
    rival: Choice | None,
    rival_height_m: float,
    rigged: set[str] | None = None,
    *,
    compromise: bool = False,
) -> Choice:
    """The record of a candidate fished with the countdown at an index."""
    rig, planned = tables.rigs[candidate.way.rig], field.spot.levels[int(field.levels[row])].planned
    limit = 1.0 if compromise else settings.hang_limit
    first, last = countdown_window(candidate.seconds, candidate.band, candidate.hang, at, limit)
    after = int(np.searchsorted(candidate.seconds, last)) + 1
    hang_next = float(candidate.hang[after]) if after < len(candidate.hang) else math.nan
    lift = float(candidate.lift[at])
    choice = Choice(
        line=rig.line_name,
        fly=rig.fly_name,
        countdown_mode=candidate.way.mode,
        countdown_from_s=first,
        countdown_to_s=last,
        strip_m_s=candidate.way.strip_m_s,
        lift_rod_at_m=lift if lift == lift else constant("pickup_length"),
        fly_depth_m=tuple(float(depth) for depth in candidate.depth[at]),  # type: ignore[arg-type]
        band_time_s=float(candidate.band[at]),
        touch_chance=float(candidate.touch[at]),
        hang_chance=float(candidate.hang[at]),
        why="",
        countdown_best_s=float(candidate.seconds[at]),
        swim_s=float(candidate.swim[at]),
        refined=candidate.refined,
        bed_m=float(candidate.bed[at]),
        leader_m=math.nan if rig.like is None else rig.line.leader_length_m,
        seconds=_by_second(candidate) if candidate.refined and planned else (),
    )
    second = "" if rival is None else reasons.told_second(choice, rival, rigged or set())
    why = reasons.why(
        choice, float(candidate.bed[at]), hang_next, rival, rival_height_m, settings.hang_limit, settings.units, second
    )
    return Choice(**{**choice.__dict__, "why": why})


def _out_of_reach(
    field: Field, row: int, found: Found, n: int, deepest_m: float, tables: SwimTables, settings: Settings
) -> str:
    """Why nothing reaches, told of the candidate that swims deepest; at a level that is planned for, what would."""
    spot, candidate = field.spot, found.candidates[row][n]
    rig, level = tables.rigs[candidate.way.rig], spot.levels[int(field.levels[row])]
    would, ways = None, []
    if level.planned:
        would = class_that_would(field, row, found, tables.rigs, settings)
    if level.planned and would is None:
        tracks, at = candidate.tracks or found.tracks(candidate.way, [row]), int(np.argmax(candidate.depth[:, 1]))
        tips = tips_of(field, row, rig, candidate, at, tracks, settings)
        ways = [reasons.way_words(tip.kind, tip.band_time_s, tip.angle_deg) for tip in tips]
    return reasons.nothing_reaches(
        f"{rig.fly_name} on {rig.line_name}",
        deepest_m,
        level.depth_m - spot.hold_high_m,
        rig.line.sink_rate_m_s,
        settings.units,
        swum=level.planned,
        would=would,
        ways=ways,
    )


def _by_second(candidate: Candidate) -> tuple[tuple[float, float, float, float], ...]:
    parts = (candidate.seconds, candidate.band, candidate.touch, candidate.hang)
    return tuple((float(c), float(b), float(t), float(h)) for c, b, t, h in zip(*parts, strict=True))


def _nothing(
    field: Field,
    found: Found,
    row: int,
    tables: SwimTables,
    settings: Settings,
    limits: tuple[str, ...],
) -> Advice:
    """What to say where no swim is admissible: nothing reaches, or everything that does hangs."""
    spot, candidates = field.spot, found.candidates[row]
    level = spot.levels[int(field.levels[row])]
    most = [int(np.argmax(c.band)) for c in candidates]
    reach = max(float(c.band[n]) for c, n in zip(candidates, most, strict=True))
    if reach < constants()["least_band_s"]:
        deep = [(float(c.depth[:, 1].max()), n) for n, c in enumerate(candidates)]
        deepest_m, n = max(deep)
        because = _out_of_reach(field, row, found, n, deepest_m, tables, settings)
        return Advice(spot.spot.id, None, None, because, by_line=found.by_line[row], limits=limits, beyond_reach=True)
    # the compromise: most band time for each chance of a hang, the limit as the price of the first; one that fishes
    fishes = [c for c in candidates if float(c.band.max()) >= constants()["least_band_s"]]
    candidates = [c for c in fishes if is_own(c.way, tables.rigs)] or fishes  # told without its leader
    prices = [
        np.where(c.band >= constants()["least_band_s"], c.band, 0.0) / np.maximum(settings.hang_limit + c.hang, 1e-9)
        for c in candidates
    ]
    n = int(np.argmax([w.max() for w in prices]))
    least = _choice(field, candidates[n], int(np.argmax(prices[n])), tables, settings, row, None, 0.0, compromise=True)
    doubts: dict[str, float] = {}
    if level.planned:
        rig, tracks = tables.rigs[candidates[n].way.rig], candidates[n].tracks or found.tracks(candidates[n].way, [row])
        doubts = variances(field, row, rig, least.countdown_best_s, tracks)
    because = reasons.nothing_hangs_less(least, doubts, settings.hang_limit, settings.units)
    return Advice(spot.spot.id, None, None, because, by_line=found.by_line[row], compromise=least, limits=limits)
