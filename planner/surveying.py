"""What the commands on soundings and roughness say, for a person and for a machine."""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.errors import DataUnfit, UsageMistake
from planner.units import parse, show

if TYPE_CHECKING:
    from planner.bed.sources import Batch

__all__ = ["flow_drawing", "roughness_report", "roughness_text", "soundings_report", "soundings_text"]


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


def roughness_report(
    *,
    bed_class: str | None = None,
    radius: str | None = None,
    slope: float | None = None,
    d50: str | None = None,
    d84: str | None = None,
    build_up: str | None = None,
    parts: tuple[str, ...] = (),
) -> dict[str, Any]:
    """Ways to a roughness from what is given, with the classes and levels there are when nothing is.

    Parameters
    ----------
    bed_class : str, optional
        A class of the table.
    radius, d50, d84 : str, optional
        Quantities, such as ``"3 ft"`` and ``"70 mm"``.
    slope : float, optional
        [m/m].
    build_up : str, optional
        Six levels for Cowan's build-up, parted by commas.
    parts : tuple of str
        ``CLASS or n,width,mean depth`` of each part of a section.
    """
    from planner.flow.roughness import class_range, roughness_classes
    from planner.flow.roughness_help import cowan_levels, ways

    found = ways(
        bed_class,
        parse(radius, "m", "radius") if radius else math.nan,
        math.nan if slope is None else slope,
        parse(d50, "m", "d50") if d50 else math.nan,
        parse(d84, "m", "d84") if d84 else math.nan,
        [word.strip() for word in build_up.split(",")] if build_up else None,
        [_part(text) for text in parts],
    )
    classes = {
        name: dict(zip(("low", "normal", "high"), class_range(name), strict=True)) | {"description": text}
        for name, text in roughness_classes().items()
    }
    return {"ways": found, "classes": classes, "cowan": cowan_levels()}


def _part(text: str) -> Any:
    from planner.flow.roughness import class_range, roughness_classes
    from planner.flow.roughness_help import Part

    words = [word.strip() for word in text.split(",")]
    if len(words) != 3:
        raise UsageMistake(f"--part {text}", "CLASS or n, width and mean depth", "write it like '0.035,60 ft,4 ft'")
    name, width, depth = words[0], parse(words[1], "m", "width"), parse(words[2], "m", "mean depth")
    n = class_range(name)[1] if name in roughness_classes() else _number(name, text)
    return Part(n, width * depth, width, name)


def _number(name: str, text: str) -> float:
    try:
        return float(name)
    except ValueError as error:
        raise UsageMistake(f"--part {text}", "a bed class or a number first", "see plumbrun roughness") from error


def roughness_text(report: dict[str, Any]) -> str:
    """A roughness report for a person."""
    if not report["ways"]:
        lines = [
            "Manning's n says how much a bed slows the water; it is the same number in feet and metres.",
            "A class is enough to begin with: put its name in `bed` of the run. Where the discharge of a sounding day",
            "is known, the run tells its own n and the class is only checked against it.",
            "",
            f"{'class':26}{'low':>7}{'usual':>7}{'high':>7}  what it looks like",
        ]
        for name, one in report["classes"].items():
            figures = "".join(f"{one[key]:7.3f}" for key in ("low", "normal", "high"))
            lines.append(f"{name:26}{figures}  {one['description']}")
        lines += ["", "Levels for --build-up (base, then five additions and the factor for bends):"]
        for factor, levels in report["cowan"].items():
            lines.append(f"  {factor:3}" + ", ".join(f"{level} {value:g}" for level, value in levels.items()))
        lines += [
            "",
            "Stone size: --d84 and --radius (Limerinos, Bathurst), --d50 (Strickler); steep: --slope (Jarrett).",
        ]
        return "\n".join(lines)
    lines = []
    for way in report["ways"]:
        value = f"{way.n:.3f}" if math.isfinite(way.n) else "none"
        span = f" ({way.low:.3f} to {way.high:.3f})" if math.isfinite(way.low) else ""
        lines.append(f"{way.name:20} n {value}{span}  {way.from_what}  [{way.source}]")
        lines.extend(f"{'':20} {words}: not to be relied on here" for words in way.outside)
    return "\n".join(lines)


def flow_drawing(
    folder: Path,
    run_id: str,
    path: Path,
    *,
    discharge: str | None = None,
    level: str | None = None,
    replies: tuple[Path, ...] = (),
    now: str | None = None,
    units: str | None = None,
) -> None:
    """Draw one run at a gauge level or discharge and write it as SVG.

    Parameters
    ----------
    folder, run_id
        The river folder and the run's id.
    path : Path
        The SVG to write.
    discharge, level, replies, now
        As the command ``plumbrun flow`` takes them.
    units : str, optional
        ``us`` or ``metric``; the river's own when not given.
    """
    from datetime import timedelta

    from planner.caution import standing_words
    from planner.files import write_whole
    from planner.flow.drawing import draw
    from planner.plan.ask import Request, asked_level, moment
    from planner.plan.ice import ICED, iced
    from planner.plan.readings import read_gauge
    from planner.plan.waters import run_water
    from planner.river import read_river

    river = read_river(folder)
    run = river.run(run_id)
    at = moment(now, river.timezone)
    given = asked_level(discharge if discharge is not None else level)
    request = Request(at, at, at + timedelta(hours=1), at.date(), given, tuple(replies))
    view = read_gauge(run.gauge or (river.gauges[0] if river.gauges else ""), request, river, given)
    if iced(view):
        raise DataUnfit(
            ICED.rstrip("."), "open water", "draw the run at a level of your own with --level", view.station
        )
    water = run_water(run, river, view)
    last = view.expected.last
    stage, flow = (last.stage_m, last.discharge_m3s) if given is None else (given.stage_m, given.discharge_m3s)
    state = water.flow.at(flow, stage)
    shown = units or river.units
    caption = (
        f"An estimate for the reach. {standing_words()}",
        f"Gauge {show(state.stage_m, 'level', shown)}, {show(flow, 'discharge', shown)}; mean current "
        f"{show(state.velocity_used_m_s, 'speed', shown)} ({show(state.velocity_low_m_s, 'speed', shown)} to "
        f"{show(state.velocity_high_m_s, 'speed', shown)}); deepest {show(state.max_depth_m, 'depth', shown)}.",
    )
    write_whole(path, draw(water.flow, state, shown, caption))
