"""The trip's clock: order of the spots, arrivals, leave-by times, daylight, and what does not fit."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from planner.errors import UsageMistake
from planner.trip.route import Route, setting, travel_seconds
from planner.trip.sun import SunTimes, sun_times

if TYPE_CHECKING:
    from planner.river.records import River

__all__ = ["Stop", "Trip", "schedule"]


@dataclass(frozen=True)
class Stop:
    """One spot of the day.

    Parameters
    ----------
    spot, run, name : str
        Its ids and name.
    at_m : float
        Station along the flowline [m]; NaN without a flowline.
    arrive_at, leave_by : datetime or None
        UTC; None when the spot is not on this trip.
    daylight_leave_by : datetime or None
        Latest moment to go on so that the slow end still takes out an hour before sunset.
    fishing_min, travel_min : float
        Minutes to fish here, and minutes to get here from the stop before [min].
    dark : bool or None
        Whether any of the stop lies before dawn or after dusk.
    """

    spot: str
    run: str
    name: str
    at_m: float
    arrive_at: datetime | None
    leave_by: datetime | None
    daylight_leave_by: datetime | None
    fishing_min: float
    travel_min: float
    dark: bool | None


@dataclass(frozen=True)
class Trip:
    """The day on the water. Times are UTC.

    Parameters
    ----------
    start, end : datetime
        The window asked for.
    by : str
        ``boat`` or ``foot``.
    put_in, take_out : str
        Their names.
    take_out_at, take_out_latest : datetime
        Planned arrival at the take-out, and its slow end.
    distance_m, travel_min : float
        From put-in to take-out [m] (NaN without a flowline), and the time to move that far [min].
    stops : tuple of Stop
        In order; spots off this float come last with no time.
    sun : SunTimes
        Of the day.
    hazards_in_reach : tuple of (kind, name) or None
        For `planner.caution.Conditions`.
    conflicts, notes : tuple of str
        What does not fit and what to drop; what was assumed.
    rods : tuple
        Filled by the plan.
    """

    start: datetime
    end: datetime
    by: str
    put_in: str
    take_out: str
    take_out_at: datetime
    take_out_latest: datetime
    distance_m: float
    travel_min: float
    stops: tuple[Stop, ...]
    sun: SunTimes
    hazards_in_reach: tuple[tuple[str, str], ...] | None
    conflicts: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    rods: tuple[Any, ...] = field(default=())

    @property
    def takeout_vs_sunset_min(self) -> float | None:
        """Slow end of the trip minus sunset [min]; None without a sunset."""
        return _minutes(self.take_out_latest, self.sun.sunset)

    @property
    def takeout_vs_dusk_min(self) -> float | None:
        """Slow end of the trip minus the end of civil dusk [min]; None without a dusk."""
        return _minutes(self.take_out_latest, self.sun.dusk)

    def arrival(self, spot: str) -> datetime:
        """When a spot is reached; mid-window for one that is off this trip or unknown."""
        for stop in self.stops:
            if stop.spot == spot and stop.arrive_at is not None:
                return stop.arrive_at
        return self.start + (self.end - self.start) / 2

    def as_dict(self) -> dict[str, Any]:
        """The trip as it stands in `plan.json`: ISO 8601 in UTC, unknown null."""
        return {
            "start": _iso(self.start),
            "end": _iso(self.end),
            "by": self.by,
            "put_in": self.put_in or None,
            "take_out": self.take_out or None,
            "take_out_at": _iso(self.take_out_at),
            "take_out_latest": _iso(self.take_out_latest),
            "dawn": _iso(self.sun.dawn),
            "sunrise": _iso(self.sun.sunrise),
            "sunset": _iso(self.sun.sunset),
            "dusk": _iso(self.sun.dusk),
            "takeout_vs_sunset_min": _number(self.takeout_vs_sunset_min),
            "takeout_vs_dusk_min": _number(self.takeout_vs_dusk_min),
            "distance_m": _number(self.distance_m),
            "travel_min": _number(self.travel_min),
            "stops": [
                {
                    "spot": stop.spot,
                    "run": stop.run,
                    "name": stop.name,
                    "at_m": _number(stop.at_m),
                    "arrive_at": _iso(stop.arrive_at),
                    "leave_by": _iso(stop.leave_by),
                    "daylight_leave_by": _iso(stop.daylight_leave_by),
                    "fishing_min": _number(stop.fishing_min),
                    "travel_min": _number(stop.travel_min),
                    "dark": stop.dark,
                }
                for stop in self.stops
            ],
            "conflicts": list(self.conflicts),
            "notes": list(self.notes),
            "rods": list(self.rods),
        }


def _minutes(moment: datetime, other: datetime | None) -> float | None:
    return None if other is None else (moment - other).total_seconds() / 60


def _iso(moment: datetime | None) -> str | None:
    return None if moment is None else moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def _number(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 1)


def _speeds(flows: Mapping[str, Any] | None) -> dict[str, float]:
    found = {}
    for run, flow in (flows or {}).items():
        value = getattr(flow, "velocity_used_m_s", flow)
        if value is not None and math.isfinite(float(value)) and float(value) > 0:
            found[run] = float(value)
    return found


def _ordered(river: River, route: Route, on_foot: bool) -> tuple[list[Any], list[Any]]:
    """Spots of this trip in order downstream, and those above the put-in or below the take-out."""
    spots = sorted(river.spots, key=lambda s: route.spots[s.id] if math.isfinite(route.spots[s.id]) else 0.0)
    if on_foot:
        return spots, []
    off = [s for s in spots if route.spots[s.id] < route.put_in or route.spots[s.id] > route.take_out]
    return [s for s in spots if s not in off], off


def _fit(
    window_s: float, travel_s: float, slow_s: float, spots: list[Any], weights: Mapping[str, float], by: str
) -> tuple[list[float], list[str]]:
    """Seconds to fish at each spot, and the conflicts."""
    conflicts: list[str] = []
    left = max(window_s - travel_s, 0.0)
    share = [max(float(weights.get(spot.id, 1.0)), 0.0) for spot in spots]
    total = sum(share)
    fishing = [left * part / total if total > 0 else 0.0 for part in share]
    move = "drift" if by == "boat" else "walk"
    if travel_s > window_s:
        conflicts.append(
            f"The {move} alone takes about {_hours(travel_s)} and your hours hold {_hours(window_s)}. "
            "Start earlier, end later, or take out higher up."
        )
    elif slow_s > window_s:
        conflicts.append(
            f"At the slow end the {move} takes about {_hours(slow_s)} and your hours hold {_hours(window_s)}. "
            "Start earlier or plan a way off the river on the way."
        )
    least = setting("least_fishing") * 60
    short = [spot for spot, seconds in zip(spots, fishing, strict=True) if seconds < least]
    if short and travel_s <= window_s:
        room = int(left // least)
        drop = sorted(zip(spots, share, strict=True), key=lambda pair: pair[1])[: max(len(spots) - room, 0)]
        names = ", ".join(spot.name or spot.id for spot, _ in drop) or ", ".join(s.name or s.id for s in short)
        conflicts.append(f"Fewer than {setting('least_fishing'):.0f} min to fish at some spots. Drop: {names}.")
    return fishing, conflicts


def _hours(seconds: float) -> str:
    return f"{seconds / 3600:.1f} h"


def schedule(
    river: River,
    start: datetime,
    end: datetime,
    now: datetime | None = None,
    flows: Mapping[str, Any] | None = None,
    *,
    weights: Mapping[str, float] | None = None,
) -> Trip:
    """Lay the day out: from put-in to take-out along the flowline, what is left of the window fished at the spots.

    Parameters
    ----------
    river : River
        As read.
    start, end : datetime
        Window on the water, aware of its zone: leaving the put-in, reaching the take-out.
    now : datetime, optional
        When the plan is made; a window that has begun is said.
    flows : mapping, optional
        Run id to its current [m/s], or to anything with `velocity_used_m_s`. Elsewhere a stated default holds.
    weights : mapping, optional
        Spot id to its share of the fishing time; 1 when not given.

    Returns
    -------
    Trip

    Raises
    ------
    UsageMistake
        When the window ends before it starts or lacks its zone.
    """
    if start.tzinfo is None or end.tzinfo is None:
        raise UsageMistake("a window without a time zone", "times with their zone", "give the offset, e.g. -05:00")
    if end <= start:
        raise UsageMistake(
            f"a window from {start:%H:%M} to {end:%H:%M}", "an end after the start", "change --from or --to"
        )
    start, end = start.astimezone(UTC), end.astimezone(UTC)
    route, speeds = Route.of(river), _speeds(flows)
    on_foot = _on_foot(river)
    by = "foot" if on_foot else "boat"
    default = setting("walk_speed" if on_foot else "drift_speed")
    spots, off = _ordered(river, route, on_foot)
    notes, conflicts = _notes(route, speeds, default, on_foot), []
    begin = route.put_in if math.isfinite(route.put_in) else (route.spots[spots[0].id] if spots else math.nan)
    finish = route.take_out if math.isfinite(route.take_out) else (route.spots[spots[-1].id] if spots else math.nan)
    if begin > finish:
        conflicts.append(
            "The take-out lies above the put-in along the flowline. Check both, and that it runs downstream."
        )

    def leg(a: float, b: float) -> float:
        if on_foot:
            return abs(b - a) / default if math.isfinite(b - a) else 0.0
        return travel_seconds(a, b, route.runs, speeds, default)

    marks = [begin, *(route.spots[spot.id] for spot in spots), finish]
    legs = [leg(a, b) for a, b in itertools.pairwise(marks)]
    travel, slow_share = sum(legs), 1.0 if on_foot else setting("slow_share")
    fishing, misfits = _fit((end - start).total_seconds(), travel, travel / slow_share, spots, weights or {}, by)
    conflicts += misfits
    day = start.astimezone(ZoneInfo(river.timezone)).date()
    sun = sun_times(*route.centre, day, river.timezone)
    stops, moment = [], start
    for i, spot in enumerate(spots):
        moment += timedelta(seconds=legs[i])
        leave = moment + timedelta(seconds=fishing[i])
        latest = None
        if sun.sunset is not None:
            still = sum(legs[i + 1 :]) / slow_share + setting("off_before_sunset") * 60
            latest = sun.sunset - timedelta(seconds=still)
        dark = None if sun.is_dark(moment) is None else bool(sun.is_dark(moment) or sun.is_dark(leave))
        stops.append(
            Stop(
                spot.id,
                spot.run,
                spot.name,
                route.spots[spot.id],
                moment,
                leave,
                latest,
                fishing[i] / 60,
                legs[i] / 60,
                dark,
            )
        )
        moment = leave
    take_out_at = moment + timedelta(seconds=legs[-1])
    late = take_out_at + timedelta(seconds=travel / slow_share - travel)
    for spot in off:
        side = "above the put-in" if route.spots[spot.id] < route.put_in else "below the take-out"
        conflicts.append(f"{spot.name or spot.id} lies {side} and is not on this float.")
        stops.append(Stop(spot.id, spot.run, spot.name, route.spots[spot.id], None, None, None, 0.0, math.nan, None))
    conflicts += _daylight(start, late, sun)
    if now is not None and start < now:
        notes.append("The window began before this plan was made.")
    return Trip(
        start, end, by, route.put_in_name, route.take_out_name, take_out_at, late, finish - begin, travel / 60,
        tuple(stops), sun, route.hazards_in_reach(), tuple(conflicts), tuple(notes),
    )  # fmt: skip


def _on_foot(river: River) -> bool:
    if river.craft:
        return river.craft.strip().lower() in ("on foot", "foot", "none", "wading")
    return all(spot.stance in ("wading", "bank") for spot in river.spots)


def _daylight(start: datetime, latest: datetime, sun: SunTimes) -> list[str]:
    found = []
    if sun.dawn is not None and start < sun.dawn:
        found.append("The start lies before dawn.")
    if sun.dusk is not None and latest > sun.dusk:
        found.append("The slow end reaches the take-out after dusk. Start earlier or drop spots.")
    elif sun.sunset is not None and latest > sun.sunset:
        found.append("The slow end reaches the take-out after sunset. Start earlier or drop spots.")
    return found


def _notes(route: Route, speeds: Mapping[str, float], default: float, on_foot: bool) -> list[str]:
    notes = []
    if not math.isfinite(route.length):
        notes.append("No flowline is drawn: spots are in file order and the time to move between them is not counted.")
    elif on_foot:
        notes.append(f"Walking at about {default:.1f} m/s along the river.")
    else:
        known = f" The current of {len(speeds)} of {len(route.runs)} runs is used." if route.runs else ""
        notes.append(f"The boat drifts with the run's current, elsewhere at about {default:.1f} m/s (assumed).{known}")
    if not on_foot and not route.put_in_name:
        notes.append("No put-in is drawn: the trip starts at the first spot.")
    if not on_foot and not route.take_out_name:
        notes.append("No take-out is drawn: the trip ends at the last spot.")
    return notes
