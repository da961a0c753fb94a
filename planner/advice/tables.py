"""Swim tables: free swims at the nodes of the grids, from the disk where they are known, else solved in batches."""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from planner.advice.canon import Canon, count_knots, current_grid, depth_grid
from planner.advice.records import constants
from planner.advice.store import FIELDS, Block, SwimStore, key_of, packed, unpacked
from planner.errors import SwimFailed
from planner.sink import Cast, Current, Fly, Line, free_swims, line_with_sink_factor, scenarios

__all__ = ["DT_S", "EVERY_S", "NODES", "SAMPLES", "STEPS", "Need", "Rig", "SwimTables", "longest_count"]

NODES, DT_S = 10, 0.05
EVERY_S, RECORD_S = 0.5, 0.25  # countdown's samples; records of the retrieve before they are sampled anew
SAMPLES = 48
# Steps of the finite differences, in the units of the responses: near one standard deviation of each.
STEPS = {"sink_rate": -0.1, "drag_area": 0.3, "lift": 1e-5, "boat": 0.05}
_CHUNK = 400


@dataclass(frozen=True)
class Rig:
    """A line with a fly on it, and what logged swims say of the line.

    Parameters
    ----------
    line, fly : Line, Fly
        As their labels and classes give them; swims are tabulated for these.
    line_name, fly_name : str
        The angler's names.
    sink_shift : float
        Learned shift of the ln of the line's sink rate [1]; it acts through the response, so no swim is solved anew.
    sink_known : float
        Standard deviation of that ln over that of its prior [1].
    like : int or None
        Index of the rig that this one is on another leader, whose responses it shares; None on the box's own leader.
    """

    line: Line
    fly: Fly
    line_name: str
    fly_name: str
    sink_shift: float = 0.0
    sink_known: float = 1.0
    like: int | None = None


@dataclass(frozen=True)
class Need:
    """One scenario of the tables; all its countdowns are solved together.

    Parameters
    ----------
    canon : Canon
        Geometry.
    rig : int
        Index of the rig.
    mode : str
        ``held``, ``fed`` or ``mended``.
    strip_m_s : float
        Strip pace [m/s].
    node : tuple of int
        Indices into the grids of current and depth.
    vary : str
        Which unknown is moved by its step of `STEPS`; empty for the swim itself.
    """

    canon: Canon
    rig: int
    mode: str
    strip_m_s: float
    node: tuple[int, int]
    vary: str = ""

    def __hash__(self) -> int:
        """Without the geometry's five numbers: needs of one spot share it, and equality still looks at it."""
        return hash((self.canon.cast_m, self.rig, self.mode, self.strip_m_s, self.node, self.vary))


def longest_count(canon: Canon, mode: str) -> float:
    """Longest countdown tabulated in a mode [s]."""
    return min(canon.longest_count_s, constants()["longest_fed_s"]) if mode == "fed" else canon.longest_count_s


class SwimTables:
    """Swims by need, solved at most once.

    Parameters
    ----------
    rigs : sequence of Rig
        The rigs that needs refer to.
    store : SwimStore, optional
        Where swims are kept between plans; None keeps them in memory only.
    """

    def __init__(self, rigs: Sequence[Rig], store: SwimStore | None) -> None:
        self.rigs = list(rigs)
        self.store = store
        self._bare: dict[int, str] = {}
        self.way_keys: dict[tuple, bytes] = {}  # filled by `ways.way_key`
        self._geometries: dict[Canon, str] = {}
        self.swims = self.from_disk = self.solved = 0
        self.seconds = 0.0
        self._held: dict[str, tuple[dict[str, int], Block]] = {}
        self._begins: dict[tuple[int, str, float, str], str] = {}
        self._counted: dict[str, set[str]] = {}
        self._used: dict[Need, tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]] = {}

    def rig_key(self, rig: int) -> str:
        """What a rig is and what was learned of it, without what it is called."""
        held = self.rigs[rig]
        return f"{self._swum(rig)} {held.sink_shift!r} {held.sink_known!r} {held.like is None}"

    def _swum(self, rig: int) -> str:
        """What a rig is, without what it is called and what was learned."""
        if rig not in self._bare:
            line, fly = self.rigs[rig].line, self.rigs[rig].fly
            self._bare[rig] = key_of(replace(line, name="", code="", flags=()), replace(fly, name=""))
        return self._bare[rig]

    def require(self, needs: Iterable[Need]) -> None:
        """Make sure that the swims of all needs are at hand: read them or solve them, and keep what was solved."""
        began = time.perf_counter()
        missing: dict[str, dict[str, Need]] = {}
        canon, geometry = None, ""
        index: dict[str, int] = {}
        counted: set[str] = set()
        for need in needs:
            if need.canon is not canon:  # those of one spot stand together
                canon, geometry = need.canon, self._geometry(need.canon)
                index, counted = self._load(geometry, canon)[0], self._counted.setdefault(geometry, set())
            key = self._key(need)
            if key in index:
                self.from_disk += key not in counted
            else:
                missing.setdefault(geometry, {})[key] = need
            counted.add(key)
        groups: dict[tuple, list[tuple[str, str, Need]]] = {}
        for geometry, wanted in missing.items():
            for key, need in wanted.items():
                group = (tuple(count_knots(longest_count(need.canon, need.mode))), need.canon.longest_count_s)
                groups.setdefault((*group, need.strip_m_s), []).append((geometry, key, need))
        found: dict[str, list[tuple[str, tuple]]] = {}
        for (knots, longest, _), members in groups.items():
            for start in range(0, len(members), _CHUNK):
                part = members[start : start + _CHUNK]
                parts = self._solve([need for _, _, need in part], np.array(knots), longest)
                for row, (geometry, key, _) in enumerate(part):
                    found.setdefault(geometry, []).append((key, tuple(array[row] for array in parts)))
        for geometry, rows in found.items():
            self._add(geometry, rows)
        self.solved += sum(len(rows) for rows in found.values())
        self.seconds += time.perf_counter() - began

    def get(self, need: Need) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Tracks of a need that was required: count (6, Tc), retrieve (6, C, S), duration (C,) and taut (C,)."""
        if need not in self._used:
            index, block = self._held[self._geometry(need.canon)]
            i = index[self._key(need)]
            self._used[need] = (unpacked(block.count[i]), unpacked(block.retrieve[i]), block.duration[i], block.taut[i])
        return self._used[need]

    def _geometry(self, canon: Canon) -> str:
        if canon not in self._geometries:
            self._geometries[canon] = key_of("geometry", canon, NODES, DT_S, EVERY_S, RECORD_S, SAMPLES)
        return self._geometries[canon]

    def _key(self, need: Need) -> str:
        way = (need.rig, need.mode, need.strip_m_s, need.vary)
        if way not in self._begins:
            step = STEPS.get(need.vary, 0.0)
            self._begins[way] = key_of(f"{self._swum(need.rig)} {need.mode} {need.strip_m_s!r} {need.vary} {step!r}")
        return f"{self._begins[way]} {need.node[0]} {need.node[1]}"

    def _load(self, geometry: str, canon: Canon) -> tuple[dict[str, int], Block]:
        if geometry not in self._held:
            held = self.store.read(geometry) if self.store else None
            counts = round(canon.longest_count_s / EVERY_S)
            if held is None or held[1].count.shape[1:] != (len(FIELDS), counts):
                C = len(count_knots(canon.longest_count_s))
                held = (
                    {},
                    Block(
                        np.zeros((0, len(FIELDS), counts), np.int16),
                        np.zeros((0, len(FIELDS), C, SAMPLES), np.int16),
                        np.zeros((0, C)),
                        np.zeros((0, C)),
                    ),
                )
            self._held[geometry] = held
        return self._held[geometry]

    def _add(self, geometry: str, rows: list[tuple[str, tuple]]) -> None:
        index, block = self._held[geometry]
        n = len(index)
        index = {**index, **{key: n + i for i, (key, _) in enumerate(rows)}}
        stacked = [np.stack(arrays) for arrays in zip(*(arrays for _, arrays in rows), strict=True)]
        block = Block(
            np.concatenate([block.count, stacked[0]]),
            np.concatenate([block.retrieve, stacked[1]]),
            np.concatenate([block.duration, stacked[2]]),
            np.concatenate([block.taut, stacked[3]]),
        )
        self._held[geometry] = (index, block)
        if self.store:
            self.store.write(geometry, index, block)

    def _solve(
        self, needs: Sequence[Need], knots: np.ndarray, longest_s: float, fine: int = 1
    ) -> tuple[np.ndarray, ...]:
        batch = scenarios([scenario_of(need, self.rigs[need.rig]) for need in needs])
        try:
            swims = free_swims(batch, knots, nodes=NODES, dt=DT_S / fine, every_s=RECORD_S)
        except SwimFailed:
            # few swims need shorter steps; halving the batch finds them without slowing the rest
            if len(needs) > 1:
                middle = len(needs) // 2
                halves = [self._solve(part, knots, longest_s, fine) for part in (needs[:middle], needs[middle:])]
                return tuple(np.concatenate(pair) for pair in zip(*halves, strict=True))
            if fine < 8:
                return self._solve(needs, knots, longest_s, 2 * fine)
            raise
        self.swims += len(needs) * len(knots)
        every = round(EVERY_S / RECORD_S)
        names = ("depth", "x", "y", "low_depth", "low_x", "low_y")
        count = np.stack([getattr(swims, f"count_{name}")[:, every::every] for name in names], axis=1)
        missing = round(longest_s / EVERY_S) - count.shape[2]
        count = np.pad(count, ((0, 0), (0, 0), (0, max(missing, 0))), mode="edge")
        last = np.maximum(swims.ends - 1, 1)
        at = (np.arange(SAMPLES) + 0.5) / SAMPLES * last[..., None]
        i = at.astype(int)
        part = at - i
        j = np.minimum(i + 1, last[..., None])
        retrieve = np.stack(
            [
                (1 - part) * np.take_along_axis(track, i, axis=2) + part * np.take_along_axis(track, j, axis=2)
                for track in (getattr(swims, name) for name in names)
            ],
            axis=1,
        )
        duration = last * RECORD_S
        # the line comes tight once what was fed has been taken in
        slack = swims.fed_m / np.array([need.strip_m_s for need in needs])[:, None]
        # as they will be on the disk, so that the first plan and the next agree to the last digit
        return packed(count), packed(retrieve), duration, np.clip(slack / duration, 0.0, 1.0)


def scenario_of(need: Need, rig: Rig) -> tuple[Line, Fly, Cast, Current]:
    """The swim of a need: line, fly, cast and current, with the unknown of `vary` moved by its step."""
    canon = need.canon
    speed = float(current_grid()[need.node[0]])
    current = Current(speed, float(depth_grid()[need.node[1]]), canon.exponent_m)
    line, fly, ratio = rig.line, rig.fly, canon.boat_ratio
    if need.vary == "sink_rate":
        line = line_with_sink_factor(line, float(np.exp(STEPS["sink_rate"])))
    elif need.vary == "drag_area":
        factor = float(np.exp(STEPS["drag_area"]))
        fly = replace(fly, towed_area_m2=fly.towed_area_m2 * factor, broadside_area_m2=fly.broadside_area_m2 * factor)
    elif need.vary == "lift":
        fly = replace(fly, lift_area_m2=fly.lift_area_m2 + STEPS["lift"])
    elif need.vary == "boat":
        ratio += STEPS["boat"]
    boat = ratio * speed * (1 + 1 / canon.exponent_m)
    cast = Cast(
        canon.cast_m,
        canon.angle_deg,
        need.strip_m_s,
        0.0,
        need.mode,
        "drifting" if ratio else "wading",
        boat,
    )
    return line, fly, cast, current
