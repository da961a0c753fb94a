"""Check the files of a river folder against each other and against what a river can be."""

from __future__ import annotations

import math
import re
from functools import cache
from importlib.resources import files
from itertools import combinations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from planner import tables
from planner.river.depths import LOG_FILE, SOUNDINGS_FILE
from planner.river.ground import LocalPlane
from planner.river.records import River, Run, Spot
from planner.river.settings import SETTINGS_FILE
from planner.river.shapes import PLACES_FILE, RUNS_FILE, SPOTS_FILE
from planner.river.values import Notebook, limits
from planner.units import FOOT

__all__ = ["check_together", "on_plane", "zone_town"]

EARTH_KM = 6371.0


def on_plane(geometry: BaseGeometry, plane: LocalPlane) -> BaseGeometry:
    """A lon, lat geometry in local metres east and north."""
    return shapely.transform(geometry, lambda xy: np.column_stack(plane.to_xy(xy[:, 0], xy[:, 1])))


@cache
def zone_town(timezone: str) -> tuple[float, float] | None:
    """Lon and lat [degrees] of a time zone's principal town in the zone database; None for zones without one."""
    try:
        text = (files("tzdata") / "zoneinfo" / "zone.tab").read_text(encoding="utf-8")
    except (OSError, ModuleNotFoundError):  # a system without the package: the check is left out
        return None
    for row in text.splitlines():
        cells = row.split("\t")
        if not row.startswith("#") and len(cells) > 2 and cells[2] == timezone:
            found = re.match(r"([+-]\d{4,6})([+-]\d{5,7})$", cells[1])
            if found:
                return _arc(found.group(2), 3), _arc(found.group(1), 2)
    return None


def _arc(text: str, whole: int) -> float:
    digits = text[1:]
    value = float(digits[:whole]) + float(digits[whole : whole + 2]) / 60
    value += float(digits[whole + 2 :]) / 3600 if len(digits) > whole + 2 else 0.0
    return -value if text[0] == "-" else value


def _km(lon1: float, lat1: float, lon2: float, lat2: float) -> float:
    """Great-circle distance [km], by haversine."""
    a, b = math.radians(lat1), math.radians(lat2)
    h = math.sin((b - a) / 2) ** 2 + math.cos(a) * math.cos(b) * math.sin(math.radians(lon2 - lon1) / 2) ** 2
    return 2 * EARTH_KM * math.asin(min(1.0, math.sqrt(h)))


def check_together(river: River, notes: Notebook) -> None:
    """Note what does not fit between runs, spots, places, soundings, tackle and log."""
    _check_positions(river, notes)
    points = _anchor(river)
    if points is None:
        return
    plane = LocalPlane(*points)
    outlines = {run.id: on_plane(run.polygon, plane) for run in river.runs}
    _check_runs(river, outlines, notes)
    _check_spots(river, outlines, plane, notes)
    _check_places(river, outlines, plane, notes)
    _check_soundings(river, outlines, plane, notes)
    _check_log(river, notes)


def _anchor(river: River) -> tuple[float, float] | None:
    """The middle of the runs, else of the spots or places."""
    for geometries in ([run.polygon for run in river.runs], [place.geometry for place in river.places]):
        if geometries:
            west, south, east, north = shapely.total_bounds(geometries)
            return float((west + east) / 2), float((south + north) / 2)
    if river.spots:
        return river.spots[0].landing_lonlat
    return None


def _check_positions(river: River, notes: Notebook) -> None:
    """Swapped lon and lat, and parts of the river far from the rest."""
    points: list[tuple[str, str, float, float]] = []
    for run in river.runs:
        middle = run.polygon.centroid
        points.append((RUNS_FILE, run.id, middle.x, middle.y))
    for spot in river.spots:
        points.append((SPOTS_FILE, spot.id, *spot.landing_lonlat))
    for place in river.places:
        middle = place.geometry.centroid
        points.append((PLACES_FILE, place.id, middle.x, middle.y))
    if len(river.soundings):
        middle_lon, middle_lat = river.soundings[["lon", "lat"]].median()
        points.append((SOUNDINGS_FILE, "the middle of the soundings", float(middle_lon), float(middle_lat)))
    if not points:
        return
    town = zone_town(river.timezone)
    if town is not None:
        far = limits("zone_distance_km").warn_high
        for file, name, lon, lat in points:
            away = _km(lon, lat, *town)
            swapped = _km(lat, lon, *town) if abs(lat) <= 180 and abs(lon) <= 90 else math.inf
            if away > far and swapped < far / 2:
                notes.add(
                    "error", file, name,
                    f"position {lon:.5g}, {lat:.5g} lies {away:,.0f} km from the principal town of {river.timezone}, "
                    "with lon and lat swapped it would be near",
                    "lon first, then lat", "swap the two numbers, or correct the timezone", kind="swapped",
                )  # fmt: skip
            elif away > far:
                notes.add(
                    "warning", file, name,
                    f"position {lon:.5g}, {lat:.5g} lies {away:,.0f} km from the principal town of {river.timezone}",
                    "a river in its time zone", "check the coordinates and the timezone", kind="zone",
                )  # fmt: skip
    _check_spread(points, notes)


def _check_spread(points: list[tuple[str, str, float, float]], notes: Notebook) -> None:
    lon0 = float(np.median([point[2] for point in points]))
    lat0 = float(np.median([point[3] for point in points]))
    reference = next((point for point in points if point[0] == RUNS_FILE), ("", "", lon0, lat0))
    bound = limits("feature_spread_km")
    for file, name, lon, lat in points:
        away = _km(lon, lat, reference[2], reference[3])
        if not away > bound.warn_high:
            continue
        swapped = _km(lat, lon, reference[2], reference[3]) if abs(lon) <= 90 else math.inf
        if swapped < bound.warn_high:
            notes.add(
                "error", file, name,
                f"position {lon:.5g}, {lat:.5g} lies {away:,.0f} km from the first run, swapped it would be near",
                "lon first, then lat", "swap the two numbers", kind="swapped from the run",
            )  # fmt: skip
        else:
            notes.add(
                "error" if away > bound.error_high else "warning", file, name,
                f"position {lon:.5g}, {lat:.5g} lies {away:,.0f} km from the first run",
                f"one river: parts within {bound.warn_high:g} km", "correct the position or keep it in another folder",
                kind="far",
            )  # fmt: skip


def _check_runs(river: River, outlines: dict[str, BaseGeometry], notes: Notebook) -> None:
    classes = {row["class"] for row in tables.rows("roughness")}
    if river.bed.get("class") and river.bed["class"] not in classes:
        _unknown_class(river.bed["class"], classes, SETTINGS_FILE, "bed", notes)
    for run in river.runs:
        where = f"run {run.id}"
        notes.plausible(outlines[run.id].area, "run_area_m2", "area", RUNS_FILE, where)
        if "class" in run.bed and run.bed != river.bed and run.bed["class"] not in classes:
            _unknown_class(run.bed["class"], classes, RUNS_FILE, where, notes)
        if not run.still and math.isnan(run.slope):
            notes.add(
                "note", RUNS_FILE, where, "no slope is given, neither here nor in river.toml",
                "the slope of the water surface for a current", "measure it over the run or read it from a map",
                kind="slope",
            )  # fmt: skip
        if not run.still and not run.bed:
            notes.add(
                "note", RUNS_FILE, where, "no bed is given, neither here nor in river.toml",
                "a bed class, n or d84_mm for a current", "name the class that fits the bed", kind="bed",
            )  # fmt: skip
        if run.banks == "none" and not run.still:
            notes.add(
                "note", RUNS_FILE, where, "banks is none: no edge of the outline counts as the water's edge",
                "banks both, left or right where the outline follows the water's edge", "set banks", kind="banks",
            )  # fmt: skip
        elif run.banks != "none" and run.waterline_at is None:
            notes.add(
                "warning", RUNS_FILE, where, f"banks is {run.banks} but waterline_at is missing",
                "the moment at which the water stood at the outline", "add waterline_at with offset", kind="waterline",
            )  # fmt: skip
        if not run.gauge:
            notes.add(
                "warning", RUNS_FILE, where, "the run has no gauge", "a gauge for the level of tomorrow",
                "add one to gauges in river.toml", kind="gauge",
            )  # fmt: skip
    bound = limits("run_overlap_share")
    for one, two in combinations(river.runs, 2):
        a, b = outlines[one.id], outlines[two.id]
        if not a.intersects(b):
            continue
        shared = a.intersection(b).area
        share = shared / min(a.area, b.area)
        if share > bound.warn_high:
            notes.add(
                "error" if share > bound.error_high else "warning", RUNS_FILE, f"{one.id} and {two.id}",
                f"runs {one.id} and {two.id} cross: {shared:,.0f} m² lie in both", "runs that do not overlap",
                "redraw one of them", kind="crossing",
            )  # fmt: skip


def _unknown_class(name: str, classes: set[str], file: str, where: str, notes: Notebook) -> None:
    notes.add(
        "error", file, where, f"bed class {name!r} is not in the roughness table",
        f"one of {', '.join(sorted(classes))}",
        "choose the class that fits, or give n or d84_mm", kind="class",
    )  # fmt: skip


def _check_spots(river: River, outlines: dict[str, BaseGeometry], plane: LocalPlane, notes: Notebook) -> None:
    if not river.spots:
        return
    known = {run.id: run for run in river.runs}
    # all at once: two hundred spots are checked with each edit of the desk
    ends = np.array([(spot.stance_lonlat, spot.landing_lonlat) for spot in river.spots])
    xs, ys = plane.to_xy(ends[:, :, 0], ends[:, :, 1])
    points = shapely.points(xs, ys)
    away = np.full(xs.shape, np.nan)
    for run_id, outline in outlines.items():
        own = np.array([spot.run == run_id for spot in river.spots])
        away[own] = shapely.distance(_ready(outline), points[own])
    for number, spot in enumerate(river.spots):
        where = f"spot {spot.id}"
        length = float(np.hypot(xs[number, 1] - xs[number, 0], ys[number, 1] - ys[number, 0]))
        notes.plausible(length, "cast_m", "the cast's length", SPOTS_FILE, where, _cast_hint(length))
        if spot.run not in known:
            notes.add(
                "error", SPOTS_FILE, where, f"run {spot.run!r} is not in runs.geojson",
                f"one of {', '.join(known) or 'the runs of runs.geojson'}", "correct the spot's run", kind="run",
            )  # fmt: skip
            continue
        _check_spot_place(spot, known[spot.run], away[number], where, notes)


def _cast_hint(length: float) -> str:
    high = limits("cast_m").warn_high
    if length > high:
        return f"ordinary casts are about 70 ft ({high:.1f} m): move the stance nearer, or keep it if you reach it"
    return "draw the spot from the rod tip to where the fly lands"


def _check_spot_place(spot: Spot, run: Run, away_m: np.ndarray, where: str, notes: Notebook) -> None:
    bound = limits("spot_outside_m")
    ends = [("stance", 0, "warning"), ("landing", 1, "error")]
    if spot.stance == "bank":
        ends = ends[1:]
    for name, end, level in ends:
        away = float(away_m[end])
        if away > bound.warn_high:
            notes.add(
                level if away > bound.error_high else "warning", SPOTS_FILE, where,
                f"the {name} lies {away:.0f} m outside run {run.id}", f"a {name} inside its run",
                "move it, widen the run, or name the run in which it lies", kind=f"outside {name}",
            )  # fmt: skip
    low = run.hold_low_m if spot.hold_low_m is None else spot.hold_low_m
    high = run.hold_high_m if spot.hold_high_m is None else spot.hold_high_m
    if low >= high:
        notes.add(
            "error", SPOTS_FILE, where, f"with the run's, the hold band is {low:g} to {high:g} m",
            "hold_low_m below hold_high_m", "give both heights of the spot", kind="band",
        )  # fmt: skip


def _check_places(river: River, outlines: dict[str, BaseGeometry], plane: LocalPlane, notes: Notebook) -> None:
    if not river.places:
        return
    for kind, what in (("put_in", "put-in"), ("take_out", "take-out")):
        if not river.places_of(kind):
            notes.add("note", PLACES_FILE, "", f"no {what}", f"a {what} for the float's clock", "add it as a Point")
    flowline = river.flowline()
    if flowline is None:
        notes.add(
            "warning", PLACES_FILE, "", "no flowline", "a LineString drawn downstream along the river",
            "draw it; until then the direction of flow is taken from the run's outline", kind="flowline",
        )  # fmt: skip
        return
    line = on_plane(flowline.geometry, plane)
    for run in river.runs:
        if not run.still and not line.intersects(outlines[run.id]):
            notes.add(
                "warning", PLACES_FILE, flowline.id, f"the flowline does not pass run {run.id}",
                "a flowline through every run that flows", "draw it on through the run", kind="passes",
            )  # fmt: skip
    along = {place.kind: line.project(on_plane(place.geometry, plane)) for place in river.places_of("put_in")}
    ends = [line.project(on_plane(place.geometry, plane)) for place in river.places_of("take_out")]
    if along and ends and max(ends) < along["put_in"]:
        notes.add(
            "error", PLACES_FILE, flowline.id, "along the flowline every take-out comes before the put-in",
            "a flowline drawn downstream", "reverse the flowline, or swap put-in and take-out", kind="upstream",
        )  # fmt: skip


def _check_soundings(river: River, outlines: dict[str, BaseGeometry], plane: LocalPlane, notes: Notebook) -> None:
    table = river.soundings
    if not len(table):
        return
    x, y = plane.to_xy(table["lon"], table["lat"])
    depth, lines = table["depth_m"].to_numpy(), table["line"].to_numpy()
    inside = {name: shapely.contains_xy(_ready(shape), x, y) for name, shape in outlines.items()}
    still = np.zeros(len(table), dtype=bool)
    anywhere = np.zeros(len(table), dtype=bool)
    for run in river.runs:
        anywhere |= inside[run.id]
        still |= inside[run.id] & run.still
        if not inside[run.id].any():
            notes.add(
                "warning", SOUNDINGS_FILE, run.id, f"no sounding lies in run {run.id}", "soundings in each run",
                "sound it; until then it has no depth and no advice", kind="none in run",
            )  # fmt: skip
    for quantity, mask in (("depth_still_m", still), ("depth_m", ~still)):
        bound = limits(quantity)
        for position in np.flatnonzero(mask & ((depth > bound.error_high) | (depth > bound.warn_high))):
            value = float(depth[position])
            notes.plausible(
                value, quantity, "depth", SOUNDINGS_FILE, f"line {lines[position]}",
                f"feet taken for metres? {value:g} ft would be {value * FOOT:.1f} m: name the column depth_ft"
                if quantity == "depth_m" else "",
            )  # fmt: skip
    if outlines:
        strays = shapely.points(x[~anywhere], y[~anywhere])
        away = shapely.distance(shapely.union_all(list(outlines.values())), strays)
        lost = int((away > limits("sounding_outside_m").warn_high).sum())
        if lost:
            notes.add(
                "warning", SOUNDINGS_FILE, "", f"{lost} of {len(table)} soundings lie more than 50 m from every run",
                "soundings in or near a run", "check their coordinates, or draw a run there", kind="far soundings",
            )  # fmt: skip
    doubled = int(table.duplicated(subset=["lon", "lat", "depth_m", "taken_at", "draft_m"]).sum())
    if doubled:
        notes.add(
            "warning", SOUNDINGS_FILE, "", f"{doubled} soundings stand twice", "each sounding once", "delete the copies"
        )


def _ready(shape: BaseGeometry) -> BaseGeometry:
    shapely.prepare(shape)
    return shape


def _check_log(river: River, notes: Notebook) -> None:
    if not len(river.log) or "spot" not in river.log:
        return
    known = {spot.id for spot in river.spots}
    for name, line in zip(river.log["spot"], river.log["file_line"], strict=True):
        if name.strip() and name.strip() not in known:
            notes.add(
                "warning", LOG_FILE, f"line {line}", f"spot {name!r} is not in spots.geojson", "the id of a spot",
                "correct it, or keep the row as history", kind="spot",
            )  # fmt: skip
