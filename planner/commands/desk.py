"""The command that opens the desk."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import click

from planner.commands.shared import NOW, REPLY, guarded

__all__ = ["desk"]


@click.command()
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option("--port", type=click.IntRange(0, 65535), default=0, metavar="N", help="Port; a free one by default.")
@click.option("--browser/--no-browser", default=True, help="Open the browser, or only print the address.")
@REPLY
@NOW
@guarded
def desk(folder: Path | None, port: int, browser: bool, replies: tuple[Path, ...], now: str | None) -> None:
    """Draw runs and spots, drop in soundings and see the plan, on a page of this computer only.

    Without FOLDER it asks five questions and makes a river folder here. Each edit is saved at once and can be undone.
    Stop it with Ctrl-C.
    """
    import webbrowser

    from planner.desk.desk import Clock
    from planner.desk.serve import serve
    from planner.plan.ask import moment

    if now is not None:
        moment(now, "UTC")  # a clock that cannot be read is said now, not at the first plan

    def say(address: str) -> None:
        click.echo(f"The desk is open at {address}")
        click.echo("Keep this address to yourself; it opens your folder. Ctrl-C ends the desk.", err=True)

    with suppress(KeyboardInterrupt):
        serve(folder, port=port, clock=Clock(replies, now), say=say, opened=webbrowser.open if browser else None)
    click.echo("The desk is closed; every edit is in the folder.", err=True)
