"""The day as the advice sees it: gauges, runs, the clock, and each spot at each step of its ladder with its answer.

``plan.json`` is written from it, and the chain of one spot is told from it, so that both give the same answer.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from planner.advice import (
    Advice,
    AdviceReport,
    Learned,
    RodToRig,
    Settings,
    SpotAtLevels,
    advise_in_full,
    learn_from,
    likely_weights,
    with_learning,
)
from planner.flow.state import TEN_NINETY, FlowState
from planner.plan.afloat import Look, afloat, look_at
from planner.plan.ask import Request
from planner.plan.logged import logged_swims
from planner.plan.readings import GaugeView
from planner.plan.waters import GaugeLevel, RunWater, SpotWater, expected_at, gauge_ladder, spot_levels
from planner.trip import Trip, fishing_weights
from planner.weather import Weather

if TYPE_CHECKING:
    from planner.river import River, Spot

__all__ = ["Day", "SpotDay", "day_of", "learned_of", "spot_day"]

# Between two lay-outs of the day a level counts as the same within this much: the rounding of what is shown.
_SAME_STAGE_M = 0.01
_SAME_FLOW = 0.02


@dataclass(frozen=True)
class SpotDay:
    """One spot through the day: its levels (the ladder's and the arrival's), what the water is there.

    Parameters
    ----------
    spot : Spot
        The cast.
    water : RunWater
        Its run.
    arrival : GaugeLevel
        What its gauge reads, as the run sees it, when the boat comes there.
    at_arrival : int
        Index of that among `levels`.
    levels : list of GaugeLevel
        Ascending.
    asked : SpotAtLevels
        What the advice was asked.
    waters : list of SpotWater
        Depth and current at each level.
    """

    spot: Spot
    water: RunWater
    arrival: GaugeLevel
    at_arrival: int
    levels: list[GaugeLevel]
    asked: SpotAtLevels
    waters: list[SpotWater]


@dataclass(frozen=True)
class Day:
    """Everything between the gauges and the plan.

    Parameters
    ----------
    views : dict
        Gauges by station.
    waters, states : dict
        Runs by id, and each at the middle of the window.
    trip : Trip
        The clock.
    ladders : dict
        Steps by station.
    spots : list of SpotDay
        In the folder's order.
    answers : list of list of Advice
        Per spot and level.
    rods : list of RodToRig
        To rig.
    report : AdviceReport
        What the search cost.
    learned : Learned
        What the log says of lines and spots; empty when learning is switched off.
    settings : Settings
        Of the advice.
    weather : Weather
        Of the hours on the water; its parts are None where they could not be had.
    """

    views: dict[str, GaugeView]
    waters: dict[str, RunWater]
    states: dict[str, FlowState]
    trip: Trip
    ladders: dict[str, list[GaugeLevel]]
    spots: list[SpotDay]
    answers: list[list[Advice]]
    rods: list[RodToRig]
    report: AdviceReport
    learned: Learned
    settings: Settings
    weather: Weather


def day_of(river: River, request: Request, units: str, look: Look | None = None) -> Day:
    """Read the gauges, survey the runs, set the clock and ask the advice.

    Parameters
    ----------
    river : River
        The river folder as read.
    request : Request
        Day, window, clock, level and recorded replies.
    units : str
        ``us`` or ``metric``, for the sentences.
    look : callable, optional
        Gives gauges and runs for a request, where they are known already.

    Raises
    ------
    SourceUnreachable, GaugeReplyUnfit, DataUnfit
        When there is no level to plan with.
    """
    here = afloat(river, request, look_at(river) if look is None else look)
    views, waters, lay_out = here.views, here.waters, here.lay_out
    trip = lay_out(weights=fishing_weights(river))
    ladders = {station: gauge_ladder(view, units) for station, view in views.items()}
    settings = Settings(hang_limit=request.hang_limit, units=units)
    learned = learned_of(river, waters, settings) if request.learning else Learned()
    days = [spot_day(spot, waters[spot.run], trip, ladders, learned) for spot in river.spots]
    answers, rods, report = advise_in_full(
        [day.asked for day in days],
        river.tackle,
        settings,
        weights=[_level_weights(day) for day in days],
        learned=replace(learned, spots={}),  # the spots have it already
    )
    trip = _minutes_by_band_time(trip, river, days, answers, lay_out)
    return Day(
        views, waters, here.states, trip, ladders, days, answers, rods, report, learned, settings, here.weather
    )  # fmt: skip


def _minutes_by_band_time(
    trip: Trip, river: River, days: list[SpotDay], answers: list[list[Advice]], lay_out: Callable[..., Trip]
) -> Trip:
    """The day laid out anew with more minutes where the answer holds the band longer.

    The answers were worked out for the hours of the first lay-out. They stand where the level at the new hours is the
    same to a centimetre (2 % of the discharge where no stage is known); else the first lay-out is kept and says why.
    """
    times: dict[str, float | None] = {}
    for day, answer in zip(days, answers, strict=True):
        best = answer[day.at_arrival].best
        times[day.spot.id] = None if best is None else best.band_time_s
    again = lay_out(weights=fishing_weights(river, times))
    for day in days:
        level = expected_at(day.water.view, again.arrival(day.spot.id), day.water.lag_s)
        allowed = _SAME_STAGE_M if math.isfinite(level.stage_m) else _SAME_FLOW * level.discharge_m3s
        if abs(_key(level) - _key(day.arrival)) > allowed:
            return replace(trip, notes=(*trip.notes, "The level changes through the day, so the minutes are even."))
    return again


def learned_of(river: River, waters: dict[str, RunWater], settings: Settings) -> Learned:
    """What the folder's log says of its lines and spots."""
    if not len(river.log):
        return Learned()
    swims, notes = logged_swims(river, waters)
    learned = learn_from(swims, river.tackle, settings)
    return replace(learned, notes=(*notes, *learned.notes))


def spot_day(
    spot: Spot, water: RunWater, trip: Trip, ladders: dict[str, list[GaugeLevel]], learned: Learned
) -> SpotDay:
    """One spot at the steps of its gauge's ladder and at its hour of the trip."""
    arrival = expected_at(water.view, trip.arrival(spot.id), water.lag_s)
    steps = ladders[water.view.station]
    keys = [_key(step) for step in steps]
    at = bisect.bisect_left(keys, _key(arrival)) if math.isfinite(_key(arrival)) else len(keys)
    levels = [*steps[:at], arrival, *steps[at:]]
    asked, found = spot_levels(water, spot, levels, at)
    return SpotDay(spot, water, arrival, at, levels, with_learning(asked, learned), found)


def _key(level: GaugeLevel) -> float:
    return level.stage_m if math.isfinite(level.stage_m) else level.discharge_m3s


def _level_weights(day: SpotDay) -> np.ndarray:
    """Chance of each level at the spot's hour, shape (levels,): normal about the median, from the gauge's 10-90 %."""
    expected = day.water.view.expected
    stage = all(math.isfinite(level.stage_m) for level in day.levels)
    high = expected.stage_high_m if stage else expected.discharge_high_m3s
    low = expected.stage_low_m if stage else expected.discharge_low_m3s
    width = (high - low)[np.isfinite(high - low)]
    values = np.array([level.stage_m if stage else level.discharge_m3s for level in day.levels])
    centre = day.arrival.stage_m if stage else day.arrival.discharge_m3s
    sd = max(float(width.max()) / (2 * TEN_NINETY) if len(width) else 0.0, 1e-3)
    return likely_weights(values, centre, sd)
