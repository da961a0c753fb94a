"""Time of a whole plan of a river with many spots: gauge file, bed, advice, cautions, page; cold and after a reading.

Run as ``python -m tests.bench.bench_plan [spots]``; prints one line. The river is the demo's with its casts turned and
stretched, 20 spots unless fewer are asked for, in one process with modules loaded and code compiled. Cold begins with
empty stores; then the gauge reads 1 cm more, and another centimetre more.
"""

from __future__ import annotations

import json
import math
import os
import shutil
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

# slope of ln discharge over stage of the demo's record about its last reading [1/m]
_LN_Q_PER_M = 1.11
DEMO = Path(__file__).parents[2] / "examples" / "demo"


def river_with(spots: int, room: Path) -> Path:
    """The demo's folder with as many spots: its own, then the same lies with casts turned by 12° and other lengths."""
    shutil.copytree(DEMO, room, dirs_exist_ok=True)
    drawn = json.loads((DEMO / "spots.geojson").read_text(encoding="utf-8"))
    features = []
    for k in range(spots):
        feature = json.loads(json.dumps(drawn["features"][k % len(drawn["features"])]))
        feature["properties"]["id"] += f"-{k}"
        turns = k // len(drawn["features"])
        turn, stretch = math.radians(12.0) * (-1) ** turns * math.ceil(turns / 2), (1.0, 0.85, 1.12, 0.92)[turns % 4]
        (lon, lat), (to_lon, to_lat) = feature["geometry"]["coordinates"]
        share = math.cos(math.radians(lat))
        east, north = stretch * (to_lon - lon) * share, stretch * (to_lat - lat)
        feature["geometry"]["coordinates"][1] = [
            lon + (east * math.cos(turn) - north * math.sin(turn)) / share,
            lat + east * math.sin(turn) + north * math.cos(turn),
        ]
        features.append(feature)
    (room / "spots.geojson").write_text(json.dumps({**drawn, "features": features}), encoding="utf-8")
    return room


def raise_gauge(room: Path, by_m: float) -> None:
    """Let the last three readings stand higher, and the discharge with them as a rating has it.

    Stage alone would be another shift of the station's rating, which moves every step of the ladder.
    """
    rows = (room / "gauge.csv").read_text(encoding="utf-8").splitlines()
    h, q = (rows[0].split(",").index(name) for name in ("stage_m", "discharge_m3s"))
    for k in range(-3, 0):
        parts = rows[k].split(",")
        parts[h] = f"{float(parts[h]) + by_m:.3f}"
        parts[q] = f"{float(parts[q]) * math.exp(_LN_Q_PER_M * by_m):.2f}"
        rows[k] = ",".join(parts)
    (room / "gauge.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")


def main() -> None:
    """Print one line."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does
    from planner.evening import DEMO_NOW, write_plan
    from planner.fleet import Order
    from planner.river import read_river

    n = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    now = datetime.fromisoformat(DEMO_NOW).astimezone(UTC)
    with tempfile.TemporaryDirectory() as name:
        room = Path(name)
        few, many = river_with(2, room / "few"), river_with(n, room / "many")
        os.environ["PLUMBRUN_CACHE"] = str(room / "compile")
        times = []
        for folder in (few, many, many, many):
            if folder is many and not times:
                os.environ["PLUMBRUN_CACHE"] = str(room / "cache")
            river = read_river(folder)
            began, cpu = time.perf_counter(), time.process_time()
            write_plan(river, Order(now, room / "out").request(river.timezone), "us", room / "out")
            if folder is many:
                times.append((time.perf_counter() - began, time.process_time() - cpu))
                raise_gauge(many, 0.01)
    (cold, cold_cpu), (once, once_cpu), (again, again_cpu) = times
    print(
        f"plan: {n} spots on four runs, 5 lines, 5 flies, whole, on {os.cpu_count()} cores "
        f"(load {os.getloadavg()[0]:.1f}): cold {cold:.1f} s ({cold_cpu:.1f} s of processor), "
        f"gauge changed {min(once, again):.2f} s ({min(once_cpu, again_cpu):.1f} s of processor)"
    )


if __name__ == "__main__":
    main()
