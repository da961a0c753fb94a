"""What the cautions look at: the cautious side of the water over the whole window, and of each step of the ladder."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.caution import Caution, Conditions, assess_river, assess_run, assess_spot, party_conditions, worst
from planner.plan.ask import Request
from planner.plan.readings import GaugeView, lowest_temperature, rise_over
from planner.plan.waters import GaugeLevel, RunWater, SpotWater

if TYPE_CHECKING:
    from planner.river import River, Spot
    from planner.trip import Trip

__all__ = ["base_conditions", "cautious_level", "river_caution", "run_caution", "spot_caution", "step_conditions"]

# Settings of river.toml that are no input of the planner's own but of a rule, by their key there.
_SETTINGS = ("regulated", "craft_minimum_m3s", "release_in_window", "bottom_seen")


def cautious_level(view: GaugeView) -> GaugeLevel:
    """The upper 90 % of the gauge over the whole window; the median where no range is known."""
    expected = view.expected

    def top(high: np.ndarray, median: np.ndarray) -> float:
        values = np.concatenate([high[np.isfinite(high)], median[np.isfinite(median)]])
        return float(values.max()) if len(values) else math.nan

    return GaugeLevel(
        top(expected.stage_high_m, expected.stage_m), top(expected.discharge_high_m3s, expected.discharge_m3s)
    )


def _lowest_discharge(view: GaugeView) -> float:
    low = view.expected.discharge_low_m3s
    return float(np.nanmin(low)) if np.isfinite(low).any() else math.nan


def base_conditions(river: River, request: Request, view: GaugeView, trip: Trip) -> Conditions:
    """Conditions of the river over the trip's window, from the gauge, the party and the trip's clock.

    Parameters
    ----------
    river : River
        Party, craft and settings.
    request : Request
        The window.
    view : GaugeView
        The gauge that they are read from.
    trip : Trip
        Daylight and hazards.
    """
    level = cautious_level(view)
    expected = view.expected
    told: dict[str, Any] = {name: river.extra[name] for name in _SETTINGS if name in river.extra}
    told.update(party_conditions(river.party))
    on_foot = any(spot.stance == "wading" for spot in river.spots) or river.craft.strip().lower() == "on foot"
    dark = {stop.dark for stop in trip.stops if stop.dark is not None}
    return Conditions(
        **{
            "dark": any(dark) if dark else None,
            "wading_planned": on_foot,
            "stage_m": level.stage_m,
            "discharge_m3s": level.discharge_m3s,
            "discharge_low_m3s": _lowest_discharge(view),
            "level_given": expected.given,
            "data_age_min": expected.age_min if not expected.given else None,
            "quality": str(expected.quality),
            "rise_m_1h": rise_over(view, 1),
            "rise_m_3h": expected.rise_m_3h,
            "flow_gain_3h": expected.gain_3h,
            "water_temp_c": lowest_temperature(view, request),
            "turbidity_fnu": expected.last.turbidity_fnu,
            "hazards_in_reach": trip.hazards_in_reach,
            "takeout_vs_sunset_min": trip.takeout_vs_sunset_min,
            "takeout_vs_dusk_min": trip.takeout_vs_dusk_min,
            **told,
        }
    )


def step_conditions(base: Conditions, level: GaugeLevel) -> Conditions:
    """The same conditions with the gauge at a step of the ladder: a stated level, so its age has no bearing."""
    return replace(
        base,
        stage_m=level.stage_m,
        discharge_m3s=level.discharge_m3s,
        discharge_low_m3s=level.discharge_m3s,
        level_given=True,
    )


def spot_caution(base: Conditions, spot: Spot, here: SpotWater, units: str, dark: bool | None = None) -> Caution:
    """Caution of one spot, its stance on the cautious side: upper 90 % of depth and current there."""
    wading = spot.stance == "wading"
    conditions = base
    if wading:
        conditions = replace(
            base,
            wade_depth_m=here.stance_depth_high_m,
            wade_speed_m_s=here.stance_velocity_high_m_s,
            dark=base.dark if dark is None else dark,
        )
    return assess_spot(conditions, wading=wading, where=spot.name or spot.id, units=units)


def run_caution(base: Conditions, water: RunWater, spots: list[Caution], units: str) -> Caution:
    """Caution of one run with its spots."""
    return assess_run(base, spots=spots, where=water.run.name or water.run.id, units=units)


def river_caution(
    base: Conditions, river: River, view: GaugeView, runs: list[Caution], units: str
) -> tuple[Caution, Caution]:
    """The river's own caution, and the whole day's with its runs and spots.

    Returns
    -------
    own, whole : Caution
    """
    own = assess_river(base, river.thresholds, units=units, gauge=view.station)
    return own, worst([own, *runs])
