"""Stations of a service around a point, from the service's own list: what they measure and how fresh they are."""

from __future__ import annotations

import math
import os
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.errors import GaugeReplyUnfit, UsageMistake
from planner.gauges.series import to_datetime
from planner.gauges.stamps import NoOffset, parse_stamps

if TYPE_CHECKING:
    import requests

__all__ = ["SERVICES_WITH_LIST", "Nearby", "parse_stations", "stations_near"]

SERVICES_WITH_LIST = ("usgs", "noaa", "canada", "england", "france")
_RADIUS_KM = 6371.0088  # mean radius of the earth
_PARAMETERS = {"00060": "flow", "00065": "level", "00010": "water temperature", "63680": "turbidity"}
_NEED = "a station list of the service"
_FRENCH_LIST = "https://hubeau.eaufrance.fr/api/v2/hydrometrie/referentiel/stations"
_ENGLISH = {"level": "level", "flow": "flow", "temperature": "water temperature"}


@dataclass(frozen=True)
class Nearby:
    """One station.

    Parameters
    ----------
    station : str
        ``service:station``.
    name : str
        As the service gives it.
    lon, lat : float
        [deg].
    distance_km : float
        From the point asked [km].
    measures : tuple of str
        ``level``, ``flow``, ``water temperature``, ``turbidity``; empty when the list does not tell.
    latest : datetime or None
        Newest value, UTC; None when the list does not tell.
    """

    station: str
    name: str
    lon: float
    lat: float
    distance_km: float
    measures: tuple[str, ...]
    latest: datetime | None


def stations_near(
    service: str,
    lat: float,
    lon: float,
    within_km: float = 25.0,
    *,
    reply: Path | None = None,
    session: requests.Session | None = None,
) -> list[Nearby]:
    """Stations within a distance, nearest first.

    Parameters
    ----------
    service : str
        One of `SERVICES_WITH_LIST`.
    lat, lon : float
        The point [deg].
    within_km : float
        Distance [km].
    reply : Path, optional
        A recorded station list in place of the network.
    session : requests.Session, optional
        From `planner.gauges.transport.make_session`.

    Raises
    ------
    SourceUnreachable, GaugeReplyUnfit
        As every reader.
    UsageMistake
        The service has no list here, or the point is none.
    """
    if service not in SERVICES_WITH_LIST:
        raise UsageMistake(f"service {service!r}", " or ".join(SERVICES_WITH_LIST), "name one of them with --service")
    if not (-90 <= lat <= 90 and -180 <= lon <= 180):
        raise UsageMistake(f"point {lat},{lon}", "LAT,LON in degrees, such as 40.9,-78.7", "correct the point")
    if reply is not None:
        from planner.gauges.recorded import read

        raws = [read(reply)]
    else:
        raws = _ask(service, lat, lon, within_km, session)
    found: dict[str, Nearby] = {}
    for raw in raws:
        for listed in parse_stations(raw, service, str(reply or "")):
            one = replace(listed, distance_km=_distance(lat, lon, listed.lat, listed.lon))
            known = found.get(one.station)
            found[one.station] = one if known is None else _merged(known, one)
    near = [one for one in found.values() if one.distance_km <= within_km]
    return sorted(near, key=lambda one: one.distance_km)


def parse_stations(raw: bytes, service: str, where: str = "") -> list[Nearby]:
    """Stations of a list, distance NaN; a station that a list names several times comes several times.

    Raises
    ------
    GaugeReplyUnfit
        When the text is no list of the service.
    """
    import orjson

    where = where or f"station list of {service}"
    try:
        reply = orjson.loads(raw)
        reader = {"usgs": _usgs, "noaa": _noaa, "canada": _canada, "england": _england, "france": _france}[service]
        return [one for one in reader(reply) if math.isfinite(one.lat) and math.isfinite(one.lon)]
    except (orjson.JSONDecodeError, KeyError, TypeError, ValueError, IndexError, AttributeError) as error:
        raise GaugeReplyUnfit(
            f"the reply is no station list ({type(error).__name__}: {error})", _NEED, "ask again later", where=where
        ) from error


def _ask(service: str, lat: float, lon: float, within_km: float, session: requests.Session | None) -> list[bytes]:
    from planner.gauges import canada, england, noaa, v1_pages
    from planner.gauges.transport import fetch

    dy = within_km / 111.0
    dx = dy / max(math.cos(math.radians(lat)), 0.01)
    box = f"{lon - dx:.4f},{lat - dy:.4f},{lon + dx:.4f},{lat + dy:.4f}"
    what = f"station list of {service}"
    if service == "usgs":
        query = {"bbox": box, "site_type_code": "ST", "data_type": "Continuous values", "limit": "10000"}
        return v1_pages.items("combined-metadata", query, session, what)
    if service == "canada":
        base = os.environ.get("PLUMBRUN_CANADA", canada.GEOMET).rstrip("/")
        query = {"f": "json", "bbox": box, "REAL_TIME": "1", "limit": "1000"}
        return [fetch(f"{base}/hydrometric-stations/items", query, session=session, what=what)]
    if service == "england":
        base = os.environ.get("PLUMBRUN_ENGLAND", england.ADDRESS).rstrip("/")
        query = {"lat": f"{lat:.5f}", "long": f"{lon:.5f}", "dist": f"{within_km:.1f}", "_view": "full"}
        return [fetch(f"{base}/id/stations", query, session=session, what=what)]
    if service == "france":
        # names of the parameters: from memory
        base = os.environ.get("PLUMBRUN_FRANCE_STATIONS", _FRENCH_LIST)
        query = {"latitude": f"{lat:.5f}", "longitude": f"{lon:.5f}", "distance": f"{within_km:.0f}", "size": "1000"}
        return [fetch(base, query, session=session, what=what)]
    west, south, east, north = box.split(",")
    # names of the parameters: from memory
    query = {"bbox.xmin": west, "bbox.ymin": south, "bbox.xmax": east, "bbox.ymax": north, "srid": "EPSG_4326"}
    base = os.environ.get("PLUMBRUN_NOAA", noaa.ADDRESS).rstrip("/")
    return [fetch(base, query, session=session, what=what)]


def _usgs(reply: Any) -> list[Nearby]:
    out = []
    for feature in reply["features"]:
        row = feature["properties"]
        x, y = _point(feature)
        number = str(row["monitoring_location_id"] if "monitoring_location_id" in row else feature["id"])
        continuous = row.get("data_type", "Continuous values") == "Continuous values"
        word = _PARAMETERS.get(str(row.get("parameter_code", "")))
        measures = (word,) if word and continuous else ()
        latest = _time(row.get("end")) if measures else None
        name = str(row.get("monitoring_location_name") or "")
        out.append(Nearby(f"usgs:{number.removeprefix('USGS-')}", name, x, y, math.nan, measures, latest))
    return out


def _canada(reply: Any) -> list[Nearby]:
    out = []
    for feature in reply["features"]:
        row = feature["properties"]
        x, y = _point(feature)
        out.append(
            Nearby(f"canada:{row['STATION_NUMBER']}", str(row.get("STATION_NAME", "")), x, y, math.nan, (), None)
        )
    return out


def _england(reply: Any) -> list[Nearby]:
    items = reply["items"] if isinstance(reply["items"], list) else [reply["items"]]
    out = []
    for item in items:
        measures, latest = [], []
        listed = item.get("measures")
        for measure in listed if isinstance(listed, list) else [listed] if isinstance(listed, dict) else []:
            word = _ENGLISH.get(str(measure.get("parameter")))
            if word and measure.get("unitName") != "---":
                measures.append(word)
            reading = measure.get("latestReading")
            if isinstance(reading, dict):
                latest.append(_time(reading.get("dateTime")))
        known = [time for time in latest if time is not None]
        name = f"{item.get('riverName', '')}, {item.get('label', '')}".strip(", ")
        x, y = float(item.get("long", math.nan)), float(item.get("lat", math.nan))
        station = f"england:{item.get('stationReference') or item['notation']}"
        out.append(Nearby(station, name, x, y, math.nan, tuple(dict.fromkeys(measures)), max(known, default=None)))
    return out


def _france(reply: Any) -> list[Nearby]:
    return [
        Nearby(
            f"france:{row['code_station']}",
            str(row.get("libelle_station", "")),
            float(row.get("longitude_station", math.nan)),
            float(row.get("latitude_station", math.nan)),
            math.nan,
            (),
            None,
        )
        for row in reply["data"]
    ]


def _noaa(reply: Any) -> list[Nearby]:
    rows = reply.get("gauges", [reply])
    out = []
    for row in rows:
        seen = (row.get("status") or {}).get("observed") or {}
        measures = [
            word
            for field, unit, word in (("primary", "primaryUnit", "level"), ("secondary", "secondaryUnit", "flow"))
            if seen.get(unit) and seen.get(field) not in (None, -999)
        ]
        time = str(seen.get("validTime") or "")
        latest = None if time.startswith("0001-") else _time(time)
        x, y = float(row["longitude"]), float(row["latitude"])
        out.append(Nearby(f"noaa:{row['lid']}", str(row.get("name", "")), x, y, math.nan, tuple(measures), latest))
    return out


def _point(feature: Any) -> tuple[float, float]:
    geometry = feature.get("geometry")
    if not isinstance(geometry, dict):
        return math.nan, math.nan
    return float(geometry["coordinates"][0]), float(geometry["coordinates"][1])


def _merged(a: Nearby, b: Nearby) -> Nearby:
    times = [time for time in (a.latest, b.latest) if time is not None]
    measures = tuple(dict.fromkeys((*a.measures, *b.measures)))
    return replace(a, measures=measures, latest=max(times, default=None))


def _distance(lat: float, lon: float, other_lat: float, other_lon: float) -> float:
    """Great-circle distance by the haversine [km]."""
    a, b = math.radians(lat), math.radians(other_lat)
    half = math.sin((b - a) / 2.0) ** 2
    half += math.cos(a) * math.cos(b) * math.sin(math.radians(other_lon - lon) / 2.0) ** 2
    return 2.0 * _RADIUS_KM * math.asin(math.sqrt(half))


def _time(text: Any) -> datetime | None:
    try:
        return to_datetime(parse_stamps([str(text)])[0]) if text else None
    except (NoOffset, OverflowError):  # no time, or one beyond the years that a date can have
        return None
