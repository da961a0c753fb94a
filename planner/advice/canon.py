"""Canonical geometries and the grids of current and depth, so that swim tables outlive a gauge reading.

A swim over a free bed depends on the line, the fly, the cast and the current, not on the bed. Casts are snapped to
steps of angle and length, and swims are solved at fixed currents and depths; whatever the gauge reads tomorrow,
the same nodes serve and only their weights change.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planner.advice.records import AtLevel, SpotAtLevels, constants

__all__ = [
    "ANGLE_STEP_DEG",
    "BOAT_STEP",
    "CAST_STEP_M",
    "Canon",
    "boat_ratio",
    "canon_of",
    "count_knots",
    "current_grid",
    "depth_grid",
    "locate",
    "path_depths",
    "path_nodes",
]

ANGLE_STEP_DEG = 15.0
CAST_STEP_M = 3.0
BOAT_STEP = 0.1
EXPONENT_STEP = 1.0

# A ratio of 1.4 between currents: depth goes about as 1/V, whose linear interpolation in ln V errs by at most
# (ln 1.4)²/8 = 1.4 %. Depth enters only through the shape of the profile of current and is taken from the nearest.
_FIRST_CURRENT_M_S, _CURRENT_RATIO, _CURRENTS = 0.10, 1.4, 11
_FIRST_DEPTH_M, _DEPTH_RATIO, _DEPTHS = 0.5, 1.3, 14


@dataclass(frozen=True, order=True)
class Canon:
    """A canonical geometry.

    Parameters
    ----------
    cast_m, angle_deg : float
        Snapped length [m] and angle from straight downstream [deg] of the cast.
    boat_ratio : float
        Boat speed over the surface current at the landing, snapped; 0 from a fixed stance [1].
    exponent_m : float
        Snapped exponent m of the profile of current [1].
    longest_count_s : float
        Longest countdown tabulated [s].
    """

    cast_m: float
    angle_deg: float
    boat_ratio: float
    exponent_m: float
    longest_count_s: float


def current_grid() -> np.ndarray:
    """Depth-averaged currents at which swims are tabulated, 0 and then geometric, ascending [m/s]."""
    return np.concatenate([[0.0], _FIRST_CURRENT_M_S * _CURRENT_RATIO ** np.arange(_CURRENTS)])


def depth_grid() -> np.ndarray:
    """Depths at which swims are tabulated, geometric, ascending [m]."""
    return _FIRST_DEPTH_M * _DEPTH_RATIO ** np.arange(_DEPTHS)


def count_knots(longest_s: float) -> np.ndarray:
    """Countdowns at which retrieves are solved; between them a retrieve is interpolated [s].

    Wider towards long counts: a retrieve forgets its start, the sooner the less the start still changes.
    """
    return np.round(longest_s * np.array([0.0, 0.15, 0.45, 1.0]))


def boat_ratio(spot: SpotAtLevels) -> float:
    """Boat speed over surface current at the landing, not snapped; 0 from a fixed stance [1].

    The boat moves at its ratio times the surface current at the boat, which need not be that at the landing: what
    the line feels is the difference. The median over the levels serves all of them.
    """
    if spot.spot.stance != "drifting":
        return 0.0
    given = float(spot.spot.boat_speed_ratio)
    ratio = _default_boat_ratio() if math.isnan(given) else given
    shares = [
        level.boat_velocity_m_s / level.velocity_m_s
        for level in spot.levels
        if level.velocity_m_s > 0 and level.boat_velocity_m_s == level.boat_velocity_m_s
    ]
    return float(ratio * (np.median(shares) if shares else 1.0))


def _default_boat_ratio() -> float:
    return constants()["boat_ratio"]


def canon_of(spot: SpotAtLevels) -> Canon:
    """The canonical geometry nearest to a spot's cast."""
    exponents = [level.exponent_m for level in spot.levels if level.exponent_m == level.exponent_m]
    exponent = float(np.median(exponents)) if exponents else 6.0
    c = constants()
    still = not spot.river
    return Canon(
        cast_m=max(CAST_STEP_M, CAST_STEP_M * round(spot.cast_m / CAST_STEP_M)),
        angle_deg=0.0 if still else ANGLE_STEP_DEG * round(spot.angle_deg / ANGLE_STEP_DEG),
        boat_ratio=0.0 if still else round(BOAT_STEP * round(boat_ratio(spot) / BOAT_STEP), 2),
        exponent_m=EXPONENT_STEP * round(exponent / EXPONENT_STEP),
        longest_count_s=c["longest_count_still_s"] if still else c["longest_count_s"],
    )


def locate(current_m_s: float) -> list[tuple[int, float, float]]:
    """Nodes around a current with their weights and the weights' slopes in ln current.

    Linear in ln V; between rest and the first current linear in V. Beyond the grid the last current holds.

    Parameters
    ----------
    current_m_s : float
        Depth-averaged current [m/s].

    Returns
    -------
    list of (i, weight, slope)
        Indices into `current_grid`; the weights sum to one, the slopes to zero.

    Examples
    --------
    >>> [(i, round(weight, 3)) for i, weight, _ in locate(0.5)]
    [(5, 0.217), (6, 0.783)]
    """
    v = current_grid()
    if current_m_s <= 0:
        return [(0, 1.0, 0.0)]
    speed = min(current_m_s, v[-1])
    i = min(int(np.searchsorted(v, speed, side="right")) - 1, len(v) - 2)
    if i == 0:
        part, slope = speed / v[1], speed / v[1]
    else:
        width = math.log(v[i + 1] / v[i])
        part, slope = math.log(speed / v[i]) / width, 1.0 / width
    return [(i, 1.0 - part, -slope), (i + 1, part, slope)]


def path_depths(levels: Sequence[AtLevel], still: bool) -> np.ndarray:
    """Index into `depth_grid` that goes with each node of `current_grid` at a spot.

    Along a ladder current and depth rise together. The straight line of ln H over ln V through the levels gives each
    node of current its depth, snapped to the grid: one depth a current, so that a swim table follows the path rather
    than filling the plane. The depth only shapes the profile of current. At rest it does not matter and is the first.

    Parameters
    ----------
    levels : sequence of AtLevel
        Levels that can be answered.
    still : bool
        Whether the water is still.

    Returns
    -------
    numpy.ndarray of int
        Shape of `current_grid`.
    """
    v, h = current_grid(), depth_grid()
    found = np.zeros(len(v), dtype=int)
    pairs = np.array([(level.velocity_m_s, level.depth_m) for level in levels if level.velocity_m_s > 0])
    if still or not len(pairs):
        return found
    x, y = np.log(pairs).T
    steep = float(np.polyfit(x, y, 1)[0]) if np.ptp(x) > 0.02 else 0.0
    depth = np.exp(y.mean() + np.clip(steep, 0.0, 2.5) * (np.log(v[1:]) - x.mean()))
    found[1:] = np.argmin(np.abs(np.log(np.clip(depth, h[0], h[-1]))[:, None] - np.log(h)), axis=1)
    return found


def path_nodes(levels: Sequence[AtLevel], still: bool) -> tuple[list[tuple[int, int]], np.ndarray, np.ndarray]:
    """Nodes of current and depth that the ladder's path needs at a spot, with weights and slopes of each level.

    Parameters
    ----------
    levels : sequence of AtLevel
        Levels that can be answered.
    still : bool
        Whether the water is still.

    Returns
    -------
    nodes : list of (int, int)
        Indices into `current_grid` and `depth_grid`, sorted.
    weight, slope : numpy.ndarray
        Of the nodes at each level, shape (L, M); slopes are per unit of ln current.
    """
    depths = path_depths(levels, still)
    around = [locate(0.0 if still else level.velocity_m_s) for level in levels]
    used = sorted({i for nodes in around for i, _, _ in nodes})
    column = {i: m for m, i in enumerate(used)}
    weight, slope = np.zeros((len(levels), len(used))), np.zeros((len(levels), len(used)))
    for row, nodes in enumerate(around):
        for i, share, steep in nodes:
            weight[row, column[i]], slope[row, column[i]] = share, steep
    return [(i, int(depths[i])) for i in used], weight, slope
