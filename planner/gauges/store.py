"""The last good observations of each station, kept on disk for the day the service does not answer.

Only rows that a service's parser has accepted come in, so a maintenance page never takes the place of a reading. A
store that cannot be opened or written never stops a plan: it is as if it were empty, and a note says so.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from planner.cache import cache_folder
from planner.gauges.series import QUALITY_ORDER, Series, to_datetime64

__all__ = ["FRESH_S", "KEPT_DAYS", "Store"]

# Design choices: stations send every 15 min at best, so a reply of the last five minutes is not asked for again; a
# window that was over a day before it was fetched no longer changes enough to ask again within a month.
FRESH_S = 300.0
_SETTLED_S = 86400.0
_SETTLED_FOR_S = 30 * 86400.0
KEPT_DAYS = 400
# What reading a store raises whose pages are damaged: the database's own errors, and values of kinds never written.
_SPOILT = (sqlite3.Error, OSError, ValueError, TypeError, OverflowError)

_VERSION = 2
_TABLES = """
CREATE TABLE IF NOT EXISTS observations (
  station TEXT, time INTEGER, stage_m REAL, discharge_m3s REAL, temperature_c REAL, turbidity_fnu REAL,
  quality TEXT, PRIMARY KEY (station, time)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS fetches (
  station TEXT, start INTEGER, finish INTEGER, retrieved_at REAL, name TEXT, notes TEXT);
CREATE TABLE IF NOT EXISTS documents (
  station TEXT, kind TEXT, retrieved_at REAL, body BLOB, PRIMARY KEY (station, kind)) WITHOUT ROWID;
"""
_COLUMNS = ("stage_m", "discharge_m3s", "temperature_c", "turbidity_fnu")


class Store:
    """Observations on disk.

    Parameters
    ----------
    folder : Path, optional
        Default `planner.cache.cache_folder`; made when first written to.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self.path = (Path(folder) if folder is not None else cache_folder()) / "observations.sqlite3"

    def keep(self, series: Series, start: datetime, end: datetime) -> tuple[str, ...]:
        """Store the rows of a series fetched for a window in place of those from its first to its last row.

        What the agency took back is not kept, nor are rows of another instrument between those of the one taken now.

        Returns
        -------
        tuple of str
            Empty, or a note that nothing could be stored.
        """
        try:
            try:
                self._put(series, start, end)
            except sqlite3.OperationalError:
                raise  # in use, full or not to be written: leave it alone
            except sqlite3.DatabaseError:  # damaged pages would stay damaged: a cache may be begun anew
                self.path.unlink()
                self._put(series, start, end)
        except (sqlite3.Error, OSError) as error:
            return (f"the observations could not be stored for later ({error})",)
        return ()

    def _put(self, series: Series, start: datetime, end: datetime) -> None:
        numbers = [_or_null(getattr(series, name)) for name in _COLUMNS]
        times = series.times.astype(np.int64).tolist()
        rows = list(zip([series.station] * len(times), times, *numbers, series.quality.tolist(), strict=True))
        stamp = series.retrieved_at.timestamp()
        self.path.parent.mkdir(parents=True, exist_ok=True)
        with self._open(create=True) as base:
            if times:
                base.execute(
                    "DELETE FROM observations WHERE station = ? AND time BETWEEN ? AND ?",
                    (series.station, times[0], times[-1]),
                )
            base.executemany("INSERT OR REPLACE INTO observations VALUES (?,?,?,?,?,?,?)", rows)
            base.execute(
                "DELETE FROM fetches WHERE station = ? AND start >= ? AND finish <= ?",
                (series.station, _unix(start), _unix(end)),
            )
            base.execute(
                "INSERT INTO fetches VALUES (?,?,?,?,?,?)",
                (series.station, _unix(start), _unix(end), stamp, series.name, json.dumps(series.notes)),
            )
            oldest = int(stamp) - KEPT_DAYS * 86400
            base.execute("DELETE FROM observations WHERE time < ? AND time < ?", (oldest, _unix(start)))
            base.execute("DELETE FROM fetches WHERE start < ? AND retrieved_at < ?", (oldest, stamp - _SETTLED_FOR_S))

    def load(self, station: str, start: datetime, end: datetime) -> Series | None:
        """Stored rows of a window; None when there is no row with a stage or a discharge."""
        try:
            with self._open() as base:
                rows = base.execute(
                    f"SELECT time, {', '.join(_COLUMNS)}, quality FROM observations "
                    "WHERE station = ? AND time BETWEEN ? AND ? ORDER BY time",
                    (station, _unix(start), _unix(end)),
                ).fetchall()
                fetch = base.execute(
                    "SELECT retrieved_at, name, notes FROM fetches WHERE station = ? "
                    "ORDER BY retrieved_at DESC LIMIT 1",
                    (station,),
                ).fetchone()
            return _series(station, rows, fetch) if rows and fetch else None
        except _SPOILT:
            return None

    def fresh(self, station: str, start: datetime, end: datetime) -> Series | None:
        """Stored rows of a window whose fetch is recent enough that asking again would bring nothing new."""
        present = datetime.now(UTC).timestamp()
        try:
            with self._open() as base:
                fetches = base.execute(
                    "SELECT finish, retrieved_at FROM fetches WHERE station = ? AND start <= ? AND finish >= ?",
                    (station, _unix(start), _unix(end) - int(FRESH_S)),
                ).fetchall()
            ages = [(present - retrieved_at, retrieved_at) for _, retrieved_at in fetches]
        except _SPOILT:
            return None
        for age, retrieved_at in ages:
            settled = retrieved_at - _unix(end) > _SETTLED_S and age < _SETTLED_FOR_S
            if 0 <= age < FRESH_S or settled:
                return self.load(station, start, end)
        return None

    def keep_document(self, station: str, kind: str, body: bytes) -> None:
        """Keep a reply that is no series (forecast, statistics, categories); a store that fails keeps nothing."""
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self._open(create=True) as base:
                row = (station, kind, datetime.now(UTC).timestamp(), body)
                base.execute("INSERT OR REPLACE INTO documents VALUES (?,?,?,?)", row)
        except (sqlite3.Error, OSError):
            return

    def document(self, station: str, kind: str) -> tuple[bytes, float] | None:
        """A kept reply and its age [s]; None when there is none."""
        try:
            with self._open() as base:
                row = base.execute(
                    "SELECT body, retrieved_at FROM documents WHERE station = ? AND kind = ?", (station, kind)
                ).fetchone()
            return (bytes(row[0]), datetime.now(UTC).timestamp() - float(row[1])) if row else None
        except _SPOILT:
            return None

    @contextmanager
    def _open(self, create: bool = False) -> Iterator[sqlite3.Connection]:
        if not create and not self.path.exists():
            raise FileNotFoundError(self.path)
        base = sqlite3.connect(self.path, timeout=2.0)
        try:
            try:
                version = base.execute("PRAGMA user_version").fetchone()[0]
            except sqlite3.OperationalError:
                raise  # locked by another run: leave it alone
            except sqlite3.DatabaseError:
                version = -1
            if version != _VERSION and create:
                if version != 0:  # another version or no database at all: a cache may be begun anew
                    base.close()
                    self.path.unlink()
                    base = sqlite3.connect(self.path, timeout=2.0)
                base.executescript(_TABLES)
                base.execute(f"PRAGMA user_version = {_VERSION}")
            elif version != _VERSION:
                raise sqlite3.DatabaseError("another version")
            with base:
                yield base
        finally:
            base.close()


def _series(station: str, rows: list[tuple], fetch: tuple) -> Series | None:
    retrieved_at, name, notes = fetch
    words = {str(q) for q in QUALITY_ORDER}
    if any(row[5] not in words for row in rows):
        return None
    numbers = np.array([row[1:5] for row in rows], np.float64)
    series = Series(
        station=station,
        service=station.split(":", 1)[0],
        name=name,
        times=np.array([row[0] for row in rows], np.int64).astype("datetime64[s]"),
        stage_m=numbers[:, 0].copy(),
        discharge_m3s=numbers[:, 1].copy(),
        temperature_c=numbers[:, 2].copy(),
        turbidity_fnu=numbers[:, 3].copy(),
        quality=np.array([row[5] for row in rows]),
        notes=tuple(str(note) for note in json.loads(notes)),
        retrieved_at=datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=float(retrieved_at)),
    )
    return series if bool(series.has_level().any()) else None


def _or_null(values: np.ndarray) -> list[float | None]:
    return [None if value != value else value for value in values.tolist()]


def _unix(time: datetime) -> int:
    return int(to_datetime64(time).astype(np.int64))
