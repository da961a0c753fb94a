"""Time of a whole plan of a river with many spots: gauge file, bed, advice, cautions, page; cold and after a reading.

Run as ``python -m tests.bench.bench_plan [spots]``; prints one line. The river is the demo's with its casts turned and
stretched, 20 spots unless fewer are asked for, in one process with modules loaded and code compiled. Cold begins with
empty stores, as three hours before the demo's evening; then an hour of the record comes in, three times.
"""

from __future__ import annotations

import json
import math
import os
import shutil
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from planner.evening import DEMO_NOW

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


def gauge_until(room: Path, hours_before: int) -> datetime:
    """Leave out the record's last hours, and give the moment of planning that goes with it."""
    rows = (DEMO / "gauge.csv").read_text(encoding="utf-8").splitlines()
    left_out = 4 * hours_before  # a reading each quarter of an hour
    (room / "gauge.csv").write_text("\n".join(rows[: len(rows) - left_out]) + "\n", encoding="utf-8")
    return datetime.fromisoformat(DEMO_NOW).astimezone(UTC) - timedelta(hours=hours_before)


def main() -> None:
    """Print one line."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does
    from planner.evening import write_plan
    from planner.fleet import Order
    from planner.river import read_river

    n = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    with tempfile.TemporaryDirectory() as name:
        room = Path(name)
        few, many = river_with(2, room / "few"), river_with(n, room / "many")
        os.environ["PLUMBRUN_CACHE"] = str(room / "compile")
        times = []
        for folder, hours_before in ((few, 0), (many, 3), (many, 2), (many, 1), (many, 0)):
            if folder is many and not times:
                os.environ["PLUMBRUN_CACHE"] = str(room / "cache")
            now = gauge_until(folder, hours_before)
            river = read_river(folder)
            began, cpu = time.perf_counter(), time.process_time()
            write_plan(river, Order(now, room / "out").request(river.timezone), "us", room / "out")
            if folder is many:
                times.append((time.perf_counter() - began, time.process_time() - cpu))
    (cold, cold_cpu), *later = times
    print(
        f"plan: {n} spots on four runs, 5 lines, 5 flies, whole, on {os.cpu_count()} cores "
        f"(load {os.getloadavg()[0]:.1f}): cold {cold:.1f} s ({cold_cpu:.1f} s of processor), "
        f"an hour later {', '.join(f'{wall:.2f}' for wall, _ in later)} s "
        f"({', '.join(f'{cpu:.1f}' for _, cpu in later)} s of processor)"
    )


if __name__ == "__main__":
    main()
