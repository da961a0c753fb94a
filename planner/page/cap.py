"""The day's cautions as a CAP 1.2 message for private use, and never as an official warning [OASISCAP2010].

The status is ``Exercise`` or ``Draft`` and the scope ``Private``, since ``Actual`` would look like an authority's.
Severity, urgency and certainty come from one fixed map of our levels; ``Extreme``, ``Immediate`` and ``AllClear`` are
never used. Agencies' own alerts are not repeated in it: read them at their sender.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from planner.errors import UsageMistake
from planner.page import words
from planner.page.moments import utc_of

if TYPE_CHECKING:
    from planner.river.records import River

__all__ = ["CAP_SPACE", "STATUSES", "cautions_cap"]

CAP_SPACE = "urn:oasis:names:tc:emergency:cap:1.2"
STATUSES = ("Exercise", "Draft")
SENDER_NAME = "automated caution, not an official warning"
# level -> severity, urgency, certainty, response; a level 3 that is forecast and not read is Likely, not Observed
_GRADES: dict[int | None, tuple[str, str, str, str]] = {
    None: ("Unknown", "Unknown", "Unknown", "Assess"),
    0: ("Unknown", "Unknown", "Unknown", "Monitor"),
    1: ("Minor", "Future", "Possible", "Monitor"),
    2: ("Moderate", "Expected", "Likely", "Prepare"),
    3: ("Severe", "Expected", "Observed", "Avoid"),
}
_READ_NOW = ("F4o", "F6", "F6q", "F6p", "F9", "F9t", "F7", "F8")
_WEATHER = ("F5", "S1")


def _stamp(value: Any, what: str) -> str:
    """A CAP time: no Z, no fraction; UTC is ``-00:00`` there."""
    return utc_of(value, what).strftime("%Y-%m-%dT%H:%M:%S-00:00")


def _token(text: str) -> str:
    """Text without spaces, commas and the signs that CAP forbids in identifiers."""
    return re.sub(r"[^A-Za-z0-9._-]+", "-", text).strip("-") or "river"


def _clean(text: Any) -> str:
    return re.sub("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "", str(text))


def _add(parent: ET.Element, name: str, text: Any) -> ET.Element:
    child = ET.SubElement(parent, f"{{{CAP_SPACE}}}{name}")
    child.text = _clean(text)
    return child


def _circle(river: River) -> str | None:
    """Middle of what is drawn and a radius that holds all of it, as ``lat,lon km``."""
    import math

    from planner.river.ground import LocalPlane

    shapes = [run.polygon for run in river.runs] + [place.geometry for place in river.places]
    if not shapes:
        return None
    bounds = [shape.bounds for shape in shapes]
    west, south = min(b[0] for b in bounds), min(b[1] for b in bounds)
    east, north = max(b[2] for b in bounds), max(b[3] for b in bounds)
    plane = LocalPlane((west + east) / 2, (south + north) / 2)
    x, y = plane.to_xy(east, north)
    return f"{(south + north) / 2:.5f},{(west + east) / 2:.5f} {math.hypot(float(x), float(y)) / 1000 + 0.1:.2f}"


def cautions_cap(plan: Mapping[str, Any], river: River, status: str = "Exercise") -> str:
    """The plan's cautions as CAP 1.2, one ``info`` for each that is raised.

    Parameters
    ----------
    plan : mapping
        As ``plan.json``.
    river : River
        For the area.
    status : str
        ``Exercise`` or ``Draft``.

    Returns
    -------
    str
        The XML. With nothing raised one ``info`` says how many checks could be made, of unknown severity.

    Raises
    ------
    UsageMistake
        For any other status.
    DataUnfit
        When the plan holds no times.
    """
    if status not in STATUSES:
        raise UsageMistake(
            f"CAP status {status!r}", " or ".join(STATUSES), "take one of them; this is no warning service"
        )
    ET.register_namespace("", CAP_SPACE)
    trip, caution = plan.get("trip") or {}, plan.get("caution") or {}
    sent = _stamp(plan.get("made_at"), "making")
    root = ET.Element(f"{{{CAP_SPACE}}}alert")
    name = str(plan.get("river") or river.name)
    _add(root, "identifier", f"plumbrun-{_token(name)}-{_token(str(plan.get('for_day')))}-{_token(sent[:19])}")
    _add(root, "sender", "plumbrun")
    _add(root, "sent", sent)
    _add(root, "status", status)
    _add(root, "msgType", "Alert")
    _add(root, "scope", "Private")
    _add(root, "addresses", '"the party" "the holder of the float plan"')
    _add(root, "note", f"{SENDER_NAME}. {' '.join(words.STANDING)}")
    raised: list[dict[str, Any] | None] = [*words.raised(caution.get("reasons") or ())]
    for reason in raised or [None]:
        _info(root, plan, river, reason, caution, trip, name)
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _info(
    root: ET.Element,
    plan: Mapping[str, Any],
    river: River,
    reason: Mapping[str, Any] | None,
    caution: Mapping[str, Any],
    trip: Mapping[str, Any],
    name: str,
) -> None:
    info = ET.SubElement(root, f"{{{CAP_SPACE}}}info")
    level = caution.get("level") if reason is None else reason["level"]
    rule = "" if reason is None else str(reason.get("rule"))
    severity, urgency, certainty, response = _GRADES[level]
    if certainty == "Observed" and rule not in _READ_NOW:
        certainty = "Likely"
    label = words.LEVEL_WORDS[level]
    _add(info, "language", "en")
    _add(info, "category", "Met" if rule in _WEATHER else "Safety")
    _add(info, "event", f"River caution: {label}")
    _add(info, "responseType", response)
    _add(info, "urgency", urgency)
    _add(info, "severity", severity)
    _add(info, "certainty", certainty)
    _add(info, "effective", _stamp(plan.get("made_at"), "making"))
    _add(info, "onset", _stamp(trip.get("start"), "start"))
    _add(info, "expires", _stamp(trip.get("take_out_latest") or trip.get("end"), "end"))
    _add(info, "senderName", SENDER_NAME)
    _add(
        info, "headline", f"{words.caution_line({'level': level, 'label': label})}, {name}, {plan.get('for_day')}"[:160]
    )
    said = words.unlisted_words(dict(caution)) if reason is None else str(reason.get("text"))
    _add(info, "description", said)
    _add(info, "instruction", " ".join(words.STANDING))
    if reason is not None:
        known = (("rule", rule), ("where", reason.get("where")), ("value", reason.get("value")),
                 ("threshold", reason.get("threshold")), ("source", reason.get("source")))  # fmt: skip
        for key, value in known:
            if value not in (None, ""):
                _parameter(info, f"plumbrun:{key}", value)
    for gauge in plan.get("gauges") or ():
        if gauge.get("age_min") is not None:
            _parameter(info, f"plumbrun:data age of {gauge.get('id')}", f"{gauge['age_min']:.0f} min")
    _parameter(info, "plumbrun:checks made", f"{caution.get('assessed')} of {caution.get('checks')}")
    area = ET.SubElement(info, f"{{{CAP_SPACE}}}area")
    ends = " to ".join(str(trip[key]) for key in ("put_in", "take_out") if trip.get(key))
    _add(area, "areaDesc", f"{name}, {ends}" if ends else name)
    circle = _circle(river)
    if circle is not None:
        _add(area, "circle", circle)


def _parameter(info: ET.Element, name: str, value: Any) -> None:
    parameter = ET.SubElement(info, f"{{{CAP_SPACE}}}parameter")
    _add(parameter, "valueName", name)
    _add(parameter, "value", value)
