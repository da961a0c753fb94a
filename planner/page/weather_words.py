"""The weather of a plan in words: alerts between quotation marks with sender and time, then our own notes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from planner.page import words
from planner.page.moments import moment_of

__all__ = ["alert_parts", "relayed_alerts", "weather_figures", "weather_notes"]


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
    return [f"“{part['quote']}” ({part['credit']}) {part['link']}".rstrip() for part in alert_parts(plan)]


def alert_parts(plan: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Each alert in force in parts: `quote` and `body` are the sender's own words, `credit` and `link` are not.

    Parameters
    ----------
    plan : mapping
        As ``plan.json``.

    Returns
    -------
    list of dict
        `quote` (headline, else event), `credit` (sender and time), `link`, and `body`: area, description and
        instruction as sent, those that are given.
    """
    zone = str(plan.get("timezone") or "UTC")
    found = []
    for alert in (plan.get("weather") or {}).get("alerts") or ():
        said = alert.get("headline") or alert.get("event") or "an alert without a headline"
        sender = alert.get("sender") or "a sender not named"
        link = str(alert.get("link") or "")
        body = [str(alert[key]) for key in ("area", "description", "instruction") if alert.get(key)]
        found.append(
            {
                "quote": said,
                "credit": f"sent by {sender}, {_when(alert.get('sent'), zone)}; relayed unaltered",
                "link": link,
                "body": [*body, *([link] if link else [])],
            }
        )
    return found


def _when(moment: Any, zone: str) -> str:
    from zoneinfo import ZoneInfo

    if not moment:
        return "at a time not given"
    return f"{moment_of(moment).astimezone(ZoneInfo(zone)):%H:%M on %a %d %b}"


def weather_figures(plan: Mapping[str, Any], units: str) -> list[str]:
    """Thunder and air over the trip's hours with their service; nothing where no forecast was had.

    Parameters
    ----------
    plan : mapping
        As ``plan.json``.
    units : str
        ``us`` or ``metric``.
    """
    from planner.units import fahrenheit

    weather = plan.get("weather") or {}
    if not weather.get("service"):
        return []
    thunder, air = weather.get("thunder_chance"), weather.get("air_low_c")
    said = ["Thunder: not assessed for all hours." if thunder is None else f"Thunder: {thunder:.0f} % at most."]
    if air is None:
        said.append("Air: not known for all hours.")
    else:
        said.append(f"Air: {f'{fahrenheit(air):.0f} °F' if units == 'us' else f'{air:.0f} °C'} at its coldest.")
    issued, zone = weather.get("issued_at"), str(plan.get("timezone") or "UTC")
    when = f", issued {_when(issued, zone)}" if issued else ""
    return [*said, f"Forecast of the {weather['service']}{when}."]


def weather_notes(plan: Mapping[str, Any]) -> list[str]:
    """Our own notes on the weather: what is missing, rain, wind against the rower; and the hour it was looked up."""
    weather = plan.get("weather")
    if not weather:
        return []
    notes = [words.note_text(note) for note in weather.get("notes") or ()]
    if weather.get("alerts") == []:
        notes.append("No alert was in force at the river when it was looked up; look again before you leave.")
    return notes
