"""Current from bed to surface by the power law.

The exponent m of the power law is from 3.5 (boulders) to 7 (smooth sand); 1/7 is not a law of rivers.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from planner.flow.manning import GRAVITY
from planner.tables import constants

__all__ = [
    "KARMAN",
    "exponent_of",
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
