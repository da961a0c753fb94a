"""Current from bed to surface: power law and logarithmic law.

The exponent m of the power law is from 3.5 (boulders) to 7 (smooth sand); 1/7 is not a law of rivers.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from planner.bed.constants import constants
from planner.flow.manning import GRAVITY

__all__ = [
    "KARMAN",
    "exponent_of",
    "log_law",
    "log_law_mean",
    "log_law_mean_height",
    "mean_from_points",
    "shear_velocity",
    "speed_at_height",
    "surface_speed",
]

Floats = npt.NDArray[np.float64]

KARMAN = 0.41


def exponent_of(n: npt.ArrayLike, depth: npt.ArrayLike) -> Floats:
    """Exponent m of the power law from the roughness.

    m = kappa sqrt(8/f) (1) with f = 8 g n² / h^(1/3) (2), so m = kappa h^(1/6) / (n sqrt(g)) [Cheng2007].

    Parameters
    ----------
    n : array_like
        Manning's n [s/m^(1/3)]; NaN gives the table's middle value.
    depth : array_like
        Depth h [m].

    Returns
    -------
    numpy.ndarray
        m, kept within the table's bounds (3.5 to 7).
    """
    table = constants("flow")
    rough, h = np.broadcast_arrays(np.asarray(n, dtype=float), np.asarray(depth, dtype=float))
    known = (rough > 0) & (h > 0)
    m = KARMAN * np.where(known, h, 1.0) ** (1 / 6) / (np.where(known, rough, 1.0) * math.sqrt(GRAVITY))
    m = np.where(known, m, np.where(h > 0, table["exponent_unknown"], table["exponent_least"]))
    return np.clip(m, table["exponent_least"], table["exponent_most"])


def speed_at_height(mean: npt.ArrayLike, depth: npt.ArrayLike, height: npt.ArrayLike, m: npt.ArrayLike) -> Floats:
    """Current [m/s] at a height above the bed, u = V (m+1)/m (z/h)^(1/m) (1).

    Parameters
    ----------
    mean : array_like
        Depth-averaged current V [m/s].
    depth : array_like
        Depth h [m].
    height : array_like
        z above the bed [m]; held between bed and surface.
    m : array_like
        Exponent, see `exponent_of`.
    """
    v, h, z, e = (np.asarray(value, dtype=float) for value in (mean, depth, height, m))
    part = np.clip(z / np.where(h > 0, h, np.nan), 0.0, 1.0)
    return v * (e + 1) / e * part ** (1 / e)


def surface_speed(mean: npt.ArrayLike, m: npt.ArrayLike) -> Floats:
    """Current at the surface [m/s] of a depth-averaged current [m/s], V (m+1)/m (1) [ISO748].

    Examples
    --------
    >>> round(float(surface_speed(0.85714286, 6.0)), 6)
    1.0
    """
    e = np.asarray(m, dtype=float)
    return np.asarray(mean, dtype=float) * (e + 1) / e


def shear_velocity(radius: float, slope: float, gravity: float = GRAVITY) -> float:
    """Shear velocity u* = sqrt(g R S) [m/s]; radius [m], slope [m/m]."""
    return math.sqrt(gravity * radius * slope)


def log_law(height: npt.ArrayLike, shear: float, ks: float) -> Floats:
    """Current [m/s] at a height [m], u = (u*/kappa) ln(z/z0), z0 = ks/30 (1); zero below z0.

    Parameters
    ----------
    height : array_like
        z above the bed [m].
    shear : float
        u* [m/s].
    ks : float
        Equivalent roughness height [m]; about 3.5 D84.
    """
    z = np.asarray(height, dtype=float)
    return shear / KARMAN * np.log(np.maximum(z / (ks / 30.0), 1.0))


def log_law_mean(depth: float, shear: float, ks: float) -> float:
    """Depth mean of `log_law` [m/s], (u*/kappa)(ln(h/z0) - 1 + z0/h) (1); depth h [m]."""
    z0 = ks / 30.0
    return shear / KARMAN * (math.log(depth / z0) - 1.0 + z0 / depth)


def log_law_mean_height(depth: float) -> float:
    """Height [m] where the log law meets its depth mean, h/e for z0 far below h (1); depth h [m]."""
    return depth / math.e


def mean_from_points(speeds: dict[str, float]) -> float:
    """Depth-averaged current [m/s] from a current meter's speeds at depth fractions below the surface.

    Parameters
    ----------
    speeds : dict
        Speeds [m/s] by fraction as text. ``0.2`` and ``0.8``: half their sum; ``0.6`` alone: that speed; all three:
        (v0.2 + 2 v0.6 + v0.8) / 4 [Rantz1982].
    """
    if {"0.2", "0.6", "0.8"} <= speeds.keys():
        return (speeds["0.2"] + 2 * speeds["0.6"] + speeds["0.8"]) / 4
    if {"0.2", "0.8"} <= speeds.keys():
        return (speeds["0.2"] + speeds["0.8"]) / 2
    return speeds.get("0.6", math.nan)
