"""How far off a carried-on reading has been: ranges by lead time, from the hours of the past that looked like now."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from planner.tables import rows
from planner.water.rules import rule

__all__ = ["QUANTILES", "Base", "Spread", "daily_change", "default_spread", "score_spread"]

QUANTILES = (0.05, 0.10, 0.90, 0.95)
_FLOOR = {"stage": 0.003, "ln_discharge": 0.02}
_SIGN = np.array([-1.0, -1.0, 1.0, 1.0])

# What a method says for `hours` after each hour of a record, in the record's own quantity, shape (n,).
Base = Callable[[int], np.ndarray]


@dataclass(frozen=True)
class Spread:
    """How a carried-on reading is to be moved, and quantiles of (observed - carried on), by lead time.

    Parameters
    ----------
    lead_h : np.ndarray
        Hours, ascending, shape (m,).
    error : np.ndarray
        5, 10, 90 and 95 % about the moved median, shape (4, m); the lower two are negative or zero, the upper two
        positive or zero.
    scored_h : float
        Longest lead that rests on the station's own past [h]; 0 when none does.
    days : float
        Length of the record used [d].
    shift : np.ndarray
        Median of the past errors of hours that looked like now, shape (m,).
    base : str
        Which method did best on the past; ``kept`` when none beat keeping the value.
    """

    lead_h: np.ndarray
    error: np.ndarray
    scored_h: float
    days: float
    shift: np.ndarray
    base: str = "kept"

    def at(self, lead_h: np.ndarray) -> np.ndarray:
        """Quantiles at given leads, linear between, zero at lead 0, held beyond the last; shape (4, k)."""
        x = np.concatenate([[0.0], self.lead_h])
        return np.array([np.interp(lead_h, x, np.concatenate([[0.0], row])) for row in self.error])

    def shift_at(self, lead_h: np.ndarray) -> np.ndarray:
        """Move of the median at given leads, linear between, zero at lead 0, shape (k,)."""
        return np.interp(lead_h, np.concatenate([[0.0], self.lead_h]), np.concatenate([[0.0], self.shift]))


def default_spread(quantity: str, lead_h: np.ndarray) -> np.ndarray:
    """Ranges of the table `water_spread` (design choices) at given leads.

    Beyond the last lead of the table they grow with the square root of the lead, as independent changes would.

    Parameters
    ----------
    quantity : str
        ``stage`` [m] or ``ln_discharge`` [-].
    lead_h : np.ndarray
        Shape (m,) [h].

    Returns
    -------
    np.ndarray
        5, 10, 90 and 95 %, shape (4, m).
    """
    table = [row for row in rows("water_spread") if row["quantity"] == quantity]
    x = np.array([0.0] + [float(row["lead_h"]) for row in table])
    beyond = np.sqrt(np.maximum(lead_h / x[-1], 1.0))
    columns = (np.array([0.0] + [float(row[name]) for row in table]) for name in ("p05", "p10", "p90", "p95"))
    return np.array([np.interp(lead_h, x, column) * beyond for column in columns])


def daily_change(values: np.ndarray, hours: int) -> np.ndarray:
    """Change by the hour of the clock alone, as on the last days, for each hour of an hourly record, shape (n,).

    For hour t it is the mean over the last seven whole days k of y(t + hours - 24 k) - y(t - 24 k), of which all was
    known at t, less the drift of those days, so that a whole day ahead it is zero. NaN where a value is missing.
    Snowmelt and releases that keep hours show in it.
    """
    drift = _mean_change(values, 24) if hours % 24 else np.zeros(len(values))
    return _mean_change(values, hours % 24) - (hours % 24) / 24.0 * drift


def _mean_change(values: np.ndarray, hours: int) -> np.ndarray:
    """Mean of the change over `hours`, a day or less, from the same hour of the last days, all known at t."""
    n = len(values)
    change = np.full(n, np.nan)
    if hours < n:
        change[: n - hours] = values[hours:] - values[: n - hours]
    total = np.zeros(n)
    for k in range(1, 1 + int(rule("daily_days"))):
        earlier = np.full(n, np.nan)
        if 24 * k < n:
            earlier[24 * k :] = change[: -24 * k]
        total += earlier
    return total / rule("daily_days")


def score_spread(
    quantity: str,
    values: np.ndarray,
    bases: Mapping[str, Base],
    longest_h: int,
    *,
    wider: bool = False,
) -> Spread:
    """Ranges by lead time from an hourly record.

    Each method is run from every hour of the past. The one whose mean absolute error over the leads is least is taken,
    but keeping the value stands unless another is better by a twentieth. Of its errors those count that were made at
    hours that looked like the last one: the fifth of the record nearest in the change over 3 h, the change over 24 h
    and the value, each in its own standard deviation. Their median moves the median; their 5, 10, 90 and 95 % are the
    range. Errors over a lead of L hours overlap, so k of them are worth about k / L; with so few the quantile levels
    are moved outward to hold the promised share on the next case, as in split conformal prediction [Lei2018].

    A lead counts as scored when the record is at least 7 d and 8 leads long; longer leads take the default range. No
    quantile shrinks with lead (where a daily pattern is used: none shrinks from one day to the next at the same hour,
    because a whole day ahead is easier to say than half a day). Each is at least a share of the default and at most
    four times it (water_rules), and at least 3 mm (a hundredth of a foot) or 2 %.

    Parameters
    ----------
    quantity : str
        ``stage`` or ``ln_discharge``: names the default range.
    values : np.ndarray
        Observed, hourly, oldest first, NaN in gaps, shape (n,).
    bases : mapping
        Methods beside keeping the value, by name.
    longest_h : int
        Longest lead [h].
    wider : bool
        Of a regulated river: the range is also at least that of all hours of the record, like now or not.

    References
    ----------
    [Lei2018]
    """
    longest = max(longest_h, 1)
    lead = np.unique(np.concatenate([np.arange(1, min(longest, 4) + 1), np.arange(6, longest + 1, 3), [longest]]))
    default = default_spread(quantity, lead.astype(np.float64))
    error = default.copy()
    shift = np.zeros(len(lead))
    days = int(np.isfinite(values).sum()) / 24.0
    able = [int(hours) for hours in lead if _long_enough(values, days, int(hours))]
    name, base = _best(values, bases, able)
    near = _nearness(values)
    scored = 0
    for i, hours in enumerate(able):
        off = values[hours:] - base(hours)[:-hours]
        known = np.isfinite(off)
        if known.sum() < rule("score_days") * 12:
            break
        order = np.argsort(np.where(known, near[: len(off)], np.inf), kind="stable")
        count = max(int(rule("like_share") * known.sum()), int(rule("like_least")))
        like = off[order[: min(count, int(known.sum()))]]
        shift[i] = np.median(like)
        error[:, i] = np.quantile(like, _levels(len(like) / hours)) - shift[i]
        if wider:
            whole = np.quantile(off[known], _levels(known.sum() / hours)) - shift[i]
            error[:, i] = np.where(_SIGN > 0, np.maximum(error[:, i], whole), np.minimum(error[:, i], whole))
        scored = hours
    shift[len(able) :] = shift[len(able) - 1] if able else 0.0
    size = np.clip(_SIGN[:, None] * error, 0.0, None)
    # a dry record does not rule out rain, so the upper side keeps more; a river with a daily pattern is fed otherwise
    upper, outer = (rule("spread_floor" if name == "daily" else f"spread_floor_{side}") for side in ("upper", "outer"))
    floor = np.array([rule("spread_floor"), rule("spread_floor"), upper, outer])
    size = np.clip(size, floor[:, None] * np.abs(default), rule("spread_cap") * np.abs(default))
    size = np.maximum(size, _FLOOR[quantity])
    size = _widening(size, lead, 24 if name == "daily" else 0)
    size[0], size[3] = np.maximum(size[0], size[1]), np.maximum(size[3], size[2])
    return Spread(lead.astype(np.float64), size * _SIGN[:, None], float(scored), days, shift, name)


def _widening(size: np.ndarray, lead: np.ndarray, period: int) -> np.ndarray:
    """Sizes that do not shrink with lead, or not from one period to the next, shape (4, m)."""
    if not period:
        return np.maximum.accumulate(size, axis=1)
    out = size.copy()
    for i, hours in enumerate(lead):
        if hours > period:
            before = np.array([np.interp(hours - period, lead, row) for row in out])
            out[:, i] = np.maximum(out[:, i], before)
    return out


def _long_enough(values: np.ndarray, days: float, hours: int) -> bool:
    enough = days >= rule("score_days") and days * 24.0 >= rule("score_leads") * hours
    return enough and hours < len(values)


def _best(values: np.ndarray, bases: Mapping[str, Base], leads: list[int]) -> tuple[str, Base]:
    def kept(hours: int) -> np.ndarray:
        return values

    best, least = "kept", 1.0 - rule("base_gain")
    method: Base = kept
    some = leads[:: max(len(leads) // 6, 1)]
    for name, base in bases.items():
        ratios = []
        for hours in some:
            mine = np.abs(values[hours:] - base(hours)[:-hours])
            plain = np.abs(values[hours:] - values[:-hours])
            both = np.isfinite(mine) & np.isfinite(plain)
            if both.sum() >= rule("score_days") * 12 and plain[both].sum() > 0:
                ratios.append(mine[both].sum() / plain[both].sum())
        # its last hour must be known as well, or it has nothing to say now
        if ratios and np.isfinite(base(some[0])[-1]) and np.mean(ratios) <= least:
            best, method, least = name, base, float(np.mean(ratios))
    return best, method


def _nearness(values: np.ndarray) -> np.ndarray:
    """Squared distance of each hour from the last one, in standard deviations, shape (n,); inf where unknown."""
    distance = np.zeros(len(values))
    for feature, weight in ((_change(values, 3), 1.0), (_change(values, 24), 1.0), (values, rule("like_level"))):
        spread = float(np.nanstd(feature)) if np.isfinite(feature).any() else 0.0
        if spread > 0 and np.isfinite(feature[-1]):
            distance += (weight * (feature - feature[-1]) / spread) ** 2
    return np.where(np.isfinite(distance), distance, np.inf)


def _change(values: np.ndarray, hours: int) -> np.ndarray:
    out = np.full(len(values), np.nan)
    if hours < len(values):
        out[hours:] = values[hours:] - values[:-hours]
    return out


def _levels(worth: float) -> np.ndarray:
    """Quantile levels moved outward for a sample worth so many independent errors."""
    stretch = min((worth + 1.0) / worth, rule("level_stretch"))
    return np.clip(0.5 + (np.array(QUANTILES) - 0.5) * stretch, 0.0, 1.0)
