"""Random swims over the whole range the program takes, every one checked. Prints one line.

Lines of every sink rate with and without a tip, level and with a thin front, all fly classes, any stance, angle,
strip, pulses, countdown and mode, casts of 1 to 40 m, currents of 0 to 4 m/s, alike or not across, water 0.1 to 30 m
deep, no bed, level beds and rough ones. Each swim is checked for finite places, bounded speed and tension (a swim that
leaves them is refused, and counted), links stretched by under 0.5 %, the bed not crossed, and no fly carried off faster
than water, boat and hand go. Run: ``python -m tests.bench.sweep_swims [swims] [seed]``.
"""

from __future__ import annotations

import sys
import time
from collections import Counter

import numpy as np

from planner.errors import SwimFailed
from planner.river.records import TackleLine
from planner.sink import BedGrid, Cast, Current, Fly, Line, line_from_tackle, scenarios, swim_many
from planner.sink.batch import Scenarios
from planner.sink.fly import fly_from_class
from planner.sink.line import line_from_head
from planner.units import GRAIN, INCH

__all__ = ["STRETCH", "around", "check", "draw", "main"]

STRETCH = 0.005
CHUNK = 250


def _lines(rng: np.random.Generator) -> list[Line]:
    made = []
    for ips in (0.0, 0.5, 1.5, 3.0, 4.5, 6.0, 8.0):
        for tip in (False, True):
            length = rng.uniform(2.0, 5.0) if tip else rng.uniform(6.0, 13.0)
            made.append(
                line_from_head(
                    length,
                    length * rng.uniform(20.0, 45.0) * GRAIN,
                    ips * INCH,
                    rear_m=6.0 if tip else 0.0,
                    running=str(rng.choice(["floating", "sinking"])),
                    leader_m=rng.uniform(0.5, 3.0),
                )
            )
    for compensated in (False, True):
        extra = {"front_taper_ft": float(rng.uniform(3.0, 12.0)), "compensated": compensated}
        made.append(line_from_tackle(TackleLine("thin front", "", 26.0, 250.0, 5.0, extra=extra)))
    return made


def around(rng: np.random.Generator) -> tuple[BedGrid | None, Current | None]:
    """A rough bed and a current that differs across, or neither, for a whole batch."""
    if rng.random() < 0.7:
        return None, None
    places = np.linspace(-45.0, 45.0, 31)
    rough = rng.uniform(0.2, 6.0) * np.exp(0.3 * rng.standard_normal((31, 31)))
    shares = tuple(float(share) for share in rng.uniform(-0.3, 1.6, 5))
    return BedGrid(places, places, rough), Current(
        1.0, 2.0, across_y_m=(-20.0, -5.0, 0.0, 5.0, 20.0), across_share=shares
    )


def _flies() -> list[Fly]:
    return [fly_from_class(drag, weight) for drag in ("low", "medium", "high") for weight in ("none", "light", "heavy")]


def draw(size: int, rng: np.random.Generator) -> Scenarios:
    """Scenarios drawn over the whole range; half of them over a bed."""
    lines, flies = _lines(rng), _flies()
    rows = []
    for _ in range(size):
        mean = float(rng.choice([0.0, rng.uniform(0.0, 1.5), rng.uniform(0.0, 4.0)], p=[0.1, 0.6, 0.3]))
        depth = float(np.exp(rng.uniform(np.log(0.1), np.log(30.0))))
        drifts = rng.random() < 0.3
        strip = float(rng.choice([0.0, 0.15, 0.45, 0.9, 1.5], p=[0.1, 0.2, 0.4, 0.2, 0.1]))
        pulsed = rng.random() < 0.3 and strip < 1.0
        rows.append(
            (
                lines[rng.integers(len(lines))],
                flies[rng.integers(len(flies))],
                Cast(
                    float(np.exp(rng.uniform(0.0, np.log(40.0)))),
                    float(rng.uniform(-180.0, 180.0)),
                    strip,
                    0.0,
                    str(rng.choice(["held", "fed", "mended"])),
                    "drifting" if drifts else "anchored",
                    float(rng.uniform(0.0, 1.2) * mean) if drifts else 0.0,
                    tip_height_m=float(rng.choice([0.0, rng.uniform(0.0, 0.5)])),
                    lift_at_m=float(rng.choice([np.nan, rng.uniform(3.0, 9.0)])),
                    pull_s=float(rng.uniform(0.3, 1.0)) if pulsed else 0.0,
                    pause_s=float(rng.uniform(0.2, 1.0)) if pulsed else 0.0,
                ),
                Current(mean, depth, float(rng.uniform(3.0, 10.0))),
            )
        )
    batch = scenarios(rows)
    batch["bed_depth_m"] = np.where(rng.random(size) < 0.5, batch["depth_m"], np.inf)
    batch["film_n_m"] = np.where(rng.random(size) < 0.2, 0.05, 0.0)
    return batch


def check(
    batch: Scenarios, counts: tuple[float, ...], bed: BedGrid | None = None, current: Current | None = None
) -> Counter[str]:
    """Solve a batch and count what went wrong by kind; ``swims`` and ``seconds`` swum besides."""
    found: Counter[str] = Counter()
    try:
        swims = swim_many(batch, counts, bed=bed, current=current, nodes=12, dt=0.04, every_s=0.5)
    except SwimFailed:
        if len(batch) > 1:
            half = len(batch) // 2
            return check(batch[:half], counts, bed, current) + check(batch[half:], counts, bed, current)
        found["refused"] += len(counts)
        return found
    seen = np.isfinite(swims.distance)
    found["swims"] += swims.touched.size
    found["swum seconds"] += int(seen.sum() * 0.5)
    found["not finite"] += int((~np.isfinite(swims.depth[..., 0])).sum())
    found["stretched"] += int((swims.stretch > STRETCH).sum())
    with np.errstate(invalid="ignore"):
        found["through the bed"] += int((swims.clearance < -0.02).any(axis=2).sum())
        found["negative tension"] += int((swims.tension < 0.0).any(axis=2).sum())
        # no fly goes faster towards or from the rod tip than water, boat and hand can take it, slings of a jerk allowed
        power = 1.0 + 1.0 / batch["exponent_m"]
        hand = batch["strip_m_s"] * (1.0 + batch["pause_s"] / np.maximum(batch["pull_s"], 0.1))
        most = 1.6 * batch["mean_m_s"] * power + np.abs(batch["boat_speed_m_s"]) + hand + 2.0
        went = np.abs(np.diff(swims.distance, axis=2)) / 0.5
        found["flung"] += int((went > most[:, None, None]).any(axis=2).sum())
    return found


def main() -> None:
    """Sweep and print one line."""
    size = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    rng = np.random.default_rng(int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    total: Counter[str] = Counter()
    counts, begin = (0.0, 3.0), time.perf_counter()
    while total["swims"] + total["refused"] < size:
        total += check(draw(CHUNK, rng), counts, *around(rng))
    spent = time.perf_counter() - begin
    kinds = ("refused", "not finite", "stretched", "through the bed", "negative tension", "flung")
    print(
        f"{total['swims'] + total['refused']} random swims ({total['swum seconds']} s swum) in {spent:.0f} s: "
        + ", ".join(f"{total[kind]} {kind}" for kind in kinds)
    )


if __name__ == "__main__":
    main()
