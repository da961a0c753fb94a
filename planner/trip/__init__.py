"""The trip: order of the spots, clock and daylight from put-in to take-out, ways off, and the paper left ashore."""

from planner.trip.drift import DriftThread, drift_thread
from planner.trip.minutes import fishing_weights
from planner.trip.route import Route
from planner.trip.schedule import Stop, Trip, schedule
from planner.trip.sun import SunTimes, sun_times
from planner.trip.ways import WayOff

__all__ = [
    "DriftThread",
    "Route",
    "Stop",
    "SunTimes",
    "Trip",
    "WayOff",
    "drift_thread",
    "fishing_weights",
    "schedule",
    "sun_times",
]
