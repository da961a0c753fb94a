"""The rules one by one, and what counts as a check."""

from __future__ import annotations

import dataclasses

import pytest

from planner.caution import (
    Conditions,
    assess_river,
    assess_run,
    assess_spot,
    party_conditions,
    worst,
)
from planner.errors import UsageMistake
from planner.tables import rows

CALM = Conditions(
    wade_depth_m=0.3,
    wade_speed_m_s=0.3,
    footing="fair",
    dark=False,
    alone=False,
    children=False,
    frail=False,
    stage_m=1.0,
    discharge_m3s=20.0,
    data_age_min=15.0,
    quality="provisional",
    rise_m_1h=0.0,
    rise_m_3h=0.0,
    flow_gain_3h=0.0,
    rise_percentile=0.0,
    percentile_season=50.0,
    percentile_all_days=50.0,
    action_stage_m=3.0,
    minor_stage_m=4.0,
    observed_stage_m=1.0,
    flood_alert="none",
    storm_alert="none",
    thunder_chance=0.0,
    regulated=False,
    hazards_in_reach=(),
    water_temp_c=23.0,
    air_temp_c=27.0,
    ice=False,
    turbidity_fnu=2.0,
    turbidity_median_fnu=2.0,
    turbidity_rising=False,
    bottom_seen=True,
    takeout_vs_sunset_min=-200.0,
    takeout_vs_dusk_min=-230.0,
    craft_minimum_m3s=10.0,
)


def level_of(caution, rule):
    """Level of one rule's check."""
    return next(check.level for check in caution.base if check.rule == rule)


def test_a_calm_day_with_every_input_leaves_no_check_unassessed():
    """With all supplied and nothing raised, every check is made and the label still claims nothing more."""
    caution = assess_river(CALM)
    assert caution.level == 0
    assert caution.label == "no caution raised"
    assert caution.assessed == caution.checks > 15
    assert caution.reasons == ()


def test_with_nothing_supplied_nothing_is_assessed():
    """No input at all reads not assessed, with a reason for each check."""
    caution = assess_river(Conditions())
    assert caution.level is None
    assert caution.label == "not assessed"
    assert caution.assessed == 0
    assert caution.checks == len(caution.reasons) > 15
    assert all(reason["level"] is None and reason["text"] for reason in caution.reasons)


def test_the_dictionary_has_the_keys_of_the_plan_and_no_others():
    """The shape is that of plan.json wherever a caution stands."""
    got = assess_river(dataclasses.replace(CALM, water_temp_c=8.0, stage_m=None)).as_dict()
    assert list(got) == ["level", "label", "assessed", "checks", "reasons", "low_water", "unclear", "markers"]
    assert got["reasons"]
    for reason in got["reasons"]:
        assert list(reason) == ["rule", "level", "text", "value", "threshold", "source", "where", "kind", "doubt"]


def test_raised_reasons_come_first_and_the_gravest_first():
    """A reader meets the highest level first and what is missing last."""
    seen = dataclasses.replace(CALM, ice=True, water_temp_c=12.0, air_temp_c=30.0, thunder_chance=None)
    levels = [reason["level"] for reason in assess_river(seen).reasons]
    known = [level for level in levels if level is not None]
    assert known == sorted(known, reverse=True)
    assert None in levels
    assert levels[: len(known)] == known


@pytest.mark.parametrize(
    ("change", "rule", "level"),
    [
        ({"rise_m_1h": 0.1499}, "F6", 0),
        ({"rise_m_1h": 0.15}, "F6", 2),
        ({"rise_m_1h": 0.4999}, "F6", 2),
        ({"rise_m_1h": 0.5}, "F6", 3),
        ({"flow_gain_3h": 0.2499}, "F6q", 0),
        ({"rise_percentile": 95.0}, "F6p", 1),
        ({"rise_percentile": 99.0}, "F6p", 2),
        ({"data_age_min": 360.0}, "X1", 0),
        ({"data_age_min": 361.0}, "X1", None),
        ({"data_age_min": 121.0, "regulated": True}, "X1", None),
        ({"data_age_min": 121.0, "regulated": None}, "X1", None),
        ({"data_age_min": 121.0, "rise_m_3h": 0.05}, "X1", None),
        ({"data_age_min": 120.0, "rise_m_3h": 0.05}, "X1", 0),
        ({"quality": "equipment"}, "X1", None),
        ({"data_age_min": None}, "X1", None),
        ({"regulated": True}, "F7", 1),
        ({"regulated": True, "release_in_window": True, "wading_planned": False}, "F7", 2),
        ({"regulated": True, "release_in_window": True, "wading_planned": True}, "F7", 3),
        ({"hazards_in_reach": None}, "F8", None),
        ({"hazards_in_reach": (("low-head dam", "Mill dam"),)}, "F8", 3),
        ({"hazards_in_reach": (("weir", ""),)}, "F8", 3),
        ({"hazards_in_reach": (("strainer", "Root wad"),)}, "F8", 2),
        ({"hazards_in_reach": (("bridge pier", "Pier"),)}, "F8", 1),
        ({"quality": "ice", "ice": None}, "F9", 3),
        ({"quality": None, "ice": None}, "F9", None),
        ({"water_temp_c": 1.01}, "F9t", 0),
        ({"air_temp_c": 5.0, "water_temp_c": 23.0}, "C3", 1),
        ({"turbidity_fnu": 25.0, "turbidity_median_fnu": 20.0}, "T1", 1),
        ({"turbidity_fnu": 9.0, "turbidity_median_fnu": 2.0}, "T1", 1),
        ({"turbidity_rising": True, "rise_m_3h": 0.05}, "T1", 2),
        ({"bottom_seen": False}, "T2", 1),
        ({"thunder_chance": 30.0}, "S1", 1),
        ({"thunder_chance": 60.0}, "S1", 2),
        ({"storm_alert": "warning"}, "S1", 3),
        ({"takeout_vs_sunset_min": -60.0}, "N1", 0),
        ({"takeout_vs_sunset_min": -59.0}, "N1", 1),
        ({"takeout_vs_sunset_min": 1.0, "takeout_vs_dusk_min": -29.0}, "N1", 2),
        ({"takeout_vs_sunset_min": 31.0, "takeout_vs_dusk_min": 1.0}, "N1", 3),
    ],
)
def test_each_rule_turns_where_its_row_says(change, rule, level):
    """One input moved off a calm day raises its own rule to its own level."""
    assert level_of(assess_river(dataclasses.replace(CALM, **change)), rule) == level


def test_cold_and_high_water_together_say_stay_off():
    """Two cautions of level 2, one cold and one of the water's level, make 3."""
    seen = dataclasses.replace(CALM, water_temp_c=12.0, air_temp_c=30.0, stage_m=3.0)
    caution = assess_river(seen)
    assert level_of(caution, "C1") == 2
    assert level_of(caution, "F4") == 2
    assert caution.level == 3
    assert caution.reasons[0]["rule"] == "C2"


def test_cold_water_counts_at_a_wading_spot_too():
    """A strong push of the water is a level higher when a fall means cold water."""
    push = dataclasses.replace(CALM, wade_depth_m=0.7, wade_speed_m_s=1.0)
    warm = assess_spot(push, wading=True)
    cold = assess_spot(dataclasses.replace(push, water_temp_c=12.0), wading=True)
    assert (warm.level, cold.level) == (2, 3)
    assert warm.checks == cold.checks


def test_a_rising_river_lifts_cautions_of_the_waters_level_one_step():
    """A rise of three centimetres in three hours adds a step to what stands, and none where nothing stands."""
    push = dataclasses.replace(CALM, wade_depth_m=0.45, wade_speed_m_s=0.75)
    assert assess_spot(push, wading=True).level == 1
    assert assess_spot(dataclasses.replace(push, rise_m_3h=0.03), wading=True).level == 2
    assert assess_spot(dataclasses.replace(CALM, rise_m_3h=0.03), wading=True).level == 0


def test_wading_rules_are_not_counted_where_nobody_wades():
    """What has no bearing is left out; what was never supplied is counted and not assessed."""
    boat = assess_spot(Conditions(data_age_min=10.0), wading=False)
    on_foot = assess_spot(Conditions(data_age_min=10.0), wading=True)
    assert not [check for check in boat.base if check.rule[0] == "W"]
    unknown = {reason["rule"] for reason in on_foot.reasons if reason["level"] is None}
    assert {"W1", "W2", "W3", "W4", "W5"} <= unknown


def test_known_depth_is_judged_though_the_speed_is_not_known():
    """A metre and a half of water is too deep whatever its speed; the push stays not assessed."""
    caution = assess_spot(dataclasses.replace(CALM, wade_depth_m=1.5, wade_speed_m_s=None), wading=True)
    assert level_of(caution, "W2") == 3
    assert level_of(caution, "W1") is None


def test_a_stance_above_the_water_has_no_push_though_the_speed_is_not_known():
    """Dry ground at a low step of the ladder raises nothing."""
    caution = assess_spot(dataclasses.replace(CALM, wade_depth_m=-0.2, wade_speed_m_s=None), wading=True)
    assert [level_of(caution, rule) for rule in ("W1", "W2", "W3")] == [0, 0, 0]


def test_a_child_of_unknown_size_is_taken_as_the_smallest():
    """Without height and mass the strictest class holds."""
    seen = dataclasses.replace(CALM, children=True)
    assert level_of(assess_spot(seen, wading=True), "W5") == 3
    sized = dataclasses.replace(seen, child_hm_m_kg=45.0)
    assert level_of(assess_spot(sized, wading=True), "W5") == 0


def test_the_text_says_what_lowered_the_limit():
    """A wader sees that it is the dark that brought the limit down."""
    seen = dataclasses.replace(CALM, wade_depth_m=0.5, wade_speed_m_s=0.5, dark=True)
    reason = assess_spot(seen, wading=True, where="Ash bar").reasons[0]
    assert reason["rule"] == "W1"
    assert "Ash bar" in reason["text"]
    assert "dark" in reason["text"]
    assert reason["threshold"] == pytest.approx(0.2)


def test_low_water_is_a_list_of_its_own():
    """Too little water for the craft is said beside the level and does not enter it."""
    low = assess_river(dataclasses.replace(CALM, discharge_m3s=9.0))
    assert low.level == 0
    assert [note["rule"] for note in low.low_water] == ["F10"]
    assert low.low_water[0]["level"] == 1
    assert low.checks == assess_river(CALM).checks


def test_low_water_reads_the_low_side_of_the_range():
    """The lowest flow expected decides whether the craft drags, the highest decides the cautions."""
    seen = dataclasses.replace(CALM, discharge_m3s=20.0, discharge_low_m3s=9.0)
    assert assess_river(seen).low_water[0]["level"] == 1


def test_a_local_threshold_raises_and_quotes_its_own_words_and_source():
    """The authority's text stands in quotation marks beside its source."""
    limit = {"input": "stage", "at_si": 1.0, "level": 2, "side": "above", "text": "Boats stay off", "source": "Board"}
    caution = assess_river(CALM, [limit])
    assert caution.level == 2
    assert "“Boats stay off”" in caution.reasons[0]["text"]
    assert caution.reasons[0]["source"] == "Board"


def test_a_local_threshold_of_another_gauge_is_not_assessed():
    """A limit read at another gauge is neither raised nor cleared by this one."""
    limit = {"input": "stage", "at_si": 0.5, "level": 3, "side": "above", "gauge": "usgs:2", "text": "", "source": "x"}
    caution = assess_river(CALM, [limit], gauge="usgs:1")
    assert level_of(caution, "F1.1") is None
    assert assess_river(CALM, [limit], gauge="usgs:2").level == 3


def test_a_local_low_limit_on_the_stage_is_a_low_water_note():
    """A floor for boats is low water, not a caution."""
    limit = {"input": "stage", "at_si": 1.2, "level": 2, "side": "below", "text": "Rocks", "source": "Board"}
    caution = assess_river(CALM, [limit])
    assert caution.level == 0
    assert caution.low_water[0]["level"] == 2


def test_stale_data_leave_raised_levels_and_turn_the_rest_to_not_assessed():
    """An old reading never shows calm, and never takes back what it raised."""
    old = dataclasses.replace(CALM, data_age_min=600.0, stage_m=3.0)
    caution = assess_river(old)
    assert level_of(caution, "F4") == 2
    assert level_of(caution, "F3") is None
    assert level_of(caution, "C1") is None
    calm = assess_river(dataclasses.replace(CALM, data_age_min=600.0))
    assert calm.level is None
    assert calm.label == "not assessed"


def test_a_stated_level_is_judged_though_the_reading_is_old():
    """On the ladder the angler reads the gauge; only what still rests on the old record is not assessed."""
    step = dataclasses.replace(CALM, data_age_min=600.0, level_given=True)
    caution = assess_river(step)
    assert level_of(caution, "F4") == 0
    assert level_of(caution, "F6") is None
    assert caution.level == 0


def test_ice_spoils_level_and_flow_and_says_stay_off():
    """Under ice the gauge's stage and flow are not believed, also where a level is stated."""
    caution = assess_river(dataclasses.replace(CALM, quality="ice", ice=None, level_given=True))
    assert caution.level == 3
    assert level_of(caution, "F4") is None
    assert level_of(caution, "F2") is None


def test_a_run_takes_its_spots_cautions():
    """The highest of a run's spots is the run's, and shared checks count once."""
    deep = assess_spot(dataclasses.replace(CALM, wade_depth_m=1.3), wading=True, where="A")
    near = assess_spot(CALM, wading=True, where="B")
    run = assess_run(CALM, spots=(deep, near))
    assert run.level == 3
    shared = assess_run(CALM).checks
    assert run.checks == shared + 2 * sum(check.rule[0] == "W" and check.counted for check in near.base)


def test_the_mean_of_a_run_is_named_as_such():
    """An index of the reach says that it is none of the place where a foot goes."""
    run = assess_run(dataclasses.replace(CALM, wade_depth_m=1.0), wading=True, where="Long pool")
    assert "mean of a run" in run.reasons[0]["text"]


def test_the_worst_of_none_is_not_assessed():
    """No caution at all is no level."""
    assert worst(()).level is None


def test_a_wrong_word_names_the_right_ones():
    """A footing that is not in the list is refused with the list."""
    with pytest.raises(UsageMistake, match="good, fair, slick, poor"):
        Conditions(footing="slippery")


def test_party_says_who_comes_and_nothing_more():
    """What the folder does not say stays unknown."""
    assert party_conditions({}) == {}
    got = party_conditions(
        {"adults": 1, "children": [{"height_m": 1.2, "mass_kg": 25}, {"height_m": 1.5, "mass_kg": 40}]}
    )
    assert got == {"children": True, "child_hm_m_kg": pytest.approx(30.0), "alone": True}
    part = party_conditions({"children": [{"height_m": 1.2}, {"height_m": 1.5, "mass_kg": 40}]})
    assert "child_hm_m_kg" not in part


def test_every_rule_has_a_source_a_place_and_a_mark():
    """No row of the table stands on nothing."""
    marks = ("source", "secondary: ", "common practice, no source", "from memory", "design choice")
    for row in rows("caution_rules"):
        assert row["source"], row
        assert row["place"], row
        assert row["mark"].startswith(marks), row


def test_every_rule_that_can_lack_an_input_says_so():
    """Each rule that is counted has a sentence for its missing input."""
    groups = {}
    for row in rows("caution_rules"):
        groups.setdefault(row["id"], set()).add(row["operator"])
    assert [name for name, operators in groups.items() if "missing" not in operators and name != "C2"] == []


@pytest.mark.parametrize(
    ("depth", "speed", "footing", "level"),
    [
        (0.75, 0.8, "fair", 1),
        (0.1, 3.0, "fair", 0),
        (0.2, 1.0, "poor", 1),
        (0.15, 1.4, "poor", 2),
        (0.45, 1.0, "slick", 2),
    ],
)
def test_a_threshold_holds_exactly_at_its_value(depth, speed, footing, level):
    """0.75 × 0.8 is 0.6 and 0.1 × 3 is 0.3 though floating point makes more of both; so too after a factor."""
    seen = dataclasses.replace(CALM, wade_depth_m=depth, wade_speed_m_s=speed, footing=footing)
    assert level_of(assess_spot(seen, wading=True), "W1") == level
