"""Whether stated touch and hang chances come true, on invented rivers whose truth is known.

Run as ``python -m tests.bench.bench_chances [spots] [truths]`` for two reliability tables of the rod held low, and as
``python -m tests.bench.bench_chances kinds [spots] [truths] [seed]`` for one row a kind of answer. Each spot is a
water, a rig and a count; the advice states its chances from its tables. Then truths are drawn from the same priors
(current, sink rate, drag, lift, count, cast, level, bed), each is swum at full resolution over its own bed, with
contact, and what happened is counted. Nothing of the advice's linear heights is in that.
"""

from __future__ import annotations

import itertools
import math
import os
import sys
import tempfile
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from planner.advice import AtLevel, BedPatch, Settings, SpotAtLevels, SwimStore
from planner.advice.advise import rigs_of
from planner.advice.draws import ROWS, deviations, draw
from planner.advice.field import Field, field_of, tracks_of
from planner.advice.objective import prefer
from planner.advice.records import constants
from planner.advice.tables import SwimTables
from planner.advice.variants import needs_of, with_leaders
from planner.advice.ways import Way, require
from planner.advice.weigh import weigh
from planner.errors import SwimFailed
from planner.river.records import Tackle, TackleFly, TackleLine
from planner.sink import BedGrid, Cast, Current, Swim, line_with_sink_factor, swim
from planner.sink.constants import constant

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


@dataclass(frozen=True)
class Kind:
    """A kind of answer.

    Parameters
    ----------
    name : str
        What the table calls it.
    stances : tuple of (str, float)
        Stances with the boat's speed ratio, NaN where it does not move or is not given.
    angles, casts_m : tuple of float
        Least and most of the angle from straight downstream [deg] and of the cast [m].
    leader : float
        Factor of the leader's length [1].
    mode : str
        Countdown mode; empty takes held or fed.
    steepest : float
        How steeply the bed may shelve towards the rod [1]; the least is a third of it.
    lifted : str
        Empty for cases as they come, else only those in which the rod is lifted early: ``pick-up`` where the line is
        taken off the water within a metre of strip, ``slowly`` where the rod rises until the usual pick-up.
    """

    name: str
    stances: tuple[tuple[str, float], ...] = (("wading", math.nan),)
    angles: tuple[float, float] = (45.0, 45.0)
    casts_m: tuple[float, float] = (15.0, 15.0)
    leader: float = 1.0
    mode: str = ""
    steepest: float = 0.03
    lifted: str = ""


_ALL = (("wading", math.nan), ("anchored", math.nan), ("drifting", math.nan))
KINDS = (
    Kind("own leader, held or fed", _ALL),
    Kind("leader of twice the length", _ALL, leader=2.0),
    Kind("leader of half the length", _ALL, leader=0.5),
    Kind("mended", (("wading", math.nan), ("anchored", math.nan)), (60.0, 105.0), mode="mended"),
    Kind("rod lifted early, picked up there", _ALL, (45.0, 90.0), steepest=0.06, lifted="pick-up"),
    Kind("rod lifted early, slowly", _ALL, (45.0, 90.0), steepest=0.06, lifted="slowly"),
    Kind("drifting at 0.6 to 1 of the current", tuple(("drifting", r) for r in (0.6, 0.8, 0.9, 1.0)), (60.0, 90.0)),
    Kind("across and upstream", _ALL, (90.0, 135.0)),
    Kind("casts and angles between the tables'", _ALL, (30.0, 120.0), (11.0, 19.0)),
)


def water_of(kind: Kind, rng: np.random.Generator, k: int) -> SpotAtLevels:
    """A bed of waves that shelves towards the rod, for a kind of answer."""
    from types import SimpleNamespace

    axis = np.arange(-60.0, 61.0, 1.5)
    depth, speed = rng.uniform(1.0, 2.4), rng.uniform(0.25, 0.7)
    angle, cast = rng.uniform(*kind.angles), rng.uniform(*kind.casts_m)
    stance, ratio = kind.stances[k % len(kind.stances)]
    a = math.radians(angle)
    toward = axis[None, :] * math.sin(a) - axis[:, None] * math.cos(a)
    shelf = rng.uniform(kind.steepest / 3, kind.steepest)
    bed = np.maximum(depth - shelf * np.clip(toward, 0.0, None), 0.1)
    bed = bed + rng.uniform(0.0, 0.2) * np.sin(axis[:, None] / rng.uniform(4, 12) + k)
    level = AtLevel(0.0, depth, speed, speed / 1.16, speed * 1.16, 6.0, 0.04, speed)
    patch = BedPatch(axis, axis, bed, np.full(bed.shape, 0.15))
    spot = SimpleNamespace(id=str(k), name=str(k), stance=stance, boat_speed_ratio=ratio)
    return SpotAtLevels(spot, cast, angle, 0.0, 1.0, 1, patch, (level,), True, 0.15, 0.6, 60)


def by_kind(kind: Kind, spots: int, truths: int, seed: int, store: SwimStore, *, any_count: bool = False) -> np.ndarray:
    """Stated touch, hang and band time of one kind of answer, and what came of them, shape (cases, 6).

    Three cases of four take the count that the advice would, the most band time within the hang limit, where there is
    one that leaves a touch in question; the others any count that leaves one. With the rod lifted early all take the
    count that the advice would, or all any count.
    """
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    settings = Settings(strips_m_s=(0.45,), draws=128)
    own, _ = rigs_of(box())
    led = with_leaders(own)
    tables = SwimTables(led, store)
    length = own[0].line.leader_length_m * kind.leader
    usable = [r for r, rig in enumerate(led) if math.isclose(rig.line.leader_length_m, length)]
    found: list[tuple[float, ...]] = []
    k, share = 0, 1.0 if any_count else 0.0 if kind.lifted else 0.25
    while len(found) < spots:
        asked, k = water_of(kind, rng, k), k + 1
        field = field_of(asked, settings)
        assert field is not None
        r, mode = int(rng.choice(usable)), kind.mode or ("held" if rng.random() < 0.7 else "fed")
        like = led[r].like
        field.shortlist = [r if like is None else like]
        tables.require([*require(field, tables, settings)[1], *needs_of(field, [Way(r, mode, 0.45)])])
        tracks, spread = tracks_of(field, tables, r, mode, 0.45, 0.45), field.spread(led[r])
        seconds = field.seconds(mode)
        stated = weigh(tracks, field.ground, spread, deviations(draw(128, settings.seed)), seconds)
        touch, lift = stated.touch_chance[0], stated.lift_at_m[0]
        usable_count = (touch > 0.01) & (touch < 0.99)
        if kind.lifted:
            usable_count &= lift > constant("pickup_length") + 1.5
        if not usable_count.any():
            continue
        best = prefer(np.where(usable_count, stated.band_time_s[0], 0.0), stated.hang_chance[0], settings.hang_limit)
        if kind.lifted and best is None and not any_count:
            continue  # steep shelves hang at most counts: none of them is ever advised
        c = int(rng.choice(np.flatnonzero(usable_count))) if best is None or rng.random() < share else best
        sd = dict(zip(ROWS, spread[0], strict=True))
        lifting = Lift(float(lift[c]), kind.lifted)
        happened = [truth(rng, field, led[r], mode, float(seconds[c]), sd, True, lifting) for _ in range(truths)]
        seen = np.array([one for one in happened if one is not None], dtype=float)
        said = (stated.touch_chance[0, c], stated.hang_chance[0, c], stated.band_time_s[0, c])
        found.append((*said, *seen.mean(axis=0)))
    return np.array(found)


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
        found.append((stated.touch_chance[0, c], stated.hang_chance[0, c], *seen.mean(axis=0)[:2]))
    return np.array(found)


@dataclass(frozen=True)
class Lift:
    """Where the rod is lifted, NaN only at the pick-up [m from the rod], and how, as in `Kind`."""

    at_m: float
    how: str

    def of(self, depth_m: float) -> dict[str, float]:
        """What a cast needs to know: by the line that is out when the fly is there."""
        if not self.at_m > constant("pickup_length") + 1.5:
            return {}
        out = math.hypot(self.at_m, 0.8 * depth_m)
        return {"lift_at_m": out} if self.how == "slowly" else {"lift_at_m": out, "pickup_m": out - 1.0}


LOW = Lift(math.nan, "")


def band_time(path: Swim, field: Field, lift: Lift) -> float:
    """Time in the hold band of a true swim, over the spot's water, up to a hang and to where the rod is lifted [s]."""
    from scipy.interpolate import RegularGridInterpolator

    c, hold = constants(), (field.spot.hold_low_m, field.spot.hold_high_m)
    inside = (path.height_m >= hold[0]) & (path.height_m <= hold[1]) & (path.phase < 2)
    # a place, as the advice takes it: by the bed as it was sounded, whatever its error
    sounded = true_bed(field, 0.0, dict.fromkeys(ROWS, 0.0), dict.fromkeys(ROWS, 0.0))
    down = np.clip(path.fly_x_m + field.ground.boat_m_s[0] * path.times_s, sounded.x_m[0], sounded.x_m[-1])
    places = np.stack([np.clip(path.fly_y_m, sounded.y_m[0], sounded.y_m[-1]), down], axis=1)
    water = RegularGridInterpolator((sounded.y_m, sounded.x_m), sounded.depth_m)(places)
    inside &= water >= c["holding_share"] * field.ground.landing_depth_m[0]
    if lift.at_m > constant("pickup_length"):
        inside &= (path.phase == 0) | (path.fly_distance_m >= lift.at_m)
    if path.hang:
        on_bed = path.clearance_m < 0.005
        since = np.maximum.accumulate(np.where(on_bed, -np.inf, path.times_s))
        long = on_bed & (path.times_s - np.where(np.isfinite(since), since, 0.0) > c["hang_contact_s"])
        ends = path.times_s[long][0] if long.any() else path.times_s[on_bed][0] if on_bed.any() else math.inf
        inside &= path.times_s < ends
    return float(inside @ np.diff(path.times_s, append=path.times_s[-1]))


def truth(
    rng: np.random.Generator,
    field: Field,
    rig: Any,
    mode: str,
    seconds: float,
    sd: dict[str, float],
    rough: bool,
    lift: Lift = LOW,
    strip_m_s: float = 0.45,
) -> tuple[bool, bool, float] | None:
    """Whether one true swim touches and hangs, and its band time [s]; None when it cannot be solved."""
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
    length = asked.cast_m * math.exp(z["cast"] * sd["cast"])
    cast = Cast(length, asked.angle_deg, strip_m_s, counted, mode, stance, boat, **lift.of(level.depth_m))
    risen = z["level"] * level.level_sd_m
    bed = true_bed(field, risen, z, sd) if rough else max(level.depth_m + risen + z["bed_offset"] * 0.15, 0.1)
    current = Current(speed, level.depth_m, level.exponent_m)
    try:
        path = swim(line, fly, cast, current, bed, nodes=12, dt=0.03)
    except SwimFailed:
        return None
    return path.touched, path.hang, band_time(path, field, lift)


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


def row(name: str, cases: np.ndarray) -> str:
    """One row of the table by kind: what was stated and what came true, with the standard error of the difference."""
    parts = [f"| {name} | {len(cases)} "]
    for k, (scale, unit) in enumerate(((100.0, " %"), (100.0, " %"), (1.0, " s"))):
        stated, seen = scale * cases[:, k], scale * cases[:, k + 3]
        error = (stated - seen).std(ddof=1) / math.sqrt(len(cases))
        parts.append(f"| {stated.mean():.1f}{unit} | {seen.mean():.1f} ± {error:.1f}{unit} ")
    return "".join(parts) + "|"


def kinds(spots: int, truths: int, seed: int) -> None:
    """Print a row for each kind of answer: all cases, and those whose hang chance is within the limit."""
    limit = Settings().hang_limit
    with tempfile.TemporaryDirectory() as folder:
        every = {kind.name: by_kind(kind, spots, truths, seed, SwimStore(folder)) for kind in KINDS}
        early = {
            f"{kind.name}, at any count": by_kind(kind, spots, truths, seed, SwimStore(folder), any_count=True)
            for kind in KINDS
            if kind.lifted
        }
    head = "| cases | touch stated | came true | hang stated | came true | band time stated | came true |"
    print(f"chances by kind: {spots} waters x {truths} truths, seed {seed}")
    for title, least in (("within the hang limit", limit + 1e-9), ("all", 1.0)):
        print(f"| {title} {head}\n| --- | --- | --- | --- | --- | --- | --- | --- |")
        for name, cases in every.items():
            some = cases[cases[:, 1] <= least]
            if len(some) > 1:
                print(row(name, some))
    for name, cases in early.items():
        print(row(name, cases))


def main() -> None:
    """Print the tables."""
    if sys.argv[1:2] == ["kinds"]:
        given = [int(word) for word in sys.argv[2:]]
        kinds(*given, *(100, 16, 7)[len(given) :])
        return
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
