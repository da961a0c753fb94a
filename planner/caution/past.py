"""How fast the river rises now against the gauge's own rises, and how cloudy it is against its own month."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

from planner.tables import rows

if TYPE_CHECKING:
    from datetime import datetime

    import numpy.typing as npt

__all__ = ["cloudy_conditions", "raises_from", "rise_conditions"]

_FEWEST_RISES = 200  # fewer rises on record say nothing about a 95th percentile
# Design choices: a month of readings makes the usual turbidity, from 200 of them; a sensor's noise is no rise.
_MONTH_S, _FEWEST_CLOUDY = 30 * 86400, 200
_ENDED_S = 3600.0  # as far back as a reading stands beside another, `planner.gauges.series`
_CLOUDIER_SHARE, _CLOUDIER_FNU = 0.1, 1.0


def _at(times: Any, values: Any, moments: Any) -> Any:
    """Values at moments [s of the epoch] as `planner.water.levels.interpolate` gives them: NaN across long gaps."""
    import numpy as np

    from planner.water.levels import interpolate

    at, wanted = (np.asarray(seconds).astype(np.int64).astype("datetime64[s]") for seconds in (times, moments))
    return interpolate(at, values, wanted)


def rise_conditions(
    times: npt.ArrayLike, stage: npt.ArrayLike, discharge: npt.ArrayLike, now: datetime | None = None
) -> dict[str, float | None]:
    """Rise of the last hour and three hours, gain of flow, and the rank of the rise, as arguments of `Conditions`.

    Parameters
    ----------
    times : array_like of datetime64, shape (n,)
        UTC, ascending.
    stage : array_like, shape (n,)
        Stage [m]; NaN unknown.
    discharge : array_like, shape (n,)
        Discharge [m³/s]; NaN unknown.
    now : datetime, optional
        Readings after it are not looked at. The rise is that before the last reading.

    Returns
    -------
    dict
        `rise_m_1h`, `rise_m_3h` [m], `flow_gain_3h` [1], `rise_percentile` [%]; None where the record does not say.
        Rises count from the lowest reading of the span, so that a dip hides none. Of stage or discharge that ended more
        than an hour before the other, as of an instrument that failed, only what it raised stands.
        The percentile is the higher of those of the 1 h and the 3 h rise among all hourly steps on record at which
        the stage rose; 0 when it does not rise now, None with fewer than 200 of them.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange("2026-06-01T00", "2026-06-01T13", dtype="datetime64[h]")
    >>> round(rise_conditions(t, np.arange(13) * 0.05, np.full(13, 20.0))["rise_m_3h"], 3)
    0.15
    """
    import numpy as np

    t = np.asarray(times, dtype="datetime64[s]").astype(np.int64).astype(float)
    h, q = np.asarray(stage, dtype=float), np.asarray(discharge, dtype=float)
    if now is not None:
        use = t <= now.timestamp()
        t, h, q = t[use], h[use], q[use]
    out: dict[str, float | None] = dict.fromkeys(("rise_m_1h", "rise_m_3h", "flow_gain_3h", "rise_percentile"))
    known_h, known_q = np.isfinite(h), np.isfinite(q)
    if known_h.any():
        last = t[known_h][-1]
        shares = []
        for name, hours, raises in (("rise_m_1h", 1, raises_from("F6")), ("rise_m_3h", 3, raises_from("F6r"))):
            rise = float(h[known_h][-1] - _at(t, h, np.array([last - hours * 3600.0]))[0])
            out[name] = _from_lowest(rise, float(h[known_h][-1] - _lowest(t, h, last, hours)), raises)
            if np.isfinite(rise):
                shares.append(_rank(t, h, rise, hours * 3600.0))
        ranked = [share for share in shares if share is not None]
        out["rise_percentile"] = max(ranked) if ranked else None
        if _ended(t, known_h, known_h | known_q):
            for name, rule in (("rise_m_1h", "F6"), ("rise_m_3h", "F6r"), ("rise_percentile", "F6p")):
                out[name] = _if_raised(out[name], raises_from(rule))
    if known_q.any():
        last = t[known_q][-1]
        before = float(_at(t, q, np.array([last - 3 * 3600.0]))[0])
        lowest = _lowest(t, q, last, 3)
        gain = float(q[known_q][-1]) / before - 1.0 if np.isfinite(before) and before > 0 else np.nan
        most = float(q[known_q][-1]) / lowest - 1.0 if lowest > 0 else np.nan
        out["flow_gain_3h"] = _from_lowest(gain, most, raises_from("F6q"))
        if _ended(t, known_q, known_h | known_q):
            out["flow_gain_3h"] = _if_raised(out["flow_gain_3h"], raises_from("F6q"))
    return out


def _ended(t: Any, one: Any, either: Any) -> bool:
    """Whether readings of one kind ended well before the record did: they say nothing of the last hours."""
    return bool(t[either][-1] - t[one][-1] > _ENDED_S)


def _if_raised(value: float | None, raises: float) -> float | None:
    return value if value is not None and round(value, 9) >= raises else None


@cache
def raises_from(rule: str) -> float:
    """Threshold of the first row of a rule [its unit]: from there on it raises something."""
    return float(next(row["threshold"] for row in rows("caution_rules") if row["id"] == rule and row["threshold"]))


def _lowest(t: Any, values: Any, last: float, hours: int) -> float:
    """Lowest reading of the last hours."""
    import numpy as np

    recent = values[np.isfinite(values) & (t >= last - hours * 3600.0)]
    return float(recent.min())


def _from_lowest(whole: float, lowest: float, raises: float) -> float | None:
    """The change over the whole span, or from its lowest reading where that is a greater rise.

    A record that begins within the span cannot say that the river has not risen; it can say that it has.
    """
    if whole == whole:
        return max(whole, lowest) if lowest > 0 else whole
    return lowest if lowest == lowest and round(lowest, 9) >= raises else None


def _rank(t: Any, h: Any, rise: float, span: float) -> float | None:
    """Share of the record's rises over `span` that are smaller than `rise` [%]."""
    import numpy as np

    if t.size < 2:
        return None
    ends = np.arange(t[0] + span, t[-1] + 1.0, 3600.0)
    past = _at(t, h, ends) - _at(t, h, ends - span)
    rises = past[np.isfinite(past) & (np.round(past, 9) > 0)]
    if rises.size < _FEWEST_RISES:
        return None
    return float(100.0 * np.mean(np.round(rises, 9) < round(rise, 9))) if rise > 0 else 0.0


def cloudy_conditions(
    times: npt.ArrayLike, turbidity: npt.ArrayLike, now: datetime | None = None
) -> dict[str, float | bool | None]:
    """The usual turbidity of the last month and whether the water turns cloudier, as arguments of `Conditions`.

    Parameters
    ----------
    times : array_like of datetime64, shape (n,)
        UTC, ascending.
    turbidity : array_like, shape (n,)
        Turbidity [FNU]; NaN unknown.
    now : datetime, optional
        Readings after it are not looked at.

    Returns
    -------
    dict
        `turbidity_median_fnu` [FNU] of the 30 days before the last reading, None with fewer than 200 readings;
        `turbidity_rising`: over its last three hours by a tenth and by 1 FNU at least.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.datetime64("2026-06-01T00", "s") + np.arange(300) * np.timedelta64(900, "s")
    >>> cloudy_conditions(t, np.where(np.arange(300) > 294, 9.0, 4.0))
    {'turbidity_median_fnu': 4.0, 'turbidity_rising': True}
    """
    import numpy as np

    t = np.asarray(times, dtype="datetime64[s]").astype(np.int64).astype(float)
    v = np.asarray(turbidity, dtype=float)
    use = np.isfinite(v) if now is None else np.isfinite(v) & (t <= now.timestamp())
    t, v = t[use], v[use]
    out: dict[str, float | bool | None] = {"turbidity_median_fnu": None, "turbidity_rising": None}
    if t.size:
        month = v[t > t[-1] - _MONTH_S]
        if month.size >= _FEWEST_CLOUDY:
            out["turbidity_median_fnu"] = float(np.median(month))
        before = float(_at(t, v, np.array([t[-1] - 3 * 3600.0]))[0])
        if np.isfinite(before):
            more = float(v[-1]) - before
            out["turbidity_rising"] = bool(more >= _CLOUDIER_FNU and more >= _CLOUDIER_SHARE * before)
    return out
