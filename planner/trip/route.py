"""Where things lie along the flowline: put-in, take-out, spots, runs and hazards."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from planner.tables import constants

if TYPE_CHECKING:
    from planner.river.records import Place, River

__all__ = ["Route", "setting"]


def setting(name: str) -> float:
    """A figure of `tables/trip_settings.csv`."""
    return constants("trip_settings")[name]


@dataclass(frozen=True)
class Route:
    """Stations along the flowline, metres downstream of its upper end.

    Parameters
    ----------
    centre : tuple of float
        Middle of the river's features, lon and lat [degrees].
    length : float
        Length of the flowline [m]; NaN without one.
    spots : dict
        Spot id to the station of its stance [m]; in file order and NaN without a flowline.
    runs : dict
        Run id to the stations of its upper and lower end [m].
    put_in, take_out : float
        Their stations [m]; NaN when not drawn.
    hazards : tuple of (kind, name, upper, lower)
        All hazards drawn, with the stations of their upper and lower end [m].
    put_in_name, take_out_name : str
        Their names; "" when not drawn.
    path : tuple of (lon, lat)
        The flowline, downstream [degrees]; empty without one.
    """

    centre: tuple[float, float]
    length: float
    spots: dict[str, float]
    runs: dict[str, tuple[float, float]]
    put_in: float
    take_out: float
    hazards: tuple[tuple[str, str, float, float], ...]
    put_in_name: str = ""
    take_out_name: str = ""
    path: tuple[tuple[float, float], ...] = ()

    @cached_property
    def _line(self) -> tuple[Any, Any]:
        """The flowline in local metres with its plane; both None without one."""
        from shapely.geometry import LineString

        from planner.river.ground import LocalPlane

        if not self.path:
            return None, None
        plane = LocalPlane(*self.centre)
        x, y = plane.to_xy([p[0] for p in self.path], [p[1] for p in self.path])
        return LineString(list(zip(x, y, strict=True))), plane

    def at(self, station: float) -> tuple[float, float]:
        """Lon and lat of a station on the flowline [degrees]; NaN without one."""
        line, plane = self._line
        if line is None:
            return math.nan, math.nan
        point = line.interpolate(station)
        lon, lat = plane.to_lonlat(point.x, point.y)
        return float(lon), float(lat)

    def station(self, lon: float, lat: float) -> float:
        """Station of a place along the flowline [m]; NaN without one."""
        from shapely.geometry import Point

        line, plane = self._line
        if line is None:
            return math.nan
        x, y = plane.to_xy(lon, lat)
        return float(line.project(Point(float(x), float(y))))

    def bearing(self) -> float:
        """Direction from put-in to take-out, or of the whole flowline [degrees from north]; NaN unknown."""
        line, _ = self._line
        if line is None:
            return math.nan
        upper = self.put_in if math.isfinite(self.put_in) else 0.0
        lower = self.take_out if math.isfinite(self.take_out) else self.length
        a, b = line.interpolate(upper), line.interpolate(lower)
        return math.degrees(math.atan2(b.x - a.x, b.y - a.y)) % 360.0

    @classmethod
    def of(cls, river: River) -> Route:
        """The stations of a river's features.

        With several put-ins the uppermost counts, with several take-outs the lowest: the longest float drawn.

        Parameters
        ----------
        river : River
            As read.
        """
        from shapely.geometry import LineString, Point

        from planner.river.ground import LocalPlane

        geometries = [run.polygon for run in river.runs] + [place.geometry for place in river.places]
        bounds = [geometry.bounds for geometry in geometries] or [
            (*s.stance_lonlat, *s.stance_lonlat) for s in river.spots
        ]
        west, south = min(b[0] for b in bounds), min(b[1] for b in bounds)
        east, north = max(b[2] for b in bounds), max(b[3] for b in bounds)
        plane = LocalPlane.around([west, east], [south, north])
        flowline = river.flowline()
        line, lonlat = None, []
        if flowline is not None:
            lonlat = list(flowline.geometry.coords)
            x, y = plane.to_xy([p[0] for p in lonlat], [p[1] for p in lonlat])
            line = LineString(list(zip(x, y, strict=True)))

        def station(lon: float, lat: float) -> float:
            if line is None:
                return math.nan
            x, y = plane.to_xy(lon, lat)
            return float(line.project(Point(float(x), float(y))))

        def stations(geometry: Any) -> list[float]:
            shape = geometry.exterior if hasattr(geometry, "exterior") else geometry
            return [station(p[0], p[1]) for p in shape.coords]

        def end(places: tuple[Place, ...], pick: Any) -> tuple[float, str]:
            if not places:
                return math.nan, ""
            if line is None:
                return math.nan, places[0].name
            return pick(((station(p.geometry.x, p.geometry.y), p.name) for p in places), key=lambda pair: pair[0])

        put_in, put_in_name = end(river.places_of("put_in"), min)
        take_out, take_out_name = end(river.places_of("take_out"), max)
        runs = {}
        for run in river.runs:
            along = stations(run.polygon)
            runs[run.id] = (min(along), max(along))
        reach = [(place, stations(place.geometry)) for place in river.places_of("hazard")]
        hazards = tuple((place.hazard_kind, place.name, min(along), max(along)) for place, along in reach)
        return cls(
            (plane.lon0, plane.lat0),
            line.length if line is not None else math.nan,
            {spot.id: station(*spot.stance_lonlat) for spot in river.spots},
            runs,
            put_in,
            take_out,
            hazards,
            put_in_name,
            take_out_name,
            tuple((float(p[0]), float(p[1])) for p in lonlat),
        )

    def hazards_in_reach(self) -> tuple[tuple[str, str], ...] | None:
        """Hazards between put-in and take-out, as `Conditions.hazards_in_reach`.

        One whose place along the float is not known, since flowline, put-in or take-out is missing, counts as in
        reach. None when no hazard is drawn at all.
        """
        if not self.hazards:
            return None
        low, high = self.put_in, self.take_out
        return tuple(
            (kind, name)
            for kind, name, upper, lower in self.hazards
            if not (lower < low or upper > high)  # NaN compares false: kept
        )
