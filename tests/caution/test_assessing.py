"""What a day's checks add up to where something about the reading, the stance or the party is not known."""

from __future__ import annotations

import dataclasses

import pytest

from planner.caution import assess_river, assess_run, assess_spot, hold_record, worst
from tests.caution.test_rules import CALM


def like(**change):
    """A calm day with something changed."""
    return dataclasses.replace(CALM, **change)


def raised(caution):
    """Rules that raise something, with their level."""
    return {reason["rule"]: reason["level"] for reason in caution.reasons if reason["level"]}


def test_a_level_that_was_stated_has_no_age():
    """With a stated level and no reading the age is no check; a reading that is iced stays one and blocks nothing."""
    stated = assess_river(like(level_given=True, data_age_min=None, quality=None))
    assert stated.level == 0
    assert all(check.rule != "X1" for check in stated.base)
    assert any(check.rule == "X1" for check in assess_river(like(level_given=True)).base)
    assert any(check.rule == "X1" for check in assess_river(like(level_given=True, data_age_min=None)).base)


def test_a_reading_of_unknown_age_clears_nothing_and_other_news_does():
    """High water stays until a dated reading; a forecast without thunder needs no reading."""
    high = assess_river(like(stage_m=4.5, thunder_chance=80.0))
    later = hold_record(high.as_dict(), assess_river(like(data_age_min=None)).as_dict())
    levels = {reason["rule"]: reason["level"] for reason in later["reasons"] if reason["level"]}
    assert (later["level"], "S1" in levels) == (3, False)
    assert levels["F4"] == 3


def raised_or_open(day, rule):
    """The level of one check of the river."""
    return next(check.level for check in assess_river(day).base if check.rule == rule)


@pytest.mark.parametrize(
    ("change", "both"),
    [
        ({"stage_m": 3.5}, True),
        ({"thunder_chance": 80.0}, False),
        ({"stage_m": 1.0}, False),
    ],
)
def test_cold_is_combined_with_high_water_and_with_nothing_else(change, both):
    """Thunder over cold water is two cautions; high cold water is a third."""
    assert ("C2" in raised(assess_river(like(water_temp_c=8.0, **change)))) is both


@pytest.mark.parametrize("lacking", ["wade_depth_m", "wade_speed_m_s"])
def test_a_stance_in_water_of_unknown_depth_or_speed_is_not_assessed(lacking):
    """Nothing raised is no answer where nobody knows how deep or how fast the water is."""
    assert assess_spot(like(**{lacking: None}), wading=True).level is None
    assert assess_spot(like(**{lacking: None}), wading=False).level == 0
    assert assess_run(like(**{lacking: None}), wading=True).level is None


def test_a_footing_that_was_not_said_clears_no_wading_caution():
    """Yesterday's bad footing holds until somebody says what the footing is."""
    bad = assess_spot(like(wade_depth_m=0.5, wade_speed_m_s=0.9, footing="slick"), wading=True)
    assert bad.level >= 1
    unsaid = assess_spot(like(footing=None), wading=True)
    assert unsaid.level == 0
    assert hold_record(bad.as_dict(), unsaid.as_dict())["level"] >= raised(bad)["W1"]
    assert hold_record(bad.as_dict(), assess_spot(CALM, wading=True).as_dict())["level"] == 0


@pytest.mark.parametrize("turn", [1, -1])
def test_of_one_check_at_one_place_the_higher_counts_and_not_assessed_beats_nothing(turn):
    """Level 1 outranks not assessed, which outranks level 0, in whatever order they come."""
    one = assess_run(like(water_temp_c=20.0))
    unknown = assess_run(like(water_temp_c=None))
    nothing = assess_run(CALM)

    def of(*cautions):
        found = worst(cautions[::turn])
        return next(check.level for check in found.base if check.rule == "C1")

    assert of(one, unknown) == 1
    assert of(unknown, nothing) is None
    assert of(one, nothing) == 1


def test_a_note_on_low_water_is_said_once():
    """River and spot share their notes."""
    low = assess_river(like(discharge_m3s=2.0, discharge_low_m3s=2.0, craft_minimum_m3s=5.0))
    assert len(low.low_water) == 1
    assert worst([low, low]).low_water == low.low_water
    assert worst([assess_river(CALM), low]).low_water == low.low_water


def test_a_release_that_is_listed_counts_on_any_river_and_silence_clears_it_on_an_unregulated_one_only():
    """Where a dam sets the flow, a list that says nothing any more takes no release back."""
    for regulated in (True, False):
        listed = assess_river(like(regulated=regulated, release_in_window=True))
        assert raised(listed)["F7"] == 2
        silent = hold_record(listed.as_dict(), assess_river(like(regulated=regulated)).as_dict())
        levels = {reason["rule"]: reason["level"] for reason in silent["reasons"] if reason["level"]}
        assert levels.get("F7") == (2 if regulated else None)


def test_a_river_that_rises_by_the_marker_exactly_takes_the_stricter_age():
    """At 0.03 m in three hours a reading counts for two hours, a hair below for six."""
    ages = {rise: raised_or_open(like(rise_m_3h=rise, data_age_min=180.0), "X1") for rise in (0.0299, 0.03)}
    assert ages == {0.0299: 0, 0.03: None}
