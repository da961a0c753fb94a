"""Whether stated touch and hang chances come true, on invented rivers whose truth is known.

Run as ``python tests/bench/bench_chances.py [spots] [truths]``; prints a reliability table. Each spot is a water, a
rig and a count; the advice states its chances from its tables. Then truths are drawn from the same priors (current,
sink rate, drag, lift, count, cast, level, bed), each is swum at full resolution over its own level bed, with contact,
and what happened is counted. Nothing of the advice's linear heights is in that.
"""

from __future__ import annotations

import itertools
import math
import os
import sys
import tempfile
from dataclasses import replace
from typing import Any

import numpy as np

from planner.advice import AtLevel, BedPatch, Settings, SpotAtLevels, SwimStore
from planner.advice.advise import rigs_of
from planner.advice.draws import ROWS, deviations, draw
from planner.advice.field import Field, field_of, tracks_of
from planner.advice.records import constants
from planner.advice.tables import SwimTables
from planner.advice.ways import require
from planner.advice.weigh import weigh
from planner.errors import SwimFailed
from planner.river.records import Tackle, TackleFly, TackleLine
from planner.sink import BedGrid, Cast, Current, line_with_sink_factor, swim

BINS = (0.0, 0.02, 0.05, 0.10, 0.20, 0.35, 0.50, 0.70, 0.90, 1.0001)


def box() -> Tackle:
    """Three lines and two flies."""
    lines = tuple(TackleLine(f"{i}", "", 26.0, 200.0, i, math.nan, "floating", 7) for i in (1.5, 3.0, 5.0))
    flies = (TackleFly("bulky", "high", math.nan, "none"), TackleFly("slim", "low", math.nan, "light"))
    return Tackle(lines, flies, 1.2, 0.33, "nylon", 0.0, 2.0, "nylon")


def water(rng: np.random.Generator, k: int) -> SpotAtLevels:
    """A level bed with an error common to all of it."""
    from types import SimpleNamespace

    axis = np.arange(-60.0, 61.0, 4.0)
    depth, speed = rng.uniform(1.0, 2.4), rng.uniform(0.25, 0.7)
    level = AtLevel(0.0, depth, speed, speed / 1.16, speed * 1.16, 6.0, 0.04)
    patch = BedPatch(axis, axis, np.full((axis.size,) * 2, depth), np.full((axis.size,) * 2, 0.15))
    spot = SimpleNamespace(id=str(k), name=str(k), stance="wading", boat_speed_ratio=math.nan)
    return SpotAtLevels(spot, 15.0, 45.0, 0.0, 1.0, 1, patch, (level,), True, 0.15, 0.6, 60)


def rough_water(rng: np.random.Generator, k: int) -> SpotAtLevels:
    """A bed of waves that shelves towards the rod, cast to at 45 or 90°, from a fixed stance or a drifting boat."""
    from types import SimpleNamespace

    axis = np.arange(-60.0, 61.0, 1.5)
    depth, speed, angle = rng.uniform(1.0, 2.4), rng.uniform(0.25, 0.7), (45.0, 90.0)[k % 2]
    a = math.radians(angle)
    toward = axis[None, :] * math.sin(a) - axis[:, None] * math.cos(a)
    bed = depth - rng.uniform(0.0, 0.05) * np.clip(toward, 0.0, None)
    bed = bed + rng.uniform(0.0, 0.2) * np.sin(axis[:, None] / rng.uniform(4, 12) + k)
    level = AtLevel(0.0, depth, speed, speed / 1.16, speed * 1.16, 6.0, 0.04, speed)
    patch = BedPatch(axis, axis, bed, np.full(bed.shape, 0.15))
    spot = SimpleNamespace(id=str(k), name=str(k), stance=("wading", "drifting")[k // 2 % 2], boat_speed_ratio=math.nan)
    return SpotAtLevels(spot, 15.0, angle, 0.0, 1.0, 1, patch, (level,), True, 0.15, 0.6, 60)


def true_bed(field: Field, risen_m: float, z: dict[str, float], sd: dict[str, float]) -> BedGrid:
    """The bed as it is: what was sounded, the level's miss, and an error common to the spot and along the channel."""
    from scipy.interpolate import RegularGridInterpolator

    patch, ground = field.patch, field.ground
    x, y = np.arange(-30.0, 60.1, 1.0), np.arange(-20.0, 30.1, 1.0)
    down, across = np.meshgrid(x - ground.landing[0], y - ground.landing[1])
    east = down * ground.down[0] + across * ground.across[0]
    north = down * ground.down[1] + across * ground.across[1]
    places = np.stack(
        [np.clip(north, patch.north_m[0], patch.north_m[-1]), np.clip(east, patch.east_m[0], patch.east_m[-1])]
    )
    sounded = RegularGridInterpolator((patch.north_m, patch.east_m), patch.depth_m)(np.moveaxis(places, 0, -1))
    phase = 2 * math.pi / (4 * constants()["bed_error_length_m"]) * x
    waves = z["bed_cosine"] * sd["bed_cosine"] * np.cos(phase) + z["bed_sine"] * sd["bed_sine"] * np.sin(phase)
    error = float(patch.sd_m[0, 0]) * (z["bed_offset"] * sd["bed_offset"] + waves)
    return BedGrid(x, y, np.maximum(sounded + risen_m + error[None, :], 0.05))


def outcomes(spots: int, truths: int, seed: int, store: SwimStore, rough: bool = False) -> np.ndarray:
    """Stated touch and hang chance and how often they came true, shape (cases, 4)."""
    rng = np.random.default_rng(seed)
    settings = Settings(strips_m_s=(0.45,), draws=128)
    rigs, _ = rigs_of(box())
    tables = SwimTables(rigs, store)
    found = []
    while len(found) < spots:
        asked = (rough_water if rough else water)(rng, len(found))
        field = field_of(asked, settings)
        assert field is not None
        r = int(rng.integers(len(rigs)))
        field.shortlist = [r]
        tables.require(require(field, tables, settings)[1])
        mode = "held" if rng.random() < 0.7 else "fed"
        spread = field.spread(rigs[r])
        if not rough:
            # the bed's waves cannot be put under a level bed: here its whole error is common to the spot
            spread[:, [ROWS.index("bed_cosine"), ROWS.index("bed_sine")]] = 0.0
            spread[:, ROWS.index("bed_offset")] = 1.0
        tracks = tracks_of(field, tables, r, mode, 0.45, 0.45)
        seconds = field.seconds(mode)
        rows = deviations(draw(128, settings.seed))
        stated = weigh(tracks, field.ground, spread, rows, seconds, lifted=False)
        # a count at which something is in question, where there is one
        doubtful = np.flatnonzero((stated.touch_chance[0] > 0.01) & (stated.touch_chance[0] < 0.99))
        if not doubtful.size and rng.random() < 0.9:
            continue  # most waters are out of doubt at every count: few of them say enough
        c = int(rng.choice(doubtful)) if doubtful.size else int(rng.integers(seconds.size))
        sd = dict(zip(ROWS, spread[0], strict=True))
        happened = [truth(rng, field, rigs[r], mode, float(seconds[c]), sd, rough) for _ in range(truths)]
        seen = np.array([one for one in happened if one is not None], dtype=float)
        found.append((stated.touch_chance[0, c], stated.hang_chance[0, c], *seen.mean(axis=0)))
    return np.array(found)


def truth(
    rng: np.random.Generator, field: Field, rig: Any, mode: str, seconds: float, sd: dict[str, float], rough: bool
) -> tuple[bool, bool] | None:
    """Whether one true swim touches and hangs; None when it cannot be solved."""
    asked = field.spot
    level, z = (
        asked.levels[0],
        {name: float(value) for name, value in zip(ROWS, rng.standard_normal(len(ROWS)), strict=True)},
    )
    side = "sink_slower" if z["sink_slower"] < 0 else "sink_faster"
    line = line_with_sink_factor(rig.line, math.exp(z["sink_slower"] * sd[side]))
    area = math.exp(z["drag_area"] * sd["drag_area"])
    fly = replace(
        rig.fly,
        towed_area_m2=rig.fly.towed_area_m2 * area,
        broadside_area_m2=rig.fly.broadside_area_m2 * area,
        lift_area_m2=rig.fly.lift_area_m2 + z["lift"] * sd["lift"],
    )
    counted = max(seconds * (1 + z["count"] * sd["count"]) + z["count_offset"] * sd["count_offset"], 0.0)
    speed = level.velocity_m_s * math.exp(z["current"] * sd["current"])
    ratio = field.ground.boat_m_s[0] / (level.velocity_m_s * (1 + 1 / level.exponent_m))
    boat = max(ratio + z["boat"] * sd["boat"], 0.0) * speed * (1 + 1 / level.exponent_m) if ratio > 0 else 0.0
    stance = "drifting" if ratio > 0 else "wading"
    cast = Cast(asked.cast_m * math.exp(z["cast"] * sd["cast"]), asked.angle_deg, 0.45, counted, mode, stance, boat)
    risen = z["level"] * level.level_sd_m
    bed = true_bed(field, risen, z, sd) if rough else max(level.depth_m + risen + z["bed_offset"] * 0.15, 0.1)
    current = Current(speed, level.depth_m, level.exponent_m)
    try:
        path = swim(line, fly, cast, current, bed, nodes=12, dt=0.03)
    except SwimFailed:
        return None
    return path.touched, path.hang


def table(cases: np.ndarray, truths: int) -> list[str]:
    """Lines of the reliability table for touch and hang."""
    out = []
    for name, stated, seen in (("touch", 0, 2), ("hang", 1, 3)):
        out.append(f"| {name} chance stated | cases | mean stated | came true |")
        out.append("| --- | --- | --- | --- |")
        for low, high in itertools.pairwise(BINS):
            inside = (cases[:, stated] >= low) & (cases[:, stated] < high)
            if inside.any():
                mean, true = cases[inside, stated].mean(), cases[inside, seen].mean()
                error = max(cases[inside, seen].std(ddof=0), 0.5 / math.sqrt(truths)) / math.sqrt(inside.sum())
                band = f"{100 * low:.0f} to {100 * min(high, 1):.0f} %"
                out.append(f"| {band} | {inside.sum()} | {100 * mean:.1f} % | {100 * true:.1f} ± {100 * error:.1f} % |")
    return out


def main() -> None:
    """Print the tables."""
    spots = int(sys.argv[1]) if len(sys.argv) > 1 else 80
    truths = int(sys.argv[2]) if len(sys.argv) > 2 else 40
    for rough in (False, True):
        with tempfile.TemporaryDirectory() as folder:
            cases = outcomes(spots, truths, 6, SwimStore(folder), rough)
        kind = "waves, shelves and drifting boats" if rough else "level beds"
        print(f"chances: {spots} waters x {truths} truths over {kind} on {os.cpu_count()} cores")
        print("\n".join(table(cases, truths)))
        miss = np.abs(cases[:, :2] - cases[:, 2:]).mean(axis=0)
        print(f"mean difference by case: touch {100 * miss[0]:.1f}, hang {100 * miss[1]:.1f} points")


if __name__ == "__main__":
    main()
