"""The trip: order of the spots, clock and daylight from put-in to take-out."""

from planner.trip.route import Route
from planner.trip.schedule import Stop, Trip, schedule
from planner.trip.sun import SunTimes, sun_times

__all__ = ["Route", "Stop", "SunTimes", "Trip", "schedule", "sun_times"]
