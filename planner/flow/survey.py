"""From soundings to a surveyed run: reduction to the run's datum, its bed, and its own level at a discharge."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.bed.constants import constants
from planner.bed.error import block_error
from planner.bed.frame import ChannelFrame
from planner.bed.outline import Edges, centreline, flowline_near, polygon_edges
from planner.bed.points import Points, merged_sd, thin
from planner.bed.surface import Bed, Grid, GridWeights, grid_weights
from planner.flow.reduction import Reduced, only, reduce_soundings, reference
from planner.flow.relation import LevelRelation, conveyance_table, reach_wetted
from planner.flow.roughness import roughness_of
from planner.flow.runflow import RunFlow

__all__ = ["survey_run"]

Floats = npt.NDArray[np.float64]


def _frame_of(run: Any, river: Any, plane: Any, polygon: Any, limits: list[str]) -> ChannelFrame:
    """Channel coordinates from the flowline, or from the outline itself."""
    place = river.flowline()
    if place is not None:
        lonlat = np.asarray(place.geometry.coords)[:, :2]
        near = flowline_near(np.column_stack(plane.to_xy(lonlat[:, 0], lonlat[:, 1])), polygon)
        if near is not None:
            return ChannelFrame(near)
        if not run.still:
            limits.append("The flowline does not pass through this run: the middle of its outline is taken.")
    elif not run.still:
        limits.append("No flowline: the middle of the outline is taken for the direction of the current.")
    toward = None
    ends = [river.places_of(kind) for kind in ("put_in", "take_out")]
    if "flow_bearing_deg" in run.extra:
        bearing = math.radians(float(run.extra["flow_bearing_deg"]))
        toward = (math.sin(bearing), math.cos(bearing))
    elif all(ends):
        points = [plane.to_xy(*group[0].geometry.coords[0][:2]) for group in ends]
        toward = (float(points[1][0] - points[0][0]), float(points[1][1] - points[0][1]))
        if not run.still:
            limits.append("Downstream is taken from put-in to take-out: check it, or draw the flowline.")
    elif not run.still:
        limits.append("Which way is downstream is not known and was guessed: draw the flowline.")
    return ChannelFrame(centreline(polygon, toward))


@dataclass(frozen=True)
class _Waterline:
    """Points at the drawn water's edge and the water of the day they were drawn."""

    s: Floats
    n: Floats
    stage: float
    discharge: float

    @property
    def known(self) -> bool:
        return math.isfinite(self.stage) or math.isfinite(self.discharge)


def _waterline(run: Any, edges: Edges, walls: tuple[bool, bool], series: Any, rating: Any) -> _Waterline:
    from planner.water import discharge_at, run_discharge, stage_at

    step = max(round(len(edges.s) / 24), 1)
    use = np.flatnonzero(edges.whole)[::step]
    sides = [side for side, wall in zip((edges.right, edges.left), walls, strict=True) if wall]
    s = np.concatenate([edges.s[use] for _ in sides]) if sides else np.empty(0)
    n = np.concatenate([side[use] for side in sides]) if sides else np.empty(0)
    stage = discharge = math.nan
    if sides and run.waterline_at is not None and series is not None:
        late = run.lag_min * 60.0 if math.isfinite(run.lag_min) else 0.0
        at = np.array([np.datetime64(round(run.waterline_at.timestamp() - late), "s")])
        stage, discharge = float(stage_at(series, at)[0]), float(discharge_at(series, at)[0])
        if math.isfinite(stage) and not math.isfinite(discharge) and rating is not None:
            discharge = float(rating.discharge(stage))
        if discharge > 0:
            discharge = float(run_discharge(discharge, run))
    return _Waterline(s, n, stage, discharge)


@dataclass(frozen=True)
class _Solved:
    levels: Floats
    waterline: float
    relation: LevelRelation
    points: Points
    converged: bool


def _solve(
    reduced: Reduced,
    parallel: Floats,
    line: _Waterline,
    line_parallel: float,
    points: Points,
    nodes: GridWeights,
    walls: tuple[bool, bool],
    discharge_ref: float,
) -> _Solved:
    """Levels of the run at its soundings, from parallel rise to those of its own relation.

    The bed from the levels, the relation from the bed, the levels from the relation, until no level moves 1 cm.
    """
    levels, waterline = np.nan_to_num(parallel), line_parallel
    calibrate = math.isfinite(discharge_ref)
    blank = np.zeros_like(nodes.n)
    for _ in range(25):
        z = np.concatenate((levels - reduced.depth, np.full(len(line.s), waterline)))
        placed = points.with_levels(z)
        grid = Grid(nodes.s, nodes.n, nodes.level(placed.z), blank, nodes.whole)
        relation = conveyance_table(grid, walls, count=60)
        if not calibrate:
            return _Solved(levels, waterline, relation, placed, True)
        relation = relation.calibrated(discharge_ref, 0.0)
        if not math.isfinite(relation.constant):
            return _Solved(levels, waterline, relation, placed, False)
        solved = relation.level(reduced.discharge)
        solved = np.where(np.isfinite(solved), solved, parallel)
        moved = np.abs(solved - levels)
        levels = solved
        if math.isfinite(line.discharge):
            edge = float(relation.level(line.discharge))
            moved = np.append(moved, abs(edge - waterline) if math.isfinite(edge) else 0.0)
            waterline = edge if math.isfinite(edge) else waterline
        if not np.isfinite(levels).all():
            return _Solved(levels, waterline, relation, placed, False)
        if moved.max() < 0.01:
            return _Solved(levels, waterline, relation, placed, True)
    return _Solved(levels, waterline, relation, placed, False)


def survey_run(run: Any, river: Any, series: Any, rating: Any = None) -> RunFlow:
    """Survey a run from its soundings.

    Parameters
    ----------
    run : planner.river.Run
        The run.
    river : planner.river.River
        Its folder: soundings, flowline, default slope and bed.
    series : planner.gauges.Series or None
        The record of the run's gauge, as far back as the soundings where possible.
    rating : planner.water.Rating, optional
        Of the gauge; found from `series` when not given.

    Returns
    -------
    RunFlow
        Always; what is missing is in its `survey_limits`.

    Notes
    -----
    The run's datum is a plane at its slope through the water surface of the reference survey (level 0). A bed level
    is z = L(t) - (depth + draft) (1). L(t) is first the rise of the gauge since the reference, then, where discharge
    is known and the outline spans the flow, the level that Q = K A R^(2/3) gives at Q(t), with K from the reference
    survey (2); bed and levels are repeated until no level moves 1 cm. Where that fails, the rise of the gauge is
    kept and half of it is added to the uncertainty.
    """
    from scipy.spatial import cKDTree
    from shapely.geometry import Polygon

    from planner.river.ground import LocalPlane
    from planner.water import rating_of

    limits: list[str] = []
    centre = run.polygon.centroid
    plane = LocalPlane(float(centre.x), float(centre.y))
    ring = np.asarray(run.polygon.exterior.coords)[:, :2]
    polygon = Polygon(np.column_stack(plane.to_xy(ring[:, 0], ring[:, 1])))
    if rating is None and series is not None:
        rating = rating_of(series)
    frame = _frame_of(run, river, plane, polygon, limits)
    slope = run.slope if math.isfinite(run.slope) else float(river.slope)
    slope = slope if slope > 0 else math.nan
    bed_entry = dict(run.bed or river.bed or {})
    banks = str(run.banks or "none")
    walls = (banks in ("both", "right"), banks in ("both", "left"))
    shared = math.isfinite(run.flow_share)
    spans = (all(walls) or shared) and not run.still
    reduced = reduce_soundings(run, river, plane, polygon, series, rating)
    count = len(reduced.x)
    if reduced.left_out:
        limits.append(
            f"{reduced.left_out} sounding(s) were left out: no stage, and no date that the gauge's record covers."
        )
    blank = {
        "run": run, "plane": plane, "frame": frame, "polygon": polygon, "slope": slope, "bed_entry": bed_entry,
        "spans": spans, "rating": rating, "soundings": count, "left_out": reduced.left_out,
    }  # fmt: skip
    if count == 0:
        limits.append("No usable sounding in this run: no depth, no current, no advice.")
        return RunFlow(
            **blank, bed=None, relation=None, stage_ref=math.nan, discharge_ref=math.nan, n_calibrated=math.nan,
            levels_sounded=(math.nan, math.nan), waterline=math.nan, survey_limits=tuple(limits), tree=None,
        )  # fmt: skip
    if not spans and not run.still:
        limits.append(_edges_sentence(banks))
    elif not all(walls) and not run.still:
        limits.append(
            "The outline's edges are not the water's edge: the flow share is taken as that of the drawn part."
        )
    if not math.isfinite(slope) and not run.still:
        limits.append("No slope is given: Manning's equation cannot be used.")
    if not bed_entry and not run.still:
        limits.append("No bed class, n or stone size is given: Manning's equation cannot be used.")

    stage_ref, discharge_ref, member = reference(reduced)
    parallel = reduced.stage - stage_ref
    if not spans:
        discharge_ref = math.nan
        keep = np.isfinite(parallel)
        if not keep.all() and keep.any():
            limits.append(f"{int((~keep).sum())} sounding(s) have a discharge but no stage and were left out.")
            reduced, parallel, member = only(reduced, keep), parallel[keep], member[keep]
            count = len(reduced.x)
        elif not keep.any():
            parallel = np.zeros(count)
            limits.append("The soundings have no stage: they are taken as of one level.")

    stretch = constants("flow")["anisotropy"]
    s, n = frame.to_sn(reduced.x, reduced.y)
    edges = polygon_edges(frame, polygon, 48)
    length, width = float(np.ptp(edges.s)), float(np.median(edges.width))
    nodes = float(np.clip(4.0 * count, 1500.0, 4000.0))
    columns = int(np.clip(round(math.sqrt(nodes * 0.7)), 17, 65))
    edges = polygon_edges(frame, polygon, int(np.clip(nodes / columns, 24, 96)))
    line = _waterline(run, edges, walls, series, rating)
    if len(line.s) and not line.known:
        limits.append("When the water's edge was drawn, or the stage then, is not known: the sounding day's is taken.")
    line_parallel = line.stage - stage_ref
    line_parallel = line_parallel if math.isfinite(line_parallel) else 0.0
    cell = 0.05 if count <= 3000 else max(0.05, math.sqrt(width * length / stretch / 3000.0))
    spread = np.concatenate((reduced.sd, np.full(len(line.s), constants("flow")["edge_sd_m"])))
    edge = np.arange(count + len(line.s)) >= count
    first = np.concatenate((np.nan_to_num(parallel) - reduced.depth, np.full(len(line.s), line_parallel)))
    points = thin(np.concatenate((s, line.s)), np.concatenate((n, line.n)), first, spread, edge, stretch, cell)
    laid = grid_weights(points, edges, stretch, columns)
    solved = _solve(reduced, parallel, line, line_parallel, points, laid, walls, discharge_ref)
    calibrated = math.isfinite(discharge_ref) and solved.converged and math.isfinite(solved.relation.constant)
    if not calibrated:
        if math.isfinite(discharge_ref):
            limits.append("The run's level did not settle: it is taken to rise as the gauge does, with a wide range.")
        elif spans:
            limits.append("No discharge is known for a sounding day: the run's own level cannot be calibrated.")
        solved = _solve(reduced, parallel, line, line_parallel, points, laid, walls, math.nan)
        discharge_ref = math.nan
    levels = solved.levels
    far = np.abs(levels) if calibrated else np.abs(np.nan_to_num(parallel))
    level_sd = constants("flow")["conveyance_drift"] * far if calibrated else 0.5 * far
    reading = np.hypot(np.hypot(reduced.sd, constants("flow")["stage_sd_m"]), level_sd)
    spread = np.concatenate((reading, spread[count:]))
    points = replace(solved.points, sd=merged_sd(spread, solved.points.cell))
    error = block_error(points, stretch)
    grid = laid.grid(points, error)
    bed = Bed(frame, points, stretch, error, grid, walls)
    relation = conveyance_table(grid, walls, above=max(4.0, float(np.max(levels)) + 3.0))
    n_back = math.nan
    if calibrated:
        relation = relation.calibrated(discharge_ref, 0.0)
        if reduced.extrapolated[member].any():
            limits.append("The sounding day's discharge is beyond the gauge's recent pairs: it is extrapolated.")
        if math.isfinite(slope):
            n_back = math.sqrt(slope) / relation.constant
            _say_roughness(bed_entry, n_back, float(reach_wetted(grid, 0.0, walls).radius), limits)
    if count < constants("flow")["idw_below"]:
        limits.append(f"Only {count} sounding(s): the bed between them is little more than their mean.")
    blank.update(soundings=count)
    return RunFlow(
        **blank, bed=bed, relation=relation, stage_ref=stage_ref, discharge_ref=discharge_ref, n_calibrated=n_back,
        levels_sounded=(float(levels.min()), float(levels.max())), waterline=solved.waterline,
        survey_limits=tuple(limits), tree=cKDTree(np.column_stack((reduced.x, reduced.y))),
    )  # fmt: skip


def _edges_sentence(banks: str) -> str:
    if banks in ("left", "right"):
        return (
            f"Only the {banks} edge is marked as the water's edge, so area and discharge are for the drawn part only; "
            "give a flow share to use the discharge."
        )
    return "The outline's edges are not the water's edge, so area and discharge are for the drawn part only."


def _say_roughness(bed_entry: dict[str, Any], n_back: float, radius: float, limits: list[str]) -> None:
    rough = roughness_of(bed_entry, radius)
    if math.isfinite(rough.n) and not rough.low <= n_back <= rough.high:
        limits.append(
            f"The sounding day's discharge shows n = {n_back:.3f}, outside {rough.low:.3f} to {rough.high:.3f} "
            f"({rough.basis}): slope, bed, flow share or drawn edges may be off."
        )
