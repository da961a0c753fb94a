"""How far off a carried-on reading has been: ranges by lead time, scored on the station's own past."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from planner.tables import rows
from planner.water.rules import rule

__all__ = ["QUANTILES", "Spread", "default_spread", "score_spread"]

QUANTILES = (0.05, 0.10, 0.90, 0.95)
_FLOOR = {"stage": 0.01, "ln_discharge": 0.02}


@dataclass(frozen=True)
class Spread:
    """Quantiles of (observed - carried on) by lead time.

    Parameters
    ----------
    lead_h : np.ndarray
        Hours, ascending, shape (m,).
    error : np.ndarray
        5, 10, 90 and 95 %, shape (4, m); the lower two are negative or zero, the upper two positive or zero.
    scored_h : float
        Longest lead that rests on the station's own past [h]; 0 when none does.
    days : float
        Length of the record used [d].
    """

    lead_h: np.ndarray
    error: np.ndarray
    scored_h: float
    days: float

    def at(self, lead_h: np.ndarray) -> np.ndarray:
        """Quantiles at given leads, linear between, zero at lead 0, held beyond the last; shape (4, k)."""
        x = np.concatenate([[0.0], self.lead_h])
        return np.array([np.interp(lead_h, x, np.concatenate([[0.0], row])) for row in self.error])


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


def score_spread(
    quantity: str, values: np.ndarray, carried: Callable[[int], np.ndarray] | None, longest_h: int
) -> Spread:
    """Ranges by lead time from an hourly record.

    For each whole hour of lead the method is run from every hour of the past and its error kept; the signed 5, 10, 90
    and 95 % quantiles of these are the range. A lead counts as scored when the record is at least 7 d and 8 leads
    long; longer leads take the default range. Each quantile is kept from shrinking with lead, at least a quarter and
    at most four times the default (water_rules), and at least 1 cm or 2 %.

    Parameters
    ----------
    quantity : str
        ``stage`` or ``ln_discharge``: names the default range.
    values : np.ndarray
        Observed, hourly, oldest first, NaN in gaps, shape (n,).
    carried : callable or None
        ``carried(lead)`` gives what the method says for `lead` hours after each hour, shape (n,); None: the value kept.
    longest_h : int
        Longest lead [h].
    """
    lead = np.arange(1, max(longest_h, 1) + 1)
    default = default_spread(quantity, lead.astype(np.float64))
    error = default.copy()
    known = np.flatnonzero(np.isfinite(values))
    days = len(known) / 24.0
    scored = 0
    for i, hours in enumerate(lead):
        if days < rule("score_days") or days * 24.0 < rule("score_leads") * hours or hours >= len(values):
            break
        said = values if carried is None else carried(int(hours))
        off = values[hours:] - said[:-hours]
        off = off[np.isfinite(off)]
        if len(off) < rule("score_days") * 12:
            break
        error[:, i] = np.quantile(off, QUANTILES)
        scored = int(hours)
    size = np.clip(np.array([-1.0, -1.0, 1.0, 1.0])[:, None] * error, 0.0, None)
    size = np.clip(size, rule("spread_floor") * np.abs(default), rule("spread_cap") * np.abs(default))
    size = np.maximum(size, _FLOOR[quantity])
    size = np.maximum.accumulate(size, axis=1)
    size[0], size[3] = np.maximum(size[0], size[1]), np.maximum(size[3], size[2])
    return Spread(lead.astype(np.float64), size * np.array([-1.0, -1.0, 1.0, 1.0])[:, None], float(scored), days)
