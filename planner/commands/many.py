"""The command over many rivers."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from planner.commands.shared import JSON, LEARNING, NOW, REPLY, UNITS, guarded, read_moment, say_json

__all__ = ["fleet"]

_STAGES = {
    "looking": "Looking at the river folders",
    "reading": "Reading gauges and weather",
    "planning": "Planning",
}


class _Bars:
    """One bar on stderr for each stage, click's own; silent where stderr is no terminal."""

    def __init__(self) -> None:
        self._stage, self._done = "", 0
        self._bar: Any = None

    def __call__(self, stage: str, done: int, of: int) -> None:
        if stage != self._stage:
            self.close()
            self._stage, self._done = stage, 0
            self._bar = _bar(of, _STAGES[stage])
        if self._bar is not None:
            self._bar.update(done - self._done)
        self._done = done

    def close(self) -> None:
        """End the bar that is shown."""
        if self._bar is not None:
            self._bar.__exit__(None, None, None)
        self._bar = None


def _bar(of: int, label: str) -> Any:
    silent = not sys.stderr.isatty()
    return click.progressbar(length=of, label=label, file=sys.stderr, show_pos=True, hidden=silent).__enter__()


@click.command()
@click.argument("folders", nargs=-1, metavar="FOLDERS...", type=click.Path(path_type=Path))
@click.option(
    "--list", "listing", metavar="FILE", type=click.Path(path_type=Path), help="Text file with one river folder a line."
)
@click.option("--scheduler", metavar="ADDRESS", help="Plan on a running Dask cluster, such as tcp://host:8786.")
@click.option("--workers", type=click.IntRange(1, 512), help="Local processes; one per core by default.")
@click.option("--day", default="tomorrow", show_default=True, metavar="today|tomorrow|YYYY-MM-DD")
@click.option("--from", "start", default="08:00", show_default=True, metavar="HH:MM", help="When they put in.")
@click.option("--to", "end", default="16:00", show_default=True, metavar="HH:MM", help="When they take out.")
@REPLY
@NOW
@UNITS
@click.option("--out", type=click.Path(path_type=Path), default=Path("plumbrun-fleet"), show_default=True)
@LEARNING
@JSON
@guarded
def fleet(
    folders: tuple[Path, ...],
    listing: Path | None,
    scheduler: str | None,
    workers: int | None,
    now: str | None,
    out: Path,
    as_json: bool,
    **asked: Any,
) -> None:
    """Plan many rivers at once and write one page over all of them, the most cautious first.

    Each gauge is read once, however many rivers use it. A river that cannot be planned is named with its reason and
    stops none of the others. Ends with 0 when every river was planned and with 1 when some were not.
    """
    from planner.fleet import Order, listed_folders, run_fleet, write_fleet
    from planner.fleet.write import fleet_text, need_parquet

    need_parquet()
    named = listed_folders(folders, listing)
    replies = tuple(Path(reply).resolve() for reply in asked.pop("replies"))
    order = Order(now=read_moment(now), out=Path(out).resolve(), replies=replies, **asked)
    bars = _Bars()
    try:
        done = run_fleet(named, order, workers=workers, scheduler=scheduler, tell=bars)
    finally:
        bars.close()
    index = write_fleet(done, order)
    if as_json:
        say_json(
            [
                {"folder": str(one.folder), "failed": one.failed or None, "plan": one.place or None, **one.row}
                for one in done.outcomes
            ]
        )
    else:
        click.echo(fleet_text(done))
    click.echo(f"Index of all: {index}", err=as_json)
    sys.exit(1 if any(one.failed for one in done.outcomes) else 0)
