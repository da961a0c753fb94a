"""How near the search comes to brute force, on random spots.

Run as ``python -m tests.bench.bench_optimal [spots] [seed]``; prints one line. The search was tuned on seed 17: another
seed shows what it does on spots that it was not tuned on. Brute force weighs every rig held, fed and mended, and held
and fed on its other leaders, at every strip pace and every whole second with all draws, from the same swim tables; the
search screens, shortlists, looks at every third second first, and tries leaders and mends on few rigs. Spots stand on
canonical casts, so that many share their tables.
"""

from __future__ import annotations

import math
import os
import sys
import tempfile
from dataclasses import replace
from types import SimpleNamespace

import numpy as np

from planner.advice import AtLevel, BedPatch, Settings, SpotAtLevels, SwimStore
from planner.advice.advise import rigs_of
from planner.advice.draws import deviations, draw
from planner.advice.field import field_of, tracks_of
from planner.advice.objective import worth
from planner.advice.screen import screen
from planner.advice.tables import SwimTables
from planner.advice.variants import is_own, needs_of, with_leaders
from planner.advice.ways import normal_strip, require
from planner.advice.weigh import weigh
from planner.river.records import Tackle, TackleFly, TackleLine
from tests.advice.weighed import weigh_field

CASTS = ((12.0, 45.0, "anchored"), (15.0, 90.0, "wading"), (18.0, 60.0, "bank"), (15.0, 90.0, "drifting"))


def box(lines: int = 4) -> Tackle:
    """Lines from an intermediate to a fast sinking head, and three flies."""
    made = tuple(TackleLine(f"{i}", "", 26.0, 200.0, i, math.nan, "floating", 7) for i in (1.5, 3.0, 5.0, 6.5)[:lines])
    flies = (
        TackleFly("bulky", "high", math.nan, "none"),
        TackleFly("medium", "medium", math.nan, "light"),
        TackleFly("slim", "low", math.nan, "heavy"),
    )
    return Tackle(made, flies, 1.2, 0.33, "nylon", 0.0, 2.0, "nylon")


def random_spot(rng: np.random.Generator, k: int, casts: int = len(CASTS)) -> SpotAtLevels:
    """A bed of waves that shelves towards the rod, on one of the canonical casts."""
    cast, angle, stance = CASTS[k % casts]
    axis = np.arange(-60.0, 61.0, 3.0)
    depth, speed, a = rng.uniform(0.8, 3.2), rng.uniform(0.2, 0.9), math.radians(angle)
    toward = axis[None, :] * math.sin(a) - axis[:, None] * math.cos(a)
    bed = depth - rng.uniform(0.0, 0.06) * np.clip(toward, 0.0, None)
    bed = bed + rng.uniform(0.0, 0.2) * np.sin(axis[:, None] / rng.uniform(4, 12) + k)
    spread = math.exp(1.2816 * rng.uniform(0.08, 0.2))
    level = AtLevel(0.0, depth, speed, speed / spread, speed * spread, 6.0, rng.uniform(0.02, 0.08), speed)
    patch = BedPatch(axis, axis, bed, np.full(bed.shape, rng.uniform(0.05, 0.25)))
    spot = SimpleNamespace(id=str(k), name=str(k), stance=stance, boat_speed_ratio=math.nan)
    return SpotAtLevels(spot, cast, angle, 0.0, 1.0, 1, patch, (level,), True, 0.15, 0.6, 60)


def both(asked: SpotAtLevels, tackle: Tackle, settings: Settings, store: SwimStore) -> tuple[float, float]:
    """Worth of the search's best and of brute force's, within the hang limit [s]; 0 under the least worth fishing.

    Worth is band time, less for another leader and for mends (`objective.worth`). Both before ties go to rods that are
    rigged for other spots: that preference is worth up to its margin by choice.
    """
    box, _ = rigs_of(tackle)
    rigs = with_leaders(box)
    tables, field = SwimTables(rigs, store), field_of(asked, settings)
    assert field is not None
    screen([(field, list(range(len(box))))], tables, settings)
    ways, needs = require(field, tables, settings)
    tables.require(needs)
    candidates = weigh_field(field, tables, ways, settings).candidates[0]
    got = max(
        (
            worth(float(c.band[at]), own=is_own(c.way, rigs))
            for c in candidates
            if (at := c.best(settings.hang_limit)) is not None
        ),
        default=0.0,
    )
    field.shortlist = list(range(len(box)))
    ways, needs = require(field, tables, settings)
    mended = [replace(way, mode="mended") for way in ways if way.mode == "held" and "fed" in field.modes]
    led = [replace(way, rig=k) for way in ways for k, rig in enumerate(rigs) if rig.like == way.rig]
    tables.require([*needs, *needs_of(field, [*mended, *led])])
    rows, best = deviations(draw(settings.draws, settings.seed)), 0.0
    for way in [*ways, *mended, *led]:
        tracks = tracks_of(field, tables, way.rig, way.mode, way.strip_m_s, normal_strip(settings))
        found = weigh(tracks, field.ground, field.spread(rigs[way.rig]), rows, field.seconds(way.mode))
        most = float(np.where(found.hang_chance <= settings.hang_limit + 1e-9, found.band_time_s, 0.0).max())
        best = max(best, worth(most, own=is_own(way, rigs)))
    return got, best


def main() -> None:
    """Print one line."""
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 23
    rng, settings, tackle = np.random.default_rng(seed), Settings(), box()
    with tempfile.TemporaryDirectory() as folder:
        store = SwimStore(folder)
        pairs = np.array([both(random_spot(rng, k), tackle, settings, store) for k in range(n)])
    answered = pairs[:, 1] > 0
    lost = 1 - pairs[answered, 0] / pairs[answered, 1]
    print(
        f"optimal: {n} spots (seed {seed}) x {len(tackle.lines)} lines x {len(tackle.flies)} flies on "
        f"{os.cpu_count()} cores: "
        f"{answered.sum()} with an answer, {100 * (lost <= 0.02).mean():.1f} % within 2 % of brute force, "
        f"mean loss {100 * lost.mean():.2f} %, worst {100 * lost.max():.1f} %"
    )
    for k in np.flatnonzero(answered)[lost > 0.02]:
        print(f"  spot {k}: {pairs[k, 0]:.2f} s of {pairs[k, 1]:.2f} s")


if __name__ == "__main__":
    main()
