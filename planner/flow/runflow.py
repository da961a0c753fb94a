"""Depth and current anywhere in a run, at any discharge or stage."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.bed.frame import ChannelFrame
from planner.bed.section import Section
from planner.bed.surface import Bed, Grid
from planner.errors import DataUnfit
from planner.flow.days import SurveyFit
from planner.flow.doubt import Doubt
from planner.flow.field import bed_around, local_at
from planner.flow.level import beyond, level_of
from planner.flow.manning import manning_velocity
from planner.flow.relation import ControlRelation, LevelRelation, reach_wetted
from planner.flow.roughness import Roughness, roughness_of
from planner.flow.state import TEN_NINETY, FlowState
from planner.flow.weighing import weigh
from planner.tables import constants

__all__ = ["RunFlow"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class RunFlow:
    """A surveyed run; `survey_run` makes it.

    Parameters
    ----------
    run : planner.river.Run
        The run.
    plane : planner.river.LocalPlane
        Local metres.
    frame : ChannelFrame
        Channel coordinates.
    polygon : shapely Polygon
        Outline, east and north [m].
    bed : Bed or None
        The bed above the run's datum; None without soundings.
    relation : LevelRelation or None
        The run's level and discharge; its constant is NaN when it could not be calibrated.
    slope : float
        Slope of the run or of the river [m/m]; NaN unknown.
    bed_entry : dict
        What is known of the bed: class, n or d84_mm.
    spans : bool
        Whether the outline spans the flow, so that discharge over area means something.
    stage_ref, discharge_ref : float
        Stage at the gauge [m] and discharge in the run [m³/s] at level 0; NaN unknown.
    n_calibrated : float
        n that `discharge_ref` shows [s/m^(1/3)].
    rating : planner.water.Rating or None
        The gauge's stage and discharge.
    soundings : int
        Soundings used.
    left_out : int
        Soundings in the run that could not be used.
    levels_sounded : tuple of float
        Least and greatest level at which it was sounded [m].
    waterline : float
        Level of the drawn edge [m].
    survey_limits : tuple of str
        What the survey lacks, one sentence each.
    tree : scipy.spatial.cKDTree or None
        Of the soundings, east and north [m].
    fit : SurveyFit
        What the days of survey say of roughness and slope, with their residuals.
    doubt : Doubt or None
        Parts of the uncertainty of each sounding.
    rise_ratio, rise_ratio_sd : float
        Rise of the run over that of the gauge where no discharge tells more, and its standard deviation.
    ease : numpy.ndarray or None
        n of the channel over the local n at the nodes of the bed's grid.
    """

    run: Any
    plane: Any
    frame: ChannelFrame
    polygon: Any
    bed: Bed | None
    relation: LevelRelation | ControlRelation | None
    slope: float
    bed_entry: dict[str, Any]
    spans: bool
    stage_ref: float
    discharge_ref: float
    n_calibrated: float
    rating: Any
    soundings: int
    left_out: int
    levels_sounded: tuple[float, float]
    waterline: float
    survey_limits: tuple[str, ...]
    tree: Any
    fit: SurveyFit = field(default_factory=SurveyFit)
    doubt: Doubt | None = None
    rise_ratio: float = 1.0
    rise_ratio_sd: float = 0.5
    ease: Floats | None = None
    _patches: dict[tuple[float, ...], tuple[Floats, ...]] = field(default_factory=dict)
    grounds: dict[bytes, tuple[Floats, Floats, Floats, Floats]] = field(default_factory=dict, repr=False, compare=False)
    shares: dict[tuple[float, ...], tuple[Floats, Any]] = field(default_factory=dict, repr=False, compare=False)

    @property
    def calibrated(self) -> bool:
        """Whether the run's own level at another discharge is known."""
        return self.relation is not None and math.isfinite(self.relation.constant)

    def surveyed(self) -> tuple[Bed, Grid, LevelRelation | ControlRelation]:
        """Bed, grid and relation; `DataUnfit` without soundings."""
        if self.bed is None or self.bed.grid is None or self.relation is None:
            raise DataUnfit(f"run {self.run.id} without soundings", "soundings in the run", "sound the run")
        return self.bed, self.bed.grid, self.relation

    def at(
        self,
        discharge_m3s: float = math.nan,
        stage_m: float = math.nan,
        *,
        discharge_rel_sd: float = math.nan,
        stage_sd_m: float = math.nan,
        level_m: float = math.nan,
    ) -> FlowState:
        """The run at a reading of its gauge.

        Parameters
        ----------
        discharge_m3s : float
            Discharge at the gauge [m³/s]; area ratio and flow share are applied here. NaN unknown.
        stage_m : float
            Stage at the gauge [m]; NaN unknown. What is not given is taken from the gauge's rating, if there is one.
        discharge_rel_sd, stage_sd_m : float
            Standard deviations of the two, relative and [m]; NaN takes the table's.
        level_m : float
            Level of the run above its datum as read by the user, such as that of a lake [m]; it wins over the rest.

        Returns
        -------
        FlowState
            With every unknown as NaN and the reasons in `limits`.
        """
        table = constants("flow")
        limits = list(self.survey_limits)
        q, stage = float(discharge_m3s), float(stage_m)
        q_sd = discharge_rel_sd if math.isfinite(discharge_rel_sd) else table["discharge_rel_sd"]
        stage_sd = stage_sd_m if math.isfinite(stage_sd_m) else table["stage_sd_m"]
        if self.rating is not None and math.isfinite(q) != math.isfinite(stage):
            if math.isfinite(stage):
                q = float(self.rating.discharge(stage))
                q_sd = math.hypot(q_sd, float(self.rating.rel_sd))
                limits.append("Discharge is taken from the gauge's own stage and discharge pairs.")
                if bool(np.any(self.rating.extrapolated(stage))):
                    limits.append("This stage is beyond the gauge's recent pairs: the discharge is extrapolated.")
                    q_sd = math.hypot(q_sd, 0.2)
            else:
                stage = float(self.rating.stage(q))
                stage_sd = math.hypot(stage_sd, 0.03)
        q_run = self._in_run(q)
        state = FlowState(
            run=self.run.id, discharge_m3s=q_run, stage_m=stage, slope=self.slope, soundings=self.soundings
        )
        if self.bed is None or self.bed.grid is None or self.relation is None:
            return replace(state, limits=tuple(limits))
        return self._flow(state, q_sd, stage_sd, limits, float(level_m))

    def _in_run(self, q: float) -> float:
        from planner.water import run_discharge

        return float(run_discharge(q, self.run)) if math.isfinite(q) and q > 0 else math.nan

    def roughness(self, level: float) -> Roughness:
        """Roughness of the bed as given, at a level [m]."""
        bed, grid, _ = self.surveyed()
        water = reach_wetted(grid, level, bed.walls)
        return roughness_of(self.bed_entry, float(water.radius))

    def _flow(
        self, state: FlowState, q_sd: float, stage_sd: float, limits: list[str], given: float = math.nan
    ) -> FlowState:
        bed, grid, relation = self.surveyed()
        table, walls = constants("flow"), bed.walls
        level, level_sd, drift = level_of(self, state, q_sd, stage_sd, limits)
        if math.isfinite(given):
            level, level_sd, drift = given, stage_sd, math.nan
            limits.append("The run's level is the one given.")
        parallel = state.stage_m - self.stage_ref
        error = bed.error
        state = replace(
            state, level_m=level, level_sd_m=level_sd, level_parallel_m=parallel, bed_error_m=error.rmse,
            n_calibrated=self.n_calibrated,
        )  # fmt: skip
        if not math.isfinite(level):
            return replace(state, limits=tuple(limits))
        if any(walls) and level > self.waterline + 0.3:
            limits.append(
                "The water is above the drawn edge: the bank there is taken as upright, depth beyond it is unknown."
            )
        state = replace(state, extrapolated=beyond(self, level, state.discharge_m3s, limits))
        base = parallel if math.isfinite(parallel) else level
        both = reach_wetted(grid, np.array([level, base]), walls)
        area, top = float(both.area[0]), float(both.top_width[0])
        if not area > 1e-6:
            limits.append("At this level the sounded bed is dry.")
            return replace(state, area_m2=0.0, max_depth_m=0.0, limits=tuple(limits))
        mean_depth = area / top
        rough = roughness_of(self.bed_entry, float(both.radius[1]))
        if not rough.in_range:
            limits.append(f"The grain formula is outside the range of its data here ({rough.basis}).")
        state = replace(
            state, area_m2=area, hydraulic_radius_m=float(both.radius[0]), top_width_m=top, mean_depth_m=mean_depth,
            max_depth_m=float((level - grid.z[grid.whole] if grid.whole.any() else level - grid.z).max()), n=rough.n,
        )  # fmt: skip
        if self.run.still:
            limits.append("The run is marked as still water: no current is computed.")
            return replace(
                state, velocity_used_m_s=0.0, velocity_low_m_s=0.0, velocity_high_m_s=table["still_speed_m_s"],
                velocity_ln_sd=0.0, basis="still", limits=tuple(limits),
            )  # fmt: skip
        if not math.isfinite(parallel):
            limits.append("No stage: both estimates of the current are taken at the solved level.")
        q = state.discharge_m3s
        manning = float(manning_velocity(both.radius[1], self.slope, rough.n))
        base_area = float(both.area[1])
        continuity = q / base_area if self.spans and math.isfinite(q) and base_area > 1e-6 else math.nan
        bed_rel = (error.rmse if math.isfinite(error.rmse) else 0.3) / mean_depth / math.sqrt(max(error.blocks, 1))
        level_rel = level_sd / mean_depth
        used, spread, basis = math.nan, math.nan, "none"
        if self.calibrated and math.isfinite(q) and math.isfinite(drift):
            steep, wide = relation.slopes(level)
            share = wide / steep if steep > 0 else 0.6
            used, basis = q / area, "discharge"
            # a gauge that reads high did so on the sounding day too, so the level does not take up its error
            spread = math.sqrt(q_sd**2 + (share * drift) ** 2 + (wide * stage_sd) ** 2 + bed_rel**2)
        elif self.calibrated and not math.isfinite(q):
            steep, wide = relation.slopes(level)
            used, basis = float(relation.discharge(level)) / area, "relation"
            spread = math.sqrt(q_sd**2 + ((steep - wide) * level_sd) ** 2 + bed_rel**2)
            limits.append("No discharge: the current rests on the run's own relation from the sounding day.")
        else:
            by_manning = rough.ln_sd**2 + (table["slope_ln_sd"] / 2) ** 2 + (2 / 3) ** 2 * (level_rel**2 + bed_rel**2)
            by_share = q_sd**2 + level_rel**2 + bed_rel**2
            used, spread, basis, words = weigh(manning, continuity, by_manning, by_share)
            if words:
                limits.append(words)
        return replace(
            state,
            velocity_manning_m_s=manning,
            velocity_continuity_m_s=continuity,
            velocity_ratio=manning / continuity,
            velocity_used_m_s=used,
            velocity_low_m_s=used * math.exp(-TEN_NINETY * spread),
            velocity_high_m_s=used * math.exp(TEN_NINETY * spread),
            velocity_ln_sd=spread,
            basis=basis,
            limits=tuple(limits),
        )

    def flow_direction(self, lon: npt.ArrayLike, lat: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Unit vector of the current, its parts east and north, at points [degrees]; shape of the points."""
        s, _ = self.frame.to_sn(*self.plane.to_xy(lon, lat))
        return self.frame.direction(s)

    def local(self, state: FlowState, lon: npt.ArrayLike, lat: npt.ArrayLike) -> dict[str, Any]:
        """Depth and current at points.

        Parameters
        ----------
        state : FlowState
            From `at`.
        lon, lat : array_like, shape (k,)
            Points [degrees].

        Returns
        -------
        dict of numpy.ndarray, shape (k,)
            ``depth_m``, ``depth_sd_m``, ``velocity_m_s`` (averaged over depth), ``velocity_low_m_s``,
            ``velocity_high_m_s`` (10 and 90 %), ``surface_m_s`` (current at the surface), ``exponent_m`` (power law),
            ``distance_to_sounding_m``, ``inside``, ``confidence`` (``sounded``, ``between`` or ``guessed``), ``water``
            (``current``, ``slack``, ``eddy`` or empty).
            Depth is negative on dry ground, NaN more than 10 m outside the outline; current is NaN outside it.

        Notes
        -----
        Unit discharge is shared across a section by h^(5/3), local conveyance at a common slope (1), so
        v = Q h^(2/3) / integral of h^(5/3) dn (2), see `planner.flow.field.factors`. An eddy's current is not
        computed: there the figure is what would run without it.
        """
        return local_at(self, state, lon, lat)

    def patch(
        self, state: FlowState, lon: float, lat: float, half_size_m: float = 30.0, step_m: float = 0.5
    ) -> tuple[Floats, Floats, Floats, Floats]:
        """Depth around a point.

        Parameters
        ----------
        state : FlowState
            From `at`.
        lon, lat : float
            The point [degrees].
        half_size_m, step_m : float
            Half the side of the patch and its step [m].

        Returns
        -------
        x, y : numpy.ndarray, shape (k,)
            East and north of the point [m].
        depth, sd : numpy.ndarray, shape (k, k)
            Depth and its standard deviation [m], row by north, column by east; NaN where unknown.
        """
        count = round(half_size_m / step_m)
        x = np.arange(-count, count + 1).astype(np.float64) * step_m
        if self.bed is None:
            blank: Floats = np.full((len(x), len(x)), np.nan)
            return x, x.copy(), blank, blank.copy()
        key = (float(lon), float(lat), float(half_size_m), float(step_m))
        if key not in self._patches:
            x0, y0 = self.plane.to_xy(lon, lat)
            east, north = np.meshgrid(float(x0) + x, float(y0) + x)
            z, sd = bed_around(self, self.bed, east.ravel(), north.ravel())
            self._patches[key] = (z.reshape(east.shape), sd.reshape(east.shape))
        z, sd = self._patches[key]
        return x, x.copy(), state.level_m - z, np.hypot(sd, state.level_sd_m)

    def section(self, s: float | None = None, *, lon: float | None = None, lat: float | None = None) -> Section | None:
        """The cross section at s along the channel [m] or through a point [degrees]; the middle without either.

        None when the run has no bed.
        """
        if self.bed is None or self.bed.grid is None:
            return None
        if s is None:
            if lon is not None and lat is not None:
                s = float(self.frame.to_sn(*self.plane.to_xy(lon, lat))[0])
            else:
                s = float(self.bed.grid.s[len(self.bed.grid.s) // 2])
        return self.bed.section(s)
