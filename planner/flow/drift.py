"""How long a drifting boat takes down a run."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from planner.bed.constants import constants
from planner.flow.field import node_speeds
from planner.flow.profile import exponent_of, surface_speed
from planner.flow.state import TEN_NINETY, FlowState

if TYPE_CHECKING:
    from planner.flow.runflow import RunFlow

__all__ = ["drift_speeds", "drift_time"]

Floats = npt.NDArray[np.float64]


def drift_speeds(flow: RunFlow, state: FlowState) -> tuple[Floats, Floats]:
    """Stations along a run [m] and the surface current down the thread of its fastest water there [m/s].

    The mean over the fastest quarter of the width that is wet: a boat keeps to the thread but not to its very middle.
    """
    grid = flow.bed.grid if flow.bed is not None else None
    if grid is None or not math.isfinite(state.velocity_used_m_s):
        return np.empty(0), np.empty(0)
    depth = state.level_m - grid.z
    speed = np.where(depth > 0.1, node_speeds(flow, grid, state), 0.0)
    wet = (speed > 0).sum(axis=1)
    order = np.sort(speed, axis=1)[:, ::-1]
    count = np.maximum(np.ceil(wet / 4).astype(int), 1)
    thread = np.cumsum(order, axis=1)[np.arange(len(count)), count - 1] / count
    n = flow.n_calibrated if math.isfinite(flow.n_calibrated) else state.n
    return grid.s, surface_speed(thread, exponent_of(n, np.maximum(depth.max(axis=1), 0.05)))


def drift_time(
    flow: RunFlow,
    state: FlowState,
    start: tuple[float, float] | None = None,
    end: tuple[float, float] | None = None,
    ratio: float = 1.0,
) -> tuple[float, float, float]:
    """Time that a boat drifts along the flowline [s], with its 10 and 90 %.

    Parameters
    ----------
    flow, state : RunFlow, FlowState
        The run and its water.
    start, end : tuple of float, optional
        Lon, lat [degrees] of the ends; head and tail of the run when not given.
    ratio : float
        Boat speed over surface current: 1 free drift, less when the oars hold it back.

    Returns
    -------
    time, low, high : float
        t = integral of ds / (ratio u_s) (1) [s]; NaN where the current is unknown, infinite where it stands.
    """
    s, speed = drift_speeds(flow, state)
    if not len(s) or not ratio > 0:
        return math.nan, math.nan, math.nan

    def along(point: tuple[float, float] | None, default: float) -> float:
        if point is None:
            return default
        return float(np.clip(flow.frame.to_sn(*flow.plane.to_xy(*point))[0], s[0], s[-1]))

    a, b = along(start, float(s[0])), along(end, float(s[-1]))
    if b < a:
        return math.nan, math.nan, math.nan
    at = np.linspace(a, b, 200)
    pace = ratio * np.interp(at, s, speed)
    if not (pace > 0).all():
        return math.inf, math.inf, math.inf
    time = float(np.trapezoid(1.0 / pace, at))
    spread = math.hypot(state.velocity_ln_sd, constants("flow")["drift_ratio_sd"])
    return time, time * math.exp(-TEN_NINETY * spread), time * math.exp(TEN_NINETY * spread)
