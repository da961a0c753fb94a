"""Invented replies in the shape of the US National Weather Service API: no value in them was ever forecast or sent.

Recorded replies would be better; none came with a licence that lets them be kept here.
"""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import Any

__all__ = ["GRID_ADDRESS", "alert", "alerts", "grid", "layer", "point"]

GRID_ADDRESS = "https://api.weather.gov/gridpoints/XXX/10,20"


def point(address: str = GRID_ADDRESS) -> bytes:
    """A point that leads to its grid."""
    return json.dumps({"type": "Feature", "properties": {"gridId": "XXX", "forecastGridData": address}}).encode()


def layer(start: datetime, values: list[Any], hours: int = 1, unit: str | None = None) -> dict[str, Any]:
    """A layer of equal periods."""
    entries = [
        {"validTime": f"{(start + timedelta(hours=i * hours)).isoformat()}/PT{hours}H", "value": value}
        for i, value in enumerate(values)
    ]
    return {"values": entries} if unit is None else {"uom": unit, "values": entries}


def grid(start: datetime, count: int = 24, **layers: Any) -> bytes:
    """A grid forecast of quiet summer weather, with layers replaced; None leaves one out."""
    quiet: dict[str, Any] = {
        "updateTime": start.isoformat(),
        "temperature": layer(start, [20.0 + i % 12 for i in range(count)], unit="wmoUnit:degC"),
        "windSpeed": layer(start, [18.0] * count, unit="wmoUnit:km_h-1"),
        "windDirection": layer(start, [90] * count, unit="wmoUnit:degree_(angle)"),
        "windGust": layer(start, [36.0] * count, unit="wmoUnit:km_h-1"),
        "probabilityOfThunder": layer(start, [5] * count),
        "probabilityOfPrecipitation": layer(start, [10] * count, unit="wmoUnit:percent"),
        "quantitativePrecipitation": layer(start, [0.0] * (count // 6), hours=6, unit="wmoUnit:mm"),
        "weather": layer(start, [[{"coverage": None, "weather": None}]] * count),
    }
    kept = {name: value for name, value in {**quiet, **layers}.items() if value is not None}
    return json.dumps({"type": "Feature", "properties": kept}).encode()


def alert(event: str, sent: datetime, ends: datetime | None = None, **more: Any) -> dict[str, Any]:
    """One alert of an invented office."""
    return {
        "type": "Feature",
        "properties": {
            "@id": "https://api.weather.gov/alerts/urn:invented.1",
            "id": "urn:invented.1",
            "event": event,
            "headline": f"{event} issued by an invented office",
            "description": "* WHAT...Water is rising.\n\n* WHERE...An invented county.  Two spaces  stay.",
            "instruction": "Turn around.\nIt is not safe to cross.",
            "areaDesc": "Invented County",
            "senderName": "NWS Invented Office",
            "sent": sent.isoformat(),
            "effective": sent.isoformat(),
            "onset": sent.isoformat(),
            "expires": (sent + timedelta(hours=3)).isoformat(),
            "ends": None if ends is None else ends.isoformat(),
            "status": "Actual",
            "messageType": "Alert",
            "severity": "Severe",
            "certainty": "Likely",
            "urgency": "Expected",
            **more,
        },
    }


def alerts(*features: dict[str, Any]) -> bytes:
    """A collection of alerts."""
    return json.dumps({"type": "FeatureCollection", "features": list(features)}).encode()
