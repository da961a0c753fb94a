"""Where line and fly go: line and fly properties, the line solver and the swim."""

from __future__ import annotations

from planner.sink.batch import FreeSwims, Scenarios, free_swims, scenarios
from planner.sink.bedgrid import BedGrid, bed_by_distance
from planner.sink.fly import Fly, fly_from_tackle
from planner.sink.line import Line, line_from_tackle, line_with_sink_factor
from planner.sink.many import Swims, swim_many
from planner.sink.records import Cast, Current, Swim
from planner.sink.swim import swim

__all__ = [
    "BedGrid",
    "Cast",
    "Current",
    "Fly",
    "FreeSwims",
    "Line",
    "Scenarios",
    "Swim",
    "Swims",
    "bed_by_distance",
    "fly_from_tackle",
    "free_swims",
    "line_from_tackle",
    "line_with_sink_factor",
    "scenarios",
    "swim",
    "swim_many",
]
