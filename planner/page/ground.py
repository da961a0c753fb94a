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
        ``runs`` [{ring, middle, bearing}], ``spots`` [{from, to, sign}], ``places`` [{kind, name, what, line}],
        ``flow`` (lines) and ``box`` (west, south, east, north), coordinates lat, lon [degrees].
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
        bearing = _bearing(longest, middle.x, middle.y)
        runs.append(
            {
                "ring": _ring(run.polygon, 4e-6),
                "middle": _point(middle.x, middle.y),
                "bearing": None if bearing is None or run.still else round(bearing),
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
    for place in river.places:
        if place.kind == "flowline":
            continue
        parts = getattr(place.geometry, "geoms", [place.geometry])
        line = [_point(*c[:2]) for part in parts for c in part.coords]
        places.append({"kind": place.kind, "name": place.name or place.id, "what": place.hazard_kind, "line": line})
    data: dict[str, Any] = {
        "runs": runs,
        "spots": spots,
        "places": places,
        "flow": [[_point(x, y) for x, y in line] for line in flow],
    }
    data["box"] = list(bounds(data))
    return data
