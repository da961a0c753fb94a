"""Holding a level over, the words beside it, and where the day turns."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from planner.caution import (
    assess_river,
    assess_spot,
    hold_record,
    rise_conditions,
    standing_words,
    turning_levels,
    turning_words,
)
from planner.caution.records import Conditions
from planner.caution.turning import Turning
from planner.page.words import caution_line, unlisted_words
from tests.caution.test_rules import CALM


def test_a_raised_level_holds_through_a_lost_gauge_and_clears_on_a_good_reading():
    """Stay off at night stays stay off when the gauge falls silent, and ends with a good reading of low water."""
    high = assess_river(dataclasses.replace(CALM, stage_m=4.5))
    gone = assess_river(dataclasses.replace(CALM, stage_m=None, data_age_min=None, quality="missing"))
    silent = hold_record(high.as_dict(), gone.as_dict())
    assert silent["level"] == 3
    assert "Held from an earlier reading" in silent["reasons"][0]["text"]
    again = hold_record(silent, assess_river(dataclasses.replace(CALM, stage_m=None)).as_dict())
    assert again["reasons"][0]["text"].count("Held from") == 1
    assert hold_record(again, assess_river(CALM).as_dict())["level"] == 0


def test_an_iced_low_reading_does_not_clear_a_high_one():
    """A reading in doubt takes nothing back, even where it raises something lower itself."""
    high = assess_river(dataclasses.replace(CALM, stage_m=4.5))
    iced = assess_river(dataclasses.replace(CALM, stage_m=3.2, quality="ice", ice=None))
    held = {reason["rule"]: reason["level"] for reason in hold_record(high.as_dict(), iced.as_dict())["reasons"]}
    assert held["F4"] == 3


def test_the_step_for_rising_holds_while_the_rise_is_not_known():
    """A gap in the record does not end the rise."""
    push = dataclasses.replace(CALM, wade_depth_m=0.45, wade_speed_m_s=0.75, rise_m_3h=0.05)
    before = assess_spot(push, wading=True)
    after = assess_spot(dataclasses.replace(push, rise_m_3h=None), wading=True)
    assert (before.level, after.level, hold_record(before.as_dict(), after.as_dict())["level"]) == (2, 1, 2)


def test_where_nothing_is_raised_the_words_are_no_advice():
    """The sentence of the design stands whole."""
    caution = assess_river(CALM)
    assert unlisted_words(caution.as_dict()) == (
        f"No caution raised by the {caution.assessed} of {caution.checks} checks that could be made. "
        "This is not advice that the river is fit to use."
    )


def test_where_nothing_could_be_looked_at_no_words_say_that_nothing_was_raised():
    """Without any input the level reads not assessed and no check is counted as made."""
    bare = assess_river(Conditions()).as_dict()
    assert caution_line(bare) == "Caution not assessed"
    assert unlisted_words(bare) == f"0 of {bare['checks']} checks could be made."


def test_the_standing_words_name_who_decides():
    """Authorities, closures, guides and the eye at the water come before any figure of ours."""
    words = standing_words()
    for part in (
        "Local authorities",
        "posted closures",
        "licensed guides",
        "provisional",
        "not for the place where a foot",
    ):
        assert part in words


def test_the_day_turns_at_the_last_step_below():
    """Between two steps the higher caution holds, so the turn is the lower step."""
    turns = turning_levels([(1.0, 0), (1.2, 0), (1.4, 1), (1.6, 3), (1.8, 3)])
    assert turns == (Turning(1, 1.2), Turning(3, 1.4))
    assert turning_words(turns, "metric") == ("Stay off above 1.40 m.", "Heads-up above 1.20 m.")


def test_a_level_at_every_step_is_said_as_such():
    """A ladder that starts at a caution has no turn to it."""
    turns = turning_levels([(1.0, 2), (1.2, 2)])
    assert turns == (Turning(2, -math.inf),)
    assert turning_words(turns) == ("Think again at every level of the ladder.",)


def test_a_step_that_was_not_assessed_is_no_ground_to_stand_on():
    """The turn goes down to the last step that could be assessed."""
    assert turning_levels([(1.0, 0), (1.2, None), (1.4, 2)]) == (Turning(2, 1.0),)
    assert turning_levels([(1.0, None), (1.2, None)]) == ()


def test_a_ladder_of_discharges_is_said_in_discharge():
    """A river without stage turns at a flow, in the user's own unit."""
    turns = turning_levels([(20.0, 0), (40.0, 2)])
    assert turning_words(turns, "metric", "discharge") == ("Think again above 20.0 m³/s.",)
    assert turning_words(turns, "us", "discharge") == ("Think again above 706 ft³/s.",)


def test_cautions_and_their_levels_turn_alike_and_of_two_at_one_reading_the_given_order_holds():
    """Whole records are read by their level; two steps at one reading are compared with no more than it."""
    high = assess_river(dataclasses.replace(CALM, stage_m=4.5))
    assert turning_levels([(1.0, assess_river(CALM)), (4.5, high)]) == (Turning(3, 1.0),)
    assert turning_levels([(1.0, 0), (1.0, None), (1.4, 2)]) == (Turning(2, 1.0),)


def _record(stage):
    times = np.datetime64("2026-06-01T00:00:00", "s") + np.arange(len(stage)) * np.timedelta64(900, "s")
    return times, np.asarray(stage, dtype=float)


def test_rise_and_gain_are_those_before_the_last_reading():
    """A rise of 5 cm an hour reads 5 cm in one hour and 15 cm in three."""
    times, stage = _record(1.0 + 0.0125 * np.arange(40))
    got = rise_conditions(times, stage, 10 * 1.01 ** np.arange(40))
    assert got["rise_m_1h"] == pytest.approx(0.05)
    assert got["rise_m_3h"] == pytest.approx(0.15)
    assert got["flow_gain_3h"] == pytest.approx(1.01**12 - 1)
    assert got["rise_percentile"] is None  # ten hours on record say nothing about a 95th percentile


def test_no_rise_is_read_across_a_gap_or_from_a_silent_gauge():
    """What the record does not hold stays unknown."""
    times, stage = _record(1.0 + 0.0125 * np.arange(40))
    stage[10:39] = np.nan
    assert rise_conditions(times, stage, np.full(40, np.nan))["rise_m_3h"] is None
    nothing = rise_conditions(times, np.full(40, np.nan), np.full(40, np.nan))
    assert set(nothing.values()) == {None}


def test_the_largest_rise_on_record_ranks_above_the_99th():
    """A river that rises as never before in its record is told so; a falling one ranks 0."""
    wave = 1.0 + 0.02 * np.sin(np.arange(4 * 24 * 40) * 2 * np.pi / 96)
    flood = np.concatenate([wave, wave[-1] + 0.05 * np.arange(1, 13)])
    times, stage = _record(flood)
    assert rise_conditions(times, stage, np.full(len(stage), np.nan))["rise_percentile"] > 99
    times, stage = _record(np.concatenate([wave, wave[-1] - 0.05 * np.arange(1, 13)]))
    assert rise_conditions(times, stage, np.full(len(stage), np.nan))["rise_percentile"] == 0
