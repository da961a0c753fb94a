"""Uniform flow in an open channel: Manning's equation and what hangs on it.

Manning's n is the same number in SI and US units; everything here is SI, so the factor k is 1.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

__all__ = [
    "GRAVITY",
    "critical_depth",
    "froude",
    "manning_discharge",
    "manning_velocity",
    "normal_depth",
    "trapezoid",
]

Floats = npt.NDArray[np.float64]

GRAVITY = 9.80665  # standard gravity, exact by convention [m/s²]


def manning_velocity(radius: npt.ArrayLike, slope: npt.ArrayLike, n: npt.ArrayLike) -> Floats:
    """Mean velocity [m/s] of uniform flow, V = R^(2/3) S^(1/2) / n (1).

    Parameters
    ----------
    radius : array_like
        Hydraulic radius R [m]; NaN or not positive gives NaN.
    slope : array_like
        Slope of the water surface S [m/m].
    n : array_like
        Manning's roughness [s/m^(1/3)].

    Notes
    -----
    Fully rough turbulent flow, slopes up to about 0.04; [Chow1959] eq. 5-6.

    Examples
    --------
    >>> round(float(manning_velocity(0.2859, 0.005236, 0.03)), 4)
    1.0468
    """
    r, s, rough = (np.asarray(v, dtype=float) for v in (radius, slope, n))
    good = (r > 0) & (s > 0) & (rough > 0)
    r, s, rough = np.where(good, r, 1.0), np.where(good, s, 1.0), np.where(good, rough, 1.0)
    return np.where(good, r ** (2.0 / 3.0) * np.sqrt(s) / rough, np.nan)


def manning_discharge(area: npt.ArrayLike, radius: npt.ArrayLike, slope: npt.ArrayLike, n: npt.ArrayLike) -> Floats:
    """Discharge [m³/s] of uniform flow, Q = A V with V of `manning_velocity`; area [m²]."""
    return np.asarray(area, dtype=float) * manning_velocity(radius, slope, n)


def trapezoid(depth: npt.ArrayLike, width: float, side: float = 0.0) -> tuple[Floats, Floats, Floats]:
    """Area [m²], wetted perimeter [m] and top width [m] of a trapezoid.

    Parameters
    ----------
    depth : array_like
        Depth y [m].
    width : float
        Bottom width b [m]; 0 is a triangle.
    side : float
        Side slope, horizontal to vertical; 0 is a rectangle.
    """
    y = np.asarray(depth, dtype=float)
    return (width + side * y) * y, width + 2 * y * math.hypot(1.0, side), width + 2 * side * y


def _solve(function: object, target: float) -> float:
    """The depth where a rising function reaches a target, by bracketing and halving in the log of depth."""
    low, high = 1e-6, 1.0
    while function(high) < target:  # type: ignore[operator]
        high *= 2.0
        if high > 1e6:
            return math.nan
    for _ in range(200):
        middle = math.sqrt(low * high)
        if function(middle) < target:  # type: ignore[operator]
            low = middle
        else:
            high = middle
        if high / low - 1.0 < 1e-14:
            break
    return math.sqrt(low * high)


def normal_depth(discharge: float, slope: float, n: float, width: float, side: float = 0.0) -> float:
    """Depth of uniform flow in a trapezoid [m].

    Parameters
    ----------
    discharge : float
        Q [m³/s].
    slope, n : float
        Slope [m/m] and Manning's n [s/m^(1/3)].
    width, side : float
        As in `trapezoid`.

    Examples
    --------
    >>> round(normal_depth(30.0, 0.002, 0.035, 20.0), 6)
    1.149996
    """

    def conveyed(y: float) -> float:
        area, perimeter, _ = trapezoid(y, width, side)
        return float(manning_discharge(area, area / perimeter, slope, n))

    return _solve(conveyed, discharge) if discharge > 0 else math.nan


def critical_depth(discharge: float, width: float, side: float = 0.0, gravity: float = GRAVITY) -> float:
    """Depth in a trapezoid where Q² T = g A³ (Froude number 1) [m]; arguments as in `normal_depth`."""

    def pull(y: float) -> float:
        area, _, top = trapezoid(y, width, side)
        return float(gravity * area**3 / top)

    return _solve(pull, discharge**2) if discharge > 0 else math.nan


def froude(velocity: npt.ArrayLike, mean_depth: npt.ArrayLike) -> Floats:
    """Froude number V / sqrt(g A/T); velocity [m/s], mean depth A/T [m]."""
    depth = np.asarray(mean_depth, dtype=float)
    return np.asarray(velocity, dtype=float) / np.sqrt(GRAVITY * np.where(depth > 0, depth, np.nan))
