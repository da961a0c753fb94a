"""Gauges of the Water Survey of Canada, ``canada:``: GeoMet (OGC API), Water Office CSV and Datamart CSV.

Order of preference: GeoMet, then the Water Office CSV. Both hold about the last 30 days as real-time values; ice does
not come through GeoMet as a symbol, so a winter reading of it is said to be without that information.
"""

from __future__ import annotations

import csv
import io
import os
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.errors import GaugeReplyUnfit, SourceUnreachable, UsageMistake
from planner.gauges.assemble import Column, assemble, rank
from planner.gauges.near import Nearby, box_around, place_of
from planner.gauges.series import Quality, Series
from planner.gauges.stamps import NoOffset, parse_stamps

if TYPE_CHECKING:
    import requests

    from planner.gauges.transport import Answer

__all__ = ["GEOMET", "OFFICE", "SERVICE", "VARIABLES", "get", "get_stations", "parse", "read", "stations_in"]

SERVICE = "Water Survey of Canada"
GEOMET = "https://api.weather.gc.ca/collections/"
OFFICE = "https://wateroffice.ec.gc.ca/services/real_time_data/csv/inline"

# agency's column or parameter number -> our column; SI throughout
VARIABLES = {
    "LEVEL": "stage_m",
    "DISCHARGE": "discharge_m3s",
    "46": "stage_m",
    "47": "discharge_m3s",
    "5": "temperature_c",
    "level/niveau": "stage_m",
    "discharge/débit": "discharge_m3s",
}
# symbol -> quality, by the agency's list: E estimate, A partial day, B ice conditions, D dry, R revised
_SYMBOLS = {
    "E": Quality.ESTIMATED,
    "A": Quality.ESTIMATED,
    "B": Quality.ICE,
    "D": Quality.ESTIMATED,
    "R": Quality.PROVISIONAL,
}
_NO_DATA = 99999.0
_LIMIT = 10000
_CODE = re.compile(r"\d{2}[A-Z]{2}\d{3}")
_NEED = f"hydrometric-realtime JSON or a real-time CSV of the {SERVICE}"


def get(
    station: str, start: datetime, end: datetime, session: requests.Session | None = None, folder: Path | None = None
) -> bytes:
    """Ask GeoMet, and the Water Office when that does not answer or holds nothing of the station.

    Raises
    ------
    SourceUnreachable, GaugeReplyUnfit
        When neither gives values; the first one's error.
    """
    try:
        raw = _geomet(station, start, end, session)
        parse(raw, station)
        return raw
    except (SourceUnreachable, GaugeReplyUnfit) as error:
        try:
            raw = _office(station, start, end, session)
            parse(raw, station)
            return raw
        except (SourceUnreachable, GaugeReplyUnfit):
            raise error from None


def read(path: Path) -> bytes:
    """A recorded reply."""
    from planner.gauges.recorded import read as read_file

    return read_file(path)


def parse(raw: bytes, station: str, where: str = "", retrieved_at: datetime | None = None) -> Series:
    """A reply of GeoMet, the Water Office or the Datamart as a `Series`, told apart by content.

    99999 is missing. Times of GeoMet are UTC with or without ``Z``; those of the Datamart carry their offset. A daily
    table has dates only: each value stands at 12:00 UTC of its day, and the notes say so.

    Raises
    ------
    GaugeReplyUnfit
        When the text is none of them, or holds no value of the station.
    """
    code = _code(station)
    where = where or f"reply of the {SERVICE}"
    text = bytes(raw).lstrip(b"\xef\xbb\xbf \r\n\t")
    if text.startswith((b"{", b"[")):
        rows, name, notes = _geomet_rows(text, code, where)
    elif text.startswith(b"<"):
        raise GaugeReplyUnfit("the reply is an HTML or XML page", _NEED, "ask again later", where=where)
    else:
        name = ""
        rows, notes = _csv_rows(raw, code, where)
    columns = {}
    for key in ("stage_m", "discharge_m3s", "temperature_c"):
        mine = [row for row in rows if row[0] == key]
        if mine:
            columns[key] = _column(mine, key, notes, where)
    if not columns or not any(np.isfinite(column.values).any() for column in columns.values()):
        raise GaugeReplyUnfit(
            f"the reply holds no value of station {code}",
            f"values of station {code}",
            "check the station, choose another gauge, or give the level with --level",
            where=where,
        )
    return assemble(station, name, columns, list(dict.fromkeys(notes)), retrieved_at)


_Row = tuple[str, str, str, str]  # our column, time stamp, value, symbol


def _geomet(station: str, start: datetime, end: datetime, session: requests.Session | None) -> bytes:
    from planner.gauges.transport import ask_all, iso_z

    code = _code(station)
    query = {
        "f": "json",
        "STATION_NUMBER": code,
        "datetime": f"{iso_z(start)}/{iso_z(end)}",
        "limit": str(_LIMIT),
        "skipGeometry": "true",
    }
    base = os.environ.get("PLUMBRUN_CANADA", GEOMET).rstrip("/")
    what = f"station {code} of the {SERVICE}"
    answers = ask_all(f"{base}/hydrometric-realtime/items", query, _next_page, session=session, what=what)
    return b"[" + b",".join(answer.body for answer in answers) + b"]"


def _office(station: str, start: datetime, end: datetime, session: requests.Session | None) -> bytes:
    from planner.gauges import transport

    code = _code(station)
    query = {
        "stations[]": code,
        "parameters[]": "46",
        "start_date": start.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S"),
        "end_date": end.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S"),
    }
    address = os.environ.get("PLUMBRUN_CANADA_OFFICE", OFFICE)
    what = f"station {code} of the {SERVICE} (Water Office)"
    kinds = ("text/csv", "application/csv", "text/plain", "application/octet-stream")
    parts: list[bytes] = []
    for parameter in ("46", "47"):
        query["parameters[]"] = parameter
        body = transport.fetch(address, query, session=session, what=what, kinds=kinds)
        parts.append(body if not parts else body.split(b"\n", 1)[-1])
    return b"".join(part if part.endswith(b"\n") else part + b"\n" for part in parts)


def _next_page(answer: Answer) -> str | None:
    import orjson

    try:
        page = orjson.loads(answer.body)
    except orjson.JSONDecodeError as error:
        raise GaugeReplyUnfit("a page of the reply is no whole JSON text", _NEED, "ask again later") from error
    links = page.get("links") if isinstance(page, dict) else None
    for link in links if isinstance(links, list) else []:
        if isinstance(link, dict) and link.get("rel") == "next":
            return str(link.get("href"))
    return None


def _geomet_rows(text: bytes, code: str, where: str) -> tuple[list[_Row], str, list[str]]:
    import orjson

    try:
        reply = orjson.loads(text)
        pages = reply if isinstance(reply, list) else [reply]
        entries = [feature["properties"] for page in pages for feature in page["features"]]
        mine = [entry for entry in entries if entry["STATION_NUMBER"] == code]
    except (orjson.JSONDecodeError, KeyError, TypeError) as error:
        raise GaugeReplyUnfit(
            f"the reply is no whole hydrometric-realtime JSON ({type(error).__name__})", _NEED, "ask again later", where
        ) from error
    if entries and not mine:
        others = ", ".join(dict.fromkeys(str(entry["STATION_NUMBER"]) for entry in entries))
        raise GaugeReplyUnfit(
            f"the reply holds {others} and not station {code}", f"values of {code}", "give the right reply", where=where
        )
    rows: list[_Row] = []
    for entry in mine:
        stamp = str(entry.get("DATETIME") or "")
        stamp += "" if re.search(r"(Z|[+-]\d\d:\d\d)$", stamp) else "Z"
        for field in ("LEVEL", "DISCHARGE"):
            if field in entry:
                symbol = str(entry.get(f"{field}_SYMBOL_EN") or "")
                rows.append((VARIABLES[field], stamp, _text(entry[field]), symbol))
    notes = []
    if len(mine) >= _LIMIT and not isinstance(reply, list):
        notes.append(f"the reply holds {len(mine)} rows, the most that one answer can; earlier ones may be missing")
    if any(stamp[5:7] in ("11", "12", "01", "02", "03", "04") for _, stamp, _, _ in rows):
        notes.append("ice is not marked in real-time values of this service; in the cold months look at the river")
    # a parameter that is null in every row is absent, not missing
    kept = {key for key, _, value, _ in rows if value}
    return [row for row in rows if row[0] in kept], str(mine[0].get("STATION_NAME", "")) if mine else "", notes


def _csv_rows(raw: bytes, code: str, where: str) -> tuple[list[_Row], list[str]]:
    try:
        table = list(csv.reader(io.StringIO(bytes(raw).decode("utf-8-sig"))))
    except (UnicodeDecodeError, csv.Error) as error:
        raise GaugeReplyUnfit("the reply is no UTF-8 CSV", _NEED, "record it again", where=where) from error
    header = [cell.strip() for cell in table[0]] if table else []
    if header[:2] != ["ID", "Date"]:
        raise GaugeReplyUnfit(f"the first line reads {','.join(header)[:60]!r}", _NEED, "record it again", where=where)
    body = [[cell.strip() for cell in row] for row in table[1:] if any(cell.strip() for cell in row)]
    whole = [row for row in body if len(row) >= len(header)]  # a value that is cut off is a number still, another one
    notes = [f"{len(body) - len(whole)} rows break off before their end; left out"] if len(whole) < len(body) else []
    body = whole
    header += [""] * (3 - len(header))
    body = [row + [""] * (4 - len(row)) for row in body]
    others = {row[0] for row in body} - {code}
    body = [row for row in body if row[0] == code]
    if others and not body:
        raise GaugeReplyUnfit(
            f"the reply holds {', '.join(sorted(others))} and not station {code}",
            f"values of {code}",
            "check it",
            where,
        )
    rows: list[_Row] = []
    if header[2].startswith("Parameter"):
        symbol = next((i for i, name in enumerate(header) if name.startswith("Symbol")), -1)
        for row in body:
            key = VARIABLES.get(row[2])
            if key is None:
                notes.append(f"parameter {row[2]!r} is not taken")
                continue
            rows.append((key, row[1], row[3], row[symbol] if 0 <= symbol < len(row) else ""))
        return rows, notes
    # the Datamart repeats column names, so columns go by place: level, grade, symbol, check, discharge, grade, symbol
    if len(header) < 10 or not header[2].startswith("Water Level") or not header[6].startswith("Discharge"):
        raise GaugeReplyUnfit(f"the columns are {', '.join(header)[:80]!r}", _NEED, "record it again", where=where)
    for row in body:
        for at, key in ((2, "stage_m"), (6, "discharge_m3s")):
            rows.append((key, row[1], row[at] if at < len(row) else "", row[at + 2] if at + 2 < len(row) else ""))
    kept = {key for key, _, value, _ in rows if value}
    return [row for row in rows if row[0] in kept], notes


def _column(rows: list[_Row], key: str, notes: list[str], where: str) -> Column:
    stamps = [f"{stamp}T12:00:00Z" if len(stamp) == 10 else stamp for _, stamp, _, _ in rows]
    if any(len(stamp) == 10 for _, stamp, _, _ in rows):
        notes.append("daily values, each placed at 12:00 UTC of its day")
    try:
        times = parse_stamps(stamps)
    except NoOffset as error:
        raise GaugeReplyUnfit(
            f"time {error.text!r} has {error.why}", "ISO 8601 with an offset", "record the reply again", where=where
        ) from error
    values = np.full(len(rows), np.nan)
    ranks = np.empty(len(rows), np.int8)
    for i, (_, _, text, symbol) in enumerate(rows):
        try:
            value = float(text)
        except ValueError:
            value = np.nan
        missing = not np.isfinite(value) or value == _NO_DATA
        quality = _SYMBOLS.get(symbol.upper(), Quality.PROVISIONAL) if symbol else Quality.PROVISIONAL
        if symbol and symbol.upper() not in _SYMBOLS:
            notes.append(f"symbol {symbol!r} is not known here; its rows are kept as estimated")
            quality = Quality.ESTIMATED
        values[i] = np.nan if missing else value
        ranks[i] = rank(max(quality, Quality.MISSING, key=rank) if missing else quality)
    return Column(times, values, ranks)


def _text(value: Any) -> str:
    return "" if value is None else str(value)


def _code(station: str) -> str:
    code = station.split(":", 1)[-1].upper()
    if not _CODE.fullmatch(code):
        raise UsageMistake(f"station {station!r} is none of the {SERVICE}", "such as canada:05BJ004", "correct it")
    return code


def get_stations(lat: float, lon: float, within_km: float, session: requests.Session | None = None) -> list[bytes]:
    """Ask GeoMet for the stations with real-time values around a point."""
    from planner.gauges.transport import fetch

    base = os.environ.get("PLUMBRUN_CANADA", GEOMET).rstrip("/")
    query = {"f": "json", "bbox": box_around(lat, lon, within_km), "REAL_TIME": "1", "limit": "1000"}
    return [fetch(f"{base}/hydrometric-stations/items", query, session=session, what="station list of canada")]


def stations_in(reply: Any) -> list[Nearby]:
    """Stations of a list; it does not say what they measure. See `planner.gauges.near.parse_stations`."""
    return [
        Nearby(f"canada:{row['STATION_NUMBER']}", str(row.get("STATION_NAME", "")), *place_of(feature))
        for feature in reply["features"]
        for row in [feature["properties"]]
    ]
