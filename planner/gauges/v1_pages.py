"""The pages of a collection of the Water Data API v1: asking for them, following their links, opening them.

The address and the key come from the environment where they are set there (``PLUMBRUN_USGS_V1``,
``PLUMBRUN_USGS_KEY``); the key goes as a header to the host that was asked only.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

from planner.errors import GaugeReplyUnfit

if TYPE_CHECKING:
    import requests

    from planner.gauges.transport import Answer

__all__ = ["ADDRESS", "SERVICE", "features", "items", "odd"]

SERVICE = "US Geological Survey, Water Data API v1"
ADDRESS = "https://api.waterdata.usgs.gov/ogcapi/v1/collections/"


def items(collection: str, query: dict[str, str], session: requests.Session | None, what: str) -> list[bytes]:
    """Bodies of all pages of one collection.

    Parameters
    ----------
    collection : str
        Such as ``continuous`` or ``time-series-metadata``.
    query : dict
        Its parameters.
    session : requests.Session, optional
        From `planner.gauges.transport.make_session`.
    what : str
        Named in messages.
    """
    from planner.gauges.transport import ask_all

    base = os.environ.get("PLUMBRUN_USGS_V1", ADDRESS)
    key = os.environ.get("PLUMBRUN_USGS_KEY", "")
    answers = ask_all(
        f"{base.rstrip('/')}/{collection}/items",
        {"f": "json", **query},
        _next_page,
        session=session,
        what=what,
        headers={"X-Api-Key": key} if key else {},
    )
    return [answer.body for answer in answers]


def features(raw: bytes, where: str) -> tuple[list[dict[str, Any]], bool]:
    """Properties of all features of a page or of an array of pages, and whether a page is left out at the end.

    Raises
    ------
    GaugeReplyUnfit
        When the text is no such JSON.
    """
    import orjson

    try:
        reply = orjson.loads(raw)
    except orjson.JSONDecodeError as error:
        html = bytes(raw[:200]).lstrip().startswith(b"<")
        raise GaugeReplyUnfit(
            f"the reply is {'an HTML or XML page' if html else 'no whole JSON text'}",
            f"a FeatureCollection of the {SERVICE}",
            "ask again later, or give a recorded reply with --gauge-reply",
            where=where,
        ) from error
    pages = reply if isinstance(reply, list) else [reply]
    found: list[dict[str, Any]] = []
    for page in pages:
        entries = page.get("features") if isinstance(page, dict) else None
        if not isinstance(entries, list):
            raise odd("features", where)
        try:
            found.extend([entry["properties"] for entry in entries])
        except (KeyError, TypeError) as error:
            raise odd("features[].properties", where) from error
    if not all(isinstance(entry, dict) for entry in found):
        raise odd("features[].properties", where)
    return found, bool(pages and _next_link(pages[-1])) and not isinstance(reply, list)


def _next_page(answer: Answer) -> str | None:
    import orjson

    if b'"next"' not in answer.body and answer.body.rstrip().endswith(b"}"):
        return None  # a long page is not read twice
    try:
        return _next_link(orjson.loads(answer.body))
    except orjson.JSONDecodeError as error:
        raise GaugeReplyUnfit(
            "a page of the reply is no whole JSON text",
            f"a FeatureCollection of the {SERVICE}",
            "ask again later, or give a recorded reply with --gauge-reply",
        ) from error


def _next_link(page: Any) -> str | None:
    links = page.get("links") if isinstance(page, dict) else None
    for link in links if isinstance(links, list) else []:
        if isinstance(link, dict) and link.get("rel") == "next" and isinstance(link.get("href"), str):
            return link["href"]
    return None


def odd(what: str, where: str) -> GaugeReplyUnfit:
    """The error of a reply that is JSON, but not as the service writes it."""
    return GaugeReplyUnfit(
        f"the reply is JSON, but {what} is not as in the {SERVICE}",
        "a FeatureCollection of that service",
        "record the reply again, or report that the service has changed",
        where=where,
    )
