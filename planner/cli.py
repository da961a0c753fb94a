"""The commands. Data go to stdout, messages to stderr; heavy imports wait until a command needs them."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from planner import __version__
from planner.errors import PlumbrunError, RiverFolderUnfit

if TYPE_CHECKING:
    from datetime import datetime

__all__ = ["main"]

# Many small systems are solved, none large: one thread is quicker than several that wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

_NOW = click.option("--now", metavar="ISO8601", help="Take this moment as now, e.g. 2026-06-12T18:00-05:00.")
_REPLY = click.option(
    "--gauge-reply",
    "replies",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Read a recorded service reply in place of the network; may be given several times.",
)
_JSON = click.option("--json", "as_json", is_flag=True, help="Write JSON (SI units) to stdout for a machine.")
_UNITS = click.option("--units", type=click.Choice(["us", "metric"]), help="Units to show; the river's own by default.")
_LEARNING = click.option(
    "--learning/--no-learning", default=True, show_default=True, help="Let log.csv correct lines and spots, or not."
)
_FOLDER = click.argument("folder", type=click.Path(path_type=Path))


def _guarded(command: Callable) -> Callable:
    """Turn every error into a message on stderr and the design's exit code."""

    @wraps(command)
    def run(*args: Any, **kwargs: Any) -> None:
        try:
            command(*args, **kwargs)
        except PlumbrunError as error:
            if isinstance(error, RiverFolderUnfit) and error.findings:
                _say_findings(error.findings)
            click.echo(f"plumbrun: {error}", err=True)
            sys.exit(error.exit_code)
        except (click.ClickException, click.exceptions.Exit, click.Abort, BrokenPipeError):
            raise
        except Exception as error:
            if os.environ.get("PLUMBRUN_TRACEBACK"):
                raise
            click.echo(
                f"plumbrun: a mistake in the program itself ({type(error).__name__}: {error}). "
                "Nothing was half-written. Run again with PLUMBRUN_TRACEBACK=1 and report what it prints.",
                err=True,
            )
            sys.exit(1)

    return run


def _say_findings(findings: Any) -> None:
    for finding in findings:
        click.echo(str(finding), err=True)


def _say_json(value: Any) -> None:
    import orjson

    from planner.files import plain

    click.echo(orjson.dumps(plain(value), option=orjson.OPT_INDENT_2).decode())


def _moment(now: str | None, zone: str = "UTC") -> datetime:
    from planner.evening import moment

    return moment(now, zone)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="plumbrun")
def main() -> None:
    """Plan a day on the river with sinking lines: level, current, spots, line, fly and countdown.

    Cautions come first and are estimates; no output says that water is fit to use. What local authorities, posted
    closures and licensed guides say, and what you see at the water, decide.
    """


@main.command()
@click.option("--out", type=click.Path(path_type=Path), default=Path("plumbrun-demo"), show_default=True)
@click.option(
    "--day-kind",
    type=click.Choice(["ordinary", "rising", "flood"]),
    default="ordinary",
    show_default=True,
    help="Which evening of the invented gauge: after a dry spell, after rain, or in flood.",
)
@_UNITS
@_guarded
def demo(out: Path, day_kind: str, units: str | None) -> None:
    """Write the invented demo river folder and the plan of its next day; no network is used."""
    from planner.evening import plan_folder, unpack_demo

    folder, now = unpack_demo(out, day_kind)
    written = plan_folder(folder, now=now, day="tomorrow", units=units, out=out / "plan")
    click.echo(written.summary)
    click.echo(f"River folder: {folder}", err=True)
    click.echo(f"Page to take along: {written.page}")


@main.command()
@_FOLDER
@click.option("--day", default="tomorrow", show_default=True, metavar="today|tomorrow|YYYY-MM-DD")
@click.option("--from", "start", default="08:00", show_default=True, metavar="HH:MM", help="When you put in.")
@click.option("--to", "end", default="16:00", show_default=True, metavar="HH:MM", help="When you take out.")
@click.option("--level", metavar="QUANTITY", help="Gauge level or discharge to plan with, e.g. '2.4 ft' or '850 cfs'.")
@_REPLY
@_NOW
@_UNITS
@click.option("--out", type=click.Path(path_type=Path), help="Folder to write to; FOLDER/plans/DAY by default.")
@_LEARNING
@_JSON
@_guarded
def plan(folder: Path, replies: tuple[Path, ...], now: str | None, as_json: bool, **options: Any) -> None:
    """Read the gauge, carry the soundings to the day's level and write the page for the day."""
    from planner.evening import plan_folder

    written = plan_folder(folder, now=now, replies=replies, **options)
    if as_json:
        _say_json(written.plan)
        click.echo(f"Page to take along: {written.page}", err=True)
    else:
        click.echo(written.summary)
        click.echo(f"Page to take along: {written.page}")


@main.command()
@click.argument("station")
@click.option("--days", type=click.IntRange(1, 120), default=7, show_default=True, help="How far back to show.")
@click.option(
    "--day", default=None, metavar="today|tomorrow|YYYY-MM-DD", help="Day of the trip; the next 24 h without."
)
@click.option("--from", "start", default="08:00", show_default=True, metavar="HH:MM", help="First hour of the trip.")
@click.option("--to", "end", default="16:00", show_default=True, metavar="HH:MM", help="Last hour of the trip.")
@click.option("--zone", default="UTC", show_default=True, help="Zone of the hours, such as America/Chicago.")
@click.option("--regulated", is_flag=True, help="Water is let go above the gauge: a wider range, no recession.")
@click.option("--forecast", "link", default="", metavar="noaa:ID", help="The forecast gauge at the same place.")
@_REPLY
@_NOW
@_UNITS
@_JSON
@_guarded
def gauge(
    station: str,
    days: int,
    day: str | None,
    start: str,
    end: str,
    zone: str,
    regulated: bool,
    link: str,
    replies: tuple[Path, ...],
    now: str | None,
    units: str | None,
    as_json: bool,
) -> None:
    """Show what a gauge reads, how old that is and where it is heading. STATION is e.g. usgs:01541000."""
    from planner.gaugeview import gauge_report, gauge_text, trip_window

    at = _moment(now, zone)
    window = trip_window(at, zone, day, start, end) if day else None
    report = gauge_report(
        station, days=days, now=at, replies=replies, window=window, regulated=regulated, link=link, zone=zone
    )
    if as_json:
        _say_json(report)
    else:
        click.echo(gauge_text(report, station, units, zone))


@main.group()
def gauges() -> None:
    """Find gauges."""


@gauges.command()
@click.argument("point", metavar="LAT,LON")
@click.option("--service", default="usgs", show_default=True, help="usgs, noaa, canada, england or france.")
@click.option("--within", "within_km", type=click.FloatRange(0.1, 300), default=25.0, show_default=True, help="[km]")
@click.option("--gauge-reply", "reply", type=click.Path(path_type=Path), help="Read a recorded station list.")
@_NOW
@_JSON
@_guarded
def near(point: str, service: str, within_km: float, reply: Path | None, now: str | None, as_json: bool) -> None:
    """List stations around a point, with what they measure and how fresh they are."""
    from planner.gaugeview import near_report, near_text

    rows = near_report(point, service, within_km, _moment(now), reply)
    if as_json:
        _say_json(rows)
    else:
        click.echo(near_text(rows, service, within_km))


@main.command()
@_FOLDER
@_guarded
def check(folder: Path) -> None:
    """Check every file of a river folder and say what to mend; exits with 4 when something must be mended."""
    from planner.river import check_river

    findings = check_river(folder)
    _say_findings(findings)
    errors = sum(finding.level == "error" for finding in findings)
    rest = len(findings) - errors
    click.echo(f"{folder}: {errors} to mend, {rest} to know.")
    sys.exit(4 if errors else 0)


@main.command()
@_FOLDER
@click.option("--run", "run_id", required=True, metavar="ID", help="The run, by its id in runs.geojson.")
@click.option("--discharge", metavar="QUANTITY", help="Discharge at the gauge, e.g. '850 cfs'.")
@click.option("--svg", type=click.Path(path_type=Path), help="Also draw the run to this file.")
@click.option("--level", metavar="QUANTITY", help="Level at the gauge, e.g. '2.4 ft'.")
@_REPLY
@_NOW
@_UNITS
@_JSON
@_guarded
def flow(folder: Path, run_id: str, as_json: bool, units: str | None, svg: Path | None, **options: Any) -> None:
    """Show depth and current of one run at a gauge level or discharge (the last reading when none is given)."""
    from planner.evening import flow_report, flow_text

    report = flow_report(folder, run_id, **options)
    if as_json:
        _say_json(report)
    else:
        click.echo(flow_text(report, folder, units))
    if svg is not None:
        from planner.surveying import flow_drawing

        flow_drawing(folder, run_id, svg, units=units, **options)
        click.echo(f"Drawing: {svg}", err=True)


@main.command()
@_FOLDER
@click.argument("files", nargs=-1, required=True, metavar="FILE...", type=click.Path(path_type=Path))
@click.option("--dry-run", is_flag=True, help="Read and judge the files; write nothing.")
@click.option("--transducer-depth", metavar="QUANTITY", help="Transducer below the surface, e.g. '0.5 ft'.")
@click.option("--depth-unit", type=click.Choice(["ft", "m", "fathom", "cm"]), help="Of depths where a file names none.")
@click.option("--timezone", metavar="NAME", help="Of times without an offset; the river's own by default.")
@click.option(
    "--column", "columns", multiple=True, metavar="NAME=HEADING", help="Heading of a CSV, e.g. lon=Longitude."
)
@_NOW
@_UNITS
@_JSON
@_guarded
def soundings(
    folder: Path, files: tuple[Path, ...], as_json: bool, units: str | None, now: str | None, **options: Any
) -> None:
    """Read depths from CSV, GPX, GeoJSON, NMEA 0183 logs or a lead-line table and add the new ones to the folder."""
    from planner.surveying import soundings_report, soundings_text

    report = soundings_report(folder, files, now=_moment(now), **options)
    if as_json:
        _say_json(report)
    else:
        click.echo(soundings_text(report, units))


@main.command()
@click.option("--class", "bed_class", metavar="NAME", help="A bed class; without any option all are listed.")
@click.option("--radius", metavar="QUANTITY", help="Hydraulic radius, about the mean depth, e.g. '3 ft'.")
@click.option("--slope", type=click.FloatRange(0, 0.2, min_open=True), help="Slope of the water surface [m/m].")
@click.option("--d50", metavar="QUANTITY", help="Median stone size, e.g. '40 mm'.")
@click.option("--d84", metavar="QUANTITY", help="Stone size that 84 % of the bed are finer than.")
@click.option("--build-up", metavar="LEVELS", help="Six levels for Cowan's method, parted by commas.")
@click.option("--part", "parts", multiple=True, metavar="PART", help="'CLASS or n,width,mean depth' of a part.")
@_JSON
@_guarded
def roughness(as_json: bool, **options: Any) -> None:
    """Explain Manning's n and compute it from bed class, build-up, stones, slope or parts of a section."""
    from planner.surveying import roughness_report, roughness_text

    report = roughness_report(**options)
    if as_json:
        _say_json(report)
    else:
        click.echo(roughness_text(report))


@main.command()
@click.option("--depth", default="8 ft", show_default=True, help="Depth of the water.")
@click.option("--current", default="3 ft/s", show_default=True, help="Depth-averaged current; '0 ft/s' for a lake.")
@click.option("--grains", type=float, default=200.0, show_default=True, help="Weight of the head [grains].")
@click.option("--head", default="26 ft", show_default=True, help="Length of the head.")
@click.option("--sink", type=float, default=6.0, show_default=True, help="Sink rate [inches per second].")
@click.option("--tip", default=None, help="Length of a sinking tip; without it the whole head sinks.")
@click.option("--running", type=click.Choice(["floating", "sinking"]), default="floating", show_default=True)
@click.option("--fly-drag", type=click.Choice(["high", "medium", "low"]), default="medium", show_default=True)
@click.option("--fly-weighting", type=click.Choice(["none", "light", "heavy"]), default="light", show_default=True)
@click.option("--cast", default="50 ft", show_default=True, help="Horizontal length of the cast.")
@click.option("--angle", type=click.FloatRange(0, 180), default=45.0, show_default=True, help="From downstream [deg].")
@click.option("--countdown", type=click.FloatRange(0, 120), default=3.0, show_default=True, help="Seconds before it.")
@click.option("--fed/--held", default=False, help="Feed slack during the countdown, or hold the line (default).")
@click.option("--strip", default="1.5 ft/s", show_default=True, help="Mean strip speed, pauses included.")
@click.option("--stance", type=click.Choice(["wading", "bank", "anchored", "drifting"]), default="anchored")
@_UNITS
@_JSON
@_guarded
def swim(as_json: bool, units: str | None, **options: Any) -> None:
    """Let one line and fly swim through given water and show how deep they go."""
    from planner.sink.report import swim_report, swim_text

    report = swim_report(**options)
    if as_json:
        _say_json(report)
    else:
        click.echo(swim_text(report, units or "us"))


@main.command()
@_FOLDER
@click.argument("spot")
@click.option("--day", default="tomorrow", show_default=True, metavar="today|tomorrow|YYYY-MM-DD")
@click.option("--from", "start", default="08:00", show_default=True, metavar="HH:MM", help="When you put in.")
@click.option("--to", "end", default="16:00", show_default=True, metavar="HH:MM", help="When you take out.")
@click.option("--level", metavar="QUANTITY", help="Gauge level or discharge to explain, e.g. '2.4 ft' or '850 cfs'.")
@_REPLY
@_NOW
@_UNITS
@_LEARNING
@_JSON
@_guarded
def why(folder: Path, spot: str, replies: tuple[Path, ...], as_json: bool, units: str | None, **options: Any) -> None:
    """Show how one spot's answer comes about, from gauge to countdown, each number with unit, origin and spread."""
    from planner.explain import why_report, why_text

    report = why_report(folder, spot, replies=replies, units=units, **options)
    if as_json:
        _say_json(report)
    else:
        click.echo(why_text(report))


@main.command()
@_FOLDER
@click.argument("files", nargs=-1, metavar="[FILE]...", type=click.Path(path_type=Path))
@click.option("--spot", help="The spot, by its id; without it and without a file you are asked.")
@click.option("--line", default="", help="The line, by its name in the box.")
@click.option("--fly", default="", help="The fly, by its name in the box.")
@click.option("--countdown", type=click.FloatRange(0, 600), help="Seconds counted before the first strip.")
@click.option("--mode", type=click.Choice(["held", "fed"]), default=None, help="Line held or fed in the count.")
@click.option("--strip", default="", metavar="QUANTITY", help="Mean strip speed, e.g. '1.5 ft/s'.")
@click.option("--outcome", type=click.Choice(["clean", "touched", "hung"]), default="clean", show_default=True)
@click.option("--caught", type=click.IntRange(0, 1000), default=0, help="Fish.")
@click.option("--at", metavar="ISO8601", help="When; now by default.")
@click.option("--level", default="", metavar="QUANTITY", help="Gauge level; what the gauge read then by default.")
@click.option("--note", default="")
@_NOW
@_JSON
@_guarded
def log(
    folder: Path, files: tuple[Path, ...], spot: str | None, mode: str | None, now: str | None, as_json: bool,
    **options: Any,
) -> None:  # fmt: skip
    """Add to the log: one entry by options or by questions, or files saved from the page. The next plan learns."""
    from planner.logbook import asked_entry, entry_of, log_entries, log_text
    from planner.river import read_river

    river = read_river(folder)
    clock = _moment(now, river.timezone)
    rows = []
    if spot is not None:
        rows.append(entry_of(river, clock, spot=spot, mode=mode or "", **options))
    elif not files:

        def ask(text: str, *, default: str, choices: list[str] | None = None) -> Any:
            if not choices:
                return click.prompt(text, default=default, err=True)
            for number, name in enumerate(choices, 1):
                click.echo(f"  {number}  {name}", err=True)
            first = choices.index(default) + 1
            return choices[click.prompt(text, default=first, type=click.IntRange(1, len(choices)), err=True) - 1]

        rows.append(asked_entry(river, clock, ask))
    report = log_entries(folder, rows, files)
    if as_json:
        _say_json(report)
    else:
        click.echo(log_text(report))


@main.command()
@_FOLDER
@click.option("--plan", type=click.Path(path_type=Path), help="Folder of the plan; the river's latest by default.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder to write to; FOLDER/floatplan by default.")
@_UNITS
@_guarded
def floatplan(folder: Path, plan: Path | None, out: Path | None, units: str | None) -> None:
    """Write the float plan to leave with somebody ashore; personal data stay in FOLDER/floatplan.toml."""
    from planner.ashore import leave_ashore

    paper = leave_ashore(folder, plan=plan, out=out, units=units)
    click.echo(f"First call, to the party, by {paper.first_call}; second, to the authority, by {paper.second_call}.")
    click.echo(f"To print: {paper.page.resolve()}")
    click.echo(f"To send:  {paper.text.resolve()}")
    if paper.template is not None:
        click.echo(f"Fill in {paper.template} and run this again; it is kept out of version control.", err=True)
    if paper.blanks:
        click.echo(f"{len(paper.blanks)} lines are left to fill in by hand.", err=True)
    click.echo("Leave it with a reliable person, tell them of changes, and tell them when you are off.")


@main.command()
@_FOLDER
@click.option("--every", default="15m", show_default=True, metavar="PERIOD", help="How often to look, from 5m to 12h.")
@click.option("--day", default="tomorrow", show_default=True, metavar="today|tomorrow|YYYY-MM-DD")
@click.option("--from", "start", default="08:00", show_default=True, metavar="HH:MM", help="The launch.")
@click.option("--to", "end", default="16:00", show_default=True, metavar="HH:MM", help="When you take out.")
@click.option("--until", metavar="ISO8601", help="Stop watching earlier than the launch.")
@click.option("--count", type=click.IntRange(1, 1000), help="Looks at most.")
@click.option(
    "--run", "command", metavar="COMMAND", help="Run this when something changed; see PLUMBRUN_CHANGES in it."
)
@_REPLY
@click.option("--now", metavar="ISO8601", help="Rehearse from this moment: the hours pass at once.")
@_UNITS
@_guarded
def watch(
    folder: Path, every: str, until: str | None, count: int | None, command: str | None, now: str | None, **asked: Any
) -> None:
    """Read the gauge again until the launch and say when a caution level or an answer changes.

    Ends with 0 when nothing changed, 5 when an answer changed or a level fell, 6 when a level rose, 3 when nothing
    could be read. A silent gauge ends nothing: what was raised stands until a newer good reading clears it.
    """
    from planner.watch import launch, period, run_watch, stopwatch, watched_plan
    from planner.watch import watch as watching

    pause = period(every)
    clock, sleep = stopwatch(None if now is None else _moment(now))
    ends, asked["day"], zone = launch(folder, asked["day"], asked["start"], asked["end"], clock())
    if until is not None:
        ends = min(ends, _moment(until, zone))
    looks = watching(watched_plan(folder, asked), every=pause, until=ends, clock=clock, sleep=sleep, count=count)
    sys.exit(
        run_watch(looks, say=click.echo, complain=lambda line: click.echo(line, err=True), zone=zone, command=command)
    )
