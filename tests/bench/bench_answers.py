"""Whether the chances of whole answers come true: what a plan of the demo's river tells against swims with contact.

Run as ``python -m tests.bench.bench_answers [truths]``. Asked are the demo's own spots in moving water, the same from
other boats, and ten casts to two lies at 0 to 180° from downstream, each at the planned level (solved directly) and at
the two steps of the ladder on either side (from tables). Unlike `bench_chances` each answer was chosen among all rigs,
modes and paces, so what the choice picks out of the model's misses is in it.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from planner.advice import Choice, Settings, SpotAtLevels
from planner.advice.advise import rigs_of
from planner.advice.draws import ROWS
from planner.advice.field import field_of
from planner.plan.ask import request
from planner.plan.day import day_of
from planner.river import River, Spot, read_river
from planner.sink.constants import constant
from tests.bench.bench_chances import Lift, truth

DEMO = Path(__file__).parents[2] / "examples" / "demo"
BOATS = {
    "pool-ledge": ("drifting", 1.0),
    "pool-cutbank": ("drifting", 0.5),
    "chute-seam": ("anchored", math.nan),
    "pocket-slot": ("drifting", math.nan),
}
LIES = (("long-pool", -90.8066, 43.2044, -35.0, 15.0), ("chute", -90.8010, 43.2002, -10.0, 12.0))
ANGLES = (0.0, 45.0, 90.0, 135.0, 180.0)
STEPS = (0, -1, 1, -2, 2)


def rivers() -> Iterator[tuple[str, River]]:
    """The demo without its log, with other boats, and with casts from all round."""
    own = read_river(DEMO)
    yield "own spots", own
    other = [
        replace(s, stance=BOATS[s.id][0], boat_speed_ratio=BOATS[s.id][1]) if s.id in BOATS else s for s in own.spots
    ]
    yield "other boats", replace(own, spots=tuple(other))
    yield "all round", replace(own, spots=tuple(_turned(own.spots[0], *lie, angle) for lie in LIES for angle in ANGLES))


def _turned(spot: Spot, run: str, lon: float, lat: float, flow_deg: float, cast_m: float, angle_deg: float) -> Spot:
    """A spot whose cast lands at a lie, at an angle from the current there (degrees north of east)."""
    turn = math.radians(flow_deg + angle_deg)
    a_degree = 111_320.0
    east, north = cast_m * math.cos(turn) / math.cos(math.radians(lat)), cast_m * math.sin(turn)
    stance, name = (lon - east / a_degree, lat - north / a_degree), f"{run} at {angle_deg:.0f}°"
    return replace(
        spot, id=name, name=name, run=run, stance="anchored", boat_speed_ratio=math.nan, stance_lonlat=stance,
        landing_lonlat=(lon, lat),
    )  # fmt: skip


def came_true(asked: SpotAtLevels, at: int, best: Choice, rigs: list[Any], truths: int, seed: int) -> np.ndarray:
    """Share of touches and hangs, and mean band time [s], of an answer's true swims, shape (3,)."""
    rig = next(one for one in rigs if (one.line_name, one.fly_name) == (best.line, best.fly))
    level, patch = asked.levels[at], asked.patch
    j, i = int(np.argmin(np.abs(patch.north_m))), int(np.argmin(np.abs(patch.east_m)))
    bed = replace(patch, depth_m=patch.depth_m + level.rise_m, sd_m=np.full(patch.sd_m.shape, patch.sd_m[j, i]))
    field = field_of(replace(asked, levels=(replace(level, rise_m=0.0, planned=False),), patch=bed), Settings())
    assert field is not None
    sd = dict(zip(ROWS, field.spread(rig)[0], strict=True))
    low = best.lift_rod_at_m <= constant("pickup_length") + 0.05
    lift = Lift(math.nan if low else best.lift_rod_at_m, "pick-up")
    rng, how = np.random.default_rng(seed), (best.countdown_mode, best.countdown_best_s)
    seen = [truth(rng, field, rig, *how, sd, True, lift, best.strip_m_s) for _ in range(truths)]
    return np.array([one for one in seen if one is not None], dtype=float).mean(axis=0)


def main() -> None:
    """Print a line each for the planned level and for the steps beside it, and one for each answer that is far off."""
    truths = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    found: dict[bool, list[tuple[float, ...]]] = {True: [], False: []}
    for name, river in rivers():
        asked = request(
            river.timezone, day="2026-06-13", start="08:00", end="16:00", now="2026-06-12T18:00-05:00", learning=False
        )
        day = day_of(river, asked, river.units)
        rigs, _ = rigs_of(river.tackle)
        for k, spot in enumerate(day.spots):
            for step in STEPS:
                at = spot.at_arrival + step
                best = day.answers[k][at].best if 0 <= at < len(day.answers[k]) else None
                # a leader of other length is no rig of the box; still water has no current to draw
                if best is None or best.leader_m == best.leader_m or spot.water.run.still:
                    continue
                true = came_true(spot.asked, at, best, rigs, truths, 100 * k + at)
                found[step == 0].append((best.hang_chance, best.band_time_s, true[1], true[2]))
                if true[1] > best.hang_chance + 0.2:
                    where = "planned" if step == 0 else f"{step:+d} steps"
                    told = f"{100 * best.hang_chance:.0f} % stated, {100 * true[1]:.0f} % true"
                    print(f"{name}, {spot.spot.id}, {where}: {told}")
    for planned, rows in found.items():
        x = np.array(rows)
        error = (x[:, 2] - x[:, 0]).std(ddof=1) / math.sqrt(len(x))
        where, mean = "at the planned level" if planned else "beside it", x.mean(axis=0)
        hang = f"hang stated {100 * mean[0]:.1f} %, came true {100 * mean[2]:.1f} ± {100 * error:.1f} %"
        print(f"answers {where}: {len(x)}, {hang}, band time stated {mean[1]:.1f} s, came true {mean[3]:.1f} s")


if __name__ == "__main__":
    main()
