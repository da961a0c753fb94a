"""Parse runs.geojson, spots.geojson and places.geojson (RFC 7946: lon, lat in WGS 84, no other system)."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.validation import explain_validity

from planner.river.records import BANKS, HOLD_HIGH_M, HOLD_LOW_M, PLACE_KINDS, STANCES, Place, Run, Spot
from planner.river.settings import bed_of
from planner.river.values import Notebook, short

__all__ = ["PLACES_FILE", "RUNS_FILE", "SPOTS_FILE", "parse_places", "parse_runs", "parse_spots"]

RUNS_FILE = "runs.geojson"
SPOTS_FILE = "spots.geojson"
PLACES_FILE = "places.geojson"

_RUN_KEYS = {
    "id", "name", "gauge", "slope", "bed", "n", "d84_mm", "banks", "waterline_at", "flow_share", "area_ratio",
    "lag_min", "still", "hold_low_m", "hold_high_m", "note",
}  # fmt: skip
_SPOT_KEYS = {"id", "run", "name", "stance", "boat_speed_ratio", "hold_low_m", "hold_high_m", "note"}
_PLACE_KEYS = {"id", "name", "kind", "hazard_kind", "note"}
_PLACE_SHAPES = {
    "put_in": ("Point",),
    "take_out": ("Point",),
    "hazard": ("Point", "LineString"),
    "flowline": ("LineString",),
}


class _Unfit(Exception):
    """A geometry that cannot be taken; carries (given, need, next step)."""


def _load(text: str, file: str, notes: Notebook) -> list[Any] | None:
    """Features of a GeoJSON text, or None with an error that names the line."""
    import orjson

    try:
        document = orjson.loads(text)
    except orjson.JSONDecodeError as error:
        notes.add(
            "error", file, f"line {error.lineno}, column {error.colno}", f"not valid JSON: {error.msg}", "GeoJSON",
            "correct that line",
        )  # fmt: skip
        return None
    except (ValueError, RecursionError) as error:
        notes.add("error", file, "", f"not valid JSON: {type(error).__name__}", "GeoJSON", "correct the file")
        return None
    if not isinstance(document, dict) or document.get("type") != "FeatureCollection":
        kind = document.get("type") if isinstance(document, dict) else type(document).__name__
        notes.add(
            "error", file, "", f"the document is a {short(kind)}", "a GeoJSON FeatureCollection",
            "save the features as a FeatureCollection",
        )  # fmt: skip
        return None
    _look_at_crs(document.get("crs"), file, notes)
    features = document.get("features")
    if not isinstance(features, list):
        notes.add("error", file, "features", f"features = {short(features)}", "a list of features", "correct the file")
        return None
    return features


def _look_at_crs(crs: Any, file: str, notes: Notebook) -> None:
    """A "crs" member is of the GeoJSON of 2008; RFC 7946 section 4 knows WGS 84 only."""
    if crs is None:
        return
    properties = crs.get("properties") if isinstance(crs, dict) else None
    name = str(properties.get("name", "")) if isinstance(properties, dict) else str(crs)
    last = name.replace("/", ":").split(":")[-1]
    if last in ("CRS84", "4326"):
        notes.add(
            "note", file, "crs", f"the crs member {short(name)} is not needed", "no crs member (RFC 7946, section 4)",
            "delete it",
        )  # fmt: skip
        return
    notes.add(
        "error", file, "crs", f"the coordinates are in {short(name or crs)}",
        "lon, lat in degrees on WGS 84 and no crs member (RFC 7946, section 4)",
        "export the file again in WGS 84 (EPSG:4326)",
    )  # fmt: skip


def _features(text: str, file: str, notes: Notebook) -> Iterator[tuple[str, dict[str, Any], dict[str, Any]]]:
    """Each sound feature as (where, properties, geometry); ids are told apart."""
    seen: dict[str, int] = {}
    for number, feature in enumerate(_load(text, file, notes) or [], start=1):
        where = f"feature {number}"
        if not isinstance(feature, dict) or feature.get("type") != "Feature":
            notes.add("error", file, where, f"{short(feature)} is no Feature", "a GeoJSON Feature", "correct it")
            continue
        properties, geometry = feature.get("properties"), feature.get("geometry")
        if properties is None:
            properties = {}
        if not isinstance(properties, dict):
            notes.add("error", file, where, f"properties = {short(properties)}", "an object", "correct the feature")
            continue
        if not isinstance(geometry, dict):
            notes.add("error", file, where, f"geometry = {short(geometry)}", "a geometry", "draw it or delete it")
            continue
        name = properties.get("id", feature.get("id"))
        if isinstance(name, int) and not isinstance(name, bool):
            name = str(name)
        if not isinstance(name, str) or not name.strip():
            notes.add(
                "error", file, where, f"id = {short(name)}", "an id as text, once in the file", "give it a short id"
            )
            continue
        name = name.strip()
        where = f"feature {number} ({name})"
        if name in seen:
            notes.add(
                "error", file, where, f"id {short(name)} was taken by feature {seen[name]}", "each id once",
                "give one of them another id",
            )  # fmt: skip
            continue
        seen[name] = number
        yield where, {**properties, "id": name}, geometry


def _positions(value: Any, least: int) -> list[tuple[float, float]]:
    if not isinstance(value, list) or len(value) < least:
        count = len(value) if isinstance(value, list) else 0
        raise _Unfit(f"{count} positions", f"at least {least} positions", "draw it again")
    positions = []
    for item in value:
        if (
            not isinstance(item, list)
            or len(item) < 2
            or any(isinstance(part, bool) or not isinstance(part, int | float) for part in item[:2])
        ):
            raise _Unfit(f"position {short(item)}", "lon and lat as two numbers", "correct the position")
        lon, lat = float(item[0]), float(item[1])
        if not (math.isfinite(lon) and math.isfinite(lat)):
            raise _Unfit(f"position {short(item)}", "finite lon and lat", "correct the position")
        if abs(lon) > 180 or abs(lat) > 90:
            raise _Unfit(*outside_degrees(lon, lat))
        positions.append((lon, lat))
    return positions


def outside_degrees(lon: float, lat: float) -> tuple[str, str, str]:
    """Given, need and next step for coordinates that are no lon, lat in degrees."""
    if abs(lon) <= 90 and abs(lat) <= 180:
        return (
            f"position {lon:g}, {lat:g} has a latitude beyond 90: lon and lat are most likely swapped",
            "lon first, then lat",
            "swap the two numbers",
        )
    return (
        f"position {lon:g}, {lat:g} is no lon, lat in degrees: most likely projected metres",
        "lon -180 to 180 and lat -90 to 90, in degrees on WGS 84",
        "export it again in WGS 84 (EPSG:4326)",
    )


def _shape(geometry: dict[str, Any], allowed: tuple[str, ...]) -> Any:
    kind = geometry.get("type")
    if kind not in allowed:
        raise _Unfit(f"geometry type {short(kind)}", " or ".join(allowed), f"draw it as a {allowed[0]}")
    coordinates = geometry.get("coordinates")
    if kind == "Point":
        return Point(_positions([coordinates], 1)[0])
    if kind == "LineString":
        positions = _positions(coordinates, 2)
        if len(set(positions)) < 2:
            raise _Unfit("a line whose points all coincide", "at least two different points", "draw it again")
        return LineString(positions)
    if not isinstance(coordinates, list) or not coordinates:
        raise _Unfit("a Polygon without rings", "an outer ring", "draw it again")
    rings = []
    for number, ring in enumerate(coordinates, start=1):
        positions = _positions(ring, 4)
        if positions[0] != positions[-1]:
            raise _Unfit(
                f"ring {number} is open: it starts at {positions[0]} and ends at {positions[-1]}",
                "a ring whose last position repeats the first",
                "close the ring",
            )
        rings.append(positions)
    polygon = Polygon(rings[0], rings[1:])
    if not polygon.is_valid:
        raise _Unfit(
            f"the outline is not valid: {explain_validity(polygon)}",
            "a ring that does not cross or touch itself, with holes inside it",
            "redraw the outline there",
        )
    if polygon.area <= 0:
        raise _Unfit("the outline encloses nothing", "a ring around water", "draw it again")
    return polygon


def _draw(geometry: dict[str, Any], allowed: tuple[str, ...], file: str, where: str, notes: Notebook) -> Any:
    try:
        return _shape(geometry, allowed)
    except _Unfit as error:
        notes.add("error", file, where, *error.args)
    except (shapely.errors.ShapelyError, ValueError, TypeError, OverflowError) as error:
        notes.add("error", file, where, f"the geometry cannot be built ({error})", "a sound geometry", "draw it again")
    return None


def _hold(
    properties: dict[str, Any], file: str, where: str, notes: Notebook, low: float | None, high: float | None
) -> tuple[float | None, float | None]:
    own_low = notes.number(properties, "hold_low_m", file, where, quantity="hold_band_m")
    own_high = notes.number(properties, "hold_high_m", file, where, quantity="hold_band_m")
    low = own_low if math.isfinite(own_low) else low
    high = own_high if math.isfinite(own_high) else high
    against_low = HOLD_LOW_M if low is None else low
    against_high = HOLD_HIGH_M if high is None else high
    if against_low >= against_high and (math.isfinite(own_low) or math.isfinite(own_high)):
        notes.add(
            "error", file, where, f"the hold band is {against_low:g} to {against_high:g} m",
            "hold_low_m below hold_high_m", "correct the two heights above the bed",
        )  # fmt: skip
    return low, high


def parse_runs(text: str, notes: Notebook, river: dict[str, Any]) -> tuple[Run, ...]:
    """Runs of runs.geojson; `river` gives the defaults (gauges, slope, bed)."""
    runs = []
    gauges: tuple[str, ...] = river["gauges"]
    for where, properties, geometry in _features(text, RUNS_FILE, notes):
        polygon = _draw(geometry, ("Polygon",), RUNS_FILE, where, notes)
        gauge = notes.text(properties, "gauge", RUNS_FILE, where, default=gauges[0] if gauges else "")
        if gauge and gauge not in gauges:
            notes.add(
                "error", RUNS_FILE, where, f"gauge {short(gauge)} is not in river.toml",
                f"one of {', '.join(gauges) or 'the gauges of river.toml'}", "correct it or add it to gauges",
            )  # fmt: skip
        still = notes.flag(properties, "still", RUNS_FILE, where)
        flat = 0.0 if still else river["slope"]  # still water has no slope of its own to inherit
        slope = notes.number(properties, "slope", RUNS_FILE, where, default=flat, quantity="" if still else "slope")
        low, high = _hold(properties, RUNS_FILE, where, notes, HOLD_LOW_M, HOLD_HIGH_M)
        if polygon is None:
            continue
        runs.append(
            Run(
                id=properties["id"],
                name=notes.text(properties, "name", RUNS_FILE, where, default=properties["id"]),
                gauge=gauge,
                polygon=polygon,
                slope=slope,
                bed=bed_of(properties, RUNS_FILE, where, notes) or dict(river["bed"]),
                banks=notes.choice(properties, "banks", BANKS, RUNS_FILE, where, default="none"),
                waterline_at=notes.when(properties, "waterline_at", RUNS_FILE, where),
                flow_share=notes.number(properties, "flow_share", RUNS_FILE, where, quantity="flow_share"),
                area_ratio=notes.number(properties, "area_ratio", RUNS_FILE, where, 1.0, quantity="area_ratio"),
                lag_min=notes.number(properties, "lag_min", RUNS_FILE, where, quantity="lag_min"),
                still=still,
                hold_low_m=HOLD_LOW_M if low is None else low,
                hold_high_m=HOLD_HIGH_M if high is None else high,
                note=notes.text(properties, "note", RUNS_FILE, where),
                extra={key: value for key, value in properties.items() if key not in _RUN_KEYS},
            )
        )
    return tuple(runs)


def parse_spots(text: str, notes: Notebook) -> tuple[Spot, ...]:
    """Spots of spots.geojson: each a LineString of exactly two points, stance then landing."""
    spots = []
    for where, properties, geometry in _features(text, SPOTS_FILE, notes):
        line = _draw(geometry, ("LineString",), SPOTS_FILE, where, notes)
        if line is not None and len(line.coords) != 2:
            notes.add(
                "error", SPOTS_FILE, where, f"the line has {len(line.coords)} points",
                "exactly two points: stance, then landing", "draw each cast as its own spot",
            )  # fmt: skip
            line = None
        stance = notes.choice(properties, "stance", STANCES, SPOTS_FILE, where, needed=True)
        ratio = notes.number(properties, "boat_speed_ratio", SPOTS_FILE, where, quantity="boat_speed_ratio")
        if math.isfinite(ratio) and ratio > 0 and stance in ("wading", "bank", "anchored"):
            notes.add(
                "warning", SPOTS_FILE, where, f"boat_speed_ratio {ratio:g} with stance {stance}",
                "a boat speed only where the stance is drifting", "delete it or set the stance to drifting",
            )  # fmt: skip
        low, high = _hold(properties, SPOTS_FILE, where, notes, None, None)
        run = notes.text(properties, "run", SPOTS_FILE, where, needed=True)
        if line is None or not stance:
            continue
        start, end = line.coords
        spots.append(
            Spot(
                id=properties["id"],
                run=run,
                name=notes.text(properties, "name", SPOTS_FILE, where, default=properties["id"]),
                stance=stance,
                stance_lonlat=(float(start[0]), float(start[1])),
                landing_lonlat=(float(end[0]), float(end[1])),
                boat_speed_ratio=ratio,
                hold_low_m=low,
                hold_high_m=high,
                note=notes.text(properties, "note", SPOTS_FILE, where),
                extra={key: value for key, value in properties.items() if key not in _SPOT_KEYS},
            )
        )
    return tuple(spots)


def parse_places(text: str, notes: Notebook) -> tuple[Place, ...]:
    """Put-ins, take-outs, hazards and the flowline of places.geojson."""
    places = []
    flowlines = 0
    for where, properties, geometry in _features(text, PLACES_FILE, notes):
        kind = notes.choice(properties, "kind", PLACE_KINDS, PLACES_FILE, where, needed=True)
        if not kind:
            continue
        shape = _draw(geometry, _PLACE_SHAPES[kind], PLACES_FILE, where, notes)
        if shape is None:
            continue
        if kind == "flowline":
            flowlines += 1
            if flowlines > 1:
                notes.add(
                    "error", PLACES_FILE, where, "a second flowline", "one flowline, drawn downstream",
                    "join the two or delete one",
                )  # fmt: skip
            elif not shape.is_simple:
                notes.add(
                    "error", PLACES_FILE, where, "the flowline crosses itself", "a line that does not cross itself",
                    "redraw it downstream along the middle of the river",
                )  # fmt: skip
        hazard = notes.text(properties, "hazard_kind", PLACES_FILE, where)
        if kind == "hazard" and not hazard:
            notes.add(
                "warning", PLACES_FILE, where, "a hazard without hazard_kind", "what it is, such as low-head dam",
                "add hazard_kind",
            )  # fmt: skip
        places.append(
            Place(
                id=properties["id"],
                name=notes.text(properties, "name", PLACES_FILE, where, default=properties["id"]),
                kind=kind,
                geometry=shape,
                hazard_kind=hazard,
                note=notes.text(properties, "note", PLACES_FILE, where),
                extra={key: value for key, value in properties.items() if key not in _PLACE_KEYS},
            )
        )
    return tuple(places)
