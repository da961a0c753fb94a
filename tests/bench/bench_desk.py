"""The desk at 10,000 soundings and 200 spots: from an edit to its answer, as the page asks for it over the socket."""

from __future__ import annotations

import csv
import json
import os
import random
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parent.parent.parent
sys.path.insert(0, str(ROOT))

from tests.desk.desks import NOW, Served, demo_folder, served  # noqa: E402

SOUNDINGS, SPOTS = 10_000, 200


def large_river(to: Path) -> Path:
    """The demo river sounded 10,000 times and with 200 spots, drawn at chance from what the demo's bed says."""
    from planner.plan.ask import request
    from planner.plan.readings import read_gauges
    from planner.plan.waters import run_waters
    from planner.river import read_river

    folder = demo_folder(to)
    river = read_river(folder)
    waters = run_waters(river, read_gauges(river, request(river.timezone, now=NOW)))
    chance = np.random.default_rng(10)
    rows: list[list[Any]] = []
    spots: list[dict[str, Any]] = []
    for run in river.runs:
        flow = waters[run.id].flow
        dated = river.soundings[river.soundings["taken_at"].notna()]
        state = flow.at(flow.discharge_ref, flow.stage_ref)
        when = dated["taken_at"].iloc[0].isoformat()
        west, south, east, north = run.polygon.bounds
        taken = drawn = 0
        while taken < SOUNDINGS // len(river.runs) or drawn < SPOTS // len(river.runs):
            lon, lat = chance.uniform(west, east, 4000), chance.uniform(south, north, 4000)
            here = flow.local(state, lon, lat)
            good = here["inside"] & (here["depth_m"] > 0.2)
            for x, y, depth in zip(lon[good], lat[good], here["depth_m"][good], strict=True):
                if taken < SOUNDINGS // len(river.runs):
                    noisy = max(depth + chance.normal(0, 0.05), 0.05)
                    rows.append([f"{x:.7f}", f"{y:.7f}", f"{noisy:.3f}", when, f"{flow.stage_ref:.3f}"])
                    taken += 1
                elif drawn < SPOTS // len(river.runs) and depth > 0.6:
                    angle, cast = chance.uniform(0, 2 * np.pi), chance.uniform(10, 18)
                    dx, dy = cast * np.sin(angle) / 81_200, cast * np.cos(angle) / 111_200
                    spots.append({
                        "type": "Feature",
                        "properties": {"id": f"s{len(spots)}", "run": run.id, "name": f"Spot {len(spots)}",
                                       "stance": "anchored"},
                        "geometry": {"type": "LineString", "coordinates": [[x + dx, y + dy], [x, y]]},
                    })  # fmt: skip
                    drawn += 1
    with (folder / "soundings.csv").open("w", encoding="utf-8", newline="") as stream:
        table = csv.writer(stream, lineterminator="\n")
        table.writerow(["lon", "lat", "depth_m", "taken_at", "stage_m"])
        table.writerows(rows)
    (folder / "spots.geojson").write_text(
        json.dumps({"type": "FeatureCollection", "features": spots}), encoding="utf-8"
    )
    return folder


def _moved(feature: dict[str, Any], chance: random.Random, metres: float) -> dict[str, Any]:
    """The same spot with its landing dragged by up to so many metres."""
    stance, landing = feature["geometry"]["coordinates"]
    there = [
        landing[0] + chance.uniform(-metres, metres) / 81_200,
        landing[1] + chance.uniform(-metres, metres) / 111_200,
    ]
    return {**feature, "geometry": {"type": "LineString", "coordinates": [stance, there]}}


def _line(name: str, seconds: list[float]) -> None:
    ordered = sorted(seconds)
    high = ordered[min(int(0.9 * len(ordered)), len(ordered) - 1)]
    print(
        f"desk, {name:<52} median {1e3 * statistics.median(ordered):5.0f} ms, 9 of 10 within {1e3 * high:5.0f} ms, "
        f"longest {1e3 * ordered[-1]:5.0f} ms (n {len(ordered)})"
    )


def _cpu_s(desk: Served) -> float:
    """Processor time that the desk's process has used [s]; NaN where the system does not tell."""
    try:
        fields = Path(f"/proc/{desk.process.pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return float("nan")
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _edits(desk: Served, features: list[dict[str, Any]], version: str, metres: float, chance: random.Random) -> str:
    """Drag spots, save each and ask for its answer; prints what it took."""
    saves, answers, both, used = [], [], [], []
    for feature in features:
        moved = _moved(feature, chance, metres)
        cpu = _cpu_s(desk)
        began = time.perf_counter()
        status, saved = desk.ask("PUT", "/api/shapes/spots", {"version": version, "set": [moved], "said": "Moved"})
        assert status == 200, saved
        version = saved["version"]
        between = time.perf_counter()
        status, answer = desk.ask("POST", "/api/plan/spot", {"spot": moved})
        assert status == 200, answer
        ended = time.perf_counter()
        saves.append(between - began)
        answers.append(ended - between)
        both.append(ended - began)
        used.append(_cpu_s(desk) - cpu)
        time.sleep(0.05)
    _line(f"a spot dragged up to {metres:g} m: saved", saves)
    _line(f"a spot dragged up to {metres:g} m: its answer", answers)
    _line(f"a spot dragged up to {metres:g} m: edit to answer", both)
    _line(f"a spot dragged up to {metres:g} m: processor time of it", used)
    return version


def main() -> None:
    """Print one line for each figure, with the load that it was measured under."""
    os.environ.setdefault("PLUMBRUN_CACHE", tempfile.mkdtemp())
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    with tempfile.TemporaryDirectory() as place:
        folder = large_river(Path(place) / "river")
        with served(folder) as desk:
            began = time.perf_counter()
            _, river = desk.ask("GET", "/api/river", timeout=120)
            print(f"desk, first look at the folder: {time.perf_counter() - began:.2f} s")
            began = time.perf_counter()
            status, first = desk.ask(
                "POST", "/api/plan/spot", {"spot": river["spots"]["features"][0], "whole": True}, timeout=600
            )
            assert status == 200, first
            print(f"desk, until the first whole answer (surveys, compiled code, cold swims): "
                  f"{time.perf_counter() - began:.1f} s")  # fmt: skip
            looks = []
            for _ in range(5):
                began = time.perf_counter()
                desk.ask("GET", "/api/river")
                looks.append(time.perf_counter() - began)
            _line("whole folder sent to the page", looks)
            chance = random.Random(10)
            one = river["spots"]["features"][0]
            version = _edits(desk, [one] * 20, river["version"], 1.0, chance)
            few = chance.sample(river["spots"]["features"], 20)
            version = _edits(desk, few, version, 8.0, chance)
            time.sleep(60)
            _edits(desk, few, version, 1.0, chance)
            cells = []
            for level in ("2.0 ft", "2.4 ft", "3 ft", "4 ft", "5 ft"):
                began = time.perf_counter()
                desk.ask(
                    "GET",
                    f"/api/see/run/{river['runs']['features'][0]['properties']['id']}?level={level}".replace(
                        " ", "%20"
                    ),
                )
                cells.append(time.perf_counter() - began)
            _line("cells of a run at another level", cells)
            print(f"load {os.getloadavg()[0]:.1f} at the end")


if __name__ == "__main__":
    main()
