"""How long the party is on the water, with gauges and weather for all of it.

Slow water or wind can bring a party to the take-out after the hours that it asked for. What gauge and sky may do until
then is looked at like the hours before.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING

from planner.flow.state import FlowState
from planner.gauges.gathered import GatheredStore
from planner.gauges.series import to_datetime64
from planner.plan.ask import Request
from planner.plan.readings import GaugeView, read_gauges, seen_again
from planner.plan.waters import RunWater, expected_at, run_waters
from planner.trip import Route, Trip, drift_thread, schedule
from planner.weather import Weather, look_up

if TYPE_CHECKING:
    from planner.river import River

__all__ = ["Afloat", "Look", "afloat", "look_at"]

# A request to its gauges by station and its runs by id.
Look = Callable[[Request], tuple[dict[str, GaugeView], dict[str, RunWater]]]

_PASSES = 3  # wind of the hours that were added can add more; beyond this the last is taken
_LONGEST = timedelta(hours=12)  # design choice: who is out longer is out in the dark, which has a caution of its own


@dataclass(frozen=True)
class Afloat:
    """Water, sky and clock of a day.

    Parameters
    ----------
    views : dict
        Gauges by station, to the slow end of the trip.
    waters, states : dict
        Runs by id, and each at the middle of the hours asked for.
    weather : Weather
        To the slow end of the trip; its parts are None where they could not be had.
    lay_out : callable
        `planner.trip.schedule` of this day; takes its ``weights``.
    """

    views: dict[str, GaugeView]
    waters: dict[str, RunWater]
    states: dict[str, FlowState]
    weather: Weather
    lay_out: Callable[..., Trip]


def look_at(river: River) -> Look:
    """A look at a river's gauges and runs: read for the first request, seen again for others of the same readings."""
    first: list[tuple[dict[str, GaugeView], dict[str, RunWater]]] = []

    def look(request: Request) -> tuple[dict[str, GaugeView], dict[str, RunWater]]:
        if not first:
            views = read_gauges(river, request)
            first.append((views, run_waters(river, views)))
            return first[0]
        read, waters = first[0]
        views = {
            station: seen_again(view, request, river, request.level if position == 0 else None)
            for position, (station, view) in enumerate(read.items())
        }
        return views, {run_id: replace(water, view=views[water.view.station]) for run_id, water in waters.items()}

    return look


def afloat(river: River, request: Request, look: Look) -> Afloat:
    """Gauges, runs and weather from the first hour asked for to the slow end of the trip.

    Parameters
    ----------
    river : River
        The river folder as read.
    request : Request
        Day, window, clock, level and recorded replies.
    look : callable
        Gives gauges and runs for a request; asked again with a later end where the trip may end later.

    Raises
    ------
    SourceUnreachable, GaugeReplyUnfit, DataUnfit
        When there is no level to plan with.
    """
    views, waters = look(request)
    middle = request.start + (request.end - request.start) / 2
    states = {run_id: water.at(expected_at(water.view, middle, water.lag_s)) for run_id, water in waters.items()}
    route = Route.of(river)
    threads = {
        run_id: drift_thread(route, run_id, water.flow, states[run_id]) or states[run_id].velocity_used_m_s
        for run_id, water in waters.items()
    }
    weather = look_up(
        river, request.start, request.end, request.now, network=_online(request, views), said=request.said
    )

    def lay_out_in(weather: Weather) -> Callable[..., Trip]:
        wind = weather.against(route.bearing())
        return partial(schedule, river, request.start, request.end, request.now, threads, wind_against=wind)

    for _ in range(_PASSES):
        latest = min(lay_out_in(weather)().take_out_latest, request.end + _LONGEST)
        if latest <= weather.end:
            break
        weather = replace(weather, end=latest)
    if any(to_datetime64(weather.end) > view.expected.times[-1] for view in views.values()):
        views, waters = look(replace(request, end=weather.end))
    return Afloat(views, waters, states, weather, lay_out_in(weather))


def _online(request: Request, views: dict[str, GaugeView]) -> bool:
    """Whether the services of weather may be asked: a gauge of theirs answered a moment ago."""
    answered = any(
        view.series is not None and not view.series.from_cache and not station.startswith("file:")
        for station, view in views.items()
    )
    gathered = isinstance(request.store, GatheredStore)  # read before by another process, which asked for the weather
    return answered and not request.replies and (request.said is not None or not gathered)
