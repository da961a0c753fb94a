"""Gauges of the Environment Agency's flood-monitoring service, ``england:``.

This uses Environment Agency flood and river level data from the real-time data API (Beta).

A station has measures; a measure's name says what it is: parameter, qualifier, kind, period, unit. Stage in m or mASD
(above the station's own zero) is taken; mAOD (above the national datum), downstream stage and groundwater are not.
Items and measures come as a list or as one object; both are read.
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
from planner.gauges.near import Nearby, time_of
from planner.gauges.sensors import Sensor, choose_sensor
from planner.gauges.series import Quality, Series
from planner.gauges.stamps import NoOffset, parse_stamps

if TYPE_CHECKING:
    import requests

__all__ = ["ADDRESS", "SERVICE", "VARIABLES", "get", "get_stations", "parse", "read", "stations_in"]

SERVICE = "Environment Agency, England"
ADDRESS = "https://environment.data.gov.uk/flood-monitoring"

# (parameter, qualifier, unit) as a measure's name writes them, lower case -> (our column, factor to SI)
VARIABLES: dict[tuple[str, str, str], tuple[str, float]] = {
    ("level", "stage", "m"): ("stage_m", 1.0),
    ("level", "stage", "masd"): ("stage_m", 1.0),
    ("flow", "", "m3_s"): ("discharge_m3s", 1.0),
    ("flow", "logged", "m3_s"): ("discharge_m3s", 1.0),
    ("flow", "", "l_s"): ("discharge_m3s", 1e-3),
    ("temperature", "water", "deg_c"): ("temperature_c", 1.0),
}
_MEASURE = re.compile(r"(?P<parameter>level|flow|temperature|rainfall|wind)-(?P<rest>.+)$")
_MEASURES = {"level": "level", "flow": "flow", "temperature": "water temperature"}
_NEED = f"a reply of the {SERVICE}: readings or a station"


def get(
    station: str, start: datetime, end: datetime, session: requests.Session | None = None, folder: Path | None = None
) -> bytes:
    """Ask for the readings of all measures of a station since `start`; the service keeps about 28 days."""
    from planner.gauges import transport

    code = _code(station)
    base = os.environ.get("PLUMBRUN_ENGLAND", ADDRESS).rstrip("/")
    query = {"since": transport.iso_z(start), "_sorted": "", "_limit": "10000"}
    what = f"station {code} of the {SERVICE}"
    return transport.fetch(f"{base}/id/stations/{code}/readings", query, session=session, what=what)


def read(path: Path) -> bytes:
    """A recorded reply."""
    from planner.gauges.recorded import read as read_file

    return read_file(path)


def parse(raw: bytes, station: str, where: str = "", retrieved_at: datetime | None = None) -> Series:
    """Readings, or the latest readings that a station reply holds, as a `Series`.

    Raises
    ------
    GaugeReplyUnfit
        When the text is no reply of the service, or holds no stage or flow of the station.
    """
    code = _code(station)
    where = where or f"reply of the {SERVICE}"
    items = _items(raw, where)
    notes: list[str] = []
    rows: list[dict[str, Any]] = []
    name, others = "", []
    for item in items:
        if "measures" in item or "stationReference" in item:
            reference = str(item.get("stationReference") or item.get("notation") or "")
            if reference != code and "measures" in item:
                others.append(reference)
                continue
            name = f"{item.get('riverName', '')}, {item.get('label', '')}".strip(", ")
            for measure in _listed(item.get("measures")):
                latest = measure.get("latestReading") if isinstance(measure, dict) else None
                if isinstance(latest, dict):
                    rows.append({"measure": measure.get("@id"), **latest})
                else:  # an address in place of the reading
                    notes.append(f"measure {_tail(measure)} holds no reading in this reply")
        else:
            rows.append(item)
    sensors = _sensors(rows, code, notes, others, where)
    columns = {key: choose_sensor(group, key, notes, "measure") for key, group in sensors.items()}
    if not columns:
        held = f"{', '.join(dict.fromkeys(others))} and not" if others else "no stage or flow of"
        raise GaugeReplyUnfit(
            f"the reply holds {held} station {code}",
            f"values of station {code}",
            "check the station, choose another gauge, or give the level with --level",
            where=where,
        )
    if len(rows) >= 10000:
        notes.append("the reply holds 10,000 rows, the most that one answer can; earlier ones may be missing")
    return assemble(station, name, columns, notes, retrieved_at)


def _sensors(
    rows: list[dict[str, Any]], code: str, notes: list[str], others: list[str], where: str
) -> dict[str, list[Sensor]]:
    groups: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        measure = row.get("measure")
        measure = measure.get("@id") if isinstance(measure, dict) else measure
        groups.setdefault(_tail(measure), []).append(row)
    sensors: dict[str, list[Sensor]] = {}
    for measure, group in groups.items():
        if not measure.startswith(f"{code}-"):
            others.append(measure.split("-")[0])
            continue
        known = VARIABLES.get(_meaning(measure[len(code) + 1 :]))
        if known is None:
            notes.append(f"measure {measure} is not taken for stage or flow; left out")
            continue
        key, factor = known
        try:
            times = parse_stamps([str(row.get("dateTime", "")) for row in group])
        except NoOffset as error:
            raise GaugeReplyUnfit(
                f"time {error.text!r} has {error.why}", "UTC times", "record the reply again", where=where
            ) from error
        values = np.array([_number(row.get("value")) for row in group], np.float64)
        ranks = np.where(np.isnan(values), rank(Quality.MISSING), rank(Quality.PROVISIONAL)).astype(np.int8)
        sensors.setdefault(key, []).append(Sensor(Column(times, values * factor, ranks), measure))
    return sensors


def _meaning(measure: str) -> tuple[str, str, str]:
    """Parameter, qualifier and unit of ``level-stage-i-15_min-m``; a dead duplicate ends in ``---`` and has none."""
    found = _MEASURE.match(measure)
    if found is None:
        return ("", "", "")
    parts = found["rest"].split("-")
    qualifier = parts[0].lower() if len(parts) == 4 else ""
    return found["parameter"], qualifier, parts[-1].lower()


def _items(raw: bytes, where: str) -> list[dict[str, Any]]:
    import orjson

    try:
        reply = orjson.loads(raw)
    except orjson.JSONDecodeError as error:
        html = bytes(raw[:200]).lstrip().startswith(b"<")
        what = "an HTML or XML page" if html else "no whole JSON text"
        raise GaugeReplyUnfit(f"the reply is {what}", _NEED, "ask again later", where=where) from error
    items = _listed(reply.get("items")) if isinstance(reply, dict) else None
    if items is None or not all(isinstance(item, dict) for item in items):
        raise GaugeReplyUnfit("the reply is JSON without items", _NEED, "record the reply again", where=where)
    return items


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [] if value is None else [value]


def _tail(address: Any) -> str:
    text = address.get("@id", "") if isinstance(address, dict) else address
    return str(text or "").rstrip("/").rsplit("/", 1)[-1]


def _number(value: Any) -> float:
    return float(value) if isinstance(value, int | float) and math.isfinite(value) else math.nan


def _code(station: str) -> str:
    code = station.split(":", 1)[-1]
    if not re.fullmatch(r"[A-Za-z0-9_]{2,20}", code):
        raise UsageMistake(f"station {station!r} is none of the {SERVICE}", "such as england:690140", "correct it")
    return code


def get_stations(lat: float, lon: float, within_km: float, session: requests.Session | None = None) -> list[bytes]:
    """Ask for the stations around a point, with their measures and the latest reading of each."""
    from planner.gauges.transport import fetch

    base = os.environ.get("PLUMBRUN_ENGLAND", ADDRESS).rstrip("/")
    query = {"lat": f"{lat:.5f}", "long": f"{lon:.5f}", "dist": f"{within_km:.1f}", "_view": "full"}
    return [fetch(f"{base}/id/stations", query, session=session, what="station list of england")]


def stations_in(reply: Any) -> list[Nearby]:
    """Stations of a list, or the one of a station reply; see `planner.gauges.near.parse_stations`."""
    items = reply["items"] if isinstance(reply["items"], list) else [reply["items"]]
    out = []
    for item in items:
        measures, latest = [], []
        listed = item.get("measures")
        for measure in listed if isinstance(listed, list) else [listed] if isinstance(listed, dict) else []:
            word = _MEASURES.get(str(measure.get("parameter")))
            if word and measure.get("unitName") != "---":
                measures.append(word)
            reading = measure.get("latestReading")
            if isinstance(reading, dict):
                latest.append(time_of(reading.get("dateTime")))
        known = [time for time in latest if time is not None]
        name = f"{item.get('riverName', '')}, {item.get('label', '')}".strip(", ")
        x, y = float(item.get("long", math.nan)), float(item.get("lat", math.nan))
        station = f"england:{item.get('stationReference') or item['notation']}"
        out.append(Nearby(station, name, x, y, tuple(dict.fromkeys(measures)), max(known, default=None)))
    return out
