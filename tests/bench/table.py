"""Run every benchmark and print the design's figures with what was measured beside each target.

    python -m tests.bench.table [NAME...]

Each benchmark runs in a process of its own and prints its own lines first. Times depend on what else the machine does:
its load is printed with the table, and the figures that are ratios within one run are the ones to compare.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from pathlib import Path

__all__ = ["FIGURES", "NAMES", "main", "measured"]

HERE = Path(__file__).parent
NAMES = sorted(path.stem.removeprefix("bench_") for path in HERE.glob("bench_*.py"))
# What, target, the line that says it (by its beginning), and where in that line the figure stands.
FIGURES: tuple[tuple[str, str, str, str], ...] = (
    ("swims per core-second against MoorDyn", "≥ 60 times", "swim of 45 s", r"ratio (\d+)"),
    ("plan of 20 spots, store empty", "≤ 25 s", "advice:", r"cold ([\d.]+ s)"),
    ("the same, only the gauge changed", "≤ 1.5 s", "advice:", r"gauge changed ([\d.]+ s)"),
    ("a whole plan of 20 spots, an hour later", "≤ 1.5 s", "plan:", r"an hour later ([\d., ]+ s)"),
    ("100,000 soundings to sections", "≤ 4 s", "bed: 100,000", r"sections in ([\d.]+ s)"),
    ("the same against 10,000 soundings", "≤ 12.5 times (n log n)", "bed: 100,000", r"([\d.]+ times) as long"),
    ("120 days of a gauge parsed", "≤ 25 ms", "gauges:", r"rows: ([\d.]+ ms)"),
    ("the same against the agency's client", "≥ 2 times as fast", "gauges:", r"ratio ([\d.]+)"),
    ("`plumbrun --help`", "≤ 0.25 s", "help:", r"help: ([\d.]+ s)"),
    ("page of 40 spots × 25 levels", "≤ 900 kB", "page:", r"levels (\d+ kB)"),
)
NOT_HERE = "first paint ≤ 1 s, slider step ≤ 16 ms: measured in the browser, see docs/page.md and tests/page/"


def measured(lines: list[str], begins: str, pattern: str) -> str:
    """The figure in the first line that begins so; ``not measured`` when there is none.

    Examples
    --------
    >>> measured(["help: 0.171 s (target 0.25 s)"], "help:", r"help: ([\\d.]+ s)")
    '0.171 s'
    """
    for line in lines:
        if line.startswith(begins):
            found = re.search(pattern, line)
            if found:
                return found[1]
    return "not measured"


def main() -> None:
    """Run those named, or all, and print the table; ends with 1 when one of them failed."""
    names = sys.argv[1:] or NAMES
    lines: list[str] = []
    failed = []
    loads = [os.getloadavg()[0]]
    for name in names:
        began = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-m", f"tests.bench.bench_{name}"], cwd=HERE.parents[1], capture_output=True, text=True,
            check=False,
        )  # fmt: skip
        lines += done.stdout.splitlines()
        print(done.stdout, end="", flush=True)
        loads.append(os.getloadavg()[0])
        if done.returncode:
            failed.append(name)
            print(f"{name}: FAILED after {time.perf_counter() - began:.0f} s\n{done.stderr[-800:]}", flush=True)
    print(f"\n| what | target | measured |\n| --- | --- | --- |\n| (load {min(loads):.1f} to {max(loads):.1f}) | | |")
    for what, target, begins, pattern in FIGURES:
        print(f"| {what} | {target} | {measured(lines, begins, pattern)} |")
    print(f"\n{NOT_HERE}")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
