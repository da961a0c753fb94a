"""The weather of a plan in words: alerts between quotation marks with sender and time, then our own notes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from planner.page import words

__all__ = ["relayed_alerts", "weather_notes"]


def relayed_alerts(plan: Mapping[str, Any]) -> list[str]:
    """Each alert in force as it was sent, in quotation marks, with who sent it and when.

    Parameters
    ----------
    plan : mapping
        As ``plan.json``.

    Examples
    --------
    >>> sent = {"headline": "Flood Watch", "sender": "NWS", "sent": "2026-06-12T23:00:00Z", "link": ""}
    >>> relayed_alerts({"timezone": "America/Chicago", "weather": {"alerts": [sent]}})
    ['“Flood Watch” (sent by NWS, 18:00 on Fri 12 Jun; relayed unaltered)']
    """
    zone = str(plan.get("timezone") or "UTC")
    found = []
    for alert in (plan.get("weather") or {}).get("alerts") or ():
        said = alert.get("headline") or alert.get("event") or "an alert without a headline"
        when = _when(alert.get("sent"), zone)
        link = f" {alert['link']}" if alert.get("link") else ""
        found.append(
            f"“{said}” (sent by {alert.get('sender') or 'a sender not named'}, {when}; relayed unaltered){link}"
        )
    return found


def _when(moment: Any, zone: str) -> str:
    from datetime import datetime
    from zoneinfo import ZoneInfo

    if not moment:
        return "at a time not given"
    at = moment if isinstance(moment, datetime) else datetime.fromisoformat(str(moment))
    return f"{at.astimezone(ZoneInfo(zone)):%H:%M on %a %d %b}"


def weather_notes(plan: Mapping[str, Any]) -> list[str]:
    """Our own notes on the weather: what is missing, rain, wind against the rower; and the hour it was looked up."""
    weather = plan.get("weather")
    if not weather:
        return []
    notes = [words.note_text(note) for note in weather.get("notes") or ()]
    if weather.get("alerts") == []:
        notes.append("No alert was in force at the river when it was looked up; look again before you leave.")
    return notes
