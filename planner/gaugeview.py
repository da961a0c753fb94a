"""One gauge for a person and for a machine: level, flow, trend and what it will read in the hours ahead."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from planner.units import default_units, show

__all__ = ["gauge_report", "gauge_text"]


def gauge_report(station: str, *, days: int, now: datetime, replies: tuple[Path, ...] = ()) -> dict[str, Any]:
    """One gauge as it stands: a record as in ``plan.json`` and its series."""
    from datetime import timedelta

    from planner.gauges import open_series
    from planner.plan.readings import GaugeView, gauge_record
    from planner.water import expect, rating_of

    series = open_series(station, now=now, days=days, folder=Path.cwd(), reply_files=replies)
    expected = expect(series, now, now, now + timedelta(hours=24))
    record = gauge_record(GaugeView(station, series, rating_of(series), expected, series.notes + expected.notes))
    rows = zip(series.times, series.stage_m, series.discharge_m3s, series.quality, strict=True)
    record["series"] = [
        {"time": time, "stage_m": stage, "discharge_m3s": discharge, "quality": str(quality)}
        for time, stage, discharge, quality in rows
    ]
    return record


def gauge_text(report: dict[str, Any], station: str, units: str | None) -> str:
    """A gauge report for a person, in ten seconds."""
    shown = units or default_units(station)
    lines = [f"{station}  {report['name']}".rstrip(), "Gauge data are provisional."]
    age = report["age_min"]
    seen = "no reading" if report["observed_at"] is None else f"{report['observed_at']:%Y-%m-%d %H:%M} UTC"
    lines.append(f"  level      {show(report['stage_m'], 'level', shown)}")
    lines.append(f"  flow       {show(report['discharge_m3s'], 'discharge', shown)}")
    lines.append(f"  trend      {show(report['trend_m_per_h'], 'rise', shown)}")
    lines.append(f"  read at    {seen}, {_age(age)} old, {report['quality']}")
    lines.append(f"  expected   {report['basis']}")
    lines.extend(f"  note       {note}" for note in report["notes"])
    return "\n".join(lines)


def _age(minutes: float) -> str:
    if minutes != minutes:
        return "unknown"
    return f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60:.1f} h"
