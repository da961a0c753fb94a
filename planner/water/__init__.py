"""What the river will be at the run, at the hour."""

from planner.water.expect import Expected, expect
from planner.water.ladder import ladder
from planner.water.levels import discharge_at, stage_at
from planner.water.rating import Rating, rating_of
from planner.water.transfer import run_discharge, travel_time_s

__all__ = [
    "Expected",
    "Rating",
    "discharge_at",
    "expect",
    "ladder",
    "rating_of",
    "run_discharge",
    "stage_at",
    "travel_time_s",
]
