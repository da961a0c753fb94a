"""Instantaneous values of the US Geological Survey, the service ``nwis/iv`` as JSON.

`get` asks the service, `read` takes a recorded reply from a file, `parse` turns either into a `Series`. The agency
has announced that this service retires in 2027; `planner.gauges.usgs` asks what replaces it first.
"""

from __future__ import annotations

import os
from datetime import UTC, datetime
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.errors import GaugeReplyUnfit
from planner.gauges.assemble import Column, assemble, rank
from planner.gauges.iv_rows import MARK, Rows, lift
from planner.gauges.recorded import read
from planner.gauges.series import Quality, Series
from planner.gauges.stamps import NoOffset, parse_stamps
from planner.gauges.usgs_text import floats, site_number
from planner.units import CFS, FOOT

if TYPE_CHECKING:
    import requests

__all__ = [
    "ADDRESS",
    "QUALIFIERS",
    "SERVICE",
    "VARIABLES",
    "get",
    "parse",
    "parse_iv_json",
    "rank_pair",
    "read",
]

SERVICE = "US Geological Survey, instantaneous values"
ADDRESS = "https://waterservices.usgs.gov/nwis/iv/"

# parameter code -> (our column, {agency's unit code: factor to SI}). 63160 (level above NAVD 88), 62614, 62615 and
# the like are levels above a datum, not above the gauge's zero: they are absent here and never taken for stage.
VARIABLES: dict[str, tuple[str, dict[str, float]]] = {
    "00060": ("discharge_m3s", {"ft3/s": CFS, "m3/s": 1.0}),
    "00065": ("stage_m", {"ft": FOOT, "m": 1.0}),
    "00010": ("temperature_c", {"deg C": 1.0}),
    "63680": ("turbidity_fnu", {"FNU": 1.0, "_FNU": 1.0}),
}
_DATUM_LEVELS = {"62614": "NGVD 29", "62615": "NAVD 88", "63158": "NGVD 29", "63160": "NAVD 88"}

# qualifier -> (quality of a row that has a value, quality of one that has none, what it means)
# A value under ice, backwater or a rating in the making is an estimate at best. Meanings: USGS water data help,
# "instantaneous value qualification codes"; those marked # from memory.
QUALIFIERS: dict[str, tuple[Quality, Quality, str]] = {
    "A": (Quality.MEASURED, Quality.MISSING, "approved"),
    "P": (Quality.PROVISIONAL, Quality.MISSING, "provisional"),
    "e": (Quality.ESTIMATED, Quality.MISSING, "estimated"),
    "<": (Quality.ESTIMATED, Quality.MISSING, "less than the value"),
    ">": (Quality.ESTIMATED, Quality.MISSING, "greater than the value"),
    "R": (Quality.PROVISIONAL, Quality.MISSING, "revised"),  # from memory
    "Ice": (Quality.ICE, Quality.ICE, "ice"),
    "Eqp": (Quality.EQUIPMENT, Quality.EQUIPMENT, "equipment malfunction"),  # from memory
    "Mnt": (Quality.EQUIPMENT, Quality.EQUIPMENT, "maintenance"),  # from memory
    "Fld": (Quality.EQUIPMENT, Quality.EQUIPMENT, "flood damage"),  # from memory
    "Bkw": (Quality.ESTIMATED, Quality.MISSING, "backwater"),  # from memory
    "Rat": (Quality.ESTIMATED, Quality.MISSING, "rating being developed"),  # from memory
    "ZFl": (Quality.ESTIMATED, Quality.MISSING, "zero flow"),  # from memory
    "Dry": (Quality.ESTIMATED, Quality.MISSING, "dry"),  # from memory
    "Ssn": (Quality.ESTIMATED, Quality.MISSING, "monitored part of the year only"),  # from memory
    "Dis": (Quality.ESTIMATED, Quality.MISSING, "discontinued"),
    "***": (Quality.ESTIMATED, Quality.MISSING, "temporarily unavailable"),
}

_NO_DATA = -999999.0
_ROW = itemgetter("value", "qualifiers", "dateTime")


def get(
    station: str,
    start: datetime,
    end: datetime,
    session: requests.Session | None = None,
    folder: Path | None = None,
) -> bytes:
    """Ask the service for stage, discharge, water temperature and turbidity of one station.

    Parameters
    ----------
    station : str
        ``usgs:`` and the station number, 8 to 15 digits with leading zeros.
    start, end : datetime
        Aware times.
    session : requests.Session, optional
        From `planner.gauges.transport.make_session`.
    folder : Path, optional
        Not used; every service takes it.

    Returns
    -------
    bytes
        The reply, for `parse`.

    Raises
    ------
    SourceUnreachable
        When the service does not answer.
    GaugeReplyUnfit
        When it answers with something other than JSON, or knows no such station.
    """
    from planner.gauges import transport

    number = site_number(station)
    query = {
        "format": "json",
        "sites": number,
        "parameterCd": ",".join(VARIABLES),
        "startDT": _to_the_minute(start),
        "endDT": _to_the_minute(end),
        "siteStatus": "all",
    }
    address = os.environ.get("PLUMBRUN_USGS_IV", ADDRESS)
    return transport.fetch(address, query, session=session, what=f"station {number} of the {SERVICE}")


def _to_the_minute(time: datetime) -> str:
    return time.astimezone(UTC).strftime("%Y-%m-%dT%H:%MZ")


def parse(raw: bytes, station: str, where: str = "", retrieved_at: datetime | None = None) -> Series:
    """A reply of the service as a `Series` of one station.

    Where a parameter has several sensors (blocks under ``values``), the one with the most recent value is taken, then
    the one with most values, then the lowest method id; the notes say which. The missing code of the reply and
    -999999 become NaN before any conversion; the row stays, with its quality.

    Parameters
    ----------
    raw : bytes
        JSON text.
    station : str
        ``usgs:`` and the station number.
    where : str, optional
        Name of the file, for messages.
    retrieved_at : datetime, optional
        Default: the present.

    Raises
    ------
    GaugeReplyUnfit
        When the text is not the service's JSON, holds other stations only, or no row at all for this one.
    """
    number = site_number(station)
    where = where or f"reply of the {SERVICE}"
    found, lifted = _series_of(raw, where)
    mine, others = [], []
    for entry in found:
        code, name = _site(entry, where)
        if code == number:
            mine.append((entry, name))
        else:
            others.append(f"{code} ({name})")
    if not mine:
        if not found:
            given = "the reply holds no series at all"
        else:
            given = f"the reply holds {', '.join(dict.fromkeys(others))} and not station {number}"
        raise GaugeReplyUnfit(
            given,
            f"values of station {number}",
            "check the station in river.toml, give the right reply with --gauge-reply, or give the level with --level",
            where=where,
        )
    notes: list[str] = []
    blocks: dict[str, list[tuple[Column, int, str]]] = {}
    for entry, _ in mine:
        code, unit, no_data = _variable(entry, where)
        if code in _DATUM_LEVELS:
            notes.append(
                f"parameter {code} is a level above {_DATUM_LEVELS[code]}, not above the gauge's zero; "
                "not taken for stage"
            )
        if code not in VARIABLES:
            continue
        key, factors = VARIABLES[code]
        if unit not in factors:
            notes.append(f"parameter {code} comes in {unit!r}, which is not known here; left out")
            continue
        for block in _list(entry, "values", where):
            column = _column(block, lifted, factors[unit], no_data, notes, code, where)
            blocks.setdefault(key, []).append((column, *_method(block)))
    columns = {}
    for key, sensors in blocks.items():
        chosen = _choose(sensors, key, notes)
        if len(chosen.times):
            columns[key] = chosen
    if not columns:
        raise GaugeReplyUnfit(
            f"the reply names station {number} and holds no value of stage, discharge, temperature or turbidity for it",
            f"values of station {number}",
            "choose another gauge for the run, or give the level with --level",
            where=where,
        )
    for key, label in (("stage_m", "stage"), ("discharge_m3s", "discharge")):
        if key not in columns:
            notes.append(f"{label} is not in the reply")
    return assemble(station, mine[0][1], columns, notes, retrieved_at)


def parse_iv_json(raw: bytes, station: str) -> Series:
    """`parse` under the name that other packages use."""
    return parse(raw, station)


def _series_of(raw: bytes, where: str) -> tuple[list[dict[str, Any]], list[Rows]]:
    import orjson

    text, lifted = lift(bytes(raw))
    try:
        reply = orjson.loads(text)
    except orjson.JSONDecodeError as error:
        start = bytes(raw[:200]).lstrip().lower()
        what = "an HTML or XML page" if start.startswith(b"<") else "no whole JSON text"
        raise GaugeReplyUnfit(
            f"the reply is {what}",
            "the JSON reply of the instantaneous values service",
            "ask again later, or give a recorded reply with --gauge-reply",
            where=where,
        ) from error
    series = reply.get("value", {}).get("timeSeries") if isinstance(reply, dict) and _is_dict(reply, "value") else None
    if not isinstance(series, list) or not all(isinstance(entry, dict) for entry in series):
        raise _odd("value.timeSeries", where)
    return series, lifted


def _is_dict(record: dict[str, Any], key: str) -> bool:
    return isinstance(record.get(key), dict)


def _odd(what: str, where: str) -> GaugeReplyUnfit:
    return GaugeReplyUnfit(
        f"the reply is JSON, but {what} is not as in the instantaneous values service",
        "the JSON reply of that service (format=json)",
        "record the reply again, or report that the service has changed",
        where=where,
    )


def _list(record: dict[str, Any], key: str, where: str) -> list[dict[str, Any]]:
    value = record.get(key)
    if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
        raise _odd(key, where)
    return value


def _site(entry: dict[str, Any], where: str) -> tuple[str, str]:
    try:
        info = entry["sourceInfo"]
        return str(info["siteCode"][0]["value"]), str(info.get("siteName", ""))
    except (KeyError, IndexError, TypeError, AttributeError) as error:
        raise _odd("sourceInfo.siteCode", where) from error


def _variable(entry: dict[str, Any], where: str) -> tuple[str, str, float]:
    try:
        variable = entry["variable"]
        code = str(variable["variableCode"][0]["value"])
        unit = str(variable["unit"]["unitCode"])
        return code, unit, float(variable.get("noDataValue", _NO_DATA))
    except (KeyError, IndexError, TypeError, ValueError, AttributeError) as error:
        raise _odd("variable", where) from error


def _method(block: dict[str, Any]) -> tuple[int, str]:
    try:
        method = block["method"][0]
        return int(method.get("methodID", 0)), str(method.get("methodDescription") or "")
    except (KeyError, IndexError, TypeError, ValueError, AttributeError):
        return 0, ""


def _column(
    block: dict[str, Any], lifted: list[Rows], factor: float, no_data: float, notes: list[str], code: str, where: str
) -> Column:
    try:
        rows = _rows(block.get("value"), lifted, notes, code, where)
    except NoOffset as error:
        raise GaugeReplyUnfit(
            f"parameter {code}, value {error.index + 1}: time {error.text!r} has {error.why}",
            "instantaneous values, each time with its offset from UTC (daily values have none)",
            "give a reply of the instantaneous values service",
            where=where,
        ) from error
    coded = (rows.values == no_data) | (rows.values == _NO_DATA) | ~np.isfinite(rows.values)
    values = np.where(coded, np.nan, rows.values)
    pairs = np.array([rank_pair(flag, notes, code) for flag in rows.flags], np.int8).reshape(-1, 2)
    ranks = np.where(coded, pairs[rows.kind, 1], pairs[rows.kind, 0])
    return Column(rows.times, values * factor, ranks)


def _rows(value: Any, lifted: list[Rows], notes: list[str], code: str, where: str) -> Rows:
    if isinstance(value, dict) and isinstance(value.get(MARK), int) and 0 <= value[MARK] < len(lifted):
        return lifted[value[MARK]]
    if not isinstance(value, list):
        raise _odd("values.value", where)
    texts, flags, stamps = _fields(value, where)
    number = {flag: i for i, flag in enumerate(dict.fromkeys(flags))}
    kind = np.fromiter(map(number.__getitem__, flags), np.intp, len(flags))
    return Rows(parse_stamps(stamps), floats(texts, notes, code), list(number), kind)


def _fields(rows: list[Any], where: str) -> tuple[list[str], list[str], list[str]]:
    """Values, qualifiers joined by commas, and times of the rows; the usual form is read without a Python loop."""
    if not rows:
        return [], [], []
    try:
        texts, qualifiers, stamps = zip(*map(_ROW, rows), strict=True)
        return list(texts), list(map(",".join, qualifiers)), list(stamps)
    except (KeyError, TypeError):
        pass
    try:
        flags = [",".join(row.get("qualifiers") or ()) for row in rows]
        return [row["value"] for row in rows], flags, [row["dateTime"] for row in rows]
    except (KeyError, TypeError, AttributeError) as error:
        raise _odd("values.value[]", where) from error


def rank_pair(flag: str, notes: list[str], code: str) -> tuple[int, int]:
    """Places in the order of qualities of a row with a value and of one without, by its qualifiers."""
    present, absent = [], [rank(Quality.MISSING)]
    for word in filter(None, (part.strip() for part in flag.split(","))):
        known = QUALIFIERS.get(word) or QUALIFIERS.get(word.capitalize())
        if known is None:
            notes.append(f"parameter {code}: qualifier {word!r} is not known here; its rows are kept as estimated")
            present.append(rank(Quality.ESTIMATED))
            continue
        if known[2] in ("backwater", "rating being developed", "zero flow", "dry", "discontinued"):
            notes.append(f"parameter {code}: some rows are marked {word} ({known[2]})")
        present.append(rank(known[0]))
        absent.append(rank(known[1]))
    return max(present, default=rank(Quality.PROVISIONAL)), max(absent)


def _choose(sensors: list[tuple[Column, int, str]], key: str, notes: list[str]) -> Column:
    filled = [sensor for sensor in sensors if len(sensor[0].times)]
    if not filled:
        return sensors[0][0]

    def merit(sensor: tuple[Column, int, str]) -> tuple[int, int, int]:
        good = np.isfinite(sensor[0].values)
        latest = int(sensor[0].times[good].max().astype(np.int64)) if good.any() else -(2**62)
        return latest, int(good.sum()), -sensor[1]

    best = max(filled, key=merit)
    if len(sensors) > 1:
        label = f"method {best[1]}" + (f" ({best[2]})" if best[2] else "")
        rest = ", ".join(str(s[1]) + ("" if len(s[0].times) else ", empty") for s in sensors if s is not best)
        notes.append(
            f"{key.rsplit('_', 1)[0]}: {len(sensors)} sensors; taken {label}: most recent value, then most values, "
            f"then lowest method id; not taken: {rest}"
        )
    return best[0]
