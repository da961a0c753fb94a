"""Rivers per core-second of a fleet, from one worker to two, with the swim store empty and full.

    python -m tests.bench.bench_fleet [RIVERS [WORKERS...]]

The rivers are copies of the demo with two spots each and the runs that these are in, sounded a little differently,
each with a gauge file of its own. Each count of workers, one and two unless others are asked for, begins with an empty
store; a second pass finds its swims there.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import resource
import shutil
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from planner.evening import DEMO_NOW
from planner.fleet import Order, run_fleet, write_fleet

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "examples" / "demo"


def rivers(count: int, room: Path) -> list[Path]:
    """Two-spot rivers made from the demo: other pairs of its spots, depths changed by up to a few per cent."""
    spots = json.loads((DEMO / "spots.geojson").read_text(encoding="utf-8"))
    runs = json.loads((DEMO / "runs.geojson").read_text(encoding="utf-8"))
    soundings = (DEMO / "soundings.csv").read_text(encoding="utf-8").splitlines()
    names = soundings[0].split(",")
    depth = next(i for i, name in enumerate(names) if name.startswith("depth"))
    pairs = [(a, b) for a in range(len(spots["features"])) for b in range(a)]
    out = []
    for number in range(count):
        folder = room / f"river-{number:05d}"
        folder.mkdir()
        for name in ("gauge.csv", "places.geojson", "river.toml", "tackle.toml"):
            os.link(DEMO / name, folder / name) if _same_disk(DEMO, folder) else shutil.copy(DEMO / name, folder)
        a, b = pairs[number % len(pairs)]
        some = {**spots, "features": [spots["features"][b], spots["features"][a]]}
        (folder / "spots.geojson").write_text(json.dumps(some), encoding="utf-8")
        fished = {one["properties"]["run"] for one in some["features"]}
        held = [one for one in runs["features"] if one["properties"]["id"] in fished]
        (folder / "runs.geojson").write_text(json.dumps({**runs, "features": held}), encoding="utf-8")
        factor = 1.0 + 0.04 * ((number * 0.618034) % 1.0 - 0.5)
        rows = [row.split(",") for row in soundings[1:]]
        for row in rows:
            row[depth] = f"{float(row[depth]) * factor:.3f}"
        text = "\n".join([soundings[0], *(",".join(row) for row in rows)]) + "\n"
        (folder / "soundings.csv").write_text(text, encoding="utf-8")
        out.append(folder)
    return out


def _same_disk(one: Path, other: Path) -> bool:
    return one.stat().st_dev == other.stat().st_dev


def main() -> None:
    """Run the passes and print one line each."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does
    count = int(sys.argv[1]) if sys.argv[1:] else 20
    asked = [int(word) for word in sys.argv[2:]] or [1, 2]
    now = datetime.fromisoformat(DEMO_NOW).astimezone(UTC)
    with tempfile.TemporaryDirectory() as name:
        room = Path(name)
        folders = rivers(count, room)
        os.environ["PLUMBRUN_CACHE"] = str(room / "warm")
        run_fleet(folders[:2], Order(now, room / "first"), workers=2)  # machine code is compiled once
        while multiprocessing.active_children():
            time.sleep(0.1)
        speeds = {}
        for workers in asked:
            os.environ["PLUMBRUN_CACHE"] = str(room / f"store-{workers}")
            for state in ("empty", "full"):
                before = resource.getrusage(resource.RUSAGE_CHILDREN)
                began = time.perf_counter()
                fleet = run_fleet(folders, Order(now, room / f"out-{workers}-{state}"), workers=workers)
                wall = time.perf_counter() - began
                while multiprocessing.active_children():  # a worker counts when it has ended
                    time.sleep(0.1)
                after = resource.getrusage(resource.RUSAGE_CHILDREN)
                cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
                began = time.perf_counter()
                write_fleet(fleet, Order(now, room / f"out-{workers}-{state}"))
                writing = time.perf_counter() - began
                failed = sum(bool(one.failed) for one in fleet.outcomes)
                peak = max(one.peak_mb for one in fleet.outcomes)
                swims = sum(one.row.get("swims", 0) for one in fleet.outcomes)
                speeds[workers, state] = count / wall
                print(
                    f"fleet: {count} rivers x 2 spots, {workers} worker(s), store {state}: {wall:.1f} s, "
                    f"{cpu / count:.2f} core-s a river, {count / max(cpu, 1e-9) * 60:.0f} rivers a core-minute, "
                    f"{swims} swims, peak {peak:.0f} MB a worker, {failed} failed, tables and index {writing:.2f} s",
                    flush=True,
                )
        for state in ("empty", "full") if {1, 2} <= set(asked) else ():
            print(f"fleet: store {state}, two workers {speeds[2, state] / speeds[1, state]:.2f} times one")


if __name__ == "__main__":
    main()
