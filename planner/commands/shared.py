"""What every command shares: its options, its way of ending in a message, and JSON on stdout."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from planner.errors import PlumbrunError, RiverFolderUnfit

if TYPE_CHECKING:
    from datetime import datetime

__all__ = [
    "FOLDER",
    "JSON",
    "LEARNING",
    "NOW",
    "REPLY",
    "UNITS",
    "guarded",
    "read_moment",
    "say_findings",
    "say_json",
    "say_text",
]

NOW = click.option("--now", metavar="ISO8601", help="Take this moment as now, e.g. 2026-06-12T18:00-05:00.")
REPLY = click.option(
    "--gauge-reply",
    "replies",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Read a recorded service reply in place of the network; may be given several times.",
)
JSON = click.option("--json", "as_json", is_flag=True, help="Write JSON (SI units) to stdout for a machine.")
UNITS = click.option("--units", type=click.Choice(["us", "metric"]), help="Units to show; the river's own by default.")
LEARNING = click.option(
    "--learning/--no-learning", default=True, show_default=True, help="Let log.csv correct lines and spots, or not."
)
FOLDER = click.argument("folder", type=click.Path(path_type=Path))


def guarded(command: Callable) -> Callable:
    """Turn every error into a message on stderr and the design's exit code."""

    @wraps(command)
    def run(*args: Any, **kwargs: Any) -> None:
        try:
            command(*args, **kwargs)
        except PlumbrunError as error:
            if isinstance(error, RiverFolderUnfit) and error.findings:
                first = next((finding for finding in error.findings if finding.level == "error"), None)
                say_findings(finding for finding in error.findings if finding is not first)  # the message says that one
            say_text(f"plumbrun: {error}", err=True)
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


def say_findings(findings: Any) -> None:
    """Write what a check found to stderr, one line each."""
    for finding in findings:
        say_text(str(finding), err=True)


def say_text(text: str, err: bool = False) -> None:
    """Write text for a person; no control sign of a name in the folder reaches the terminal."""
    click.echo("".join(sign if sign.isprintable() or sign == "\n" else " " for sign in text), err=err)


def say_json(value: Any) -> None:
    """Write a record to stdout as JSON; unknown is null."""
    import orjson

    from planner.files import plain

    click.echo(orjson.dumps(plain(value), option=orjson.OPT_INDENT_2).decode())


def read_moment(now: str | None, zone: str = "UTC") -> datetime:
    """The moment called now, as `planner.plan.ask.moment` reads it."""
    from planner.evening import moment

    return moment(now, zone)
