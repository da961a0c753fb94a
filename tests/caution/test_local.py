"""Limits that a river folder holds for its own reach: where they turn, what they read, and what they leave open."""

from __future__ import annotations

import pytest

from planner.caution.local import local_checks
from planner.caution.records import Conditions


def held(day, station="", doubts=None, **limit):
    """One limit against a day: its check, and whether it enters the level or is a note of low water."""
    limit = {"input": "stage", "at_si": 2.0, "level": 2, "source": "Board"} | limit
    checks, low = local_checks([limit], day, doubts=doubts, gauge=station)
    (check,) = [*checks, *low]
    return check, bool(checks)


@pytest.mark.parametrize(("side", "just_off", "beyond"), [("above", 1.99, 2.01), ("below", 2.01, 1.99)])
def test_a_limit_counts_at_its_value_and_beyond(side, just_off, beyond):
    """A river that closes at 2.0 m is closed at 2.0 m; a floor of 2.0 m is met at 2.0 m."""
    levels = [held(Conditions(stage_m=stage), side=side)[0].level for stage in (just_off, 2.0, beyond)]
    assert levels == [0, 2, 2]


@pytest.mark.parametrize(
    ("side", "input_", "enters"),
    [
        ("above", "stage", True),
        ("above", "discharge", True),
        ("below", "stage", False),
        ("below", "discharge", False),
        ("below", "turbidity", False),
        ("below", "water_temperature", True),
    ],
)
def test_low_and_clear_water_are_notes_and_cold_water_is_a_caution(side, input_, enters):
    """More water would take a note's level away, so it enters none; colder water only gets worse."""
    day = Conditions(stage_m=2.0, discharge_m3s=2.0, turbidity_fnu=2.0, water_temp_c=2.0)
    check, entered = held(day, input=input_, side=side)
    assert (check.level, entered, check.counted) == (2, enters, enters)


def test_a_floor_reads_the_low_side_of_the_flow_and_a_ceiling_the_high_side():
    """Of 8 to 20 m³/s a floor of 10 may be undercut and a ceiling of 15 exceeded; with one figure both read that."""
    day = Conditions(discharge_m3s=20.0, discharge_low_m3s=8.0)
    floor = {"input": "discharge", "side": "below", "at_si": 10.0}
    ceiling = {"input": "discharge", "side": "above", "at_si": 15.0}
    assert [held(day, **limit)[0].level for limit in (floor, ceiling)] == [2, 2]
    assert [held(Conditions(discharge_m3s=12.0), **limit)[0].level for limit in (floor, ceiling)] == [0, 0]
    stage, _ = held(Conditions(stage_m=3.0, discharge_low_m3s=1.0), side="below")
    assert stage.level == 0, "the flow's low side is no stage"


def test_a_limit_of_warmth_reads_the_warmest_water_and_one_of_cold_the_coldest():
    """Regression: a river closed at 23 °C and more was held against the coldest hour of the day."""
    day = Conditions(water_temp_c=17.0, water_temp_high_c=24.0)
    warm, cold = ({"input": "water_temperature", "side": side, "at_si": 20.0} for side in ("above", "below"))
    assert [held(day, **limit)[0].level for limit in (warm, cold)] == [2, 2]
    assert held(Conditions(water_temp_c=17.0), **warm)[0].level == 0


def test_what_the_reading_cannot_carry_clears_nothing_and_takes_nothing_back():
    """In doubt a limit that is not reached reads not assessed, one that is reached stays with the doubt beside it."""
    doubts = {"level": "The last reading is too old for this."}
    calm, _ = held(Conditions(stage_m=1.0), doubts=doubts)
    assert (calm.level, calm.doubt) == (None, True)
    assert "the last reading is too old" in calm.text
    high, _ = held(Conditions(stage_m=2.5), doubts=doubts)
    assert (high.level, high.doubt) == (2, True)
    assert high.text.endswith("too old for this. What it raised stands.")
    sure, _ = held(Conditions(stage_m=2.5))
    assert (sure.level, sure.doubt) == (2, False)
    other, _ = held(Conditions(water_temp_c=1.0), input="water_temperature", doubts=doubts)
    assert other.doubt is False, "a doubt about the level says nothing of the water's temperature"


def test_a_limit_without_a_reading_is_not_assessed_and_says_what_it_is():
    """Reader, limit and the authority's words are all there, so that it can be held against the gauge by eye."""
    check, _ = held(Conditions(), station="usgs:1", gauge="usgs:1", text="No boats")
    assert (check.level, check.doubt) == (None, True)
    assert check.text == "The gauge (usgs:1) is not known; the local limit is 2.00 m or more. “No boats”"


def test_limits_keep_their_number_in_the_folder():
    """A line that is of another kind is passed over, and the rest keep the places that a reader counts."""
    known = {"input": "stage", "at_si": 2.0, "level": 2}
    checks, low = local_checks(
        [{"input": "wind", "at_si": 1.0, "level": 3}, known, known | {"side": "below"}], Conditions(stage_m=2.0)
    )
    assert [check.rule for check in checks] == ["F1.2"]
    assert [check.rule for check in low] == ["F1.3"]
    assert checks[0].source == "the river folder, no source given"


@pytest.mark.parametrize(
    ("station", "limits", "level"),
    [("usgs:1", "usgs:1", 2), ("usgs:1", "usgs:2", None), ("usgs:1", None, 2), ("", "usgs:2", 2)],
)
def test_a_limit_is_read_at_its_own_gauge_only(station, limits, level):
    """A limit that names another gauge is left open; one that names none holds at every gauge."""
    assert held(Conditions(stage_m=2.5), station=station, gauge=limits)[0].level == level
