"""The gauges of a plan: their series, their rating and what they will read in the trip's hours."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.errors import DataUnfit, GaugeReplyUnfit, SourceUnreachable
from planner.gauges import Series, open_series
from planner.plan.ask import AskedLevel, Request
from planner.plan.surveys import with_survey_days
from planner.water import Expected, Rating, expect, rating_of

if TYPE_CHECKING:
    from planner.river import River

__all__ = ["GaugeView", "gauge_record", "read_gauge", "read_gauges"]


@dataclass(frozen=True)
class GaugeView:
    """One gauge as the plan uses it.

    Parameters
    ----------
    station : str
        ``service:station``; empty for a river without a gauge.
    series : Series or None
        None when only a level of the user's own is known.
    rating : Rating or None
        The station's own stage-discharge relation; None when its record holds no pairs.
    expected : Expected
        What it will read in the trip's hours.
    notes : tuple of str
        What must be said about it.
    record : Series or None
        `series` with the days of the soundings.
    """

    station: str
    series: Series | None
    rating: Rating | None
    expected: Expected
    notes: tuple[str, ...] = ()
    record: Series | None = None


def read_gauges(river: River, request: Request) -> dict[str, GaugeView]:
    """Every gauge that the river's runs use, the river's first gauge first.

    Raises
    ------
    SourceUnreachable, GaugeReplyUnfit
        When a gauge has no reading and the user gave no level for it.
    """
    stations = list(dict.fromkeys([*river.gauges[:1], *(run.gauge for run in river.runs)])) or [""]
    return {
        station: read_gauge(station, request, river, request.level if position == 0 else None)
        for position, station in enumerate(stations)
    }


def read_gauge(station: str, request: Request, river: River, level: AskedLevel | None) -> GaugeView:
    """One gauge; a level of the user's own stands in for a reading that cannot be had."""
    series: Series | None = None
    notes: list[str] = []
    if not station and level is None:
        raise DataUnfit(
            "the river folder names no gauge",
            "a gauge in river.toml, or a level",
            "add gauges = [\"usgs:…\"] to river.toml, or give --level",
        )  # fmt: skip
    if station:
        try:
            series = open_series(station, now=request.now, folder=river.folder, reply_files=request.replies)
        except (SourceUnreachable, GaugeReplyUnfit) as error:
            if level is None or (isinstance(error, GaugeReplyUnfit) and "not station" in error.given):
                raise
            notes.append(f"{station} gave no reading ({error.given}); the plan rests on the level you gave.")
    if series is not None and not len(series):
        if level is None:
            raise GaugeReplyUnfit(
                f"{station} has no values", "a reading", "give the level with --level, or try another gauge"
            )
        series = None
    start, end = request.start, request.end
    if level is None:
        expected = expect(series, request.now, start, end)
    elif math.isfinite(level.stage_m):
        expected = expect(series, request.now, start, end, level.stage_m, "stage", gauge=station)
    else:
        expected = expect(series, request.now, start, end, level.discharge_m3s, "discharge", gauge=station)
    rating = rating_of(series) if series is not None else None
    record = series
    if series is not None:
        record, lacking = with_survey_days(series, river, request)
        notes.extend([*series.notes, *lacking])
    notes.extend(expected.notes)
    return GaugeView(station, series, rating, expected, tuple(dict.fromkeys(notes)), record)


def gauge_record(view: GaugeView) -> dict:
    """One of `gauges` in ``plan.json``."""
    expected = view.expected
    last = view.series.last() if view.series is not None else expected.last
    return {
        "id": view.station,
        "service": view.station.partition(":")[0],
        "name": view.series.name if view.series is not None else "",
        "stage_m": last.stage_m,
        "discharge_m3s": last.discharge_m3s,
        "temperature_c": last.temperature_c,
        "observed_at": last.time if view.series is not None else None,
        "age_min": expected.age_min,
        "quality": str(expected.quality),
        "trend_m_per_h": expected.trend_m_per_h,
        "level_given": expected.given,
        "basis": expected.basis,
        "notes": list(view.notes),
    }
