"""Where a discharge stands among those of the same day in other years, and among all days."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from planner.gauges.statistics import DayNormal
from planner.tables import rows
from planner.water.rules import rule

__all__ = ["Standing", "normals_of_daily", "percentile_class", "rank_among", "standing"]


@dataclass(frozen=True)
class Standing:
    """Rank of a discharge.

    Parameters
    ----------
    season : float
        Percentile among the daily means of its day of the year [%]; NaN when not ranked.
    all_days : float
        Percentile among the daily means of all days [%]; NaN when not ranked.
    years : int
        Values behind the day's percentiles.
    words : str
        For a person.
    """

    season: float
    all_days: float
    years: int
    words: str

    def as_conditions(self) -> dict[str, float | None]:
        """The two figures under the names that the cautions know; None when not ranked."""
        return {
            "percentile_season": self.season if math.isfinite(self.season) else None,
            "percentile_all_days": self.all_days if math.isfinite(self.all_days) else None,
        }


def standing(discharge: float, when: datetime, normals: Mapping[tuple[int, int], DayNormal] | None) -> Standing:
    """Rank a discharge by the percentiles of its day, and by all days as the mean of the ranks in each of them.

    Ranks come from sites with 30 years or more, as in the agency's own classes; fewer are not ranked. All days: the
    distribution over the year is the mixture of the days' distributions with equal weight.

    Parameters
    ----------
    discharge : float
        Present or expected [m³/s].
    when : datetime
        The day, in the river's own zone.
    normals : mapping or None
        By (month, day), from the agency or `normals_of_daily`.

    References
    ----------
    [USGSclasses]
    """
    nan = math.nan
    if not normals:
        return Standing(nan, nan, 0, "not ranked: the past of this date is not known")
    normal = normals.get((when.month, when.day)) or normals.get(
        (2, 28) if (when.month, when.day) == (2, 29) else (0, 0)
    )
    least = int(rule("normal_years"))
    if normal is None or not math.isfinite(discharge):
        return Standing(nan, nan, 0, "not ranked: the past of this date is not known")
    if normal.years < least:
        return Standing(nan, nan, normal.years, f"not ranked: {normal.years} years on record, {least} are needed")
    season = rank_among(discharge, normal)
    ranks = [rank_among(discharge, one) for one in normals.values() if one.years >= least]
    whole = float(np.mean(ranks)) if len(ranks) >= 360 else nan
    return Standing(season, whole, normal.years, _words(discharge, season, normal))


def rank_among(discharge: float, normal: DayNormal) -> float:
    """Percentile of a discharge by a day's percentiles, linear in ln Q between them [%].

    Below the lowest on record it is 0, above the highest 100. NaN when fewer than three percentiles are known.
    """
    points = {0.0: normal.lowest, **normal.percentiles, 100.0: normal.highest}
    known = sorted((p, q) for p, q in points.items() if math.isfinite(q))
    if len(known) < 3 or not math.isfinite(discharge):
        return math.nan
    p = np.array([point[0] for point in known])
    q = np.maximum.accumulate(np.array([point[1] for point in known]))
    smallest = max(float(q[q > 0].min()) * 1e-3, 1e-9) if (q > 0).any() else 1e-9
    x, at = np.log(np.maximum(q, smallest)), math.log(max(discharge, smallest))
    if at <= x[0]:
        return 0.0 if at < x[0] or x[0] == x[-1] else float(p[0])
    if at >= x[-1]:
        return 100.0
    # of equal discharges with several percentiles the middle counts
    low, high = np.searchsorted(x, at, "left"), np.searchsorted(x, at, "right")
    if high > low:
        return float((p[low] + p[high - 1]) / 2.0)
    return float(np.interp(at, x[low - 1 : low + 1], p[low - 1 : low + 1]))


def normals_of_daily(days: np.ndarray, discharge_m3s: np.ndarray) -> dict[tuple[int, int], DayNormal]:
    """Percentiles by day of the year from a station's own daily means.

    Plotting positions i / (n + 1) [Weibull1939]; a day of fewer than the years of the rule is kept with its count, so
    that `standing` can say why it does not rank.

    Parameters
    ----------
    days : np.ndarray
        datetime64[D], shape (n,).
    discharge_m3s : np.ndarray
        NaN missing, shape (n,) [m³/s].
    """
    groups: dict[tuple[int, int], list[float]] = {}
    for day, value in zip(days.astype("datetime64[D]").tolist(), discharge_m3s, strict=True):
        if math.isfinite(value):
            groups.setdefault((day.month, day.day), []).append(float(value))
    wanted = (5.0, 10.0, 25.0, 50.0, 75.0, 90.0, 95.0)
    found = {}
    for key, values in groups.items():
        quantiles = np.percentile(values, wanted, method="weibull")
        pairs = zip(wanted, quantiles.tolist(), strict=True)
        found[key] = DayNormal(len(values), dict(pairs), min(values), max(values))
    return found


def _words(discharge: float, season: float, normal: DayNormal) -> str:
    if math.isfinite(normal.highest) and discharge > normal.highest:
        return f"highest on record for the date ({normal.years} years)"
    if math.isfinite(normal.lowest) and discharge < normal.lowest:
        return f"lowest on record for the date ({normal.years} years)"
    named = "not ranked"
    for row in rows("flow_percentile_classes"):
        low, high = float(row["from_percentile"]), float(row["to_percentile"])
        middle = low < 50 < high
        inside = low <= season <= high if middle else (low <= season < high if high <= 50 else low < season <= high)
        if inside:
            named = row["class"]
    return f"{named} for the date: higher than in {season:.0f} of 100 years"


def percentile_class(
    discharge: float,
    p10: float,
    p25: float,
    p75: float,
    p90: float,
    lowest: float | None = None,
    highest: float | None = None,
) -> str:
    """Class of a discharge by the percentiles of its day of the year.

    Percentiles, extremes and discharge share one unit. A value on a limit belongs to the class nearer to normal.

    Parameters
    ----------
    discharge : float
        Daily or present value; NaN gives ``not ranked``.
    p10, p25, p75, p90 : float
        Percentiles of the day.
    lowest, highest : float, optional
        Extremes on record for the day.

    Returns
    -------
    str
        A class of the table `flow_percentile_classes`, ``lowest on record``, ``highest on record`` or ``not ranked``.

    References
    ----------
    [USGSclasses]

    Examples
    --------
    >>> percentile_class(150.0, p10=27.0, p25=38.0, p75=85.0, p90=221.0)
    'above normal'
    """
    limits = (p10, p25, p75, p90)
    if discharge != discharge or any(limit != limit for limit in limits):
        return "not ranked"
    if lowest is not None and discharge < lowest:
        return "lowest on record"
    if highest is not None and discharge > highest:
        return "highest on record"
    below = (discharge < p10) + (discharge < p25)
    above = (discharge > p75) + (discharge > p90)
    return [row["class"] for row in rows("flow_percentile_classes")][2 - below + above]
