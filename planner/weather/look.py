"""Look the weather up for a river; what cannot be had is said and stays not assessed."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.errors import DataUnfit, PlumbrunError
from planner.files import read_bounded
from planner.services import country_of
from planner.weather import canada, england, us_nws
from planner.weather.hours import Weather
from planner.weather.records import Alert, Forecast

if TYPE_CHECKING:
    from planner.river.records import River

__all__ = ["Said", "Sky", "ask_sky", "is_present", "look_up", "sky_of"]

# By country, as `planner.services` calls it. Each has `SERVICE`, `get_alerts` and, where it gives one, `get_forecast`.
_SERVICES: dict[str, Any] = {"us": us_nws, "canada": canada, "england": england}
_PRESENT = timedelta(hours=1)
# Design choices: alerts of the service are drawn by counties and by polygons some ten kilometres wide.
_CLOSE_KM, _APART_KM, _MOST_POINTS = 2.0, 10.0, 5


@dataclass(frozen=True)
class Sky:
    """Whom to ask about a river's weather, and where.

    Parameters
    ----------
    service : str
        ``us``, ``canada`` or ``england``.
    lon, lat : float
        The uppermost point that is drawn [degrees].
    below : tuple of (lon, lat)
        Points further down for which alerts are asked too, the lowest among them; empty where all lies close together.
    """

    service: str
    lon: float
    lat: float
    below: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Said:
    """What a weather service said; None where it could not be had, and a note says why."""

    forecast: Forecast | None
    alerts: tuple[Alert, ...] | None
    notes: tuple[str, ...]


def sky_of(river: River) -> Sky | None:
    """Whom to ask about this river; None when no service speaks for it or nothing is drawn."""
    service, place = _service(river), _place(river)
    return Sky(service, *place, _below(river, place)) if service and place is not None else None


def is_present(now: datetime, real: datetime | None = None) -> bool:
    """Whether a plan's clock is near enough to the real one for the weather of this hour to belong to it."""
    return abs((real or datetime.now(UTC)) - now) <= _PRESENT


def ask_sky(sky: Sky, session: Any = None) -> Said:
    """Ask for forecast and alerts; never an error."""
    notes: list[str] = []
    forecast, alerts = None, None
    asked = _SERVICES[sky.service]
    if hasattr(asked, "get_forecast"):
        try:
            forecast = asked.get_forecast(sky.lon, sky.lat, session=session)
        except PlumbrunError as error:
            notes.append(f"No forecast: {error.given}.")
    else:
        notes.append("No forecast of thunder, air or wind is read for England: its weather service asks for a key.")
    try:
        places = ((sky.lon, sky.lat), *sky.below)
        heard = [alert for lon, lat in places for alert in asked.get_alerts(lon, lat, session=session)]
        alerts = tuple(dict.fromkeys(heard))
    except PlumbrunError as error:
        notes.append(f"No alerts could be read: {error.given}. That does not mean that none is in force.")
    if forecast is not None or alerts is not None:
        notes.append(f"What was had came from the {asked.SERVICE}; look again before you leave.")
    return Said(forecast, alerts, tuple(notes))


def _service(river: River) -> str:
    """Which service speaks for the river: ``us``, ``canada``, ``england`` or ""."""
    said = river.extra.get("weather")
    if said in _SERVICES:
        return str(said)
    gauged = {country_of(gauge) for gauge in river.gauges}
    return next((country for country in _SERVICES if country in gauged), "")


def _place(river: River) -> tuple[float, float] | None:
    """The uppermost point that is drawn: rain there comes down."""
    flowline = next((place for place in river.places if place.kind == "flowline"), None)
    if flowline is not None:
        parts = getattr(flowline.geometry, "geoms", [flowline.geometry])
        lon, lat = next(iter(parts[0].coords))[:2]
        return float(lon), float(lat)
    if river.spots:
        return river.spots[0].stance_lonlat
    if river.runs:
        middle = river.runs[0].polygon.representative_point()
        return float(middle.x), float(middle.y)
    return None


def _below(river: River, first: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    """Points down the river about 10 km apart, five at most, the lowest last: an alert may hold for part of it only."""
    line = next((place.geometry for place in river.places if place.kind == "flowline"), None)
    parts = [] if line is None else getattr(line, "geoms", [line])
    drawn = [(float(x), float(y)) for part in parts for x, y, *_ in part.coords] or [
        *(spot.landing_lonlat for spot in river.spots),
        *((run.polygon.centroid.x, run.polygon.centroid.y) for run in river.runs),
    ]
    km = [_km(first, point) for point in drawn]
    if line is None:
        return (drawn[km.index(max(km))],) if km and max(km) > _CLOSE_KM else ()
    along = [0.0, *itertools.accumulate(_km(a, b) for a, b in itertools.pairwise(drawn))]
    if along[-1] <= _CLOSE_KM:
        return ()
    count = min(math.ceil(along[-1] / _APART_KM), _MOST_POINTS)
    marks = (along[-1] * (k + 1) / count for k in range(count))
    return tuple(drawn[min(range(len(along)), key=lambda i: abs(along[i] - mark))] for mark in marks)


def _km(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Distance, as exact as the choice of a point needs [km]."""
    return 111.2 * math.hypot((b[0] - a[0]) * math.cos(math.radians(a[1])), b[1] - a[1])


def _recorded(
    files: Iterable[Path], place: tuple[float, float] | None, below: tuple[tuple[float, float], ...]
) -> tuple[Forecast | None, tuple[Alert, ...] | None]:
    forecast, alerts = None, None
    for path in files:
        try:
            raw = read_bounded(path)
        except OSError as error:
            raise DataUnfit(
                f"the recorded reply could not be read ({error.strerror})", "a readable file", "check it", str(path)
            ) from error
        if b'"hourlyForecastGroup"' in raw and place is not None:
            forecast = canada.parse_towns(raw, *place)
        elif b'"alert_name_en"' in raw:
            places = (None,) if place is None else (place, *below)
            alerts = (alerts or ()) + tuple(
                dict.fromkeys(one for where in places for one in canada.parse_alerts(raw, where))
            )
        elif b'"features"' in raw:
            alerts = (alerts or ()) + us_nws.parse_alerts(raw)
        elif b'"items"' in raw:
            alerts = (alerts or ()) + england.parse_alerts(raw)
        else:
            forecast = us_nws.parse_grid(raw)
    return forecast, alerts


def look_up(
    river: River,
    start: datetime,
    end: datetime,
    now: datetime,
    *,
    replies: Iterable[Path] = (),
    network: bool = True,
    session: Any = None,
    present: datetime | None = None,
    said: Said | None = None,
) -> Weather:
    """Forecast and alerts for a trip.

    Parameters
    ----------
    river : River
        Asked about when one of its gauges is of a US, Canadian or English service, or river.toml says ``weather =
        "us"``, ``"canada"`` or ``"england"``. England's service gives flood alerts and no forecast.
    start, end : datetime
        The hours on the water, aware.
    now : datetime
        The plan's clock.
    replies : iterable of Path
        Recorded replies in place of the network.
    network : bool
        False asks nobody.
    session : requests.Session, optional
        For tests.
    present : datetime, optional
        The real clock; a plan made as of another hour is not mixed with the weather of this one.
    said : Said, optional
        What the service was heard to say at that hour, asked before for many rivers; nobody is asked again.

    Returns
    -------
    Weather
        Never an error: a service that does not answer leaves its part None, with a note.
    """
    recorded = list(replies)
    if recorded:
        place = _place(river)
        forecast, alerts = _recorded(recorded, place, _below(river, place) if place is not None else ())
        return Weather(start, end, now.astimezone(UTC), forecast, alerts, ("Weather from recorded replies.",))
    sky = sky_of(river)
    real = present or (now if session is not None else datetime.now(UTC))
    if not network or sky is None or (said is None and not is_present(now, real)):
        why = "no weather service is known for this river"
        if not network:
            why = "it was not asked for"
        elif sky is not None:
            why = "the plan is made as of another hour than the present"
        return Weather(start, end, now.astimezone(UTC), notes=(f"Weather was not looked up: {why}.",))
    heard = said or ask_sky(sky, session)
    return Weather(start, end, now.astimezone(UTC), heard.forecast, heard.alerts, heard.notes)
