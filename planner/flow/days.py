"""Two or more days of survey: the level of each, read off the beds laid over each other, and what they tell of n.

On the day of the reference survey the level is 0 by definition. Where another day sounded the same ground, its depths
stand on the reference bed at the level of that day: the run is its own gauge. Levels and discharges of several days
then fit K = sqrt(S)/n and its change with discharge, or show that something else than friction holds the
water.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.bed.points import Points, weights_at
from planner.flow.state import TEN_NINETY
from planner.tables import constants

__all__ = ["DaySeen", "SurveyDay", "SurveyFit", "fit_constant", "levels_seen", "split_constant"]

Floats = npt.NDArray[np.float64]

_MOST = 600  # soundings of a day that are laid over the reference bed


@dataclass(frozen=True)
class DaySeen:
    """A day of survey with its level as the beds show it.

    Parameters
    ----------
    day : str
        The day, or the stage where the day is not known.
    soundings : int
        How many were taken.
    discharge : float
        Median discharge in the run [m³/s].
    stage : float
        Median stage at the gauge [m].
    level, level_sd : float
        Level above the datum and its standard deviation [m]; NaN where the day shares no ground with the reference.
    reference : bool
        The day that the datum belongs to.
    """

    day: str
    soundings: int
    discharge: float
    stage: float
    level: float
    level_sd: float
    reference: bool = False


@dataclass(frozen=True)
class SurveyDay:
    """A day as seen and as the relation has it: `residual` is seen less fitted [m], NaN where not seen."""

    seen: DaySeen
    fitted: float
    residual: float


@dataclass(frozen=True)
class SurveyFit:
    """What the days of survey say of roughness and slope.

    Parameters
    ----------
    days : tuple of SurveyDay
        Each day with its residual.
    constant_ln_sd : float
        Standard deviation of ln K.
    drift, drift_sd : float
        Change of ln K with ln Q and its standard deviation.
    n, n_low, n_high : float
        Roughness after the fit, 10 and 90 % [s/m^(1/3)].
    slope, slope_low, slope_high : float
        Slope after the fit, 10 and 90 % [m/m].
    control : str
        ``friction`` (normal depth) or ``downstream``, and how that is known.
    """

    days: tuple[SurveyDay, ...] = ()
    constant_ln_sd: float = math.nan
    drift: float = 0.0
    drift_sd: float = math.nan
    n: float = math.nan
    n_low: float = math.nan
    n_high: float = math.nan
    slope: float = math.nan
    slope_low: float = math.nan
    slope_high: float = math.nan
    control: str = "friction"


def levels_seen(reduced: Any, s: Floats, n: Floats, member: Any, stretch: float) -> tuple[DaySeen, ...]:
    """Level of each day of survey, the reference first.

    Parameters
    ----------
    reduced : planner.flow.reduction.Reduced
        Soundings with their water.
    s, n : numpy.ndarray, shape (k,)
        Where they are, along and across [m].
    member : numpy.ndarray of bool, shape (k,)
        Those of the reference survey.
    stretch : float
        a of (s/a, n).

    Notes
    -----
    A sounding of another day counts where a sounding of the reference lies within three times their usual gap
    (scaled). The level is the median of reference bed plus depth; its standard deviation that of a median of as many
    values as there are separate patches, not less than the table's.
    """
    from scipy.spatial import cKDTree

    table = constants("flow")
    days = np.unique(reduced.day)

    def water(mask: Any) -> tuple[float, float]:
        flows, stages = reduced.discharge[mask], reduced.stage[mask]
        flow = float(np.median(flows[np.isfinite(flows)])) if np.isfinite(flows).any() else math.nan
        return flow, float(np.median(stages[np.isfinite(stages)])) if np.isfinite(stages).any() else math.nan

    seen = [DaySeen(str(reduced.day[member][0]), int(member.sum()), *water(member), 0.0, 0.0, True)]
    if len(days) < 2 or member.sum() < table["idw_below"]:
        return tuple(seen)
    base = np.flatnonzero(member)
    if len(base) > 3000:
        base = base[:: len(base) // 3000]
    points = Points(s[base], n[base], -reduced.depth[base], reduced.sd[base], np.zeros(len(base), bool), base)
    places = np.column_stack((s / stretch, n))
    tree = cKDTree(places[base])
    usual = float(np.median(tree.query(places[base], k=2)[0][:, 1]))
    for day in days:
        mine = np.flatnonzero((reduced.day == day) & ~member)
        if not len(mine) or day == seen[0].day:
            continue
        some = mine[:: max(len(mine) // _MOST, 1)]
        near = tree.query(places[some])[0] <= max(3.0 * usual, 0.5)
        level = spread = math.nan
        if near.sum() >= 8:
            here = some[near]
            weights = weights_at(points, places[here], stretch)
            found = weights.apply(points.z) + reduced.depth[here]
            level = float(np.median(found))
            scatter = 1.4826 * float(np.median(np.abs(found - level)))
            patches = len(np.unique(np.floor(places[here] / max(3.0 * usual, 0.5)), axis=0))
            spread = math.hypot(1.2533 * scatter / math.sqrt(patches), table["day_level_sd_m"])
        seen.append(DaySeen(str(day), len(mine), *water(mine), level, spread))
    return tuple(seen)


def fit_constant(relation: Any, seen: tuple[DaySeen, ...], pivot: float) -> tuple[float, float, float, float]:
    """Constant and drift of a relation from the days of survey.

    Parameters
    ----------
    relation : LevelRelation
        Of the bed.
    seen : tuple of DaySeen
        Days with a discharge and a level.
    pivot : float
        Discharge of the reference survey [m³/s].

    Returns
    -------
    constant : float
        K at the pivot [m^(1/3)/s].
    constant_ln_sd : float
        Standard deviation of ln K.
    drift, drift_sd : float
        g of Q = K (Q/Q0)^g C(L) and its standard deviation.

    Notes
    -----
    Weighted least squares of ln(Q/C(L)) = ln K + g ln(Q/Q0) (1) with g expected at 0 within `conveyance_drift`. The
    variance of an observation is that of ln Q between days and of ln C from the level.
    """
    table = constants("flow")
    use = [d for d in seen if d.discharge > 0 and math.isfinite(d.level) and float(relation.conveyance(d.level)) > 0]
    if not use or not pivot > 0:
        return math.nan, math.nan, 0.0, table["conveyance_drift"]
    x = np.array([[1.0, math.log(d.discharge / pivot)] for d in use])
    y = np.array([math.log(d.discharge / float(relation.conveyance(d.level))) for d in use])
    sd = [math.hypot(table["day_discharge_sd"], relation.slopes(d.level)[0] * d.level_sd) for d in use]
    weight = 1.0 / np.square(sd)
    normal = x.T @ (x * weight[:, None])
    normal[1, 1] += table["conveyance_drift"] ** -2
    found = np.linalg.solve(normal, x.T @ (y * weight))
    spread = np.sqrt(np.diag(np.linalg.inv(normal)))
    drift = float(np.clip(found[1], -0.6, 0.6))
    # the gauge's own bias is common to all days
    return math.exp(found[0]), math.hypot(float(spread[0]), table["discharge_rel_sd"]), drift, float(spread[1])


def split_constant(constant: float, ln_sd: float, n: float, n_ln_sd: float, slope: float) -> tuple[float, ...]:
    """n and slope together from K = sqrt(S)/n and what was known of each.

    Parameters
    ----------
    constant, ln_sd : float
        K [m^(1/3)/s] and the standard deviation of its log.
    n, n_ln_sd : float
        n expected of the bed's class or grain [s/m^(1/3)] and its spread; NaN unknown.
    slope : float
        Slope of the map [m/m]; NaN unknown.

    Returns
    -------
    n, n_low, n_high, slope, slope_low, slope_high : float
        After the fit, with 10 and 90 %; NaN where not known.

    Notes
    -----
    Depth and discharge tell sqrt(S)/n alone. With x = (ln n, ln S) expected at (ln n0, ln S0) with variances a and b,
    the observation ln K = ln S / 2 - ln n (1) moves both in proportion to their variances: the gain is
    (-a, b/2) / (a + b/4 + sd²) (2). Where only one is known the other follows from (1).
    """
    table = constants("flow")
    unknown = (math.nan,) * 3

    def ranged(value: float, spread: float) -> tuple[float, float, float]:
        return value, value * math.exp(-TEN_NINETY * spread), value * math.exp(TEN_NINETY * spread)

    if not constant > 0:
        return (*unknown, *unknown)
    b = table["slope_ln_sd"] ** 2
    if slope > 0 and n > 0:
        a = n_ln_sd**2
        off = math.log(constant) - (0.5 * math.log(slope) - math.log(n))
        whole = a + b / 4 + ln_sd**2
        one = math.log(n) - a / whole * off
        two = math.log(slope) + b / 2 / whole * off
        return (
            *ranged(math.exp(one), math.sqrt(a - a * a / whole)),
            *ranged(math.exp(two), math.sqrt(b - b * b / 4 / whole)),
        )
    if slope > 0:
        return (*ranged(math.sqrt(slope) / constant, math.hypot(ln_sd, math.sqrt(b) / 2)), *ranged(slope, math.sqrt(b)))
    if n > 0:
        return (*ranged(n, n_ln_sd), *ranged((constant * n) ** 2, 2 * math.hypot(ln_sd, n_ln_sd)))
    return (*unknown, *unknown)
