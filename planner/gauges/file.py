"""A gauge of one's own: ``file:`` and a CSV, or a WaterML 2.0 file, beside the river's settings.

Any CSV with named columns can be read: where its names are others, the station names them, as in
``file:export.csv?time=Timestamp&stage_ft=Gage height&zone=America/Chicago``; ``zone`` gives the offset of times that
carry none. Cells may be parted by commas, semicolons (then a comma is the decimal sign) or tabs.

Columns of our own names: ``time`` (ISO 8601 with offset), ``stage_m`` or ``stage_ft``, ``discharge_m3s`` or
``discharge_ft3s``, ``temperature_c`` or ``temperature_f``, ``turbidity_fnu``, ``qualifier``; `time` and one of stage
and discharge are needed, the rest may be absent. Other columns are left alone.
"""

from __future__ import annotations

import contextlib
import csv
import io
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from planner.errors import GaugeReplyUnfit
from planner.files import read_bounded
from planner.gauges.assemble import Column, assemble, rank
from planner.gauges.series import Quality, Series
from planner.gauges.stamps import NoOffset, parse_stamps
from planner.units import CFS, FOOT

if TYPE_CHECKING:
    import requests

__all__ = ["SERVICE", "VARIABLES", "get", "parse", "read"]

SERVICE = "file"

# column of the file -> (our column, factor to SI, offset added before the factor)
VARIABLES: dict[str, tuple[str, float, float]] = {
    "stage_m": ("stage_m", 1.0, 0.0),
    "stage_ft": ("stage_m", FOOT, 0.0),
    "discharge_m3s": ("discharge_m3s", 1.0, 0.0),
    "discharge_ft3s": ("discharge_m3s", CFS, 0.0),
    "discharge_cfs": ("discharge_m3s", CFS, 0.0),
    "temperature_c": ("temperature_c", 1.0, 0.0),
    "temperature_f": ("temperature_c", 1.0 / 1.8, -32.0),
    "turbidity_fnu": ("turbidity_fnu", 1.0, 0.0),
}
_NEED = "a CSV with a header: time (ISO 8601 with offset), stage_m or discharge_m3s, and what else is known"
_MISSING = ("", "nan", "na", "null")
_NO_DATA = -999999.0


def get(
    station: str, start: datetime, end: datetime, session: requests.Session | None = None, folder: Path | None = None
) -> bytes:
    """Content of the file that the station names, relative to the river folder.

    Raises
    ------
    GaugeReplyUnfit
        When it cannot be read.
    """
    return read((folder or Path()) / _split(station)[0])


def read(path: Path) -> bytes:
    """Content of a gauge file.

    Raises
    ------
    GaugeReplyUnfit
        When it cannot be read.
    """
    try:
        return read_bounded(path)
    except OSError as error:
        raise GaugeReplyUnfit(
            f"the gauge file could not be read ({error.strerror})",
            _NEED,
            "put the file beside river.toml, or correct the gauge there",
            where=str(path),
        ) from error


def parse(raw: bytes, station: str, where: str = "", retrieved_at: datetime | None = None) -> Series:
    """A gauge file as a `Series`.

    Empty cells and the code -999999 are missing. The qualifier is a word of `Quality`, or empty for provisional.

    Raises
    ------
    GaugeReplyUnfit
        When the file is no such CSV; names the line and the value.
    """
    name, named = _split(station)
    where = where.split("?", 1)[0] if where else name
    if bytes(raw[:400]).lstrip(b"\xef\xbb\xbf \r\n\t").startswith(b"<"):
        from planner.gauges import waterml2

        return waterml2.parse(raw, station, where, retrieved_at)
    try:
        text = raw.decode("utf-8-sig")
        first = text.lstrip().split("\n", 1)[0]
        mark = max(",;\t", key=first.count)
        rows = list(csv.reader(io.StringIO(text), delimiter=mark))
    except (UnicodeDecodeError, csv.Error) as error:
        raise GaugeReplyUnfit("the file is no UTF-8 CSV", _NEED, "save it as CSV, UTF-8", where=where) from error
    if mark == ";":
        rows = [[cell.replace(",", ".") for cell in row] for row in rows]
    header = [cell.strip().lower() for cell in rows[0]] if rows else []
    header = _renamed(header, named, where)
    if "time" not in header or not set(header) & set(VARIABLES):
        raise GaugeReplyUnfit(f"the first line reads {','.join(header)[:80]!r}", _NEED, "correct it", where=where)
    body = [(i, row) for i, row in enumerate(rows[1:], start=2) if any(cell.strip() for cell in row)]
    for line, row in body:
        if len(row) != len(header):
            raise GaugeReplyUnfit(
                f"line {line} has {len(row)} cells", f"{len(header)} as the header", "correct the line", where=where
            )
    if not body:
        raise GaugeReplyUnfit("the file holds no row", _NEED, "add readings, or give --level", where=where)
    at_time = header.index("time")
    try:
        times = parse_stamps(_zoned([row[at_time].strip() for _, row in body], named.get("zone", ""), where))
    except NoOffset as error:
        raise GaugeReplyUnfit(
            f"line {body[error.index][0]}, time {error.text!r}: {error.why}",
            "ISO 8601 with an offset, such as 2026-06-12T18:00:00-05:00",
            "correct the time",
            where=where,
        ) from error
    ranks = _ranks(header, body, where)
    columns: dict[str, Column] = {}
    for at, column in enumerate(header):
        if column not in VARIABLES:
            continue
        key, factor, offset = VARIABLES[column]
        if key in columns:
            raise GaugeReplyUnfit(f"two columns give {key}", "one of them", "remove one", where=where)
        values = _values([(line, row[at].strip()) for line, row in body], column, where)
        codes = np.where(np.isnan(values) & (ranks < rank(Quality.MISSING)), rank(Quality.MISSING), ranks)
        columns[key] = Column(times, (values + offset) * factor, codes.astype(np.int8))
    if len(columns) > 1:  # a row may give one of stage and discharge alone: the empty one does not make the row missing
        columns = _without_empty_cells(columns)
    return assemble(station, Path(where).stem, columns, [], retrieved_at or datetime.now(UTC))


def _split(station: str) -> tuple[str, dict[str, str]]:
    """File name and named columns of ``file:name?time=…&stage_ft=…``."""
    name, _, query = station.split(":", 1)[1].partition("?")
    return name, dict(parse_qsl(query, keep_blank_values=True))


def _renamed(header: list[str], named: dict[str, str], where: str) -> list[str]:
    """The header with the user's columns under our names."""
    out = list(header)
    for ours, theirs in named.items():
        if ours == "zone":
            continue
        if ours not in VARIABLES and ours not in ("time", "qualifier"):
            raise GaugeReplyUnfit(
                f"{ours!r} is no column known here",
                "time, qualifier or " + ", ".join(VARIABLES),
                "correct it",
                where=where,
            )
        if theirs.strip().lower() not in header:
            raise GaugeReplyUnfit(
                f"the file has no column {theirs!r}", "one of " + ", ".join(header), "correct the gauge", where=where
            )
        out[header.index(theirs.strip().lower())] = ours
    return out


def _zoned(stamps: list[str], zone: str, where: str) -> list[str]:
    """Stamps with an offset; those that carry none take the zone's.

    Of the hour that a clock shows twice the second is meant where the file goes back in time otherwise.
    """
    if not zone:
        return stamps
    try:
        local = ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError) as error:
        raise GaugeReplyUnfit(f"zone {zone!r}", "a zone such as America/Chicago", "correct the gauge", where) from error
    out: list[str] = []
    before = datetime.min.replace(tzinfo=UTC)
    for stamp in stamps:
        try:
            moment = datetime.fromisoformat(stamp)
        except ValueError:
            out.append(stamp)  # told by the reader of times, with its line
            continue
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=local)
        with contextlib.suppress(OverflowError):  # a year that no zone reaches is told with its line as well
            second = moment.replace(fold=1)
            if moment.astimezone(UTC) <= before < second.astimezone(UTC):
                moment = second
            before = moment.astimezone(UTC)
        out.append(moment.isoformat())
    return out


def _ranks(header: list[str], body: list[tuple[int, list[str]]], where: str) -> np.ndarray:
    if "qualifier" not in header:
        return np.full(len(body), rank(Quality.PROVISIONAL), np.int64)
    at = header.index("qualifier")
    codes = []
    for line, row in body:
        word = row[at].strip().lower()
        try:
            codes.append(rank(Quality(word) if word else Quality.PROVISIONAL))
        except ValueError as error:
            raise GaugeReplyUnfit(
                f"line {line}, qualifier {row[at]!r}",
                "empty or one of " + ", ".join(Quality),
                "correct the qualifier",
                where=where,
            ) from error
    return np.array(codes, np.int64)


def _values(cells: list[tuple[int, str]], column: str, where: str) -> np.ndarray:
    values = np.full(len(cells), np.nan)
    for i, (line, cell) in enumerate(cells):
        if cell.lower() in _MISSING:
            continue
        try:
            values[i] = float(cell)
        except ValueError:
            values[i] = np.inf
        if not np.isfinite(values[i]):
            raise GaugeReplyUnfit(
                f"line {line}, {column} {cell!r}", "a number, or an empty cell", "correct the value", where=where
            )
    values[values == _NO_DATA] = np.nan
    return values


def _without_empty_cells(columns: dict[str, Column]) -> dict[str, Column]:
    present = {key: np.isfinite(column.values) for key, column in columns.items()}
    level = np.zeros(len(next(iter(present.values()))), bool)
    for key in ("stage_m", "discharge_m3s"):
        if key in present:
            level |= present[key]
    kept = {}
    for key, column in columns.items():
        keep = present[key] | ~level if key in ("stage_m", "discharge_m3s") else present[key]
        if keep.any():
            kept[key] = Column(column.times[keep], column.values[keep], column.ranks[keep])
    return kept
