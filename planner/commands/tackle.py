"""The commands of line and fly, and of what happened on the water."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from planner.commands.shared import FOLDER, JSON, NOW, UNITS, guarded, read_moment, say_json, say_text

__all__ = ["calibrate", "log", "swim"]


@click.command()
@click.option("--depth", default="8 ft", show_default=True, help="Depth of the water, where the cast lands.")
@click.option("--near", default=None, metavar="QUANTITY", help="Depth at the rod tip: the bed slopes from there.")
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
@click.option("--held", "mode", flag_value="held", default=True, help="Hold the line during the countdown (default).")
@click.option("--fed", "mode", flag_value="fed", help="Feed slack during the countdown.")
@click.option("--mended", "mode", flag_value="mended", help="Mend the line on the surface up-current meanwhile.")
@click.option("--strip", default="1.5 ft/s", show_default=True, help="Mean strip speed, pauses included.")
@click.option("--pull", default=None, metavar="SECONDS", help="Length of one pull, e.g. '0.5 s'; with --pause.")
@click.option("--pause", default=None, metavar="SECONDS", help="Pause after each pull, e.g. '0.5 s'; steady without.")
@click.option("--lift-at", default=None, metavar="QUANTITY", help="Line out at which the rod tip starts to rise.")
@click.option("--tip-height", default=None, metavar="QUANTITY", help="Rod tip above the water; at it by default.")
@click.option("--stance", type=click.Choice(["wading", "bank", "anchored", "drifting"]), default="anchored")
@click.option("--bead", default=None, metavar="METAL SIZE", help="A bead on the fly, e.g. 'tungsten 3.3 mm'.")
@click.option(
    "--folder", type=click.Path(path_type=Path), help="A river folder whose tackle is swum, see --line, --fly."
)
@click.option("--line", "line_name", default=None, help="A line of that folder, by its name.")
@click.option("--fly", "fly_name", default=None, help="A fly of that folder, by its name.")
@click.option("--reach", default=None, metavar="QUANTITY", help="Also say which countdown reaches this depth.")
@click.option("--picture", type=click.Path(path_type=Path), help="Also draw the swim from the side: FILE.svg or .png.")
@UNITS
@JSON
@guarded
def swim(
    as_json: bool,
    units: str | None,
    picture: Path | None,
    folder: Path | None,
    line_name: str | None,
    fly_name: str | None,
    **options: Any,
) -> None:
    """Let one line and fly swim through given water and show how deep they go."""
    from planner.errors import UsageMistake
    from planner.sink.report import add_caption, swim_report, swim_text
    from planner.sink.sideview import draw_swim

    shown = units or "us"
    if folder is not None:
        river, line = _entry(folder, "line", line_name) if line_name else (None, None)
        river, fly = _entry(folder, "fly", fly_name) if fly_name else (river, None)
        if river is None:
            raise UsageMistake("--folder without --line or --fly", "one of them", "name a line or a fly of the folder")
        options["own"] = river.tackle, line, fly
    elif line_name or fly_name:
        raise UsageMistake("--line or --fly without --folder", "the folder that holds them", "add --folder")
    report = add_caption(swim_report(**options), shown)
    if picture is not None:
        draw_swim(report, shown, picture)
        click.echo(f"Picture: {picture}", err=True)
    if as_json:
        say_json(report)
    else:
        say_text(swim_text(report, shown))


@click.command()
@FOLDER
@click.argument("files", nargs=-1, metavar="[FILE]...", type=click.Path(path_type=Path))
@click.option("--spot", help="The spot, by its id; without it and without a file you are asked.")
@click.option("--line", default="", help="The line, by its name in the box.")
@click.option("--fly", default="", help="The fly, by its name in the box.")
@click.option("--countdown", type=click.FloatRange(0, 600), help="Seconds counted before the first strip.")
@click.option("--mode", type=click.Choice(["held", "fed", "mended"]), default=None, help="The line in the count.")
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
        say_text(log_text(report))


@click.group()
def calibrate() -> None:
    """Turn a stopwatch and a bucket or a pool into the sink rate of a line or a fly."""


FELL = click.option("--fell", required=True, metavar="QUANTITY", help="Depth that it fell, e.g. 1.5m.")
TIMES = click.option(
    "--in",
    "times",
    required=True,
    multiple=True,
    metavar="SECONDS",
    help="Time it took, e.g. 9.8s; once for each fall.",
)
INTO = click.option(
    "--folder", type=click.Path(path_type=Path), help="Write the result into this river folder's tackle.toml."
)
NAMED = click.option("--name", help="Which entry of tackle.toml it is; needed with --folder.")


@calibrate.command("line")
@click.option("--length", required=True, metavar="QUANTITY", help="Length of the piece timed, or of the whole head.")
@FELL
@TIMES
@click.option("--weight", metavar="QUANTITY", help="Weight of that piece, e.g. '60 grain'; gives its thickness too.")
@click.option("--water", default="20 C", show_default=True, metavar="QUANTITY", help="Temperature of the water.")
@INTO
@NAMED
@UNITS
@JSON
@guarded
def calibrate_line(folder: Path | None, name: str | None, as_json: bool, units: str | None, **options: Any) -> None:
    """Sink rate of a line from the time that a level piece took to fall.

    Cut or lay out a piece, wet it, hold it level just under still water, let go, stop at the bottom. Deeper and more
    often is better. A short piece falls faster than a whole head; what is printed is corrected for that, for the start
    and for the water's temperature.
    """
    from planner.sink.bucket import line_report

    _calibrated("line", line_report, folder, name, as_json, units, options)


@calibrate.command("fly")
@FELL
@TIMES
@click.option("--drag", type=click.Choice(["high", "medium", "low"]), default="medium", show_default=True)
@click.option("--weighting", type=click.Choice(["none", "light", "heavy"]), default="none", show_default=True)
@click.option("--weight", metavar="QUANTITY", help="Weight as weighed dry, e.g. '1.9 g'; wins over --weighting.")
@click.option("--length", metavar="QUANTITY", help="Length, e.g. '70 mm'.")
@INTO
@NAMED
@UNITS
@JSON
@guarded
def calibrate_fly(folder: Path | None, name: str | None, as_json: bool, units: str | None, **options: Any) -> None:
    """Sink rate and drag of a fly from the time that it took to fall, soaked, on slack tippet."""
    from planner.sink.bucket import fly_report

    _calibrated("fly", fly_report, folder, name, as_json, units, options)


def _calibrated(
    kind: str,
    make: Any,
    folder: Path | None,
    name: str | None,
    as_json: bool,
    units: str | None,
    options: dict[str, Any],
) -> None:
    """Report a timed fall, and write its sink rate into the folder's tackle file where one is named."""
    from planner.sink.bucket import calibrate_text

    written, entry, river = "", None, None
    if folder is not None:
        river, entry = _entry(folder, kind, name)
    report = make(entry=entry, **options)
    if river is not None:
        _write_rate(river, kind, entry, report["toml"]["sink_ips"])
        written = str(river.folder / "tackle.toml")
    report["written"] = written
    if as_json:
        say_json(report)
    else:
        say_text(calibrate_text(report, units or "us", written))


def _entry(folder: Path, kind: str, name: str | None) -> tuple[Any, Any]:
    """The river and its entry of that name in tackle.toml."""
    from planner.errors import UsageMistake
    from planner.river import read_river

    river = read_river(folder)
    if river.tackle.generic:
        raise UsageMistake(f"{folder} has no tackle.toml", "a file to write into", "write one, or leave out --folder")
    entries = river.tackle.lines if kind == "line" else river.tackle.flies
    entry = next((entry for entry in entries if entry.name == name), None)
    if entry is None:
        names = "; ".join(entry.name for entry in entries)
        raise UsageMistake(f"--name {name!r}" if name else "--folder without --name", f"one of: {names}", "name it")
    return river, entry


def _write_rate(river: Any, kind: str, entry: Any, sink_ips: float) -> None:
    """Rewrite tackle.toml with the entry's rate, everything else as it stands."""
    from dataclasses import replace

    from planner.river.writer import write_river

    new = (
        replace(entry, sink_ips=sink_ips)
        if kind == "line"
        else replace(entry, extra=entry.extra | {"sink_ips": sink_ips})
    )
    key = "lines" if kind == "line" else "flies"
    entries = tuple(new if old is entry else old for old in getattr(river.tackle, key))
    write_river(replace(river, tackle=replace(river.tackle, **{key: entries})))
