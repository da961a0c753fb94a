"""Environment and Climate Change Canada by GeoMet: the nearest town's hourly forecast, a place's alerts. No key.

The service's names on the left, ours on the right (form of July 2026, as public readers of the service use it; no
recorded reply with its values was at hand):

    citypageweather-realtime, features[].properties
    name.en, geometry.coordinates                    Forecast.place, and how far away it is
    lastUpdated                                      issued_at
    hourlyForecastGroup.hourlyForecasts[].timestamp  times
    .temperature.value.en [°C]                       air_c
    .wind.speed.value.en, .wind.gust.value.en [km/h] wind_m_s, gust_m_s
    .wind.bearing.value.en [degrees]                 wind_from_deg
    .lop.value.en [%]                                rain_chance
    .condition.en                                    thunder_chance, from its words

    weather-alerts, features[].properties
    alert_name_en                                    event, headline
    alert_text_en, feature_name_en                   description, area
    publication_datetime, validity_datetime          sent, begins
    event_end_datetime                               ends; also the publication of one whose status_en is ended

`expiration_datetime` is when the message runs out, not the event. Amounts of rain are not given. Data of Environment
and Climate Change Canada under its end-user licence, which asks for the name.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from planner.errors import DataUnfit
from planner.tables import rows
from planner.weather.records import Alert, Forecast, moment

if TYPE_CHECKING:
    import requests

__all__ = ["SERVICE", "get_alerts", "get_forecast", "parse_alerts", "parse_towns"]

SERVICE = "Environment and Climate Change Canada"
_ADDRESS = "https://api.weather.gc.ca/collections/{}/items"
_KINDS = ("application/geo+json", "application/json")
# Design choices: how far around the place towns and alert areas are asked for [degrees], and how far away a town may
# lie whose forecast is taken for the river's [m].
_TOWNS_DEG, _ALERTS_DEG, _FARTHEST_M = 1.0, 0.05, 60_000.0
_MOST = 200
_KMH = 1 / 3.6
_LONGEST_H = 24 * 7


def _features(raw: bytes, what: str) -> list[dict[str, Any]]:
    try:
        document = json.loads(raw)
    except (ValueError, RecursionError) as error:
        raise _unfit(what, "no JSON") from error
    features = document.get("features") if isinstance(document, dict) else None
    if not isinstance(features, list) or not all(isinstance(one, dict) for one in features):
        raise _unfit(what, "no features")
    return features


def _unfit(what: str, why: str) -> DataUnfit:
    return DataUnfit(f"{SERVICE}: the reply for {what} is not in the service's form ({why})", "its JSON", "look later")


def _inside(found: Any, *path: str) -> Any:
    for key in path:
        found = found.get(key) if isinstance(found, Mapping) else None
    return found


def _number(found: Any, *path: str) -> float:
    value = _inside(found, *path, "value", "en")
    if isinstance(value, str):
        value = 0.0 if value.strip().lower() == "calm" else value
        try:
            value = float(value)
        except ValueError:
            return math.nan
    if not isinstance(value, int | float) or isinstance(value, bool) or abs(value) > 1e300:
        return math.nan
    return float(value)


def _thunder(condition: Any) -> float:
    """Chance of thunder that a condition's words say [%], at the upper end; NaN without words."""
    if not isinstance(condition, str) or not condition.strip():
        return math.nan
    words = condition.lower()
    if "thunder" not in words:
        return 0.0
    chances = {row["term"]: float(row["chance"]) for row in rows("weather_terms")}
    return chances["risk_of"] if "risk of" in words else chances["chance"] if "chance of" in words else chances["other"]


def _away(geometry: Any, lon: float, lat: float) -> float:
    """How far a town's point lies from a place [m]; infinite without a point."""
    from pyproj import Geod

    point = geometry.get("coordinates") if isinstance(geometry, Mapping) else None
    if not (isinstance(point, list) and len(point) >= 2 and all(isinstance(v, int | float) for v in point[:2])):
        return math.inf
    try:
        return float(Geod(ellps="WGS84").inv(lon, lat, float(point[0]), float(point[1]))[2])
    except (ValueError, OverflowError):
        return math.inf


def parse_towns(raw: bytes, lon: float, lat: float) -> Forecast:
    """The hourly forecast of the town nearest to a place.

    Parameters
    ----------
    raw : bytes
        Reply of ``citypageweather-realtime``.
    lon, lat : float
        The place [degrees].

    Raises
    ------
    DataUnfit
        When there is no town within 60 km, or no hour of it can be read.
    """
    import numpy as np

    towns = sorted(
        ((_away(town.get("geometry"), lon, lat), k, town) for k, town in enumerate(_features(raw, "the forecast"))),
        key=lambda one: one[:2],
    )
    away, _, town = towns[0] if towns else (math.inf, 0, {})
    if away > _FARTHEST_M:
        raise DataUnfit(
            f"{SERVICE}: no town with a forecast within 60 km", "one nearby", "look the weather up yourself"
        )
    properties = town.get("properties")
    listed = _inside(properties, "hourlyForecastGroup", "hourlyForecasts")
    hours: dict[int, dict[str, Any]] = {}
    for hour in listed if isinstance(listed, list) else ():
        at = moment(hour.get("timestamp")) if isinstance(hour, dict) else None
        if at is not None:
            hours[math.floor(at.timestamp() / 3600)] = hour
    if not hours:
        raise _unfit("the forecast", "no hour that can be read")
    first = min(hours)
    last = min(max(hours), first + _LONGEST_H) + 1
    known = [hours.get(hour, {}) for hour in range(first, last)]

    def series(*path: str, factor: float = 1.0) -> np.ndarray:
        return np.array([_number(hour, *path) for hour in known]) * factor

    name = str(_inside(properties, "name", "en") or "a town without a name")
    return Forecast(
        SERVICE,
        name,
        moment(_inside(properties, "lastUpdated")),
        (np.arange(first, last) * 3600).astype("datetime64[s]"),
        series("temperature"),
        series("wind", "speed", factor=_KMH),
        series("wind", "bearing"),
        series("wind", "gust", factor=_KMH),
        np.array([_thunder(_inside(hour, "condition", "en")) for hour in known]),
        series("lop"),
        np.full(last - first, np.nan),
        (
            f"The forecast is that of {name}, {away / 1000:.0f} km away.",
            "The chance of thunder is taken from the forecast's words, at the upper end of each.",
            "Amounts of rain are not in this forecast.",
        ),
    )


def _covers(geometry: Any, lon: float, lat: float) -> bool:
    """Whether an alert's area holds a place; one whose area cannot be read is taken to."""
    from shapely import errors
    from shapely.geometry import Point, shape

    if not isinstance(geometry, Mapping):
        return True
    try:
        area = shape(dict(geometry))
        return bool(area.is_empty or not area.is_valid or area.intersects(Point(lon, lat)))
    except (errors.ShapelyError, ValueError, TypeError, KeyError, AttributeError, IndexError):
        return True


def parse_alerts(raw: bytes, place: tuple[float, float] | None = None) -> tuple[Alert, ...]:
    """The alerts of a reply, texts unaltered; with a place, those whose area holds it.

    Parameters
    ----------
    raw : bytes
        Reply of ``weather-alerts``.
    place : tuple of float, optional
        Lon, lat [degrees].

    Raises
    ------
    DataUnfit
        When the reply is no list of alerts: none is then known, which is not the same as none in force.
    """
    found = []
    for feature in _features(raw, "alerts"):
        properties = feature.get("properties")
        if not isinstance(properties, dict) or not isinstance(properties.get("alert_name_en"), str):
            raise _unfit("alerts", "an alert without its name")
        if place is not None and not _covers(feature.get("geometry"), *place):
            continue

        def text(name: str, given: dict[str, Any] = properties) -> str:
            value = given.get(name)
            return value if isinstance(value, str) else ""

        sent = moment(properties.get("publication_datetime"))
        over = text("status_en").lower() == "ended"
        ends = moment(properties.get("event_end_datetime"))
        area = ", ".join(part for part in (text("feature_name_en"), text("province")) if part)
        found.append(
            Alert(
                text("id") or str(feature.get("id") or ""), text("alert_name_en"), text("alert_name_en"),
                text("alert_text_en"), "", area, SERVICE, sent, moment(properties.get("validity_datetime")),
                sent if over else ends, text("risk_colour_en"), status=text("status_en"),
            )
        )  # fmt: skip
    return tuple(found)


def _box(lon: float, lat: float, around: float) -> str:
    return ",".join(f"{value:.4f}" for value in (lon - around, lat - around, lon + around, lat + around))


def _ask(collection: str, lon: float, lat: float, around: float, session: requests.Session | None) -> bytes:
    from planner.gauges.transport import fetch

    query = {"f": "json", "lang": "en", "bbox": _box(lon, lat, around), "limit": str(_MOST)}
    return fetch(_ADDRESS.format(collection), query, session=session, what=SERVICE, kinds=_KINDS)


def get_forecast(lon: float, lat: float, session: requests.Session | None = None) -> Forecast:
    """The hourly forecast of the nearest town, from the service.

    Raises
    ------
    SourceUnreachable, DataUnfit
        No answer, none that can be read, or no town near.
    """
    return parse_towns(_ask("citypageweather-realtime", lon, lat, _TOWNS_DEG, session), lon, lat)


def get_alerts(lon: float, lat: float, session: requests.Session | None = None) -> tuple[Alert, ...]:
    """The alerts whose area holds a place, from the service.

    Raises
    ------
    SourceUnreachable, DataUnfit
        No answer, or none that can be read.
    """
    return parse_alerts(_ask("weather-alerts", lon, lat, _ALERTS_DEG, session), (lon, lat))
