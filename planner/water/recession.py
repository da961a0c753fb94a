"""How a discharge falls when nothing new comes: a law, and its fit on the station's own falling water."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from planner.water.rules import rule

__all__ = ["Recession", "fit_recession"]

_STEP_H = 6
_LEAST_BINS = 3


@dataclass(frozen=True)
class Recession:
    """Recession of a non-linear store.

    -dQ/dt = a Q^b    (1); for b > 1: Q(t) = (Q0^(1-b) + (b-1) a t)^(1/(1-b)), for b = 1: Q(t) = Q0 exp(-a t)

    With b = 1 this is the constant K = exp(-24 a) per day; b above 1 lets high water fall faster than low water.

    Parameters
    ----------
    rate : float
        a, with t in hours and Q in m³/s.
    power : float
        b [-], held between 1 and 3.
    hours : int
        Hours of falling water that it was fitted on.

    References
    ----------
    [BrutsaertNieber1977]
    """

    rate: float
    power: float
    hours: int

    def carry(self, discharge: np.ndarray | float, hours: np.ndarray | float) -> np.ndarray:
        """Discharge after some hours [m³/s]; zero stays zero, NaN stays NaN. Shapes broadcast."""
        q = np.asarray(discharge, np.float64)
        t = np.maximum(np.asarray(hours, np.float64), 0.0)
        if self.power - 1.0 < 1e-6:
            return q * np.exp(-self.rate * t)
        c = self.power - 1.0
        # the same as the closed form, written so that Q0 = 0 gives 0
        return q * (1.0 + c * self.rate * t * np.maximum(q, 0.0) ** c) ** (-1.0 / c)

    def half_life_days(self, discharge: float) -> float:
        """Half-life at this discharge, were its rate of fall to hold [d]."""
        return math.log(2.0) / (24.0 * self.rate * discharge ** (self.power - 1.0))


def fit_recession(hourly_m3s: np.ndarray) -> Recession | None:
    """Recession from the falling limbs of an hourly record.

    The rate of fall of ln Q over steps of 6 h, taken where the water falls through that step and the ones on both
    sides of it, is averaged in classes of discharge of equal count; a straight line of its logarithm over ln Q gives a
    and b. With too few classes b is 1 and a the mean rate, as in a regression on ln Q of pooled recession pieces
    [VogelKroll1996].

    Parameters
    ----------
    hourly_m3s : np.ndarray
        Oldest first, NaN in gaps, shape (n,).

    Returns
    -------
    Recession or None
        None with fewer hours of falling water than the rule asks (72).
    """
    q = np.where(hourly_m3s > 0, hourly_m3s, np.nan)
    y = np.log(q[(len(q) - 1) % _STEP_H :: _STEP_H]) if len(q) else np.empty(0)
    if len(y) < 4:
        return None
    fall = y[:-1] - y[1:]  # per step, positive when falling
    inner = np.zeros(len(fall), bool)
    inner[1:-1] = (fall[:-2] > 0) & (fall[1:-1] > 0) & (fall[2:] > 0)
    hours = int(inner.sum()) * _STEP_H
    if hours < rule("recession_hours"):
        return None
    rate = fall[inner] / _STEP_H
    middle = (y[:-1] + y[1:])[inner] / 2.0
    classes = min(8, int(inner.sum()) // 6)
    if classes >= _LEAST_BINS and middle.max() - middle.min() > math.log(1.5):
        order = np.argsort(middle)
        x = np.array([part.mean() for part in np.array_split(middle[order], classes)])
        r = np.log([part.mean() for part in np.array_split(rate[order], classes)])
        dx = x - x.mean()
        slope = float(np.clip(dx @ (r - r.mean()) / (dx @ dx), 0.0, 2.0))
        return Recession(float(np.exp(r.mean() - slope * x.mean())), 1.0 + slope, hours)
    return Recession(float(rate.mean()), 1.0, hours)
