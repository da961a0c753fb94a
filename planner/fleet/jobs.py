"""What a worker does with one river: look what it needs to have read, and plan it. Neither ever raises."""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.errors import PlumbrunError
from planner.plan.ask import Request, request

if TYPE_CHECKING:
    from planner.gauges.gathered import GatheredStore
    from planner.river import River
    from planner.weather.look import Said, Sky

__all__ = ["Needs", "Order", "Outcome", "look_at", "plan_one"]

_MOST_REASONS = 3


@dataclass(frozen=True)
class Order:
    """What is asked of every river of a fleet.

    Parameters
    ----------
    now : datetime
        The moment called now, UTC, the same for all.
    out : Path
        Folder of the whole; each river gets ``rivers/PLACE`` in it.
    day, start, end : str
        As `planner.plan.ask.request` reads them, in each river's own zone.
    units : str or None
        ``us`` or ``metric``; each river's own when None.
    replies : tuple of Path
        Recorded replies read in place of the network.
    learning : bool
        Whether each log corrects its river.
    """

    now: datetime
    out: Path
    day: str = "tomorrow"
    start: str = "08:00"
    end: str = "16:00"
    units: str | None = None
    replies: tuple[Path, ...] = ()
    learning: bool = True

    def request(self, zone: str) -> Request:
        """The request for a river in a zone."""
        return request(
            zone, day=self.day, start=self.start, end=self.end, now=self.now, replies=self.replies,
            learning=self.learning,
        )  # fmt: skip


@dataclass(frozen=True)
class Needs:
    """What a river's plan will ask of services, found without asking any.

    Parameters
    ----------
    windows : dict
        Station to the windows of readings, aware.
    links : dict
        Station to the ``noaa:`` gauge named for its forecast; empty when none is.
    sky : Sky or None
        Whom to ask about the weather.
    failed : str
        Why the river cannot be planned at all; empty when it can.
    """

    windows: dict[str, list[tuple[datetime, datetime]]] = field(default_factory=dict)
    links: dict[str, str] = field(default_factory=dict)
    sky: Sky | None = None
    failed: str = ""


@dataclass(frozen=True)
class Outcome:
    """What became of one river.

    Parameters
    ----------
    folder : Path
        The river folder.
    place : str
        Name of its folder under ``rivers``; empty when it was not planned.
    failed : str
        Why it was not planned; empty when it was.
    row : dict
        What the index and the table of rivers say of it.
    spots : list of dict
        One row per spot with the answer at the planned level.
    seconds, peak_mb : float
        Time that it took, and the most memory that its process has held so far [s], [MB].
    """

    folder: Path
    place: str = ""
    failed: str = ""
    row: dict[str, Any] = field(default_factory=dict)
    spots: list[dict[str, Any]] = field(default_factory=list)
    seconds: float = 0.0
    peak_mb: float = 0.0


def look_at(folder: Path, order: Order) -> Needs:
    """Read a river folder for what its plan will ask of services."""
    from planner.gauges.registry import DAYS
    from planner.plan.readings import link_of, stations_of
    from planner.plan.surveys import survey_windows
    from planner.river import read_river
    from planner.weather.look import is_present, sky_of

    try:
        river = read_river(folder)
        order.request(river.timezone)
        first = order.now - timedelta(days=DAYS)
        asked = [station for station in stations_of(river) if station and not station.startswith("file:")]
        windows = [(first, order.now), *survey_windows(river, first, order.now)] if asked else []
        links = {station: link_of(river, station) for station in asked}
        sky = sky_of(river) if asked and is_present(order.now) else None
        return Needs(dict.fromkeys(asked, windows), links, sky)
    except Exception as error:
        return Needs(failed=_said(error))


def plan_one(folder: Path, place: str, order: Order, store: GatheredStore | None, said: Said | None) -> Outcome:
    """Plan one river into ``rivers/PLACE``.

    Parameters
    ----------
    folder : Path
        The river folder.
    place : str
        Name of its folder under ``rivers``.
    order : Order
        What is asked.
    store : GatheredStore or None
        The readings of its gauges; None reads recorded replies only.
    said : Said or None
        What the weather service said.
    """
    from planner.evening import write_plan
    from planner.river import read_river

    began = time.perf_counter()
    try:
        river = read_river(folder)
        asked = replace(order.request(river.timezone), store=store, said=said)
        units = order.units or river.units
        target = order.out / "rivers" / place
        plan = write_plan(river, asked, units, target).plan
        row, spots = _row(plan, river, units), _spots(plan, river)
    except Exception as error:
        return Outcome(folder, failed=_said(error), seconds=time.perf_counter() - began, peak_mb=_peak_mb())
    return Outcome(folder, place, "", row, spots, time.perf_counter() - began, _peak_mb())


def _said(error: Exception) -> str:
    """A failure in words; one that no user can have caused names its kind."""
    if isinstance(error, PlumbrunError):
        return str(error)
    return f"a mistake in the program itself ({type(error).__name__}: {error}); please report it"


def _row(plan: dict[str, Any], river: River, units: str) -> dict[str, Any]:
    from planner.trip import Route

    caution, gauge = plan["caution"], plan["gauges"][0]
    lon, lat = Route.of(river).centre
    raised = sorted((r for r in caution["reasons"] if r.get("level")), key=lambda r: -r["level"])
    return {
        "name": river.name,
        "day": plan["for_day"],
        "timezone": river.timezone,
        "units": units,
        "level": caution["level"],
        "label": caution["label"],
        "reasons": [str(reason["text"]) for reason in raised[:_MOST_REASONS]],
        "more_reasons": max(len(raised) - _MOST_REASONS, 0),
        "checks": caution["checks"],
        "assessed": caution["assessed"],
        "gauge": gauge["id"],
        "stage_m": gauge["stage_m"],
        "discharge_m3s": gauge["discharge_m3s"],
        "quality": gauge["quality"],
        "age_min": gauge["age_min"],
        "spots": len(plan["spots"]),
        "answered": sum(spot["best"] is not None for spot in plan["spots"]),
        "swims": plan["search"]["swims"] + plan["search"]["direct_swims"],
        "lon": float(lon),
        "lat": float(lat),
    }


_SPOT = "id run name at stage_m discharge_m3s depth_m depth_low_m depth_high_m velocity_m_s stance none_because".split()
_BEST = (
    "line fly countdown_mode countdown_from_s countdown_to_s strip_m_s lift_rod_at_m band_time_s touch_chance "
    "hang_chance leader_m"
).split()


def _spots(plan: dict[str, Any], river: River) -> list[dict[str, Any]]:
    drawn = {spot.id: spot for spot in river.spots}
    out = []
    for spot in plan["spots"]:
        best = spot["best"] or {}
        low, middle, high = best.get("fly_depth_m") or (None, None, None)
        here = drawn[spot["id"]]
        out.append(
            {
                "river": river.name,
                **{key: spot[key] for key in _SPOT},
                "caution_level": spot["caution"]["level"],
                **{key: best.get(key) for key in _BEST},
                "fly_depth_p10_m": low,
                "fly_depth_p50_m": middle,
                "fly_depth_p90_m": high,
                "line_string": (tuple(here.stance_lonlat), tuple(here.landing_lonlat)),
            }
        )
    return out


def _peak_mb() -> float:
    try:
        import resource
    except ImportError:  # Windows
        return float("nan")
    import sys

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / 1e6 if sys.platform == "darwin" else peak / 1e3
