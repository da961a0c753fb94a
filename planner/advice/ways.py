"""The ways of fishing a spot: rig, countdown mode and strip pace; and the swims that they need."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

from planner.advice.field import Field, varied
from planner.advice.kept import hash_of
from planner.advice.records import Settings
from planner.advice.tables import Need, SwimTables

__all__ = ["Way", "normal_strip", "require", "side_by_side", "way_key"]


@dataclass(frozen=True)
class Way:
    """How a rig is fished at a spot: one column of the search."""

    rig: int
    mode: str
    strip_m_s: float


def normal_strip(settings: Settings) -> float:
    """The middle one of the strip paces [m/s]."""
    return sorted(settings.strips_m_s)[len(settings.strips_m_s) // 2]


def require(field: Field, tables: SwimTables, settings: Settings) -> tuple[list[Way], list[Need]]:
    """The ways of fishing the shortlist, and the swims that they need."""
    normal = normal_strip(settings)
    ways = [Way(rig, mode, strip) for rig in field.shortlist for mode in field.modes for strip in settings.strips_m_s]
    needs = [Need(field.canon, way.rig, way.mode, way.strip_m_s, node) for way in ways for node in field.nodes]
    for rig, mode in dict.fromkeys((way.rig, way.mode) for way in ways):
        needs.append(Need(field.canon, rig, mode, normal, field.centre))
        needs += [Need(field.canon, rig, mode, normal, field.centre, name) for name in varied(field)]
    return ways, needs


def way_key(way: Way, tables: SwimTables, settings: Settings, draws: int) -> bytes:
    """Hash of a way and of what it is weighed with: the rig as it is known, normal pace, draws and limit."""
    asked = (way, draws, settings.seed, settings.hang_limit, normal_strip(settings))
    if asked not in tables.way_keys:
        tables.way_keys[asked] = hash_of(tables.rig_key(way.rig), way.mode, way.strip_m_s, *asked[1:])
    return tables.way_keys[asked]


def side_by_side(function: Callable[[Any], Any], items: Sequence[Any]) -> list[Any]:
    """Results of a function for each item, one thread a core: the compiled weighing lets go of the interpreter."""
    with ThreadPoolExecutor(max_workers=os.cpu_count() or 1) as pool:
        return list(pool.map(function, items))
