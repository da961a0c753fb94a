"""Soundings dropped in or typed: what would be kept and dropped and why, then the rows themselves.

A preview writes nothing. Applying it judges the rows once more against the folder as it then is, so that a row that
came in meanwhile is not taken twice.
"""

from __future__ import annotations

import csv
import io
import math
import secrets
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any

from planner.errors import DataUnfit, UsageMistake

if TYPE_CHECKING:
    from planner.bed.sources.intake import Intake
    from planner.bed.sources.records import Batch
    from planner.river import River

__all__ = ["Previews", "kept_rows", "read_batch"]

MOST_POINTS = 2_000
MOST_TYPED = 5_000
_MOST_PREVIEWS = 8
_TAUT = ("from_lon", "from_lat", "to_lon", "to_lat", "distance")
# options of the command in the importer's sentences, as the desk asks for them
_ASKS = {
    "--depth-unit": ("depth_unit", "the unit of the depths"),
    "--transducer-depth": ("transducer_depth", "how deep the transducer hangs"),
    "--timezone": ("zone", "the time zone of the times"),
    "--column": ("columns", "which column is which"),
}


def _asked(*sentences: str) -> list[str]:
    """What the importer asks for, by the desk's names."""
    return [name for option, (name, _) in _ASKS.items() if any(option in one for one in sentences)]


def _for_page(sentence: str) -> str:
    for option, (_, words) in _ASKS.items():
        sentence = sentence.replace(option, words)
    return sentence


def _typed(rows: Any) -> tuple[str, str]:
    """Typed rows as the text of a table, and its kind; unit by unit in metres."""
    from planner.bed.sources.intake import UNITS

    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
        raise UsageMistake("no rows", "rows: a list of soundings", "type at least one")
    if len(rows) > MOST_TYPED:
        raise UsageMistake(f"{len(rows):,} rows", f"at most {MOST_TYPED:,} typed rows", "drop them in as a file")
    taut = any("distance" in row for row in rows)
    names = [*(_TAUT if taut else ("lon", "lat")), "depth", "taken_at", "stage", "method", "note"]
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow([f"{name}_m" if name in ("depth", "stage", "distance") else name for name in names])
    for number, row in enumerate(rows, start=1):
        unit = str(row.get("unit", "m"))
        if unit not in UNITS:
            raise UsageMistake(f"unit {unit[:20]!r}", f"one of {', '.join(UNITS)}", "choose one", where=f"row {number}")
        cells = []
        for name in names:
            value = row.get(name)
            if name in ("depth", "stage", "distance") and isinstance(value, int | float):
                value = float(value) * UNITS[unit]
            cells.append("" if value is None else " ".join(str(value).split()))
        if not taut and not cells[-2]:
            cells[-2] = "lead line"  # one place, one reading by hand: it is not judged against its neighbours in time
        table.writerow(cells)
    return out.getvalue(), "typed lead-line table" if taut else "typed soundings"


def read_batch(given: bytes | Mapping[str, Any], name: str, options: Mapping[str, str], zone: str) -> Batch:
    """The soundings of a file's bytes or of typed rows, before they are judged.

    Parameters
    ----------
    given : bytes or mapping
        A file, or ``{"rows": [...]}`` with lon, lat (or the ends of a taut line and a distance), depth, unit, taken_at,
        and where known stage (in the same unit), method, note.
    name : str
        Of the file.
    options : mapping
        ``zone``, ``depth_unit``, ``transducer_depth`` (a quantity), ``columns`` (``lon=Heading;depth=Heading``).
    zone : str
        The river's own time zone.
    """
    from zoneinfo import ZoneInfo

    from planner.bed.sources.columns import parse_lead_line, parse_table
    from planner.bed.sources.intake import UNITS, parse_soundings_file
    from planner.units import parse

    try:
        clock = ZoneInfo(options.get("zone") or zone or "UTC")
    except (KeyError, ValueError, OSError) as error:
        raise UsageMistake(
            f"time zone {options.get('zone', '')[:40]!r}", "a name such as America/Chicago", "correct it"
        ) from error
    unit = options.get("depth_unit") or ""
    if unit and unit not in UNITS:
        raise UsageMistake(f"unit {unit[:20]!r}", f"one of {', '.join(UNITS)}", "choose one")
    factor = UNITS[unit] if unit else math.nan
    if not isinstance(given, bytes):
        text, kind = _typed(given.get("rows"))
        read = parse_lead_line if "lead-line" in kind else parse_table
        return read(text, kind, None, 1.0, clock)
    if given[:2] in (b"PK", b"\x1f\x8b"):
        raise DataUnfit(
            "a packed file", "CSV, a lead-line table, GPX, GeoJSON or NMEA 0183", "unpack it first", where=name
        )
    columns = dict(part.split("=", 1) for part in (options.get("columns") or "").split(";") if "=" in part)
    deep = options.get("transducer_depth") or ""
    transducer = parse(deep, "m", "transducer depth") if deep else math.nan
    if not (math.isnan(transducer) or 0 <= transducer <= 5):
        raise UsageMistake(f"transducer {deep[:20]!r}", "0 to 5 m below the surface", "correct it")
    return parse_soundings_file(
        given, name[:80] or "the file", columns=columns or None, unit=factor, zone=clock, transducer_m=transducer
    )


def kept_rows(river: River, read: Batch, now: datetime) -> Intake:
    """The rows that the folder takes of what was read: judged, and without those that it has."""
    from planner.bed.sources.intake import take

    return take(river, [read], now)


@dataclass
class Previews:
    """What was read and waits to be applied; of many the oldest are let go."""

    held: OrderedDict[str, Batch] = field(default_factory=OrderedDict)

    def make(
        self, given: bytes | Mapping[str, Any], name: str, options: Mapping[str, str], river: River, now: datetime
    ) -> dict[str, Any]:
        """Read, judge and show; `needs` names what the importer must be told first or would like to be told."""
        try:
            read = read_batch(given, name, options, river.timezone)
        except DataUnfit as error:
            needs = _asked(error.next_step, error.given, error.need)
            if not needs:
                raise
            why = _for_page(f"{error.given}. Needed: {error.need}. Next: {error.next_step}.")
            nothing: dict[str, Any] = {"preview": None, "format": "", "seen": 0, "kept": 0, "already_there": 0}
            dropped = [{"line": error.where, "why": why, "count": 0}]
            return nothing | {"outside": 0, "dropped": dropped, "notes": [], "needs": needs, "points": []}
        intake = kept_rows(river, read, now)
        kept = intake.batches[0]
        name = secrets.token_urlsafe(12)
        self.held[name] = read
        while len(self.held) > _MOST_PREVIEWS:
            self.held.popitem(last=False)
        return {
            "preview": name,
            "format": read.kind,
            "seen": read.seen,
            "kept": len(kept),
            "already_there": intake.doubled[0],
            "outside": intake.outside,
            "dropped": [
                {"line": drop.first, "why": _for_page(drop.reason), "count": drop.count} for drop in kept.drops
            ],
            "notes": [_for_page(note) for note in kept.notes],
            "needs": _asked(*kept.notes),
            "points": _points(kept),
        }

    def read(self, name: Any) -> Batch:
        """What waits under a name."""
        if not isinstance(name, str) or name not in self.held:
            raise UsageMistake("this preview is no longer held", "a preview of this desk", "drop the file in again")
        return self.held[name]


def _points(kept: Batch) -> list[list[Any]]:
    import numpy as np

    from planner.files import plain_times

    if not len(kept):
        return []
    rows = np.unique(np.linspace(0, len(kept) - 1, min(len(kept), MOST_POINTS)).astype(int))
    return [
        [float(kept.lon[i]), float(kept.lat[i]), float(kept.depth_m[i]), plain_times(kept.taken_at[i]),
         float(kept.stage_m[i])]
        for i in rows
    ]  # fmt: skip
