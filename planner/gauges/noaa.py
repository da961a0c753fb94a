"""Gauges of the US National Water Prediction Service, ``noaa:``: observed and forecast water, flood categories.

Times are UTC whatever ``timeZone`` says. Observed and forecast flow come in kcfs, thresholds in cfs. Missing is -999 in
a status and -9999 in a threshold; negative stages can be real, so the codes are matched exactly. A category that is
not given says nothing about danger: it stays unknown.
"""

from __future__ import annotations

import math
import os
import re
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.errors import GaugeReplyUnfit, UsageMistake
from planner.gauges.assemble import Column, assemble, rank
from planner.gauges.forecast import FloodCategories, Forecast
from planner.gauges.near import Nearby, box_around, time_of
from planner.gauges.series import Quality, Series, to_datetime
from planner.gauges.stamps import NoOffset, parse_stamps
from planner.units import CFS, FOOT

if TYPE_CHECKING:
    import requests

__all__ = [
    "ADDRESS",
    "SERVICE",
    "VARIABLES",
    "get",
    "get_gauge",
    "get_stations",
    "parse",
    "parse_categories",
    "parse_forecast",
    "read",
    "stations_in",
]

SERVICE = "US National Water Prediction Service"
ADDRESS = "https://api.water.noaa.gov/nwps/v1/gauges/"

# name of the agency's column -> our column; pool and elevation are levels above a datum and stay out
VARIABLES = {"Stage": "stage_m", "Flow": "discharge_m3s", "Discharge": "discharge_m3s"}
UNITS = {
    "stage_m": {"ft": FOOT, "m": 1.0},
    "discharge_m3s": {"kcfs": 1000.0 * CFS, "cfs": CFS, "cms": 1.0, "m3/s": 1.0},
}
MISSING = (-999.0, -9999.0)
_ID = re.compile(r"[A-Za-z0-9]{3,15}")
_NEED = f"a reply of the {SERVICE}: gauge, stageflow, or one of its parts"


def get(
    station: str, start: datetime, end: datetime, session: requests.Session | None = None, folder: Path | None = None
) -> bytes:
    """Ask for observed and forecast stage and flow; the service chooses the window (about 30 days)."""
    return _ask(station, "/stageflow", session)


def get_gauge(station: str, session: requests.Session | None = None) -> bytes:
    """Ask for the gauge itself: name, place, status, flood categories."""
    return _ask(station, "", session)


def read(path: Path) -> bytes:
    """A recorded reply."""
    from planner.gauges.recorded import read as read_file

    return read_file(path)


def parse(raw: bytes, station: str, where: str = "", retrieved_at: datetime | None = None) -> Series:
    """Observed stage and flow as a `Series`; of a gauge reply its status as one row.

    A stageflow reply does not name its gauge, so it is taken for the one asked. A forecast is never an observation
    (`parse_forecast` reads it).

    Raises
    ------
    GaugeReplyUnfit
        When the text is no reply of the service, is of another gauge, or holds no observation.
    """
    identifier = _identifier(station)
    where = where or f"reply of the {SERVICE}"
    reply = _json(raw, where)
    notes: list[str] = []
    name = ""
    if "lid" in reply:
        if str(reply.get("lid", "")).upper() != identifier and str(reply.get("usgsId", "")) != identifier:
            raise GaugeReplyUnfit(
                f"the reply holds {reply.get('lid')} ({reply.get('name', '')}) and not station {identifier}",
                f"values of station {identifier}",
                "give the right reply, or correct the gauge in river.toml",
                where=where,
            )
        name = str(reply.get("name", ""))
        columns = _status(reply, notes, where)
    else:
        part = _part(reply, "observed")
        columns = _columns(part, notes, Quality.PROVISIONAL, where) if part is not None else {}
    if not columns:
        raise GaugeReplyUnfit(
            f"the reply holds no observation of station {identifier}",
            "observed stage or flow",
            "give a reply of stageflow, or give the level with --level",
            where=where,
        )
    return assemble(station, name, columns, notes, retrieved_at)


def parse_forecast(raw: bytes, station: str, where: str = "") -> Forecast | None:
    """The agency's forecast in a reply; None when it holds none.

    Raises
    ------
    GaugeReplyUnfit
        When the text is no reply of the service.
    """
    where = where or f"reply of the {SERVICE}"
    reply = _json(raw, where)
    part = _part(reply, "forecast")
    if part is None:
        return None
    notes: list[str] = []
    columns = _columns(part, notes, Quality.FORECAST, where)
    if not columns:
        return None
    issued = _time(part.get("issuedTime"))
    series = assemble(station, "", columns, notes)
    observed = _part(reply, "observed")
    seen = _columns(observed, [], Quality.PROVISIONAL, where) if observed is not None else {}
    readings = assemble(station, "", {name: seen[name] for name in ("stage_m",) if name in seen}, [])
    return Forecast(
        station=station,
        agency=SERVICE,
        issued=issued,
        times=series.times,
        stage_m=series.stage_m,
        discharge_m3s=series.discharge_m3s,
        notes=series.notes,
        seen_times=readings.times,
        seen_stage_m=readings.stage_m,
    )


def parse_categories(raw: bytes, where: str = "") -> FloodCategories | None:
    """Flood categories of a gauge reply; unknown ones are NaN, and None when the reply is of another kind.

    Raises
    ------
    GaugeReplyUnfit
        When the text is no reply of the service.
    """
    where = where or f"reply of the {SERVICE}"
    reply = _json(raw, where)
    flood = reply.get("flood")
    if not isinstance(flood, dict) or not isinstance(flood.get("categories"), dict):
        return None
    stage_factor = UNITS["stage_m"].get(str(flood.get("stageUnits")), math.nan)
    flow_factor = UNITS["discharge_m3s"].get(str(flood.get("flowUnits")), math.nan)
    stages, flows = {}, {}
    for level in ("action", "minor", "moderate", "major"):
        entry = flood["categories"].get(level)
        entry = entry if isinstance(entry, dict) else {}
        stages[level] = _number(entry.get("stage")) * stage_factor
        flows[level] = _number(entry.get("flow")) * flow_factor
    try:
        seen = _status(reply, [], where).get("stage_m")
    except GaugeReplyUnfit:  # of a status that cannot be read the categories can be still
        seen = None
    return FloodCategories(
        station=f"noaa:{reply.get('lid', '')}",
        usgs_station=f"usgs:{reply['usgsId']}" if reply.get("usgsId") else "",
        stage_m=stages,
        discharge_m3s=flows,
        seen_at=to_datetime(seen.times[0]) if seen is not None else None,
        seen_stage_m=float(seen.values[0]) if seen is not None else math.nan,
    )


def _ask(station: str, path: str, session: requests.Session | None) -> bytes:
    from planner.gauges import transport

    identifier = _identifier(station)
    base = os.environ.get("PLUMBRUN_NOAA", ADDRESS).rstrip("/")
    what = f"gauge {identifier} of the {SERVICE}"
    return transport.fetch(f"{base}/{identifier}{path}", {}, session=session, what=what)


def _identifier(station: str) -> str:
    identifier = station.split(":", 1)[-1].upper()
    if not _ID.fullmatch(identifier):
        raise UsageMistake(f"station {station!r} is no gauge of the {SERVICE}", "such as noaa:NRKW1", "correct it")
    return identifier


def _json(raw: bytes, where: str) -> dict[str, Any]:
    import orjson

    try:
        reply = orjson.loads(raw)
    except orjson.JSONDecodeError as error:
        html = bytes(raw[:200]).lstrip().startswith(b"<")
        what = "an HTML or XML page" if html else "no whole JSON text"
        raise GaugeReplyUnfit(f"the reply is {what}", _NEED, "ask again later", where=where) from error
    if not isinstance(reply, dict):
        raise GaugeReplyUnfit("the reply is JSON of another kind", _NEED, "record the reply again", where=where)
    return reply


def _part(reply: dict[str, Any], name: str) -> dict[str, Any] | None:
    part = reply.get(name)
    if isinstance(part, dict):
        return part if isinstance(part.get("data"), list) else None
    if isinstance(reply.get("data"), list):
        # the series itself is the root: the fourth letter of its SHEF code tells a forecast (F) from a reading (R)
        forecast = str(reply.get("pedts", ""))[3:4].upper() == "F"
        return reply if forecast == (name == "forecast") else None
    return None


def _columns(part: dict[str, Any], notes: list[str], quality: Quality, where: str) -> dict[str, Column]:
    rows = [row for row in part["data"] if isinstance(row, dict)]
    stamps = [str(row.get("validTime", "")) for row in rows]
    dated = [i for i, stamp in enumerate(stamps) if not stamp.startswith("0001-")]
    if len(dated) < len(rows):
        notes.append(f"{len(rows) - len(dated)} rows have the year 0001; left out")
    try:
        times = parse_stamps([stamps[i] for i in dated])
    except NoOffset as error:
        raise GaugeReplyUnfit(
            f"time {error.text!r} has {error.why}", "UTC times", "record the reply again", where=where
        ) from error
    columns: dict[str, Column] = {}
    for which in ("primary", "secondary"):
        name, unit = str(part.get(f"{which}Name", "")), str(part.get(f"{which}Units", ""))
        key = VARIABLES.get(name)
        if key is None or unit not in UNITS[key]:
            if name or unit:
                notes.append(f"{name or which} in {unit or 'no unit'} is not taken for stage or discharge")
            continue
        with np.errstate(over="ignore"):  # a number at the end of its kind is no reading
            values = np.array([_number(rows[i].get(which)) for i in dated], np.float64) * UNITS[key][unit]
        values[~np.isfinite(values)] = np.nan
        ranks = np.where(np.isnan(values), rank(Quality.MISSING), rank(quality)).astype(np.int8)
        if np.isfinite(values).any():
            columns[key] = Column(times, values, ranks)
    return columns


def _status(reply: dict[str, Any], notes: list[str], where: str) -> dict[str, Column]:
    status = reply.get("status")
    seen = status.get("observed") if isinstance(status, dict) else None
    if not isinstance(seen, dict):
        return {}
    category = str(seen.get("floodCategory", ""))
    if category in ("obs_not_current", "out_of_service"):
        notes.append(f"the service calls the observation {category.replace('_', ' ')}")
    part = {
        "data": [seen],
        "primaryName": "Stage" if seen.get("primaryUnit") == "ft" else "Flow",
        "primaryUnits": seen.get("primaryUnit"),
        "secondaryName": "Flow" if seen.get("secondaryUnit") in ("kcfs", "cfs") else "Stage",
        "secondaryUnits": seen.get("secondaryUnit"),
    }
    return _columns(part, notes, Quality.PROVISIONAL, where)


def _number(value: Any) -> float:
    try:
        number = float(value)
    except (TypeError, ValueError, OverflowError):
        return math.nan
    return math.nan if number in MISSING or not math.isfinite(number) else number


def _time(text: Any) -> datetime | None:
    try:
        return to_datetime(parse_stamps([str(text)])[0]) if not str(text).startswith("0001-") else None
    except NoOffset:
        return None


def get_stations(lat: float, lon: float, within_km: float, session: requests.Session | None = None) -> list[bytes]:
    """Ask for the gauges in a box around a point; names of the parameters from memory."""
    from planner.gauges.transport import fetch

    west, south, east, north = box_around(lat, lon, within_km).split(",")
    query = {"bbox.xmin": west, "bbox.ymin": south, "bbox.xmax": east, "bbox.ymax": north, "srid": "EPSG_4326"}
    base = os.environ.get("PLUMBRUN_NOAA", ADDRESS).rstrip("/")
    return [fetch(base, query, session=session, what="station list of noaa")]


def stations_in(reply: Any) -> list[Nearby]:
    """Gauges of a list, or the one of a gauge reply; see `planner.gauges.near.parse_stations`."""
    out = []
    for row in reply.get("gauges", [reply]):
        seen = (row.get("status") or {}).get("observed") or {}
        measures = [
            word
            for field, unit, word in (("primary", "primaryUnit", "level"), ("secondary", "secondaryUnit", "flow"))
            if seen.get(unit) and seen.get(field) not in (None, -999)
        ]
        time = str(seen.get("validTime") or "")
        latest = None if time.startswith("0001-") else time_of(time)
        x, y = float(row["longitude"]), float(row["latitude"])
        out.append(Nearby(f"noaa:{row['lid']}", str(row.get("name", "")), x, y, tuple(measures), latest))
    return out
