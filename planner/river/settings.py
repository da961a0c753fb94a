"""Parse river.toml: name, zone, gauges, defaults, craft, party, local thresholds, authority."""

from __future__ import annotations

import math
import re
import tomllib
import zoneinfo
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from planner.errors import QuantityUnfit
from planner.river.values import Notebook, short
from planner.services import SERVICES
from planner.units import default_units

__all__ = ["SETTINGS_FILE", "bed_of", "gauge_problem", "load_toml", "parse_settings"]

SETTINGS_FILE = "river.toml"
UNITS = ("us", "metric")
FOOTINGS = ("good", "fair", "slick", "poor")
_KNOWN = {
    "name", "timezone", "units", "gauges", "slope", "bed", "n", "d84_mm", "craft", "party", "threshold", "authority",
}  # fmt: skip
# input of a threshold -> unit in which the value is kept
THRESHOLD_INPUTS = {"stage": "m", "discharge": "m**3/s", "water_temperature": "degC", "turbidity": "FNU"}
_CODE = re.compile(r"^[A-Za-z0-9._\- ]+$")


def load_toml(text: str, file: str, notes: Notebook) -> dict[str, Any] | None:
    """The document of a TOML text, or None with an error that names the line."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        place = re.search(r"\(at ((?:line \d+|end of document)[^)]*)\)", message)
        where = place.group(1) if place else ""
        notes.add(
            "error", file, where, f"not valid TOML: {message.split(' (at ', maxsplit=1)[0]}", "TOML 1.0",
            "correct that line; texts stand in quotes",
        )  # fmt: skip
    except (RecursionError, ValueError) as error:
        notes.add(
            "error", file, "", f"not valid TOML: {type(error).__name__}", "TOML 1.0 that is not nested this deep",
            "correct the file",
        )  # fmt: skip
    return None


def gauge_problem(gauge: Any, folder: Path | None) -> tuple[str, str, str] | None:
    """What is wrong with a station id, as (given, need, next step); None when nothing is.

    A ``file:`` gauge is a CSV or WaterML 2.0 file inside the river folder; a path that leaves the folder is refused.
    """
    services = ", ".join(f"{name}:" for name in SERVICES)
    if not isinstance(gauge, str) or ":" not in gauge:
        return (
            f"gauge {short(gauge)}",
            f"service:station, with service one of {services}",
            "write it like usgs:01541000",
        )
    service, station = gauge.split(":", 1)
    if service not in SERVICES:
        return (
            f"gauge {short(gauge)} has no known service",
            f"one of {services}",
            "correct the service before the colon",
        )
    if not station.strip():
        return f"gauge {short(gauge)} has no station", "a station after the colon", "write it like usgs:01541000"
    if service != "file":
        if not _CODE.match(station):
            return f"gauge {short(gauge)}", "a station code of letters and digits", "copy the code from the service"
        return None
    if "\0" in station or "\\" in station:
        return f"gauge {short(gauge)}", "a plain relative file name", "use forward slashes"
    path = Path(station)
    if path.is_absolute() or ".." in path.parts:
        return f"gauge {short(gauge)} leaves the river folder", "a file inside the river folder", "move the file there"
    if folder is not None:
        try:
            target = (folder / path).resolve()
            inside = target.is_relative_to(folder.resolve())
            there = target.is_file()
        except OSError:
            inside, there = True, False
        if not inside:
            return f"gauge {short(gauge)} leads out of the river folder", "a file inside it", "copy the file there"
        if not there:
            return f"gauge {short(gauge)}: there is no such file", "the file in the river folder", "put it there"
    return None


def bed_of(record: Mapping[str, Any], file: str, where: str, notes: Notebook) -> dict[str, Any]:
    """The bed of a run or river: ``bed`` as a class name or as an object, or ``n``, or ``d84_mm``."""
    found: dict[str, Any] = {}
    bed = record.get("bed")
    given: dict[str, Any] = {key: record[key] for key in ("n", "d84_mm") if record.get(key) is not None}
    if isinstance(bed, Mapping):
        given = {**{key: bed[key] for key in ("class", "n", "d84_mm") if bed.get(key) is not None}, **given}
        if bed and not given:
            notes.add(
                "error", file, where, f"bed = {short(dict(bed))}", "one of class, n, d84_mm",
                'write "bed": "its class", or n, or d84_mm',
            )  # fmt: skip
    elif isinstance(bed, int | float) and not isinstance(bed, bool):
        notes.add(
            "error", file, where, f"bed = {short(bed)} is a number", "a class of the roughness table, or n, or d84_mm",
            "write the number as n (Manning) or as d84_mm",
        )  # fmt: skip
    elif bed is not None and bed != "":
        name = notes.text(record, "bed", file, where)
        if name:
            given["class"] = name
    if len(given) > 1:
        notes.add(
            "warning", file, where, f"the bed is given {len(given)} times ({', '.join(sorted(given))})", "one of them",
            "leave one; n is used before d84_mm before the class",
        )  # fmt: skip
    if "n" in given:
        found["n"] = notes.number(given, "n", file, where, quantity="manning_n")
    elif "d84_mm" in given:
        found["d84_mm"] = notes.number(given, "d84_mm", file, where, quantity="d84_mm")
    elif "class" in given:
        found["class"] = notes.text(given, "class", file, where)
    return {key: value for key, value in found.items() if isinstance(value, str) or math.isfinite(value)}


def parse_settings(text: str, notes: Notebook, folder: Path | None = None) -> dict[str, Any] | None:
    """Settings of a river from the text of river.toml; None when it is no TOML at all.

    Parameters
    ----------
    text : str
        The file's text.
    notes : Notebook
        Where findings go.
    folder : Path, optional
        The river folder, to look for ``file:`` gauges in.

    Returns
    -------
    dict
        Members of `River` that this file fills.
    """
    file = SETTINGS_FILE
    document = load_toml(text, file, notes)
    if document is None:
        return None
    timezone = notes.text(document, "timezone", file, "timezone", needed=True)
    if timezone and not _zone_known(timezone):
        notes.add(
            "error", file, "timezone", f"timezone = {short(timezone)} is unknown", "a key of the time zone database",
            "write it like America/Chicago",
        )  # fmt: skip
        timezone = "UTC"
    gauges = _gauges(document, notes, folder)
    unit = notes.choice(document, "units", UNITS, file, "units")
    if not unit:
        unit = default_units(gauges[0] if gauges else "")
    return {
        "name": notes.text(document, "name", file, "name", needed=True) or "unnamed river",
        "timezone": timezone or "UTC",
        "units": unit,
        "gauges": gauges,
        "slope": notes.number(document, "slope", file, "slope", quantity="slope"),
        "bed": bed_of(document, file, "bed", notes),
        "craft": notes.text(document, "craft", file, "craft"),
        "party": _party(document, notes),
        "thresholds": _thresholds(document, notes, gauges),
        "authority": _authority(document, notes),
        "extra": {key: value for key, value in document.items() if key not in _KNOWN},
    }


def _zone_known(key: str) -> bool:
    try:
        zoneinfo.ZoneInfo(key)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def _gauges(document: dict[str, Any], notes: Notebook, folder: Path | None) -> tuple[str, ...]:
    value = document.get("gauges", [])
    if isinstance(value, str):
        value = [value]
    if not isinstance(value, list):
        notes.add(
            "error", SETTINGS_FILE, "gauges", f"gauges = {short(value)}", "a list of service:station",
            'write gauges = ["usgs:01541000"]',
        )  # fmt: skip
        return ()
    if not value:
        notes.add(
            "warning", SETTINGS_FILE, "gauges", "no gauge is named", "at least one service:station",
            "name the nearest gauge; without one the level must be given by hand",
        )  # fmt: skip
    kept: list[str] = []
    for gauge in value:
        problem = gauge_problem(gauge, folder)
        if problem:
            notes.add("error", SETTINGS_FILE, "gauges", *problem)
        elif gauge in kept:
            notes.add(
                "warning", SETTINGS_FILE, "gauges", f"gauge {gauge} is named twice", "each gauge once", "delete one"
            )
        else:
            kept.append(gauge)
    return tuple(kept)


def _party(document: dict[str, Any], notes: Notebook) -> dict[str, Any]:
    party = document.get("party", {})
    if not isinstance(party, dict):
        notes.add("error", SETTINGS_FILE, "party", f"party = {short(party)}", "a [party] table", "write [party]")
        return {}
    for key in ("adults", "children", "novices"):
        value = party.get(key)
        if value is not None and (isinstance(value, bool) or not isinstance(value, int) or value < 0):
            notes.add(
                "error", SETTINGS_FILE, "party", f"{key} = {short(value)}", f"{key} as a whole number, 0 or more",
                "correct the count",
            )  # fmt: skip
    notes.choice(party, "footing", FOOTINGS, SETTINGS_FILE, "party")
    notes.flag(party, "alone", SETTINGS_FILE, "party")
    return dict(party)


def _thresholds(document: dict[str, Any], notes: Notebook, gauges: tuple[str, ...]) -> tuple[dict[str, Any], ...]:
    entries = document.get("threshold", [])
    if not isinstance(entries, list):
        entries = [entries]
    kept = []
    for number, entry in enumerate(entries, start=1):
        where = f"threshold {number}"
        if not isinstance(entry, dict):
            notes.add("error", SETTINGS_FILE, where, f"{short(entry)}", "a [[threshold]] table", "write [[threshold]]")
            continue
        before = len(notes.findings)
        kind = notes.choice(entry, "input", tuple(THRESHOLD_INPUTS), SETTINGS_FILE, where, needed=True)
        level = entry.get("level")
        if isinstance(level, bool) or level not in (1, 2, 3):
            notes.add(
                "error", SETTINGS_FILE, where, f"level = {short(level)}", "level 1, 2 or 3",
                "choose the caution level that this threshold raises",
            )  # fmt: skip
        for key in ("text", "source"):
            notes.text(entry, key, SETTINGS_FILE, where, needed=True)
        side = notes.choice(entry, "side", ("above", "below"), SETTINGS_FILE, where, default="above")
        gauge = notes.text(entry, "gauge", SETTINGS_FILE, where, default=gauges[0] if gauges else "")
        if gauge and gauge not in gauges:
            notes.add(
                "error", SETTINGS_FILE, where, f"gauge {short(gauge)} is not in gauges", "one of the river's gauges",
                "correct it or add the gauge to gauges",
            )  # fmt: skip
        at = notes.number(entry, "at", SETTINGS_FILE, where)
        if entry.get("at") is None:
            notes.add("error", SETTINGS_FILE, where, "at is missing", "at as a number", "add the value and its unit")
        unit = notes.text(entry, "unit", SETTINGS_FILE, where, needed=True)
        if any(finding.level == "error" for finding in notes.findings[before:]):
            continue
        value = _threshold_value(at, unit, kind, where, notes)
        if value is not None:
            kept.append({**entry, "side": side, "gauge": gauge, "at_si": value})
    return tuple(kept)


def _threshold_value(at: float, unit: str, kind: str, where: str, notes: Notebook) -> float | None:
    target = THRESHOLD_INPUTS[kind]
    if kind == "turbidity":
        if unit in ("FNU", "NTU"):
            return at
        problem = f"unit {short(unit)}"
    elif kind == "water_temperature":
        from planner.units import celsius

        if unit in ("°F", "degF", "F"):
            return celsius(at)
        if unit in ("°C", "degC", "C"):
            return at
        problem = f"unit {short(unit)}"
    else:
        from planner.units import parse

        try:
            return parse(f"{at!r} {unit}", target, kind)
        except QuantityUnfit as error:
            problem = error.given
    examples = {"stage": "ft or m", "discharge": "cfs or m³/s", "water_temperature": "°F or °C", "turbidity": "FNU"}
    notes.add("error", SETTINGS_FILE, where, problem, f"a unit of {kind}: {examples[kind]}", "correct the unit")
    return None


def _authority(document: dict[str, Any], notes: Notebook) -> dict[str, Any]:
    authority = document.get("authority", {})
    if not isinstance(authority, dict):
        notes.add(
            "error", SETTINGS_FILE, "authority", f"authority = {short(authority)}", "an [authority] table",
            "write [authority] with name and phone",
        )  # fmt: skip
        return {}
    return dict(authority)
