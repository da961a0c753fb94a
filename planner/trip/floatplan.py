"""The float plan for the person ashore: who, where, until when, and whom to call when nobody is heard from.

Its parts follow what search and rescue bodies ask for [USCGfloatplan]; words and form are our own. It goes to a
reliable person, not to an authority.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from planner.caution.records import label_of
from planner.caution.wording import standing_words
from planner.errors import DataUnfit
from planner.units import show

if TYPE_CHECKING:
    from planner.river.records import River

__all__ = ["BLANK", "FloatPlan", "Section", "float_plan", "place_words"]

BLANK = "____________________"
Row = tuple[str, str]


@dataclass(frozen=True)
class Section:
    """One part of the paper: its title and rows of label and text."""

    title: str
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class FloatPlan:
    """What is printed.

    Parameters
    ----------
    title, lead : str
        Head of the paper, and what it is.
    first_call, second_call : datetime
        When the holder calls the party, and when the authority, UTC.
    steps : tuple of str
        What the holder does, in order.
    sections : tuple of Section
        All else.
    blanks : tuple of str
        Labels that were left empty and stand as lines to fill in by hand.
    """

    title: str
    lead: str
    first_call: datetime
    second_call: datetime
    steps: tuple[str, ...]
    sections: tuple[Section, ...]
    blanks: tuple[str, ...]


def place_words(lon: float, lat: float) -> str:
    """A place as rescuers take it: latitude first, in degrees and in degrees and minutes.

    Examples
    --------
    >>> place_words(-90.81077, 43.20583)
    "43.20583 N, 90.81077 W (43° 12.350' N, 90° 48.646' W)"
    """
    ns, ew = "N" if lat >= 0 else "S", "E" if lon >= 0 else "W"
    lat, lon = abs(lat), abs(lon)

    def minutes(value: float) -> str:
        total = round(value * 60, 3)
        return f"{int(total // 60)}° {total % 60:06.3f}'"

    return f"{lat:.5f} {ns}, {lon:.5f} {ew} ({minutes(lat)} {ns}, {minutes(lon)} {ew})"


def _moment(value: Any, what: str) -> datetime:
    try:
        found = datetime.fromisoformat(str(value))
    except ValueError as error:
        raise DataUnfit(f"the plan's {what} is {value!r}", "a time", "make the plan again") from error
    if found.tzinfo is None:
        raise DataUnfit(f"the plan's {what} has no zone", "a time with its zone", "make the plan again")
    return found


class _Paper:
    """Collects rows and remembers which were empty."""

    def __init__(self) -> None:
        self.blanks: list[str] = []

    def row(self, label: str, value: Any) -> Row:
        text = " ".join(str(value).split()) if value not in (None, "") else ""
        if not text:
            self.blanks.append(label)
        return label, text or BLANK


def _on_paper(places: Any, name: str, fallback: str) -> str:
    for place in places:
        if (place.name or "") == name or not name:
            point = place.geometry.representative_point()
            return f"{place.name or fallback}, {place_words(point.x, point.y)}{_note(place.note)}"
    return name or ""


def _note(text: str) -> str:
    return f"; {text}" if text else ""


def _caution_rows(plan: Mapping[str, Any], units: str, zone: ZoneInfo) -> list[Row]:
    caution = plan.get("caution") or {}
    level = caution.get("level")
    label = label_of(level) if level is None else f"level {level} of 3, {label_of(level)}"
    rows = [
        ("Caution when made", f"{label} ({caution.get('assessed')} of {caution.get('checks')} checks could be made)")
    ]
    rows += [("Raised", str(reason["text"])) for reason in caution.get("reasons") or () if reason.get("level")]
    rows += (
        [("Gauge limits", " ".join(str(turn) for turn in caution.get("turns") or ()))] if caution.get("turns") else []
    )
    for gauge in plan.get("gauges") or ():
        parts = [
            show(gauge.get(key), kind, units)
            for key, kind in (("stage_m", "level"), ("discharge_m3s", "discharge"))
            if gauge.get(key) is not None
        ]
        trend = gauge.get("trend_m_per_h")
        more = [] if trend is None else [f"trend {show(trend, 'rise', units)}"]
        seen = gauge.get("observed_at")
        at = f"{_moment(seen, 'reading').astimezone(zone):%d %B %H:%M}" if seen else "a time not known"
        said = "; ".join((f"{gauge.get('id')}: {', '.join(parts) or 'no reading'} at {at}", *more))
        rows.append(("Gauge", said))
    expected = [row for row in plan.get("expected") or () if row.get("stage_high_m") is not None]
    if expected:
        low = min(row["stage_low_m"] for row in expected if row.get("stage_low_m") is not None)
        high = max(row["stage_high_m"] for row in expected)
        rows.append(("Expected", f"{show(low, 'level', units)} to {show(high, 'level', units)} during the trip"))
    rows.append(("Mind", standing_words()))
    return rows


def float_plan(
    plan: Mapping[str, Any], river: River, personal: Mapping[str, Any], units: str, made_at: datetime
) -> FloatPlan:
    """Lay the float plan out.

    Parameters
    ----------
    plan : mapping
        As ``plan.json``.
    river : River
        Places and authority.
    personal : mapping
        As read by `read_personal`; what is missing becomes a line to fill in.
    units : str
        ``us`` or ``metric``.
    made_at : datetime
        When this paper was made, aware.

    Raises
    ------
    DataUnfit
        When the plan holds no trip.
    """
    trip = plan.get("trip") or {}
    if not trip.get("take_out_latest"):
        raise DataUnfit("the plan holds no trip", "a plan.json with its trip", "make the plan again")
    zone = ZoneInfo(str(plan.get("timezone") or river.timezone))
    paper = _Paper()

    def clock(moment: datetime) -> str:
        return f"{moment.astimezone(zone):%A %d %B %Y, %H:%M}"

    latest = _moment(trip["take_out_latest"], "latest take-out")
    expected = _moment(trip.get("take_out_at") or trip["take_out_latest"], "take-out")
    first = latest + timedelta(minutes=float(personal.get("grace_min", 60)))
    second = first + timedelta(minutes=float(personal.get("then_min", 60)))
    holder, craft = personal.get("holder") or {}, personal.get("craft") or {}
    authority = {**river.authority, **{k: v for k, v in (personal.get("authority") or {}).items() if v}}
    put_in = _on_paper(river.places_of("put_in"), str(trip.get("put_in") or ""), "put-in")
    take_out = _on_paper(river.places_of("take_out"), str(trip.get("take_out") or ""), "take-out")
    number = paper.row("Number to call when overdue", authority.get("phone"))[1]
    whom = paper.row("Authority", authority.get("name"))[1]
    craft_words = ", ".join(str(craft[key]) for key in ("colour", "length", "type") if craft.get(key)) or (
        river.craft or BLANK
    )
    people = _people(personal, river)
    steps: tuple[str, ...] = (
        f"By {clock(first)}: nothing heard? Call the party, then the emergency contacts and whoever drives the "
        "shuttle. Calls that ring without an answer are normal on a river: go on to the next number.",
        f"By {clock(second)}: still nothing? Call {whom}, {number}. Do not go looking on the water yourself.",
        f"Say: overdue river party of {len(people)} on the {river.name}; put-in {put_in or BLANK}; take-out "
        f"{take_out or BLANK}; {craft_words}; expected off at {expected.astimezone(zone):%H:%M}; last heard from: "
        f"{BLANK}.",
        "Call at once, at any hour, when you have reason for concern: you need not wait for these times.",
    )
    sections = [
        Section(
            "Holder of this plan", (paper.row("Name", holder.get("name")), paper.row("Phone", holder.get("phone")))
        ),
        Section(
            "Where and when",
            (
                paper.row("Put-in", put_in),
                ("Leaving the put-in", clock(_moment(trip["start"], "start"))),
                paper.row("Take-out", take_out),
                ("Expected off the water", clock(expected)),
                ("Latest off the water", clock(latest)),
                *_ways_off(trip),
                paper.row("Planned stops, wading", (personal.get("plan") or {}).get("stops")),
                *((("Stops in the plan", _stops(plan, zone)),) if trip.get("stops") else ()),
            ),
        ),
    ]
    for i, person in enumerate(people, 1):
        labels = ("name", "Name"), ("age", "Age"), ("phone", "Phone"), ("medical", "Medical, limits"), \
            ("swims", "Swims"), ("role", "Role"), ("contact", "Emergency contact")  # fmt: skip
        sections.append(Section(f"Person {i}", tuple(paper.row(label, person.get(key)) for key, label in labels)))
    sections.append(
        Section(
            "Craft",
            (
                paper.row("Type", craft.get("type") or river.craft),
                *(paper.row(label, craft.get(key)) for key, label in (("length", "Length"), ("colour", "Colour"),
                    ("registration", "Number or registration"), ("jackets", "Life jackets, count and colour"))),
            ),
        )
    )  # fmt: skip
    for vehicle in list(personal.get("vehicle") or [{}]):
        vehicle_labels = (
            ("what", "Vehicle"),
            ("make", "Make"),
            ("colour", "Colour"),
            ("plate", "Plate"),
            ("parked_at", "Parked at"),
        )
        sections.append(Section("Vehicle", tuple(paper.row(label, vehicle.get(key)) for key, label in vehicle_labels)))
    talk, gear = personal.get("communication") or {}, personal.get("gear") or {}
    sections += [
        Section("Reaching the party", tuple(paper.row(label, talk.get(key)) for key, label in (("phone", "Phones"),
            ("satellite", "Satellite messenger"), ("dead_zones", "No signal"), ("check_ins", "Check-ins agreed")))),
        Section("Gear", tuple(paper.row(label, gear.get(key)) for key, label in (("clothing", "Clothing for immersion"),
            ("throw_rope", "Throw rope"), ("first_aid", "First aid"), ("light", "Light"), ("other", "Other")))),
        Section("The river when this was made", tuple(_caution_rows(plan, units, zone))),
        Section(
            "Closing",
            (
                ("Off the water", f"The party is off, heard at {BLANK} from {BLANK}. Destroy this paper then."),
                ("Changes", "The party tells the holder of every change before it leaves signal."),
                ("Version", f"{personal.get('version', 1)}, made {clock(made_at)}; all times are {zone.key}"),
                ("Supersedes", str(personal.get("supersedes") or "none")),
            ),
        ),
    ]  # fmt: skip
    lead = (
        "For a reliable person ashore; it is not filed with any authority. If the dates and times here pass and you "
        "have not heard from the party, do the following."
    )
    dusk = trip.get("dusk")
    if dusk and first > _moment(dusk, "dusk"):
        steps = (
            *steps,
            f"It is dark from {clock(_moment(dusk, 'dusk'))}: searching is slow then. Agree on earlier hours.",
        )
    return FloatPlan(
        f"Float plan: {river.name}, {_moment(trip['start'], 'start').astimezone(zone):%A %d %B %Y}",
        lead, first, second, steps, tuple(sections), tuple(dict.fromkeys(paper.blanks)),
    )  # fmt: skip


def _people(personal: Mapping[str, Any], river: River) -> list[Mapping[str, Any]]:
    """One record for each of the party: those written down, and empty ones up to the river folder's count."""
    listed = [person for person in personal.get("person") or () if any(person.values())]
    counts = [river.party.get("adults"), river.party.get("children")]
    known = sum(n for n in counts if isinstance(n, int) and not isinstance(n, bool))
    return [*listed, *({} for _ in range(max(known, 1) - len(listed)))]


def _ways_off(trip: Mapping[str, Any]) -> tuple[Row, ...]:
    ways = trip.get("ways_off") or ()
    if not ways:
        return (("Ways off between", "none is drawn in the river folder"),)
    return tuple(
        ("Way off", f"{way['name']}, {place_words(way['lon'], way['lat'])}{_note(way.get('note') or '')}")
        for way in ways
    )


def _stops(plan: Mapping[str, Any], zone: ZoneInfo) -> str:
    found = []
    for stop in (plan.get("trip") or {}).get("stops") or ():
        if stop.get("arrive_at"):
            found.append(
                f"{stop.get('name') or stop.get('spot')} {_moment(stop['arrive_at'], 'stop').astimezone(zone):%H:%M}"
            )
    return ", ".join(found)
