"""Stage and discharge of a series at any moment, never across a long gap."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from planner.gauges.series import Series, to_datetime64
from planner.water.rules import rule

__all__ = ["discharge_at", "hourly", "interpolate", "stage_at", "trend"]

Times = np.ndarray | Sequence[datetime] | datetime | np.datetime64


def stage_at(series: Series, times: Times) -> np.ndarray:
    """Stage at given moments, linear between readings [m].

    Parameters
    ----------
    series : Series
        Of the gauge.
    times : array of datetime64 (UTC), aware datetime, or a sequence of them
        Shape (m,) or scalar.

    Returns
    -------
    np.ndarray
        Shape (m,); NaN outside the record and in gaps of more than 3 h.
    """
    return interpolate(series.times, series.stage_m, times)


def discharge_at(series: Series, times: Times) -> np.ndarray:
    """Discharge at given moments, linear between readings [m³/s]; NaN as in `stage_at`."""
    return interpolate(series.times, series.discharge_m3s, times)


def interpolate(at: np.ndarray, values: np.ndarray, times: Times) -> np.ndarray:
    """Values at `times`, linear between known values no more than 3 h apart, else NaN.

    Parameters
    ----------
    at : np.ndarray
        UTC datetime64[s], ascending, shape (n,).
    values : np.ndarray
        NaN unknown, shape (n,).
    times : see `stage_at`
        Shape (m,) or scalar.
    """
    wanted = _seconds(times)
    known = np.isfinite(values)
    x, y = at[known].astype("datetime64[s]").astype(np.int64).astype(np.float64), values[known]
    if not len(x):
        return np.full(wanted.shape, np.nan)
    after = np.clip(np.searchsorted(x, wanted, side="left"), 0, len(x) - 1)
    before = np.where(x[after] == wanted, after, np.maximum(after - 1, 0))
    inside = (wanted >= x[0]) & (wanted <= x[-1]) & (x[after] - x[before] <= rule("gap") * 3600.0)
    return np.where(inside, np.interp(wanted, x, y), np.nan)


def hourly(at: np.ndarray, values: np.ndarray, end: np.datetime64) -> np.ndarray:
    """Values on whole hours back from `end` to the start of the record, oldest first; NaN in gaps."""
    if not len(at):
        return np.empty(0)
    hours = int((end - at[0]) / np.timedelta64(3600, "s"))
    grid = end - np.arange(max(hours, 0), -1, -1) * np.timedelta64(3600, "s")
    return interpolate(at, values, grid)


def trend(at: np.ndarray, values: np.ndarray, end: np.datetime64) -> float:
    """Change per hour over the last hours before `end`: the median of all pairwise slopes (Theil-Sen) [unit/h].

    One value off does not move it. NaN with fewer than three values or when they span less than one hour.

    References
    ----------
    [Sen1968]
    """
    span = np.timedelta64(int(rule("trend_window") * 3600), "s")
    keep = np.isfinite(values) & (at <= end) & (at >= end - span)
    x = (at[keep] - end).astype("timedelta64[s]").astype(np.float64) / 3600.0
    y = values[keep]
    if len(x) < 3 or x[-1] - x[0] < 1.0:
        return float("nan")
    first, second = np.triu_indices(len(x), 1)
    return float(np.median((y[second] - y[first]) / (x[second] - x[first])))


def _seconds(times: Times) -> np.ndarray:
    if isinstance(times, datetime | np.datetime64):
        return np.asarray(to_datetime64(times).astype(np.int64), np.float64)
    if isinstance(times, np.ndarray) and np.issubdtype(times.dtype, np.datetime64):
        return times.astype("datetime64[s]").astype(np.int64).astype(np.float64)
    return np.array([to_datetime64(t).astype(np.int64) for t in times], np.float64)
