"""Stations of a service around a point, from the service's own list: what they measure and how fresh they are.

A service with such a list has two functions more in its module: `get_stations` asks for the list around a point, and
`stations_in` reads it. They are found by the service's name, as in `planner.gauges.registry`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, cast

from planner.errors import GaugeReplyUnfit, UsageMistake
from planner.gauges.registry import service_of
from planner.gauges.series import to_datetime
from planner.gauges.stamps import NoOffset, parse_stamps
from planner.services import with_list

if TYPE_CHECKING:
    import requests

__all__ = ["Nearby", "box_around", "parse_stations", "place_of", "stations_near", "time_of"]

_RADIUS_KM = 6371.0088  # mean radius of the earth
_NEED = "a station list of the service"


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
    measures : tuple of str
        ``level``, ``flow``, ``water temperature``, ``turbidity``; empty when the list does not tell.
    latest : datetime or None
        Newest value, UTC; None when the list does not tell.
    distance_km : float
        From the point asked [km]; NaN in a list alone.
    """

    station: str
    name: str
    lon: float
    lat: float
    measures: tuple[str, ...] = ()
    latest: datetime | None = None
    distance_km: float = math.nan


class _Listing(Protocol):
    """What the module of a service with a list gives beside its readings."""

    def get_stations(self, lat: float, lon: float, within_km: float, session: requests.Session | None) -> list[bytes]:
        """The list around a point, page by page."""

    def stations_in(self, reply: Any) -> list[Nearby]:
        """The stations of one page."""


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
        One of `planner.services.with_list`.
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
    if service not in with_list():
        raise UsageMistake(f"service {service!r}", " or ".join(with_list()), "name one of them with --service")
    if not (-90 <= lat <= 90 and -180 <= lon <= 180):
        raise UsageMistake(f"point {lat},{lon}", "LAT,LON in degrees, such as 40.9,-78.7", "correct the point")
    if reply is not None:
        from planner.gauges.recorded import read

        raws = [read(reply)]
    else:
        raws = _listing(service).get_stations(lat, lon, within_km, session)
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
        found = _listing(service).stations_in(orjson.loads(raw))
        return [one for one in found if math.isfinite(one.lat) and math.isfinite(one.lon)]
    except (orjson.JSONDecodeError, KeyError, TypeError, ValueError, IndexError, AttributeError) as error:
        raise GaugeReplyUnfit(
            f"the reply is no station list ({type(error).__name__}: {error})", _NEED, "ask again later", where=where
        ) from error


def _listing(service: str) -> _Listing:
    return cast(_Listing, service_of(f"{service}:list"))


def box_around(lat: float, lon: float, within_km: float) -> str:
    """West, south, east and north of the box around a circle, as services take it [deg].

    Examples
    --------
    >>> box_around(45.0, -90.0, 11.1)
    '-90.1414,44.9000,-89.8586,45.1000'
    """
    dy = within_km / 111.0
    dx = dy / max(math.cos(math.radians(lat)), 0.01)
    return f"{lon - dx:.4f},{lat - dy:.4f},{lon + dx:.4f},{lat + dy:.4f}"


def place_of(feature: Any) -> tuple[float, float]:
    """Longitude and latitude of a GeoJSON point; NaN where it has none."""
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


def time_of(text: Any) -> datetime | None:
    """A time of a list, UTC; None where it gives none."""
    try:
        return to_datetime(parse_stamps([str(text)])[0]) if text else None
    except (NoOffset, OverflowError):  # no time, or one beyond the years that a date can have
        return None
