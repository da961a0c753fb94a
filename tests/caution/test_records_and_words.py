"""What a condition takes, what a caution hands on, and how a compared quantity reads, one by one."""

from __future__ import annotations

import math
from dataclasses import fields

import pytest

from planner.caution.records import Caution, Check, Conditions, known, label_of
from planner.caution.wording import show_value
from planner.errors import UsageMistake
from planner.units import FOOT


@pytest.mark.parametrize(("value", "there"), [(None, False), (math.nan, False), (0.0, True), (False, True), ("", True)])
def test_only_nothing_and_nan_are_unknown(value, there):
    """Zero, no and an empty word were said."""
    assert known(value) is there


def test_what_is_nan_is_kept_as_not_supplied():
    """So that no comparison with it reads as calm; what was said stays."""
    seen = Conditions(stage_m=math.nan, discharge_m3s=0.0, alone=False, footing="slick")
    assert seen.stage_m is None
    assert (seen.discharge_m3s, seen.alone, seen.footing) == (0.0, False, "slick")
    said = {field.name for field in fields(seen) if field.default is None and getattr(seen, field.name) is not None}
    assert said == {"footing", "alone", "discharge_m3s"}


@pytest.mark.parametrize("field", ["footing", "flood_alert", "storm_alert", "quality"])
def test_a_word_that_is_none_of_its_list_is_refused(field):
    """With the list; a word of any other field is not looked at."""
    with pytest.raises(UsageMistake, match="one of: "):
        Conditions(**{field: "muddy"})
    assert Conditions(hazards_in_reach=(("weir", "muddy"),)).hazards_in_reach == (("weir", "muddy"),)


def test_levels_have_their_words():
    """Zero to three, and none."""
    assert [label_of(level) for level in (0, 1, 2, 3, None)] == [
        *("no caution raised", "heads-up", "think again", "stay off", "not assessed")
    ]


def test_a_caution_hands_on_what_holding_it_over_needs():
    """Checks at level 0 whose input was in doubt, by rule and place; markers with their level."""
    base = (
        Check("F1", "riffle", "gauge", 0, "", doubt=True),
        Check("F2", "", "gauge", 0, "", doubt=False),
        Check("F3", "", "gauge", 1, "", doubt=True),
        Check("F4", "", "gauge", None, "", doubt=True),
        Check("M1", "", "marker", 2, "", counted=False),
    )
    told = Caution(1, "heads-up", 3, 4, ({"rule": "F3"},), ({"rule": "L1"},), base).as_dict()
    assert told["unclear"] == [["F1", "riffle"]]
    assert told["markers"] == {"M1": 2}
    assert (told["reasons"], told["low_water"]) == ([{"rule": "F3"}], [{"rule": "L1"}])


@pytest.mark.parametrize(
    ("value", "unit", "metric", "us"),
    [
        (None, "m", "", ""),
        ("slick", "", "slick", "slick"),
        (True, "m", "True", "True"),
        (2.0 * FOOT, "ft", "0.6 m", "2.0 ft"),
        (2.0 * FOOT, "m", "0.6 m", "2.0 ft"),
        (3.0 * FOOT, "ft/s", "0.9 m/s", "3.0 ft/s"),
        (3.0 * FOOT, "m/s", "0.9 m/s", "3.0 ft/s"),
        (6.54 * FOOT**2, "m2/s", "0.61 m²/s", "6.5 ft²/s"),
        (6.54 * FOOT**2, "ft2/s", "0.61 m²/s", "6.5 ft²/s"),
        (1000.0 * FOOT**3, "m3/s", "28.3 m³/s", "1,000 ft³/s"),
        (1000.0 * FOOT**3, "ft3/s", "28.3 m³/s", "1,000 ft³/s"),
        (10.0, "degF", "10.0 °C", "50 °F"),
        (10.0, "degC", "10.0 °C", "50 °F"),
        # 10 and 20 °C are 50 and 68 °F
        (30.0, "degF sum", "30 °C", "118 °F"),
        (119.0, "min", "119 min", "119 min"),
        (120.0, "min", "2.0 h", "2.0 h"),
        (630.0, "min", "10.5 h", "10.5 h"),
        (36.0, "h", "36.0 h", "36.0 h"),
        (0.734, "fraction", "73 %", "73 %"),
        (12.34, "FNU", "12.3 FNU", "12.3 FNU"),
        (0.012345, "percent", "0.0123", "0.0123"),
    ],
)
def test_each_kind_of_quantity_reads_in_the_reader_s_unit(value, unit, metric, us):
    """By hand, in both systems."""
    assert (show_value(value, unit, "metric"), show_value(value, unit, "us")) == (metric, us)


def test_stages_and_rises_have_two_decimals_and_depths_one():
    """As a gauge is read to a centimetre and a wader's depth is not."""
    assert show_value(0.456, "m", "metric", "observed_stage_m") == "0.46 m"
    assert show_value(0.456, "m", "metric", "rise_m_3h") == "0.46 m"
    assert show_value(0.456, "m", "metric", "wade_depth_m") == "0.5 m"
