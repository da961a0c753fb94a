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
from planner.trip.drift import default_slow, leg_seconds, reaches
from planner.trip.fit import daylight_conflicts, fit_fishing
from planner.trip.route import Route, setting
from planner.trip.sun import SunTimes, sun_times
from planner.trip.ways import WayOff, access_to, bail_outs, shuttle_note
from planner.units import show

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
    shuttle : str
        A sentence on getting a car to the take-out; "" on foot.
    ways_off : tuple of WayOff
        Places to leave the river on the way, in order.
    access : mapping
        On foot: spot id to its nearest access and the walk along the river [m].
    travel_slow_min : float
        Time to move from put-in to take-out at the slow end [min].
    timed : bool
        Whether the whole way is drawn, so that its slow end is known.
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
    shuttle: str = ""
    ways_off: tuple[WayOff, ...] = ()
    access: Mapping[str, tuple[str, float]] = field(default_factory=dict)
    travel_slow_min: float = math.nan
    timed: bool = True

    @property
    def takeout_vs_sunset_min(self) -> float | None:
        """Slow end of the trip minus sunset [min]; None without a sunset, and where only the hours asked for are known.

        Without a flowline or a take-out the way takes an unknown time: the end of the window can be late already, but
        it cannot tell that the trip is not.
        """
        late = _minutes(self.take_out_latest, self.sun.sunset)
        return late if late is not None and (self.timed or late > -setting("off_before_sunset")) else None

    @property
    def takeout_vs_dusk_min(self) -> float | None:
        """Slow end of the trip minus the end of civil dusk [min]; None without a dusk, and as above."""
        late = _minutes(self.take_out_latest, self.sun.dusk)
        return late if late is not None and (self.timed or late > 0.0) else None

    @property
    def margin_before_dusk_min(self) -> float | None:
        """What is left between the slow end of the trip and the end of civil dusk [min]; negative when it is late."""
        late = self.takeout_vs_dusk_min
        return None if late is None else -late

    def by_run(self) -> list[dict[str, Any]]:
        """Runs in order of arrival, with the minutes to fish in each and when to leave it."""
        found: dict[str, dict[str, Any]] = {}
        for stop in self.stops:
            if stop.arrive_at is None:
                continue
            run = found.setdefault(stop.run, {"run": stop.run, "arrive_at": stop.arrive_at, "fishing_min": 0.0})
            run["fishing_min"] += stop.fishing_min
            run["leave_by"] = stop.leave_by
        return [
            {
                "run": run["run"],
                "arrive_at": _iso(run["arrive_at"]),
                "leave_by": _iso(run["leave_by"]),
                "fishing_min": _number(run["fishing_min"]),
            }
            for run in found.values()
        ]

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
            "travel_slow_min": _number(self.travel_slow_min),
            "margin_before_dusk_min": _number(self.margin_before_dusk_min),
            "shuttle": self.shuttle or None,
            "ways_off": [way.as_dict() for way in self.ways_off],
            "access": {spot: {"name": name, "walk_m": _number(walk)} for spot, (name, walk) in self.access.items()},
            "runs": self.by_run(),
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


def _ordered(river: River, route: Route, on_foot: bool) -> tuple[list[Any], list[Any]]:
    """Spots of this trip in order downstream, and those above the put-in or below the take-out."""
    spots = sorted(river.spots, key=lambda s: route.spots[s.id] if math.isfinite(route.spots[s.id]) else 0.0)
    if on_foot:
        return spots, []
    off = [s for s in spots if route.spots[s.id] < route.put_in or route.spots[s.id] > route.take_out]
    return [s for s in spots if s not in off], off


def schedule(
    river: River,
    start: datetime,
    end: datetime,
    now: datetime | None = None,
    flows: Mapping[str, Any] | None = None,
    *,
    weights: Mapping[str, float] | None = None,
    wind_against: float = 0.0,
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
        Run id to its `DriftThread`, to its current [m/s], or to anything with `velocity_used_m_s`. Elsewhere a stated
        default holds.
    weights : mapping, optional
        Spot id to its share of the fishing time, as from `fishing_weights`; 1 when not given.
    wind_against : float
        Strongest wind up the river within the hours [m/s]; it slows the slow end. NaN unknown counts as none.

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
    route = Route.of(river)
    pieces = reaches(route, flows, wind_against)
    on_foot = _on_foot(river)
    by = "foot" if on_foot else "boat"
    default = setting("walk_speed" if on_foot else "drift_speed")
    spots, off = _ordered(river, route, on_foot)
    used = {run for run in flows or {} if _known(pieces, route, run)}
    notes, conflicts = _notes(route, used, default, on_foot, river.units), []
    begin = route.put_in if math.isfinite(route.put_in) else (route.spots[spots[0].id] if spots else math.nan)
    finish = route.take_out if math.isfinite(route.take_out) else (route.spots[spots[-1].id] if spots else math.nan)
    if on_foot and not route.take_out_name:
        finish = begin  # back to the car
    if begin > finish:
        conflicts.append(
            "The take-out lies above the put-in along the flowline. Check both, and that it runs downstream."
        )

    def leg(a: float, b: float, slow: bool = False) -> float:
        if on_foot:
            return abs(b - a) / default if math.isfinite(b - a) else 0.0
        return leg_seconds(a, b, pieces, default_slow(wind_against) if slow else default, slow)

    marks = [begin, *(route.spots[spot.id] for spot in spots), finish]
    legs = [leg(a, b) for a, b in itertools.pairwise(marks)]
    slow_legs = [leg(a, b, True) for a, b in itertools.pairwise(marks)]
    travel, slow_travel = sum(legs), sum(slow_legs)
    fishing, misfits = fit_fishing((end - start).total_seconds(), travel, slow_travel, spots, weights or {}, by)
    conflicts += misfits
    day = start.astimezone(ZoneInfo(river.timezone)).date()
    sun = sun_times(*route.centre, day, river.timezone)
    stops, moment = [], start
    for i, spot in enumerate(spots):
        moment += timedelta(seconds=legs[i])
        leave = moment + timedelta(seconds=fishing[i])
        latest = None
        if sun.sunset is not None:
            still = sum(slow_legs[i + 1 :]) + setting("off_before_sunset") * 60
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
    late = take_out_at + timedelta(seconds=slow_travel - travel)
    for spot in off:
        side = "above the put-in" if route.spots[spot.id] < route.put_in else "below the take-out"
        conflicts.append(f"{spot.name or spot.id} lies {side} and is not on this float.")
        stops.append(Stop(spot.id, spot.run, spot.name, route.spots[spot.id], None, None, None, 0.0, math.nan, None))
    order = [(spot, seconds, (weights or {}).get(spot.id, 1.0)) for spot, seconds in zip(spots, fishing, strict=True)]
    conflicts += daylight_conflicts(start, late, sun, order)
    if now is not None and start < now:
        notes.append("The window began before this plan was made.")
    if not on_foot and math.isfinite(wind_against) and wind_against > 0:
        notes.append(
            f"Wind up the river of up to {show(wind_against, 'speed', river.units)} is counted at the slow end."
        )
    return Trip(
        start, end, by, route.put_in_name, route.take_out_name, take_out_at, late, finish - begin, travel / 60,
        tuple(stops), sun, route.hazards_in_reach(), tuple(conflicts), tuple(notes),
        shuttle="" if on_foot else shuttle_note(river, route, start),
        ways_off=() if on_foot else bail_outs(river, route, lambda a, b: leg(a, b, True)),
        access=access_to(river, route) if on_foot else {},
        travel_slow_min=slow_travel / 60,
        timed=math.isfinite(route.length) and (on_foot or math.isfinite(route.take_out)),
    )  # fmt: skip


def _known(pieces: list[Any], route: Route, run: str) -> bool:
    upper, lower = route.runs.get(run, (math.nan, math.nan))
    return any(piece.upper < lower and piece.lower > upper for piece in pieces)


def _on_foot(river: River) -> bool:
    if river.craft:
        return river.craft.strip().lower() in ("on foot", "foot", "none", "wading")
    return all(spot.stance in ("wading", "bank") for spot in river.spots)


def _notes(route: Route, speeds: set[str], default: float, on_foot: bool, units: str) -> list[str]:
    notes = []
    if not math.isfinite(route.length):
        notes.append("No flowline is drawn: spots are in file order and the time to move between them is not counted.")
    elif on_foot:
        back = "" if route.take_out_name else " and back to where the walk began"
        notes.append(f"Walking at about {show(default, 'speed', units)} along the river{back}.")
        if not (route.put_in_name or route.take_out_name):
            notes.append("No access point is drawn: draw where you leave the car as a put-in.")
    else:
        known = f" The current of {len(speeds)} of {len(route.runs)} runs is used." if route.runs else ""
        usual = show(default, "speed", units)
        notes.append(f"The boat drifts with the run's current, elsewhere at about {usual} (assumed).{known}")
    if not on_foot and not route.put_in_name:
        notes.append("No put-in is drawn: the trip starts at the first spot.")
    if not on_foot and not route.take_out_name:
        notes.append("No take-out is drawn: the trip ends at the last spot.")
    return notes
