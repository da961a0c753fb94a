"""The commands of the evening and the morning: the plan, its explanation, the paper left ashore, the watch."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from planner.commands.shared import FOLDER, JSON, LEARNING, NOW, REPLY, UNITS, guarded, read_moment, say_json, say_text

__all__ = ["demo", "floatplan", "plan", "watch", "why"]


@click.command()
@click.option("--out", type=click.Path(path_type=Path), default=Path("plumbrun-demo"), show_default=True)
@click.option(
    "--day-kind",
    type=click.Choice(["ordinary", "rising", "flood"]),
    default="ordinary",
    show_default=True,
    help="Which evening of the invented gauge: after a dry spell, after rain, or in flood.",
)
@UNITS
@guarded
def demo(out: Path, day_kind: str, units: str | None) -> None:
    """Write the invented demo river folder and the plan of its next day; no network is used."""
    from planner.evening import plan_folder, unpack_demo

    folder, now = unpack_demo(out, day_kind)
    written = plan_folder(folder, now=now, day="tomorrow", units=units, out=out / "plan")
    click.echo(written.summary)
    click.echo(f"River folder: {folder}", err=True)
    click.echo(f"Page to take along: {written.page}")


@click.command()
@FOLDER
@click.option("--day", default="tomorrow", show_default=True, metavar="today|tomorrow|YYYY-MM-DD")
@click.option("--from", "start", default="08:00", show_default=True, metavar="HH:MM", help="When you put in.")
@click.option("--to", "end", default="16:00", show_default=True, metavar="HH:MM", help="When you take out.")
@click.option("--level", metavar="QUANTITY", help="Gauge level or discharge to plan with, e.g. '2.4 ft' or '850 cfs'.")
@REPLY
@NOW
@UNITS
@click.option("--out", type=click.Path(path_type=Path), help="Folder to write to; FOLDER/plans/DAY by default.")
@LEARNING
@JSON
@guarded
def plan(folder: Path, replies: tuple[Path, ...], now: str | None, as_json: bool, **options: Any) -> None:
    """Read the gauge, carry the soundings to the day's level and write the page for the day."""
    from planner.evening import plan_folder

    written = plan_folder(folder, now=now, replies=replies, **options)
    if as_json:
        say_json(written.plan)
        click.echo(f"Page to take along: {written.page}", err=True)
    else:
        click.echo(written.summary)
        click.echo(f"Page to take along: {written.page}")


@click.command()
@FOLDER
@click.argument("spot")
@click.option("--day", default="tomorrow", show_default=True, metavar="today|tomorrow|YYYY-MM-DD")
@click.option("--from", "start", default="08:00", show_default=True, metavar="HH:MM", help="When you put in.")
@click.option("--to", "end", default="16:00", show_default=True, metavar="HH:MM", help="When you take out.")
@click.option("--level", metavar="QUANTITY", help="Gauge level or discharge to explain, e.g. '2.4 ft' or '850 cfs'.")
@REPLY
@NOW
@UNITS
@LEARNING
@JSON
@guarded
def why(folder: Path, spot: str, replies: tuple[Path, ...], as_json: bool, units: str | None, **options: Any) -> None:
    """Show how one spot's answer comes about, from gauge to countdown, each number with unit, origin and spread."""
    from planner.explain import why_report, why_text

    report = why_report(folder, spot, replies=replies, units=units, **options)
    if as_json:
        say_json(report)
    else:
        say_text(why_text(report))


@click.command()
@FOLDER
@click.option("--plan", type=click.Path(path_type=Path), help="Folder of the plan; the river's latest by default.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder to write to; FOLDER/floatplan by default.")
@UNITS
@guarded
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


@click.command()
@FOLDER
@click.option("--every", default="15m", show_default=True, metavar="PERIOD", help="How often to look, from 5m to 12h.")
@click.option("--day", default="tomorrow", show_default=True, metavar="today|tomorrow|YYYY-MM-DD")
@click.option("--from", "start", default="08:00", show_default=True, metavar="HH:MM", help="The launch.")
@click.option("--to", "end", default="16:00", show_default=True, metavar="HH:MM", help="When you take out.")
@click.option("--until", metavar="ISO8601", help="Stop watching earlier than the launch.")
@click.option("--count", type=click.IntRange(1, 1000), help="Looks at most.")
@click.option(
    "--run", "command", metavar="COMMAND", help="Run this when something changed; see PLUMBRUN_CHANGES in it."
)
@REPLY
@click.option("--now", metavar="ISO8601", help="Rehearse from this moment: the hours pass at once.")
@UNITS
@guarded
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
    clock, sleep = stopwatch(None if now is None else read_moment(now))
    ends, asked["day"], zone, units = launch(folder, asked["day"], asked["start"], asked["end"], clock())
    if until is not None:
        ends = min(ends, read_moment(until, zone))
    look, shown = watched_plan(folder, asked), asked.get("units") or units
    looks = watching(look, every=pause, until=ends, clock=clock, sleep=sleep, count=count, units=shown)
    sys.exit(run_watch(looks, say=say_text, complain=lambda line: say_text(line, err=True), zone=zone, command=command))
