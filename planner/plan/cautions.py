"""Cautions of the plan's places: each spot on the cautious side of its water, the runs, the river, the whole day."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from planner.caution import Caution, Conditions, assess_river, assess_run, assess_spot, worst
from planner.caution.gather import at_level, at_stance
from planner.plan.readings import GaugeView
from planner.plan.waters import GaugeLevel, RunWater, SpotWater

if TYPE_CHECKING:
    from planner.river import River, Spot

__all__ = ["cautious_level", "run_caution", "spot_caution", "step_conditions", "whole_caution"]


def cautious_level(view: GaugeView) -> GaugeLevel:
    """The upper 90 % of the gauge over the whole window; the median where no range is known."""
    expected = view.expected

    def top(high: np.ndarray, median: np.ndarray) -> float:
        values = np.concatenate([high[np.isfinite(high)], median[np.isfinite(median)]])
        return float(values.max()) if len(values) else math.nan

    return GaugeLevel(
        top(expected.stage_high_m, expected.stage_m), top(expected.discharge_high_m3s, expected.discharge_m3s)
    )


def step_conditions(base: Conditions, level: GaugeLevel) -> Conditions:
    """The same conditions with the gauge at a step of the ladder: a stated level, so its age has no bearing."""
    return at_level(base, level.stage_m, level.discharge_m3s)


def spot_caution(base: Conditions, spot: Spot, here: SpotWater, units: str, dark: bool | None = None) -> Caution:
    """Caution of one spot; of a wader's, the stance on the cautious side: upper 90 % of depth and current there."""
    wading = spot.stance == "wading"
    there = at_stance(base, here.stance_depth_high_m, here.stance_velocity_high_m_s, dark) if wading else base
    return assess_spot(there, wading=wading, where=spot.name or spot.id, units=units)


def run_caution(base: Conditions, water: RunWater, spots: list[Caution], units: str) -> Caution:
    """Caution of one run with its spots."""
    return assess_run(base, spots=spots, where=water.run.name or water.run.id, units=units)


def whole_caution(base: Conditions, river: River, view: GaugeView, runs: list[Caution], units: str) -> Caution:
    """Caution of the whole day: the river's own with those of its runs and spots."""
    return worst([assess_river(base, river.thresholds, units=units, gauge=view.station), *runs])
