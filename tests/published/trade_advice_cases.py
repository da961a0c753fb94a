"""Facts of the trade at the level of the advice: small boxes, invented spots, whole runs of the search."""

from __future__ import annotations

import math
import tempfile
from functools import cache
from types import SimpleNamespace
from typing import Any

import numpy as np

from planner.advice import Advice, AtLevel, BedPatch, Settings, SpotAtLevels, SwimStore, advise_in_full
from planner.advice.advise import rigs_of
from planner.advice.draws import deviations, draw
from planner.advice.field import field_of, tracks_of
from planner.advice.tables import SwimTables
from planner.advice.ways import require
from planner.advice.weigh import Weighed, weigh
from planner.river.records import Tackle, TackleFly, TackleLine

BULKY = TackleFly("bulky", "high", math.nan, "none")
SLIM = TackleFly("slim heavy", "low", math.nan, "heavy")


@cache
def _store() -> tuple[Any, SwimStore]:
    folder = tempfile.TemporaryDirectory()
    return folder, SwimStore(folder.name)


def _box(*lines: tuple[float, str], flies: tuple[TackleFly, ...] = (BULKY, SLIM)) -> Tackle:
    made = tuple(
        TackleLine(f"{ips} {running}", "WF-7-S", 26.0, 200.0, ips, math.nan, running, 7) for ips, running in lines
    )
    return Tackle(made, flies, 1.2, 0.33, "nylon", 0.0, 2.0, "nylon")


def _spot(
    depth: float, current: float, *, river: bool = True, cast: float = 15.0, angle: float = 45.0, shelf: float = 0.0
) -> SpotAtLevels:
    axis = np.arange(-60.0, 61.0, 2.0)
    a = math.radians(angle)
    toward = axis[None, :] * math.sin(a) - axis[:, None] * math.cos(a)
    bed = depth - shelf * np.clip(toward, 0.0, None)
    level = AtLevel(0.0, depth, current, current / 1.15, current * 1.15, 6.0, 0.04)
    stance = SimpleNamespace(id="a", name="a", stance="wading", boat_speed_ratio=math.nan)
    patch = BedPatch(axis, axis, bed, np.full(bed.shape, 0.12))
    return SpotAtLevels(stance, cast, angle, 0.0, 1.0, 1, patch, (level,), river, 0.15, 0.6, 60)


def _advice(spot: SpotAtLevels, box: Tackle, settings: Settings) -> Advice:
    return advise_in_full([spot], box, settings, store=_store()[1])[0][0][0]


def running_line_advised(running: str, river: bool) -> str | None:
    """Line advised from a box whose only line has the given running line; None when it is refused."""
    spot = _spot(1.6, 0.5 if river else 0.0, river=river)
    best = _advice(spot, _box((3.0, running)), Settings(strips_m_s=(0.45,), draws=32)).best
    return None if best is None else best.line


def heaviest_advised(depth_m: float, current_m_s: float) -> bool:
    """Whether the heavy fly on the fastest line is advised when lighter rigs are in the box."""
    box = _box((1.5, "floating"), (3.0, "floating"), (6.0, "floating"))
    best = _advice(_spot(depth_m, current_m_s), box, Settings(strips_m_s=(0.45,), draws=32, shortlist=6)).best
    return best is not None and best.line.startswith("6.0") and best.fly == SLIM.name


def _weighed(spot: SpotAtLevels, ips: float, strip: float, count: float, *, lifted: bool) -> Weighed:
    settings = Settings(strips_m_s=(0.25, 0.45, 0.75))
    rigs, _ = rigs_of(_box((ips, "floating"), flies=(SLIM,)))
    tables, field = SwimTables(rigs, _store()[1]), field_of(spot, settings)
    assert field is not None
    field.shortlist = [0]
    tables.require(require(field, tables, settings)[1])
    tracks = tracks_of(field, tables, 0, "held", strip, 0.45)
    rows = deviations(draw(128, 20))
    return weigh(tracks, field.ground, field.spread(rigs[0]), rows, np.array([count]), lifted=lifted)


def touch_by_strip(strip_m_s: float) -> float:
    """Touch chance of a slim heavy fly in slow water at a strip pace, the rod kept low [1]."""
    return float(_weighed(_spot(1.9, 0.15), 3.0, strip_m_s, 4.0, lifted=False).touch_chance[0, 0])


def touch_saved_by_strip() -> float:
    """Touch chance of a slow strip less that of a fast one, in slow water [1]."""
    return touch_by_strip(0.25) - touch_by_strip(0.75)


def touch_saved_by_lifting() -> float:
    """Touch chance with the rod kept low less that with the rod lifted, over a bed that shelves up to the rod [1]."""
    spot = _spot(1.9, 0.15, shelf=0.1)
    low, up = (_weighed(spot, 3.0, 0.45, 2.0, lifted=lifted).touch_chance[0, 0] for lifted in (False, True))
    return float(low - up)


def lift_share_of_cast() -> float:
    """Distance at which the rod is lifted over a bed that shelves up to the rod, as a share of the cast [1]."""
    return float(_weighed(_spot(1.9, 0.15, shelf=0.1), 3.0, 0.45, 2.0, lifted=True).lift_at_m[0, 0]) / 15.0


def depth_gained_by_counting(seconds: float) -> float:
    """How much deeper the slim fly swims in the retrieve after a countdown than with none, from a fixed stance [m]."""
    spot = _spot(2.4, 0.6)
    settings = Settings(strips_m_s=(0.45,))
    rigs, _ = rigs_of(_box((5.0, "floating"), flies=(SLIM,)))
    tables, field = SwimTables(rigs, _store()[1]), field_of(spot, settings)
    assert field is not None
    field.shortlist = [0]
    tables.require(require(field, tables, settings)[1])
    tracks = tracks_of(field, tables, 0, "fed", 0.45, 0.45)
    rows = deviations(draw(32, 20))
    found = weigh(tracks, field.ground, field.spread(rigs[0]), rows, np.array([0.0, seconds]), depths=True)
    return float(np.median(found.depth_m[0, 1]) - np.median(found.depth_m[0, 0]))
