"""One evening: a river folder in, a folder with the page, ``plan.json`` and the exports out."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.errors import DataUnfit, NotWritten, UsageMistake
from planner.plan.ask import asked_level, moment, request
from planner.units import show

if TYPE_CHECKING:
    from planner.plan.ask import Request
    from planner.river import River

__all__ = [
    "Written",
    "flow_report",
    "flow_text",
    "keep_plan",
    "moment",
    "plan_folder",
    "unpack_demo",
    "write_plan",
]

# The evening at which the invented demo gauge ends (examples/make_demo.py writes it).
DEMO_NOW = "2026-06-12T18:00:00-05:00"


@dataclass(frozen=True)
class Written:
    """A plan and where it was written.

    Parameters
    ----------
    plan : dict
        As in ``plan.json``; unknown is None.
    page : Path
        The page to take along.
    summary : str
        Text for the terminal, cautions first.
    """

    plan: dict[str, Any]
    page: Path
    summary: str


def unpack_demo(out: Path, day_kind: str = "ordinary") -> tuple[Path, str]:
    """Copy the invented demo river folder into ``out/river``.

    Parameters
    ----------
    out : Path
        Where to.
    day_kind : str
        ``ordinary``, or another evening of the same gauge: ``rising`` after rain, or in ``flood``.

    Returns
    -------
    folder : Path
        The river folder.
    now : str
        The evening on which its gauge ends, ISO 8601.
    """
    folder = Path(out) / "river"
    packed = files("planner") / "demo_river"
    beside = Path(__file__).parent.parent / "examples" / "demo"
    source = packed if packed.is_dir() else beside
    if not source.is_dir():
        raise DataUnfit("the demo river is not installed", "examples/demo of the checkout", "install the package again")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for item in source.iterdir():
            if item.name != "truth.json" and item.is_file():
                (folder / item.name).write_bytes(item.read_bytes())
        if day_kind != "ordinary":
            _other_evening(folder / "gauge.csv", day_kind)
    except OSError as error:
        raise NotWritten(
            f"the demo river could not be written ({error.strerror})",
            "a folder that may be written to",
            "choose another with --out",
            where=str(folder),
        ) from error
    return folder, DEMO_NOW


def _other_evening(gauge: Path, day_kind: str) -> None:
    """Put another kind of evening in place of the last two days of the demo gauge."""
    packed = files("planner") / "demo_days"
    days = packed if packed.is_dir() else Path(__file__).parent.parent / "examples" / "demo-days"
    source = days / f"{day_kind}.csv"
    if not source.is_file():
        raise UsageMistake(f"demo day {day_kind!r}", "ordinary, rising or flood", "take one of them")
    rows = source.read_text(encoding="utf-8").splitlines()
    first = rows[1].split(",", 1)[0]
    before = [row for row in gauge.read_text(encoding="utf-8").splitlines() if row.split(",", 1)[0] != first]
    cut = next(i for i, row in enumerate(before) if row[:1].isdigit() and row.split(",", 1)[0] > first)
    gauge.write_text("\n".join([*before[:cut], *rows[1:]]) + "\n", encoding="utf-8")


def plan_folder(
    folder: Path,
    *,
    day: str = "tomorrow",
    start: str = "08:00",
    end: str = "16:00",
    level: str | None = None,
    replies: tuple[Path, ...] = (),
    now: str | None = None,
    units: str | None = None,
    out: Path | None = None,
    learning: bool = True,
) -> Written:
    """Plan a day for a river folder and write page, ``plan.json``, ``spots.csv`` and ``spots.gpx``.

    Parameters
    ----------
    folder : Path
        The river folder.
    day, start, end, level, now
        As `planner.plan.ask.request` reads them.
    replies : tuple of Path
        Recorded gauge replies in place of the network.
    units : str, optional
        ``us`` or ``metric``; the river's own when not given.
    out : Path, optional
        Where to write; ``FOLDER/plans/DAY`` when not given.
    learning : bool
        False leaves the log aside.

    Raises
    ------
    PlumbrunError
        Nothing is written when the plan cannot be made.
    """
    from planner.river import read_river

    river = read_river(folder)
    asked = request(
        river.timezone, day=day, start=start, end=end, now=now, level=level, replies=replies, learning=learning
    )
    return write_plan(river, asked, units or river.units, out)


def write_plan(river: River, asked: Request, units: str, out: Path | None = None) -> Written:
    """Plan a river that is read already, and write page, ``plan.json`` and the exports.

    Parameters
    ----------
    river : River
        The river folder as read.
    asked : Request
        Day, window, clock and where readings come from.
    units : str
        ``us`` or ``metric``.
    out : Path, optional
        Where to write; ``plans/DAY`` in the river's folder when not given.

    Raises
    ------
    PlumbrunError
        Nothing is written when the plan cannot be made.
    """
    from planner.files import plain
    from planner.plan.compute import compute_plan

    river = replace(river, units=units)  # one unit a quantity, in every sentence
    plan = plain(compute_plan(river, asked, units))
    return keep_plan(plan, river, units, Path(out) if out is not None else _of_day(river, asked))


def _of_day(river: River, asked: Request) -> Path:
    return Path(river.folder) / "plans" / asked.day.isoformat()


def keep_plan(plan: dict[str, Any], river: River, units: str, target: Path) -> Written:
    """Write a plan that is made already as page, ``plan.json`` and the exports.

    Parameters
    ----------
    plan : dict
        As in ``plan.json``; unknown is None.
    river : River
        The folder that it was made from.
    units : str
        ``us`` or ``metric``.
    target : Path
        Where to write.
    """
    import orjson

    from planner.files import write_whole
    from planner.page import build_page, spots_csv, spots_gpx, summary
    from planner.page.cap import cautions_cap
    from planner.page.ical import day_ical

    made: dict[str, str | bytes] = {
        "plan.json": orjson.dumps(plan, option=orjson.OPT_INDENT_2),
        "spots.csv": spots_csv(plan, river),
        "spots.gpx": spots_gpx(plan, river),
        "cautions.cap.xml": cautions_cap(plan, river),
        "day.ics": day_ical(plan, river, units),
        "plan.html": build_page(plan, river, units),
    }
    try:
        target.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise NotWritten(
            f"the folder could not be made ({error.strerror})",
            "a folder that may be written to",
            "choose another with --out",
            where=str(target),
        ) from error
    for name, content in made.items():
        write_whole(target / name, content)
    return Written(plan, (target / "plan.html").resolve(), summary(plan, units))


def flow_report(
    folder: Path,
    run_id: str,
    *,
    discharge: str | None = None,
    level: str | None = None,
    replies: tuple[Path, ...] = (),
    now: str | None = None,
) -> dict[str, Any]:
    """Depth and current of one run, with the keys of a run in ``plan.json``."""
    from planner.plan.single import run_at
    from planner.river import read_river

    if discharge is not None and level is not None:
        raise UsageMistake("both --discharge and --level are given", "one of them", "leave one out")
    river: River = read_river(folder)
    river.run(run_id)
    at = moment(now, river.timezone)
    return run_at(river, run_id, asked_level(discharge if discharge is not None else level), at, tuple(replies))


def flow_text(report: dict[str, Any], folder: Path, units: str | None) -> str:
    """A flow report for a person."""
    from planner.caution import standing_words
    from planner.flow.survey_words import survey_words

    shown = units or report["units"]
    speed = [show(report[f"velocity_{name}_m_s"], "speed", shown) for name in ("used", "low", "high")]
    lines = [
        f"{report['name'] or report['id']}: an estimate for the reach. {standing_words()}",
        f"  caution             {report['caution']['label']}; {report['caution']['assessed']} of "
        f"{report['caution']['checks']} checks could be made, wading and local limits are held by the plan",
        f"  gauge               {show(report['stage_m'], 'level', shown)}, "
        f"{show(report['discharge_m3s'], 'discharge', shown)}",
        f"  level of the run    {_about_reference(report['level_m'], shown)}",
        f"  depth               mean {show(report['mean_depth_m'], 'depth', shown)}, "
        f"deepest {show(report['max_depth_m'], 'depth', shown)}",
        f"  current             {speed[0]} ({speed[1]} to {speed[2]})",
        f"    by Manning        {show(report['velocity_manning_m_s'], 'speed', shown)} with n {_plain(report['n'])}",
        f"    by continuity     {show(report['velocity_continuity_m_s'], 'speed', shown)}",
        f"    ratio of the two  {_plain(report['velocity_ratio'])}",
        f"  soundings           {report['soundings']}, bed error about {show(report['bed_error_m'], 'depth', shown)}",
    ]
    lines.extend(f"  {sentence}" for sentence in survey_words(report["survey"], shown))
    lines.extend(f"  note: {limit}" for limit in report["limits"])
    return "\n".join(lines)


def _about_reference(level: float, units: str) -> str:
    if not math.isfinite(level):
        return "unknown"
    return f"{show(abs(level), 'level', units)} {'above' if level >= 0 else 'below'} its reference survey"


def _plain(value: float | None) -> str:
    return "unknown" if value is None or not math.isfinite(value) else f"{value:.3g}"
