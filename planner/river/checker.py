"""Check the files of a river folder against each other."""

from __future__ import annotations

from planner.river.records import River
from planner.river.values import Notebook

__all__ = ["check_together"]


def check_together(river: River, notes: Notebook) -> None:
    """Note what does not fit between runs, spots, places, soundings, tackle and log."""
