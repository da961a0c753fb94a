"""What the gauge will read through tomorrow: the last good reading carried on, with a range that grows with lead."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np

from planner.gauges.assemble import rank
from planner.gauges.series import Quality, Reading, Series, to_datetime64
from planner.water.levels import discharge_at, hourly, interpolate, stage_at, trend
from planner.water.rating import Rating, rating_of
from planner.water.recession import Recession, fit_recession
from planner.water.rules import rule
from planner.water.spread import Spread, score_spread

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


@dataclass(frozen=True)
class _Method:
    """How a reading is carried on: by recession while the water falls, else kept."""

    recession: Recession | None
    rating: Rating | None

    def discharge(self, q: np.ndarray | float, falling: np.ndarray | bool, hours: np.ndarray | float) -> np.ndarray:
        kept = np.asarray(q, np.float64) + 0.0 * np.asarray(hours, np.float64)
        return kept if self.recession is None else np.where(falling, self.recession.carry(q, hours), kept)

    def stage(self, h: np.ndarray | float, q: np.ndarray | float, later: np.ndarray | float) -> np.ndarray:
        """Stage when the discharge has gone from `q` to `later`: moved along the rating, keeping today's shift."""
        kept = np.asarray(h, np.float64) + 0.0 * np.asarray(later, np.float64)
        if self.rating is None:
            return np.where(np.isnan(kept), np.asarray(h, np.float64), kept)
        move = self.rating.stage(later) - self.rating.stage(q)
        return np.asarray(h, np.float64) + np.where(np.isfinite(move), move, 0.0)


def expect(
    series: Series | None,
    now: datetime,
    start: datetime,
    end: datetime,
    level: float | None = None,
    level_kind: str = "",
    gauge: str = "",
) -> Expected:
    """Expected stage and discharge on the hours from `start` to `end`.

    Hours up to the last reading take the record itself. After it the discharge is kept, or follows the recession
    fitted on the station's own falling limbs while the water falls; the stage moves with it along the station's own
    rating. The range is that of the same method run on the station's past (`planner.water.spread`); a rise or fall
    under way widens it as if it went on for six hours.

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

    Raises
    ------
    ValueError
        When neither series nor level is given, or `end` is before `start`.
    """
    if series is None and level is None:
        raise ValueError("expect() needs a series or a level")
    times = _hours(start, end)
    past = None
    if series is not None:
        past = series.rows(series.times <= to_datetime64(now)) if len(series) else series
        past = past if len(past) else None
    station = series.station if series is not None else gauge
    rating = rating_of(past) if past is not None else None
    row = _last_good(past) if past is not None else None
    if level is not None:
        return _given(station, past, rating, now, times, level, level_kind)
    if past is None or row is None:
        return _nothing(station, past, times)
    return _from_reading(station, past, row, rating, now, times)


def _from_reading(
    station: str, past: Series, row: int, rating: Rating | None, now: datetime, times: np.ndarray
) -> Expected:
    last = past.reading(row)
    age = (to_datetime64(now) - past.times[row]).astype(np.float64) / 60.0
    quality = _quality(past, row, age)
    at = past.times[row]
    lead = (times - at).astype("timedelta64[s]").astype(np.float64) / 3600.0
    made = _carry(past, last, at, lead, rating, _falling(past, at))
    observed = lead <= 0
    made = _observed(made, observed, stage_at(past, times), discharge_at(past, times))
    if quality == Quality.ICE:
        made = _without_range(made)
    basis = f"The last good reading, {_ago(age)} old, {made.how}; {made.range}."
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
    falling = recent and past is not None and _falling(past, to_datetime64(before.time))  # type: ignore[union-attr]
    made = _carry(past, last, at, lead, rating, bool(falling))
    if iced:
        made = _without_range(made)
    basis = (
        f"The level you gave, {made.how}; {'the gauge is under ice, so its range is unknown' if iced else made.range}."
    )
    trend_at = to_datetime64(before.time) if recent and before is not None else at
    return _expected(station, times, made, basis, last.quality, past, trend_at, 0.0, last, keyed, True)


@dataclass(frozen=True)
class _Made:
    stage: np.ndarray  # median, 5, 10, 90, 95 %, shape (5, n)
    discharge: np.ndarray
    how: str
    range: str


def _carry(
    past: Series | None, last: Reading, at: np.datetime64, lead: np.ndarray, rating: Rating | None, falling: bool
) -> _Made:
    longest = max(math.ceil(max(lead.max(), 1.0)), 1)
    n = len(lead)
    empty = np.empty(0)
    q_past = hourly(past.times, past.discharge_m3s, at) if past is not None else empty
    h_past = hourly(past.times, past.stage_m, at) if past is not None else empty
    recession = fit_recession(q_past)
    method = _Method(recession, rating)
    fell = _fell(q_past)
    ahead = np.maximum(lead, 0.0)
    q = np.full((5, n), np.nan)
    h = np.full((5, n), np.nan)
    spread: Spread | None = None
    if math.isfinite(last.discharge_m3s):
        q[0] = method.discharge(last.discharge_m3s, falling, ahead)
        spread = _scored_discharge(method, q_past, fell, longest)
        drift = trend(past.times, _log(past.discharge_m3s), at) if past is not None else math.nan
        with np.errstate(divide="ignore"):
            q[1:] = np.exp(_widened(np.log(q[0]), spread.at(ahead), drift, ahead, np.log(last.discharge_m3s or np.nan)))
        q[1:, q[0] <= 0] = 0.0
    if math.isfinite(last.stage_m):
        known = math.isfinite(last.discharge_m3s) and rating is not None
        h[0] = method.stage(last.stage_m, last.discharge_m3s, q[0]) if known else last.stage_m
        spread = _scored_stage(method, h_past, q_past, fell, longest)
        drift = trend(past.times, past.stage_m, at) if past is not None else math.nan
        h[1:] = _widened(h[0], spread.at(ahead), drift, ahead, last.stage_m)
    how = "kept as it is"
    if falling and recession is not None and math.isfinite(last.discharge_m3s):
        days = recession.half_life_days(last.discharge_m3s)
        how = f"carried on as falling water falls here (half-life about {days:.0f} d at this flow)"
        if days < 3:
            how = f"carried on as falling water falls here (half-life about {24 * days:.0f} h at this flow)"
    return _Made(h, q, how, _range_words(spread))


def _range_words(spread: Spread | None) -> str:
    if spread is None or spread.scored_h <= 0:
        return "its range is a general one, because the record is too short to score it"
    words = f"its range comes from this station's own changes over {spread.days:.0f} d"
    if spread.scored_h < spread.lead_h[-1]:
        words += f", beyond {spread.scored_h:.0f} h of lead from general figures"
    return words


def _widened(median: np.ndarray, error: np.ndarray, drift: float, ahead: np.ndarray, from_value: float) -> np.ndarray:
    """Quantiles about the median, shape (4, n), opened to where a trend that goes on would lead."""
    bands = median + error
    if math.isfinite(drift):
        carried = from_value + drift * np.minimum(ahead, rule("trend_carry"))
        if drift > 0:
            bands[2:] = np.maximum(bands[2:], carried)
        else:
            bands[:2] = np.minimum(bands[:2], carried)
    return bands


def _scored_discharge(method: _Method, q_past: np.ndarray, fell: np.ndarray, longest: int) -> Spread:
    def carried(hours: int) -> np.ndarray:
        return _log(method.discharge(q_past, fell, float(hours)))

    return score_spread("ln_discharge", _log(q_past), carried if method.recession else None, longest)


def _scored_stage(method: _Method, h_past: np.ndarray, q_past: np.ndarray, fell: np.ndarray, longest: int) -> Spread:
    def carried(hours: int) -> np.ndarray:
        return method.stage(h_past, q_past, method.discharge(q_past, fell, float(hours)))

    usable = method.recession is not None and method.rating is not None and len(q_past) == len(h_past)
    return score_spread("stage", h_past, carried if usable else None, longest)


def _fell(q_past: np.ndarray) -> np.ndarray:
    """Hours of the past at which the water had been falling, shape (n,)."""
    hours = int(rule("falling_window"))
    fell = np.zeros(len(q_past), bool)
    if len(q_past) > hours:
        y = _log(q_past)
        fell[hours:] = (y[hours:] - y[:-hours] < -rule("falling_least")) & (y[hours:] <= y[hours - 1 : -1])
    return fell


def _falling(past: Series, at: np.datetime64) -> bool:
    fell = _fell(hourly(past.times, past.discharge_m3s, at))
    drift = trend(past.times, past.discharge_m3s, at)
    return bool(len(fell) and fell[-1] and not drift > 0)


def _observed(made: _Made, rows: np.ndarray, stage: np.ndarray, discharge: np.ndarray) -> _Made:
    """Where the hour has been recorded, the record stands and has no range but itself."""
    h, q = made.stage.copy(), made.discharge.copy()
    at = rows & np.isfinite(stage)
    h[:, at] = stage[at]
    at = rows & np.isfinite(discharge)
    q[:, at] = discharge[at]
    return replace(made, stage=h, discharge=q)


def _without_range(made: _Made) -> _Made:
    h, q = made.stage.copy(), made.discharge.copy()
    h[1:], q[1:] = np.nan, np.nan
    return replace(made, stage=h, discharge=q)


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
    return _expected(station, times, _Made(nan, nan, "", ""), basis, quality, past, at, math.nan, last, "stage", False)


def _expected(
    station: str,
    times: np.ndarray,
    made: _Made,
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
        relative = trend(past.times, _log(past.discharge_m3s), at)
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


def _log(values: np.ndarray) -> np.ndarray:
    values = np.asarray(values, np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.log(np.where(values > 0, values, np.nan))


def _ago(age_min: float) -> str:
    if age_min < 90:
        return f"{age_min:.0f} min"
    return f"{age_min / 60:.0f} h" if age_min < 2880 else f"{age_min / 1440:.0f} d"
