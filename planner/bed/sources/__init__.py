"""Soundings in: readers of files of soundings, the checks they pass, and the appending to a river folder."""

from planner.bed.sources.adding import append
from planner.bed.sources.intake import UNITS, Intake, read_soundings, take
from planner.bed.sources.records import Batch, Drop

__all__ = ["UNITS", "Batch", "Drop", "Intake", "append", "read_soundings", "take"]
