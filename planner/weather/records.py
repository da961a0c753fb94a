"""What a weather service gives: a forecast hour by hour, and alerts word for word."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np

__all__ = ["Alert", "Forecast", "moment"]


def moment(value: Any, zone: tzinfo | None = None) -> datetime | None:
    """A time as a service writes it, in UTC; None when it is none, or names no zone and `zone` is not given.

    Examples
    --------
    >>> moment("2026-06-13T08:00:00-05:00").isoformat(), moment("2026-06-13T08:00:00")
    ('2026-06-13T13:00:00+00:00', None)
    """
    if not isinstance(value, str):
        return None
    try:
        found = datetime.fromisoformat(value)
    except ValueError:
        return None
    if found.tzinfo is None:
        return None if zone is None else found.replace(tzinfo=zone).astimezone(UTC)
    return found.astimezone(UTC)


@dataclass(frozen=True)
class Alert:
    """One alert, its text as its sender wrote it. Nothing here is ours.

    Parameters
    ----------
    id : str
        The sender's identifier.
    event, headline, description, instruction, area : str
        As sent.
    sender : str
        Who sent it, as the alert names them.
    sent, begins, ends : datetime or None
        UTC. `ends` is when the event ends; None when the sender does not say, and the alert then counts as in force.
    severity, certainty, urgency, message_type, status : str
        As sent.
    link : str
        Where it stands at its sender; empty not given.
    """

    id: str
    event: str
    headline: str
    description: str
    instruction: str
    area: str
    sender: str
    sent: datetime | None
    begins: datetime | None
    ends: datetime | None
    severity: str = ""
    certainty: str = ""
    urgency: str = ""
    message_type: str = ""
    status: str = ""
    link: str = ""

    def holds_during(self, start: datetime, end: datetime) -> bool:
        """Whether any of it falls between two moments; a bound that was not sent is taken as open."""
        return (self.begins is None or self.begins < end) and (self.ends is None or self.ends > start)

    def as_dict(self) -> dict[str, Any]:
        """The alert for ``plan.json``: `quoted` marks its texts as somebody else's words."""
        return {
            "quoted": True,
            "id": self.id,
            "event": self.event,
            "headline": self.headline,
            "description": self.description,
            "instruction": self.instruction,
            "area": self.area,
            "sender": self.sender,
            "sent": _iso(self.sent),
            "begins": _iso(self.begins),
            "ends": _iso(self.ends),
            "severity": self.severity,
            "certainty": self.certainty,
            "urgency": self.urgency,
            "link": self.link,
        }


@dataclass(frozen=True)
class Forecast:
    """A place hour by hour. NaN is not given.

    Parameters
    ----------
    service, place : str
        Who forecasts, and for where.
    issued_at : datetime or None
        When it was last updated, UTC.
    times : np.ndarray
        Whole hours, UTC datetime64[s], ascending, shape (n,).
    air_c, wind_m_s, wind_from_deg, gust_m_s : np.ndarray
        Air temperature [°C], wind speed [m/s], direction it comes from [degrees from north], gusts [m/s], shape (n,).
    thunder_chance, rain_chance : np.ndarray
        Chances [%], shape (n,).
    rain_mm : np.ndarray
        Rain [mm/h], shape (n,).
    notes : tuple of str
        What was missing or taken from words.
    """

    service: str
    place: str
    issued_at: datetime | None
    times: np.ndarray
    air_c: np.ndarray
    wind_m_s: np.ndarray
    wind_from_deg: np.ndarray
    gust_m_s: np.ndarray
    thunder_chance: np.ndarray
    rain_chance: np.ndarray
    rain_mm: np.ndarray
    notes: tuple[str, ...] = ()

    def during(self, start: datetime, end: datetime) -> np.ndarray:
        """Which hours overlap a window, shape (n,) of bool."""
        import numpy as np

        hours = self.times.astype("datetime64[s]").astype(np.int64)
        return (hours + 3600 > start.timestamp()) & (hours < end.timestamp())

    def covers(self, start: datetime, end: datetime) -> bool:
        """Whether every hour of a window is in the forecast."""
        needed = math.ceil(end.timestamp() / 3600) - math.floor(start.timestamp() / 3600)
        return int(self.during(start, end).sum()) >= needed > 0


def _iso(moment: datetime | None) -> str | None:
    return None if moment is None else moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
