"""The order of the whole computation, from a river folder and a request to the plan.

Gauges first, then each run's bed and current, the trip's clock, the advice for each spot at each step of the level
ladder, and the cautions of all of it. ``plan.json`` is an interface: `FORMAT` names its version.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from planner.advice import Advice, AdviceReport
from planner.caution import (
    Caution,
    Conditions,
    HourCaution,
    Stance,
    hourly_cautions,
    turning_hours,
    turning_levels,
    turning_words,
    worst,
)
from planner.caution.gather import gather_conditions
from planner.flow.state import TEN_NINETY
from planner.plan.ask import Request
from planner.plan.cautions import (
    cautious_hours,
    cautious_level,
    other_gauges,
    run_caution,
    spot_caution,
    step_conditions,
    whole_caution,
)
from planner.plan.day import Day, SpotDay, day_of
from planner.plan.ice import open_water_only
from planner.plan.readings import GaugeView, gauge_record
from planner.plan.side import short_views, side_view
from planner.plan.taught import learned_record, spot_learned
from planner.plan.waters import GaugeLevel, RunWater, as_run_record, spot_water
from planner.trip import Route, Trip, sun_times
from planner.units import show

if TYPE_CHECKING:
    from planner.river import River

__all__ = ["FORMAT", "compute_plan", "plan_of", "spot_record", "window_caution"]

FORMAT = "plumbrun-plan/1"


def compute_plan(river: River, request: Request, units: str) -> dict[str, Any]:
    """Plan the day.

    Parameters
    ----------
    river : River
        The river folder as read.
    request : Request
        Day, window, clock, level and recorded replies.
    units : str
        ``us`` or ``metric``, for the sentences.

    Returns
    -------
    dict
        The plan in the shape of ``plan.json``, before unknowns become null (see `planner.files.plain`).

    Raises
    ------
    SourceUnreachable, GaugeReplyUnfit, DataUnfit
        When there is no level to plan with.
    """
    return plan_of(day_of(river, request, units), river, request, units)


def plan_of(found: Day, river: River, request: Request, units: str) -> dict[str, Any]:
    """A day as the plan in the shape of ``plan.json``; `river`, `request` and `units` are those that made it."""
    views, waters, trip, ladders = found.views, found.waters, found.trip, found.ladders
    days, answers = found.spots, found.answers
    main = next(iter(views.values()))
    bases = {
        station: gather_conditions(
            river, view.expected, view.series, request.now, trip, weather=found.weather, **view.conditions()
        )
        for station, view in views.items()
    }
    spot_cautions = {day.spot.id: window_caution(day, bases[day.water.view.station], trip, units) for day in days}
    run_cautions = {
        run_id: run_caution(
            bases[water.view.station],
            water,
            [spot_cautions[day.spot.id] for day in days if day.spot.run == run_id],
            units,
        )
        for run_id, water in waters.items()
    }
    by_gauge = {
        station: [run_cautions[run_id] for run_id, water in waters.items() if water.view.station == station]
        for station in views
    }
    beside = {station: other_gauges(station, bases, river, by_gauge, units) for station in views}
    whole = whole_caution(bases[main.station], river, main, by_gauge[main.station], units, beside[main.station])

    swims = _ladder_swims(found, river)
    ladder, cautions = _ladder(
        river, views, ladders, waters, days, answers, bases, units, trip, spot_cautions, run_cautions, whole, swims,
        beside,
    )  # fmt: skip
    turns = _turnings(main, ladders[main.station], cautions[main.station], units)
    rods = [rod.as_dict() for rod in found.rods]
    hours = _hours(river, main, found, bases[main.station], request, units, beside[main.station])
    return {
        "format": FORMAT,
        "river": river.name,
        "made_at": request.now,
        "for_day": request.day,
        "timezone": river.timezone,
        "gauges": [gauge_record(view) for view in views.values()],
        "expected": [row for view in views.values() for row in _expected_rows(view)],
        "caution": {**whole.as_dict(), "turns": [*turns, *turning_hours(hours, river.timezone)]},
        "hours": [hour.as_dict() for hour in hours],
        "weather": found.weather.as_dict(units, Route.of(river).bearing()),
        "runs": [
            open_water_only(as_run_record(water, found.states[run_id], run_cautions[run_id].as_dict()), water.view)
            for run_id, water in waters.items()
        ],
        "spots": [
            open_water_only(spot_record(day, answer, spot_cautions[day.spot.id], found, river, units), day.water.view)
            for day, answer in zip(days, answers, strict=True)
        ],
        "ladder": ladder,
        "rods": rods,
        "trip": {**trip.as_dict(), "rods": rods},
        "learned": learned_record(found.learned, units),
        "search": _search_record(found.report),
    }


def _hours(
    river: River, main: GaugeView, found: Day, base: Conditions, request: Request, units: str,
    beside: dict[str, list[Caution]],
) -> list[HourCaution]:  # fmt: skip
    """Cautions now and in each hour of the window, with every spot on the main gauge and what the others raise."""

    here = [day for day in found.spots if day.water.view.station == main.station]
    lagging = [
        (*cautious_hours(water), partial(_stances, [day for day in here if day.water is water]))
        for water in found.waters.values()
        if water.lag_s and water.view.station == main.station
    ]
    prompt = [day for day in here if not day.water.lag_s]
    today = request.now.astimezone(ZoneInfo(river.timezone)).date()
    return hourly_cautions(
        base, main.expected, thresholds=river.thresholds, stances=partial(_stances, prompt), lagging=lagging,
        sun=found.trip.sun,
        sun_now=sun_times(*Route.of(river).centre, today, river.timezone), weather=found.weather, now=request.now,
        units=units, gauge=main.station, beside=beside,
    )  # fmt: skip


def _stances(days: list[SpotDay], stage: float, discharge: float) -> Iterator[Stance]:
    """Where one stands or casts from at each spot, at a reading of its gauge."""
    for day in days:
        here = spot_water(day.water, day.spot, GaugeLevel(stage, discharge))
        name, wading = day.spot.name or day.spot.id, day.spot.stance == "wading"
        yield Stance(day.spot.id, day.spot.run, name, wading, here.stance_depth_high_m, here.stance_velocity_high_m_s)


def window_caution(day: SpotDay, base: Conditions, trip: Trip, units: str) -> Caution:
    """Caution of a spot at the upper 90 % of the gauge over the whole window."""
    here = spot_water(day.water, day.spot, cautious_level(day.water))
    dark = next((stop.dark for stop in trip.stops if stop.spot == day.spot.id), None)
    return spot_caution(base, day.spot, here, units, dark)


def _expected_rows(view: GaugeView) -> list[dict[str, Any]]:
    expected = view.expected
    return [
        {
            "gauge": view.station,
            "time": expected.times[i],
            "stage_m": expected.stage_m[i],
            "stage_low_m": expected.stage_low_m[i],
            "stage_high_m": expected.stage_high_m[i],
            "discharge_m3s": expected.discharge_m3s[i],
            "discharge_low_m3s": expected.discharge_low_m3s[i],
            "discharge_high_m3s": expected.discharge_high_m3s[i],
            "basis": expected.basis,
        }
        for i in range(len(expected.times))
    ]


def spot_record(
    day: SpotDay, answers: list[Advice], caution: Caution, found: Day, river: River, units: str
) -> dict[str, Any]:
    """One of `spots` in ``plan.json``."""
    here, answer = day.waters[day.at_arrival], answers[day.at_arrival]
    best = None if answer.best is None else answer.best.as_dict()
    return {
        "id": day.spot.id,
        "run": day.spot.run,
        "name": day.spot.name,
        "at": found.trip.arrival(day.spot.id),
        "stage_m": day.arrival.stage_m,
        "discharge_m3s": day.arrival.discharge_m3s,
        "depth_m": _under_water(here.depth_m),
        "depth_low_m": _under_water(here.depth_m - TEN_NINETY * here.depth_sd_m),
        "depth_high_m": _under_water(here.depth_m + TEN_NINETY * here.depth_sd_m),
        "velocity_m_s": here.velocity_m_s,
        "velocity_low_m_s": here.velocity_low_m_s,
        "velocity_high_m_s": here.velocity_high_m_s,
        "stance": day.spot.stance,
        "stance_depth_m": _under_water(here.stance_depth_m),
        "stance_velocity_m_s": here.stance_velocity_m_s,
        "cast_m": day.asked.cast_m,
        "angle_deg": day.asked.angle_deg,
        "hold_low_m": day.asked.hold_low_m,
        "hold_high_m": day.asked.hold_high_m,
        "best": best,
        "none_because": answer.none_because or None,
        "next_best": None if answer.next_best is None else answer.next_best.as_dict(),
        "compromise": None if answer.compromise is None else answer.compromise.as_dict(),
        "limits": [*answer.limits, *_unrigged(answer, found)],
        "sensitivity": [one.as_dict() for one in answer.sensitivity],
        "tips": [*answer.tips, *_reach_words(day, answer, units)],
        "if_lower": answer.if_lower or None,
        "if_higher": answer.if_higher or None,
        "learned": spot_learned(found.learned, day.spot.id, None if answer.best is None else answer.best.line),
        "swim": None
        if answer.best is None
        else side_view(day.asked, day.at_arrival, answer.best, river.tackle, found.learned),
        "caution": caution.as_dict(),
    }


def _under_water(depth: float) -> float:
    """A depth for the plan [m]: 0 where the bed lies above the water, NaN unknown."""
    return max(depth, 0.0) if math.isfinite(depth) else depth


def _reach_words(day: SpotDay, answer: Advice, units: str) -> list[str]:
    """Above which level nothing in the box reaches the band, and what would."""
    if answer.reach_ends is None:
        return []
    at, ips = answer.reach_ends
    below = day.levels[at - 1]
    stage = all(math.isfinite(level.stage_m) for level in day.levels)
    limit = show(below.stage_m, "level", units) if stage else show(below.discharge_m3s, "discharge", units)
    would = f"a swim says that a {ips} in/s head would" if ips else "no class of head would"
    return [f"Nothing you carry reaches the band here above {limit} at the gauge; {would}."]


def _unrigged(answer: Advice, found: Day) -> tuple[str, ...]:
    """Said where the best line is on none of the rods to rig."""
    if answer.best is None or answer.best.line in {rod.line for rod in found.rods}:
        return ()
    return (f"{answer.best.line} is not on one of the day's rods: it would take one rod more.",)


def _ladder(
    river: River,
    views: dict[str, GaugeView],
    ladders: dict[str, list[GaugeLevel]],
    waters: dict[str, RunWater],
    days: list[SpotDay],
    answers: list[list[Advice]],
    bases: dict[str, Conditions],
    units: str,
    trip: Trip,
    expected_spots: dict[str, Caution],
    expected_runs: dict[str, Caution],
    whole_day: Caution,
    swims: dict[tuple[str, int], dict[str, Any] | None],
    beside: dict[str, dict[str, list[Caution]]],
) -> tuple[list[dict[str, Any]], dict[str, list[Caution]]]:
    """The ladder's rows, and the whole caution of each step by gauge.

    A step holds for that reading as it stands. From the expected level upward it is at least as high as the caution of
    the day as expected, which looks at the upper 90 % of the window: a reading at or above what was planned with is no
    reason to think less of it. `expected` has those of spots and runs by id, `whole_day` the day's.
    """
    dark = {stop.spot: stop.dark for stop in trip.stops}
    rows: list[dict[str, Any]] = []
    cautions: dict[str, list[Caution]] = {}
    for station, steps in ladders.items():
        of_gauge = {run_id: water for run_id, water in waters.items() if water.view.station == station}
        cautions[station] = []
        planned = min((day.at_arrival for day in days if day.spot.run in of_gauge), default=len(steps))
        for number, step in enumerate(steps):
            base = step_conditions(bases[station], step, views[station])
            spots: list[dict[str, Any]] = []
            per_run: dict[str, list[Caution]] = {run_id: [] for run_id in of_gauge}
            for day, answer in zip(days, answers, strict=True):
                if day.spot.run not in of_gauge:
                    continue
                at = number + (number >= day.at_arrival)
                raised = spot_caution(base, day.spot, day.waters[at], units, dark[day.spot.id])
                if number >= planned:
                    raised = worst([raised, expected_spots[day.spot.id]])
                per_run[day.spot.run].append(raised)
                spots.append(_ladder_spot(day, at, answer[at], raised, swims.get((day.spot.id, at))))
            runs = []
            for run_id, water in of_gauge.items():
                raised = run_caution(base, water, per_run[run_id], units)
                if number >= planned:
                    raised = worst([raised, expected_runs[run_id]])
                per_run[run_id] = [raised]
                runs.append(_ladder_run(water, step, raised))
            own = [c for (c,) in per_run.values()]
            whole = whole_caution(base, river, views[station], own, units, beside[station])
            if number >= planned:
                whole = worst([whole, whole_day])
            cautions[station].append(whole)
            rows.append(
                {
                    "gauge": station,
                    "stage_m": step.stage_m,
                    "discharge_m3s": step.discharge_m3s,
                    "caution": whole.as_dict(),
                    "runs": runs,
                    "spots": spots,
                }
            )
    return rows, cautions


def _ladder_run(water: RunWater, step: GaugeLevel, caution: Caution) -> dict[str, Any]:
    state = water.at(step)
    return {
        "id": water.run.id,
        "level_m": state.level_m,
        "mean_depth_m": state.mean_depth_m,
        "velocity_used_m_s": state.velocity_used_m_s,
        "velocity_low_m_s": state.velocity_low_m_s,
        "velocity_high_m_s": state.velocity_high_m_s,
        "caution": caution.as_dict(),
    }


def _ladder_swims(found: Day, river: River) -> dict[tuple[str, int], dict[str, Any] | None]:
    """The side view of each spot at each level that has an answer; the solver lets go of the interpreter's lock."""
    from planner.advice.kept import Shelf
    from planner.advice.store import SwimStore
    from planner.advice.ways import side_by_side

    shelf = Shelf(SwimStore())
    wanted = [
        (day, [(at, answer.best) for at, answer in enumerate(answers) if answer.best and at != day.at_arrival])
        for day, answers in zip(found.spots, found.answers, strict=True)
    ]
    views = side_by_side(
        lambda one: short_views(one[0].asked, one[1], river.tackle, found.learned, shelf), wanted
    )  # fmt: skip
    shelf.save()
    return {
        (day.spot.id, at): view
        for (day, levels), found_there in zip(wanted, views, strict=True)
        for (at, _), view in zip(levels, found_there, strict=True)
    }


def _ladder_spot(
    day: SpotDay, at: int, answer: Advice, caution: Caution, swim: dict[str, Any] | None
) -> dict[str, Any]:
    here = day.waters[at]
    row: dict[str, Any] = {"id": day.spot.id, "depth_m": _under_water(here.depth_m), "velocity_m_s": here.velocity_m_s}
    best = {} if answer.best is None else answer.best.as_dict()
    names = (
        "line fly leader_m countdown_mode countdown_from_s countdown_to_s strip_m_s lift_rod_at_m fly_depth_m "
        "touch_chance hang_chance band_time_s why"
    ).split()
    row.update({name: best.get(name) for name in names})
    row["none_because"] = answer.none_because or None
    row["swim"] = swim
    row["caution"] = caution.as_dict()
    return row


def _turnings(view: GaugeView, steps: list[GaugeLevel], cautions: list[Caution], units: str) -> tuple[str, ...]:
    """Sentences that name the gauge level at which the day turns to a higher caution."""
    keyed = "stage" if all(math.isfinite(step.stage_m) for step in steps) else "discharge"
    pairs = [
        (step.stage_m if keyed == "stage" else step.discharge_m3s, caution)
        for step, caution in zip(steps, cautions, strict=True)
    ]
    return turning_words(turning_levels(pairs), units, keyed)


def _search_record(report: AdviceReport) -> dict[str, Any]:
    return {"swims": report.swims, "direct_swims": report.direct_swims, "words": str(report)}
