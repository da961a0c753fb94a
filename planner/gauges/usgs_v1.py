"""Water Data API v1 of the US Geological Survey, an OGC API: continuous, latest and daily values.

`get` asks ``continuous`` and follows every ``next`` link on the agency's own host, `parse` turns the pages, or a
recorded page, into a `Series`. A key from the environment (``PLUMBRUN_USGS_KEY``) raises the hourly quota; it is sent
as a header, to the host that was asked only. The agency keeps one call of ``continuous`` to three years.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from datetime import datetime, timedelta
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.errors import GaugeReplyUnfit, UsageMistake
from planner.gauges.assemble import Column, assemble, rank
from planner.gauges.sensors import Sensor, choose_sensor
from planner.gauges.series import Quality, Series
from planner.gauges.stamps import NoOffset, parse_stamps
from planner.gauges.v1_rows import lift_rows
from planner.units import CFS, FOOT

if TYPE_CHECKING:
    import requests

    from planner.gauges.transport import Answer

__all__ = ["ADDRESS", "SERVICE", "VARIABLES", "features", "get", "items", "parse", "parse_daily", "read"]

SERVICE = "US Geological Survey, Water Data API v1"
ADDRESS = "https://api.waterdata.usgs.gov/ogcapi/v1/collections/"

# parameter code -> (our column, {agency's unit: factor to SI}). Levels above a national datum (63160, 62615 and the
# like) have codes of their own and are never taken for stage.
VARIABLES: dict[str, tuple[str, dict[str, float]]] = {
    "00060": ("discharge_m3s", {"ft^3/s": CFS, "ft3/s": CFS, "m^3/s": 1.0}),
    "00065": ("stage_m", {"ft": FOOT, "m": 1.0}),
    "00010": ("temperature_c", {"degC": 1.0, "deg C": 1.0}),
    "63680": ("turbidity_fnu", {"_FNU": 1.0, "FNU": 1.0}),
}
# qualifier -> (quality of a row with a value, quality of one without); those not here are said and kept as estimated.
# Seen in recorded answers: ESTIMATED, ICE. The others are the older codes' meanings in words, from memory.
QUALIFIERS: dict[str, tuple[Quality, Quality]] = {
    "ESTIMATED": (Quality.ESTIMATED, Quality.MISSING),
    "REVISED": (Quality.PROVISIONAL, Quality.MISSING),
    "ICE": (Quality.ICE, Quality.ICE),
    "EQUIP": (Quality.EQUIPMENT, Quality.EQUIPMENT),
    "MAINT": (Quality.EQUIPMENT, Quality.EQUIPMENT),
    "FLOODDAMAGE": (Quality.EQUIPMENT, Quality.EQUIPMENT),
    "BACKWATER": (Quality.ESTIMATED, Quality.MISSING),
    "DISCONTINUED": (Quality.ESTIMATED, Quality.MISSING),
    "DRY": (Quality.ESTIMATED, Quality.MISSING),
    "ZEROFLOW": (Quality.ESTIMATED, Quality.MISSING),
}
_APPROVAL = {"approved": Quality.MEASURED, "provisional": Quality.PROVISIONAL}
_NO_DATA = -999999.0
_INSTANTANEOUS = "00011"
_PROPERTIES = "time,value,parameter_code,statistic_id,time_series_id,approval_status,qualifier,unit_of_measure"
_KEY = itemgetter("parameter_code", "unit_of_measure", "time_series_id", "statistic_id")
_ROW = itemgetter("time", "value", "approval_status", "qualifier")
_NUMBER = re.compile(r"\d{8,15}")
_CALL = timedelta(days=3 * 365)


def get(
    station: str, start: datetime, end: datetime, session: requests.Session | None = None, folder: Path | None = None
) -> bytes:
    """Ask for stage, discharge, water temperature and turbidity of one station: all pages as one JSON array.

    Raises
    ------
    SourceUnreachable
        When the service does not answer, a page fails, or a ``next`` link leads to another host.
    GaugeReplyUnfit
        When an answer is no JSON.
    """
    from planner.gauges.transport import iso_z

    number = site_number(station)
    bodies: list[bytes] = []
    begin = start
    while begin < end:
        finish = min(begin + _CALL, end)
        query = {
            "monitoring_location_id": f"USGS-{number}",
            "parameter_code": ",".join(VARIABLES),
            "time": f"{iso_z(begin)}/{iso_z(finish)}",
            "limit": "50000",
            "skipGeometry": "true",
            "properties": f"{_PROPERTIES},monitoring_location_id",
        }
        bodies += items("continuous", query, session, f"station {number} of the {SERVICE}")
        begin = finish
    return b"[" + b",".join(bodies) + b"]"


def items(collection: str, query: dict[str, str], session: requests.Session | None, what: str) -> list[bytes]:
    """Bodies of all pages of one collection.

    Parameters
    ----------
    collection : str
        Such as ``continuous`` or ``time-series-metadata``.
    query : dict
        Its parameters.
    session : requests.Session, optional
        From `planner.gauges.transport.make_session`.
    what : str
        Named in messages.
    """
    from planner.gauges.transport import ask_all

    base = os.environ.get("PLUMBRUN_USGS_V1", ADDRESS)
    key = os.environ.get("PLUMBRUN_USGS_KEY", "")
    answers = ask_all(
        f"{base.rstrip('/')}/{collection}/items",
        {"f": "json", **query},
        _next_page,
        session=session,
        what=what,
        headers={"X-Api-Key": key} if key else {},
    )
    return [answer.body for answer in answers]


def read(path: Path) -> bytes:
    """A recorded reply."""
    from planner.gauges.usgs_iv import read as read_file

    return read_file(path)


def features(raw: bytes, where: str) -> tuple[list[dict[str, Any]], bool]:
    """Properties of all features of a page or of an array of pages, and whether a page is left out at the end.

    Raises
    ------
    GaugeReplyUnfit
        When the text is no such JSON.
    """
    import orjson

    try:
        reply = orjson.loads(raw)
    except orjson.JSONDecodeError as error:
        html = bytes(raw[:200]).lstrip().startswith(b"<")
        raise GaugeReplyUnfit(
            f"the reply is {'an HTML or XML page' if html else 'no whole JSON text'}",
            f"a FeatureCollection of the {SERVICE}",
            "ask again later, or give a recorded reply with --gauge-reply",
            where=where,
        ) from error
    pages = reply if isinstance(reply, list) else [reply]
    found: list[dict[str, Any]] = []
    for page in pages:
        entries = page.get("features") if isinstance(page, dict) else None
        if not isinstance(entries, list):
            raise _odd("features", where)
        try:
            found.extend([entry["properties"] for entry in entries])
        except (KeyError, TypeError) as error:
            raise _odd("features[].properties", where) from error
    if not all(isinstance(entry, dict) for entry in found):
        raise _odd("features[].properties", where)
    return found, bool(pages and _next_link(pages[-1])) and not isinstance(reply, list)


def parse(raw: bytes, station: str, where: str = "", retrieved_at: datetime | None = None) -> Series:
    """Pages of ``continuous`` or ``latest-continuous`` as a `Series` of one station.

    Rows are keyed on time series and time. Only instantaneous series (statistic 00011, or none given) are taken; where
    one parameter has several, `planner.gauges.sensors.choose_sensor` decides. A recorded page whose ``next`` page is
    not in the file is read as far as it goes, and the notes say so.

    Raises
    ------
    GaugeReplyUnfit
        When the text is not the service's JSON, holds other stations only, or no row for this one.
    """
    number = site_number(station)
    where = where or f"reply of the {SERVICE}"
    lifted = lift_rows(bytes(raw)) if bytes(raw).rstrip().endswith((b"}", b"]")) else None
    found, more = features(raw, where) if lifted is None else (lifted[0], b'"next"' in raw and raw[:1] != b"[")
    notes: list[str] = ["the reply is one page of several; the pages after it are not in the file"] if more else []
    own = f"USGS-{number}"
    mine = [entry for entry in found if entry.get("monitoring_location_id", own) == own]
    blocks = [block for block in (lifted[1] if lifted else []) if block[0][5] in ("", own)]
    if not mine and not blocks:
        names = [str(e.get("monitoring_location_id", "")) for e in found]
        names += [block[0][5] for block in (lifted[1] if lifted else [])]
        others = ", ".join(dict.fromkeys(names))
        given = f"the reply holds {others} and not station {number}" if names else "the reply holds no feature at all"
        raise GaugeReplyUnfit(
            given,
            f"values of station {number}",
            "check the station in river.toml, give the right reply with --gauge-reply, or give the level with --level",
            where=where,
        )
    parts: dict[tuple[Any, ...], list[Column]] = {}
    for key, rows in _grouped(mine, where) if mine else []:
        factor = _factor(key, notes)
        if factor is not None:
            parts.setdefault(key, []).append(_column(rows, factor, notes, key[0], where))
    for (code, unit, series_id, statistic, approval, _), times, values in blocks:
        key = (code, unit, series_id, statistic)
        factor = _factor(key, notes)
        if factor is not None:
            present, absent = _ranks(("", approval), notes, code)
            coded = values == _NO_DATA
            ranks = np.where(coded, absent, present).astype(np.int8)
            parts.setdefault(key, []).append(Column(times, np.where(coded, np.nan, values) * factor, ranks))
    sensors: dict[str, list[Sensor]] = {}
    for key, group in parts.items():
        sensors.setdefault(VARIABLES[key[0]][0], []).append(Sensor(_joined(group), str(key[2])))
    columns = {key: choose_sensor(group, key, notes, "time series") for key, group in sensors.items()}
    if not columns:
        raise GaugeReplyUnfit(
            f"the reply holds no instantaneous stage, discharge, temperature or turbidity of station {number}",
            f"values of station {number}",
            "choose another gauge for the run, or give the level with --level",
            where=where,
        )
    notes += [
        f"{label} is not in the reply"
        for key, label in (("stage_m", "stage"), ("discharge_m3s", "discharge"))
        if key not in columns
    ]
    return assemble(station, "", columns, notes, retrieved_at)


def parse_daily(raw: bytes, station: str, where: str = "") -> tuple[np.ndarray, np.ndarray]:
    """Daily mean discharge from pages of ``daily`` or ``latest-daily``.

    Returns
    -------
    days : np.ndarray
        datetime64[D] of the station's own calendar, ascending, unique, shape (n,).
    discharge_m3s : np.ndarray
        NaN missing, shape (n,) [m³/s].
    """
    number = site_number(station)
    where = where or f"reply of the {SERVICE}"
    found, _ = features(raw, where)
    values: dict[str, float] = {}
    for entry in found:
        if (
            entry.get("monitoring_location_id") == f"USGS-{number}"
            and entry.get("parameter_code") == "00060"
            and entry.get("statistic_id") == "00003"
            and entry.get("unit_of_measure") in VARIABLES["00060"][1]
        ):
            value = _floats([entry.get("value")], [], "00060")[0]
            factor = VARIABLES["00060"][1][entry["unit_of_measure"]]
            values[str(entry.get("time"))[:10]] = np.nan if value == _NO_DATA else value * factor
    try:
        days = np.array(sorted(values), "datetime64[D]")
    except ValueError as error:
        raise _odd("time", where) from error
    return days, np.array([values[day] for day in sorted(values)])


def site_number(station: str) -> str:
    """The station number of ``usgs:01541000``.

    Raises
    ------
    UsageMistake
        When it is none.
    """
    number = station.split(":", 1)[1] if ":" in station else station
    if not _NUMBER.fullmatch(number):
        raise UsageMistake(
            f"station {station!r} is no USGS station number",
            "8 to 15 digits with leading zeros, such as usgs:01541000",
            "correct the station",
        )
    return number


def _factor(key: tuple[Any, ...], notes: list[str]) -> float | None:
    """Factor to SI of a series, None when it is not taken; what is left out is said."""
    code, unit, _, statistic = key
    if statistic not in (_INSTANTANEOUS, None):
        notes.append(f"parameter {code}: a series of statistic {statistic} is no instantaneous one; left out")
        return None
    if code not in VARIABLES:
        return None
    factors = VARIABLES[code][1]
    if unit not in factors:
        notes.append(f"parameter {code} comes in {unit!r}, which is not known here; left out")
        return None
    return factors[unit]


def _joined(columns: list[Column]) -> Column:
    if len(columns) == 1:
        return columns[0]
    times = np.concatenate([column.times for column in columns])
    order = np.argsort(times, kind="stable")
    values = np.concatenate([column.values for column in columns])
    return Column(times[order], values[order], np.concatenate([column.ranks for column in columns])[order])


def _grouped(entries: list[dict[str, Any]], where: str) -> list[tuple[tuple[Any, ...], list[tuple[Any, ...]]]]:
    """Rows of (time, value, approval, qualifier) by parameter, unit, time series and statistic; long replies are whole
    columns, so this goes by column and not by feature.
    """
    try:
        keys = list(map(_KEY, entries))
        number = {key: i for i, key in enumerate(dict.fromkeys(keys))}
        fields = list(map(_ROW, entries))
    except KeyError:
        try:
            keys = [_KEY(entry) for entry in entries]
            number = {key: i for i, key in enumerate(dict.fromkeys(keys))}
            fields = [(e["time"], e["value"], e.get("approval_status"), e.get("qualifier")) for e in entries]
        except (KeyError, TypeError) as error:
            raise _odd(f"a feature without {error}", where) from error
    except TypeError as error:
        raise _odd("a feature with another form", where) from error
    if len(number) == 1:
        return [(keys[0], fields)]
    groups: dict[Any, list[tuple[Any, ...]]] = {key: [] for key in number}
    for key, row in zip(keys, fields, strict=True):
        groups[key].append(row)
    return list(groups.items())


def _column(rows: list[tuple[Any, ...]], factor: float, notes: list[str], code: str, where: str) -> Column:
    stamps, texts, approvals, flags = zip(*rows, strict=True)
    try:
        times = parse_stamps(list(stamps))
    except TypeError as error:
        raise _odd("time", where) from error
    except NoOffset as error:
        raise GaugeReplyUnfit(
            f"parameter {code}: time {error.text!r} has {error.why}",
            "continuous values, each time with its offset from UTC (daily values have none)",
            "give a reply of the collection continuous",
            where=where,
        ) from error
    raw = _floats(texts, notes, code)
    coded = (raw == _NO_DATA) | ~np.isfinite(raw)
    words = [",".join(map(str, flag)) if isinstance(flag, list) else str(flag or "") for flag in flags]
    kinds = list(zip(words, approvals, strict=True))
    number = {kind: i for i, kind in enumerate(dict.fromkeys(kinds))}
    pairs = np.array([_ranks((word, str(approval or "")), notes, code) for word, approval in number], np.int8)
    kind = np.fromiter(map(number.__getitem__, kinds), np.intp, len(kinds))
    ranks = np.where(coded, pairs[kind, 1], pairs[kind, 0]).astype(np.int8)
    return Column(times, np.where(coded, np.nan, raw) * factor, ranks)


def _ranks(key: tuple[str, str], notes: list[str], code: str) -> tuple[int, int]:
    words, approval = key
    present = [rank(_APPROVAL.get(approval.lower(), Quality.PROVISIONAL))]
    absent = [rank(Quality.MISSING)]
    for word in filter(None, (part.strip().upper() for part in words.split(","))):
        known = QUALIFIERS.get(word)
        if known is None:
            notes.append(f"parameter {code}: qualifier {word!r} is not known here; its rows are kept as estimated")
            known = (Quality.ESTIMATED, Quality.MISSING)
        present.append(rank(known[0]))
        absent.append(rank(known[1]))
    return max(present), max(absent)


def _floats(texts: Iterable[Any], notes: list[str], code: str) -> np.ndarray:
    texts = list(texts)
    try:
        return np.fromiter(map(float, texts), np.float64, len(texts))
    except (TypeError, ValueError):
        values = np.full(len(texts), np.nan)
        odd = 0
        for i, text in enumerate(texts):
            try:
                values[i] = float(text)
            except (TypeError, ValueError):
                odd += text not in (None, "")
        if odd:
            notes.append(f"parameter {code}: {odd} values are no numbers; taken as missing")
        return values


def _next_page(answer: Answer) -> str | None:
    import orjson

    if b'"next"' not in answer.body and answer.body.rstrip().endswith(b"}"):
        return None  # a long page is not read twice
    try:
        return _next_link(orjson.loads(answer.body))
    except orjson.JSONDecodeError as error:
        raise GaugeReplyUnfit(
            "a page of the reply is no whole JSON text",
            f"a FeatureCollection of the {SERVICE}",
            "ask again later, or give a recorded reply with --gauge-reply",
        ) from error


def _next_link(page: Any) -> str | None:
    links = page.get("links") if isinstance(page, dict) else None
    for link in links if isinstance(links, list) else []:
        if isinstance(link, dict) and link.get("rel") == "next" and isinstance(link.get("href"), str):
            return link["href"]
    return None


def _odd(what: str, where: str) -> GaugeReplyUnfit:
    return GaugeReplyUnfit(
        f"the reply is JSON, but {what} is not as in the {SERVICE}",
        "a FeatureCollection of that service",
        "record the reply again, or report that the service has changed",
        where=where,
    )
