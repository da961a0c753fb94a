"""Ways off the river and back to the car: bail-outs on the float, access points on foot, and the shuttle."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from planner.trip.route import Route, setting
from planner.units import FOOT

if TYPE_CHECKING:
    from planner.river.records import Place, River

__all__ = ["WayOff", "access_to", "bail_outs", "shuttle_note"]


@dataclass(frozen=True)
class WayOff:
    """Where a party can leave the river before the take-out.

    Parameters
    ----------
    id, name : str
        The place's.
    lon, lat : float
        Where [degrees].
    at_m : float
        Station along the flowline [m]; NaN unknown.
    drift_min : float
        Minutes of drift from the put-in at the slow end, without stops [min].
    note : str
        Of the place: road, gate, steps.
    """

    id: str
    name: str
    lon: float
    lat: float
    at_m: float
    drift_min: float
    note: str

    def as_dict(self) -> dict[str, Any]:
        """The way off as it stands in ``plan.json``."""
        found = vars(self).copy()
        return {key: None if value != value else value for key, value in found.items()}


def _middle(place: Place) -> tuple[float, float]:
    point = place.geometry.representative_point()
    return float(point.x), float(point.y)


def bail_outs(river: River, route: Route, slow: Callable[[float, float], float]) -> tuple[WayOff, ...]:
    """Every put-in and take-out drawn between those of the trip, in order downstream.

    Parameters
    ----------
    river : River
        With its places.
    route : Route
        Stations.
    slow : callable
        Seconds of drift between two stations at the slow end.
    """
    found = []
    for place in (*river.places_of("put_in"), *river.places_of("take_out")):
        lon, lat = _middle(place)
        at = route.station(lon, lat)
        if place.name in (route.put_in_name, route.take_out_name) and at in (route.put_in, route.take_out):
            continue
        if at <= route.put_in or at >= route.take_out:
            continue
        minutes = slow(route.put_in, at) / 60 if math.isfinite(route.put_in - at) else math.nan
        found.append(WayOff(place.id, place.name or place.id, lon, lat, at, minutes, place.note))
    return tuple(sorted(found, key=lambda way: way.at_m if math.isfinite(way.at_m) else math.inf))


def access_to(river: River, route: Route) -> dict[str, tuple[str, float]]:
    """For a day on foot: each spot's nearest access and the walk along the river [m].

    Returns
    -------
    dict
        Spot id to the access's name and the distance; empty when no put-in or take-out is drawn.
    """
    places = [
        (p.name or p.id, route.station(*_middle(p))) for kind in ("put_in", "take_out") for p in river.places_of(kind)
    ]
    found = {}
    for spot, at in route.spots.items():
        ways = [(abs(station - at), name) for name, station in places if math.isfinite(station - at)]
        if ways:
            distance, name = min(ways)
            found[spot] = (name, distance)
    return found


def shuttle_note(river: River, route: Route, start: datetime) -> str:
    """A sentence on getting a car to the take-out, before the float begins.

    ``[shuttle]`` in river.toml: ``minutes`` for one way by road, and ``note``.

    Parameters
    ----------
    river : River
        As read.
    route : Route
        Stations and names.
    start : datetime
        When the party leaves the put-in, aware.
    """
    from datetime import timedelta

    table = river.extra.get("shuttle")
    table = table if isinstance(table, dict) else {}
    where = f"from {route.put_in_name or 'the put-in'} to {route.take_out_name or 'the take-out'}"
    minutes, note = table.get("minutes"), str(table.get("note") or "").strip()
    tail = f" {note}" if note else ""
    if isinstance(minutes, int | float) and not isinstance(minutes, bool) and math.isfinite(minutes) and minutes >= 0:
        back = start - timedelta(minutes=2 * float(minutes) + setting("shuttle_handling"))
        clock = f"{back.astimezone(ZoneInfo(river.timezone)):%H:%M}"
        return (
            f"Shuttle {where}: about {minutes:.0f} min one way by road, as you gave it. Leave the put-in with both "
            f"cars by {clock} to be back in time.{tail}"
        )
    air = route.take_out - route.put_in
    far = f"{air / (5280 * FOOT):.1f} mi" if river.units == "us" else f"{air / 1000:.1f} km"
    least = f"; the river's own way is {far}, roads differ" if math.isfinite(air) and air > 0 else ""
    return f"Shuttle {where}: the time by road is not given in the river folder{least}. Leave a car below first.{tail}"
