"""Shapes of a GeoPackage (OGC 12-128), read as a database that somebody hostile may have made.

The file is a SQLite database: it can hold views that run for ever, triggers, virtual tables, and rows that share their
pages so that a small file unfolds to a large one. So it is opened in memory, only plain tables are read, an authorizer
allows nothing but reading columns, and rows, bytes and time have hard bounds. The binary geometry is read here too,
since a deep collection can exhaust a recursive reader's stack.
"""

from __future__ import annotations

import sqlite3
import struct
import time
from collections.abc import Callable, Iterator
from typing import Any

from planner.desk.taken import MOST_FEATURES, MOST_TEXT, Taken, position
from planner.errors import DataUnfit

__all__ = ["MAGIC", "taken_geopackage"]

MAGIC = b"SQLite format 3\x00"
_MOST_BYTES = 32_000_000  # of all geometries and texts that are read
_LONGEST_S = 3.0
_MOST_LAYERS, _MOST_COLUMNS = 40, 60
_ENVELOPES = (0, 32, 48, 48, 64)
_READS = {sqlite3.SQLITE_SELECT, sqlite3.SQLITE_READ}

ToLonLat = Callable[[Any, Any], tuple[Any, Any]]


class _Unread(Exception):
    """A geometry that is not taken, with the reason."""


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def taken_geopackage(raw: bytes, file: str) -> Taken:
    """Features of every layer of a GeoPackage, in lon, lat.

    Raises
    ------
    DataUnfit
        When it is no GeoPackage, or holds more than a drawing does or takes longer to read.
    """
    taken = Taken()
    base = sqlite3.connect(":memory:", isolation_level=None)
    try:
        base.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _MOST_BYTES)
        base.setlimit(sqlite3.SQLITE_LIMIT_COLUMN, 200)
        base.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
        # a file that was left in write-ahead mode is opened as if it were closed in order: nothing is lost by it here
        base.deserialize(raw[:18] + b"\x01\x01" + raw[20:] if raw[18:20] == b"\x02\x02" else raw)
        for pragma in ("trusted_schema=OFF", "query_only=ON", "cell_size_check=ON", "mmap_size=0"):
            base.execute(f"PRAGMA {pragma}")
        until = time.monotonic() + _LONGEST_S
        base.set_progress_handler(lambda: int(time.monotonic() > until), 10_000)
        base.set_authorizer(lambda action, *_: sqlite3.SQLITE_OK if action in _READS else sqlite3.SQLITE_DENY)
        base.text_factory = lambda text: text[:MOST_TEXT].decode("utf-8", errors="replace")
        _layers(base, taken, file)
    except (sqlite3.Error, OverflowError, MemoryError) as error:
        late = "interrupted" in str(error)
        raise DataUnfit(
            "the GeoPackage takes too long to read" if late else f"the GeoPackage cannot be read ({error})",
            "a GeoPackage with plain tables of features", "export it again with fewer features", where=file,
        ) from error  # fmt: skip
    finally:
        base.close()
    return taken


def _layers(base: sqlite3.Connection, taken: Taken, file: str) -> None:
    tables = {
        str(name)
        for name, kind, sql in base.execute("SELECT name, type, sql FROM sqlite_master LIMIT 2000")
        if kind == "table" and "virtual" not in str(sql).lower().split("(")[0]
    }
    if not {"gpkg_geometry_columns", "gpkg_spatial_ref_sys"} <= tables:
        raise DataUnfit("a database without layers", "a GeoPackage (OGC 12-128)", "export it again", where=file)
    layers = base.execute(
        "SELECT table_name, column_name, srs_id FROM gpkg_geometry_columns LIMIT ?", (_MOST_LAYERS + 1,)
    ).fetchall()
    if len(layers) > _MOST_LAYERS:
        raise DataUnfit(f"more than {_MOST_LAYERS} layers", "a drawing", "export the layers that you need", where=file)
    budget = _MOST_BYTES
    for table, column, system in layers:
        name = str(table)
        if name not in tables or name.lower().startswith(("gpkg_", "sqlite_", "rtree_")):
            taken.drop(f"layer {name[:60]}", "it is no plain table")
            continue
        turn = _system(base, system)
        if turn is None:
            taken.drop(f"layer {name[:60]}", "its coordinate system is not known")
            continue
        budget = _rows(base, taken, name, str(column), turn, budget, file)


def _system(base: sqlite3.Connection, number: Any) -> ToLonLat | None:
    """How to come from a layer's coordinates to lon, lat; None when the system is not known."""
    row = base.execute(
        "SELECT organization, organization_coordsys_id FROM gpkg_spatial_ref_sys WHERE srs_id = ?", (number,)
    ).fetchone()
    if row is None or str(row[0]).upper() != "EPSG":
        return None
    if row[1] == 4326:
        return lambda x, y: (x, y)
    import pyproj

    try:
        turn = pyproj.Transformer.from_crs(int(row[1]), 4326, always_xy=True)
    except (pyproj.exceptions.ProjError, TypeError, ValueError):
        return None
    return turn.transform


def _rows(
    base: sqlite3.Connection, taken: Taken, table: str, column: str, turn: ToLonLat, budget: int, file: str
) -> int:
    """Take the rows of a layer; the bytes that are left of the budget."""
    cursor = base.execute(f"SELECT * FROM {_quoted(table)} LIMIT {MOST_FEATURES + 1}")
    names = [str(part[0]) for part in cursor.description]
    if len(names) > _MOST_COLUMNS or column not in names:
        taken.drop(f"layer {table[:60]}", "it has no column of shapes, or too many columns")
        return budget
    at = names.index(column)
    for number, row in enumerate(cursor, start=1):
        budget -= sum(len(value) for value in row if isinstance(value, bytes | str))
        if budget < 0:
            raise DataUnfit(
                f"more than {_MOST_BYTES:,} bytes of shapes and texts", "a drawing", "export less at once", where=file
            )
        where = f"{table[:60]}, row {number}"
        own = {
            name[:60]: value
            for name, value in zip(names, row, strict=True)
            if name != column and name.lower() not in ("fid", "ogc_fid") and isinstance(value, str | int | float)
        }
        try:
            for shape in _shapes(row[at], turn, taken):
                taken.add(shape, own)
        except _Unread as error:
            taken.drop(where, str(error))
    return budget


def _shapes(blob: Any, turn: ToLonLat, taken: Taken) -> Iterator[dict[str, Any]]:
    """GeoJSON geometries of a GeoPackage binary: points, lines, polygons and several of them."""
    if not isinstance(blob, bytes) or len(blob) < 13 or blob[:2] != b"GP":
        raise _Unread("it has no shape")
    flags = blob[3]
    envelope = (flags >> 1) & 7
    if flags & 0x20 or envelope >= len(_ENVELOPES):
        raise _Unread("its shape is of a kind that is not read")
    reader = _Wkb(blob, 8 + _ENVELOPES[envelope], turn, taken)
    try:
        yield from reader.geometry(True)
    except (struct.error, IndexError) as error:
        raise _Unread("its shape is cut short") from error


class _Wkb:
    """Well-known binary (OGC 06-103) of kinds 1 to 6, in two dimensions or more."""

    def __init__(self, blob: bytes, at: int, turn: ToLonLat, taken: Taken) -> None:
        self.blob, self.at, self.turn, self.taken = blob, at, turn, taken

    def _int(self, order: str) -> int:
        value = struct.unpack_from(order + "I", self.blob, self.at)[0]
        self.at += 4
        return int(value)

    def geometry(self, several: bool) -> list[dict[str, Any]]:
        order = "<" if self.blob[self.at] else ">"
        self.at += 1
        code = self._int(order)
        dims = 2 + sum(1 for bit in (0x80000000, 0x40000000) if code & bit)
        code &= 0x1FFFFFFF
        thousand, kind = divmod(code, 1000)
        dims += (0, 1, 1, 2)[thousand] if thousand < 4 else 0
        if thousand > 3 or kind not in range(1, 7) or (kind > 3 and not several):
            raise _Unread("its shape is of a kind that is not read")
        if kind > 3:
            parts = []
            for _ in range(self._int(order)):
                parts += self.geometry(False)
            return parts
        if kind == 1:
            return [{"type": "Point", "coordinates": self._positions(1, dims, order)[0]}]
        if kind == 2:
            return [{"type": "LineString", "coordinates": self._positions(self._int(order), dims, order)}]
        rings = [self._positions(self._int(order), dims, order) for _ in range(self._rings(order))]
        return [{"type": "Polygon", "coordinates": rings}]

    def _rings(self, order: str) -> int:
        count = self._int(order)
        if count * 4 > len(self.blob):
            raise _Unread("its shape is cut short")
        return count

    def _positions(self, count: int, dims: int, order: str) -> list[list[float]]:
        if self.at + count * dims * 8 > len(self.blob):
            raise _Unread("its shape is cut short")
        self.taken.count(count)
        values = struct.unpack_from(f"{order}{count * dims}d", self.blob, self.at)
        self.at += count * dims * 8
        lon, lat = self.turn(values[0::dims], values[1::dims])
        found = [position(pair) for pair in zip(lon, lat, strict=True)]
        if any(one is None for one in found) or not found:
            raise _Unread("a position that is no lon, lat")
        return [one for one in found if one is not None]
