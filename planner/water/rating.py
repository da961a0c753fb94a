"""Stage and discharge of one gauge: a rating from its own pairs, and the exact reading of a published rating table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from planner.gauges.series import Quality, Series
from planner.water.clean import cleaned
from planner.water.rules import rule

__all__ = ["Rating", "interpolate_rating", "interpolate_shift", "rating_of"]

# Between these the exponent of a section control or a channel lies (1.5 rectangular weir, 5/3 wide channel, 2.5 V
# notch, more where banks flare); a fit outside them is held at the bound. Design choice.
_EXPONENT = (1.0, 5.0)
_UNFIT = (Quality.ICE, Quality.EQUIPMENT, Quality.MISSING, Quality.STALE)


@dataclass(frozen=True)
class Rating:
    """Power law of discharge over the head above a cease-to-flow stage.

    Q = a (h - e)^b    (1)

    Parameters
    ----------
    coefficient : float
        a [m³/s at 1 m of head].
    offset_m : float
        e, stage at which the flow would cease [m].
    exponent : float
        b [-].
    lowest_m, highest_m : float
        Range of stage of the pairs it was fitted on [m].
    rel_sd : float
        Standard deviation of ln Q about the law [-].
    pairs : int
        Distinct stages used.
    basis : str
        One sentence for the page.

    References
    ----------
    [KennedyE1984]
    """

    coefficient: float
    offset_m: float
    exponent: float
    lowest_m: float
    highest_m: float
    rel_sd: float
    pairs: int
    basis: str

    def discharge(self, stage_m: ArrayLike) -> np.ndarray:
        """Discharge at a stage, Eq. (1) [m³/s]; NaN at or below the offset."""
        head = np.asarray(stage_m, np.float64) - self.offset_m
        with np.errstate(invalid="ignore"):
            return np.where(head > 0, self.coefficient * np.maximum(head, 0.0) ** self.exponent, np.nan)

    def stage(self, discharge_m3s: ArrayLike) -> np.ndarray:
        """Stage at a discharge, Eq. (1) solved for h [m]; NaN for a discharge that is not positive."""
        q = np.asarray(discharge_m3s, np.float64)
        with np.errstate(invalid="ignore"):
            head = (np.maximum(q, 0.0) / self.coefficient) ** (1.0 / self.exponent)
            return np.where(q > 0, self.offset_m + head, np.nan)

    def extrapolated(self, stage_m: ArrayLike) -> np.ndarray:
        """True where the stage lies outside the pairs that the rating was fitted on, or is unknown."""
        h = np.asarray(stage_m, np.float64)
        return ~((h >= self.lowest_m) & (h <= self.highest_m))


def rating_of(series: Series) -> Rating | None:
    """Rating from the station's own simultaneous stage and discharge.

    Each distinct stage (to 0.01 ft) counts once, by its median discharge, so that weeks of low water do not outweigh
    the few hours of high water. For each trial offset a and b are a straight line in ln Q over ln(h - e); the offset
    with the least sum of squares is taken. Rows under ice, equipment trouble or stale are left out, and so are those in
    which one of the two jumps off and back without the other: as each stage counts once, one of them weighs as much as
    a flood.

    Returns
    -------
    Rating or None
        None when the pairs are too few or span too little stage.
    """
    smooth = cleaned(series)
    good = np.isfinite(series.stage_m) & (series.discharge_m3s > 0)
    good &= np.isnan(smooth.stage_m) == np.isnan(smooth.discharge_m3s)
    good &= ~np.isin(series.quality, [str(q) for q in _UNFIT])
    if not good.any():
        return None
    keys, inverse = np.unique(np.round(series.stage_m[good] / 0.003048).astype(np.int64), return_inverse=True)
    order = np.argsort(inverse, kind="stable")
    ends = np.cumsum(np.bincount(inverse))[:-1]
    h = np.array([part.mean() for part in np.split(series.stage_m[good][order], ends)])
    y = np.log([np.median(part) for part in np.split(series.discharge_m3s[good][order], ends)])
    if len(keys) < rule("rating_pairs") or h[-1] - h[0] < rule("rating_range"):
        return None
    return _fit(h, y)


def _fit(h: np.ndarray, y: np.ndarray) -> Rating:
    def line(u: float) -> tuple[float, float, float]:
        x = np.log(h - (h[0] - np.exp(u)))
        dx = x - x.mean()
        b = float(np.clip(dx @ (y - y.mean()) / max(dx @ dx, 1e-300), *_EXPONENT))
        ln_a = float(y.mean() - b * x.mean())
        return ln_a, b, float(((y - ln_a - b * x) ** 2).sum())

    # u = ln(h[0] - e): the head at the lowest stage, from 3 mm to ten times the range of the stages
    low, high = np.log(0.003), np.log(10.0 * max(h[-1] - h[0], 0.3))
    trial = np.linspace(low, high, 41)
    start = int(np.argmin([line(u)[2] for u in trial]))
    best = _golden(lambda u: line(u)[2], trial[max(start - 1, 0)], trial[min(start + 1, len(trial) - 1)])
    ln_a, b, square = line(best)
    sd = float(np.sqrt(square / max(len(h) - 3, 1)))
    return Rating(
        coefficient=float(np.exp(ln_a)),
        offset_m=float(h[0] - np.exp(best)),
        exponent=b,
        lowest_m=float(h[0]),
        highest_m=float(h[-1]),
        rel_sd=sd,
        pairs=len(h),
        basis=f"Fitted on {len(h)} distinct stages of this gauge's own record; they scatter by {100 * sd:.1f} %.",
    )


def _golden(f: Callable[[float], float], low: float, high: float, width: float = 1e-6) -> float:
    """Least of a function with one valley, by golden section; scipy would cost half a second to import."""
    ratio = (np.sqrt(5.0) - 1.0) / 2.0
    a, b = high - ratio * (high - low), low + ratio * (high - low)
    fa, fb = f(a), f(b)
    while high - low > width:
        if fa < fb:
            high, b, fb = b, a, fa
            a = high - ratio * (high - low)
            fa = f(a)
        else:
            low, a, fa = a, b, fb
            b = low + ratio * (high - low)
            fb = f(b)
    return float((low + high) / 2.0)


def interpolate_rating(
    stage: ArrayLike,
    stages: ArrayLike,
    discharges: ArrayLike,
    offsets: ArrayLike = (0.0,),
    breakpoints: ArrayLike = (),
) -> np.ndarray:
    """Discharge from a rating table with logarithmic expansion.

    Between points (h1, Q1) and (h2, Q2) with the offset e of the segment::

        b = ln(Q2 / Q1) / ln((h2 - e) / (h1 - e))          (1)
        Q = Q1 ((h - e) / (h1 - e))^b                       (2)

    Parameters
    ----------
    stage : array_like
        Shifted stage, in the unit of `stages`, shape (m,) or scalar.
    stages, discharges : array_like
        Points of the table, ascending, shape (n,). Any units; the answer is in that of `discharges`.
    offsets : array_like
        One more than `breakpoints`; the first holds up to the first breakpoint.
    breakpoints : array_like
        Stages at which the offset changes.

    Returns
    -------
    np.ndarray
        NaN outside the table: a rating is not extended here.

    Raises
    ------
    ValueError
        When points do not ascend, or an offset reaches a point that it applies to.

    References
    ----------
    [KennedyE1984]
    """
    h, x, q = (np.asarray(v, np.float64) for v in (stage, stages, discharges))
    e, limits = np.atleast_1d(np.asarray(offsets, np.float64)), np.asarray(breakpoints, np.float64)
    if len(x) != len(q) or len(x) < 2 or (np.diff(x) <= 0).any() or (q <= 0).any() or len(e) != len(limits) + 1:
        raise ValueError("a rating needs ascending stages, positive discharges and one offset more than breakpoints")
    at = np.clip(np.searchsorted(x, h, side="right") - 1, 0, len(x) - 2)
    # the offset belongs to the segment, so take it at the segment's middle
    offset = e[np.searchsorted(limits, (x[at] + x[at + 1]) / 2, side="left")]
    if (x[at] <= offset).any():
        raise ValueError("an offset of a rating must lie below the points that it applies to")
    b = np.log(q[at + 1] / q[at]) / np.log((x[at + 1] - offset) / (x[at] - offset))
    inside = (h >= x[0]) & (h <= x[-1])
    with np.errstate(invalid="ignore"):
        return np.where(inside, q[at] * ((h - offset) / (x[at] - offset)) ** b, np.nan)


def interpolate_shift(stage: ArrayLike, stages: ArrayLike, shifts: ArrayLike) -> np.ndarray:
    """Shift to add to a stage before it enters the rating: linear between its points, held beyond them.

    Same unit as the stages. Holding the end values beyond the ends is from memory of agency practice.
    """
    return np.interp(np.asarray(stage, np.float64), np.asarray(stages, np.float64), np.asarray(shifts, np.float64))
