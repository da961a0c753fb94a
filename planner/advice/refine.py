"""Direct swims of the finalists on the true cast, current and depth, in place of the canonical ones."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from planner.advice.draws import deviations, draw
from planner.advice.field import Field
from planner.advice.kept import hash_of, page_key
from planner.advice.objective import worth
from planner.advice.records import Settings
from planner.advice.search import Candidate, Found, candidate_of, ground_rows, page_of
from planner.advice.tables import EVERY_S, SAMPLES, Rig, SwimTables
from planner.advice.variants import is_own
from planner.advice.ways import way_key
from planner.advice.weigh import Tracks, weigh
from planner.errors import SwimFailed
from planner.sink import Cast, Current, Swim, line_with_sink_factor, swim

__all__ = ["corrected", "direct_swim", "refine_field"]

_NODES = 20  # segments of 0.4 to 0.75 m: within 1 % of finer ones, see the line physics notes
_STEP_S = 1.0 / 30.0
_TRIAL = (12, 0.05)  # a tip must give a quarter more: a few centimetres do not matter
_REFINED = 3


def direct_swim(
    field: Field, row: int, rig: Rig, candidate: Candidate, countdown_s: float, *, rough: bool = False
) -> Swim:
    """The candidate's swim over a free bed, on the spot's own cast and current; `rough` with few nodes, for a trial.

    Raises
    ------
    SwimFailed
        When the solver leaves its bounds.
    """
    spot, i = field.spot, int(field.levels[row])
    level = spot.levels[i]
    boat = float(field.ground.boat_m_s[row])
    cast = Cast(
        max(spot.cast_m, 1.0),
        spot.angle_deg if spot.river else 0.0,
        candidate.way.strip_m_s,
        countdown_s,
        candidate.way.mode,
        spot.spot.stance,
        boat if spot.spot.stance == "drifting" else 0.0,
    )
    exponent = level.exponent_m if level.exponent_m == level.exponent_m else field.canon.exponent_m
    current = Current(field.current(i), level.depth_m, exponent)
    line = line_with_sink_factor(rig.line, math.exp(rig.sink_shift)) if rig.sink_shift else rig.line
    nodes, step = _TRIAL if rough else (_NODES, _STEP_S)
    return swim(line, rig.fly, cast, current, nodes=nodes, dt=step)


def corrected(tracks: Tracks, path: Swim, countdown_s: float) -> Tracks:
    """Tracks of one level moved onto a direct swim from one countdown.

    The difference between the direct swim and the table's from the same countdown is added to the table's retrieves
    from all countdowns, at equal shares of the retrieve, and the duration is scaled alike: the two differ by geometry
    and resolution, which the countdown hardly touches. The responses stay.

    Parameters
    ----------
    tracks : Tracks
        Of one level (L = 1).
    path : Swim
        Direct swim.
    countdown_s : float
        Its countdown [s].
    """
    knots = tracks.knots_s
    k = int(np.clip(np.searchsorted(knots, countdown_s, side="right") - 1, 0, len(knots) - 2))
    b = float(np.clip((countdown_s - knots[k]) / (knots[k + 1] - knots[k]), 0.0, 1.0))
    table = (1 - b) * tracks.retrieve[0, :6, k] + b * tracks.retrieve[0, :6, k + 1]
    lasts = (1 - b) * tracks.duration_s[0, k] + b * tracks.duration_s[0, k + 1]
    after = path.phase > 0
    time = path.times_s[after] - path.times_s[after][0]
    at = (np.arange(SAMPLES) + 0.5) / SAMPLES * time[-1]
    places = (path.fly_depth_m, path.fly_x_m, path.fly_y_m, path.low_depth_m)
    shift = np.zeros((6, SAMPLES))
    for row, place in enumerate(places):
        shift[row] = np.interp(at, time, place[after]) - table[row]
    shift[4:6] = shift[1:3]
    count = tracks.count.copy()
    moments = EVERY_S * (np.arange(count.shape[2]) + 1)
    inside = np.minimum(moments, countdown_s)
    before = path.phase == 0
    if before.sum() > 1:
        for row, place in enumerate(places):
            held = np.interp(inside, path.times_s[before], place[before])
            reference = np.interp(inside, moments, tracks.count[0, row])
            count[0, row] += held - reference
        count[0, 4:6] += count[0, 1:3] - tracks.count[0, 1:3]
    retrieve = tracks.retrieve.copy()
    retrieve[0, :6] += shift[:, None, :]
    for row in (0, 3):
        retrieve[0, row] = np.maximum(retrieve[0, row], 0.0)
        count[0, row] = np.maximum(count[0, row], 0.0)
    return Tracks(
        count=count,
        retrieve=retrieve,
        duration_s=tracks.duration_s * (time[-1] / lasts),
        taut=tracks.taut,
        knots_s=knots,
        every_s=tracks.every_s,
        fed=tracks.fed,
        sunk_m=tracks.sunk_m,
    )


def _aim(candidate: Candidate, rigs: list[Rig], limit: float) -> tuple[float, float, int]:
    """What it is worth within the limit, band time for its chance of a hang, and the countdown's index to solve at."""
    best = candidate.best(limit)
    price = candidate.band / (0.05 + candidate.hang)
    at = int(np.argmax(price)) if best is None else best
    own = is_own(candidate.way, rigs)
    return (0.0 if best is None else worth(float(candidate.band[best]), own=own)), float(price[at]), at


def refine_field(
    field: Field, tables: SwimTables, found: Found, settings: Settings, picks: Sequence[int | None]
) -> int:
    """Solve the finalists directly at the levels that ask for it, weigh them anew; give the number of swims.

    The one that would be advised at a row (`picks`) comes first, then those that are worth most. A finalist whose
    direct swim fails keeps its table's answer. What is found at a step near the level that is planned for is kept with
    the spot's other weights (see `kept`), for the same step comes again; the planned level does not.
    """
    full, solved = deviations(draw(settings.draws, settings.seed)), []

    def weighed(row: int, candidate: Candidate, second: float) -> tuple[np.ndarray, Tracks]:
        rig = tables.rigs[candidate.way.rig]
        path = direct_swim(field, row, rig, candidate, second)
        solved.append(row)
        tracks = corrected(found.tracks(candidate.way, [row]), path, second)
        ground, spread = ground_rows(field.ground, [row]), field.spread(rig, field.levels[[row]])
        return page_of(weigh(tracks, ground, spread, full, candidate.seconds, depths=True))[:, 0], tracks

    def kept(row: int, candidate: Candidate, second: float) -> np.ndarray:
        key = _direct_key(field, row, candidate, second, tables, settings)
        return field.book.take([key], lambda _: [weighed(row, candidate, second)[0]])[0]

    for row, i in enumerate(field.levels):
        level = field.spot.levels[i]
        if not (level.planned or level.near):
            continue
        aims = [_aim(candidate, tables.rigs, settings.hang_limit) for candidate in found.candidates[row]]
        chosen = sorted(range(len(aims)), key=lambda n: (n == picks[row], aims[n][:2]), reverse=True)[:_REFINED]
        for n in chosen:
            candidate = found.candidates[row][n]
            second, tracks = float(candidate.seconds[aims[n][2]]), None
            try:
                if level.planned:
                    page, tracks = weighed(row, candidate, second)
                else:
                    page = kept(row, candidate, second)
            except SwimFailed:
                continue
            again = candidate_of(candidate.way, candidate.seconds, page)
            found.candidates[row][n] = replace(again, refined=True, tracks=tracks)
    return len(solved)


def _direct_key(
    field: Field, row: int, candidate: Candidate, second: float, tables: SwimTables, settings: Settings
) -> bytes:
    """Key of a candidate's weights from a direct swim: beside what its table's depend on, the true cast and current."""
    spot, i = field.spot, int(field.levels[row])
    true = (spot.cast_m, spot.angle_deg, field.current(i), spot.levels[i].depth_m, spot.levels[i].exponent_m)
    there = hash_of(field.row_keys[row], np.array(true, dtype=float), spot.spot.stance, second)
    span = f"{candidate.seconds[0]:.0f} to {candidate.seconds[-1]:.0f}"
    return page_key(there, way_key(candidate.way, tables, settings, settings.draws), f"true {span}")
