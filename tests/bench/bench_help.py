"""How long `plumbrun --help` takes, beside a bare Python (design: 0.25 s)."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

RUNS = 9


def seconds(*words: str) -> float:
    """Wall time of one run of Python [s]."""
    start = time.perf_counter()
    subprocess.run([sys.executable, *words], check=True, capture_output=True)
    return time.perf_counter() - start


def main() -> None:
    """Run the two in turn and print one line."""
    seconds("-m", "planner", "--help")
    pairs = [(seconds("-m", "planner", "--help"), seconds("-c", "pass")) for _ in range(RUNS)]
    ours, bare = (statistics.median(column) for column in zip(*pairs, strict=True))
    ratio = statistics.median(a / b for a, b in pairs)
    print(f"help: {ours:.3f} s (target 0.25 s), {ratio:.1f} times a bare Python ({bare:.3f} s)")


if __name__ == "__main__":
    main()
