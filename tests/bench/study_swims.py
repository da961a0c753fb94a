"""Where the node count and the step come from: errors of the swim over both, as docs/sinking-line.md prints them.

Eight swims (two flies, anchored, drifting, fed and pulsed) at each node count and step against 80 nodes at 2.5 ms, how
time and memory grow with nodes and scenarios, and what one change at a time does to the depth. Prints the tables.
Run: ``python -m tests.bench.study_swims``.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from planner.sink import Cast, Current, Fly, Line, Swim, line_with_sink_factor, scenarios, swim, swim_many
from planner.sink.columns import RECORD_COLUMNS, SCENARIO_FIELDS
from planner.sink.fly import fly_from_class
from planner.sink.line import line_from_head
from planner.units import FOOT, GRAIN, INCH

RIVER = Current(3.5 * FOOT, 8.0 * FOOT, 7.0)
HEAD = line_from_head(26 * FOOT, 200 * GRAIN, 5 * INCH)
TIP = line_from_head(10 * FOOT, 100 * GRAIN, 6 * INCH, rear_m=20 * FOOT)
SLIM, BULKY = fly_from_class("low", "heavy"), fly_from_class("high", "none")
CASES: tuple[tuple[str, Line, Fly, Cast], ...] = (
    ("head, slim, anchored 45", HEAD, SLIM, Cast(14.6, 45.0, 0.457, 3.0)),
    ("head, bulky, anchored 45", HEAD, BULKY, Cast(14.6, 45.0, 0.457, 3.0)),
    ("head, slim, anchored 90, fed", HEAD, SLIM, Cast(14.6, 90.0, 0.457, 4.0, "fed")),
    ("head, bulky, drifting 90", HEAD, BULKY, Cast(14.6, 90.0, 0.457, 3.0, boat_speed_m_s=0.98)),
    ("head, slim, drifting 90", HEAD, SLIM, Cast(14.6, 90.0, 0.457, 3.0, boat_speed_m_s=0.98)),
    ("head, slim, pulsed 45", HEAD, SLIM, Cast(14.6, 45.0, 0.457, 3.0, pull_s=0.5, pause_s=0.5)),
    ("tip, slim, anchored 45", TIP, SLIM, Cast(14.6, 45.0, 0.457, 3.0)),
    ("tip, bulky, anchored 120, fed", TIP, BULKY, Cast(14.6, 120.0, 0.457, 3.0, "fed")),
)
NODES = (6, 10, 15, 20, 30, 40, 60)
STEPS = (0.08, 0.05, 0.04, 0.02, 0.01, 0.005)


def _swum(line: Line, fly: Fly, cast: Cast, nodes: int, dt: float) -> Swim:
    return swim(line, fly, cast, RIVER, nodes=nodes, dt=dt, every_s=0.4 if dt > 0.02 else 0.2)


def _errors(made: Swim, truth: Swim) -> tuple[float, float]:
    """Error of the mean depth in the retrieve [share], and largest error of the depth on the way [m]."""
    mean = made.mean_depth_retrieve_m / truth.mean_depth_retrieve_m - 1.0
    times = made.times_s[(made.phase < 2) & (made.times_s < truth.times_s[-1])]
    off = np.interp(times, made.times_s, made.fly_depth_m) - np.interp(times, truth.times_s, truth.fly_depth_m)
    return mean, float(np.max(np.abs(off)))


def convergence() -> None:
    """Print the errors over nodes at 10 ms, and over steps with 30 nodes."""
    truths = [_swum(line, fly, cast, 80, 0.0025) for _, line, fly, cast in CASES]
    for name, values in (("nodes", NODES), ("step", STEPS)):
        print(f"| {name} | mean depth off, worst of eight | median | depth off on the way, worst | median |")
        print("| --- | --- | --- | --- | --- |")
        for value in values:
            nodes, dt = (value, 0.01) if name == "nodes" else (30, value)
            found = [
                _errors(_swum(line, fly, cast, int(nodes), float(dt)), truth)
                for (_, line, fly, cast), truth in zip(CASES, truths, strict=True)
            ]
            mean, way = np.abs(np.array(found)).T
            shown = f"{value}" if name == "nodes" else f"{1000 * value:g} ms"
            print(
                f"| {shown} | {100 * mean.max():.1f} % | {100 * np.median(mean):.1f} % | {100 * way.max():.1f} cm "
                f"| {100 * np.median(way):.1f} cm |",
                flush=True,
            )


def growth() -> None:
    """Print processor time per swim over nodes and over scenarios, and memory per swim."""
    rows = [(line, fly, cast, RIVER) for _, line, fly, cast in CASES if cast.mode == "held"]
    many = scenarios(rows * 64)

    def spent(batch: np.ndarray, nodes: int) -> float:
        best = np.inf
        for _ in range(3):
            begin = time.process_time()
            swim_many(batch, [3.0], nodes=nodes, dt=0.04, every_s=0.4)
            best = min(best, time.process_time() - begin)
        return best

    spent(many[:4], 10)
    print("| nodes | ms of processor per swim | per node |\n| --- | --- | --- |")
    for nodes in (10, 20, 40, 80):
        each = 1000 * spent(many[:96], nodes) / 96
        print(f"| {nodes} | {each:.2f} | {1000 * each / nodes:.0f} µs |", flush=True)
    print("| scenarios | ms of processor per swim |\n| --- | --- |")
    for size in (12, 48, 192, 384):
        print(f"| {size} | {1000 * spent(many[:size], 20) / size:.2f} |", flush=True)
    out = swim_many(many[:48], [3.0], nodes=20, dt=0.04, every_s=0.4)
    records = out.depth.shape[2] + out.count_depth.shape[1]
    print(
        f"memory of a swim: {8 * len(SCENARIO_FIELDS)} bytes in, {8 * len(RECORD_COLUMNS) * records / 1024:.1f} kB out "
        f"({records} records of {len(RECORD_COLUMNS)}); scratch of a thread for 20 nodes "
        f"{8 * (3 * (20 + 24) * 14 + 8 * 65) / 1024:.0f} kB, whatever the number of swims"
    )


def sensitivities() -> None:
    """Print the mean depth in the retrieve when one thing at a time is changed."""
    anchored, drifting = Cast(14.6, 45.0, 0.457, 3.0), Cast(14.6, 90.0, 0.457, 3.0, boat_speed_m_s=0.98)

    def headed(leader_ft: float = 4.0, material: float = 1140.0, running: str = "floating") -> Line:
        return line_from_head(
            26 * FOOT, 200 * GRAIN, 5 * INCH, leader_m=leader_ft * FOOT, leader_density_kg_m3=material, running=running
        )

    def dragged(fly: Fly, factor: float) -> Fly:
        return replace(fly, towed_area_m2=factor * fly.towed_area_m2, broadside_area_m2=factor * fly.broadside_area_m2)

    def row(
        word: str,
        line: Line = HEAD,
        fly: Callable[[Fly], Fly] = lambda body: body,
        cast: Callable[[Cast], Cast] = lambda base: base,
        current: Current = RIVER,
        film: float = 0.0,
    ) -> None:
        found = []
        for base in (anchored, drifting):
            for body in (SLIM, BULKY):
                made = swim(line, fly(body), cast(base), current, film_n_m=film)
                found.append(f"{made.mean_depth_retrieve_m:.2f}")
        print(f"| {word} | " + " | ".join(found) + " |", flush=True)

    print(
        "| changed | anchored 45°, slim heavy | bulky | drifting 90°, slim heavy | bulky |\n"
        "| --- | --- | --- | --- | --- |"
    )
    row("nothing")
    row("current 20 % slower", current=Current(0.8 * RIVER.mean_m_s, RIVER.depth_m))
    row("current 20 % faster", current=Current(1.2 * RIVER.mean_m_s, RIVER.depth_m))
    row("strip half as fast", cast=lambda c: replace(c, strip_m_s=0.5 * c.strip_m_s))
    row("strip twice as fast", cast=lambda c: replace(c, strip_m_s=2 * c.strip_m_s))
    row("lift area +0.2 cm²", fly=lambda f: replace(f, lift_area_m2=2e-5))
    row("drag areas of the fly x 0.5", fly=lambda f: dragged(f, 0.5))
    row("drag areas of the fly x 2", fly=lambda f: dragged(f, 2.0))
    row("sink rate 10 % lower", line=line_with_sink_factor(HEAD, 0.9))
    row("sink rate 10 % higher", line=line_with_sink_factor(HEAD, 1.1))
    row("leader 9 ft", line=headed(9.0))
    row("leader of fluorocarbon", line=headed(4.0, 1770.0))
    row("running line sinks", line=headed(running="sinking"))
    row("profile 1/5 instead of 1/7", current=Current(RIVER.mean_m_s, RIVER.depth_m, 5.0))
    row("surface film 0.05 N/m", film=0.05)
    row("pulls and pauses of 0.5 s, same mean", cast=lambda c: replace(c, pull_s=0.5, pause_s=0.5))
    row("mended instead of held", cast=lambda c: replace(c, mode="mended"))
    row("fed instead of held", cast=lambda c: replace(c, mode="fed"))


if __name__ == "__main__":
    convergence()
    growth()
    sensitivities()
