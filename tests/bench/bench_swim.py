"""Swims per core-second beside MoorDyn: same line, nodes and current, each at the longest step that carries it.

A 45 s swim of the composite line (running line, head, leader, fly; 20 nodes) let go across a sheared current. MoorDyn's
best step is searched; ours is the longest of 20 to 80 ms whose depth, averaged over the swim and at its end, is within
2 % of MoorDyn's from the same straight start. Compile time is measured from an
empty cache. Prints one line. Run: ``python -m tests.bench.bench_swim``.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from planner.sink import Cast, Current, Swim, free_swims, scenarios, swim
from planner.sink.line import line_from_head
from planner.units import FOOT, GRAIN, INCH
from tests.published.line_cases import SLIM
from tests.sink.moordyn_reference import run_moordyn  # noqa: F401, the child process takes it from here

SECONDS = 45.0
LINE = line_from_head(26 * FOOT, 200 * GRAIN, 5 * INCH, leader_m=4 * FOOT, leader_diameter_m=0.36e-3)
CURRENT = Current(1.067, 2.44, 7.0)
CAST_M, ANGLE = 14.63, 90.0
FLY = (SLIM.mass_kg, SLIM.volume_m3, SLIM.towed_area_m2)
# as our own sharing-out of 20 nodes gives them
PARTS = [
    (LINE.leader_length_m, LINE.leader_diameter_m, LINE.leader_density_kg_m3, 2),
    (LINE.head_length_m, LINE.head_diameter_m, LINE.head_density_kg_m3, 13),
    (
        CAST_M - LINE.head_length_m - LINE.leader_length_m,
        LINE.running_diameter_m,
        LINE.running_density_kg_m3,
        5,
    ),
]


def _moordyn(step_s: float, straight: bool, scheme: str = "RK2") -> tuple[np.ndarray, float] | None:
    """One run in a process of its own, as a diverged run may take the process with it; None when it diverged."""
    with tempfile.TemporaryDirectory() as folder:
        code = (
            "import numpy as np, pathlib\n"
            "from tests.bench.bench_swim import *\n"
            f"path, spent = run_moordyn(pathlib.Path({folder!r}), PARTS, FLY, CURRENT, SECONDS, step_s={step_s}, "
            f"angle_deg=ANGLE, straight={straight}, scheme={scheme!r}, every_s=0.5)\n"
            f"np.savez({folder + '/out.npz'!r}, path=path, spent=spent)\n"
        )
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)
        result = Path(folder) / "out.npz"
        if done.returncode != 0 or not result.exists():
            return None
        with np.load(result) as saved:
            return saved["path"], float(saved["spent"])


def _ours(dt: float, nodes: int = 20) -> tuple[Swim, float]:
    """One swim and the processor time of a swim in a batch of 64 [s]."""
    cast = Cast(CAST_M, ANGLE, 0.0)
    path = swim(
        LINE, SLIM, cast, CURRENT, nodes=nodes, dt=dt, every_s=0.4 if dt > 0.02 else 0.2, cn=1.2, swing_s=SECONDS
    )
    batch = scenarios([(LINE, SLIM, cast, CURRENT)] * 64)
    free_swims(batch[:2], [0.0], nodes=nodes, dt=dt, every_s=0.4)
    best = np.inf
    for _ in range(3):
        begin = time.process_time()
        # a line that is not stripped is followed for 30 s after the countdown
        free_swims(batch, [SECONDS - 30.0], nodes=nodes, dt=dt, every_s=0.4)
        best = min(best, (time.process_time() - begin) / len(batch))
    return path, best


def _first_swims() -> tuple[float, float]:
    """Seconds of wall from import to the first swim with no machine code kept, and with it kept by the run before."""
    code = (
        "import time; begin = time.perf_counter()\n"
        "from tests.bench.bench_swim import *\n"
        "swim(LINE, SLIM, Cast(CAST_M, ANGLE, 0.0), CURRENT)\n"
        "print(time.perf_counter() - begin)\n"
    )
    with tempfile.TemporaryDirectory() as kept:
        runs = [
            subprocess.run(
                [sys.executable, "-c", code],
                capture_output=True,
                text=True,
                check=True,
                env=os.environ | {"NUMBA_CACHE_DIR": kept},
            )
            for _ in range(2)
        ]
    return float(runs[0].stdout), float(runs[1].stdout)


def main() -> None:
    """Measure and print one line."""
    reference = _moordyn(2e-4, True)
    assert reference is not None
    truth = reference[0]
    fastest: tuple[float, float, str] | None = None
    for scheme, steps in (
        ("RK2", (1.6e-3, 1.2e-3, 1e-3, 8e-4, 6e-4, 4e-4)),
        ("Euler", (1e-3, 8e-4, 6e-4, 4e-4)),
        ("midpoint10", (2e-2, 1e-2, 5e-3, 2e-3)),
    ):
        for step_s in steps:
            runs = [run for run in (_moordyn(step_s, False, scheme) for _ in range(2)) if run is not None]
            if len(runs) == 2 and abs(runs[0][0][-1, 3] / truth[-1, 3] - 1.0) < 0.02:
                spent = min(run[1] for run in runs)
                if fastest is None or spent < fastest[0]:
                    fastest = (spent, step_s, scheme)
                break
    assert fastest is not None
    chosen = None
    for dt in (0.08, 0.05, 0.04, 0.02):
        path, spent = _ours(dt)
        depth = np.interp(truth[:, 0], path.times_s, path.fly_depth_m)
        mean = abs(float(np.mean(depth)) / float(np.mean(truth[:, 3])) - 1.0)
        last = abs(depth[-1] / truth[-1, 3] - 1.0)
        if max(mean, last) < 0.02:
            chosen = dt, spent, mean, last
            break
    assert chosen is not None
    dt, spent, mean, last = chosen
    _, at_40 = _ours(0.04)
    _, screening = _ours(0.04, nodes=10)
    cold, kept = _first_swims()
    print(
        f"swim of 45 s, 20 nodes: {1 / spent:.0f} per core-second at {1000 * dt:.0f} ms (mean depth off "
        f"{100 * mean:.1f} %, end {100 * last:.1f} %); MoorDyn {1 / fastest[0]:.2f} at {1000 * fastest[1]:.1f} ms "
        f"{fastest[2]}; ratio {fastest[0] / spent:.0f} (to reach: 60); "
        f"at 40 ms {fastest[0] / at_40:.0f}; "
        f"screening (10 nodes, 40 ms) {1e6 * screening / SECONDS:.0f} µs per swim-second; "
        f"first swim of a process {kept:.1f} s with the machine code kept on disk, {cold:.1f} s without (compiled once)"
    )


if __name__ == "__main__":
    main()
