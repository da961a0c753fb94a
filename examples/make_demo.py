"""Write the demo river folder: an invented river whose bed, levels and currents are known exactly.

    python examples/make_demo.py [FOLDER]

The channel is that of invented.py. The gauge stands elsewhere and has its own rating, so that the runs do not rise as
it does. The folder's truth.json says what was used. Everything is seeded: the same files come out each time.
"""

from __future__ import annotations

import csv
import io
import json
import sys
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from invented import LENGTH_M, POSITION_SD_M, READING_SD_M, Reach, cast_to, feature, geojson, to_xy

from planner.files import write_whole
from planner.river.ground import LocalPlane

ZONE = ZoneInfo("America/Chicago")
NOW = datetime(2026, 6, 12, 18, 0, tzinfo=ZONE)
TOMORROW = datetime(2026, 6, 13, 12, 0, tzinfo=ZONE)
START = NOW - timedelta(days=60)
FIRST_SURVEY = datetime(2026, 4, 25, 9, 10, tzinfo=ZONE)
SECOND_SURVEY = datetime(2026, 5, 30, 8, 40, tzinfo=ZONE)
PLANE = LocalPlane(-90.8000, 43.2000)
SEED = 20260612


def to_lonlat(s: np.ndarray | float, n: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
    """Lon and lat [degrees] of points s along and n left of the flowline."""
    return PLANE.to_lonlat(*to_xy(s, n))


REACHES = (
    Reach("long-pool", "The Long Pool", 330, 570, 58, 3.0, 0.038, 0.000076, seed=1),
    Reach("chute", "The Chute", 1030, 1200, 44, 1.75, 0.036, 0.00095, boulders=4, seed=2),
    Reach("pockets", "Pocket Water", 1650, 1850, 64, 2.1, 0.046, 0.00036, boulders=16, seed=3),
)
BEDS = {"long-pool": {"bed": "winding_pools"}, "chute": {"bed": "cobble"}, "pockets": {"bed": "cobble_boulder"}}


def slough_depth(s: np.ndarray | float, n: np.ndarray | float) -> np.ndarray:
    """Depth of the still slough [m] at the level of the demo's evening; s and n from its middle."""
    a, b = np.asarray(s) / 62.0, np.asarray(n) / 19.0
    return 2.4 * (1 - (a**2 + b**2)) + 0.08 * np.cos(np.asarray(s) / 7.0)


SLOUGH_S, SLOUGH_N = 2060.0, -68.0


# ---- the water -------------------------------------------------------------------------------------------------

RATING = {"c": 19.3, "e": 0.30, "b": 1.75}


def stage_of(discharge: np.ndarray | float) -> np.ndarray:
    """Stage at the gauge [m]: Q = c (h - e)^b solved for h."""
    return RATING["e"] + (np.asarray(discharge) / RATING["c"]) ** (1 / RATING["b"])


def smooth_discharge(moment: datetime) -> float:
    """Recession from the spring flow, with a small rise ten days before the demo's evening [m³/s]."""
    day = (moment - START).total_seconds() / 86400
    rise = 47.0 * (1 - np.exp(-(max(day - 49.6, 0) ** 2) / 0.5)) * np.exp(-max(day - 50.2, 0) / 12.0)
    return float(20.0 + 95.0 * np.exp(-day / 17.0) + rise)


def gauge_series() -> tuple[list[datetime], np.ndarray, np.ndarray]:
    """Quarter hours, discharge [m³/s] and water temperature [°C], with a little seeded unrest."""
    rng = np.random.default_rng(SEED)
    times = [START + timedelta(minutes=15 * step) for step in range(60 * 96 + 1)]
    unrest = np.zeros(len(times))
    for step in range(1, len(times)):
        unrest[step] = 0.98 * unrest[step - 1] + rng.normal(0, 0.0008)
    discharge = np.array([smooth_discharge(moment) for moment in times]) * np.exp(unrest)
    hours = np.array([(moment - START).total_seconds() / 3600 for moment in times])
    clock = np.array([moment.hour + moment.minute / 60 for moment in times])
    temperature = (
        9.0
        + 10.5 * hours / hours[-1]
        + 1.3 * np.cos(2 * np.pi * (clock - 17.0) / 24)
        + 0.7 * np.sin(2 * np.pi * hours / 24 / 9.3)
    )
    return times, discharge, temperature


TIMES, DISCHARGE, TEMPERATURE = gauge_series()


def discharge_at(moment: datetime) -> float:
    """Discharge at a moment within the record [m³/s]."""
    seconds = (moment - START).total_seconds()
    return float(np.interp(seconds / 900.0, np.arange(len(TIMES)), DISCHARGE))


# ---- what a person would have written down ---------------------------------------------------------------------

# id, run, name, stance kind, stance (s, n; n None: at the left water's edge), cast [m], angle from straight downstream
# [degrees], to which side, boat speed ratio
CASTS = (
    ("pool-ledge", "long-pool", "Ledge below the elm", "anchored", (372.0, -10.0), 17.0, 75.0, 1, None),
    ("pool-cutbank", "long-pool", "Cut bank", "bank", (470.0, None), 15.5, 55.0, -1, None),
    ("chute-seam", "chute", "Far seam", "drifting", (1085.0, -4.0), 13.0, 100.0, 1, 0.8),
    ("chute-edge", "chute", "Gravel edge", "wading", (1120.0, None), 11.0, 62.0, -1, None),
    ("pocket-rocks", "pockets", "Twin rocks", "wading", (1700.0, None), 12.5, 118.0, -1, None),
    ("pocket-slot", "pockets", "Slot along the rocks", "anchored", (1760.0, 4.0), 18.5, 40.0, -1, None),
)


def spot_geometry(cast: tuple, discharge: float) -> dict:
    """Stance and landing of a cast in channel coordinates, and the true water at both."""
    name, run_id, _, stance, (s, n), length, angle, side, _ = cast
    reach = next(reach for reach in REACHES if reach.id == run_id)
    level = reach.level(discharge)
    if n is None:
        edge = float(reach.edges(s, level)[1][0])
        n = edge + 0.6 if stance == "bank" else edge
        while stance == "wading" and level - float(reach.bed_z(s, n)) < 0.55:
            n -= 0.05
    landing = cast_to(s, n, length, angle, side)
    depth = level - float(reach.bed_z(*landing))
    return {
        "id": name,
        "run": run_id,
        "stance_sn": [s, float(n)],
        "landing_sn": [float(landing[0]), float(landing[1])],
        "cast_m": length,
        "angle_deg": angle,
        "depth_m": depth,
        "velocity_m_s": reach.current(*landing, discharge),
        "stance_depth_m": level - float(reach.bed_z(s, n)),
        "stance_velocity_m_s": reach.current(s, n, discharge),
    }


def _point(s: float, n: float) -> list[float]:
    lon, lat = to_lonlat(s, n)
    return [round(float(lon), 7), round(float(lat), 7)]


def runs_file() -> str:
    """Outlines are the water's edge of the first survey."""
    features = []
    for reach in REACHES:
        s = np.linspace(reach.s0, reach.s1, 25)
        right, left = reach.edges(s, reach.level(discharge_at(FIRST_SURVEY)))
        ring = [_point(a, b) for a, b in zip(s, right, strict=True)]
        ring += [_point(a, b) for a, b in zip(s[::-1], left[::-1], strict=True)]
        own: dict[str, object] = {"id": reach.id, "name": reach.name, "gauge": "file:gauge.csv", "slope": reach.slope}
        own |= BEDS[reach.id]
        own |= {"banks": "both", "waterline_at": FIRST_SURVEY.isoformat()}
        features.append(feature("Polygon", [[*ring, ring[0]]], **own))
    rise = float(stage_of(discharge_at(FIRST_SURVEY)) - stage_of(discharge_at(NOW)))
    ring = []
    for turn in np.linspace(0, 2 * np.pi, 33)[:-1]:
        reach_out = np.arange(0.8, 1.4, 0.001)
        along, across = 62 * reach_out * np.cos(turn), 19 * reach_out * np.sin(turn)
        edge = int(np.argmax(slough_depth(along, across) + rise <= 0))
        ring.append(_point(SLOUGH_S + float(along[edge]), SLOUGH_N + float(across[edge])))
    features.append(
        feature(
            "Polygon", [[*ring, ring[0]]], id="slough", name="Heron Slough", gauge="file:gauge.csv", still=True,
            banks="both", waterline_at=FIRST_SURVEY.isoformat(),
        )
    )  # fmt: skip
    return geojson(features)


def spots_file(discharge: float) -> str:
    """Casts of the demo."""
    features = []
    for cast in CASTS:
        place = spot_geometry(cast, discharge)
        own: dict[str, object] = {"id": cast[0], "run": cast[1], "name": cast[2], "stance": cast[3]}
        own |= {"boat_speed_ratio": cast[8]} if cast[8] is not None else {}
        features.append(feature("LineString", [_point(*place["stance_sn"]), _point(*place["landing_sn"])], **own))
    line = [_point(SLOUGH_S - 30, SLOUGH_N - 3), _point(SLOUGH_S - 13, SLOUGH_N + 2)]
    features.append(feature("LineString", line, id="slough-drop", run="slough", name="Drop-off", stance="anchored"))
    return geojson(features)


def places_file() -> str:
    """Put-in, take-out, hazard and flowline."""
    line = [_point(float(s), 0.0) for s in np.arange(0, LENGTH_M + 1, 30)]
    return geojson(
        [
            feature("Point", _point(40, 33), id="put-in", kind="put_in", name="Sandbar put-in"),
            feature("Point", _point(2330, -33), id="take-out", kind="take_out", name="Old ferry take-out"),
            feature(
                "Point", _point(1395, 6), id="pier", kind="hazard", hazard_kind="bridge pier", name="Old bridge pier"
            ),
            feature("LineString", line, id="flowline", kind="flowline", name="Flowline"),
        ]
    )  # fmt: skip


def soundings_file() -> str:
    """Cross lines by lead line on the first day, long lines by sonar on the second."""
    rng = np.random.default_rng(SEED + 1)
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["lon", "lat", "depth_m", "taken_at", "method", "draft_m", "note", "position_sd_m"])

    def write(s: float, n: float, depth: float, moment: datetime, draft: float, method: str) -> None:
        lon, lat = to_lonlat(s + rng.normal(0, POSITION_SD_M), n + rng.normal(0, POSITION_SD_M))
        read = depth + rng.normal(0, READING_SD_M) - draft
        if read < 0.15:
            return
        moment = moment.replace(microsecond=0)
        sure = "0.5" if method == "lead line" else ""  # along a taut line between known ends
        place, cells = (f"{lon:.6f}", f"{lat:.6f}"), (moment.isoformat(), method, f"{draft:.1f}", "", sure)
        table.writerow([*place, f"{read:.2f}", *cells])

    for day, draft, method in ((FIRST_SURVEY, 0.0, "lead line"), (SECOND_SURVEY, 0.2, "sonar")):
        moment = day
        for reach in REACHES:
            level = reach.level(discharge_at(moment))
            if method == "lead line":
                lines = np.linspace(reach.s0 + 5, reach.s1 - 5, 9)
                right, left = reach.edges(lines, level)
                points = [
                    (s, n) for s, r, e in zip(lines, right, left, strict=True) for n in np.linspace(r + 1.5, e - 1.5, 9)
                ]
            else:
                points = [
                    (s, u * reach.width / 2)
                    for u in (-0.6, -0.25, 0.1, 0.45)
                    for s in np.linspace(reach.s0 + 8, reach.s1 - 8, 11)
                ]
            for s, n in points:
                moment += timedelta(seconds=float(rng.uniform(40, 75)))
                depth = reach.level(discharge_at(moment)) - float(reach.bed_z(s, n))
                write(s, n, depth, moment, draft, method)
            moment += timedelta(minutes=25)
        for s, n in ((a, b) for a in np.linspace(-54, 54, 8) for b in np.linspace(-15, 15, 5)):
            moment += timedelta(seconds=50)
            rise = float(stage_of(discharge_at(moment)) - stage_of(discharge_at(NOW)))
            write(SLOUGH_S + s, SLOUGH_N + n, float(slough_depth(s, n)) + rise, moment, draft, method)
    return out.getvalue()


def gauge_file() -> str:
    """The invented gauge: 60 days of quarter hours."""
    lines = ["time,stage_m,discharge_m3s,temperature_c,qualifier"]
    for moment, flow, warmth in zip(TIMES, DISCHARGE, TEMPERATURE, strict=True):
        lines.append(f"{moment.isoformat()},{float(stage_of(flow)):.3f},{flow:.2f},{warmth:.1f},")
    return "\n".join(lines) + "\n"


def truth_file() -> str:
    """What the folder was made from, for tests."""
    rng = np.random.default_rng(SEED + 2)
    flow = smooth_discharge(TOMORROW)
    runs = {}
    for reach in REACHES:
        level = reach.level(flow)
        parts = reach.hydraulics(level)
        s = rng.uniform(reach.s0 + 6, reach.s1 - 6, 120)
        right, left = reach.edges(s, level)
        n = right + (left - right) * rng.uniform(0.1, 0.9, 120)
        lon, lat = to_lonlat(s, n)
        runs[reach.id] = {
            "slope": reach.slope,
            "n": reach.manning_n,
            "level_m": {f"{q:g}": round(reach.level(q), 4) for q in (15, 25, 35, 45, 60, 80, 100, 130)},
            "level_first_survey_m": round(reach.level(discharge_at(FIRST_SURVEY)), 4),
            "level_second_survey_m": round(reach.level(discharge_at(SECOND_SURVEY)), 4),
            "level_tomorrow_m": round(level, 4),
            "area_m2": round(float(parts["area"].mean()), 2),
            "hydraulic_radius_m": round(float(np.mean(parts["area"] / parts["perimeter"])), 3),
            "width_m": round(float(parts["width"].mean()), 1),
            "velocity_m_s": round(flow / float(parts["area"].mean()), 3),
            "bed": [
                [round(float(a), 7), round(float(b), 7), round(float(z), 3)]
                for a, b, z in zip(lon, lat, reach.bed_z(s, n), strict=True)
            ],
        }
    spots = [spot_geometry(cast, flow) for cast in CASTS]
    truth = {
        "about": "What the invented river was made from; bed is lon, lat, height above the run's datum in metres.",
        "now": NOW.isoformat(),
        "tomorrow": TOMORROW.isoformat(),
        "rating": RATING,
        "discharge_now_m3s": round(discharge_at(NOW), 2),
        "stage_now_m": round(float(stage_of(discharge_at(NOW))), 3),
        "discharge_tomorrow_m3s": round(flow, 2),
        "stage_tomorrow_m": round(float(stage_of(flow)), 3),
        "stage_first_survey_m": round(float(stage_of(discharge_at(FIRST_SURVEY))), 3),
        "stage_second_survey_m": round(float(stage_of(discharge_at(SECOND_SURVEY))), 3),
        "runs": runs,
        "spots": {
            spot["id"]: {
                key: round(value, 3) if isinstance(value, float) else value
                for key, value in spot.items()
                if key not in ("id", "stance_sn", "landing_sn")
            }
            for spot in spots
        },
    }
    return json.dumps(truth, indent=1, ensure_ascii=False) + "\n"


def write_demo(folder: Path) -> None:
    """Write every generated file of the demo folder; river.toml, tackle.toml and log.csv are kept by hand."""
    folder.mkdir(parents=True, exist_ok=True)
    flow = smooth_discharge(TOMORROW)
    for name, text in (
        ("runs.geojson", runs_file()),
        ("spots.geojson", spots_file(flow)),
        ("places.geojson", places_file()),
        ("soundings.csv", soundings_file()),
        ("gauge.csv", gauge_file()),
        ("truth.json", truth_file()),
    ):
        write_whole(folder / name, text)


if __name__ == "__main__":
    write_demo(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "demo")
