"""The level of a run at each of its soundings: bed and level found together."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.bed.islands import island_edge, raised
from planner.bed.outline import Edges
from planner.bed.points import Points
from planner.bed.surface import Grid, GridWeights
from planner.flow.control import Mark, control_relation, held_from_below
from planner.flow.days import DaySeen, fit_constant
from planner.flow.division import Division, divide
from planner.flow.reduction import Reduced
from planner.flow.relation import ControlRelation, LevelRelation, conveyance_table

__all__ = ["Ground", "Solved", "Waterline", "drawn_waterline", "solve"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Waterline:
    """Points at the drawn water's edge and the water of that day: stage [m] and discharge in the run [m³/s]."""

    s: Floats
    n: Floats
    stage: float
    discharge: float

    @property
    def known(self) -> bool:
        """Whether the water of that day is known."""
        return math.isfinite(self.stage) or math.isfinite(self.discharge)


def drawn_waterline(
    run: Any, edges: Edges, walls: tuple[bool, bool], frame: Any, polygon: Any, series: Any, rating: Any
) -> Waterline:
    """Points of the edges named in `banks` and of every island's ring, with the water of `waterline_at`."""
    from planner.water import discharge_at, run_discharge, stage_at

    step = max(round(len(edges.s) / 24), 1)
    use = np.flatnonzero(edges.whole)[::step]
    sides = [side for side, wall in zip((edges.right, edges.left), walls, strict=True) if wall]
    rim = sum(ring.length for ring in polygon.interiors)
    island_s, island_n = island_edge(frame, polygon, max(rim / 200.0, 1.0)) if rim > 0 else (np.empty(0), np.empty(0))
    s = np.concatenate([*(edges.s[use] for _ in sides), island_s])
    n = np.concatenate([*(side[use] for side in sides), island_n])
    stage = discharge = math.nan
    if len(s) and run.waterline_at is not None and series is not None:
        late = run.lag_min * 60.0 if math.isfinite(run.lag_min) else 0.0
        at = np.array([np.datetime64(round(run.waterline_at.timestamp() - late), "s")])
        stage, discharge = float(stage_at(series, at)[0]), float(discharge_at(series, at)[0])
        if math.isfinite(stage) and not math.isfinite(discharge) and rating is not None:
            discharge = float(rating.discharge(stage))
        if discharge > 0:
            discharge = float(run_discharge(discharge, run))
    return Waterline(s, n, stage, discharge)


@dataclass(frozen=True, eq=False)
class Ground:
    """Where the bed is wanted: nodes with their weights, the way inside islands at each, and the walls.

    Parameters
    ----------
    nodes : GridWeights
        Weights of the points at the nodes of the grid.
    away : numpy.ndarray, shape of the nodes
        Distance inside an island [m]; 0 elsewhere.
    walls : tuple of bool
        Whether the right and left rim is the water's edge.
    ease : tuple of float
        n of the channel over n of the right and of the left shelf.
    """

    nodes: GridWeights
    away: Floats
    walls: tuple[bool, bool]
    ease: tuple[float, float] = (1.0, 1.0)

    def lay(self, points: Points, waterline: float) -> Grid:
        """The grid of points with their levels, without errors."""
        z = raised(self.nodes.level(points.z), self.away, waterline)
        return Grid(self.nodes.s, self.nodes.n, z, np.zeros_like(z), self.nodes.whole)

    def divided(self, grid: Grid) -> Division:
        """Where its stations are divided into channel and shelves."""
        return divide(grid.n, grid.z, grid.whole if grid.whole.any() else np.ones(len(grid.s), dtype=bool), self.ease)


@dataclass(frozen=True, eq=False)
class Solved:
    """Levels of the run at its soundings [m], of its drawn edge [m], and what follows from them."""

    levels: Floats
    waterline: float
    relation: LevelRelation | ControlRelation
    table: LevelRelation
    points: Points
    converged: bool
    control: str = "friction"
    constant_ln_sd: float = math.nan


def solve(
    reduced: Reduced,
    parallel: Floats,
    line: Waterline,
    line_parallel: float,
    points: Points,
    ground: Ground,
    discharge_ref: float,
    seen: tuple[DaySeen, ...] = (),
    marks: tuple[Mark, ...] = (),
    asked: tuple[bool, float] = (False, math.nan),
) -> Solved:
    """Levels of the run at its soundings, from those of the gauge to those of its own relation.

    Parameters
    ----------
    reduced : Reduced
        Soundings with their water, k of them.
    parallel : numpy.ndarray, shape (k,)
        Levels to begin with, as the gauge rose [m].
    line, line_parallel : Waterline, float
        The drawn edge and its level to begin with [m].
    points, ground : Points, Ground
        Points to fit and where.
    discharge_ref : float
        Discharge of the reference survey [m³/s]; NaN leaves the levels as they are.
    seen, marks, asked
        Days of survey, levels on the user's mark, and what the user says of a control downstream.

    Notes
    -----
    The bed from the levels, the relation from the bed, the levels from the relation, until no level moves 1 cm. With
    the discharge of the reference survey alone K makes the relation pass through it; with days that share ground K
    and its drift are fitted to them all. Where a control holds the water its relation gives the levels.
    """
    first = _iterate(reduced, parallel, line, line_parallel, points, ground, discharge_ref, ())
    if not math.isfinite(discharge_ref) or not math.isfinite(first.table.constant):
        return first
    held, said = held_from_below(first.table, seen, marks, discharge_ref)
    if asked[0] or held:
        control = control_relation(first.table, seen, marks, discharge_ref, asked[1])
        why = "marked by you" if asked[0] else said
        if control is not None:
            return _held(control, why, reduced, parallel, line, line_parallel, points, ground)
        if asked[0]:
            kept = _iterate(reduced, parallel, line, line_parallel, points, ground, math.nan, ())
            return Solved(kept.levels, kept.waterline, kept.relation, kept.table, kept.points, True, f"unknown: {why}")
    if sum(math.isfinite(day.level) and day.discharge > 0 for day in seen) > 1:
        return _iterate(reduced, parallel, line, line_parallel, points, ground, discharge_ref, seen)
    return first


def _iterate(
    reduced: Reduced,
    parallel: Floats,
    line: Waterline,
    line_parallel: float,
    points: Points,
    ground: Ground,
    discharge_ref: float,
    seen: tuple[DaySeen, ...],
) -> Solved:
    levels, waterline = np.nan_to_num(parallel), line_parallel
    placed, spread = points, math.nan
    relation = LevelRelation(np.zeros(1), np.zeros(1), np.zeros(1))
    for _ in range(25):
        placed = _placed(points, levels, reduced, line, waterline)
        grid = ground.lay(placed, waterline)
        relation = conveyance_table(grid, ground.walls, count=60, division=ground.divided(grid))
        if not math.isfinite(discharge_ref):
            return Solved(levels, waterline, relation, relation, placed, True)
        relation = relation.calibrated(discharge_ref, 0.0)
        if not math.isfinite(relation.constant):
            return Solved(levels, waterline, relation, relation, placed, False)
        if seen:
            constant, spread, drift, drift_sd = fit_constant(relation, seen, discharge_ref)
            relation = relation.fitted(constant, drift, discharge_ref, drift_sd)
        solved = relation.level(reduced.discharge)
        solved = np.where(np.isfinite(solved), solved, parallel)
        moved = np.abs(solved - levels)
        levels = solved
        if math.isfinite(line.discharge):
            edge = float(relation.level(line.discharge))
            moved = np.append(moved, abs(edge - waterline) if math.isfinite(edge) else 0.0)
            waterline = edge if math.isfinite(edge) else waterline
        if not np.isfinite(levels).all():
            return Solved(levels, waterline, relation, relation, placed, False)
        if moved.max() < 0.01:
            return Solved(levels, waterline, relation, relation, placed, True, constant_ln_sd=spread)
    return Solved(levels, waterline, relation, relation, placed, False)


def _placed(points: Points, levels: Floats, reduced: Reduced, line: Waterline, waterline: float) -> Points:
    return points.with_levels(np.concatenate((levels - reduced.depth, np.full(len(line.s), waterline))))


def _held(
    control: ControlRelation,
    why: str,
    reduced: Reduced,
    parallel: Floats,
    line: Waterline,
    line_parallel: float,
    points: Points,
    ground: Ground,
) -> Solved:
    """Levels from the control, which does not depend on the run's bed."""
    # its formula goes on above its table, which is laid anew up to the highest of these levels
    above = replace(control, levels=np.array([math.inf]))
    levels = above.level(reduced.discharge)
    levels = np.where(np.isfinite(levels), levels, parallel)
    waterline = float(above.level(line.discharge)) if math.isfinite(line.discharge) else line_parallel
    waterline = waterline if math.isfinite(waterline) else line_parallel
    if not np.isfinite(levels).all():
        levels = np.nan_to_num(levels)
    placed = _placed(points, levels, reduced, line, waterline)
    grid = ground.lay(placed, waterline)
    table = conveyance_table(grid, ground.walls, count=60, division=ground.divided(grid))
    return Solved(levels, waterline, control, table, placed, True, f"downstream: {why}")
