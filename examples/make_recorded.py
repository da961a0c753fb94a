"""Write the river folders of examples/recorded/: recorded replies of real stations, with invented runs beside them.

    python examples/make_recorded.py [FOLDER]

Only the station and its reply (data/gauges/) are real. Each run is made as in invented.py: a known bed, and at each
sounding the level that solves Manning's equation for the discharge of the recorded reply.
"""

from __future__ import annotations

import csv
import io
import json
import sys
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from invented import POSITION_SD_M, READING_SD_M, Reach, cast_to, feature, geojson, to_xy

from planner.files import write_whole
from planner.river.ground import LocalPlane
from planner.units import CFS

REPLIES = Path(__file__).parent.parent / "data" / "gauges"


@dataclass(frozen=True)
class Case:
    """One folder: the station, its reply, the invented run and the hours at which it was sounded."""

    station: str
    reply: str
    river: str
    lonlat: tuple[float, float]
    reach: Reach
    bed: tuple[str, object]
    visits: tuple[str, ...]
    casts: tuple[tuple, ...]
    seed: int


CASES = (
    Case(
        "01541000",
        "usgs_iv_01541000_01570500_2018-06_mixed_interval_empty_series.json",
        "Invented run at station 01541000",
        (-78.677, 40.897),
        Reach("elder-bend", "Elder Bend", 340, 480, 46, 2.05, 0.036, 0.00034, boulders=3, seed=11),
        ("n", 0.037),
        ("2018-06-01T09:30:00-04:00", "2018-06-01T18:00:00-04:00"),
        (
            # id, name, stance kind, s, n (None: where a wader stands), cast [m], angle [degrees], side
            ("elder-ledge", "Ledge", "anchored", 400.0, -6.0, 16.0, 80.0, 1),
            ("elder-bar", "Gravel bar", "wading", 430.0, None, 12.0, 60.0, 1),
        ),
        21,
    ),
    Case(
        "01542500",
        "usgs_iv_01542500_2019-01_ice_missing.json",
        "Invented run at station 01542500",
        (-78.109, 41.118),
        Reach("stone-eddy", "Stone Eddy", 330, 500, 70, 3.2, 0.038, 0.00029, seed=12),
        ("d84_mm", 130),
        ("2019-01-27T10:00:00-05:00", "2019-01-28T10:00:00-05:00"),
        (("eddy-line", "Eddy line", "anchored", 410.0, -2.0, 17.0, 85.0, 1),),
        22,
    ),
)


def recorded_discharge(case: Case, moment: datetime) -> float:
    """Discharge of the recorded reply at a moment [m³/s], between its readings."""
    reply = json.loads((REPLIES / case.reply).read_text(encoding="utf-8"))
    times, flows = [], []
    for series in reply["value"]["timeSeries"]:
        site = series["sourceInfo"]["siteCode"][0]["value"]
        if site == case.station and series["variable"]["variableCode"][0]["value"] == "00060":
            for block in series["values"]:
                for value in block["value"]:
                    if float(value["value"]) > -999999:
                        times.append(datetime.fromisoformat(value["dateTime"]).timestamp())
                        flows.append(float(value["value"]) * CFS)
    return float(np.interp(moment.timestamp(), times, flows))


def write_case(case: Case, folder: Path) -> None:
    """Write the generated files of one folder."""
    folder.mkdir(parents=True, exist_ok=True)
    plane, reach = LocalPlane(*case.lonlat), case.reach
    origin = [float(part) for part in to_xy((reach.s0 + reach.s1) / 2, 0.0)]

    def point(s: float, n: float, digits: int = 7) -> list[float]:
        x, y = to_xy(s, n)
        lon, lat = plane.to_lonlat(x - origin[0], y - origin[1])
        return [round(float(lon), digits), round(float(lat), digits)]

    visits = [datetime.fromisoformat(text) for text in case.visits]
    level = reach.level(recorded_discharge(case, visits[-1]))
    s = np.linspace(reach.s0, reach.s1, 17)
    right, left = reach.edges(s, level)
    ring = [point(a, b) for a, b in zip(s, right, strict=True)]
    ring += [point(a, b) for a, b in zip(s[::-1], left[::-1], strict=True)]
    own: dict[str, object] = {"id": reach.id, "name": reach.name, "gauge": f"usgs:{case.station}", "slope": reach.slope}
    own |= {case.bed[0]: case.bed[1], "banks": "both", "waterline_at": case.visits[-1]}
    write_whole(folder / "runs.geojson", geojson([feature("Polygon", [[*ring, ring[0]]], **own)]))

    spots = []
    for name, title, stance, at, given, length, angle, side in case.casts:
        n = float(reach.edges(at, level)[0][0]) if given is None else given
        while given is None and level - float(reach.bed_z(at, n)) < 0.5:
            n += 0.05
        line = [point(at, n), point(*cast_to(at, n, length, angle, side))]
        spots.append(feature("LineString", line, id=name, run=reach.id, name=title, stance=stance))
    write_whole(folder / "spots.geojson", geojson(spots))

    flowline = [point(float(a), 0.0) for a in np.arange(reach.s0 - 120, reach.s1 + 121, 20)]
    places = [
        feature("Point", point(reach.s0 - 100, 30), id="put-in", kind="put_in", name="Upper bar"),
        feature("Point", point(reach.s1 + 100, 30), id="take-out", kind="take_out", name="Lower bar"),
        feature("LineString", flowline, id="flowline", kind="flowline", name="Flowline"),
    ]
    write_whole(folder / "places.geojson", geojson(places))

    rng = np.random.default_rng(case.seed)
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["lon", "lat", "depth_ft", "taken_at", "method"])
    for visit in visits:
        moment, level = visit, reach.level(recorded_discharge(case, visit))
        for a in np.linspace(reach.s0 + 6, reach.s1 - 6, 5) + rng.uniform(-5, 5):
            right, left = reach.edges(float(a), level)
            for b in np.linspace(float(right[0]) + 2, float(left[0]) - 2, 6):
                moment += timedelta(seconds=60)
                depth = reach.level(recorded_discharge(case, moment)) - float(reach.bed_z(a, b))
                lon, lat = point(a + rng.normal(0, POSITION_SD_M), b + rng.normal(0, POSITION_SD_M), 6)
                read = (depth + rng.normal(0, READING_SD_M)) / 0.3048
                if read > 0.5:
                    table.writerow([f"{lon:.6f}", f"{lat:.6f}", f"{read:.1f}", moment.isoformat(), "rod"])
    write_whole(folder / "soundings.csv", out.getvalue())


if __name__ == "__main__":
    to = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "recorded"
    for each in CASES:
        write_case(each, to / each.station)
