"""The records of the weighing: swims as tracks with their responses, what lies under them, what became of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.advice.records import BedPatch

__all__ = ["CHANNELS", "RESPONSES", "Ground", "Tracks", "Weighed"]

RESPONSES = ("current", "sink_rate", "drag_area", "lift", "boat")
CHANNELS = (
    "depth",
    "x",
    "y",
    "low_depth",
    "low_x",
    "low_y",
    *(f"{which}_{name}" for name in RESPONSES for which in ("depth", "low_depth")),
)


@dataclass(frozen=True)
class Tracks:
    """Tracks of one rig fished one way, at L levels.

    Parameters
    ----------
    count : numpy.ndarray
        Tracks in the countdown, shape (L, len(CHANNELS), Tc): metres, and responses in metres per unit.
    retrieve : numpy.ndarray
        Tracks in the retrieve at the knots, sampled at equal shares of its duration, shape (L, channels, C, S).
    duration_s : numpy.ndarray
        Duration of the retrieve at the knots, shape (L, C) [s].
    taut : numpy.ndarray
        Share of it after which the line is tight, shape (L, C) [1].
    knots_s : numpy.ndarray
        Countdowns of the knots, shape (C,) [s].
    every_s : float
        Step of the countdown's samples, the first at `every_s` after the landing [s].
    fed : bool
        Whether line is fed or laid up-current in the countdown, so that it is slack.
    sunk_m : numpy.ndarray
        Length of leader and sinking part, shape (L,) [m].
    """

    count: np.ndarray
    retrieve: np.ndarray
    duration_s: np.ndarray
    taut: np.ndarray
    knots_s: np.ndarray
    every_s: float
    fed: bool
    sunk_m: np.ndarray


@dataclass(frozen=True)
class Ground:
    """What lies under the swim, and how the swim's frame lies over it.

    Parameters
    ----------
    patch : BedPatch
        Without NaN, see `lay.filled`.
    down, across : tuple of float
        East and north parts of the swim's two axes [1].
    landing : tuple of float
        Place of the landing in the swim's frame [m].
    rise_m, boat_m_s, landing_depth_m : numpy.ndarray
        Surface above the patch's reference [m], speed of the stance [m/s], depth at the landing [m], shape (L,).
    hold_low_m, hold_high_m : float
        Hold band [m].
    """

    patch: BedPatch
    down: tuple[float, float]
    across: tuple[float, float]
    landing: tuple[float, float]
    rise_m: np.ndarray
    boat_m_s: np.ndarray
    landing_depth_m: np.ndarray
    hold_low_m: float
    hold_high_m: float


@dataclass(frozen=True)
class Weighed:
    """What became of the swims, arrays of shape (L, W) for W countdowns.

    `lift_at_m` is the horizontal distance from the rod tip at which the rod is lifted [m], NaN when only at the
    pick-up; `swim_s` the duration of the swim up to there [s]; `depth_m` the fly's mean depth in the retrieve over the
    spot's water under each draw, shape (L, W, N) [m], empty unless asked for; `bed_m` the bed's mean depth there [m];
    `fate` what happened under each draw, shape (L, W, N): 0 clean, 1 touched, 2 hung; empty unless asked for.
    """

    band_time_s: np.ndarray
    touch_chance: np.ndarray
    hang_chance: np.ndarray
    lift_at_m: np.ndarray
    swim_s: np.ndarray
    depth_m: np.ndarray
    bed_m: np.ndarray
    fate: np.ndarray
