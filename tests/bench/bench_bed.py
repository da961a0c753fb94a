"""100,000 soundings: import, reduce, fit, sections. One line, and how the time grows from a tenth of them."""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

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


def main() -> None:
    """Print one line."""
    with tempfile.TemporaryDirectory() as name:
        once(2_000, Path(name))
        few, _, _ = once(10_000, Path(name))
        many, busy, miss = once(100_000, Path(name))
    print(
        f"bed: 100,000 soundings to sections in {many:.2f} s ({busy:.2f} s of processor, target 4 s), "
        f"{many / few:.1f} times as long as 10,000; "
        f"block error {miss:.3f} m"
    )


if __name__ == "__main__":
    main()
