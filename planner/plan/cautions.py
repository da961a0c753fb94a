"""Cautions of the plan's places: each spot on the cautious side of its water, the runs, the river, the whole day."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import chain
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.caution import Caution, Conditions, assess_beside, assess_river, assess_run, assess_spot, worst
from planner.caution.gather import at_level, at_stance
from planner.plan.readings import GaugeView
from planner.plan.waters import GaugeLevel, RunWater, SpotWater

if TYPE_CHECKING:
    from planner.river import River, Spot

__all__ = [
    "cautious_hours",
    "cautious_level",
    "other_gauges",
    "run_caution",
    "spot_caution",
    "step_conditions",
    "whole_caution",
]


def cautious_hours(water: RunWater) -> tuple[np.ndarray, np.ndarray]:
    """Stage [m] and discharge [m³/s] to hold a run's spots at in each of the trip's hours, shape (n,).

    The upper 90 % of the gauge, the median where no range is known. A run with a lag takes the highest of the time
    between the gauge's hour that it sees and its own: a rise may come sooner than the lag says, a fall not.
    """
    own, around = water.view.expected, water.view.seen(water.lag_s)
    hours, known = (seen.times.astype("datetime64[s]").astype(np.int64) for seen in (own, around))
    if not water.lag_s:
        return own.stage_cautious_m, own.discharge_cautious_m3s
    first, last = hours - max(water.lag_s, 0.0), hours - min(water.lag_s, 0.0)
    between = (known > first[:, None] - 3600) & (known < last[:, None] + 3600)

    def highest(seen: np.ndarray, alone: np.ndarray) -> np.ndarray:
        found = np.where(between & np.isfinite(seen), seen, -np.inf).max(axis=1)
        return np.fmax(np.where(np.isfinite(found), found, np.nan), alone)

    return (
        highest(around.stage_cautious_m, own.stage_cautious_m),
        highest(around.discharge_cautious_m3s, own.discharge_cautious_m3s),
    )


def cautious_level(water: RunWater) -> GaugeLevel:
    """The highest of `cautious_hours`: what the whole window may bring to a run."""

    def top(values: np.ndarray) -> float:
        return float(np.nanmax(values)) if np.isfinite(values).any() else math.nan

    stages, discharges = cautious_hours(water)
    return GaugeLevel(top(stages), top(discharges))


def step_conditions(base: Conditions, level: GaugeLevel, view: GaugeView) -> Conditions:
    """The same conditions with the gauge at a step of the ladder: a stated level, so its age has no bearing.

    The step's own flow is ranked among the date's past and all days'; one that cannot be is not assessed.
    """
    rank: dict[str, Any] = dict(view.rank(level.discharge_m3s))
    return replace(at_level(base, level.stage_m, level.discharge_m3s), **rank)


def spot_caution(base: Conditions, spot: Spot, here: SpotWater, units: str, dark: bool | None = None) -> Caution:
    """Caution of one spot; of a wader's, the stance on the cautious side: upper 90 % of depth and current there."""
    wading = spot.stance == "wading"
    there = at_stance(base, here.stance_depth_high_m, here.stance_velocity_high_m_s, dark) if wading else base
    return assess_spot(there, wading=wading, where=spot.name or spot.id, units=units)


def run_caution(base: Conditions, water: RunWater, spots: list[Caution], units: str) -> Caution:
    """Caution of one run with its spots."""
    return assess_run(base, spots=spots, where=water.run.name or water.run.id, units=units)


def other_gauges(
    station: str, bases: Mapping[str, Conditions], river: River, runs: Mapping[str, Sequence[Caution]], units: str
) -> dict[str, list[Caution]]:
    """What each gauge but one raises in the hours, with its runs: a flood at one gauge is a flood on the river.

    Parameters
    ----------
    station : str
        The gauge that is looked at by itself.
    bases : mapping
        Conditions by gauge.
    river : River
        With its local limits.
    runs : mapping
        Cautions of the runs by gauge.
    units : str
        ``us`` or ``metric``, for the texts.
    """
    return {
        other: [assess_beside(base, river.thresholds, units=units, gauge=other), *runs.get(other, ())]
        for other, base in bases.items()
        if other != station
    }


def whole_caution(
    base: Conditions,
    river: River,
    view: GaugeView,
    runs: Sequence[Caution],
    units: str,
    beside: Mapping[str, Sequence[Caution]] | None = None,
) -> Caution:
    """Caution of the whole day: the river's own with those of its runs and spots, and of its `other_gauges`."""
    beside = beside or {}
    own = assess_river(base, river.thresholds, units=units, gauge=view.station, elsewhere=beside)
    return worst([own, *runs, *chain.from_iterable(beside.values())])
