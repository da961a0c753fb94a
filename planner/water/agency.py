"""The agency's forecast in place of the own expectation, where there is one."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime

import numpy as np

from planner.gauges.forecast import Forecast
from planner.gauges.series import Reading, Series, to_datetime64
from planner.water.carry import Carried
from planner.water.levels import stage_at
from planner.water.rating import Rating
from planner.water.rules import rule

__all__ = ["with_forecast", "zero_off"]


def with_forecast(
    made: Carried,
    forecast: Forecast | None,
    times: np.ndarray,
    last: Reading,
    rating: Rating | None,
    past: Series | None = None,
) -> tuple[Carried, str]:
    """Move the median to the agency's forecast, keep the own range about it.

    The forecast is read linearly between its times. Where it misses the last reading, the difference is taken off and
    fades over 12 h. One that begins after the last reading misses nothing: it is read linearly from there to its first
    time. On another zero of the gauge it is not used: where the agency's own readings stand more than half a metre off
    this record, or, without them, where it misses the last reading by more than that (and as much again for each hour
    that it begins later, in which the water may have risen). Hours that it does not cover keep the own expectation.
    Discharge that is not forecast follows the station's rating from the forecast stage; without a rating it is unknown
    in those hours, for the own expectation knows nothing of the rise that is forecast.

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
    past : Series, optional
        The station's record, to hold the agency's readings against.

    Returns
    -------
    Carried, str
        With the forecast in it and a sentence about it; the sentence is empty when none was given.
    """
    if forecast is None:
        return made, ""
    at = to_datetime64(last.time)
    lead = (times - at).astype("timedelta64[s]").astype(np.float64) / 3600.0
    h, miss, later = _joined(forecast, forecast.stage_m, times, lead, last.stage_m, at)
    off = zero_off(forecast.seen_times, forecast.seen_stage_m, past)
    if abs(off) > rule("forecast_miss"):
        return made, (
            f"The forecast of the {forecast.agency} is not used: its own readings are {off:+.2f} m off this gauge's: "
            "it stands on another zero."
        )
    if math.isnan(off) and abs(miss) > rule("forecast_miss") * (1.0 + later):
        return made, f"The forecast of the {forecast.agency} is {miss:+.2f} m off the last reading and is not used."
    q, _, _ = _joined(forecast, forecast.discharge_m3s, times, lead, last.discharge_m3s, at)
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
) -> tuple[np.ndarray, float, float]:
    """Forecast at the hours, joined to the last reading, by how much it misses that, and how much later it begins [h].

    NaN where not known. Of a forecast that begins later the miss is that of its first value.
    """
    known = np.isfinite(values)
    if not known.any():
        return np.full(len(times), np.nan), math.nan, 0.0
    x = forecast.times[known].astype(np.int64).astype(np.float64)
    y = values[known]
    wanted = times.astype("datetime64[s]").astype(np.int64).astype(np.float64)
    now = float(at.astype("datetime64[s]").astype(np.int64))
    later = max((x[0] - now) / 3600.0, 0.0)
    if not math.isfinite(seen) or now > x[-1]:
        return np.interp(wanted, x, y, left=np.nan, right=np.nan), math.nan, later
    miss = float(np.interp(now, x, y)) - seen
    if later > 0:  # what it says of its first time is a change since the reading
        x, y = np.append(now, x), np.append(seen, y)
        return np.interp(wanted, x, y, left=np.nan, right=np.nan), miss, later
    said = np.interp(wanted, x, y, left=np.nan, right=np.nan)
    return said - miss * np.clip(1.0 - lead / rule("forecast_blend"), 0.0, 1.0), miss, later


def zero_off(times: np.ndarray, stages: np.ndarray, past: Series | None) -> float:
    """How far an agency's own readings stand above the record, the median of all [m]; NaN where they do not meet.

    Parameters
    ----------
    times, stages : np.ndarray
        Its readings, UTC datetime64[s] and [m], shape (k,).
    past : Series or None
        The record.
    """
    if past is None or not len(times):
        return math.nan
    off = stages - stage_at(past, times)
    off = off[np.isfinite(off)]
    return float(np.median(off)) if len(off) else math.nan


def _when(issued: datetime | None) -> str:
    return "at an unknown time" if issued is None else f"{issued:%Y-%m-%d %H:%M} UTC"
