"""Where the water stands or turns: slack water by its speed, eddies in the lee of what juts into the current.

The current that leaves a point of the bank closes on the bank again only after about six times the step; between it
and the bank the water turns [from memory: reattachment lengths of 6 to 8 steps]. In shallow water bed friction stills
such an eddy: the stability number S = c_f D / h (1), c_f = g n² / h^(1/3), tells where (S above about 0.5)
[ChenJirka1995].
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from planner.bed.surface import Grid
from planner.flow.field import node_speeds
from planner.flow.manning import GRAVITY
from planner.flow.state import FlowState
from planner.tables import constants

if TYPE_CHECKING:
    from planner.flow.runflow import RunFlow

__all__ = ["WATER", "lees", "water_at", "water_nodes"]

Floats = npt.NDArray[np.float64]

WATER = ("", "current", "slack", "eddy")


def _edge(dry: npt.NDArray[np.bool_], n: Floats) -> tuple[Floats, Floats]:
    """n of the right and left edge of the water at each station; NaN where all is dry."""
    wet = ~dry
    some = wet.any(axis=1)
    first, last = wet.argmax(axis=1), dry.shape[1] - 1 - wet[:, ::-1].argmax(axis=1)
    rows = np.arange(len(n))
    return np.where(some, n[rows, first], np.nan), np.where(some, n[rows, last], np.nan)


def _closing(edge: Floats, s: Floats, spread: float) -> Floats:
    """An edge (larger = farther out of the channel) that retreats no faster downstream than one in `spread`."""
    held = edge.copy()
    for i in range(1, len(s)):
        if math.isfinite(held[i - 1]) and math.isfinite(held[i]):
            held[i] = min(held[i], held[i - 1] + (s[i] - s[i - 1]) / spread)
    return held


def lees(n: Floats, s: Floats, dry: npt.NDArray[np.bool_]) -> Floats:
    """Width of the lee at each node [m]: 0 in the open current, shape (k, j).

    Parameters
    ----------
    n, s : numpy.ndarray, shape (k, j), (k,)
        Nodes across and stations along, downstream [m].
    dry : numpy.ndarray of bool, shape (k, j)
        Ground that stands out of the water.

    Notes
    -----
    Both edges of the water are followed downstream, and so is the wake of every island: dry nodes with water on both
    sides throw a wedge that narrows by one in `lee_spread` on each side.
    """
    spread = constants("flow")["lee_spread"]
    right, left = _edge(dry, n)
    inner_left = _closing(left, s, spread)
    inner_right = -_closing(-right, s, spread)
    width = np.zeros_like(n)
    over_left = (n > inner_left[:, None]) & ~dry
    width = np.where(over_left, (left - inner_left)[:, None], width)
    over_right = (n < inner_right[:, None]) & ~dry
    width = np.where(over_right, (inner_right - right)[:, None], width)
    return np.maximum(width, _wakes(n, s, dry, right, left, spread))


def _wakes(n: Floats, s: Floats, dry: npt.NDArray[np.bool_], right: Floats, left: Floats, spread: float) -> Floats:
    """Width of islands' wakes at the nodes [m]."""
    width = np.zeros_like(n)
    inner = dry & (n > right[:, None]) & (n < left[:, None])
    trail: list[tuple[float, float]] = []
    for i in range(len(s)):
        step = (s[i] - s[i - 1]) / spread if i else 0.0
        trail = [(a + step, b - step) for a, b in trail if b - a > 2 * step]
        for a, b in trail:
            mask = (n[i] > a) & (n[i] < b) & ~dry[i]
            width[i, mask] = np.maximum(width[i, mask], b - a)
        row = np.flatnonzero(inner[i])
        if len(row):
            cuts = np.flatnonzero(np.diff(row) > 1)
            for piece in np.split(row, cuts + 1):
                a, b = float(n[i, piece[0]]), float(n[i, piece[-1]])
                trail = [(p, q) for p, q in trail if q < a or p > b]
                trail.append((a, b))
    return width


def water_nodes(flow: RunFlow, state: FlowState, grid: Grid) -> npt.NDArray[np.int8]:
    """Class of the water at the nodes, an index into `WATER`: 0 dry, 1 current, 2 slack, 3 eddy."""
    table = constants("flow")
    depth = state.level_m - grid.z
    dry = ~(depth > 0.02)
    speed = node_speeds(flow, grid, state)
    lee = lees(grid.n, grid.s, dry)
    h = np.maximum(depth, 0.02)
    rough = flow.n_calibrated if math.isfinite(flow.n_calibrated) else state.n
    rough = rough if rough > 0 else 0.035
    stability = GRAVITY * rough**2 / h ** (1 / 3) * lee / h
    eddy = (lee >= table["lee_least_m"]) & (stability < table["wake_critical"])
    fastest = np.where(dry, 0.0, speed).max(axis=1, keepdims=True)
    slack = (speed < table["slack_speed_m_s"]) | (speed < table["slack_share"] * fastest)
    slack |= (lee >= table["lee_least_m"]) & ~eddy
    kind = np.where(eddy, 3, np.where(slack, 2, 1))
    return np.where(dry, 0, kind).astype(np.int8)


def water_at(grid: Grid, kinds: npt.NDArray[np.int8] | None, s: Floats, n: Floats) -> npt.NDArray[Any]:
    """Class of the water at channel coordinates [m]: one of `WATER`, from the nearest node; empty where unknown.

    `kinds` are those of `water_nodes`; None when level or current are unknown.
    """
    if kinds is None:
        return np.full(np.shape(s), "")
    known = np.isfinite(s) & np.isfinite(n)
    i, j, f, g = grid.cell(np.where(known, s, grid.s[0]), np.where(known, n, 0.0))
    kind = kinds[i + (f > 0.5), j + (g > 0.5)]
    return np.where(known, np.array(WATER)[kind], "")
