"""Each run at any reading of its gauge, and each spot as the advice sees it: cast, bed and current."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.advice import AtLevel, BedPatch, SpotAtLevels
from planner.flow import RunFlow, survey_run
from planner.flow.state import TEN_NINETY, FlowState
from planner.gauges.series import to_datetime64
from planner.plan.readings import GaugeView
from planner.tables import constants
from planner.water import ladder
from planner.water.transfer import transfer_to_run

if TYPE_CHECKING:
    from planner.river import River, Run, Spot

__all__ = [
    "GaugeLevel",
    "RunWater",
    "SpotWater",
    "as_run_record",
    "expected_at",
    "gauge_ladder",
    "run_water",
    "run_waters",
    "spot_levels",
    "spot_water",
    "water_of",
]

# A boat drifts at most about this far during one swim of a minute [m]; from a fixed stance the fly stays within a
# cast of the rod, so within two of the landing.
_DRIFT_M = 60.0
_NEAR_STEPS = 2  # of the ladder: where the river may stand instead of where it is expected
_FIRST_STEP = 100_000  # so that steps below the gauge zero count on


@dataclass(frozen=True, order=True)
class GaugeLevel:
    """A reading of a gauge: stage [m] and discharge [m³/s]; NaN unknown.

    `step` numbers the steps of the ladder of round readings, the same for the same reading whatever the rest of the
    ladder; negative elsewhere.
    """

    stage_m: float
    discharge_m3s: float
    step: int = field(default=-1, compare=False)


@dataclass(frozen=True)
class RunWater:
    """A surveyed run with its gauge.

    Parameters
    ----------
    run : Run
        As drawn.
    view : GaugeView
        Its gauge.
    flow : RunFlow
        Its bed and current.
    lag_s : float
        How much later than the gauge it sees a change [s].
    spots : tuple of Spot
        Those in it: whoever asks for one at a level will ask for the others.
    """

    run: Run
    view: GaugeView
    flow: RunFlow
    lag_s: float
    notes: tuple[str, ...] = ()
    spots: tuple[Spot, ...] = ()
    _states: dict[GaugeLevel, FlowState] = field(default_factory=dict)
    _spots: dict[GaugeLevel, dict[str, SpotWater]] = field(default_factory=dict)

    def at(self, level: GaugeLevel) -> FlowState:
        """The run at a reading of its gauge; computed once for each reading."""
        if level not in self._states:
            self._states[level] = self.flow.at(level.discharge_m3s, level.stage_m)
        return self._states[level]

    def spot(self, spot: Spot, level: GaugeLevel) -> SpotWater:
        """`spot_water`; all spots of the run are computed together, once for each reading."""
        if spot not in self.spots:
            return _waters_at(self, [spot], level)[0]
        if level not in self._spots:
            found = _waters_at(self, self.spots, level)
            self._spots[level] = {one.id: water for one, water in zip(self.spots, found, strict=True)}
        return self._spots[level][spot.id]


@dataclass(frozen=True)
class SpotWater:
    """A spot's water at one reading of its gauge; NaN unknown.

    Parameters
    ----------
    depth_m, depth_sd_m : float
        Depth at the landing and its standard deviation [m].
    velocity_m_s, velocity_low_m_s, velocity_high_m_s : float
        Depth-averaged current there, its 10 and 90 % [m/s].
    exponent_m : float
        Exponent of the power law of the vertical profile [1].
    stance_depth_m, stance_depth_high_m : float
        Depth at the stance and its 90 % [m].
    stance_velocity_m_s, stance_velocity_high_m_s : float
        Current at the stance and its 90 % [m/s].
    """

    depth_m: float
    depth_sd_m: float
    velocity_m_s: float
    velocity_low_m_s: float
    velocity_high_m_s: float
    exponent_m: float
    stance_depth_m: float
    stance_depth_high_m: float
    stance_velocity_m_s: float
    stance_velocity_high_m_s: float


def run_waters(river: River, views: dict[str, GaugeView]) -> dict[str, RunWater]:
    """Survey every run of the river, by id."""
    return {
        run.id: run_water(run, river, views[run.gauge] if run.gauge in views else next(iter(views.values())))
        for run in river.runs
    }


def run_water(run: Run, river: River, view: GaugeView) -> RunWater:
    """Survey one run with the record of its gauge."""
    spots = [spot for spot in river.spots if spot.run == run.id]
    return water_of(run, survey_run(run, river, view.record, view.rating), view, spots)


def water_of(run: Run, flow: RunFlow, view: GaugeView, spots: Sequence[Spot] = ()) -> RunWater:
    """A run that is surveyed already, with its gauge and its spots."""
    last = view.expected.last
    velocity = flow.at(last.discharge_m3s, last.stage_m).velocity_used_m_s
    transfer = transfer_to_run(run, last.discharge_m3s, velocity)
    return RunWater(run, view, flow, transfer.lag_s, transfer.notes, tuple(spots))


def expected_at(view: GaugeView, at: datetime, later_s: float = 0.0) -> GaugeLevel:
    """The expected median reading that a run with a lag sees at a moment.

    Parameters
    ----------
    view : GaugeView
        The gauge.
    at : datetime
        Aware.
    later_s : float
        The run's lag [s]: the gauge that much earlier is what the run sees.
    """
    expected = view.seen(later_s)
    hours = expected.times.astype("datetime64[s]").astype(np.int64).astype(float)
    moment = float(to_datetime64(at).astype(np.int64)) - later_s
    return GaugeLevel(
        float(np.interp(moment, hours, expected.stage_m)), float(np.interp(moment, hours, expected.discharge_m3s))
    )


def gauge_ladder(view: GaugeView, units: str) -> list[GaugeLevel]:
    """The readings of a gauge for which the page holds a ready answer, ascending."""
    stages, discharges = ladder(view.expected, view.rating, units)
    numbers = range(len(stages))
    if len(stages) > 1 and np.isfinite(stages).all():
        numbers = (_FIRST_STEP + np.round(stages / np.diff(stages).mean()).astype(int)).tolist()
    return [GaugeLevel(float(h), float(q), n) for h, q, n in zip(stages, discharges, numbers, strict=True)]


def spot_water(water: RunWater, spot: Spot, level: GaugeLevel) -> SpotWater:
    """Depth and current at a spot's landing and stance at a reading of the gauge."""
    return water.spot(spot, level)


def _waters_at(water: RunWater, spots: Sequence[Spot], level: GaugeLevel) -> list[SpotWater]:
    """`spot_water` of some spots at one reading: landings first, then stances, asked of the run together."""
    lon, lat = np.array([*(spot.landing_lonlat for spot in spots), *(spot.stance_lonlat for spot in spots)]).T
    here = water.flow.local(water.at(level), lon, lat)
    names = ("depth_m", "depth_sd_m", "velocity_m_s", "velocity_low_m_s", "velocity_high_m_s", "exponent_m")
    depth, depth_sd, velocity, low, high, exponent = (here[name].reshape(2, -1).tolist() for name in names)
    doubt = TEN_NINETY * _edge_factor(water.run)
    return [
        SpotWater(
            depth_m=depth[0][k],
            depth_sd_m=depth_sd[0][k],
            velocity_m_s=velocity[0][k],
            velocity_low_m_s=low[0][k],
            velocity_high_m_s=high[0][k],
            exponent_m=exponent[0][k],
            stance_depth_m=depth[1][k],
            stance_depth_high_m=depth[1][k] + doubt * depth_sd[1][k],
            stance_velocity_m_s=velocity[1][k],
            stance_velocity_high_m_s=high[1][k],
        )
        for k in range(len(spots))
    ]


def _edge_factor(run: Run) -> float:
    """Factor on the standard deviation of the depth where somebody stands.

    A run with both banks is held at its edges by them, and its error, found with them, is larger than that of the same
    soundings without: to leave an edge out would make the water where a wader stands look better known.
    """
    if run.banks == "both":
        return 1.0
    return float(constants("flow")["unbanked_stance_factor"])


def _hold_band(spot: Spot, run: Run) -> tuple[float, float]:
    low = run.hold_low_m if spot.hold_low_m is None else spot.hold_low_m
    high = run.hold_high_m if spot.hold_high_m is None else spot.hold_high_m
    return low, high


def spot_levels(
    water: RunWater, spot: Spot, levels: Sequence[GaugeLevel], planned: int | None
) -> tuple[SpotAtLevels, list[SpotWater]]:
    """A spot with its bed and its current at each level, as the advice takes it.

    Parameters
    ----------
    water : RunWater
        The spot's run.
    spot : Spot
        The cast.
    levels : sequence of GaugeLevel
        Readings of the gauge, ascending.
    planned : int
        Index of the level that is planned for, where there is one.

    Returns
    -------
    SpotAtLevels, list of SpotWater
        The second in the order of `levels`.
    """
    flow = water.flow
    east, north = _cast(flow, spot)
    cast_m = math.hypot(east, north)
    downstream = [float(np.ravel(part)[0]) for part in flow.flow_direction(*_arrays(spot.landing_lonlat))]
    along = (east * downstream[0] + north * downstream[1]) / max(cast_m, 1e-9)
    left = downstream[0] * north - downstream[1] * east > 0
    waters = [spot_water(water, spot, level) for level in levels]
    states = [water.at(level) for level in levels]
    known = [i for i, state in enumerate(states) if math.isfinite(state.level_m)]
    base = states[known[len(known) // 2]] if known else states[0]
    # from the run's datum, so that the same bed is the same whatever the ladder
    surface = base.level_m if math.isfinite(base.level_m) else 0.0
    reach = cast_m + _DRIFT_M if spot.stance == "drifting" else 2.0 * cast_m + 2.0
    xs, ys, depth, sd = flow.patch(base, *spot.landing_lonlat, half_size_m=float(math.ceil(reach)), step_m=1.0)
    bed_sd = np.sqrt(np.maximum(sd**2 - np.nan_to_num(base.level_sd_m) ** 2, 0.0))
    low, high = _hold_band(spot, water.run)
    away = [math.inf if planned is None else abs(i - planned) for i in range(len(levels))]
    return (
        SpotAtLevels(
            spot=spot,
            cast_m=cast_m,
            angle_deg=math.degrees(math.acos(min(max(along, -1.0), 1.0))),
            flow_east=downstream[0],
            flow_north=downstream[1],
            side=1 if left else -1,
            patch=BedPatch(xs, ys, depth - surface, bed_sd),
            levels=tuple(
                _at_level(states[i], waters[i], levels[i].step, away[i], water.flow.survey_limits)
                for i in range(len(levels))
            ),
            river=not water.run.still,
            hold_low_m=low,
            hold_high_m=high,
            soundings=flow.soundings,
        ),
        waters,
    )


def _at_level(state: FlowState, here: SpotWater, step: int, away: float, known: tuple[str, ...]) -> AtLevel:
    return AtLevel(
        rise_m=state.level_m,
        depth_m=here.depth_m,
        velocity_m_s=here.velocity_m_s,
        velocity_low_m_s=here.velocity_low_m_s,
        velocity_high_m_s=here.velocity_high_m_s,
        exponent_m=here.exponent_m,
        level_sd_m=state.level_sd_m if math.isfinite(state.level_sd_m) else 0.0,
        boat_velocity_m_s=here.stance_velocity_m_s,
        planned=away == 0,
        near=0 < away <= _NEAR_STEPS,
        limits=tuple(limit for limit in state.limits if limit not in known),
        step=step,
    )


def _arrays(lonlat: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    return np.array([lonlat[0]]), np.array([lonlat[1]])


def _cast(flow: RunFlow, spot: Spot) -> tuple[float, float]:
    """The cast from stance to landing, metres east and north."""
    x, y = flow.plane.to_xy(*np.array([spot.stance_lonlat, spot.landing_lonlat]).T)
    return float(x[1] - x[0]), float(y[1] - y[0])


def as_run_record(water: RunWater, state: FlowState, caution: dict[str, Any]) -> dict[str, Any]:
    """One of `runs` in ``plan.json``."""
    names = (
        "level_m area_m2 hydraulic_radius_m mean_depth_m max_depth_m slope n velocity_manning_m_s "
        "velocity_continuity_m_s velocity_used_m_s velocity_low_m_s velocity_high_m_s soundings bed_error_m"
    ).split()
    section = water.flow.section()
    return {
        "id": water.run.id,
        "name": water.run.name,
        "gauge": water.view.station,
        **{name: getattr(state, name) for name in names},
        "n_calibrated": state.n_calibrated,
        "velocity_ratio": state.velocity_ratio,
        "limits": [*state.limits, *water.notes],
        "caution": caution,
        "section": None if section is None else {"n_m": section.n, "z_m": section.z, "level_m": state.level_m},
    }
