"""100,000 soundings: import, reduce, fit, sections. One line, and how the time grows from a tenth of them."""

from __future__ import annotations

import math
import resource
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from planner.bed.sources.nmea import checksum, parse_nmea  # noqa: E402
from planner.flow import survey_run  # noqa: E402
from planner.river.depths import parse_soundings  # noqa: E402
from planner.river.values import Notebook  # noqa: E402
from tests.flow.world import FULL, World, gauge_stage  # noqa: E402


def once(count: int, folder: Path) -> tuple[float, float, float]:
    """Seconds to read and survey by the clock and of the processor, and the bed error [m]."""
    world = World(days=((FULL, count * 6 // 10), (1.5 * FULL, count * 4 // 10)))
    run, river = world.river()
    path = folder / f"soundings{count}.csv"
    table = river.soundings[["lon", "lat", "depth_m", "taken_at", "method"]]
    table.assign(taken_at=table["taken_at"].dt.strftime("%Y-%m-%dT%H:%M:%SZ")).to_csv(path, index=False)
    series = world.series()
    start, busy = time.perf_counter(), time.process_time()
    frame = parse_soundings(path.read_text(encoding="utf-8"), Notebook())
    flow = survey_run(run, replace(river, soundings=frame), series)
    level = np.linspace(-1, 1, 20)
    for s in flow.bed.grid.s:
        flow.section(float(s)).at(level)
    state = flow.at(FULL, float(gauge_stage(FULL)))
    return time.perf_counter() - start, time.process_time() - busy, state.bed_error_m


def log_of(count: int) -> str:
    """An NMEA 0183 log with so many depths, one fix each."""
    lines = []
    for i in range(count):
        clock = f"{12 + i // 36000 % 10:02d}{i // 60 % 60:02d}{i % 60:02d}.{i // 3600 % 10}0"
        body = f"GPRMC,{clock},A,4330.{i % 10000:04d},N,09100.{i * 7 % 10000:04d},W,2.0,90.0,250426,,"
        lines.append(f"${body}*{checksum(body):02X}")
        body = f"SDDPT,{1 + i % 200 / 100:.2f},0.3"
        lines.append(f"${body}*{checksum(body):02X}")
    return "\n".join(lines)


def main() -> None:
    """Print a line on the survey and one on the reading of a log; with --million also a million soundings."""
    with tempfile.TemporaryDirectory() as name:
        once(2_000, Path(name))
        few, _, _ = once(10_000, Path(name))
        many, busy, miss = once(100_000, Path(name))
        print(
            f"bed: 100,000 soundings to sections in {many:.2f} s ({busy:.2f} s of processor, target 4 s), "
            f"{many / few:.1f} times as long as 10,000; block error {miss:.3f} m"
        )
        if "--million" in sys.argv:
            before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            most, work, _ = once(1_000_000, Path(name))
            after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            steep = math.log(1e6) / math.log(1e5) * 10
            print(
                f"bed: 1,000,000 soundings in {most:.1f} s ({work:.1f} s of processor), {work / busy:.1f} times "
                f"100,000 (n log n would be {steep:.1f}); {after:.0f} MB at most, {before:.0f} MB before"
            )
    text = log_of(100_000)
    start = time.perf_counter()
    found = parse_nmea(text, "log")
    read = time.perf_counter() - start
    print(f"bed: a log of {len(found):,} depths ({len(text) / 1e6:.0f} MB) read in {read:.2f} s")


if __name__ == "__main__":
    main()
