"""From files of soundings to the rows that a river folder does not have yet."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from planner.bed.sources.columns import parse_lead_line, parse_table
from planner.bed.sources.nmea import parse_nmea
from planner.bed.sources.records import Batch
from planner.bed.sources.sanity import judge
from planner.bed.sources.shapes import parse_geojson, parse_gpx
from planner.errors import DataUnfit, UsageMistake
from planner.files import read_bounded
from planner.units import FOOT

__all__ = ["UNITS", "Intake", "parse_soundings_file", "read_soundings", "take"]

UNITS = {"m": 1.0, "ft": FOOT, "fathom": 6 * FOOT, "cm": 0.01}


@dataclass(frozen=True)
class Intake:
    """What the files brought.

    Parameters
    ----------
    batches : tuple of Batch
        One for each file, judged; without the rows that were there before.
    doubled : tuple of int
        For each file, the rows that the folder or an earlier file already had.
    outside : int
        New rows outside every run: kept, used by none.
    """

    batches: tuple[Batch, ...]
    doubled: tuple[int, ...]
    outside: int

    @property
    def new(self) -> int:
        """Rows to append."""
        return sum(len(one) for one in self.batches)


def read_soundings(
    path: Path,
    *,
    columns: Mapping[str, str] | None = None,
    unit: float = math.nan,
    zone: ZoneInfo | None = None,
    transducer_m: float = math.nan,
) -> Batch:
    """Read one file, its kind told by what stands in it.

    Parameters
    ----------
    path : Path
        CSV, lead-line table, GPX, GeoJSON or NMEA 0183 log.
    columns : mapping, optional
        Heading by our field name, for a CSV with headings of its own.
    unit : float
        Metres in the unit of depths where the file names none; NaN not given.
    zone : ZoneInfo, optional
        Of times without an offset.
    transducer_m : float
        Transducer below the surface [m]; NaN not given.

    Raises
    ------
    DataUnfit
        When the file cannot be read as any of these.
    """
    name = path.name
    try:
        raw = read_bounded(path)
    except OSError as error:
        raise DataUnfit(
            f"the file cannot be read ({error.strerror})", "a readable file", "check its name", where=str(path)
        ) from error
    return parse_soundings_file(raw, name, columns=columns, unit=unit, zone=zone, transducer_m=transducer_m)


def parse_soundings_file(
    raw: bytes,
    name: str,
    *,
    columns: Mapping[str, str] | None = None,
    unit: float = math.nan,
    zone: ZoneInfo | None = None,
    transducer_m: float = math.nan,
) -> Batch:
    """The soundings of a file's bytes; arguments as in `read_soundings`, `name` for messages and its ending."""
    start = raw[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    if start.startswith(b"<") or raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return parse_gpx(raw, name, unit, transducer_m)
    if start.startswith(b"{"):
        return parse_geojson(raw, name, unit)
    text = raw.decode("utf-8", errors="replace")
    if "\x00" in text[:4096]:
        raise DataUnfit(
            "the file is not text", "CSV, GPX, GeoJSON or NMEA 0183", "export it from the device", where=name
        )
    head = text[:4096]
    if name.lower().endswith((".nmea", ".nme", ".0183")) or any(
        mark in head for mark in ("RMC,", "GGA,", "DPT,", "DBT,", "DBS,")
    ):
        return parse_nmea(text, name, transducer_m)
    first = next((line for line in text.splitlines() if line.strip() and not line.startswith("#")), "").lower()
    if "from_lon" in first.replace(" ", "_"):
        return parse_lead_line(text, name, columns, unit, zone)
    found = parse_table(text, name, columns, unit, zone)
    if math.isfinite(transducer_m):
        found = replace(found, draft_m=np.where(found.draft_m > 0, found.draft_m, transducer_m))
    return found


def take(
    river: Any,
    paths: Sequence[Path | Batch],
    now: datetime,
    *,
    columns: Mapping[str, str] | None = None,
    unit: str | None = None,
    timezone: str | None = None,
    transducer_m: float = math.nan,
) -> Intake:
    """Read and judge files, and leave out what the river folder already has.

    Parameters
    ----------
    river : planner.river.River
        The folder as read.
    paths : sequence of Path or Batch
        Files of soundings, or what was read of one.
    now : datetime
        The clock, aware.
    columns : mapping, optional
        As in `read_soundings`.
    unit : str, optional
        ``m``, ``ft``, ``fathom`` or ``cm``: of depths where a file names none.
    timezone : str, optional
        Of times without an offset; the river's own when not given.
    transducer_m : float
        Transducer below the surface [m].
    """
    if unit is not None and unit not in UNITS:
        raise UsageMistake(f"--depth-unit {unit}", f"one of: {', '.join(UNITS)}", "take one of these")
    try:
        zone = ZoneInfo(timezone or river.timezone or "UTC")
    except (KeyError, ValueError, OSError) as error:
        raise UsageMistake(f"--timezone {timezone}", "a name such as America/Chicago", "correct it") from error
    table = river.soundings
    draft = table["draft_m"].to_numpy(float) if "draft_m" in table else np.zeros(len(table))
    moments = table["taken_at"].dt.tz_localize(None).to_numpy("datetime64[ms]") if len(table) else np.empty(0, "M8[ms]")
    had = set(_keys(table["lon"], table["lat"], table["depth_m"], draft, moments)[0]) if len(table) else set()
    batches, doubled = [], []
    for path in paths:
        if isinstance(path, Batch):
            found = path
        else:
            found = read_soundings(
                Path(path),
                columns=columns,
                unit=UNITS[unit] if unit else math.nan,
                zone=zone,
                transducer_m=transducer_m,
            )
        found = judge(found, river, now)
        fresh = _fresh(found, had)
        doubled.append(int((~fresh).sum()))
        batches.append(found.only(fresh))
    return Intake(tuple(batches), tuple(doubled), _outside(batches, river))


def _keys(lon: Any, lat: Any, depth: Any, draft: Any, moment: Any) -> list[list[tuple[int, ...]]]:
    """Rows as whole numbers: 0.1 m on the ground, cm, seconds; and the same one centimetre up and down.

    Files round differently (feet to two decimals, degrees to six), so that equality of floats would miss repeats.
    """
    parts = [
        np.round(np.asarray(lon, float) * 1e6).astype(np.int64).tolist(),
        np.round(np.asarray(lat, float) * 1e6).astype(np.int64).tolist(),
        np.asarray(moment, "datetime64[s]").astype(np.int64).tolist(),
        np.round(np.nan_to_num(np.asarray(draft, float)) * 100).astype(np.int64).tolist(),
    ]
    deep = np.round(np.asarray(depth, float) * 100).astype(np.int64)
    return [list(zip(*parts, (deep + step).tolist(), strict=True)) for step in (0, -1, 1)]


def _fresh(found: Batch, had: set[tuple[int, ...]]) -> np.ndarray:
    """Rows not in `had`, which grows by them."""
    if not len(found):
        return np.zeros(0, dtype=bool)
    same, below, above = _keys(found.lon, found.lat, found.depth_m, found.draft_m, found.taken_at)
    fresh = np.empty(len(found), dtype=bool)
    for i, key in enumerate(same):
        fresh[i] = not (key in had or below[i] in had or above[i] in had)
        if fresh[i]:
            had.add(key)
    return fresh


def _outside(batches: Sequence[Batch], river: Any) -> int:
    import shapely

    lon = np.concatenate([one.lon for one in batches]) if batches else np.empty(0)
    lat = np.concatenate([one.lat for one in batches]) if batches else np.empty(0)
    inside = np.zeros(len(lon), dtype=bool)
    for run in river.runs:
        inside |= shapely.contains_xy(run.polygon.buffer(5e-5), lon, lat)
    return int((~inside).sum())
