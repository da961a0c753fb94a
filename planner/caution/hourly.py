"""Cautions hour by hour over a window, and now: the same rules, held against what each hour is expected to bring."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import chain
from typing import TYPE_CHECKING, Any

from planner.caution.assess import assess_river, assess_run, assess_spot, worst
from planner.caution.gather import at_stance
from planner.caution.records import Caution, Conditions, label_of

if TYPE_CHECKING:
    import numpy.typing as npt

    from planner.water.expect import Expected

__all__ = ["HourCaution", "Stance", "hourly_cautions", "turning_hours"]


@dataclass(frozen=True)
class Stance:
    """Where somebody stands or casts from, at one level of the gauge.

    Parameters
    ----------
    spot, run : str
        Ids.
    name : str
        The spot's name, for the texts.
    wading : bool
        Whether the stance is ``wading``.
    depth, speed : float
        Upper 90 % of depth [m] and depth-averaged speed [m/s] there; NaN unknown.
    """

    spot: str
    run: str
    name: str
    wading: bool
    depth: float
    speed: float


# Gauge stage [m] and discharge [m³/s] to the stances there.
Stances = Callable[[float, float], Iterable[Stance]]


@dataclass(frozen=True)
class HourCaution:
    """The cautions of one hour.

    Parameters
    ----------
    time : datetime
        Its beginning, UTC.
    now : bool
        True for the present, which stands on the last reading and not on what is expected.
    stage_m, discharge_m3s : float
        What was held against the rules: the upper 90 % of the hour [m], [m³/s]; NaN unknown.
    whole, river : Caution
        With all spots, and the river alone.
    runs, spots : dict
        By id.
    """

    time: datetime
    now: bool
    stage_m: float
    discharge_m3s: float
    whole: Caution
    river: Caution
    runs: Mapping[str, Caution]
    spots: Mapping[str, Caution]

    def as_dict(self) -> dict[str, Any]:
        """The hour as it stands in ``plan.json``: levels by place, and the gravest sentence."""
        raised = [reason for reason in self.whole.reasons if reason["level"]]
        return {
            "time": self.time.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
            "now": self.now,
            "stage_m": self.stage_m if math.isfinite(self.stage_m) else None,
            "discharge_m3s": self.discharge_m3s if math.isfinite(self.discharge_m3s) else None,
            "level": self.whole.level,
            "label": self.whole.label,
            "assessed": self.whole.assessed,
            "checks": self.whole.checks,
            "text": raised[0]["text"] if raised else "",
            "river": self.river.level,
            "runs": {name: caution.level for name, caution in self.runs.items()},
            "spots": {name: caution.level for name, caution in self.spots.items()},
        }


def hourly_cautions(
    base: Conditions,
    expected: Expected,
    *,
    thresholds: Iterable[Mapping[str, Any]] = (),
    stances: Stances | None = None,
    lagging: Iterable[tuple[npt.NDArray[Any], npt.NDArray[Any], Stances]] = (),
    sun: Any = None,
    sun_now: Any = None,
    weather: Any = None,
    now: datetime | None = None,
    units: str = "metric",
    gauge: str = "",
    beside: Mapping[str, Iterable[Caution]] | None = None,
) -> list[HourCaution]:
    """Hold the rules against each hour of the window, and against now.

    Parameters
    ----------
    base : Conditions
        Of the whole window, from `gather_conditions`: everything that has no hour of its own stays.
    expected : Expected
        The gauge hour by hour. Each hour takes its own upper 90 % (median where no range is known).
    thresholds : iterable of mapping
        `River.thresholds`.
    stances : callable, optional
        Gauge stage [m] and discharge [m³/s] to every spot's `Stance` at that level. It is asked at the next whole
        centimetre up and the discharge rounded up in its second figure, once for each.
    lagging : iterable of (stage, discharge, stances)
        Of runs that see other hours of the gauge than their own: the stage [m] and discharge [m³/s] to hold them at in
        each hour, shape (n,), and their stances. Now they are held at the last reading, as the others are.
    sun, sun_now : SunTimes, optional
        Of the trip's day and of the present one. Sunset, dusk and darkness of each hour: being on the river then,
        whatever hour the take-out is planned for.
    weather : Weather, optional
        Anything whose `conditions(start, end)` gives the air, thunder and alerts of an hour.
    now : datetime, optional
        When given, the first entry is the present: the last reading itself. None is added without a reading.
    units : str
        ``us`` or ``metric``.
    gauge : str
        Station id of the conditions.
    beside : mapping, optional
        Other gauges of the river to what they and their runs raise in the hours; it stands through all of them.

    Returns
    -------
    list of HourCaution
        The present first when asked for, then one for each of `expected.times`.
    """
    thresholds = tuple(thresholds)
    others = {station: tuple(cautions) for station, cautions in (beside or {}).items()}
    prompt = _stepped(stances)
    late = [(stage, discharge, _stepped(of)) for stage, discharge, of in lagging]
    found = []
    last = expected.last
    if (
        now is not None
        and not expected.given
        and (last.stage_m == last.stage_m or last.discharge_m3s == last.discharge_m3s)
    ):
        here = replace(
            base, stage_m=last.stage_m, discharge_m3s=last.discharge_m3s, discharge_low_m3s=last.discharge_m3s
        )
        reading = (last.stage_m, last.discharge_m3s)
        places = [stance for of in (prompt, *(of for _, _, of in late)) for stance in of(*reading)]
        found.append(_one(here, now, True, thresholds, places, sun_now, None, units, gauge, others))
    for i, stamp in enumerate(expected.times.astype("datetime64[s]").astype(int).tolist()):
        stage, discharge = float(expected.stage_cautious_m[i]), float(expected.discharge_cautious_m3s[i])
        here = replace(
            base,
            stage_m=stage,
            discharge_m3s=discharge,
            discharge_low_m3s=_first(expected.discharge_low_m3s[i], expected.discharge_m3s[i]),
        )
        places = [*prompt(stage, discharge), *(one for h, q, of in late for one in of(float(h[i]), float(q[i])))]
        at = datetime.fromtimestamp(stamp, UTC)
        found.append(_one(here, at, False, thresholds, places, sun, weather, units, gauge, others))
    return found


def _stepped(stances: Stances | None) -> Stances:
    """The stances at a level a little higher, computed once for each: neighbouring hours share one."""
    known: dict[str, tuple[Stance, ...]] = {}

    def at(stage: float, discharge: float) -> Iterable[Stance]:
        if stances is None:
            return ()
        up = (
            _up(stage, 0.01),
            _up(discharge, 10.0 ** (math.floor(math.log10(discharge)) - 1) if discharge > 0 else 1.0),
        )
        key = repr(up)  # by its words: an unknown one is a number that no other equals
        if key not in known:
            known[key] = tuple(stances(*up))
        return known[key]

    return at


def _up(value: float, step: float) -> float:
    return math.ceil(round(value / step, 6)) * step if math.isfinite(value) else value


def _first(*values: float) -> float:
    return next((float(value) for value in values if math.isfinite(value)), math.nan)


def _one(
    here: Conditions,
    at: datetime,
    now: bool,
    thresholds: tuple[Mapping[str, Any], ...],
    places: Iterable[Stance],
    sun: Any,
    weather: Any,
    units: str,
    gauge: str,
    beside: Mapping[str, tuple[Caution, ...]],
) -> HourCaution:
    dark = None
    here = replace(here, takeout_vs_sunset_min=None, takeout_vs_dusk_min=None) if now else here
    if sun is not None:
        dark = sun.is_dark(at)
        here = replace(
            here,
            takeout_vs_sunset_min=_minutes(at, sun.sunset),
            takeout_vs_dusk_min=_minutes(at, sun.dusk),
        )
    if weather is not None:
        here = replace(here, **weather.conditions(at, at + timedelta(hours=1)))
    stage = math.nan if here.stage_m is None else here.stage_m
    discharge = math.nan if here.discharge_m3s is None else here.discharge_m3s
    spots: dict[str, Caution] = {}
    by_run: dict[str, list[Caution]] = {}
    for stance in places:
        there = at_stance(here, stance.depth, stance.speed, dark) if stance.wading else here
        caution = assess_spot(there, wading=stance.wading, where=stance.name, units=units)
        spots[stance.spot] = caution
        by_run.setdefault(stance.run, []).append(caution)
    runs = {run: assess_run(here, spots=cautions, where=run, units=units) for run, cautions in by_run.items()}
    river = assess_river(here, thresholds, units=units, gauge=gauge, elsewhere=beside)
    whole = worst([river, *runs.values(), *chain.from_iterable(beside.values())])
    return HourCaution(at, now, stage, discharge, whole, river, runs, spots)


def _minutes(moment: datetime, other: datetime | None) -> float | None:
    return None if other is None else (moment - other).total_seconds() / 60


def turning_hours(hours: Iterable[HourCaution], zone: str = "UTC") -> tuple[str, ...]:
    """The hours at which the day turns to another level, as short sentences; none when one level holds throughout.

    Parameters
    ----------
    hours : iterable of HourCaution
        In order; the present is left out.
    zone : str
        The river's zone (zoneinfo key).
    """
    from zoneinfo import ZoneInfo

    words: list[str] = []
    before: tuple[int | None] | None = None
    for hour in hours:
        if hour.now:
            continue
        level = (hour.whole.level,)
        if before is not None and level != before:
            label = label_of(level[0])
            words.append(f"From {hour.time.astimezone(ZoneInfo(zone)):%H:%M}: {label}.")
        before = level
    return tuple(words)
