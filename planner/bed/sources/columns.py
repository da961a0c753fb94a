"""Soundings from a CSV file with columns of any name, and from a lead-line table typed off paper."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Mapping
from datetime import datetime
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from planner.bed.sources.records import Batch, batch, joined
from planner.errors import DataUnfit, UsageMistake
from planner.river.ground import LocalPlane
from planner.tables import constants
from planner.units import FOOT

__all__ = ["FIELDS", "parse_lead_line", "parse_table"]

# what a column may mean: name of ours on the left, usual headings on the right (lower case, without signs)
FIELDS: dict[str, tuple[str, ...]] = {
    "lon": ("lon", "long", "longitude", "lng", "x", "lon deg", "longitude deg", "lon wgs84"),
    "lat": ("lat", "latitude", "y", "lat deg", "latitude deg", "lat wgs84"),
    "depth": ("depth", "sounding", "water depth", "depth below surface", "depth below transducer", "z"),
    "taken_at": ("taken at", "time", "timestamp", "datetime", "date time", "utc", "time utc", "when", "moment"),
    "date": ("date", "day"),
    "stage": ("stage", "gauge", "gauge height", "gage height", "level"),
    "method": ("method", "device", "tool"),
    "draft": ("draft", "draught", "transducer depth"),
    "note": ("note", "notes", "comment", "remark", "remarks", "name"),
    "distance": ("distance", "tape", "from bank", "distance from bank", "along line", "offset"),
    "from_lon": ("from lon",), "from_lat": ("from lat",), "to_lon": ("to lon",), "to_lat": ("to lat",),
}  # fmt: skip
_LENGTHS = ("depth", "stage", "draft", "distance")
_UNITS = {
    "m": 1.0, "metre": 1.0, "metres": 1.0, "meter": 1.0, "meters": 1.0, "cm": 0.01, "ft": FOOT, "feet": FOOT,
    "foot": FOOT, "in": FOOT / 12, "inch": FOOT / 12, "inches": FOOT / 12, "fathom": 6 * FOOT, "fathoms": 6 * FOOT,
}  # fmt: skip


def _bare(heading: str) -> str:
    return re.sub(r"[^a-z0-9]+", " ", heading.lower()).strip()


def _meaning(heading: str) -> tuple[str, float] | None:
    """What a heading means and the factor of its unit (NaN where it names none)."""
    words = _bare(heading).split()
    factor = math.nan
    if len(words) > 1 and words[-1] in _UNITS:
        factor, words = _UNITS[words[-1]], words[:-1]
    for name, usual in FIELDS.items():
        if " ".join(words) in usual:
            return name, factor
    return None


def _mapping(header: list[str], given: Mapping[str, str], file: str) -> dict[str, tuple[int, float]]:
    """Column and unit factor of each of our fields."""
    found: dict[str, tuple[int, float]] = {}
    for ours, heading in given.items():
        parts = _bare(ours).split()
        factor = _UNITS.get(parts[-1], math.nan) if len(parts) > 1 else math.nan
        name = "_".join(parts[:-1] if len(parts) > 1 and parts[-1] in _UNITS else parts)
        if name not in FIELDS:
            raise UsageMistake(f"--column {ours}={heading}", f"one of {', '.join(FIELDS)} before the =", "correct it")
        if heading not in header:
            raise DataUnfit(f"no column {heading!r}", f"one of: {', '.join(header)}", "correct --column", where=file)
        other = _meaning(heading)
        found[name] = (header.index(heading), factor if math.isfinite(factor) or other is None else other[1])
    for position, heading in enumerate(header):
        meaning = _meaning(heading)
        if meaning is not None and meaning[0] not in found and position not in {place for place, _ in found.values()}:
            found[meaning[0]] = (position, meaning[1])
    return found


def _rows(text: str, file: str) -> tuple[list[str], list[list[str]], list[int]]:
    """Header, rows and their line numbers; comma, semicolon or tab, whichever parts the header most."""
    text = text.removeprefix("\ufeff")
    lines = (line for line in text.splitlines() if line.strip() and not line.startswith("#"))
    first = next(lines, "")
    delimiter = max(",;\t", key=first.count)
    table: list[list[str]] = []
    numbers: list[int] = []
    header: list[str] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    last = 0
    try:
        for row in reader:
            start, last = last + 1, reader.line_num
            if not row or row[0].startswith("#") or not (row[0] or any(cell.strip() for cell in row)):
                continue
            if not header:
                header = [cell.strip() for cell in row]
                continue
            table.append(row)
            numbers.append(start)
    except csv.Error as error:
        raise DataUnfit(
            f"not readable as CSV: {error}", "CSV", "correct that line", where=f"{file}, line {reader.line_num}"
        ) from error
    if not header:
        raise DataUnfit("the file is empty", "a header line and a row for each sounding", "check the file", where=file)
    if delimiter == ";":
        # a table parted by semicolons may write 2,4 for 2.4
        table = [[re.sub(r"^(\s*[-+]?\d+),(\d+\s*)$", r"\1.\2", cell) for cell in row] for row in table]
    return header, table, numbers


def _numbers(cells: list[str]) -> np.ndarray:
    """Floats; empty is NaN, unreadable is infinite."""
    try:
        return np.array(cells, dtype=np.float64)
    except ValueError:
        pass
    values = np.empty(len(cells))
    for position, cell in enumerate(cells):
        try:
            values[position] = float(cell) if cell.strip() else math.nan
        except ValueError:
            values[position] = math.inf
    return values


def _moment(text: str, zone: ZoneInfo | None) -> tuple[np.datetime64, bool] | None:
    """UTC time of an ISO-like text and whether it lacked an offset; None when it cannot be read."""
    cleaned = text.strip().replace("/", "-").replace(" UTC", "Z")
    try:
        value = datetime.fromisoformat(cleaned)
    except ValueError:
        return None
    bare = value.tzinfo is None
    if bare:
        if zone is None:
            return None
        value = value.replace(tzinfo=zone)
    try:
        seconds = value.timestamp()
    except (OverflowError, ValueError):
        return None
    return np.datetime64(round(seconds * 1000), "ms"), bare


def _times(cells: list[str], zone: ZoneInfo | None) -> tuple[np.ndarray, np.ndarray, bool]:
    """UTC times, mask of the unreadable, and whether any lacked an offset."""
    known: dict[str, tuple[np.datetime64, bool] | None] = {}
    taken, wrong, bare = np.full(len(cells), np.datetime64("NaT", "ms")), np.zeros(len(cells), dtype=bool), False
    for position, cell in enumerate(cells):
        if not cell.strip():
            continue
        if cell not in known:
            known[cell] = _moment(cell, zone)
        value = known[cell]
        if value is None:
            wrong[position] = True
        else:
            taken[position] = value[0]
            bare |= value[1]
    return taken, wrong, bare


class _Table:
    """A CSV text with its columns told apart."""

    def __init__(
        self, text: str, file: str, given: Mapping[str, str], unit: float, zone: ZoneInfo | None, *, down: bool = False
    ) -> None:
        self.file, self.unit, self.zone = file, unit, zone
        self.header, rows, lines = _rows(text, file)
        self.map = _mapping(self.header, given, file)
        self.reasons: list[tuple[str, str]] = []
        whole = []
        for row, line in zip(rows, lines, strict=True):
            if len(row) > len(self.header) or len(row) < len(self.header) - (len(self.header) if down else 0):
                self.reasons.append(("more or fewer fields than the header has", f"line {line}"))
            else:
                whole.append(([*row, *[""] * (len(self.header) - len(row))], line))
        if down:
            # a cell left empty on paper means the one above
            for (above, _), (row, _) in pairwise(whole):
                for name, (position, _) in self.map.items():
                    if name not in ("distance", "depth", "note") and not row[position].strip():
                        row[position] = above[position]
        self.rows = [row for row, _ in whole]
        self.lines = np.array([line for _, line in whole], dtype=np.int64)
        self.seen = len(rows)
        self.notes: list[str] = []
        self.bad = np.zeros(len(self.rows), dtype=bool)

    def cells(self, name: str) -> list[str]:
        """Text of a field in every row; empty where there is no such column."""
        position = self.map[name][0] if name in self.map else None
        return [row[position] if position is not None else "" for row in self.rows]

    def numbers(self, name: str, *, needed: bool = False) -> np.ndarray:
        """Values of a field [SI]; rows whose field is unreadable, or empty where needed, are marked bad."""
        values = _numbers(self.cells(name))
        broken = np.isinf(values) | (np.isnan(values) if needed else False)
        for position in np.flatnonzero(broken & ~self.bad):
            cell = self.cells(name)[position].strip() if broken.sum() < 50 else ""
            why = f"{name} is not a number" if np.isinf(values[position]) or cell else f"{name} is empty"
            self.reasons.append((why, f"line {self.lines[position]}"))
        self.bad |= broken
        factor = 1.0
        if name in _LENGTHS and name in self.map:
            factor = self.map[name][1]
            if not math.isfinite(factor):
                factor = self.unit
                if not math.isfinite(factor):
                    raise DataUnfit(
                        f"column {self.header[self.map[name][0]]!r} names no unit", "feet or metres",
                        "give --depth-unit, or name the column like depth_ft", where=self.file,
                    )  # fmt: skip
        return np.where(broken, np.nan, values) * factor

    def times(self) -> np.ndarray:
        """Moments, UTC; rows whose time is unreadable are marked bad."""
        cells = self.cells("taken_at")
        if "date" in self.map:
            day = self.cells("date")
            cells = [
                f"{d.strip()}T{c.strip()}" if d.strip() and c.strip() else d for d, c in zip(day, cells, strict=True)
            ]
        taken, wrong, bare = _times(cells, self.zone)
        for position in np.flatnonzero(wrong & ~self.bad):
            self.reasons.append(("the time is not ISO 8601", f"line {self.lines[position]}"))
        self.bad |= wrong
        if bare:
            self.notes.append(f"Times without an offset were read in {self.zone}.")
        return taken

    def make(
        self, kind: str, lon: Any, lat: Any, depth: Any, own: Mapping[str, list[str]] | None = None, **columns: Any
    ) -> Batch:
        """The batch of the rows that are not bad; `own` are further columns that the table itself does not have."""
        used = {position for position, _ in self.map.values()}
        extra = dict(own or {}) | {
            heading: [row[position] for row in self.rows]
            for position, heading in enumerate(self.header)
            if position not in used and heading
        }
        made = batch(
            self.file, kind, lon, lat, depth, where=self.lines, extra=extra, seen=self.seen, notes=tuple(self.notes),
            drops=joined(self.reasons), method=columns.pop("method"), **columns,
        )  # fmt: skip
        return made.only(~self.bad)


def parse_table(
    text: str, file: str, given: Mapping[str, str] | None = None, unit: float = math.nan, zone: ZoneInfo | None = None
) -> Batch:
    """Soundings of a CSV text.

    Parameters
    ----------
    text, file : str
        The text, and the file's name for messages.
    given : mapping, optional
        Heading of the file by our field name, such as ``{"depth_ft": "Sonar"}``; usual headings need none.
    unit : float
        Metres in a unit of length where the heading names none; NaN asks for it.
    zone : ZoneInfo, optional
        Of times without an offset; without it they are not taken.

    Raises
    ------
    DataUnfit
        When there is no table, or no column of position or depth.
    """
    table = _Table(text, file, given or {}, unit, zone)
    missing = [name for name in ("lon", "lat", "depth") if name not in table.map]
    if missing:
        raise DataUnfit(
            f"no column for {', '.join(missing)} among: {', '.join(table.header)}", "lon, lat and depth",
            "name the columns with --column, such as --column lon=Easting", where=file,
        )  # fmt: skip
    lon, lat, depth = (table.numbers(name, needed=True) for name in ("lon", "lat", "depth"))
    stage, draft = table.numbers("stage"), np.nan_to_num(table.numbers("draft"))
    taken = table.times()
    return table.make(
        "CSV", lon, lat, depth, taken_at=taken, stage_m=stage, draft_m=draft, method=table.cells("method"),
        note=table.cells("note"),
    )  # fmt: skip


def parse_lead_line(
    text: str, file: str, given: Mapping[str, str] | None = None, unit: float = math.nan, zone: ZoneInfo | None = None
) -> Batch:
    """Soundings along taut lines, as typed off paper.

    Each row has a distance from the line's first end and a depth; the ends (`from_lon`, `from_lat`, `to_lon`,
    `to_lat`), the time and the stage are typed once and hold until the next line of writing gives others. Arguments
    as in `parse_table`.

    Notes
    -----
    The line is taken as straight and level; how sure a place along it is goes into a column ``position_sd_m`` [m],
    unless the paper has one. Where the longest distance is more than the distance between the ends allows (`line_over`
    of the table), that is said: one of them is wrong.
    """
    table = _Table(text, file, given or {}, unit, zone, down=True)
    needed = ("from_lon", "from_lat", "to_lon", "to_lat", "distance", "depth")
    missing = [name for name in needed if name not in table.map]
    if missing:
        raise DataUnfit(
            f"no column for {', '.join(missing)}", ", ".join(needed), "type the ends of each line once", where=file
        )
    values = {name: table.numbers(name, needed=True) for name in needed}
    stage, taken = table.numbers("stage"), table.times()
    lon, lat = np.full(len(taken), np.nan), np.full(len(taken), np.nan)
    ends = np.column_stack([values[name] for name in needed[:4]])
    usable = np.isfinite(ends).all(axis=1) & ~table.bad
    for end in np.unique(ends[usable], axis=0):
        here = usable & (ends == end).all(axis=1)
        plane = LocalPlane(float(end[0]), float(end[1]))
        east, north = (float(v) for v in plane.to_xy(end[2], end[3]))
        length = math.hypot(east, north)
        first = f"line {table.lines[int(np.argmax(here))]}"
        if length < 0.5:
            table.reasons += [("both ends of the taut line are at one place", first)] * int(here.sum())
            table.bad |= here
            continue
        along = values["distance"][here]
        if along.max() > length * constants("sounding_checks")["line_over"]:
            table.notes.append(
                f"The taut line at {first} was measured {along.max():.1f} m long but its ends are {length:.1f} m apart."
            )
        with np.errstate(over="ignore", invalid="ignore"):  # a place beyond the globe is left out with its reason
            lon[here], lat[here] = plane.to_lonlat(along * east / length, along * north / length)
    method = [cell or "lead line" for cell in table.cells("method")]
    sure = {"position_sd_m": [f"{constants('flow')['line_position_sd_m']:g}"] * len(taken)}
    return table.make(
        "lead-line table", lon, lat, values["depth"], taken_at=taken, stage_m=stage, method=method,
        note=table.cells("note"), own=sure,
    )  # fmt: skip
