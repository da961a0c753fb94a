"""The logarithmic law of a current's profile, which the power law of the planner is compared with."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from planner.flow.manning import GRAVITY
from planner.flow.profile import KARMAN, Floats

__all__ = ["log_law", "log_law_mean", "log_law_mean_height", "shear_velocity"]


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
