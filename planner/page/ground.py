"""What the map and the sketch draw: outlines, casts, places and the way the river flows, in lon and lat.

Coordinates leave here as lat, lon (the order of the map library), rounded to a centimetre or so.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

from planner.page import words
from planner.river.records import River

__all__ = ["bounds", "map_data"]


_MOST_DOTS = 1500
_TIMES = {"put_in": "start", "take_out": "take_out_at"}


def _point(lon: float, lat: float) -> list[float]:
    return [round(float(lat), 6), round(float(lon), 6)]


def _ring(geometry: Any, tolerance: float) -> list[list[float]]:
    simple = geometry.simplify(tolerance)
    return [_point(x, y) for x, y in simple.exterior.coords]


def _bearing(line: list[tuple[float, float]], lon: float, lat: float) -> float | None:
    """Direction of the nearest piece of the flowline [degrees clockwise from north]; None without a flowline."""
    best, found = math.inf, None
    squeeze = math.cos(math.radians(lat))
    for (x0, y0), (x1, y1) in pairwise(line):
        away = math.hypot(((x0 + x1) / 2 - lon) * squeeze, (y0 + y1) / 2 - lat)
        if away < best:
            best, found = away, math.degrees(math.atan2((x1 - x0) * squeeze, y1 - y0)) % 360
    return found


def _flowlines(river: River) -> list[list[tuple[float, float]]]:
    lines = []
    for place in river.places_of("flowline"):
        for part in getattr(place.geometry, "geoms", [place.geometry]):
            lines.append([(float(x), float(y)) for x, y in (c[:2] for c in part.coords)])
    return lines


def _arrows(polygon: Any, line: list[tuple[float, float]]) -> list[list[float]]:
    """Places of a run's current arrows: lat, lon, degrees clockwise from north; up to four along the flowline."""
    from shapely.geometry import LineString

    if len(line) < 2:
        return []
    inside = LineString(line).intersection(polygon)
    if inside.is_empty:
        middle = polygon.representative_point()
        bearing = _bearing(line, middle.x, middle.y)
        return [] if bearing is None else [[*_point(middle.x, middle.y), round(bearing)]]
    longest = max(getattr(inside, "geoms", [inside]), key=lambda part: part.length)
    shares = (0.14, 0.38, 0.62, 0.86)
    points = [longest.interpolate(share, normalized=True) for share in shares]
    return [[*_point(p.x, p.y), round(_bearing(line, p.x, p.y) or 0)] for p in points]


def _soundings(river: River) -> dict[str, Any]:
    """Where the bed was sounded: steps of 1e-6 degree from the first, so that a thousand dots stay small.

    More than `_MOST_DOTS` are thinned evenly in the order in which they were taken; the total is kept to be said.
    """
    frame = river.soundings
    if not len(frame) or "lon" not in frame:
        return {"at": [], "from": [0, 0], "total": 0}
    points = sorted({(round(1e6 * lat), round(1e6 * lon)) for lon, lat in zip(frame["lon"], frame["lat"], strict=True)})
    every = math.ceil(len(points) / _MOST_DOTS)
    lat0, lon0 = points[0]
    kept = points[::every]
    return {"at": [[lat - lat0, lon - lon0] for lat, lon in kept], "from": [lat0, lon0], "total": len(points)}


def _clocks(plan: dict[str, Any], river: River, line: list[tuple[float, float]]) -> list[list[Any]]:
    """When the plan has the angler at each stop, where that is on the flowline: lat, lon, clock."""
    from shapely.geometry import LineString, Point

    if len(line) < 2:
        return []
    squeeze = math.cos(math.radians(line[0][1]))
    flat = LineString([(x * squeeze, y) for x, y in line])
    spots = {spot.id: spot for spot in river.spots}
    out = []
    for stop in (plan.get("trip") or {}).get("stops") or ():
        spot = spots.get(stop.get("spot", ""))
        if spot is None or not stop.get("arrive_at"):
            continue
        lon, lat = spot.stance_lonlat
        near = flat.interpolate(flat.project(Point(lon * squeeze, lat)))
        out.append([*_point(near.x / squeeze, near.y), words.clock(stop["arrive_at"], river.timezone)])
    return out


def bounds(data: dict[str, Any]) -> tuple[float, float, float, float]:
    """West, south, east, north of all that is drawn [degrees]; a degenerate box around 0, 0 when nothing is."""
    points = [p for run in data["runs"] if run for p in run["ring"]]
    points += [p for spot in data["spots"] if spot for p in (spot["from"], spot["to"])]
    points += [p for place in data["places"] for p in place["line"]]
    if not points:
        points = [p for line in data["flow"] for p in line] or [[0.0, 0.0]]
    lats, lons = [p[0] for p in points], [p[1] for p in points]
    return min(lons), min(lats), max(lons), max(lats)


def map_data(plan: dict[str, Any], river: River) -> dict[str, Any]:
    """All that is drawn, in the order of the plan's runs and spots.

    Parameters
    ----------
    plan : dict
        The plan; a run or spot whose record the river lacks gives None in its place.
    river : River
        The river folder as read.

    Returns
    -------
    dict
        ``runs`` [{ring, middle, arrows}], ``spots`` [{from, to, sign}], ``places`` [{kind, name, what, line, at}],
        ``flow`` (lines), ``clocks`` [lat, lon, words], ``soundings`` {from, at, total} and ``box`` (west, south,
        east, north), coordinates lat, lon [degrees].
    """
    flow = _flowlines(river)
    longest = max(flow, key=len, default=[])
    run_of = {run.id: run for run in river.runs}
    spot_of = {spot.id: spot for spot in river.spots}
    runs: list[dict[str, Any] | None] = []
    for row in plan.get("runs") or ():
        run = run_of.get(row["id"])
        if run is None:
            runs.append(None)
            continue
        middle = run.polygon.representative_point()
        runs.append(
            {
                "ring": _ring(run.polygon, 4e-6),
                "middle": _point(middle.x, middle.y),
                "arrows": [] if run.still else _arrows(run.polygon, longest),
            }
        )
    spots: list[dict[str, Any] | None] = []
    for row in plan.get("spots") or ():
        spot = spot_of.get(row["id"])
        sign = words.STANCE_WORDS.get(row.get("stance") or "", ("?", ""))[0]
        spots.append(
            None
            if spot is None
            else {"from": _point(*spot.stance_lonlat), "to": _point(*spot.landing_lonlat), "sign": sign}
        )
    places = []
    clock = {key: words.clock((plan.get("trip") or {}).get(name), river.timezone) for key, name in _TIMES.items()}
    ends = {key: (plan.get("trip") or {}).get(key) for key in _TIMES}
    for place in river.places:
        if place.kind == "flowline":
            continue
        parts = getattr(place.geometry, "geoms", [place.geometry])
        line = [_point(*c[:2]) for part in parts for c in part.coords]
        places.append({"kind": place.kind, "name": place.name or place.id, "what": place.hazard_kind, "line": line})
        if place.kind in _TIMES and ends[place.kind] in (place.id, place.name):
            places[-1]["at"] = clock[place.kind]
    data: dict[str, Any] = {
        "runs": runs,
        "spots": spots,
        "places": places,
        "flow": [[_point(x, y) for x, y in line] for line in flow],
        "clocks": _clocks(plan, river, longest),
        "soundings": _soundings(river),
    }
    data["box"] = list(bounds(data))
    return data
