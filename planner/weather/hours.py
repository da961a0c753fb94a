"""Weather over some hours: what the rules ask for, the wind against the rower, and notes. Missing stays missing."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from planner.tables import rows
from planner.units import INCH, show
from planner.weather.records import Alert, Forecast

__all__ = ["Weather", "alert_level", "wind_words"]

# Design choices. That no alert is in force says something about the next hours only. Thunder that is not forecast for
# every hour may still be raised by the hours that are, and is otherwise not known; the same of a forecast that was last
# updated a day ago, as a service that stalls goes on giving it.
_ALERTS_SPEAK_FOR = timedelta(hours=24)
_THUNDER_RAISES = 30.0
_FORECAST_SPEAKS_FOR = timedelta(hours=24)
_RAIN_SAID_MM = 5.0
_RAIN_BEFORE = timedelta(hours=24)
_FLOOD_WORDS = ("none", "advisory", "watch", "warning")
_STORM_WORDS = ("none", "watch", "warning")


@dataclass(frozen=True)
class Weather:
    """Forecast and alerts for a trip's hours.

    Parameters
    ----------
    start, end : datetime
        The hours on the water, aware.
    looked_up_at : datetime
        When the services were asked, UTC.
    forecast : Forecast or None
        None when it could not be had.
    alerts : tuple of Alert or None
        In force when asked; None when that could not be had, which is not the same as none.
    notes : tuple of str
        What is missing and why.
    """

    start: datetime
    end: datetime
    looked_up_at: datetime
    forecast: Forecast | None = None
    alerts: tuple[Alert, ...] | None = None
    notes: tuple[str, ...] = ()

    def conditions(self, start: datetime | None = None, end: datetime | None = None) -> dict[str, Any]:
        """Air, thunder and alerts as arguments of `planner.caution.Conditions`; None is not known.

        Parameters
        ----------
        start, end : datetime, optional
            Some hours of the trip; all of it when not given.
        """
        start, end = start or self.start, end or self.end
        found: dict[str, Any] = {"air_temp_c": None, "thunder_chance": None}
        if self.forecast is not None:
            here = self.forecast.during(start, end)
            whole = self.forecast.covers(start, end) and not self._stalled()
            found["air_temp_c"] = _all(self.forecast.air_c[here], whole, min)
            thunder = self.forecast.thunder_chance[here]
            found["thunder_chance"] = _all(thunder, whole, max)
            known = thunder[thunder == thunder]
            if found["thunder_chance"] is None and len(known) and float(known.max()) >= _THUNDER_RAISES:
                found["thunder_chance"] = float(known.max())
        return found | self._alerted(start, end)

    def _stalled(self) -> bool:
        """Whether the forecast was last updated long before it was asked for."""
        issued = self.forecast.issued_at if self.forecast is not None else None
        return issued is not None and self.looked_up_at - issued > _FORECAST_SPEAKS_FOR

    def _alerted(self, start: datetime, end: datetime) -> dict[str, Any]:
        if self.alerts is None:
            return {"flood_alert": None, "storm_alert": None, "hours_since_flood_warning": None}
        flood, storm, since = 0, 0, None
        for alert in self.alerts:
            channel, word = alert_level(alert.event)
            if channel == "flood" and word == "warning" and alert.ends is not None and alert.ends <= start:
                hours = (start - alert.ends).total_seconds() / 3600
                since = hours if since is None else min(since, hours)
            if not alert.holds_during(start, end):
                continue
            if channel == "flood":
                flood = max(flood, _FLOOD_WORDS.index(word))
            elif channel == "storm":
                storm = max(storm, _STORM_WORDS.index("watch" if word == "advisory" else word))
        silent = start > self.looked_up_at + _ALERTS_SPEAK_FOR
        return {
            "flood_alert": None if silent and not flood else _FLOOD_WORDS[flood],
            "storm_alert": None if silent and not storm else _STORM_WORDS[storm],
            "hours_since_flood_warning": since,
        }

    def against(self, bearing: float) -> float:
        """Strongest wind up the river within the hours [m/s]; NaN unknown, 0 when it never blows upstream.

        Parameters
        ----------
        bearing : float
            Direction the river runs [degrees from north].
        """
        import numpy as np

        if self.forecast is None:
            return math.nan
        here = self.forecast.during(self.start, self.end)
        speed, comes_from = self.forecast.wind_m_s[here], self.forecast.wind_from_deg[here]
        part = speed * np.cos(np.radians(comes_from - bearing))  # wind from where the river goes blows against it
        known = part[np.isfinite(part)]
        return max(float(known.max()), 0.0) if len(known) else math.nan

    def rain_note(self, units: str) -> str:
        """A sentence on the rain of the day before and the hours themselves; "" when none is forecast or known."""
        if self.forecast is None:
            return ""
        here = self.forecast.during(max(self.start - _RAIN_BEFORE, self.looked_up_at), self.end)
        rain = self.forecast.rain_mm[here]
        total = float(rain[rain == rain].sum())
        if total < _RAIN_SAID_MM:
            return ""
        shown = f"{total / (1000 * INCH):.1f} in" if units == "us" else f"{total:.0f} mm"
        return (
            f"About {shown} of rain is forecast at the river until you take out. What falls upstream comes down later: "
            "watch the gauge and the colour of the water."
        )

    def as_dict(self, units: str = "metric", bearing: float = math.nan) -> dict[str, Any]:
        """The weather for ``plan.json``: figures over the hours, notes, and the alerts as they were sent."""
        wind = self.against(bearing) if bearing == bearing else math.nan
        found = self.conditions()
        notes = [*self.notes, *(self.forecast.notes if self.forecast is not None else ())]
        if self._stalled() and self.forecast is not None and self.forecast.issued_at is not None:
            updated = f"{self.forecast.issued_at:%Y-%m-%d %H:%M} UTC"
            notes.append(f"The forecast was last updated at {updated}: too long ago to tell that there is no thunder.")
        notes += [note for note in (self.rain_note(units), wind_words(wind, units)) if note]
        return {
            "service": self.forecast.service if self.forecast is not None else None,
            "issued_at": self.forecast.issued_at if self.forecast is not None else None,
            "looked_up_at": self.looked_up_at.astimezone(UTC),
            "air_low_c": found["air_temp_c"],
            "thunder_chance": found["thunder_chance"],
            "wind_against_m_s": wind,
            "alerts": None if self.alerts is None else [alert.as_dict() for alert in self.alerts],
            "notes": notes,
        }


def _all(values: Any, whole: bool, pick: Any) -> float | None:
    """Extreme of some hours when each of them is known; None when any is missing."""
    if not whole or not len(values) or not (values == values).all():
        return None
    return float(pick(values))


def alert_level(event: str) -> tuple[str, str]:
    """Which of our two alert inputs an event's name belongs to, and how grave it is.

    Parameters
    ----------
    event : str
        As sent, such as ``Flash Flood Watch``.

    Returns
    -------
    channel : str
        ``flood``, ``storm``, or "" for an event that our rules have no input for; it is relayed all the same.
    word : str
        ``advisory``, ``watch`` or ``warning``; a statement that follows up a flood warning counts as the warning.

    Examples
    --------
    >>> alert_level("Flash Flood Watch"), alert_level("Severe Thunderstorm Warning"), alert_level("Frost Advisory")
    (('flood', 'watch'), ('storm', 'warning'), ('', 'advisory'))
    """
    name = event.lower()
    channel = next((row["channel"] for row in rows("weather_alerts") if row["words"] in name), "")
    for word in ("warning", "watch", "advisory"):
        if word in name:
            return channel, word
    if "alert" in name:  # England's first step: be prepared, flooding is possible
        return channel, "watch"
    return channel, "warning" if "statement" in name or "emergency" in name else "advisory"


def wind_words(against: float, units: str) -> str:
    """A sentence on wind against the rower; "" when there is none or it is not known."""
    if against != against or against < 4.0:
        return ""
    return f"Wind up the river of about {show(against, 'speed', units)}: expect to row, and a slower float."
