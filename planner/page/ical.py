"""The day as an iCalendar file: the trip and its stops in UTC, cautions first [Desruisseaux2009]."""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from planner.page import words
from planner.page.moments import utc_of

if TYPE_CHECKING:
    from planner.river.records import River

__all__ = ["day_ical", "escaped", "folded"]

_FOLD = 75  # octets a line at most, the line break left out (section 3.1)
_SPACE = uuid.UUID("6d1c1a34-5a4e-5d2c-9a55-0f6f2b3a8d10")  # ours; makes the same event the same id each time


def escaped(text: Any) -> str:
    """A TEXT value: backslash, semicolon, comma and line breaks escaped (section 3.3.11), controls left out.

    Examples
    --------
    >>> escaped("a, b; c")
    'a\\\\, b\\\\; c'
    """
    plain = re.sub(r"\r\n?", "\n", str(text))
    plain = "".join(sign for sign in plain if sign in "\n\t" or (ord(sign) >= 32 and ord(sign) != 127))
    return plain.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")


def folded(line: str) -> str:
    """A content line folded to 75 octets, never inside a character (section 3.1)."""
    parts, current, size, limit = [], "", 0, _FOLD
    for sign in line:
        octets = len(sign.encode("utf-8"))
        if size + octets > limit:
            parts.append(current)
            current, size, limit = "", 0, _FOLD - 1  # the space that begins a folded line counts
        current += sign
        size += octets
    return "\r\n ".join([*parts, current])


def _stamp(value: Any, what: str) -> str:
    return utc_of(value, what).strftime("%Y%m%dT%H%M%SZ")


def _event(key: str, made: str, begin: str, end: str, summary: str, text: str, place: str, geo: str) -> list[str]:
    lines = [
        "BEGIN:VEVENT", f"UID:{uuid.uuid5(_SPACE, key)}", f"DTSTAMP:{made}", f"DTSTART:{begin}", f"DTEND:{end}",
        f"SUMMARY:{escaped(summary)}", "STATUS:TENTATIVE", "CLASS:PRIVATE", "TRANSP:OPAQUE",
        f"DESCRIPTION:{escaped(text)}",
    ]  # fmt: skip
    if place:
        lines.append(f"LOCATION:{escaped(place)}")
    if geo:
        lines.append(f"GEO:{geo}")
    return [*lines, "END:VEVENT"]


def day_ical(plan: Mapping[str, Any], river: River, units: str = "us") -> str:
    """The trip, and one event for each stop.

    Parameters
    ----------
    plan : mapping
        As ``plan.json``.
    river : River
        Coordinates of put-in and stances.
    units : str
        ``us`` or ``metric``, for the length of a leader that is not the box's own.

    Returns
    -------
    str
        Lines end in CR LF, times are UTC.

    Raises
    ------
    DataUnfit
        When the plan holds no trip.
    """
    trip, caution = plan.get("trip") or {}, plan.get("caution") or {}
    made = _stamp(plan.get("made_at"), "making")
    name = str(plan.get("river") or river.name)
    raised = [f"[{r['level']}] {r.get('text')}" for r in words.raised(caution.get("reasons") or ())]
    turns = [str(turn) for turn in caution.get("turns") or ()]
    text = "\n".join(
        (f"{words.caution_line(caution)}.", *raised, *turns, words.unlisted_words(caution), *words.STANDING)
    )
    put_in = next((p for p in river.places_of("put_in") if p.name == trip.get("put_in")), None)
    geo = ""
    if put_in is not None:
        point = put_in.geometry.representative_point()
        geo = f"{point.y:.6f};{point.x:.6f}"
    key = f"{name}/{plan.get('for_day')}"
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Plumbrun//river day//EN", "CALSCALE:GREGORIAN"]
    lines += _event(
        key, made, _stamp(trip.get("start"), "start"), _stamp(trip.get("take_out_latest") or trip.get("end"), "end"),
        f"{name}: {words.caution_line(caution)}", text, str(trip.get("put_in") or ""), geo,
    )  # fmt: skip
    stances = {spot.id: spot.stance_lonlat for spot in river.spots}
    spots = {spot.get("id"): spot for spot in plan.get("spots") or ()}
    for stop in trip.get("stops") or ():
        if not stop.get("arrive_at") or not stop.get("leave_by"):
            continue
        spot = spots.get(stop["spot"]) or {}
        best = spot.get("best")
        answer = f"{best['line']}, {words.fly_words(best, units)}, count {words.count_words(best)}." if best else ""
        lon, lat = stances.get(stop["spot"], (None, None))
        parts = (f"{words.caution_line(spot.get('caution'))}.", answer, *words.STANDING)
        lines += _event(
            f"{key}/{stop['spot']}", made, _stamp(stop["arrive_at"], "stop"), _stamp(stop["leave_by"], "stop"),
            f"{stop.get('name') or stop['spot']}: {words.caution_line(spot.get('caution'))}",
            "\n".join(part for part in parts if part),
            str(stop.get("name") or stop["spot"]), "" if lon is None else f"{lat:.6f};{lon:.6f}",
        )  # fmt: skip
    lines.append("END:VCALENDAR")
    return "\r\n".join(folded(line) for line in lines) + "\r\n"
