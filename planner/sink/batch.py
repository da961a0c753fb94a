"""Many swims over a free bed at once, for the advice: struct of arrays in, struct of arrays out."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from planner.errors import SwimFailed, UsageMistake
from planner.sink.columns import FLAG_COLUMNS, RECORD_COLUMNS, SCENARIO_FIELDS
from planner.sink.constants import constant
from planner.sink.course import PICKUP_TIME, RAMP, run_one, scratch
from planner.sink.drag import cn_table
from planner.sink.fly import Fly
from planner.sink.line import Line
from planner.sink.records import MODES, Cast, Current

__all__ = [
    "FINER",
    "LEVEL",
    "SCENARIO",
    "STRETCH_BOUND",
    "FreeSwims",
    "Scenarios",
    "free_swims",
    "retrieve_seconds",
    "scenario_row",
    "scenarios",
    "solve",
    "water_constants",
]

SCENARIO = np.dtype([(name, "f8") for name in SCENARIO_FIELDS])
Scenarios = np.ndarray  # structured, dtype SCENARIO, shape (B,)

LEVEL = np.zeros(1)  # no bed over x and y, no current across
SWING = 30.0  # a line that is not stripped is followed this long [s]
# a hard jerk, of slack that comes tight in fast water, asks for shorter steps, so many for each one, and stiffer links
FINER = ((1, 1.0), (2, 1.0), (4, 1.0), (8, 4.0), (16, 16.0), (32, 64.0), (64, 256.0))
STRETCH_BOUND = 0.005
# beyond these a swim is solved again with finer steps ...
SPEED_BOUND, TENSION_BOUND = 8.0, 50.0
# ... and beyond these it is refused: where slack comes tight in water of 3 to 4 m/s the free end cracks like a whip, at
# three to four times the water's speed by every step and stiffness, and a short pull of a long line takes its weight
WHIP_BOUND, BREAK_BOUND = 20.0, 100.0
FINE = 16  # the steps so many times finer at which those wider bounds are taken


def scenario_row(
    line: Line, fly: Fly, cast: Cast, current: Current, bed_depth_m: float = math.inf, film_n_m: float = 0.0
) -> tuple:
    """The fields of `SCENARIO` for one swim, in order."""
    front, middle, back = line.steps_of_three()
    return (
        line.running_diameter_m,
        line.running_density_kg_m3,
        line.rear_length_m,
        line.rear_diameter_m,
        line.rear_density_kg_m3,
        *back,
        line.leader_length_m,
        line.leader_diameter_m,
        line.leader_density_kg_m3,
        fly.mass_kg,
        fly.volume_m3,
        fly.towed_area_m2,
        fly.broadside_area_m2,
        fly.lift_area_m2,
        cast.cast_m,
        cast.angle_deg,
        cast.strip_m_s,
        float(MODES.index(cast.mode)),
        cast.boat_speed_m_s,
        cast.tip_height_m,
        cast.pickup_m,
        cast.lift_at_m,
        cast.lift_height_m,
        current.mean_m_s,
        current.depth_m,
        current.exponent_m,
        bed_depth_m,
        *front,
        *middle,
        cast.pull_s if cast.pause_s > 0.0 else 0.0,
        cast.pause_s,
        cast.mend_every_s,
        film_n_m,
    )


def scenarios(rows: Sequence[tuple[Line, Fly, Cast, Current]]) -> Scenarios:
    """Pack swims into the structured array that `free_swims` takes.

    Parameters
    ----------
    rows : sequence of (Line, Fly, Cast, Current)
        One per scenario. Fields of the result may be changed in place to draw from their spread, e.g.
        ``batch["fly_towed_area_m2"] *= factor``; `drag.density_for_sink_rate` gives ``head_density_kg_m3``.

    Returns
    -------
    array of SCENARIO, shape (B,)
    """
    return np.array([scenario_row(*row) for row in rows], dtype=SCENARIO)


@dataclass(frozen=True)
class FreeSwims:
    """Swims over a free bed; NaN after the pick-up. x is downstream, y across, from the rod tip.

    Attributes
    ----------
    countdowns_s : array, shape (C,)
        Countdowns as simulated (whole steps) [s].
    times_s : array, shape (T,)
        Time since the first strip [s].
    depth, x, y : array, shape (B, C, T)
        The fly in retrieve and lift [m].
    low_depth, low_x, low_y : array, shape (B, C, T)
        The deepest node of line or fly [m].
    distance : array, shape (B, C, T)
        Horizontal distance of the fly from the rod tip [m].
    count_depth, count_x, count_y, count_low_depth, count_low_x, count_low_y : array, shape (B, Tc)
        The countdown, shared by all countdowns up to each one's end [m].
    fed_m : array, shape (B, C)
        Line fed during the countdown [m].
    ends : array of int, shape (B, C)
        Records before the NaN begins.
    """

    countdowns_s: np.ndarray
    times_s: np.ndarray
    depth: np.ndarray
    x: np.ndarray
    y: np.ndarray
    low_depth: np.ndarray
    low_x: np.ndarray
    low_y: np.ndarray
    distance: np.ndarray
    count_depth: np.ndarray
    count_x: np.ndarray
    count_y: np.ndarray
    count_low_depth: np.ndarray
    count_low_x: np.ndarray
    count_low_y: np.ndarray
    fed_m: np.ndarray
    ends: np.ndarray


def water_constants(stiffer: float = 1.0) -> np.ndarray:
    """Water density, viscosity, gravity, EA, tangential drag, bed friction and slack tension, for `course`."""
    names = (
        "water_density",
        "water_viscosity",
        "gravity",
        "axial_stiffness",
        "tangential_drag",
        "bed_friction",
        "hang_tension",
    )
    values = np.array([constant(name) for name in names])
    values[names.index("axial_stiffness")] *= stiffer
    return values


def retrieve_seconds(batch: Scenarios, countdown_s: float, longest_s: float = 180.0, swing_s: float = SWING) -> float:
    """Longest time from the first strip to the end of the pick-up [s], at most `longest_s`."""
    power = 1.0 / batch["exponent_m"]
    surface = np.abs(batch["mean_m_s"] * (1.0 + power) - batch["boat_speed_m_s"])
    # line fed runs no faster than the water, and a little more where a heavy line falls away from the tip
    fed = (batch["mode"] == 1.0) * (1.1 * surface + 0.2) * countdown_s
    # a mend lays out at most a twelfth of the cast more, and the current straightens it before the next
    fed += (batch["mode"] == 2.0) * batch["cast_m"] / 12.0 * (1.0 + countdown_s / batch["mend_every_s"])
    out = np.maximum(batch["cast_m"] + fed - batch["pickup_m"], 0.0)
    strip = batch["strip_m_s"]
    with np.errstate(divide="ignore", invalid="ignore"):
        seconds = np.where(strip > 0.0, out / strip + RAMP + PICKUP_TIME + batch["pull_s"] + batch["pause_s"], swing_s)
    return float(min(longest_s, np.max(seconds)))


def free_swims(
    batch: Scenarios,
    countdowns_s: Sequence[float] | np.ndarray,
    nodes: int = 10,
    dt: float = 0.04,
    every_s: float = 0.25,
) -> FreeSwims:
    """Swims of many scenarios over a free bed, from all countdowns, on all cores.

    The countdown is simulated once per scenario and shared.

    Parameters
    ----------
    batch : array of SCENARIO, shape (B,)
        From `scenarios`.
    countdowns_s : sequence of float, shape (C,)
        Countdowns, ascending [s]; each is rounded to whole time steps.
    nodes : int
        Nodes from the fly to the rod tip at landing, at least 4.
    dt : float
        Longest time step [s]; it is shortened to a whole part of `every_s`.
    every_s : float
        Time between records [s].

    Returns
    -------
    FreeSwims

    Raises
    ------
    UsageMistake
        When the countdowns do not ascend or there are fewer than 4 nodes.
    SwimFailed
        When a speed or tension leaves its physical bounds.
    """
    counts, step_s, _, down, back, flags = solve(batch, countdowns_s, nodes, dt, every_s, columns=7)
    T = back.shape[2]
    column = {name: index for index, name in enumerate(RECORD_COLUMNS)}

    def of(records: np.ndarray, name: str) -> np.ndarray:
        return records[..., column[name]]

    x, y = of(back, "x_m"), of(back, "y_m")
    return FreeSwims(
        countdowns_s=counts * step_s,
        times_s=np.arange(T) * every_s,
        depth=of(back, "depth_m"),
        x=x,
        y=y,
        low_depth=of(back, "low_depth_m"),
        low_x=of(back, "low_x_m"),
        low_y=of(back, "low_y_m"),
        distance=np.hypot(x, y),
        count_depth=of(down, "depth_m"),
        count_x=of(down, "x_m"),
        count_y=of(down, "y_m"),
        count_low_depth=of(down, "low_depth_m"),
        count_low_x=of(down, "low_x_m"),
        count_low_y=of(down, "low_y_m"),
        fed_m=flags[..., FLAG_COLUMNS.index("fed_m")],
        ends=flags[..., FLAG_COLUMNS.index("records")].astype(int),
    )


def solve(
    batch: Scenarios,
    countdowns_s: Sequence[float] | np.ndarray,
    nodes: int,
    dt: float,
    every_s: float,
    *,
    columns: int,
    free: bool = True,
    stretch: float = math.inf,
    ground: np.ndarray = LEVEL,
    across: np.ndarray = LEVEL,
) -> tuple[np.ndarray, float, int, np.ndarray, np.ndarray, np.ndarray]:
    """Solve as `free_swims`, anew with finer steps where a swim leaves its bounds or stretches by more than `stretch`.

    Gives counts in steps, the step [s], steps between records, and the records and flags of `course.run_one`.

    Raises
    ------
    UsageMistake, SwimFailed
        As `free_swims`.
    """
    counts_s = np.asarray(countdowns_s, dtype=float)
    if counts_s.ndim != 1 or counts_s.size == 0 or np.any(np.diff(counts_s) < 0) or counts_s[0] < 0:
        raise UsageMistake(f"countdowns {countdowns_s!r}", "ascending seconds, at least one", "sort the countdowns")
    if nodes < 4 or not 0.0 < dt <= every_s:
        raise UsageMistake(f"{nodes} nodes, step {dt} s", "at least 4 nodes and a step below every_s", "correct them")
    stride = math.ceil(every_s / dt - 1e-9)
    step_s = every_s / stride
    counts = np.rint(counts_s / step_s).astype(np.int64)
    B, C = batch.shape[0], counts.size
    T = int(retrieve_seconds(batch, float(counts_s[-1])) / every_s) + 2
    packed = np.ascontiguousarray(batch).view(np.float64).reshape(B, len(SCENARIO_FIELDS)).copy()
    if free:
        packed[:, SCENARIO_FIELDS.index("bed_depth_m")] = np.inf
    down = np.empty((B, int(counts[-1] // stride) + 1, columns))
    back = np.empty((B, C, T, columns))
    flags = np.empty((B, C, len(FLAG_COLUMNS)))
    around = ground, across
    _run_many(packed, counts, nodes, step_s, stride, down, back, flags, *around)
    for finer, stiffer in FINER[1:]:
        again = np.flatnonzero(out_of_bounds(flags, stretch, whips=finer > FINE).any(axis=1))
        if again.size == 0:
            break
        part = np.empty((again.size, *down.shape[1:])), np.empty((again.size, *back.shape[1:]))
        part_flags = np.empty((again.size, *flags.shape[1:]))
        shorter = nodes, step_s / finer, stride * finer
        _run_many(packed[again], counts * finer, *shorter, *part, part_flags, *around, stiffer)
        down[again], back[again], flags[again] = *part, part_flags
    check_bounds(flags)
    return counts, step_s, stride, down, back, flags


def _run_many(
    packed: np.ndarray,
    counts: np.ndarray,
    nodes: int,
    step_s: float,
    stride: int,
    down: np.ndarray,
    back: np.ndarray,
    flags: np.ndarray,
    ground: np.ndarray,
    across: np.ndarray,
    stiffer: float = 1.0,
) -> None:
    """`run_one` for each scenario on all cores.

    Threads, as the compiled code lets go of the interpreter's lock: no second compilation for a parallel loop, and
    several callers may run at once, which numba's own threads do not bear.
    """
    cn, water = cn_table(), water_constants(stiffer)
    size = packed.shape[0]
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    workers = max(1, min(cores, size))

    def share(first: int) -> None:
        space = scratch(nodes)
        for b in range(first, size, workers):
            records = down[b], back[b], flags[b]
            run_one(packed[b], counts, nodes, step_s, stride, cn, water, *records, *space, ground, across)

    if workers == 1:
        share(0)
        return
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(share, range(workers)))


def out_of_bounds(flags: np.ndarray, stretch: float = math.inf, whips: bool = False) -> np.ndarray:
    """True where a swim left its bounds of speed, tension and stretch; shape of `flags` without its last.

    ``whips`` takes the wider bounds, once the steps are fine enough to follow a line that cracks like a whip.
    """
    column = {name: flags[..., index] for index, name in enumerate(FLAG_COLUMNS)}
    speed, tension = (WHIP_BOUND, BREAK_BOUND) if whips else (SPEED_BOUND, TENSION_BOUND)
    within = (column["max_speed_m_s"] < speed) & (column["max_tension_n"] < tension)
    return ~(within & (column["max_stretch"] <= stretch))


def check_bounds(flags: np.ndarray) -> None:
    """Raise when a swim left its physical bounds: |v| under 20 m/s, tension finite and under 100 N.

    Raises
    ------
    SwimFailed
        Naming how many swims did and the worst values.
    """
    bad = out_of_bounds(flags, whips=True)
    if np.any(bad):
        speed, tension = (flags[..., FLAG_COLUMNS.index(name)] for name in ("max_speed_m_s", "max_tension_n"))
        raise SwimFailed(
            f"{int(bad.sum())} of {bad.size} swims reached {np.max(speed):.3g} m/s and {np.max(tension):.3g} N",
            f"speeds under {WHIP_BOUND:g} m/s and tensions under {BREAK_BOUND:g} N, more than a leader bears",
            "cast shorter, feed less or strip slower in water this fast",
        )
