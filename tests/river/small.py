"""A small river folder that is sound, for tests that spoil one thing in it."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

LON, LAT = -91.0, 43.5
DEG_M = 1 / 111_320.0

SETTINGS = """\
# kept comment
name = "Small River"
timezone = "America/Chicago"
gauges = ["usgs:01541000"]
slope = 0.0008
craft = "raft"

[party]
adults = 2
footing = "fair"
"""
TACKLE = """\
[[line]]
name = "sinking head"
code = "WF-7-S"
head_ft = 26
head_grains = 200
sink_ips = 3   # from the label

[[fly]]
name = "slim"
drag = "low"
weighting = "light"
"""


def at(east: float, north: float) -> list[float]:
    """Lon and lat of metres east and north of the middle; right to a percent, which is enough here."""
    return [round(LON + east * DEG_M / 0.7254, 8), round(LAT + north * DEG_M, 8)]


def feature(shape: str, coordinates: Any, **properties: Any) -> dict[str, Any]:
    """A GeoJSON feature."""
    return {"type": "Feature", "properties": properties, "geometry": {"type": shape, "coordinates": coordinates}}


def box(west: float, south: float, east: float, north: float) -> list[list[list[float]]]:
    """Coordinates of a rectangle in metres."""
    corners = [(west, south), (east, south), (east, north), (west, north), (west, south)]
    return [[at(x, y) for x, y in corners]]


def parts() -> dict[str, Any]:
    """Content of each file: GeoJSON as a list of features, the rest as text."""
    rows = ["lon,lat,depth_m,taken_at,method,crew"]
    for number in range(12):
        lon, lat = at(-80 + 14 * number, -12 + 2 * number)
        rows.append(f"{lon},{lat},{1 + number / 10:.2f},2026-05-09T09:{10 + number}:00-05:00,rod,two")
    return {
        "river.toml": SETTINGS,
        "runs.geojson": [
            feature("Polygon", box(-100, -25, 100, 25), id="long", name="Long Run", bed="gravel_cobble", colour="old"),
            feature("Polygon", box(150, -25, 300, 25), id="short", bed="cobble"),
        ],
        "spots.geojson": [
            feature("LineString", [at(-50, -10), at(-45, 5)], id="a", run="long", stance="wading", tag=["x", 1]),
            feature("LineString", [at(200, -10), at(210, 4)], id="b", run="short", stance="drifting"),
        ],
        "places.geojson": [
            feature("Point", at(-120, 0), id="in", kind="put_in"),
            feature("Point", at(330, 0), id="out", kind="take_out"),
            feature("LineString", [at(-150, 0), at(100, 1), at(340, 0)], id="flow", kind="flowline"),
        ],
        "soundings.csv": "\n".join(rows) + "\n" + ",".join(map(str, at(220, 0))) + ",1.8,2026-05-09T10:00-05:00,rod,\n",
        "tackle.toml": TACKLE,
        "log.csv": "spot,time,note\na,2026-05-09T10:30:00-05:00,quiet\n",
    }


def write(folder: Path, content: dict[str, Any] | None = None) -> Path:
    """Write a folder; None as content leaves a file out, bytes and text are written as they are."""
    for name, value in (content or parts()).items():
        if value is None:
            continue
        if isinstance(value, list):
            value = json.dumps({"type": "FeatureCollection", "features": copy.deepcopy(value)})  # noqa: PLW2901
        (folder / name).write_bytes(value if isinstance(value, bytes) else value.encode())
    return folder
