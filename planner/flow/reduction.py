"""Soundings of one run with the water that they were taken on."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from planner.tables import constants

__all__ = ["Reduced", "only", "reduce_soundings", "reference"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Reduced:
    """Soundings of one run with the water they were taken on.

    Parameters
    ----------
    x, y : numpy.ndarray, shape (k,)
        East and north [m].
    depth : numpy.ndarray, shape (k,)
        Depth below the surface, draft added [m].
    sd : numpy.ndarray, shape (k,)
        Standard deviation of the depth as read [m].
    stage : numpy.ndarray, shape (k,)
        Stage at the gauge at the time [m]; NaN unknown.
    discharge : numpy.ndarray, shape (k,)
        Discharge in the run at the time [m³/s]; NaN unknown.
    day : numpy.ndarray of str, shape (k,)
        The day in the river's zone, or the stage where the day is not known.
    extrapolated : numpy.ndarray of bool, shape (k,)
        Discharge taken from the rating beyond its pairs.
    draft_sd, place_sd : numpy.ndarray, shape (k,)
        Standard deviation of the transducer's depth and of the position along each axis [m].
    time_sd : numpy.ndarray, shape (k,)
        Standard deviation of the moment at the gauge that belongs to the sounding [s]; 0 where the stage was given.
    stage_rate, flow_rate : numpy.ndarray, shape (k,)
        Change of the stage [m/s] and of the log of the discharge [1/s] at that moment; NaN unknown.
    left_out : int
        Soundings in the run with neither a stage nor a discharge.
    """

    x: Floats
    y: Floats
    depth: Floats
    sd: Floats
    stage: Floats
    discharge: Floats
    day: npt.NDArray[np.str_]
    extrapolated: npt.NDArray[np.bool_]
    draft_sd: Floats
    place_sd: Floats
    time_sd: Floats
    stage_rate: Floats
    flow_rate: Floats
    left_out: int


def reduce_soundings(run: Any, river: Any, plane: Any, polygon: Any, series: Any, rating: Any) -> Reduced:
    """Soundings in a run with the stage and discharge of their moment.

    Parameters
    ----------
    run, river : planner.river.Run, planner.river.River
        The run and its folder.
    plane, polygon : LocalPlane, shapely Polygon
        Local metres and the outline in them; soundings up to 3 m outside are taken too.
    series : planner.gauges.Series or None
        The gauge's record.
    rating : planner.water.Rating or None
        Gives a discharge where the record has only a stage.

    Notes
    -----
    A stage given with the sounding wins over the record. A sounding without date or stage is left out and counted.
    """
    import pandas as pd
    import shapely

    from planner.water import discharge_at, run_discharge, stage_at

    frame = river.soundings
    x, y = plane.to_xy(frame["lon"].to_numpy(float), frame["lat"].to_numpy(float))
    depth = frame["depth_m"].to_numpy(float)
    minx, miny, maxx, maxy = polygon.bounds
    near = np.isfinite(depth) & (x > minx - 3) & (x < maxx + 3) & (y > miny - 3) & (y < maxy + 3)
    near[near] = shapely.contains_xy(polygon.buffer(3.0), x[near], y[near])
    frame, x, y, depth = frame[near], x[near], y[near], depth[near]

    def column(name: str, unknown: float) -> Floats:
        return frame[name].to_numpy(float) if name in frame else np.full(len(frame), unknown)

    draft = np.nan_to_num(column("draft_m", 0.0))
    stage = column("stage_m", np.nan)
    noted = np.isfinite(stage)
    moments = pd.to_datetime(frame["taken_at"], utc=True)
    times = moments.dt.tz_localize(None).to_numpy("datetime64[s]") if len(frame) else np.empty(0, "datetime64[s]")
    dated = ~np.isnat(times)
    discharge = np.full(len(frame), np.nan)
    stage_rate, flow_rate = np.full(len(frame), np.nan), np.full(len(frame), np.nan)
    if math.isfinite(run.lag_min):
        times = times - np.timedelta64(round(run.lag_min * 60.0), "s")
    if series is not None and dated.any():
        some, where = np.unique(times[dated], return_inverse=True)
        where = where.reshape(-1)
        found = np.full(len(frame), np.nan)
        found[dated] = stage_at(series, some)[where]
        stage = np.where(noted, stage, found)
        discharge[dated] = discharge_at(series, some)[where]
        stage_rate[dated] = _rate(lambda at: stage_at(series, at), some)[where]
        flow_rate[dated] = _rate(lambda at: np.log(np.maximum(discharge_at(series, at), 1e-9)), some)[where]
    extrapolated = np.zeros(len(frame), dtype=bool)
    rated = np.isfinite(stage) & ~np.isfinite(discharge)
    if rating is not None and rated.any():
        discharge[rated] = rating.discharge(stage[rated])
        extrapolated[rated] = rating.extrapolated(stage[rated])
    unique, where = np.unique(discharge, return_inverse=True)
    in_run = np.array([run_discharge(float(q), run) if q > 0 else np.nan for q in unique], dtype=float)
    discharge = in_run[where.reshape(-1)] if len(unique) else discharge
    day = np.full(len(frame), "", dtype="U16")
    if dated.any():
        local = moments[dated].dt.tz_convert(ZoneInfo(river.timezone or "UTC"))
        day[dated] = local.dt.tz_localize(None).to_numpy("datetime64[D]").astype(str)
    day[~dated] = [f"stage {value:.1f}" for value in stage[~dated]]
    kinds = _kinds(frame, depth, draft)
    table = constants("flow")
    clock = math.hypot(table["clock_sd_s"], 0.0 if math.isfinite(run.lag_min) else table["lag_unknown_s"])
    use = np.isfinite(stage) | np.isfinite(discharge)
    return Reduced(
        x[use], y[use], (depth + draft)[use], kinds["sd"][use], stage[use], discharge[use], day[use],
        extrapolated[use], kinds["draft_sd"][use], kinds["place_sd"][use], np.where(noted, 0.0, clock)[use],
        stage_rate[use], flow_rate[use], int((~use).sum()),
    )  # fmt: skip


def _kinds(frame: Any, depth: Floats, draft: Floats) -> dict[str, Floats]:
    """Standard deviations that follow from how each sounding was made [m]."""
    table = constants("flow")
    blank = np.full(len(frame), "")
    method = np.char.lower(frame["method"].to_numpy(object).astype(str)) if "method" in frame else blank
    sounder = (np.char.find(method, "so") >= 0) | (draft > 0)
    own = np.full(len(frame), np.nan)
    if "position_sd_m" in frame:
        import pandas as pd

        own = pd.to_numeric(frame["position_sd_m"], errors="coerce").to_numpy(float)
    return {
        "sd": np.where(sounder, np.hypot(table["sonar_sd_m"], table["sound_rel_sd"] * depth), table["lead_line_sd_m"]),
        "draft_sd": np.where(sounder, np.where(draft > 0, table["draft_sd_m"], table["draft_unknown_sd_m"]), 0.0),
        "place_sd": np.where(own > 0, own, table["position_sd_m"]),
    }


def _rate(value: Callable[[Any], Floats], times: Any) -> Floats:
    """Change of a record [its unit/s] over the hour around each moment; one-sided at its ends."""
    half = np.timedelta64(1800, "s")
    before, here, after = value(times - half), value(times), value(times + half)
    both, ahead, behind = (after - before) / 3600.0, (after - here) / 1800.0, (here - before) / 1800.0
    return np.where(np.isfinite(both), both, np.where(np.isfinite(ahead), ahead, behind))


def reference(reduced: Reduced) -> tuple[float, float, npt.NDArray[np.bool_]]:
    """Stage and discharge of the reference survey, and which soundings belong to it.

    The day with the most soundings among those with a discharge, for only there can the run be calibrated; without
    any discharge, the day with the most soundings.
    """
    known = np.isfinite(reduced.discharge)
    pool = known if known.any() else np.ones(len(known), dtype=bool)
    days, counts = np.unique(reduced.day[pool], return_counts=True)
    member = (reduced.day == days[int(np.argmax(counts))]) & pool
    stage = reduced.stage[member]
    stage_ref = float(np.median(stage[np.isfinite(stage)])) if np.isfinite(stage).any() else math.nan
    discharge_ref = float(np.median(reduced.discharge[member])) if known.any() else math.nan
    return stage_ref, discharge_ref, member


def only(reduced: Reduced, keep: npt.NDArray[np.bool_]) -> Reduced:
    """Those of a mask; the rest are counted as left out."""
    arrays = (
        "x", "y", "depth", "sd", "stage", "discharge", "day", "extrapolated", "draft_sd", "place_sd", "time_sd",
        "stage_rate", "flow_rate",
    )  # fmt: skip
    return replace(
        reduced,
        left_out=reduced.left_out + int((~keep).sum()),
        **{name: getattr(reduced, name)[keep] for name in arrays},
    )
