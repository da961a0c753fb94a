"""Time of the advice, cold and when only the gauge changed, on an invented river.

Run as ``python -m tests.bench.bench_advice [spots]``; prints one line. 20 spots of distinct geometries, 8 lines,
6 flies, 25 levels unless fewer spots are asked for. Compiled code is warmed up before. As in a plan the ladder stands
on round readings and the level that is planned for lies between two of them: a reading 1 cm higher asks the same steps,
one 10 cm higher moves the ladder by two or three. The two steps on either side of it are solved directly too.
"""

from __future__ import annotations

import math
import os
import sys
import tempfile
import time
from types import SimpleNamespace

import numpy as np

from planner.advice import AtLevel, BedPatch, SpotAtLevels, SwimStore, advise_in_full
from planner.river.records import Tackle, TackleFly, TackleLine

STEP_M = 0.04
STANCES = ("anchored", "wading", "drifting", "bank")


def box() -> Tackle:
    """Eight lines and six flies."""
    made = ((1.5, 30, 250), (3, 26, 200), (4, 26, 250), (5, 26, 200), (6, 26, 250), (6, 30, 300), (7, 26, 300))
    lines = [TackleLine(f"{i} in/s, {ft} ft", "", ft, gr, i, math.nan, "floating", 7) for i, ft, gr in made]
    lines.append(TackleLine("sinking tip", "", 40.0, 100.0, 6.0, 10.0, "floating", 7))
    kinds = [(drag, weight) for drag in ("high", "medium") for weight in ("none", "light")]
    kinds += [("low", "light"), ("low", "heavy")]
    flies = tuple(TackleFly(f"{drag} {weight}", drag, math.nan, weight) for drag, weight in kinds)
    return Tackle(tuple(lines), flies, 1.2, 0.33, "nylon", 0.0, 2.0, "nylon")


def spots(n: int, shift_m: float = 0.0) -> list[SpotAtLevels]:
    """Spots of distinct geometries, on a ladder of round readings 0.5 m either way of the level planned for."""
    rng = np.random.default_rng(11)
    axis = np.arange(-60.0, 61.0, 2.0)
    found = []
    for k in range(n):
        cast, angle = 9.0 + 3.0 * (k % 5), 15.0 * (1 + k % 9)
        depth, current = rng.uniform(1.2, 3.0), rng.uniform(0.35, 1.0)
        bed = depth + 0.15 * np.sin(axis[:, None] / 7 + k) + 0.0 * axis[None, :]
        middle = round(shift_m / STEP_M)
        rises = [(STEP_M * step, step) for step in range(middle - 12, middle + 13)]
        levels = tuple(
            AtLevel(
                rise,
                depth + rise,
                v,
                v / 1.16,
                v * 1.16,
                6.0,
                0.05,
                v,
                step is None,
                step is not None and abs(step - middle - 0.5) < 2.0,
                step=-1 if step is None else step + 500,
            )
            for rise, step in sorted([*rises, (shift_m, None)], key=lambda one: one[0])
            for v in [current * (1 + rise / depth) ** (2 / 3)]
        )
        spot = SimpleNamespace(id=str(k), name=str(k), stance=STANCES[k % 4], boat_speed_ratio=math.nan)
        patch = BedPatch(axis, axis, bed, np.full(bed.shape, 0.12))
        found.append(SpotAtLevels(spot, cast, angle, 0.0, 1.0, 1, patch, levels, True, 0.15, 0.6, 60))
    return found


def main() -> None:
    """Print one line."""
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    tackle = box()
    with tempfile.TemporaryDirectory() as folder:
        advise_in_full(spots(1), tackle, store=SwimStore(f"{folder}/compile"))
        store = SwimStore(f"{folder}/swims")
        times = []
        for shift in (0.005, 0.015, 0.105):
            began, cpu = time.perf_counter(), time.process_time()
            _, _, report = advise_in_full(spots(n, shift), tackle, store=store)
            times.append((time.perf_counter() - began, time.process_time() - cpu, report))
    (cold, cold_cpu, first), (warm, warm_cpu, second), (moved, moved_cpu, third) = times
    print(
        f"advice: {n} spots x 8 lines x 6 flies x 25 levels on {os.cpu_count()} cores (load {os.getloadavg()[0]:.1f}): "
        f"cold {cold:.1f} s ({cold_cpu:.1f} s of processor, {first.swims + first.direct_swims} swims), "
        f"gauge changed {warm:.2f} s ({warm_cpu:.1f} s of processor, {second.swims + second.direct_swims} swims), "
        f"ladder moved {moved:.2f} s ({moved_cpu:.1f} s of processor, {third.swims + third.direct_swims} swims)"
    )


if __name__ == "__main__":
    main()
