"""What the commands on soundings and roughness say, for a person and for a machine."""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.errors import UsageMistake
from planner.units import parse, show

if TYPE_CHECKING:
    from planner.bed.sources import Batch

__all__ = ["soundings_report", "soundings_text"]


def soundings_report(
    folder: Path,
    files: tuple[Path, ...],
    *,
    now: datetime,
    dry_run: bool = False,
    columns: tuple[str, ...] = (),
    depth_unit: str | None = None,
    timezone: str | None = None,
    transducer_depth: str | None = None,
) -> dict[str, Any]:
    """Read files of soundings into a river folder and say what came of it.

    Parameters
    ----------
    folder : Path
        The river folder.
    files : tuple of Path
        CSV, lead-line table, GPX, GeoJSON, NMEA 0183.
    now : datetime
        The clock, aware.
    dry_run : bool
        Read and judge only.
    columns : tuple of str
        ``NAME=HEADING`` for a CSV with headings of its own.
    depth_unit, timezone, transducer_depth : str, optional
        As `planner.bed.sources.take` reads them; the last is a quantity such as ``"0.4 ft"``.

    Returns
    -------
    dict
        ``files`` (each with ``kind``, ``seen``, ``dropped``, ``already_there``, ``new``, ``depth_m``, ``from``, ``to``,
        ``notes``), ``new``, ``outside``, ``written``, ``units``.
    """
    from planner.bed.sources import append, take
    from planner.river import read_river

    given = {}
    for entry in columns:
        name, equals, heading = entry.partition("=")
        if not equals or not name.strip() or not heading.strip():
            raise UsageMistake(f"--column {entry}", "NAME=HEADING, such as lon=Longitude", "correct it")
        given[name.strip()] = heading.strip()
    river = read_river(folder)
    transducer = parse(transducer_depth, "m", "transducer depth") if transducer_depth else math.nan
    if transducer < 0 or transducer > 5:
        raise UsageMistake(f"--transducer-depth {transducer_depth}", "0 to 5 m below the surface", "correct it")
    intake = take(
        river, files, now, columns=given, unit=depth_unit, timezone=timezone, transducer_m=transducer
    )  # fmt: skip
    written = [] if dry_run else append(river, intake)
    return {
        "files": [_of(one, again) for one, again in zip(intake.batches, intake.doubled, strict=True)],
        "new": intake.new,
        "outside": intake.outside,
        "dry_run": dry_run,
        "written": [path.name for path in written],
        "units": river.units,
    }


def _of(one: Batch, again: int) -> dict[str, Any]:
    import numpy as np

    dated = one.taken_at[~np.isnat(one.taken_at)]
    return {
        "file": one.file,
        "kind": one.kind,
        "seen": one.seen,
        "dropped": [{"reason": drop.reason, "count": drop.count, "first": drop.first} for drop in one.drops],
        "already_there": again,
        "new": len(one),
        "depth_m": [float(one.depth_m.min()), float(one.depth_m.max())] if len(one) else None,
        "from": dated.min() if len(dated) else None,
        "to": dated.max() if len(dated) else None,
        "notes": list(one.notes),
    }


def soundings_text(report: dict[str, Any], units: str | None) -> str:
    """A soundings report for a person."""
    from planner.files import plain

    shown = units or report["units"]
    lines = []
    for one in report["files"]:
        lines.append(f"{one['file']}: {one['kind']}, {one['seen']:,} records")
        lines.extend(
            f"  dropped {drop['count']:,}: {drop['reason']} (first: {drop['first']})" for drop in one["dropped"]
        )
        if one["already_there"]:
            lines.append(f"  {one['already_there']:,} already there")
        if one["new"]:
            least, most = (show(value, "depth", shown) for value in one["depth_m"])
            when = f", {plain(one['from'])} to {plain(one['to'])}" if one["from"] is not None else ", undated"
            lines.append(f"  {one['new']:,} new soundings, {least} to {most}{when}")
        lines.extend(f"  note: {note}" for note in one["notes"])
    if report["outside"]:
        lines.append(f"{report['outside']:,} of the new soundings lie outside every run: kept, used by none.")
    if report["dry_run"]:
        lines.append(f"{report['new']:,} would be added to soundings.csv; nothing was written (--dry-run).")
    elif report["written"]:
        lines.append(f"{report['new']:,} added to soundings.csv.")
    else:
        lines.append("Nothing new: soundings.csv is as it was.")
    return "\n".join(lines)
