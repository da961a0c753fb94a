"""Where a discharge stands among those of the same day in other years, and among all days."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from planner.gauges.statistics import DayNormal
from planner.tables import rows
from planner.water.rules import rule

__all__ = ["Standing", "rank_among", "standing"]


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


def standing(discharge: float, when: date | None, normals: Mapping[tuple[int, int], DayNormal] | None) -> Standing:
    """Rank a discharge by the percentiles of its day, and by all days as the mean of the ranks in each of them.

    Ranks come from sites with 30 years or more, as in the agency's own classes; fewer are not ranked. All days: the
    distribution over the year is the mixture of the days' distributions with equal weight.

    Parameters
    ----------
    discharge : float
        Present or expected [m³/s].
    when : date
        The day, in the river's own zone; a time of it will do.
    normals : mapping or None
        By (month, day), from the agency.

    References
    ----------
    [USGSclasses]
    """
    nan = math.nan
    if not normals or when is None:
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
