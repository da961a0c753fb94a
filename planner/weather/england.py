"""Flood alerts and warnings of England's Environment Agency near a place. No key is needed.

The service's names on the left, ours on the right (form of the service from memory; no recorded reply was at hand):

    items[].severity                                event, as sent
    items[].severityLevel                           4 is a warning no longer in force: `ends` is when it changed
    items[].description                             headline
    items[].message                                 description
    items[].floodArea.notation, floodAreaID         area
    items[].timeMessageChanged (timeRaised)         sent
    items[].timeRaised                              begins
    items[].@id                                     link

Times without an offset are taken as England's own. Contains Environment Agency flood data under the Open Government
Licence v3.0.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from planner.errors import DataUnfit
from planner.weather.records import Alert, moment

if TYPE_CHECKING:
    import requests

__all__ = ["SERVICE", "get_alerts", "parse_alerts"]

SERVICE = "Environment Agency"
_ADDRESS = "https://environment.data.gov.uk/flood-monitoring/id/floods"
_NEAR_KM = 15  # design choice: an alert area that touches the river may have its middle this far away
_OVER = 4
_ZONE = ZoneInfo("Europe/London")  # its times name no zone


def parse_alerts(raw: bytes) -> tuple[Alert, ...]:
    """The flood alerts of a reply, texts unaltered.

    Parameters
    ----------
    raw : bytes
        Reply of ``id/floods``.

    Raises
    ------
    DataUnfit
        When the reply is no list of alerts: none is then known, which is not the same as none in force.
    """
    try:
        document = json.loads(raw)
    except (ValueError, RecursionError) as error:
        raise _unfit("no JSON") from error
    items = document.get("items") if isinstance(document, dict) else None
    if not isinstance(items, list):
        raise _unfit("no items")
    found = []
    for item in items:
        if not isinstance(item, dict) or not isinstance(item.get("severity"), str):
            raise _unfit("an alert without its severity")

        def text(name: str, given: dict[str, Any] = item) -> str:
            value = given.get(name)
            return value if isinstance(value, str) else ""

        changed = moment(item.get("timeSeverityChanged"), _ZONE)
        sent = moment(item.get("timeMessageChanged"), _ZONE) or moment(item.get("timeRaised"), _ZONE)
        over = item.get("severityLevel") == _OVER
        found.append(
            Alert(
                text("@id"), item["severity"], text("description"), text("message"), "", text("floodAreaID"), SERVICE,
                sent, moment(item.get("timeRaised"), _ZONE), (changed or sent) if over else None, link=text("@id"),
            )
        )  # fmt: skip
    return tuple(found)


def _unfit(why: str) -> DataUnfit:
    return DataUnfit(
        f"{SERVICE}: the reply for flood alerts is not in the service's form ({why})", "its JSON", "look later"
    )


def get_alerts(lon: float, lat: float, session: requests.Session | None = None) -> tuple[Alert, ...]:
    """The flood alerts near a place, from the service.

    Raises
    ------
    SourceUnreachable, DataUnfit
        No answer, or none that can be read.
    """
    from planner.gauges.transport import fetch

    query = {"lat": f"{lat:.4f}", "long": f"{lon:.4f}", "dist": str(_NEAR_KM)}
    return parse_alerts(fetch(_ADDRESS, query, session=session, what=SERVICE))
