"""The paper left ashore: its hours, its numbers, and that nothing personal leaks anywhere else."""

from __future__ import annotations

import json
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner
from shapely.geometry import Point

from planner.cli import main
from planner.errors import DataUnfit
from planner.page.floatplan import float_plan_html, float_plan_text
from planner.river.records import Place
from planner.trip import schedule
from planner.trip.floatplan import BLANK, float_plan, place_words
from planner.trip.personal import IGNORED, TEMPLATE, keep_out_of_git, read_personal, write_template
from tests.caution.words import forbidden_in
from tests.rivers import EXAMPLES
from tests.trip.test_schedule import END, SPOTS, START, at, river

MADE = datetime(2026, 6, 12, 23, tzinfo=UTC)
ZONE = "America/Chicago"
SECRET = {
    "person": [
        {"name": "Invented Personname", "phone": "555-0177", "medical": 'none <known> & "said"', "role": "rows"}
    ],
    "holder": {"name": "Invented Holdername", "phone": "555-0188"},
    "authority": {"name": "Park dispatch", "phone": "555-0199"},
    "vehicle": [{"what": "tow vehicle", "plate": "INV 123", "parked_at": "upper ramp"}],
}


def plan_of(where=None, start=START, end=END):
    """A plan with its trip and cautions."""
    where = where or river(SPOTS)
    return {
        "timezone": ZONE,
        "trip": schedule(where, start, end).as_dict(),
        "caution": {
            "level": 2, "assessed": 7, "checks": 20,
            "reasons": [
                {"rule": "F4", "level": 2, "text": "The gauge may reach 8.1 ft."},
                {"rule": "F5", "level": None, "text": "x"},
            ],
            "turns": ["Stay off above 9.00 ft."],
        },
        "gauges": [
            {"id": "usgs:1", "stage_m": 2.0, "discharge_m3s": None, "observed_at": "2026-06-12T23:00:00Z",
             "trend_m_per_h": 0.01},
        ],
        "expected": [{"stage_m": 2.0, "stage_low_m": 1.9, "stage_high_m": 2.2}],
    }  # fmt: skip


def paper(personal=SECRET, where=None, **window):
    """A float plan."""
    where = where or river(SPOTS)
    return float_plan(plan_of(where, **window), where, personal, "us", MADE)


def test_the_two_calls_follow_the_latest_take_out():
    """The party after the grace, the authority after the second wait, both from the slow end."""
    got = paper({**SECRET, "grace_min": 45, "then_min": 30})
    latest = schedule(river(SPOTS), START, END).take_out_latest.replace(microsecond=0)
    assert abs(got.first_call - latest - timedelta(minutes=45)) < timedelta(seconds=1)
    assert got.second_call - got.first_call == timedelta(minutes=30)
    usual = paper()
    assert usual.second_call - usual.first_call == timedelta(hours=1)


def test_the_paper_holds_every_part_that_a_search_needs():
    """Party, craft, vehicles, places with coordinates, hours, ways off, cautions, numbers, closing line."""
    base = river(SPOTS)
    more = Place("m", "Mill lane", "take_out", Point(at(7000.0)), note="gravel road")
    from dataclasses import replace

    text = float_plan_text(paper(where=replace(base, places=(*base.places, more))), ZONE)
    flat = " ".join(text.split())
    for part in (
        "Invented Personname", "555-0177", "INV 123", "Invented Holdername", "555-0188", "Park dispatch, 555-0199",
        "Upper ramp, 43.", "Lower ramp, 43.", "Way off: Mill lane, 43.", "gravel road", "Latest off the water",
        "level 2 of 3, think again", "The gauge may reach 8.1 ft.", "Stay off above 9.00 ft.", "usgs:1: 6.56 ft",
        "12 June 18:00", "6.23 ft to 7.22 ft", "overdue river party of 1", "Destroy this paper", "America/Chicago",
        "Supersedes: none", "Local authorities",
    ):  # fmt: skip
        assert part in flat, part


def test_what_is_not_known_is_a_line_to_fill_in_and_no_number_is_made_up():
    """Without personal data every line stands empty; the number is never guessed."""
    got = paper({})
    assert "Number to call when overdue" in got.blanks
    assert f"Call {BLANK}, {BLANK}" in got.steps[1]
    assert "911" not in float_plan_text(got, ZONE)


def test_the_rivers_own_authority_stands_in_for_a_missing_one():
    """river.toml's number is printed where the personal file has none."""
    from dataclasses import replace

    where = replace(river(SPOTS), authority={"name": "County sheriff", "phone": "555-0142"}, party={"adults": 3})
    got = paper({}, where)
    assert "County sheriff, 555-0142" in got.steps[1]
    assert "party of 3" in got.steps[2]
    assert sum(section.title.startswith("Person") for section in got.sections) == 3


def test_a_call_that_falls_into_the_dark_is_said():
    """When the first call comes after dusk the paper asks for earlier hours."""
    late = paper(end=datetime(2026, 6, 14, 2, tzinfo=UTC))
    assert "It is dark from" in late.steps[-1]
    assert "It is dark" not in paper().steps[-1]


def test_the_page_escapes_what_people_write_and_loads_nothing():
    """Angle brackets stay text, and no address is in the page."""
    page = float_plan_html(paper(), ZONE)
    assert "none &lt;known&gt; &amp; &quot;said&quot;" in page
    assert "http" not in page.replace("http-equiv", "")
    assert "<script" not in page


def test_no_forbidden_word_stands_on_the_paper():
    """The paper promises nothing."""
    for personal in ({}, SECRET):
        assert not forbidden_in(float_plan_text(paper(personal), ZONE))
    assert not forbidden_in(TEMPLATE)


def test_places_are_written_latitude_first_and_minutes_never_reach_sixty():
    """Rescuers read latitude first; rounding carries into the degrees."""
    assert place_words(-90.5, 43.0).startswith("43.00000 N, 90.50000 W")
    assert "44° 00.000' N" in place_words(0.0, 43.9999999)
    assert place_words(2.0, -1.0).startswith("1.00000 S, 2.00000 E")


def test_the_template_reads_back_and_is_kept_out_of_git(tmp_path):
    """The empty file is valid, private, listed in .gitignore, and never written over."""
    (tmp_path / ".gitignore").write_text("plans/")
    assert write_template(tmp_path) is True
    assert read_personal(tmp_path)["grace_min"] == 60
    assert stat.S_IMODE((tmp_path / "floatplan.toml").stat().st_mode) == 0o600
    lines = (tmp_path / ".gitignore").read_text().splitlines()
    assert lines == ["plans/", *IGNORED]
    (tmp_path / "floatplan.toml").write_text("version = 2\n")
    assert write_template(tmp_path) is False
    keep_out_of_git(tmp_path)
    assert (tmp_path / ".gitignore").read_text().splitlines() == lines
    assert read_personal(tmp_path) == {"version": 2}


@pytest.mark.parametrize(
    "text", ['name = "Invented', 'holder = "Invented"', "person = 3", "grace_min = -5", "grace_min = true"]
)
def test_a_personal_file_that_cannot_be_read_is_said_without_its_contents(tmp_path, text):
    """The message names the place and repeats nothing that was written."""
    (tmp_path / "floatplan.toml").write_text(text)
    with pytest.raises(DataUnfit) as caught:
        read_personal(tmp_path)
    assert "Invented" not in str(caught.value)


def test_a_plan_without_a_trip_is_refused():
    """No hours, no paper."""
    with pytest.raises(DataUnfit, match="no trip"):
        float_plan({"trip": {}}, river(SPOTS), {}, "us", MADE)


def test_nothing_personal_is_said_or_written_outside_the_two_files(tmp_path):
    """The command's output, the plan's folder and the messages hold no name and no number of the party."""
    import shutil

    folder = tmp_path / "river"
    shutil.copytree(EXAMPLES / "demo", folder)
    done = tmp_path / "plan"
    done.mkdir()
    (done / "plan.json").write_text(json.dumps(plan_of()))
    (folder / "floatplan.toml").write_text(
        '[holder]\nname = "Zebedee"\n[[person]]\nname = "Quillon"\nphone = "555-0123"\n'
    )
    before = {path: path.read_bytes() for path in Path(tmp_path).rglob("*") if path.is_file()}
    result = CliRunner().invoke(main, ["floatplan", str(folder), "--plan", str(done)])
    assert result.exit_code == 0, result.output
    for word in ("Zebedee", "Quillon", "555-0123"):
        assert word not in result.output
        holding = [p for p in tmp_path.rglob("*") if p.is_file() and word.encode() in p.read_bytes()]
        assert {p.name for p in holding} <= {"floatplan.toml", "floatplan.html", "floatplan.txt"}
    changed = {p.name for p in tmp_path.rglob("*") if p.is_file() and before.get(p) != p.read_bytes()}
    assert changed == {".gitignore", "floatplan.html", "floatplan.txt"}
    assert "Quillon" in (folder / "floatplan" / "floatplan.txt").read_text()


def test_without_any_plan_the_next_step_is_named(tmp_path):
    """The message says which command makes a plan."""
    import shutil

    shutil.copytree(EXAMPLES / "demo", tmp_path / "river")
    result = CliRunner().invoke(main, ["floatplan", str(tmp_path / "river")])
    assert result.exit_code == 4
    assert "plumbrun plan" in result.output
