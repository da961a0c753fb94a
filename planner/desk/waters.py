"""Gauges and surveyed runs that stay in memory: only what an edit touches is computed again.

A survey depends on its run's outline and members, the soundings in and near it, the flowline and the gauge's record;
a hash of just these says whether it still holds.
"""

from __future__ import annotations

import hashlib
import threading
import time
from collections import OrderedDict
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from planner.errors import PlumbrunError
from planner.flow import RunFlow, survey_run
from planner.plan.ask import Request
from planner.plan.readings import GaugeView, lags_of, read_gauge, seen_again
from planner.plan.waters import RunWater, water_of

if TYPE_CHECKING:
    from planner.river import River, Run

__all__ = ["Waters", "run_key"]

# A gauge is read again after this long; services give a value every 15 minutes (design choice).
HOLDS_S = 600.0
_MOST_WINDOWS = 4  # of a gauge that are kept at hand: as asked, to the slow end, and without the level stated
_NEAR_DEG = 2e-4  # soundings beyond the outline that a survey may look at; it takes those within 3 m


def run_key(run: Run, river: River, view: GaugeView) -> str:
    """Hash of all that the survey of a run depends on."""
    table = river.soundings
    digest = hashlib.blake2b(digest_size=16)
    if len(table):
        west, south, east, north = run.polygon.bounds
        lon, lat = table["lon"].to_numpy(float), table["lat"].to_numpy(float)
        near = (
            (lon > west - _NEAR_DEG) & (lon < east + _NEAR_DEG) & (lat > south - _NEAR_DEG) & (lat < north + _NEAR_DEG)
        )
        names = [name for name in ("lon", "lat", "depth_m", "stage_m", "draft_m") if name in table]
        digest.update(table.loc[near, names].to_numpy(float).tobytes())
        digest.update(table.loc[near, "taken_at"].astype("int64").to_numpy().tobytes())
        if "method" in table:
            digest.update("|".join(table.loc[near, "method"].fillna("").astype(str)).encode())
    flowline = river.flowline()
    ends = [place.geometry.wkb for kind in ("put_in", "take_out") for place in river.places_of(kind)[:1]]
    own = {key: value for key, value in vars(run).items() if key not in ("polygon", "name", "note")}
    digest.update(repr((sorted(own.items()), river.slope, sorted(river.bed.items()), ends)).encode())
    digest.update(run.polygon.wkb + (flowline.geometry.wkb if flowline is not None else b"none"))
    record = view.record
    if record is not None:
        times, stages, flows = record.times, record.stage_m, record.discharge_m3s
        digest.update(times.tobytes() + stages.tobytes() + flows.tobytes())
    return digest.hexdigest()


class Waters:
    """Gauges read and runs surveyed, by what they depend on."""

    def __init__(self) -> None:
        self._lock = threading.RLock()
        self._gauges: dict[tuple[Any, ...], tuple[float, GaugeView]] = {}
        self._flows: dict[str, tuple[str, RunFlow]] = {}
        self._seen: dict[str, OrderedDict[tuple[Any, ...], GaugeView]] = {}
        self._keys: dict[str, tuple[tuple[Any, ...], str]] = {}

    def view(self, station: str, river: River, request: Request) -> GaugeView:
        """A gauge for a request; what was read of it within the last minutes is not read again."""
        first = (river.gauges[:1] or ("",))[0]
        level = request.level if station == first else None
        key = self._gauge_key(station, river, request)
        with self._lock:
            held = self._gauges.get(key)
            if held is None or time.monotonic() - held[0] > HOLDS_S:
                try:
                    base = read_gauge(station, replace(request, level=None), river, None)
                except PlumbrunError:
                    if level is None:
                        raise
                    base = read_gauge(station, request, river, level)
                held = (time.monotonic(), base)
                self._gauges = {k: v for k, v in self._gauges.items() if time.monotonic() - v[0] <= HOLDS_S}
                self._gauges[key] = held
            seen = (
                id(held[1]),
                request.start,
                request.end,
                request.now,
                repr(level),
                repr(river.extra),
                river.timezone,
                lags_of(river, station),
            )
            known = self._seen.setdefault(station, OrderedDict())
            if seen not in known:
                known[seen] = seen_again(held[1], request, river, level)
            known.move_to_end(seen)
            while len(known) > _MOST_WINDOWS:
                known.popitem(last=False)
            return known[seen]

    @staticmethod
    def _gauge_key(station: str, river: River, request: Request) -> tuple[Any, ...]:
        taken = river.soundings["taken_at"]
        lacking = taken[taken.notna() & river.soundings["stage_m"].isna()]
        days = tuple(sorted({str(day) for day in lacking.dt.floor("D").unique()})) if len(lacking) else ()
        lines = tuple(sorted(str(run.waterline_at) for run in river.runs if run.waterline_at is not None))
        stamp = 0
        if station.startswith("file:"):
            path = river.folder / station[5:]
            stamp = path.stat().st_mtime_ns if path.exists() else -1
        links = repr(river.extra.get("forecasts"))
        return (station, days, lines, stamp, links, request.replies, request.now.timestamp() // HOLDS_S)

    def water(self, run: Run, river: River, request: Request) -> RunWater:
        """A run with its gauge for a request; surveyed again only where something that it depends on changed."""
        first = (river.gauges[:1] or ("",))[0]
        view = self.view(run.gauge or first, river, request)
        key = self._key(run, river, view)
        with self._lock:
            held = self._flows.get(run.id)
        if held is None or held[0] != key:
            held = (key, survey_run(run, river, view.record, view.rating))
            with self._lock:
                self._flows[run.id] = held
        return water_of(run, held[1], view, [spot for spot in river.spots if spot.run == run.id])

    def _key(self, run: Run, river: River, view: GaugeView) -> str:
        """`run_key`, looked up where the very same texts and record were seen before."""
        names = ("river.toml", "runs.geojson", "soundings.csv", "places.geojson")
        seen = (*(river.documents.get(name) for name in names), id(view.record))
        held = self._keys.get(run.id)
        if held is None or held[0] != seen:
            held = (seen, run_key(run, river, view))
            self._keys[run.id] = held
        return held[1]

    def all(self, river: River, request: Request) -> tuple[dict[str, GaugeView], dict[str, RunWater]]:
        """Gauges by station, the river's first one first, and runs by id, as `planner.plan.day.day_of` takes them."""
        stations = list(dict.fromkeys([*river.gauges[:1], *(run.gauge for run in river.runs)])) or [""]
        views = {station: self.view(station, river, request) for station in stations}
        waters = {run.id: self.water(run, river, request) for run in river.runs}
        return views, {
            run_id: replace(water, view=views.get(water.view.station, next(iter(views.values()))))
            for run_id, water in waters.items()
        }
