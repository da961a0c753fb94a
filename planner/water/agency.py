"""The agency's forecast in place of the own expectation, where there is one."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime

import numpy as np

from planner.gauges.forecast import Forecast
from planner.gauges.series import Reading, to_datetime64
from planner.water.carry import Carried
from planner.water.rating import Rating
from planner.water.rules import rule

__all__ = ["with_forecast"]


def with_forecast(
    made: Carried, forecast: Forecast | None, times: np.ndarray, last: Reading, rating: Rating | None
) -> tuple[Carried, str]:
    """Move the median to the agency's forecast, keep the own range about it.

    The forecast is read linearly between its times. Where it misses the last reading, the difference is taken off and
    fades over 12 h; a difference of more than half a metre means another zero of the gauge, and the forecast is not
    used. Hours that it does not cover keep the own expectation. Discharge that is not forecast follows the station's
    rating from the forecast stage; without a rating it is unknown in those hours, for the own expectation knows nothing
    of the rise that is forecast.

    Parameters
    ----------
    made : Carried
        The own expectation.
    forecast : Forecast or None
        Of the same gauge.
    times : np.ndarray
        Hours of `made`, UTC.
    last : Reading
        Carried on.
    rating : Rating or None
        Of the station.

    Returns
    -------
    Carried, str
        With the forecast in it and a sentence about it; the sentence is empty when none was given.
    """
    if forecast is None:
        return made, ""
    at = to_datetime64(last.time)
    lead = (times - at).astype("timedelta64[s]").astype(np.float64) / 3600.0
    h, miss = _joined(forecast, forecast.stage_m, times, lead, last.stage_m, at)
    if math.isfinite(miss) and abs(miss) > rule("forecast_miss"):
        return made, f"The forecast of the {forecast.agency} is {miss:+.2f} m off the last reading and is not used."
    q, _ = _joined(forecast, forecast.discharge_m3s, times, lead, last.discharge_m3s, at)
    if rating is not None:
        here = float(rating.discharge(last.stage_m))
        ratio = last.discharge_m3s / here if here > 0 and math.isfinite(last.discharge_m3s) else 1.0
        q = np.where(np.isfinite(q), q, rating.discharge(h) * ratio)
    covered = (np.isfinite(h) | np.isfinite(q)) & (lead > 0)
    if not covered.any():
        return made, f"The forecast of the {forecast.agency} does not reach these hours."
    stage, discharge = made.stage.copy(), made.discharge.copy()
    rows = covered & np.isfinite(h)
    stage[:, rows] += h[rows] - stage[0, rows]
    discharge[:, rows & ~np.isfinite(q)] = np.nan
    rows = covered & (q > 0) & (discharge[0] > 0)
    # about a discharge the range is a ratio
    discharge[:, rows] *= q[rows] / discharge[0, rows]
    # out of water that stands or runs back the forecast is all that is known
    rows = covered & (q > 0) & (discharge[0] <= 0)
    discharge[0, rows] = q[rows]
    rest = "" if covered[lead > 0].all() else " as far as it reaches"
    said = f"The forecast of the {forecast.agency}, issued {_when(forecast.issued)}{rest}; {made.range}."
    return replace(made, stage=stage, discharge=discharge, how="as forecast"), said


def _joined(
    forecast: Forecast, values: np.ndarray, times: np.ndarray, lead: np.ndarray, seen: float, at: np.datetime64
) -> tuple[np.ndarray, float]:
    """Forecast at the hours, joined to the last reading, and by how much it missed that (NaN when not known)."""
    known = np.isfinite(values)
    if not known.any():
        return np.full(len(times), np.nan), math.nan
    x = forecast.times[known].astype(np.int64).astype(np.float64)
    y = values[known]
    wanted = times.astype("datetime64[s]").astype(np.int64).astype(np.float64)
    said = np.interp(wanted, x, y, left=np.nan, right=np.nan)
    now = float(at.astype("datetime64[s]").astype(np.int64))
    miss = math.nan
    if math.isfinite(seen) and now <= x[-1]:
        miss = float(np.interp(now, x, y)) - seen  # before its first time the first value stands
        said = said - miss * np.clip(1.0 - lead / rule("forecast_blend"), 0.0, 1.0)
    return said, miss


def _when(issued: datetime | None) -> str:
    return "at an unknown time" if issued is None else f"{issued:%Y-%m-%d %H:%M} UTC"
