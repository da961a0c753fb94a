"""Holding a caution over from its record alone: each rule of what stays, what goes and what follows from it."""

from __future__ import annotations

from typing import Any

import pytest

from planner.caution import hold_record
from planner.caution.assess import STEP
from planner.caution.keep import HELD
from planner.caution.records import NOT_ASSESSED


def reason(rule: str, level: int | None, *, where: str = "", kind: str = "level", doubt: bool = False, **more: Any):
    """A reason as it stands in plan.json."""
    return {"rule": rule, "level": level, "text": f"{rule} said.", "where": where, "kind": kind, "doubt": doubt, **more}


def record(level: int | None, *reasons: Any, unclear: Any = (), **markers: int | None):
    """A caution as it stands in plan.json."""
    return {
        "level": level,
        "label": "",
        "reasons": [*reasons],
        "unclear": [list(one) for one in unclear],
        "markers": markers,
    }


def said(kept: Any):
    """Rule, place and level of each reason, in order."""
    return [(one["rule"], one["where"], one["level"]) for one in kept["reasons"]]


def test_a_check_that_is_clear_now_lets_its_old_level_go():
    """Only what is not assessed or in doubt today keeps yesterday's level."""
    assert hold_record(record(3, reason("F4", 3)), record(0))["level"] == 0
    kept = hold_record(record(3, reason("F4", 3)), record(0, unclear=[("F4", "")]))
    assert (kept["level"], said(kept)) == (3, [("F4", "", 3)])
    assert kept["reasons"][0]["text"] == f"F4 said. {HELD}"
    assert kept["reasons"][0]["doubt"] is True


@pytest.mark.parametrize(
    ("now", "level"),
    [(reason("F4", 1, doubt=True), 3), (reason("F4", None), 3), (reason("F4", 1), 1)],
)
def test_the_same_check_is_held_over_a_doubtful_lower_one_alone(now, level):
    """A lower level on a good reading stands; on a doubtful one, or where it is not assessed, the old one does."""
    kept = hold_record(record(3, reason("F4", 3)), record(now["level"], now))
    assert said(kept) == [("F4", "", level)]
    assert kept["level"] == level


def test_a_check_that_raises_as_much_today_keeps_todays_words():
    """Held words take no place of new ones that raise no less."""
    kept = hold_record(record(2, reason("F4", 2)), record(2, reason("F4", 2, doubt=True)))
    assert [one["text"] for one in kept["reasons"]] == ["F4 said."]


def test_what_is_held_at_one_place_is_not_held_at_another():
    """The gravel bar's level is no level of the ford, and both stand side by side."""
    old = record(3, reason("W1", 3, where="bar"), reason("W1", 2, where="ford"))
    kept = hold_record(old, record(1, reason("W1", 1, where="bar"), unclear=[("W1", "ford")]))
    assert said(kept) == [("W1", "ford", 2), ("W1", "bar", 1)]


def test_reasons_stand_from_the_highest_level_down_and_then_those_not_assessed():
    """The order of the page: what is gravest first, what is not known last."""
    old = record(3, reason("F4", 3))
    kept = hold_record(old, record(1, reason("X", None), reason("T2", 1), unclear=[("F4", "")]))
    assert said(kept) == [("F4", "", 3), ("T2", "", 1), ("X", "", None)]


@pytest.mark.parametrize("level", [None, 0])
def test_nothing_to_hold_leaves_the_level_as_it_was(level):
    """Not assessed stays not assessed, and is never turned into nothing raised."""
    kept = hold_record(record(0, reason("F4", 0)), record(level, unclear=[("F4", "")]))
    assert kept["level"] is level
    assert (kept["label"] == NOT_ASSESSED) is (level is None)


def test_a_level_of_the_new_record_is_never_lowered():
    """The new level counts even where its reasons are not told."""
    assert hold_record(record(1, reason("F4", 1)), record(2, unclear=[("F4", "")]))["level"] == 2


@pytest.mark.parametrize(
    ("now", "kept"),
    [({"F6r": None}, 1), ({"F6r": 0}, 0), ({}, None)],
)
def test_a_rise_that_is_not_known_is_held_and_one_that_ended_is_not(now, kept):
    """The marker of a rising river stays while the rise is unknown; a river read as steady clears it."""
    assert hold_record(record(1, F6r=1), record(0, **now))["markers"].get("F6r") == kept


def test_a_marker_in_doubt_is_held_as_one_not_known():
    """A steady reading from an iced gauge does not end the rise."""
    assert hold_record(record(1, F6r=1), record(0, unclear=[("F6r", "")], F6r=0))["markers"] == {"F6r": 1}


@pytest.mark.parametrize(
    ("given", "level"),
    [
        (reason("F4", 1), 2),
        (reason("F4", 2), 3),
        (reason("F4", 3), 3),
        (reason("F4", 1, kind="sensor"), 1),
        ({**reason("F4", 2), "text": f"F4 said. {STEP}"}, 2),
    ],
)
def test_a_held_rise_lifts_cautions_of_the_water_by_one_step_and_once(given, level):
    """Levels 1 and 2 that come from the water go up by one; 3 is the top; what was lifted is not lifted again."""
    kept = hold_record(record(1, F6r=1), record(given["level"], given, F6r=None))
    assert kept["level"] == kept["reasons"][0]["level"] == level
    assert kept["reasons"][0]["text"].count(STEP) == (0 if level == given["level"] and STEP not in given["text"] else 1)


def test_a_river_that_does_not_rise_lifts_nothing():
    """Without a rise there is no step."""
    assert hold_record(record(1, F6r=0), record(2, reason("F4", 2), F6r=None))["level"] == 2


@pytest.mark.parametrize(
    ("cold", "high", "both"),
    [
        (reason("C1", 2, kind="cold"), reason("F4", 2), True),
        (reason("C1", 2, kind="cold"), reason("W1", 2, where="bar"), True),
        (reason("C1", 1, kind="cold"), reason("F4", 2), False),
        (reason("C1", 2, kind="cold"), reason("F4", 1), False),
        (reason("C1", 2, kind="cold"), reason("F1", 2, kind="sensor"), False),
        (reason("C1", 2, kind="cold"), reason("T1", 2), False),
    ],
)
def test_cold_now_and_high_water_held_are_combined(cold, high, both):
    """Cold water and high water together are more than each, at level 2 of both and where the water is high."""
    old = record(high["level"], high)
    kept = hold_record(old, record(cold["level"], cold, unclear=[(high["rule"], high["where"])]))
    found = [one for one in kept["reasons"] if one["rule"] == "C2"]
    assert [(one["level"], one["where"]) for one in found] == ([(3, high["where"])] if both else [])
    assert kept["level"] == (3 if both else 2)


def test_the_cold_of_the_river_counts_at_a_spot():
    """A spot knows the river's cold by its marker alone."""
    new = record(2, reason("W1", 2, where="bar"), reason("W1", 3, where="ford"), C1=2)
    assert [(one["rule"], one["where"]) for one in hold_record(record(0), new)["reasons"]][:2] == [
        ("W1", "ford"),
        ("C2", "ford"),
    ]
    assert all(one["rule"] != "C2" for one in hold_record(record(0), {**new, "markers": {"C1": 1}})["reasons"])


def test_the_combination_is_said_once_and_is_not_held_for_its_own_sake():
    """Cold and high water are combined from what stands today: an old combination alone keeps nothing."""
    old = record(3, reason("C2", 3, kind="combination"))
    assert hold_record(old, record(0, unclear=[("C2", "")]))["level"] == 0
    new = record(3, reason("C2", 3, kind="combination"), reason("C1", 2, kind="cold"), reason("F4", 2))
    assert [one["rule"] for one in hold_record(record(0), new)["reasons"]].count("C2") == 1


def test_a_marker_not_known_today_is_not_made_known_by_an_old_nothing():
    """Yesterday's steady river says nothing about today's."""
    assert hold_record(record(0, F6r=0), record(0, F6r=None))["markers"] == {"F6r": None}
