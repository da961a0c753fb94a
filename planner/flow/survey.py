"""From soundings to a surveyed run: reduction to the run's datum, its bed, and its own level at a discharge."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.bed.error import block_error
from planner.bed.frame import ChannelFrame
from planner.bed.islands import inland
from planner.bed.outline import centreline, flowline_near, polygon_edges
from planner.bed.points import merged_sd, thin
from planner.bed.surface import Bed, Grid, grid_weights
from planner.flow.control import control_asked, marks_of, misread
from planner.flow.days import DaySeen, SurveyDay, SurveyFit, levels_seen, split_constant
from planner.flow.doubt import bed_slopes, doubts
from planner.flow.reduction import Reduced, only, reduce_soundings, reference
from planner.flow.relation import ControlRelation, LevelRelation, conveyance_table, reach_wetted
from planner.flow.roughness import roughness_of
from planner.flow.runflow import RunFlow
from planner.flow.solve import Ground, Solved, drawn_waterline, solve
from planner.tables import constants

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
    bearing = math.radians(_bearing(run, limits))
    if math.isfinite(bearing):
        toward = (math.sin(bearing), math.cos(bearing))
    elif all(ends):
        points = [plane.to_xy(*group[0].geometry.coords[0][:2]) for group in ends]
        toward = (float(points[1][0] - points[0][0]), float(points[1][1] - points[0][1]))
        if not run.still:
            limits.append("Downstream is taken from put-in to take-out: check it, or draw the flowline.")
    elif not run.still:
        limits.append("Which way is downstream is not known and was guessed: draw the flowline.")
    return ChannelFrame(centreline(polygon, toward))


def _bearing(run: Any, limits: list[str]) -> float:
    """The user's word on which way the run flows, `flow_bearing_deg` [degrees from north]; NaN without one."""
    given = run.extra.get("flow_bearing_deg", math.nan)
    try:
        bearing = float(given)
    except (TypeError, ValueError):
        bearing = math.nan
    if "flow_bearing_deg" in run.extra and not math.isfinite(bearing):
        limits.append("The run's flow_bearing_deg is no number of degrees from north and is passed over.")
    return bearing if math.isfinite(bearing) else math.nan


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
    is known and the outline spans the flow, the level that Q = K C(L) gives at Q(t) (2), with K from the reference
    survey or from all days that share ground with it; bed and levels are repeated until no level moves 1 cm. Where
    that fails, the rise of the gauge is kept, by the ratio that two days show where they do, and half of it (or that
    ratio's own error) is added to the uncertainty.
    """
    from scipy.spatial import cKDTree
    from shapely.geometry import Polygon

    from planner.river.ground import LocalPlane
    from planner.water import rating_of

    limits: list[str] = []
    centre = run.polygon.centroid
    plane = LocalPlane(float(centre.x), float(centre.y))

    def ring(coords: Any) -> Floats:
        lonlat = np.asarray(coords)[:, :2]
        return np.column_stack(plane.to_xy(lonlat[:, 0], lonlat[:, 1]))

    polygon = Polygon(ring(run.polygon.exterior.coords), [ring(hole.coords) for hole in run.polygon.interiors])
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
    if polygon.interiors:
        columns = 2 * columns + 1  # an island's shore falls between columns
    line = drawn_waterline(run, edges, walls, frame, polygon, series, rating)
    if len(line.s) and not line.known:
        limits.append("When the water's edge was drawn, or the stage then, is not known: the sounding day's is taken.")
    line_parallel = line.stage - stage_ref
    line_parallel = line_parallel if math.isfinite(line_parallel) else 0.0
    cell = 0.05 if count <= 3000 else max(0.05, math.sqrt(width * length / stretch / 3000.0))
    seen = levels_seen(reduced, s, n, member, stretch)
    ratio, ratio_sd = (1.0, 0.0) if run.still else _rise_ratio(seen, stage_ref)
    parallel, line_parallel = parallel * ratio, line_parallel * ratio
    spread = np.concatenate((reduced.sd, np.full(len(line.s), constants("flow")["edge_sd_m"])))
    edge = np.arange(count + len(line.s)) >= count
    first = np.concatenate((np.nan_to_num(parallel) - reduced.depth, np.full(len(line.s), line_parallel)))
    points = thin(np.concatenate((s, line.s)), np.concatenate((n, line.n)), first, spread, edge, stretch, cell)
    laid = grid_weights(points, edges, stretch, columns)
    away = inland(frame, polygon, laid.s, laid.n) if polygon.interiors else np.zeros_like(laid.n)
    ground = Ground(laid, away, walls, _shelf_ease(run, bed_entry))
    asked, marks = control_asked(run), marks_of(run, series, rating)
    limits.extend(misread(run, marks))
    solved = solve(reduced, parallel, line, line_parallel, points, ground, discharge_ref, seen, marks, asked)
    calibrated = math.isfinite(discharge_ref) and solved.converged and math.isfinite(solved.relation.constant)
    if not calibrated:
        if math.isfinite(discharge_ref) and not solved.control.startswith("unknown"):
            limits.append("The run's level did not settle: it is taken to rise as the gauge does, with a wide range.")
        elif spans and not math.isfinite(discharge_ref):
            limits.append("No discharge is known for a sounding day: the run's own level cannot be calibrated.")
        kept = solve(reduced, parallel, line, line_parallel, points, ground, math.nan)
        solved = replace(kept, control=solved.control)
        discharge_ref = math.nan
    levels = solved.levels
    drift = constants("flow")["conveyance_drift"]
    shift = drift * np.abs(levels) if calibrated else np.maximum(ratio_sd, 0.0) * np.abs(np.nan_to_num(parallel))
    draft_grid = ground.lay(solved.points, solved.waterline)
    doubt = doubts(reduced, draft_grid, s, n, shift, solved.relation if calibrated else None)
    spread = np.concatenate((doubt.reading, spread[count:]))
    points = replace(solved.points, sd=merged_sd(spread, solved.points.cell))
    error = block_error(points, stretch)
    grid = _grid(ground, points, error, solved, reduced)
    bed = Bed(frame, points, stretch, error, grid, walls)
    division = ground.divided(grid)
    table = conveyance_table(grid, walls, above=max(4.0, float(np.max(levels)) + 3.0), division=division)
    relation, fit = _final(solved, table, seen, discharge_ref, bed_entry, slope, grid, walls)
    if calibrated:
        if reduced.extrapolated[member].any():
            limits.append("The sounding day's discharge is beyond the gauge's recent pairs: it is extrapolated.")
        if math.isfinite(slope) and isinstance(relation, LevelRelation):
            n_back, radius = math.sqrt(slope) / relation.constant, float(reach_wetted(grid, 0.0, walls).radius)
            _say_roughness(bed_entry, n_back, radius, limits)
    _say_control(solved.control, fit, limits)
    if not division.whole(grid.n.shape[1]):
        limits.append("The sections have a shelf beside the channel: they are divided there.")
    if count < constants("flow")["idw_below"]:
        limits.append(f"Only {count} sounding(s): the bed between them is little more than their mean.")
    blank.update(soundings=count)
    by_friction = calibrated and isinstance(relation, LevelRelation) and math.isfinite(slope)
    return RunFlow(
        **blank, bed=bed, relation=relation, stage_ref=stage_ref, discharge_ref=discharge_ref,
        n_calibrated=math.sqrt(slope) / relation.constant if by_friction else math.nan,
        levels_sounded=(float(levels.min()), float(levels.max())), waterline=solved.waterline,
        survey_limits=tuple(limits), tree=cKDTree(np.column_stack((reduced.x, reduced.y))), fit=fit, doubt=doubt,
        rise_ratio=ratio, rise_ratio_sd=ratio_sd, ease=division.factor(grid.n.shape[1]),
    )  # fmt: skip


def _grid(ground: Ground, points: Any, error: Any, solved: Solved, reduced: Reduced) -> Grid:
    """The grid with its errors: what soundings left out show, and the position error that they share."""
    plain = ground.nodes.grid(points, error)
    grid = replace(plain, z=ground.lay(points, solved.waterline).z)
    share = constants("flow")["position_common"]
    place = float(np.sqrt(np.mean(reduced.place_sd**2)))
    sd = np.hypot(plain.sd, math.sqrt(share) * place * bed_slopes(grid))
    return replace(grid, sd=sd)


def _rise_ratio(seen: tuple[DaySeen, ...], stage_ref: float) -> tuple[float, float]:
    """Rise of the run over that of the gauge, expected at 1 within a half, and its standard deviation."""
    weight, pull = 1 / 0.5**2, 1 / 0.5**2
    for day in seen:
        rise = day.stage - stage_ref
        if not day.reference and math.isfinite(day.level) and abs(rise) > 0.05:
            sure = (rise / math.hypot(day.level_sd, constants("flow")["stage_sd_m"])) ** 2
            weight, pull = weight + sure, pull + sure * day.level / rise
    return pull / weight, 1 / math.sqrt(weight)


def _shelf_ease(run: Any, bed_entry: dict[str, Any]) -> tuple[float, float]:
    """n of the channel over n of the shelves, from the run's property `bank_bed` (a class); 1 where not given."""
    given = run.extra.get("bank_bed")
    if not given:
        return 1.0, 1.0
    shelf, channel = roughness_of({"class": str(given)}, 1.0).n, roughness_of(bed_entry, 1.0).n
    ease = channel / shelf if shelf > 0 and channel > 0 else 1.0
    return ease, ease


def _final(
    solved: Solved,
    table: LevelRelation,
    seen: tuple[DaySeen, ...],
    discharge_ref: float,
    bed_entry: dict[str, Any],
    slope: float,
    grid: Grid,
    walls: tuple[bool, bool],
) -> tuple[LevelRelation | ControlRelation, SurveyFit]:
    """The relation over the whole range of levels, and what the days of survey say."""
    own: LevelRelation | ControlRelation = table
    found = solved.relation
    if math.isfinite(discharge_ref) and isinstance(found, ControlRelation):
        own = replace(found, levels=table.levels, area=table.area)
    elif math.isfinite(discharge_ref) and isinstance(found, LevelRelation):
        if math.isfinite(found.drift_sd):
            own = table.fitted(found.constant, found.drift, found.pivot, found.drift_sd)
        else:
            own = table.calibrated(discharge_ref, 0.0)
    days = []
    for day in seen:
        known = math.isfinite(discharge_ref) and day.discharge > 0
        fitted = float(own.level(day.discharge)) if known else math.nan
        days.append(SurveyDay(day, fitted, day.level - fitted))
    if not isinstance(own, LevelRelation) or not math.isfinite(own.constant):
        return own, SurveyFit(tuple(days), control=solved.control)
    rough = roughness_of(bed_entry, float(reach_wetted(grid, 0.0, walls).radius))
    ln_sd = solved.constant_ln_sd
    ln_sd = ln_sd if math.isfinite(ln_sd) else constants("flow")["discharge_rel_sd"]
    n, n_low, n_high, steep, steep_low, steep_high = split_constant(own.constant, ln_sd, rough.n, rough.ln_sd, slope)
    drift_sd = own.drift_sd if math.isfinite(own.drift_sd) else constants("flow")["conveyance_drift"]
    return own, SurveyFit(
        tuple(days), ln_sd, own.drift, drift_sd, n, n_low, n_high, steep, steep_low, steep_high, solved.control
    )


def _say_control(control: str, fit: SurveyFit, limits: list[str]) -> None:
    kind, _, why = control.partition(": ")
    if kind == "downstream":
        limits.append(f"Something downstream holds this run's water ({why}): its level follows that, not friction.")
    elif kind == "unknown":
        limits.append(
            "This run is marked as held from downstream, but nothing tells how it rises: give control_depth_m or two "
            "levels; until then it is taken to rise as the gauge does."
        )
    worst = max((abs(day.residual) for day in fit.days if math.isfinite(day.residual)), default=0.0)
    if worst > constants("flow")["control_least_m"]:
        limits.append(f"The survey days disagree by up to {worst:.2f} m about the level of the run.")


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
