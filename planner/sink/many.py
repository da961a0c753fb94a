"""Many swims over a bed at once, each with what it comes to: arrays of scenarios in, arrays of swims out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planner.errors import UsageMistake
from planner.sink.batch import LEVEL, STRETCH_BOUND, Scenarios, solve
from planner.sink.bedgrid import BedGrid, across_table
from planner.sink.columns import FLAG_COLUMNS, RECORD_COLUMNS
from planner.sink.records import Current

__all__ = ["Swims", "swim_many"]


@dataclass(frozen=True)
class Swims:
    """Swims of B scenarios from C countdowns, T records each; NaN after the pick-up.

    Attributes
    ----------
    countdowns_s : array, shape (C,)
        Countdowns as simulated (whole steps) [s].
    times_s : array, shape (T,)
        Time since the first strip [s].
    depth, distance, tension, height, clearance : array, shape (B, C, T)
        Depth of the fly [m], its horizontal distance from the rod tip [m], tension there [N], height of the fly above
        the bed [m], and least height of any node above it [m]; infinite heights over a free bed.
    count_depth, count_height : array, shape (B, Tc)
        Depth and height of the fly in the countdown that all counts share [m].
    touched, hang : array of bool, shape (B, C)
        Whether any node touched the bed, and whether it hung there.
    touch_at_m : array, shape (B, C)
        Horizontal distance of the first touch from the rod tip [m]; NaN when none.
    band_time_s : array, shape (B, C)
        Seconds of the whole swim, countdown included, that the fly spends in the hold band [s].
    fed_m, stretch : array, shape (B, C)
        Line fed [m], largest stretch of a link below the one at the tip [1].
    """

    countdowns_s: np.ndarray
    times_s: np.ndarray
    depth: np.ndarray
    distance: np.ndarray
    tension: np.ndarray
    height: np.ndarray
    clearance: np.ndarray
    count_depth: np.ndarray
    count_height: np.ndarray
    touched: np.ndarray
    hang: np.ndarray
    touch_at_m: np.ndarray
    band_time_s: np.ndarray
    fed_m: np.ndarray
    stretch: np.ndarray


def swim_many(
    batch: Scenarios,
    countdowns_s: Sequence[float] | np.ndarray,
    *,
    hold_band_m: tuple[float, float] = (0.15, 0.60),
    bed: BedGrid | None = None,
    current: Current | None = None,
    nodes: int = 20,
    dt: float = 0.04,
    every_s: float = 0.25,
) -> Swims:
    """Swims of many scenarios over their beds, from all countdowns, on all cores; the countdown is solved once.

    Parameters
    ----------
    batch : array of SCENARIO, shape (B,)
        From `scenarios`; write ``batch["bed_depth_m"]`` for level beds (infinite, free, unless written).
    countdowns_s : sequence of float, shape (C,)
        Countdowns, ascending [s].
    hold_band_m : tuple of float
        Heights above the bed between which the fly's time is counted [m].
    bed : BedGrid, optional
        One uneven bed under all scenarios, in place of the level ones.
    current : Current, optional
        Gives all scenarios its shares across the run; its speed and depth are not taken.
    nodes, dt, every_s : int, float, float
        As `free_swims`.

    Raises
    ------
    UsageMistake
        When the countdowns do not ascend, or the band does not.
    SwimFailed
        When a speed or tension leaves its physical bounds.

    Examples
    --------
    Two flies on one line, each from a count of 0, 3 and 6 s, over a bed 2.4 m down; the count is solved once for each
    fly and shared. All results have shape (scenarios, countdowns) or (scenarios, countdowns, times):

    >>> from planner.sink import Cast, scenarios
    >>> from planner.sink.fly import fly_from_class
    >>> from planner.sink.line import line_from_head
    >>> line = line_from_head(7.9, 16e-3, 0.127)
    >>> cast, water = Cast(14.0, 60.0, 0.45, mode="fed"), Current(0.6, 2.4)
    >>> flies = fly_from_class("low", "heavy"), fly_from_class("high", "none")
    >>> batch = scenarios([(line, fly, cast, water) for fly in flies])
    >>> batch["bed_depth_m"] = 2.4
    >>> swims = swim_many(batch, [0.0, 3.0, 6.0], hold_band_m=(0.3, 1.0))
    >>> swims.depth.shape[:2], swims.touched.tolist()
    ((2, 3), [[False, False, False], [False, False, False]])
    >>> [[round(float(depth), 1) for depth in fly] for fly in swims.depth[:, :, 0]]
    [[0.0, 0.7, 1.5], [0.0, 0.1, 0.1]]
    >>> bool(swims.band_time_s[0, 0] < swims.band_time_s[0, 2])  # seconds between 0.3 and 1.0 m above the bed
    True

    What is uncertain is written into the array, one scenario for each draw:

    >>> drawn = np.repeat(batch[:1], 3)
    >>> drawn["fly_towed_area_m2"] *= [0.7, 1.0, 1.4]
    >>> depths = np.nanmean(swim_many(drawn, [3.0]).depth, axis=2)[:, 0]
    >>> bool(np.all(np.diff(depths) < 0.0))
    True
    """
    low, high = hold_band_m
    if not 0.0 <= low < high:
        raise UsageMistake(f"a hold band of {low} to {high} m", "two rising heights from 0 m", "correct the band")
    ground = LEVEL if bed is None else bed.packed()
    across = LEVEL if current is None or not current.across_y_m else across_table(current)
    counts, step_s, stride, down, back, flags = solve(
        batch,
        countdowns_s,
        nodes,
        dt,
        every_s,
        columns=len(RECORD_COLUMNS),
        free=False,
        stretch=STRETCH_BOUND,
        ground=ground,
        across=across,
    )
    column = {name: index for index, name in enumerate(RECORD_COLUMNS)}
    flag = {name: flags[..., index] for index, name in enumerate(FLAG_COLUMNS)}
    height, count_height = back[..., column["height_m"]], down[..., column["height_m"]]
    with np.errstate(invalid="ignore"):
        held = ((height >= low) & (height <= high)).sum(axis=2)
        before = np.cumsum((count_height >= low) & (count_height <= high), axis=1)
    ended = counts // stride  # records of the countdown before the strip starts
    counted = np.where(ended > 0, before[:, np.maximum(ended - 1, 0)], 0)
    return Swims(
        countdowns_s=counts * step_s,
        times_s=np.arange(back.shape[2]) * every_s,
        depth=back[..., column["depth_m"]],
        distance=np.hypot(back[..., column["x_m"]], back[..., column["y_m"]]),
        tension=back[..., column["tension_n"]],
        height=height,
        clearance=back[..., column["clearance_m"]],
        count_depth=down[..., column["depth_m"]],
        count_height=count_height,
        touched=flag["touched"] > 0.0,
        hang=flag["hang"] > 0.0,
        touch_at_m=flag["touch_at_m"],
        band_time_s=(held + counted) * every_s,
        fed_m=flag["fed_m"],
        stretch=flag["max_stretch"],
    )
