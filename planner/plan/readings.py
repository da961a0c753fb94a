"""The gauges of a plan: their series, their rating and what they will read in the trip's hours."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

from planner.errors import DataUnfit, GaugeReplyUnfit, SourceUnreachable
from planner.gauges import Series, open_series
from planner.gauges.beside import open_categories, open_forecast, open_normals
from planner.gauges.series import Quality, to_datetime64
from planner.plan.ask import AskedLevel, Request
from planner.plan.surveys import with_survey_days
from planner.water import Expected, Rating, expect, rating_of
from planner.water.agency import zero_off
from planner.water.clean import cleaned, without_marked
from planner.water.percentiles import Standing, standing
from planner.water.rules import rule
from planner.water.transfer import longest_lag_s

if TYPE_CHECKING:
    from planner.gauges.forecast import FloodCategories, Forecast
    from planner.gauges.store import Store
    from planner.river import River

__all__ = [
    "Beside",
    "GaugeView",
    "gauge_record",
    "lags_of",
    "link_of",
    "look_beside",
    "read_gauge",
    "read_gauges",
    "seen_again",
    "stations_of",
]


@dataclass(frozen=True)
class Beside:
    """What the agencies say of a gauge beside its readings.

    Parameters
    ----------
    forecast : Forecast or None
        Of the gauge, or of the ``noaa:`` gauge that the river folder names for it.
    categories : mapping
        Flood categories to stage [m]; only those that are known.
    normals : mapping or None
        Percentiles by day of the year.
    notes : tuple of str
        What was left out.
    """

    forecast: Forecast | None = None
    categories: Mapping[str, float] = field(default_factory=dict)
    normals: Mapping | None = None
    notes: tuple[str, ...] = ()


def look_beside(
    station: str,
    now: datetime,
    replies: tuple[Path, ...] = (),
    link: str = "",
    online: bool = True,
    cache: Store | None = None,
    series: Series | None = None,
) -> Beside:
    """Forecast, flood categories and percentiles of a gauge; what cannot be had is left unknown.

    Categories are stages above their agency's zero: where its own readings stand off the record, they are none of this
    gauge's.

    Parameters
    ----------
    station : str
        ``service:station``.
    now : datetime
        The plan's clock.
    replies : tuple of Path
        Recorded replies in place of the network.
    link : str
        The ``noaa:`` gauge that stands at the same place; empty when none is named.
    online : bool
        False asks nothing of the network (the service was silent a moment ago).
    cache : Store, optional
        Where replies are kept; the user's own when not given.
    series : Series, optional
        The gauge's record, to hold the agency's readings against.
    """
    gauge = link or station
    forecast = open_forecast(gauge, now=now, reply_files=replies, cache=cache, online=online)
    found = open_categories(gauge, reply_files=replies, cache=cache, online=online)
    if found is None and link:
        found = open_categories(station, reply_files=replies, cache=cache, online=False)
    normals = open_normals(station, reply_files=replies, cache=cache, online=online)
    off = _off(found, forecast, series)
    if found is not None and abs(off) > rule("forecast_miss"):
        note = (
            f"The flood categories of {found.station} are not used: its readings are {off:+.2f} m off those of "
            f"{station}. Correct [forecasts] in river.toml, or give [flood_stage] there."
        )
        return Beside(forecast, {}, normals, (note,))
    return Beside(forecast, found.known_stages() if found is not None else {}, normals)


def _off(found: FloodCategories | None, forecast: Forecast | None, series: Series | None) -> float:
    """How far the zero of the categories stands off that of the record [m]; NaN not known."""
    off = zero_off(forecast.seen_times, forecast.seen_stage_m, series) if forecast is not None else math.nan
    if math.isnan(off) and found is not None and found.seen_at is not None:
        off = zero_off(np.array([to_datetime64(found.seen_at)]), np.array([found.seen_stage_m]), series)
    return off


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
        The station's own stage-discharge relation; None when its pairs are too few or span too little stage.
    expected : Expected
        What it will read in the trip's hours.
    notes : tuple of str
        What must be said about it.
    record : Series or None
        `series` with the days of the soundings; what is marked as equipment trouble or ice, and what jumps off
        and back, is unknown in it.
    beside : Beside
        Forecast, flood categories, percentiles.
    standing : Standing or None
        Rank of the highest flow expected in the trip's hours (upper 90 %) among those of its date.
    around : Expected or None
        What it will read in the trip's hours and in those before or after that runs with a lag see then; None where no
        run has one.
    day : date or None
        The trip's day in the river's zone, whose past a flow is ranked among.
    """

    station: str
    series: Series | None
    rating: Rating | None
    expected: Expected
    notes: tuple[str, ...] = ()
    record: Series | None = None
    beside: Beside = field(default_factory=Beside)
    standing: Standing | None = None
    around: Expected | None = None
    day: date | None = None

    def seen(self, lag_s: float) -> Expected:
        """What a run with a lag sees: the hours around the trip's, of which it takes those `lag_s` before its own."""
        return self.around if lag_s and self.around is not None else self.expected

    def conditions(self) -> dict[str, Any]:
        """What the cautions take beside series and expectation: ``categories`` and ``standing``."""
        return {
            "categories": dict(self.beside.categories) or None,
            "standing": self.standing.as_conditions() if self.standing is not None else None,
        }

    def rank(self, discharge: float) -> dict[str, float | None]:
        """A flow's percentiles as the cautions take them; None where it is not ranked, as without the trip's day.

        Parameters
        ----------
        discharge : float
            [m³/s]; NaN unknown.
        """
        return standing(discharge, self.day, self.beside.normals).as_conditions()


def read_gauges(river: River, request: Request) -> dict[str, GaugeView]:
    """Every gauge that the river's runs use, the river's first gauge first.

    Raises
    ------
    SourceUnreachable, GaugeReplyUnfit
        When a gauge has no reading and the user gave no level for it.
    """
    return {
        station: read_gauge(station, request, river, request.level if position == 0 else None)
        for position, station in enumerate(stations_of(river))
    }


def stations_of(river: River) -> list[str]:
    """Gauges that the river's runs use, the river's first gauge first; one empty name for a river without any."""
    return list(dict.fromkeys([*river.gauges[:1], *(run.gauge for run in river.runs)])) or [""]


def link_of(river: River, station: str) -> str:
    """The ``noaa:`` gauge that river.toml names for the forecast of a station; empty when it names none."""
    links = river.extra.get("forecasts")
    return str(links.get(station, "")) if isinstance(links, Mapping) else ""


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
            series = open_series(
                station, now=request.now, folder=river.folder, reply_files=request.replies, cache=request.store
            )
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
    beside = Beside()
    if station:
        online = series is not None and not series.from_cache
        beside = look_beside(
            station, request.now, tuple(request.replies), link_of(river, station), online, request.store, series
        )
        notes.extend(beside.notes)
    expected = _expected(station, series, request, beside, level, river)
    around = _around(station, series, request, beside, level, river)
    rating = rating_of(series) if series is not None else None
    record = series
    if series is not None:
        record, lacking = with_survey_days(series, river, request)
        # a stage of a failed instrument, or one that ice has backed up, tells no level of the day of a sounding
        record = without_marked(cleaned(record), Quality.EQUIPMENT, Quality.ICE)
        notes.extend([*series.notes, *lacking])
    notes.extend(expected.notes)
    day = request.start.astimezone(ZoneInfo(river.timezone)).date()
    rank = _standing(expected, beside, day)
    return GaugeView(station, series, rating, expected, tuple(dict.fromkeys(notes)), record, beside, rank, around, day)


def seen_again(view: GaugeView, request: Request, river: River, level: AskedLevel | None) -> GaugeView:
    """A gauge for another window or another level of the user's own, from what was read of it already.

    Parameters
    ----------
    view : GaugeView
        As read.
    request, river, level
        As in `read_gauge`.

    Raises
    ------
    GaugeReplyUnfit
        When nothing was read of it and no level is given.
    """
    if view.series is None and level is None:
        raise GaugeReplyUnfit(f"{view.station or 'the gauge'} has no values", "a reading", "give the level")
    expected = _expected(view.station, view.series, request, view.beside, level, river)
    day = request.start.astimezone(ZoneInfo(river.timezone)).date()
    rank = _standing(expected, view.beside, day)
    around = _around(view.station, view.series, request, view.beside, level, river)
    read = [note for note in view.notes if note not in view.expected.notes]
    notes = tuple(dict.fromkeys([*read, *expected.notes]))
    return replace(view, expected=expected, standing=rank, notes=notes, around=around, day=day)


def _expected(
    station: str, series: Series | None, request: Request, beside: Beside, level: AskedLevel | None, river: River
) -> Expected:
    start, end = request.start, request.end
    regulated = river.extra.get("regulated") is True
    if level is None:
        return expect(series, request.now, start, end, regulated=regulated, forecast=beside.forecast)
    if math.isfinite(level.stage_m):
        return expect(series, request.now, start, end, level.stage_m, "stage", station, regulated)
    return expect(series, request.now, start, end, level.discharge_m3s, "discharge", station, regulated)


def lags_of(river: River, station: str) -> tuple[float, float]:
    """Longest lag of a gauge's runs after it, and before it (negative) [s]; 0 where none has one."""
    first = stations_of(river)[0]
    lags = [longest_lag_s(run) for run in river.runs if (run.gauge or first) == station]
    return max([0.0, *lags]), min([0.0, *lags])


def _around(
    station: str, series: Series | None, request: Request, beside: Beside, level: AskedLevel | None, river: River
) -> Expected | None:
    after, before = lags_of(river, station)
    if not after and not before:
        return None
    start, end = request.start - timedelta(seconds=after), request.end - timedelta(seconds=before)
    return _expected(station, series, replace(request, start=start, end=end), beside, level, river)


def _standing(expected: Expected, beside: Beside, when: date) -> Standing:
    """Rank of the highest upper 90 % of the hours; of the median where no range is known."""
    values = expected.discharge_cautious_m3s
    known = values[values == values]
    return standing(float(known.max()) if len(known) else math.nan, when, beside.normals)


def gauge_record(view: GaugeView) -> dict:
    """One of `gauges` in ``plan.json``."""
    expected = view.expected
    # the reading that the age is of; what comes after it marked as spoilt is none
    last = view.series.last() if view.series is not None and expected.given else expected.last
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
        "percentile": _rank_record(view.standing),
        "flood_categories_m": dict(view.beside.categories),
        "forecast_issued_at": view.beside.forecast.issued if view.beside.forecast is not None else None,
        "basis": expected.basis,
        "notes": list(view.notes),
    }


def _rank_record(rank: Standing | None) -> dict:
    if rank is None:
        return {"season": math.nan, "all_days": math.nan, "years": 0, "words": "not ranked"}
    return {"season": rank.season, "all_days": rank.all_days, "years": rank.years, "words": rank.words}
