"""Read, check and write a river folder: its settings, runs, spots, places, soundings, tackle and log."""

from planner.river.ground import LocalPlane
from planner.river.reader import check_river, read_river
from planner.river.records import Finding, Place, River, Run, Spot, Tackle, TackleFly, TackleLine
from planner.river.tackle import generic_tackle
from planner.river.writer import write_river

__all__ = [
    "Finding",
    "LocalPlane",
    "Place",
    "River",
    "Run",
    "Spot",
    "Tackle",
    "TackleFly",
    "TackleLine",
    "check_river",
    "generic_tackle",
    "read_river",
    "write_river",
]
