"""The command `plumbrun`. Data go to stdout, messages to stderr; heavy imports wait until a command needs them."""

from __future__ import annotations

import os

import click

from planner import __version__
from planner.commands import day, desk, many, river, tackle

__all__ = ["main"]

# Many small systems are solved, none large: one thread is quicker than several that wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="plumbrun")
def main() -> None:
    """Plan a day on the river with sinking lines: level, current, spots, line, fly and countdown.

    Cautions come first and are estimates; no output says that water is fit to use. What local authorities, posted
    closures and licensed guides say, and what you see at the water, decide.
    """


for _module in (day, many, river, tackle, desk):
    for _name in _module.__all__:
        main.add_command(getattr(_module, _name))
