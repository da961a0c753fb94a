"""XML of a service, read with suspicion: no document type, no entities, an error in words."""

from __future__ import annotations

from xml.etree import ElementTree

from planner.errors import GaugeReplyUnfit

__all__ = ["local_name", "root_of"]


def root_of(raw: bytes, where: str, need: str) -> ElementTree.Element:
    """Root element of an XML text.

    Raises
    ------
    GaugeReplyUnfit
        When it is not well-formed, is a web page, or declares a document type (entities could blow it up).
    """
    start = bytes(raw[:4000]).lower()
    if b"<!doctype" in start or b"<!entity" in bytes(raw).lower():
        what = "an HTML page" if b"html" in start else "XML with a document type"
        raise GaugeReplyUnfit(f"the reply is {what}", need, "ask again later, or record the reply again", where=where)
    try:
        return ElementTree.fromstring(bytes(raw))
    except (ElementTree.ParseError, ValueError, LookupError) as error:
        raise GaugeReplyUnfit(
            f"the reply is no whole XML ({error})", need, "ask again later, or record the reply again", where=where
        ) from error


def local_name(tag: str) -> str:
    """Name of an element without its namespace."""
    return tag.rsplit("}", 1)[-1]
