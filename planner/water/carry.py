"""One reading carried on hour by hour, with the range that the same method had on the station's past."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from planner.gauges.series import Reading, Series
from planner.water.levels import hourly, trend
from planner.water.rating import Rating
from planner.water.recession import Recession, fit_recession
from planner.water.rules import rule
from planner.water.spread import Base, Spread, daily_change, score_spread

__all__ = ["Carried", "carry_on", "is_falling", "ln", "recorded", "without_range"]


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
        if self.rating is None:
            return np.asarray(h, np.float64) + np.zeros(np.shape(later))
        move = self.rating.stage(later) - self.rating.stage(q)
        return np.asarray(h, np.float64) + np.where(np.isfinite(move), move, 0.0)


@dataclass(frozen=True)
class Carried:
    """Stage and discharge hour by hour.

    Parameters
    ----------
    stage : np.ndarray
        Median, 5, 10, 90 and 95 % [m], shape (5, n).
    discharge : np.ndarray
        The same [m³/s], shape (5, n).
    how : str
        How the reading was carried on, to stand in a sentence.
    range : str
        Where the range comes from, to stand in a sentence.
    """

    stage: np.ndarray
    discharge: np.ndarray
    how: str
    range: str


def carry_on(
    past: Series | None,
    last: Reading,
    at: np.datetime64,
    lead: np.ndarray,
    rating: Rating | None,
    falling: bool,
    regulated: bool = False,
    stated: bool = False,
) -> Carried:
    """Carry one reading on.

    Parameters
    ----------
    past : Series or None
        The record up to `at`; scores the methods and the range.
    last : Reading
        What is carried on.
    at : np.datetime64
        Its time, UTC.
    lead : np.ndarray
        Hours after `at`, shape (n,); none less than zero is carried.
    rating : Rating or None
        Of the station.
    falling : bool
        Whether the recession applies.
    regulated : bool
        Somebody lets water go: no recession is drawn, and the range is wider.
    stated : bool
        The reading is a level that the user states for those hours: only a recession moves it.
    """
    longest = max(math.ceil(max(lead.max(), 1.0)), 1)
    n = len(lead)
    empty = np.empty(0)
    q_past = hourly(past.times, past.discharge_m3s, at) if past is not None else empty
    h_past = hourly(past.times, past.stage_m, at) if past is not None else empty
    recession = None if regulated else fit_recession(q_past)
    method = _Method(recession, rating)
    fell = _fell(q_past)
    ahead = np.maximum(lead, 0.0)
    q = np.full((5, n), np.nan)
    h = np.full((5, n), np.nan)
    spread: Spread | None = None
    if math.isfinite(last.discharge_m3s):
        bases = _discharge_bases(method, q_past, fell)
        spread = score_spread("ln_discharge", ln(q_past), bases, longest, wider=regulated)
        spread = replace(spread, shift=0.0 * spread.shift) if stated else spread
        now = float(ln(np.array(last.discharge_m3s)))
        if spread.base == "recession" and falling:
            q[0] = ln(method.discharge(last.discharge_m3s, True, ahead))
        else:
            q[0] = now + (0.0 if stated else _pattern(spread, ln(q_past), ahead))
        q[0] += spread.shift_at(ahead)
        drift = _drift(past.times, ln(past.discharge_m3s), at, spread, ln(q_past)) if past is not None else math.nan
        q[1:] = _widened(q[0], spread.at(ahead), drift, rule("trend_most_discharge"), ahead, now)
        # dry, or flowing backwards with a tide: a relative range has no meaning, so none is known
        q = np.exp(q) if last.discharge_m3s > 0 else np.full((5, n), np.nan)
        q[0] = q[0] if last.discharge_m3s > 0 else last.discharge_m3s
    if math.isfinite(last.stage_m):
        bases = _stage_bases(method, h_past, q_past, fell)
        spread = score_spread("stage", h_past, bases, longest, wider=regulated)
        spread = replace(spread, shift=0.0 * spread.shift) if stated else spread
        if spread.base == "recession" and falling and math.isfinite(last.discharge_m3s):
            later = method.discharge(last.discharge_m3s, True, ahead)
            h[0] = method.stage(last.stage_m, last.discharge_m3s, later)
        else:
            h[0] = last.stage_m + (0.0 if stated else _pattern(spread, h_past, ahead))
        h[0] += spread.shift_at(ahead)
        drift = _drift(past.times, past.stage_m, at, spread, h_past) if past is not None else math.nan
        h[1:] = _widened(h[0], spread.at(ahead), drift, rule("trend_most_stage"), ahead, last.stage_m)
    standing = not math.isfinite(last.stage_m) and last.discharge_m3s <= 0
    said = "its range is unknown, because the water stands or runs back" if standing else _range_words(spread)
    return Carried(h, q, _how(spread, method, falling, last, stated), said)


def _how(spread: Spread | None, method: _Method, falling: bool, last: Reading, stated: bool) -> str:
    if spread is not None and spread.base == "daily" and not stated:
        return "carried on with the daily rise and fall of its last week"
    recedes = spread is not None and spread.base == "recession" and falling and method.recession is not None
    if recedes and math.isfinite(last.discharge_m3s) and method.recession is not None:
        days = method.recession.half_life_days(last.discharge_m3s)
        span = f"{24 * days:.0f} h" if days < 3 else f"{days:.0f} d"
        return f"carried on as falling water falls here (half-life about {span} at this flow)"
    if spread is not None and bool(np.abs(spread.shift).max() > 0):
        return "kept, and moved as it moved here at times like this"
    return "kept as it is"


def _pattern(spread: Spread, values: np.ndarray, ahead: np.ndarray) -> np.ndarray:
    """Change by the daily pattern at given leads, zero when another method is used, shape (n,)."""
    if spread.base != "daily":
        return np.zeros(len(ahead))
    hours = np.arange(0, math.ceil(max(ahead.max(), 1.0)) + 1)
    change = np.array([0.0] + [float(daily_change(values, int(hour))[-1]) for hour in hours[1:]])
    return np.interp(ahead, hours, np.where(np.isfinite(change), change, 0.0))


def _daily(values: np.ndarray) -> Base:
    def said(hours: int) -> np.ndarray:
        return values + daily_change(values, hours)

    return said


def _discharge_bases(method: _Method, q_past: np.ndarray, fell: np.ndarray) -> dict[str, Base]:
    def recession(hours: int) -> np.ndarray:
        return ln(method.discharge(q_past, fell, float(hours)))

    bases: dict[str, Base] = {"recession": recession} if method.recession else {}
    return bases | {"daily": _daily(ln(q_past))}


def _stage_bases(method: _Method, h_past: np.ndarray, q_past: np.ndarray, fell: np.ndarray) -> dict[str, Base]:
    def recession(hours: int) -> np.ndarray:
        return method.stage(h_past, q_past, method.discharge(q_past, fell, float(hours)))

    usable = method.recession is not None and method.rating is not None and len(q_past) == len(h_past)
    bases: dict[str, Base] = {"recession": recession} if usable else {}
    return bases | {"daily": _daily(h_past)}


def _range_words(spread: Spread | None) -> str:
    if spread is None or spread.scored_h <= 0:
        return "its range is a general one, because the record is too short to score it"
    words = f"its range comes from this station's own changes over {spread.days:.0f} d at times like this"
    if spread.scored_h < spread.lead_h[-1]:
        words += f", beyond {spread.scored_h:.0f} h of lead from general figures"
    return words


def _drift(times: np.ndarray, values: np.ndarray, at: np.datetime64, spread: Spread, hours: np.ndarray) -> float:
    """Trend that opens the range; none where a daily pattern is followed and such a change is nothing new for it."""
    drift = trend(times, values, at)
    if spread.base == "daily" and len(hours) > 3:
        usual = np.abs(hours[3:] - hours[:-3])[:-3] / 3.0
        usual = usual[np.isfinite(usual)]
        if len(usual) and abs(drift) <= np.quantile(usual, rule("drift_usual")):
            return math.nan
    return drift


def _widened(
    median: np.ndarray, error: np.ndarray, drift: float, most: float, ahead: np.ndarray, from_value: float
) -> np.ndarray:
    """Quantiles about the median, shape (4, n), opened to where a trend that goes on would lead, by `most` at most."""
    bands = median + error
    if math.isfinite(drift):
        carried = from_value + np.clip(drift * np.minimum(ahead, rule("trend_carry")), -most, most)
        if drift > 0:
            bands[2:] = np.maximum(bands[2:], carried)
        else:
            bands[:2] = np.minimum(bands[:2], carried)
    return bands


def _fell(q_past: np.ndarray) -> np.ndarray:
    """Hours of the past at which the water had been falling, shape (n,)."""
    hours = int(rule("falling_window"))
    fell = np.zeros(len(q_past), bool)
    if len(q_past) > hours:
        y = ln(q_past)
        fell[hours:] = (y[hours:] - y[:-hours] < -rule("falling_least")) & (y[hours:] <= y[hours - 1 : -1])
    return fell


def is_falling(past: Series, at: np.datetime64) -> bool:
    """Whether the discharge had been falling for half a day and does not rise over the last 3 h."""
    fell = _fell(hourly(past.times, past.discharge_m3s, at))
    drift = trend(past.times, past.discharge_m3s, at)
    return bool(len(fell) and fell[-1] and not drift > 0)


def recorded(made: Carried, rows: np.ndarray, stage: np.ndarray, discharge: np.ndarray) -> Carried:
    """Where the hour has been recorded, the record stands and has no range but itself."""
    h, q = made.stage.copy(), made.discharge.copy()
    at = rows & np.isfinite(stage)
    h[:, at] = stage[at]
    at = rows & np.isfinite(discharge)
    q[:, at] = discharge[at]
    return replace(made, stage=h, discharge=q)


def without_range(made: Carried) -> Carried:
    """The same medians with their range unknown."""
    h, q = made.stage.copy(), made.discharge.copy()
    h[1:], q[1:] = np.nan, np.nan
    return replace(made, stage=h, discharge=q)


def ln(values: np.ndarray) -> np.ndarray:
    """Natural logarithm; NaN where a value is not positive."""
    values = np.asarray(values, np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.log(np.where(values > 0, values, np.nan))
