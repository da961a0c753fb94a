"""What the gauge will read through tomorrow: the last good reading carried on, with a range that grows with lead."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from planner.gauges.assemble import rank
from planner.gauges.forecast import Forecast
from planner.gauges.series import Quality, Reading, Series, to_datetime64
from planner.water.agency import with_forecast
from planner.water.carry import Carried, carry_on, is_falling, ln, recorded, without_range
from planner.water.clean import cleaned, without_marked
from planner.water.levels import discharge_at, interpolate, stage_at, trend
from planner.water.rating import Rating, rating_of
from planner.water.rules import rule

__all__ = ["Expected", "expect"]

_HOUR = np.timedelta64(3600, "s")


@dataclass(frozen=True)
class Expected:
    """The gauge hour by hour, with its range and where it comes from.

    Parameters
    ----------
    gauge : str
        ``service:station``.
    times : np.ndarray
        Whole hours, UTC datetime64[s], shape (n,).
    stage_m, stage_low_m, stage_high_m, stage_p05_m, stage_p95_m : np.ndarray
        Median, 10 and 90 %, 5 and 95 % [m], shape (n,); NaN unknown.
    discharge_m3s, discharge_low_m3s, discharge_high_m3s, discharge_p05_m3s, discharge_p95_m3s : np.ndarray
        The same for discharge [m³/s].
    basis : str
        One sentence: how it was had.
    quality : Quality
        Of the reading that all rests on: ice and equipment trouble at the end of the record, or stale, stand here.
    trend_m_per_h : float
        Stage change over the last 3 h, robust [m/h].
    rise_m_3h : float
        Last stage less the stage 3 h before [m]; negative when it fell.
    age_min : float
        Age of the reading at `now` [min]; 0 for a level given by the user, NaN when there is none.
    last : Reading
        The reading carried on.
    keyed_on : str
        ``stage`` or ``discharge``.
    trend_per_h : float
        Relative discharge change over the last 3 h, robust [1/h].
    gain_3h : float
        Last discharge over that 3 h before, less 1 [-].
    given : bool
        True when the user gave the level.
    notes : tuple of str
        What else must be said.
    """

    gauge: str
    times: np.ndarray
    stage_m: np.ndarray
    stage_low_m: np.ndarray
    stage_high_m: np.ndarray
    stage_p05_m: np.ndarray
    stage_p95_m: np.ndarray
    discharge_m3s: np.ndarray
    discharge_low_m3s: np.ndarray
    discharge_high_m3s: np.ndarray
    discharge_p05_m3s: np.ndarray
    discharge_p95_m3s: np.ndarray
    basis: str
    quality: Quality
    trend_m_per_h: float
    rise_m_3h: float
    age_min: float
    last: Reading
    keyed_on: str
    trend_per_h: float = math.nan
    gain_3h: float = math.nan
    given: bool = False
    notes: tuple[str, ...] = field(default=())

    @property
    def stage_cautious_m(self) -> np.ndarray:
        """Stage that the cautions hold each hour at: its 90 %, the median where no range is known [m], shape (n,)."""
        return np.where(np.isfinite(self.stage_high_m), self.stage_high_m, self.stage_m)

    @property
    def discharge_cautious_m3s(self) -> np.ndarray:
        """The same of discharge [m³/s], shape (n,).

        NaN where a discharge of zero or less has no range: water that stands or runs back says nothing of how much may
        come.
        """
        median = np.where(self.discharge_m3s > 0, self.discharge_m3s, np.nan)
        return np.where(np.isfinite(self.discharge_high_m3s), self.discharge_high_m3s, median)


def expect(
    series: Series | None,
    now: datetime,
    start: datetime,
    end: datetime,
    level: float | None = None,
    level_kind: str = "",
    gauge: str = "",
    regulated: bool | None = None,
    forecast: Forecast | None = None,
) -> Expected:
    """Expected stage and discharge on the hours from `start` to `end`.

    Hours up to the last reading take the record itself. After it the agency's forecast stands where one is given.
    Without one the reading is carried on by the method that did best on the station's own past: kept, with the daily
    pattern of its last week, or, while the water falls, along the recession fitted on its own falling limbs (the stage
    moves along the station's own rating); then it is moved by the median error of hours that looked like now, and the
    range is that of the same errors (`planner.water.spread`). A rise or fall under way widens it as if it went on for
    six hours. On a regulated river no recession is drawn and the range is wider.

    Ice at the end of the record leaves the last good values as the median and no range: how far they hold is unknown.

    Parameters
    ----------
    series : Series or None
        None only with `level`.
    now : datetime
        The plan's clock, aware; later rows are not used.
    start, end : datetime
        Window, aware.
    level : float, optional
        What the user read or expects at the gauge, in place of the last reading: stage [m], or discharge [m³/s] when
        the gauge is keyed on discharge or `level_kind` says so.
    level_kind : str, optional
        ``stage`` or ``discharge``.
    gauge : str, optional
        Name to show when there is no series.
    regulated : bool, optional
        Somebody lets water go above the gauge.
    forecast : Forecast, optional
        The agency's own, of the same gauge.

    Raises
    ------
    ValueError
        When neither series nor level is given, or `end` is before `start`.
    """
    if series is None and level is None:
        raise ValueError("expect() needs a series or a level")
    times = _hours(start, end)
    past = None
    if series is not None and len(series):
        before = series.rows(series.times <= to_datetime64(now))
        past = without_marked(cleaned(before), Quality.EQUIPMENT) if len(before) else None
    station = series.station if series is not None else gauge
    rating = rating_of(past) if past is not None else None
    row = _last_good(past) if past is not None else None
    if level is not None:
        return _given(station, past, rating, now, times, level, level_kind, bool(regulated))
    if past is None or row is None:
        return _nothing(station, past, times)
    return _from_reading(station, past, row, rating, now, times, bool(regulated), forecast)


def _from_reading(
    station: str,
    past: Series,
    row: int,
    rating: Rating | None,
    now: datetime,
    times: np.ndarray,
    regulated: bool,
    forecast: Forecast | None,
) -> Expected:
    last = past.reading(row)
    age = (to_datetime64(now) - past.times[row]).astype(np.float64) / 60.0
    quality = _quality(past, row, age)
    at = past.times[row]
    lead = (times - at).astype("timedelta64[s]").astype(np.float64) / 3600.0
    made = carry_on(past, last, at, lead, rating, quality != Quality.ICE and is_falling(past, at), regulated)
    said = ""
    if quality != Quality.ICE:
        made, said = with_forecast(made, forecast, times, last, rating, past)
    observed = lead <= 0
    made = recorded(made, observed, stage_at(past, times), discharge_at(past, times))
    if quality == Quality.ICE:
        made = without_range(made)
    basis = f"The last good reading, {_ago(age)} old, {made.how}; {made.range}."
    if made.how == "as forecast":
        basis = said
    elif said:
        basis = f"{basis} {said}"
    if quality == Quality.ICE:
        basis = f"The last good reading, {_ago(age)} old, kept; the record is under ice, so its range is unknown."
    keyed = "stage" if math.isfinite(last.stage_m) else "discharge"
    return _expected(station, times, made, basis, quality, past, at, age, last, keyed, False)


def _given(
    station: str,
    past: Series | None,
    rating: Rating | None,
    now: datetime,
    times: np.ndarray,
    level: float,
    level_kind: str,
    regulated: bool,
) -> Expected:
    row = _last_good(past) if past is not None else None
    before = past.reading(row) if past is not None and row is not None else None
    keyed = level_kind or ("discharge" if before is not None and math.isnan(before.stage_m) else "stage")
    stage, discharge = (level, math.nan) if keyed == "stage" else (math.nan, level)
    if rating is not None:
        if keyed == "stage":
            discharge = float(rating.discharge(level))
        else:
            stage = float(rating.stage(level))
    at = to_datetime64(now)
    recent = before is not None and (at - to_datetime64(before.time)) <= np.timedelta64(
        int(rule("stale_after") * 60), "s"
    )
    iced = past is not None and Quality.ICE in past.last_flags()
    last = Reading(
        time=now,
        stage_m=stage,
        discharge_m3s=discharge,
        temperature_c=before.temperature_c if recent and before is not None else math.nan,
        turbidity_fnu=before.turbidity_fnu if recent and before is not None else math.nan,
        quality=Quality.ICE if iced else Quality.ESTIMATED,
    )
    lead = (times - at).astype("timedelta64[s]").astype(np.float64) / 3600.0
    # a level that the user states holds for the whole window: letting it recede would plan lower water than was asked
    made = carry_on(past, last, at, lead, rating, False, regulated, stated=True)
    if iced:
        made = without_range(made)
    basis = (
        f"The level you gave, {made.how}; {'the gauge is under ice, so its range is unknown' if iced else made.range}."
    )
    trend_at = to_datetime64(before.time) if recent and before is not None else at
    return _expected(station, times, made, basis, last.quality, past, trend_at, 0.0, last, keyed, True)


def _last_good(past: Series) -> int | None:
    """Row of the last stage or discharge that no equipment trouble spoils."""
    good = np.flatnonzero(past.has_level() & (past.quality != str(Quality.EQUIPMENT)))
    return int(good[-1]) if len(good) else None


def _quality(past: Series, row: int, age_min: float) -> Quality:
    after = {Quality(str(word)) for word in past.quality[row:]}
    for flag in (Quality.ICE, Quality.EQUIPMENT):
        if flag in after:
            return flag
    own = Quality(str(past.quality[row]))
    return max(own, Quality.STALE, key=rank) if age_min > rule("stale_after") else own


def _nothing(station: str, past: Series | None, times: np.ndarray) -> Expected:
    flags = past.last_flags() if past is not None else ()
    quality = next((flag for flag in (Quality.ICE, Quality.EQUIPMENT) if flag in flags), Quality.MISSING)
    nan = np.full((5, len(times)), np.nan)
    time = past.reading(len(past) - 1) if past is not None else None
    last = Reading(
        time.time if time else datetime.fromisoformat("1970-01-01T00:00:00+00:00"),
        math.nan,
        math.nan,
        time.temperature_c if time else math.nan,
        time.turbidity_fnu if time else math.nan,
        quality,
    )
    basis = "No reading of stage or discharge in the record" + (": ice." if quality == Quality.ICE else ".")
    at = times[0]
    return _expected(
        station, times, Carried(nan, nan, "", ""), basis, quality, past, at, math.nan, last, "stage", False
    )


def _expected(
    station: str,
    times: np.ndarray,
    made: Carried,
    basis: str,
    quality: Quality,
    past: Series | None,
    at: np.datetime64,
    age: float,
    last: Reading,
    keyed: str,
    given: bool,
) -> Expected:
    rise = gain = slope = relative = math.nan
    if past is not None:
        slope = trend(past.times, past.stage_m, at)
        relative = trend(past.times, ln(past.discharge_m3s), at)
        moments = np.array([at - 3 * _HOUR, at])
        h, q = stage_at(past, moments), interpolate(past.times, past.discharge_m3s, moments)
        rise = float(h[1] - h[0])
        gain = float(q[1] / q[0] - 1.0) if q[0] > 0 else math.nan
    h5, q5 = made.stage, made.discharge
    return Expected(
        gauge=station,
        times=times,
        stage_m=h5[0],
        stage_low_m=h5[2],
        stage_high_m=h5[3],
        stage_p05_m=h5[1],
        stage_p95_m=h5[4],
        discharge_m3s=q5[0],
        discharge_low_m3s=q5[2],
        discharge_high_m3s=q5[3],
        discharge_p05_m3s=q5[1],
        discharge_p95_m3s=q5[4],
        basis=basis,
        quality=quality,
        trend_m_per_h=slope,
        rise_m_3h=rise,
        age_min=float(age),
        last=last,
        keyed_on=keyed,
        trend_per_h=relative,
        gain_3h=gain,
        given=given,
        notes=past.notes if past is not None else (),
    )


def _hours(start: datetime, end: datetime) -> np.ndarray:
    first, last = to_datetime64(start), to_datetime64(end)
    if last < first:
        raise ValueError("the window ends before it starts")
    first = first.astype("datetime64[h]").astype("datetime64[s]")
    steps = math.ceil((last - first) / _HOUR)
    return first + np.arange(steps + 1) * _HOUR


def _ago(age_min: float) -> str:
    if age_min < 90:
        return f"{age_min:.0f} min"
    return f"{age_min / 60:.0f} h" if age_min < 2880 else f"{age_min / 1440:.0f} d"
