"""One swim at full resolution, from landing to pick-up, over a level bed, an uneven one or a free one."""

from __future__ import annotations

import math

import numpy as np

from planner.errors import UsageMistake
from planner.sink.batch import (
    FINE,
    FINER,
    LEVEL,
    SCENARIO,
    STRETCH_BOUND,
    SWING,
    check_bounds,
    out_of_bounds,
    retrieve_seconds,
    scenario_row,
    water_constants,
)
from planner.sink.bedgrid import BedGrid, across_table
from planner.sink.columns import FLAG_COLUMNS, RECORD_COLUMNS, SCENARIO_FIELDS
from planner.sink.course import run_one, scratch
from planner.sink.drag import cn_table
from planner.sink.fly import Fly
from planner.sink.line import Line
from planner.sink.records import Cast, Current, Swim

__all__ = ["swim"]

NODES = 30
STEP = 0.02


def swim(
    line: Line,
    fly: Fly,
    cast: Cast,
    current: Current,
    bed_depth_m: float | BedGrid | None = None,
    *,
    nodes: int = NODES,
    dt: float = STEP,
    every_s: float = 0.1,
    cn: float | None = None,
    swing_s: float = SWING,
    film_n_m: float = 0.0,
) -> Swim:
    """The whole path of the fly: landing, countdown, retrieve and lift.

    The line lands straight on the surface, moving with the water. Held, its length is kept through the countdown;
    fed, slack runs out at the tip without tension as fast as the surface water passes it. The retrieve takes in line
    at the strip's mean speed; slack comes in first. With the pick-up length out, the rod tip rises.

    Parameters
    ----------
    line, fly : Line, Fly
        What is cast.
    cast : Cast
        How it is cast and fished.
    current : Current
        The water; in its own depth H the profile ends, below it the near-bed value stands.
    bed_depth_m : float or BedGrid, optional
        Depth of a level bed [m], or depths over places about the rod tip's foot; free when not given.
    nodes : int
        Nodes from fly to rod tip.
    dt, every_s : float
        Longest time step and time between records [s].
    cn : float, optional
        One normal drag coefficient for all Reynolds numbers, to compare with models that have no Reynolds law.
    swing_s : float
        How long a line that is not stripped is followed [s].
    film_n_m : float
        The most that the surface film holds up of floating line, per metre [N/m]; 0 leaves it out. Twice the surface
        tension of water, 0.146, bounds it.

    Returns
    -------
    Swim

    Raises
    ------
    UsageMistake
        When the bed's depth is not above zero, or nodes or steps do not fit.
    SwimFailed
        When a speed or tension leaves its physical bounds.

    Examples
    --------
    A 200 grain head of 26 ft, 5 in/s, with a slim heavy fly, 15 m across a current of 0.6 m/s 2.5 m deep:

    >>> from planner.sink.fly import fly_from_class
    >>> from planner.sink.line import line_from_head
    >>> line = line_from_head(26 * 0.3048, 200 * 64.79891e-6, 5 * 0.0254)
    >>> path = swim(line, fly_from_class("low", "heavy"), Cast(15.0, 90.0, 0.45, 4.0, "fed"), Current(0.6, 2.5), 2.5)
    >>> path.touched, bool(path.max_depth_m > path.mean_depth_retrieve_m > 0.5)
    (False, True)
    """
    bed = math.inf if bed_depth_m is None or isinstance(bed_depth_m, BedGrid) else float(bed_depth_m)
    if not 0.0 <= film_n_m <= 0.146:
        raise UsageMistake(f"a surface film of {film_n_m} N/m", "0 to 0.146 N/m", "correct the film")
    if not bed > 0.0:
        raise UsageMistake(f"a bed at {bed_depth_m} m", "a depth above zero", "correct the depth")
    if nodes < 4 or not 0.0 < dt <= every_s:
        raise UsageMistake(f"{nodes} nodes, step {dt} s", "at least 4 nodes and a step below every_s", "correct them")
    batch = np.array([scenario_row(line, fly, cast, current, bed, film_n_m)], dtype=SCENARIO)
    packed = batch.view(np.float64).reshape(1, len(SCENARIO_FIELDS))
    stride = math.ceil(every_s / dt - 1e-9)
    step_s = every_s / stride
    steps = round(cast.countdown_s / step_s)
    columns = len(RECORD_COLUMNS)
    table, space = cn_table(cn), scratch(nodes)
    ground = bed_depth_m.packed() if isinstance(bed_depth_m, BedGrid) else LEVEL
    across = across_table(current) if current.across_y_m else LEVEL
    down = np.empty((steps // stride + 1, columns))
    back = np.empty((1, int(retrieve_seconds(batch, cast.countdown_s, swing_s=swing_s) / every_s) + 2, columns))
    flags = np.empty((1, len(FLAG_COLUMNS)))
    for finer, stiffer in FINER:
        counts = np.array([steps * finer], dtype=np.int64)
        run_one(
            packed[0],
            counts,
            nodes,
            step_s / finer,
            stride * finer,
            table,
            water_constants(stiffer),
            down,
            back,
            flags,
            *space,
            ground,
            across,
        )
        if not out_of_bounds(flags, STRETCH_BOUND, whips=finer >= FINE).any():
            break
    check_bounds(flags)
    flag = dict(zip(FLAG_COLUMNS, flags[0], strict=True))
    records = int(flag["records"])
    back_times = steps * step_s + np.arange(records) * every_s
    down_times = np.arange(down.shape[0]) * every_s
    shared = down_times < back_times[0] - 1e-9  # the first strip has its own record
    rows = np.concatenate([down[shared], back[0, :records]])
    times = np.concatenate([down_times[shared], back_times])
    column = dict(zip(RECORD_COLUMNS, rows.T, strict=True))
    phase = column["phase"].astype(int)
    retrieve = phase == 1
    relative = float(np.mean(column["relative_m_s"][retrieve])) if retrieve.any() else math.nan
    sunk = min(line.head_length_m, max(cast.cast_m - line.leader_length_m, 0.0))
    return Swim(
        times_s=times,
        fly_depth_m=column["depth_m"].copy(),
        fly_x_m=column["x_m"].copy(),
        fly_y_m=column["y_m"].copy(),
        fly_distance_m=np.hypot(column["x_m"], column["y_m"]),
        tension_n=column["tension_n"].copy(),
        phase=phase,
        low_depth_m=column["low_depth_m"].copy(),
        line_out_m=column["line_out_m"].copy(),
        depth_at_strip_start_m=float(back[0, 0, 0]),
        mean_depth_retrieve_m=float(np.mean(column["depth_m"][retrieve])) if retrieve.any() else math.nan,
        max_depth_m=float(np.max(column["depth_m"])),
        touched=bool(flag["touched"]),
        touch_at_m=float(flag["touch_at_m"]),
        hang=bool(flag["hang"]),
        relative_speed_m_s=relative,
        sanity_depth_m=sunk * min(1.0, line.sink_rate_m_s / relative)
        if relative > 0.0 < line.sink_rate_m_s
        else math.nan,
        fed_m=float(flag["fed_m"]),
        line=line,
        height_m=column["height_m"].copy(),
        clearance_m=column["clearance_m"].copy(),
        fly_speed_m_s=column["relative_m_s"].copy(),
        stretch=float(flag["max_stretch"]),
        low_distance_m=np.hypot(column["low_x_m"], column["low_y_m"]),
    )
