"""How fast this gauge rises when it rises: the distribution of its own rates."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from planner.gauges.series import Series
from planner.water.levels import hourly
from planner.water.rules import rule

__all__ = ["rise_rates"]


def rise_rates(series: Series) -> dict[str, Any]:
    """Quantiles of the hourly rises of stage on record.

    Only hours at which the stage rose count. The cautions rank the present rise among such hours by
    `planner.caution.past`, which asks for 200 of them.

    Returns
    -------
    dict
        ``hours`` (how many rises), ``p50_m_per_h``, ``p95_m_per_h``, ``p99_m_per_h`` [m/h]; NaN
        with fewer than 48 rises.
    """
    nothing = {"hours": 0, "p50_m_per_h": math.nan, "p95_m_per_h": math.nan, "p99_m_per_h": math.nan}
    if not len(series):
        return nothing
    stage = hourly(series.times, series.stage_m, series.times[-1])
    change = np.diff(stage)
    rises = change[np.isfinite(change) & (np.round(change, 9) > 0)]
    if len(rises) < rule("rise_hours"):
        return {**nothing, "hours": len(rises)}
    p50, p95, p99 = np.quantile(rises, (0.5, 0.95, 0.99)).tolist()
    return {"hours": len(rises), "p50_m_per_h": p50, "p95_m_per_h": p95, "p99_m_per_h": p99}
