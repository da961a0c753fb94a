"""Weather for the trip's hours, and alerts relayed as sent, where a public service gives them without a key."""

from planner.weather.hours import Weather, wind_words
from planner.weather.look import look_up
from planner.weather.records import Alert, Forecast
from planner.weather.us_nws import get_alerts, get_forecast, parse_alerts, parse_grid, parse_point

__all__ = [
    "Alert",
    "Forecast",
    "Weather",
    "get_alerts",
    "get_forecast",
    "look_up",
    "parse_alerts",
    "parse_grid",
    "parse_point",
    "wind_words",
]
