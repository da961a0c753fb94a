"""The commands of line and fly, and of what happened on the water."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from planner.commands.shared import FOLDER, JSON, NOW, UNITS, guarded, read_moment, say_json

__all__ = ["log", "swim"]


@click.command()
@click.option("--depth", default="8 ft", show_default=True, help="Depth of the water.")
@click.option("--current", default="3 ft/s", show_default=True, help="Depth-averaged current; '0 ft/s' for a lake.")
@click.option("--grains", type=float, default=200.0, show_default=True, help="Weight of the head [grains].")
@click.option("--head", default="26 ft", show_default=True, help="Length of the head.")
@click.option("--sink", type=float, default=5.0, show_default=True, help="Sink rate [inches per second].")
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
@UNITS
@JSON
@guarded
def swim(as_json: bool, units: str | None, **options: Any) -> None:
    """Let one line and fly swim through given water and show how deep they go."""
    from planner.sink.report import swim_report, swim_text

    report = swim_report(**options)
    if as_json:
        say_json(report)
    else:
        click.echo(swim_text(report, units or "us"))


@click.command()
@FOLDER
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
@NOW
@JSON
@guarded
def log(
    folder: Path, files: tuple[Path, ...], spot: str | None, mode: str | None, now: str | None, as_json: bool,
    **options: Any,
) -> None:  # fmt: skip
    """Add to the log: one entry by options or by questions, or files saved from the page. The next plan learns."""
    from planner.logbook import asked_entry, entry_of, log_entries, log_text
    from planner.river import read_river

    river = read_river(folder)
    clock = read_moment(now, river.timezone)
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
        say_json(report)
    else:
        click.echo(log_text(report))
