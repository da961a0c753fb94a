"""One spot's plan, at once: what was computed before an edit is kept, and only the edited spot is asked anew.

First the rigs that the spot's last answer named (or a few that differ most) are asked at the level of its hour, from
swims in memory: that is the answer beside the map. Then the whole box is asked in the background, at the steps of the
level ladder around it, and the fuller answer takes its place.
"""

from __future__ import annotations

import math
import threading
import time
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any

from planner.advice import AdviceReport, Learned, Settings, advise_in_full
from planner.advice.store import Block, SwimStore
from planner.caution import Caution, worst
from planner.caution.gather import gather_conditions
from planner.desk.waters import Waters
from planner.errors import UsageMistake
from planner.plan.afloat import afloat
from planner.plan.ask import Request
from planner.plan.cautions import cautious_level, other_gauges, run_caution, spot_caution, whole_caution
from planner.plan.compute import spot_record, window_caution
from planner.plan.day import Day, learned_of, spot_day
from planner.plan.ice import open_water_only
from planner.plan.waters import GaugeLevel, RunWater, expected_at, gauge_ladder, spot_water
from planner.trip import Trip, schedule
from planner.weather import Weather

if TYPE_CHECKING:
    from planner.river import River, Spot, Tackle

__all__ = ["HeldStore", "Live", "quick_tackle"]

_MOST_GEOMETRIES = 64
_MOST_ANSWERS = 256
_QUICK_LINES, _QUICK_FLIES = 2, 2
_QUICK_FLIES_KNOWN = 1
_MOST_PATCHES = 200
_QUIET_S = 0.7  # without an edit, before the whole box is asked (design choice)


class HeldStore(SwimStore):
    """The swim store with what was read of it kept in memory, the geometries used last."""

    def __init__(self, beneath: SwimStore | None = None) -> None:
        super().__init__(None if beneath is None else beneath.folder)
        self._geometries: OrderedDict[str, tuple[dict[str, int], Block]] = OrderedDict()
        self._unwritten: set[str] = set()
        self._guard = threading.Lock()

    def read(self, geometry: str) -> tuple[dict[str, int], Block] | None:
        """As `SwimStore.read`; the disk is asked the first time only."""
        with self._guard:
            held = self._geometries.get(geometry)
            if held is not None:
                self._geometries.move_to_end(geometry)
                return dict(held[0]), held[1]
        found = super().read(geometry)
        if found is not None:
            self._hold(geometry, found)
        return found

    def write(self, geometry: str, index: dict[str, int], block: Block) -> None:
        """Kept in memory now, and on the disk with the next `flush`: an answer does not wait for a file."""
        self._hold(geometry, (dict(index), block))
        with self._guard:
            self._unwritten.add(geometry)

    def flush(self) -> None:
        """Write to the disk what was solved since the last time."""
        with self._guard:
            wanted = [(name, self._geometries[name]) for name in self._unwritten if name in self._geometries]
            self._unwritten.clear()
        for name, (index, block) in wanted:
            super().write(name, index, block)

    def _hold(self, geometry: str, found: tuple[dict[str, int], Block]) -> None:
        with self._guard:
            self._geometries[geometry] = found
            while len(self._geometries) > _MOST_GEOMETRIES:
                gone, _ = self._geometries.popitem(last=False)
                self._unwritten.discard(gone)


def quick_tackle(tackle: Tackle, best: Sequence[tuple[str, str]]) -> Tackle:
    """The part of a box that a quick answer looks at: lines and best fly of the last answer, else what differs most.

    Parameters
    ----------
    tackle : Tackle
        The box.
    best : sequence of (line, fly)
        Names of the last answers, best first.
    """
    lines = [line for name in dict.fromkeys(n for n, _ in best) for line in tackle.lines if line.name == name]
    flies = [fly for name in dict.fromkeys(n for _, n in best) for fly in tackle.flies if fly.name == name]
    by_sink = sorted(tackle.lines, key=lambda line: -(line.sink_ips if math.isfinite(line.sink_ips) else 0.0))
    lines = [*lines, *(line for line in (by_sink[:1] + by_sink[-1:]) if line not in lines)]
    most = _QUICK_FLIES_KNOWN if flies else _QUICK_FLIES
    flies = [*flies, *(fly for fly in tackle.flies if fly not in flies)]
    return replace(tackle, lines=tuple(lines[:_QUICK_LINES]), flies=tuple(flies[:most]))


@dataclass(frozen=True)
class _Question:
    """A spot asked for: all that its answer depends on."""

    spot: Spot
    river: River
    request: Request
    key: tuple[Any, ...]


class Live:
    """Answers for single spots, and the plan of the whole day.

    Parameters
    ----------
    waters : Waters
        Gauges and runs in memory.
    """

    def __init__(self, waters: Waters) -> None:
        self.waters = waters
        self.store = HeldStore()
        self._lock = threading.Lock()
        self._answers: OrderedDict[tuple[Any, ...], dict[str, Any]] = OrderedDict()
        self._named: dict[str, list[tuple[str, str]]] = {}
        self._arrivals: dict[str, Any] = {}
        self._until: tuple[tuple[Any, Any], Any] | None = None
        self._learned: tuple[Any, Learned, str] = (None, Learned(), "us")
        self._waiting: dict[tuple[Any, ...], Future[None]] = {}
        self._wanted: dict[str, tuple[Any, ...]] = {}
        self._template: tuple[tuple[Any, ...], Trip] | None = None
        self._timer: threading.Timer | None = None
        self._behind = ThreadPoolExecutor(1, thread_name_prefix="desk-spot")

    def stop(self) -> None:
        """Let go of what waits."""
        with self._lock:
            if self._timer is not None:
                self._timer.cancel()
        self._behind.shutdown(wait=False, cancel_futures=True)

    def spot(self, river: River, spot: Spot, request: Request, whole: bool = False) -> dict[str, Any]:
        """A spot's answer.

        Parameters
        ----------
        river, spot, request : River, Spot, Request
            The folder, the spot as it is drawn now, and the day.
        whole : bool
            Wait for the answer of the whole box.

        Returns
        -------
        dict
            ``caution`` (of the day, as far as this spot and its run tell), ``reminder``, ``spot`` (a record of
            ``plan.json``), ``complete`` (whether the whole box was asked), ``rigs`` asked and in the box, ``seconds``.

        Raises
        ------
        UsageMistake
            When the spot names no run of the folder.
        """
        if all(run.id != spot.run for run in river.runs):
            raise UsageMistake(
                f"spot {spot.id!r} names the run {spot.run!r}", "a run that is drawn", "choose its run", where=spot.id
            )
        asked = _Question(spot, river, request, (*_key(river, spot, request), self._until, self._arrivals.get(spot.id)))
        with self._lock:
            held = self._answers.get(asked.key)
        if held is not None:
            return held
        if whole:
            try:
                self._later(asked).result()
            except CancelledError:  # a newer edit of this spot took its place: nobody waits for this one any more
                return self._answer(asked, False)
            with self._lock:
                return self._answers[asked.key]
        quick = self._answer(asked, False)
        with self._lock:  # while somebody still drags, the whole box would only be in the way
            if self._timer is not None:
                self._timer.cancel()
            self._timer = threading.Timer(_QUIET_S, self._later, (asked,))
            self._timer.daemon = True
            self._timer.start()
        return quick

    def _later(self, asked: _Question) -> Future[None]:
        """Ask the whole box behind the scenes; a newer edit of the same spot takes the place of one that waits."""
        with self._lock:
            waits = self._waiting.get(asked.key)
            if waits is not None:
                return waits
            before = self._wanted.get(asked.spot.id)
            if before is not None and before != asked.key and before in self._waiting:
                self._waiting[before].cancel()
            self._wanted[asked.spot.id] = asked.key
            waits = self._behind.submit(self._keep, asked)
            self._waiting[asked.key] = waits
        waits.add_done_callback(lambda _: self._waiting.pop(asked.key, None))
        return waits

    def _keep(self, asked: _Question) -> None:
        found = self._answer(asked, True)
        self.store.flush()
        with self._lock:
            self._answers[asked.key] = found
            while len(self._answers) > _MOST_ANSWERS:
                self._answers.popitem(last=False)

    def _answer(self, asked: _Question, whole: bool) -> dict[str, Any]:
        from planner.caution import standing_words

        began = time.perf_counter()
        river, request, spot = asked.river, asked.request, asked.spot
        run = river.run(spot.run)
        water = self.waters.water(run, river, self._to_the_slow_end(request))
        alone = replace(river, spots=(spot,))
        trip = self._trip(river, alone, water, request)
        ladder = gauge_ladder(water.view, river.units)
        learned = self.lessons(river, request) if whole and request.learning else self._learned[1]
        at = expected_at(water.view, trip.arrival(spot.id), water.lag_s)
        day = spot_day(spot, water, trip, {water.view.station: _around(ladder, at) if whole else []}, learned)
        settings = Settings(hang_limit=request.hang_limit, units=river.units)
        tackle = river.tackle if whole else quick_tackle(river.tackle, self._named.get(spot.id, []))
        answers, rods, report = advise_in_full(
            [day.asked], tackle, settings, store=self.store, learned=replace(learned, spots={})
        )
        state = water.at(day.arrival)
        found = Day(
            {water.view.station: water.view}, {run.id: water}, {run.id: state}, trip, {water.view.station: ladder},
            [day], answers, rods, report, learned, settings, Weather(request.start, request.end, request.now),
        )  # fmt: skip
        base = gather_conditions(
            river, water.view.expected, water.view.series, request.now, trip, **water.view.conditions()
        )
        own = window_caution(day, base, trip, river.units)
        above = whole_caution(base, river, water.view, [run_caution(base, water, [own], river.units)], river.units)
        record = spot_record(day, answers[0], own, found, replace(river, tackle=tackle), river.units)
        record = open_water_only(record, water.view)
        if whole:
            self._note(spot.id, record)
        if len(water.flow._patches) > _MOST_PATCHES:
            water.flow._patches.clear()
        return {
            "caution": worst([above, own]).as_dict(),
            "reminder": standing_words(),
            "spot": record,
            "complete": whole,
            "arrival": "of the last whole plan" if spot.id in self._arrivals else "the middle of the window",
            "rigs": {"asked": _rigs(tackle), "in_the_box": _rigs(river.tackle)},
            "seconds": round(time.perf_counter() - began, 3),
            "search": _cost(report),
        }

    def _to_the_slow_end(self, request: Request) -> Request:
        """The request with its hours as long as the last plan or caution of the same hours found the party afloat."""
        if self._until is None or self._until[0] != (request.start, request.end):
            return request
        return replace(request, end=self._until[1])

    def _trip(self, river: River, alone: River, water: RunWater, request: Request) -> Trip:
        """The clock with this spot alone, set to its hour of the last whole plan or to the middle of the window."""
        documents = tuple(river.documents.get(name) for name in ("places.geojson", "runs.geojson", "river.toml"))
        key = (documents, water.run.id, alone.spots[0].id, request.start, request.end, request.now)
        if self._template is None or self._template[0] != key:
            speeds = {water.run.id: _speed(water)}
            self._template = (key, schedule(alone, request.start, request.end, request.now, speeds))
        trip = self._template[1]
        hour = self._arrivals.get(alone.spots[0].id)
        if hour is None or not request.start <= hour <= request.end:
            hour = request.start + (request.end - request.start) / 2
        stops = tuple(replace(stop, arrive_at=hour) if stop.spot == alone.spots[0].id else stop for stop in trip.stops)
        return replace(trip, stops=stops)

    def lessons(self, river: River, request: Request) -> Learned:
        """What the log teaches, computed again when log, box or a run's water changed."""
        if not len(river.log):
            return Learned()
        key = (
            river.documents.get("log.csv"), river.documents.get("tackle.toml"), river.documents.get("runs.geojson"),
            river.documents.get("soundings.csv"), request.now.timestamp() // 3600,
        )  # fmt: skip
        if self._learned[0] != key:
            _, waters = self.waters.all(river, replace(request, level=None))
            self._learned = (key, learned_of(river, waters, Settings(units=river.units)), river.units)
        return self._learned[1]

    def lessons_known(self) -> dict[str, Any]:
        """What the log teaches as far as it was computed already."""
        from planner.plan.taught import learned_record

        key, lessons, units = self._learned
        return {} if key is None else learned_record(lessons, units)

    def day_caution(self, river: River, request: Request) -> Caution:
        """The whole day's caution, as the plan finds it, without asking any swim."""
        here = afloat(river, request, partial(self.waters.all, river))
        views, waters, trip = here.views, here.waters, here.lay_out()
        main = next(iter(views.values()))
        self._until = ((request.start, request.end), here.weather.end)
        bases = {
            station: gather_conditions(
                river, view.expected, view.series, request.now, trip, weather=here.weather, **view.conditions()
            )
            for station, view in views.items()
        }
        dark = {stop.spot: stop.dark for stop in trip.stops}
        runs: dict[str, list[Caution]] = {station: [] for station in views}
        for run_id, water in waters.items():
            base = bases[water.view.station]
            spots = [
                spot_caution(base, s, spot_water(water, s, cautious_level(water)), river.units, dark.get(s.id))
                for s in river.spots
                if s.run == run_id
            ]
            runs[water.view.station].append(run_caution(base, water, spots, river.units))
        beside = other_gauges(main.station, bases, river, runs, river.units)
        return whole_caution(bases[main.station], river, main, runs[main.station], river.units, beside)

    def _note(self, spot: str, record: Mapping[str, Any]) -> None:
        """Remember the rigs that an answer names, for the next quick one."""
        named = [record.get(name) for name in ("best", "next_best", "compromise")]
        self._named[spot] = [(one["line"], one["fly"]) for one in named if one]

    def note_plan(self, plan: Mapping[str, Any], found: Day) -> None:
        """Take hours and rigs from a whole plan."""
        self._until = ((found.trip.start, found.trip.end), found.weather.end)
        for record in plan["spots"]:
            self._note(record["id"], record)
            self._arrivals[record["id"]] = found.trip.arrival(record["id"])


def _key(river: River, spot: Spot, request: Request) -> tuple[Any, ...]:
    """All that an answer depends on: the spot, the other files whole, the day and the level."""
    others = tuple(hash(text) for name, text in sorted(river.documents.items()) if name != "spots.geojson")
    return (repr(spot), others, request.start, request.end, repr(request.level), request.now.timestamp() // 600)


def _around(ladder: list[GaugeLevel], at: GaugeLevel) -> list[GaugeLevel]:
    """The steps of a ladder next below and above a level."""
    key = "stage_m" if math.isfinite(at.stage_m) else "discharge_m3s"
    here = getattr(at, key)
    below = [step for step in ladder if getattr(step, key) < here - 1e-9]
    above = [step for step in ladder if getattr(step, key) > here + 1e-9]
    return [*below[-1:], *above[:1]]


def _speed(water: RunWater) -> float:
    last = water.view.expected.last
    speed = water.at(GaugeLevel(last.stage_m, last.discharge_m3s)).velocity_used_m_s
    return speed if math.isfinite(speed) else math.nan


def _rigs(tackle: Tackle) -> int:
    return len(tackle.lines) * len(tackle.flies)


def _cost(report: AdviceReport) -> dict[str, Any]:
    return {"swims": report.swims, "direct_swims": report.direct_swims, "tables_solved": report.tables_solved}
