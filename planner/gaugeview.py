"""One gauge for a person and for a machine: level, flow, trend, rank, age, and what it will read in the hours ahead."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from planner.units import default_units, show

__all__ = ["chart", "gauge_report", "gauge_text", "near_report", "near_text", "trip_window"]

_BLOCKS = "▁▂▃▄▅▆▇█"


def gauge_report(
    station: str,
    *,
    days: int,
    now: datetime,
    replies: tuple[Path, ...] = (),
    window: tuple[datetime, datetime] | None = None,
    regulated: bool | None = None,
    link: str = "",
    zone: str = "UTC",
) -> dict[str, Any]:
    """One gauge as it stands: a record as in ``plan.json``, its series, and the hours ahead.

    Parameters
    ----------
    station : str
        ``service:station``.
    days : int
        How much of the series is given back [d]; at least 60 d are read, because the range ahead rests on them.
    now : datetime
        The clock, aware.
    replies : tuple of Path
        Recorded replies in place of the network: readings, and any of forecast, statistics, rating, measurements.
    window : (datetime, datetime), optional
        The trip's hours; the next 24 h by default.
    regulated : bool, optional
        Somebody lets water go above the gauge.
    link : str
        The ``noaa:`` gauge at the same place, for its forecast.
    zone : str
        Zone of the day that is ranked.
    """
    from planner.gauges import open_series
    from planner.gauges.beside import open_measurements, open_rating
    from planner.plan.readings import GaugeView, gauge_record, look_beside
    from planner.water import expect, rating_of
    from planner.water.clean import check_table
    from planner.water.percentiles import standing
    from planner.water.rises import rise_rates

    start, end = window or (now, now + timedelta(hours=24))
    series = open_series(station, now=now, days=max(days, 60), folder=Path.cwd(), reply_files=replies)
    beside = look_beside(station, now, replies, link, online=not series.from_cache, series=series)
    expected = expect(series, now, start, end, regulated=regulated, forecast=beside.forecast)
    rank = standing(expected.last.discharge_m3s, now.astimezone(ZoneInfo(zone)), beside.normals)
    notes = tuple(dict.fromkeys((*series.notes, *beside.notes, *expected.notes)))
    record = gauge_record(GaugeView(station, series, rating_of(series), expected, notes, None, beside, rank))
    ahead = expect(series, now, now, max(end, now), regulated=regulated, forecast=beside.forecast)
    kept = series.between(now - timedelta(days=days), now)
    record["expected"] = _hours(expected)
    record["ahead"] = _hours(ahead)
    record["rises"] = rise_rates(series)
    record["checks"] = [vars(check) for check in check_table(series, now)]
    table = open_rating(station, replies)
    record["rating"] = (
        None
        if table is None
        else {"id": table.rating_id, "shift_m": float(table.shift_m[-1]), "points": len(table.stage_m)}
    )
    record["measurements"] = [vars(one) for one in open_measurements(station, replies)]
    rows = zip(kept.times, kept.stage_m, kept.discharge_m3s, kept.quality, strict=True)
    record["series"] = [
        {"time": time, "stage_m": stage, "discharge_m3s": discharge, "quality": str(quality)}
        for time, stage, discharge, quality in rows
    ]
    return record


def gauge_text(report: dict[str, Any], station: str, units: str | None, zone: str = "UTC") -> str:
    """A gauge report for a person, in ten seconds.

    Parameters
    ----------
    report : dict
        Of `gauge_report`.
    station : str
        ``service:station``.
    units : str or None
        ``us`` or ``metric``; by the service when None.
    zone : str
        Zone of the times shown.
    """
    shown = units or default_units(station)
    local = ZoneInfo(zone)
    lines = [f"{station}  {report['name']}".rstrip(), "Gauge data are provisional."]
    seen = "no reading"
    if report["observed_at"] is not None:
        seen = f"{report['observed_at'].astimezone(local):%Y-%m-%d %H:%M %Z}"
    lines.append(f"  level      {show(report['stage_m'], 'level', shown)}")
    lines.append(f"  flow       {show(report['discharge_m3s'], 'discharge', shown)}")
    lines.append(f"  trend      {_trend(report['trend_m_per_h'], shown)}")
    lines.append(f"  rank       {report['percentile']['words']}")
    if math.isfinite(report["temperature_c"]):
        lines.append(f"  water      {_temperature(report['temperature_c'], shown)}")
    lines.append(f"  read at    {seen}, {_age(report['age_min'])} old, {report['quality']}")
    categories = report["flood_categories_m"]
    if categories:
        named = ", ".join(f"{name} {show(value, 'level', shown)}" for name, value in categories.items())
        lines.append(f"  flooding   {named}")
    lines.extend(_chart_lines(report, shown, local))
    lines.extend(_expected_lines(report["expected"], shown, local))
    lines.append(f"  basis      {report['basis']}")
    lines.extend(f"  note       {note}" for note in report["notes"])
    lines.extend(f"  check      {check['comment']}" for check in report["checks"] if check["passed"] is False)
    return "\n".join(lines)


def trip_window(now: datetime, zone: str, day: str, start: str, end: str) -> tuple[datetime, datetime]:
    """The trip's hours, UTC, as the plan takes them.

    Raises
    ------
    UsageMistake
        A word that is no day or hour, or a zone that is not known.
    """
    from planner.plan.ask import request

    asked = request(zone, day=day, start=start, end=end, now=now.isoformat())
    return asked.start, asked.end


def near_report(
    point: str, service: str, within_km: float, now: datetime, reply: Path | None = None
) -> list[dict[str, Any]]:
    """Stations of a service around ``LAT,LON``, nearest first, as records.

    Raises
    ------
    UsageMistake
        The point is none.
    """
    from planner.errors import UsageMistake
    from planner.gauges.near import stations_near

    try:
        lat, lon = (float(part) for part in point.split(","))
    except ValueError as error:
        raise UsageMistake(f"point {point!r}", "LAT,LON in degrees, such as 40.9,-78.7", "correct the point") from error
    found = stations_near(service, lat, lon, within_km, reply=reply)
    return [
        {
            "id": one.station,
            "name": one.name,
            "lat": one.lat,
            "lon": one.lon,
            "distance_km": one.distance_km,
            "measures": list(one.measures),
            "latest": one.latest,
            "age_min": math.nan if one.latest is None else (now - one.latest).total_seconds() / 60.0,
        }
        for one in found
    ]


def near_text(rows: list[dict[str, Any]], service: str, within_km: float) -> str:
    """The stations for a person, one a line."""
    if not rows:
        return f"No station of {service} within {within_km:g} km in its own list."
    lines = []
    for row in rows:
        measures = ", ".join(row["measures"]) or "the list does not say what it measures"
        fresh = "age not told by the list" if row["latest"] is None else f"newest value {_age(row['age_min'])} old"
        lines.append(f"{row['distance_km']:6.1f} km  {row['id']:<18}  {row['name']}: {measures}; {fresh}")
    return "\n".join(lines)


def chart(values: np.ndarray, width: int = 48) -> str:
    """Values as a line of block characters, lowest to highest; a blank where nothing is known.

    Parameters
    ----------
    values : np.ndarray
        Evenly spaced in time, shape (n,); NaN unknown.
    width : int
        Characters.

    Examples
    --------
    >>> chart(np.array([0.0, 1.0, 2.0, np.nan, 4.0]), 5)
    '▁▂▄ █'
    """
    if not len(values) or not np.isfinite(values).any():
        return " " * width
    parts = [part[np.isfinite(part)] for part in np.array_split(values, min(width, len(values)))]
    heights = [float(part.mean()) if len(part) else math.nan for part in parts]
    low, high = min(v for v in heights if v == v), max(v for v in heights if v == v)
    scale = (len(_BLOCKS) - 1) / (high - low) if high > low else 0.0
    return "".join(" " if v != v else _BLOCKS[int((v - low) * scale)] for v in heights)


def _chart_lines(report: dict[str, Any], shown: str, local: ZoneInfo) -> list[str]:
    kind = "stage_m" if any(row["stage_m"] == row["stage_m"] for row in report["series"]) else "discharge_m3s"
    times = np.array([row["time"] for row in report["series"]], "datetime64[s]")
    values = np.array([row[kind] for row in report["series"]], np.float64)
    known = np.isfinite(values)
    if known.sum() < 3:
        return []
    from planner.water.levels import hourly

    past = hourly(times[known], values[known], times[known][-1])[-14 * 24 :]
    ahead = np.array([row[kind] for row in report["ahead"]], np.float64)
    whole = np.concatenate([past, ahead])
    width = 56
    split = max(round(width * len(past) / max(len(whole), 1)), 1)
    line = chart(whole, width)
    name = "level" if kind == "stage_m" else "discharge"
    span = f"{show(float(np.nanmin(whole)), name, shown)} to {show(float(np.nanmax(whole)), name, shown)}"
    return [f"  chart      {line[:split]}|{line[split:]}", f"             {len(past) / 24:.0f} d back | ahead, {span}"]


def _expected_lines(hours: list[dict[str, Any]], shown: str, local: ZoneInfo) -> list[str]:
    step = max(math.ceil((len(hours) - 1) / 5), 1)
    lines = []
    for i, row in enumerate(hours[::step]):
        time = row["time"].astype("datetime64[s]").item().replace(tzinfo=ZoneInfo("UTC")).astimezone(local)
        kind, name = ("stage", "level") if row["stage_m"] == row["stage_m"] else ("discharge", "discharge")
        unit = "m" if kind == "stage" else "m3s"
        middle = show(row[f"{kind}_{unit}"], name, shown)
        low, high = (show(row[f"{kind}_{side}_{unit}"], name, shown) for side in ("low", "high"))
        head = "expected" if i == 0 else ""
        lines.append(f"  {head:<10} {time:%a %H:%M}  {middle}  ({low} to {high})")
    return lines


def _hours(expected: Any) -> list[dict[str, Any]]:
    names = ("stage_m", "stage_low_m", "stage_high_m", "discharge_m3s", "discharge_low_m3s", "discharge_high_m3s")
    columns = [getattr(expected, name) for name in names]
    return [
        {"time": time, **{name: float(column[i]) for name, column in zip(names, columns, strict=True)}}
        for i, time in enumerate(expected.times)
    ]


def _trend(value: float, shown: str) -> str:
    if not math.isfinite(value):
        return "unknown"
    if abs(value) < 0.003:
        return "steady"
    return f"{'rising' if value > 0 else 'falling'}, {show(value, 'rise', shown)}"


def _temperature(value: float, shown: str) -> str:
    from planner.units import fahrenheit

    return f"{fahrenheit(value):.0f} °F" if shown == "us" else f"{value:.1f} °C"


def _age(minutes: float) -> str:
    if minutes != minutes:
        return "unknown"
    if minutes >= 4320:
        return f"{minutes / 1440:.0f} d"
    return f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60:.1f} h"
