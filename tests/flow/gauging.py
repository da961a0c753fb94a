"""Discharge, mean current and roughness from measured verticals, as a gauging crew finds them.

Rantz, S.E., and others (1982): Measurement and computation of streamflow. U.S. Geological Survey Water-Supply Paper
2175, https://pubs.usgs.gov/wsp/wsp2175/
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from planner.errors import UsageMistake

__all__ = ["manning_n", "mean_from_points", "mean_section", "mid_section"]


def _arrays(x: Sequence[float], depth: Sequence[float], speed: Sequence[float]) -> tuple[np.ndarray, ...]:
    places, depths, speeds = (np.asarray(v, dtype=float) for v in (x, depth, speed))
    if not (places.shape == depths.shape == speeds.shape and places.ndim == 1 and len(places) >= 3):
        raise UsageMistake(
            "verticals of unequal or too small number", "3 or more, each with x, depth and speed", "check them"
        )
    if (np.diff(places) <= 0).any():
        raise UsageMistake("verticals out of order", "x rising from bank to bank", "sort the verticals by x")
    return places, depths, speeds


def mid_section(x: Sequence[float], depth: Sequence[float], speed: Sequence[float]) -> dict[str, float]:
    """Discharge by the mid-section method, sum v_i d_i (x_(i+1) - x_(i-1)) / 2 (1) (Rantz 1982).

    Parameters
    ----------
    x : sequence of float
        Distance of each vertical from the bank [m], rising; the first and last take half an interval.
    depth, speed : sequence of float
        Depth [m] and depth-averaged current [m/s] of each vertical.

    Returns
    -------
    dict
        ``discharge`` [m³/s], ``area`` [m²], ``velocity`` [m/s], ``perimeter`` [m], ``radius`` [m].
    """
    places, depths, speeds = _arrays(x, depth, speed)
    edges = np.concatenate((places[:1], (places[1:] + places[:-1]) / 2, places[-1:]))
    width = np.diff(edges)
    area, discharge = float(np.sum(width * depths)), float(np.sum(width * depths * speeds))
    perimeter = float(np.sum(np.hypot(np.diff(places), np.diff(depths)))) + float(depths[0] + depths[-1])
    return {
        "discharge": discharge,
        "area": area,
        "velocity": discharge / area,
        "perimeter": perimeter,
        "radius": area / perimeter,
    }


def mean_section(x: Sequence[float], depth: Sequence[float], speed: Sequence[float]) -> float:
    """Discharge by the mean-section method [m³/s], sum of mean speed, mean depth and width between verticals (1).

    Arguments as in `mid_section`; ISO 748.
    """
    places, depths, speeds = _arrays(x, depth, speed)
    return float(np.sum((speeds[1:] + speeds[:-1]) / 2 * (depths[1:] + depths[:-1]) / 2 * np.diff(places)))


def mean_from_points(speeds: dict[str, float]) -> float:
    """Depth-averaged current [m/s] from a current meter's speeds at depth fractions below the surface.

    Parameters
    ----------
    speeds : dict
        Speeds [m/s] by fraction as text. ``0.2`` and ``0.8``: half their sum; ``0.6`` alone: that speed; all three:
        (v0.2 + 2 v0.6 + v0.8) / 4 (Rantz 1982).
    """
    if {"0.2", "0.6", "0.8"} <= speeds.keys():
        return (speeds["0.2"] + 2 * speeds["0.6"] + speeds["0.8"]) / 4
    if {"0.2", "0.8"} <= speeds.keys():
        return (speeds["0.2"] + speeds["0.8"]) / 2
    return speeds.get("0.6", math.nan)


def manning_n(radius: float, slope: float, velocity: float) -> float:
    """Roughness [s/m^(1/3)] that a gauging shows, n = R^(2/3) S^(1/2) / V; NaN when an input is not positive."""
    if not (radius > 0 and slope > 0 and velocity > 0):
        return math.nan
    return radius ** (2.0 / 3.0) * math.sqrt(slope) / velocity
