"""How the rows of one rule work together: which speaks, what stays open, what keeps a day from being assessed."""

from __future__ import annotations

import dataclasses

import pytest

from planner.caution import assess_river, assess_spot
from planner.caution.inputs import rule_inputs
from planner.caution.rules import check_rule
from tests.caution.test_rules import CALM


def of(name: str, **change):
    """One rule held against a calm day with something changed."""
    return check_rule(name, rule_inputs(dataclasses.replace(CALM, **change)), where="Ash bar")


@pytest.mark.parametrize(
    ("stage", "level", "words"),
    [
        (3.0, 2, "its agency acts from"),
        (4.0, 3, "minor flooding begins"),
        (5.0, 3, "moderate flooding begins"),
        (6.0, 3, "major flooding begins"),
    ],
)
def test_of_rows_that_raise_the_same_the_gravest_speaks(stage, level, words):
    """At a major flood the words are those of a major flood, though a minor one raises as much."""
    check = of("F4", stage_m=stage, moderate_stage_m=5.0, major_stage_m=6.0)
    assert check.level == level
    assert words in check.text


@pytest.mark.parametrize(
    ("known", "open_still"),
    [
        ({"minor_stage_m": 4.0}, False),
        ({"minor_stage_m": None}, True),
        ({"minor_stage_m": None, "major_stage_m": 6.0}, False),
    ],
)
def test_a_limit_not_supplied_leaves_nothing_open_where_another_raises_as_much(known, open_still):
    """Without the moderate stage the minor one settles it; without any that raises 3, a lower answer is in doubt."""
    check = of("F4", stage_m=3.5, moderate_stage_m=None, **known)
    assert check.level == 2
    assert check.doubt is open_still


def test_an_input_that_is_not_known_leaves_the_check_open():
    """No stage: nothing is raised, nothing is cleared, and the words name what lacks."""
    check = of("F4", stage_m=None)
    assert (check.level, check.doubt) == (None, True)
    assert check.text == "The stage to compare with the flood categories is not known."


def test_what_was_not_supplied_beside_the_gauge_takes_no_level_away():
    """A chance of thunder that nobody gave is said; the day is still assessed by the rest."""
    caution = assess_river(dataclasses.replace(CALM, thunder_chance=None))
    assert caution.level == 0
    assert [reason["rule"] for reason in caution.reasons] == ["S1"]


@pytest.mark.parametrize("change", [{"data_age_min": None}, {"data_age_min": 900.0}, {"quality": "ice", "ice": None}])
def test_a_day_without_a_reading_that_counts_is_not_assessed(change):
    """No reading, an old one or one the gauge itself doubts: nothing raised is then no level 0."""
    assert assess_river(dataclasses.replace(CALM, **change)).level in (None, 3)
    assert assess_river(dataclasses.replace(CALM, **change)).level != 0


def test_a_check_in_doubt_names_its_place_only_where_it_has_one():
    """Words about a spot start with its name, words about the river with what is checked."""
    inputs = rule_inputs(CALM)
    spot = check_rule("W2", inputs, where="Ash bar", doubt="The reading is old.")
    assert spot.text == "Ash bar: depth where you stand: the reading is old."
    river = check_rule("C1", inputs, where="Ash bar", doubt="The reading is old.")
    assert river.text == "Cold water: the reading is old."


def test_the_words_about_old_readings_reach_the_spot():
    """On an old reading a wading spot is not assessed either."""
    old = assess_spot(dataclasses.replace(CALM, data_age_min=900.0), wading=True, where="Ash bar")
    assert old.level is None
    assert any(reason["text"].startswith("Ash bar: depth where you stand: ") for reason in old.reasons)
