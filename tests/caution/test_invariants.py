"""What must hold for every day: nothing worse lowers a level, and nothing missing does."""

from __future__ import annotations

import dataclasses
import math

from hypothesis import given, settings
from hypothesis import strategies as st

from planner.caution import Conditions, assess_river, assess_spot, hold_record, standing_words, turning_words
from planner.caution.assess import STEP
from planner.caution.turning import turning_levels
from planner.page.words import caution_line, unlisted_words
from planner.tables import rows
from tests.caution.words import forbidden_in


def maybe(strategy):
    """A value or none."""
    return st.none() | strategy


def numbers(low, high):
    """Plain finite numbers."""
    return st.floats(low, high, allow_nan=False)


FLAGS = maybe(st.booleans())
DAYS = st.builds(
    Conditions,
    wade_depth_m=maybe(numbers(-0.5, 2)),
    wade_speed_m_s=maybe(numbers(0, 3)),
    footing=maybe(st.sampled_from(["good", "fair", "slick", "poor"])),
    dark=FLAGS,
    alone=FLAGS,
    loaded=FLAGS,
    children=FLAGS,
    child_hm_m_kg=maybe(numbers(10, 80)),
    frail=FLAGS,
    wading_planned=FLAGS,
    stage_m=maybe(numbers(0, 5)),
    discharge_m3s=maybe(numbers(0, 500)),
    level_given=st.booleans(),
    data_age_min=maybe(numbers(0, 900)),
    quality=maybe(st.sampled_from(["measured", "provisional", "estimated", "stale", "ice", "equipment", "missing"])),
    rise_m_1h=maybe(numbers(-0.3, 0.7)),
    rise_m_3h=maybe(numbers(-0.3, 0.3)),
    flow_gain_3h=maybe(numbers(-0.5, 1)),
    rise_percentile=maybe(numbers(0, 100)),
    percentile_season=maybe(numbers(0, 100)),
    percentile_all_days=maybe(numbers(0, 100)),
    action_stage_m=maybe(numbers(1, 3)),
    minor_stage_m=maybe(numbers(3, 5)),
    moderate_stage_m=maybe(numbers(4, 5)),
    major_stage_m=maybe(numbers(4.5, 5)),
    observed_stage_m=maybe(numbers(0, 5)),
    flood_alert=maybe(st.sampled_from(["none", "advisory", "watch", "warning"])),
    hours_since_flood_warning=maybe(numbers(0, 5)),
    storm_alert=maybe(st.sampled_from(["none", "watch", "warning"])),
    regulated=FLAGS,
    release_in_window=FLAGS,
    hazards_in_reach=maybe(st.sampled_from([(), (("weir", "W"),), (("pier", "P"),)])),
    water_temp_c=maybe(numbers(0, 30)),
    air_temp_c=maybe(numbers(-10, 35)),
    ice=FLAGS,
    turbidity_fnu=maybe(numbers(0, 100)),
    turbidity_median_fnu=maybe(numbers(0, 20)),
    turbidity_rising=FLAGS,
    bottom_seen=FLAGS,
    thunder_chance=maybe(numbers(0, 100)),
    takeout_vs_sunset_min=maybe(numbers(-300, 100)),
    takeout_vs_dusk_min=maybe(numbers(-330, 70)),
)
LIMITS = st.lists(
    st.fixed_dictionaries(
        {
            "input": st.sampled_from(["stage", "discharge", "water_temperature", "turbidity"]),
            "at_si": numbers(0, 100),
            "level": st.integers(1, 3),
            "side": st.sampled_from(["above", "below"]),
            "text": st.just(""),
            "source": st.just("board"),
        }
    ),
    max_size=3,
)

# field -> how much worse; each must never lower a level
WORSE = {
    "wade_depth_m": lambda v, d: v + d,
    "wade_speed_m_s": lambda v, d: v + d,
    "stage_m": lambda v, d: v + d,
    "observed_stage_m": lambda v, d: v + d,
    "rise_m_1h": lambda v, d: v + d,
    "rise_m_3h": lambda v, d: v + d,
    "flow_gain_3h": lambda v, d: v + d,
    "rise_percentile": lambda v, d: v + 30 * d,
    "percentile_season": lambda v, d: v + 30 * d,
    "percentile_all_days": lambda v, d: v + 30 * d,
    "water_temp_c": lambda v, d: v - 10 * d,
    "air_temp_c": lambda v, d: v - 10 * d,
    "data_age_min": lambda v, d: v + 300 * d,
    "takeout_vs_sunset_min": lambda v, d: v + 100 * d,
    "takeout_vs_dusk_min": lambda v, d: v + 100 * d,
    "turbidity_fnu": lambda v, d: v + 30 * d,
    "thunder_chance": lambda v, d: v + 30 * d,
    "child_hm_m_kg": lambda v, d: v - 20 * d,
}
FLAGS_WORSE = {
    "dark": True,
    "alone": True,
    "loaded": True,
    "children": True,
    "frail": True,
    "ice": True,
    "regulated": True,
    "bottom_seen": False,
    "footing": "poor",
    "flood_alert": "warning",
    "storm_alert": "warning",
    "quality": "ice",
}


def rank(caution) -> int:
    """A level, with not assessed no higher than nothing raised."""
    return caution.level or 0


def both(c):
    """The river's caution and a wading spot's."""
    return assess_river(c), assess_spot(c, wading=True)


@settings(max_examples=150, deadline=None)
@given(DAYS, st.sampled_from(sorted(WORSE)), numbers(0, 2))
def test_more_water_colder_darker_or_older_never_lowers(day, field, step):
    """Any one figure made worse leaves every caution at least as high."""
    value = getattr(day, field)
    if value is None:
        return
    worse = dataclasses.replace(day, **{field: WORSE[field](value, step)})
    for before, after in zip(both(day), both(worse), strict=True):
        assert rank(after) >= rank(before), (field, before.reasons, after.reasons)


@settings(max_examples=150, deadline=None)
@given(DAYS, st.sampled_from(sorted(FLAGS_WORSE)))
def test_a_worse_word_never_lowers(day, field):
    """Dark, alone, ice, a child, a warning: none takes a level away."""
    worse = dataclasses.replace(day, **{field: FLAGS_WORSE[field]})
    for before, after in zip(both(day), both(worse), strict=True):
        assert rank(after) >= rank(before), (field, before.reasons, after.reasons)


@settings(max_examples=200, deadline=None)
@given(DAYS, st.sampled_from([f.name for f in dataclasses.fields(Conditions) if f.name != "level_given"]))
def test_a_reading_gone_missing_never_lowers_what_was_raised(day, field):
    """With any input taken away, what stood before is held, and no check turns from missing to calm."""
    bare = dataclasses.replace(day, **{field: None})
    # a newer good reading that does not say ice clears it: that is an answer, not a gap
    cleared = field == "ice" and bare.quality not in (None, "missing", "equipment", "ice")
    for before, after in zip(both(day), both(bare), strict=True):
        held = hold_record(before.as_dict(), after.as_dict())
        assert cleared or (held["level"] or 0) >= rank(before), (field, before.reasons, after.reasons)
        levels = {check.rule: check.level for check in before.base if check.counted}
        for check in after.base:
            if check.counted and check.level == 0 and check.rule in levels and not check.doubt:
                assert levels[check.rule] is not None or field in ("quality", "ice"), (field, check)


@settings(max_examples=100, deadline=None)
@given(DAYS, DAYS)
def test_holding_never_lowers_the_new_caution_and_holds_only_the_unclear(old, new):
    """Holding adds to the newest caution; a good new check stands as it is."""
    for before, after in zip(both(old), both(new), strict=True):
        held = hold_record(before.as_dict(), after.as_dict())
        assert (held["level"] or 0) >= rank(after)
        mine = {reason["rule"]: reason for reason in held["reasons"]}
        now = {reason["rule"]: reason for reason in after.reasons}
        for check in after.base:
            if check.kind != "marker" and check.level is not None and not check.doubt:
                assert (check.rule in mine) == (check.rule in now)
                if check.rule in now and mine[check.rule] != now[check.rule]:
                    # a rise that is held lifts what stands beside it by its one step
                    assert mine[check.rule]["level"] == now[check.rule]["level"] + 1
                    assert mine[check.rule]["text"].endswith(STEP)


@settings(max_examples=100, deadline=None)
@given(DAYS, LIMITS)
def test_local_thresholds_only_raise(day, limits):
    """Whatever a river folder holds, its limits take no level away."""
    assert rank(assess_river(day, limits)) >= rank(assess_river(day))


@settings(max_examples=150, deadline=None)
@given(DAYS, LIMITS, st.sampled_from(["stage_m", "discharge_m3s", "observed_stage_m", "turbidity_fnu"]), numbers(0, 50))
def test_more_water_never_lowers_under_any_limits_of_the_folder(day, limits, field, more):
    """Local limits, also those that look below, take no level away from a higher or cloudier river."""
    value = getattr(day, field)
    if value is None:
        return
    worse = dataclasses.replace(day, **{field: value + more})
    assert rank(assess_river(worse, limits)) >= rank(assess_river(day, limits))


def test_a_limit_that_looks_for_clear_water_is_a_note():
    """A cloudier river lost the level that a limit on clear water had raised; such a limit raises none now."""
    limit = {"input": "turbidity", "at_si": 5.0, "level": 3, "side": "below", "text": "", "source": "board"}
    clear, cloudy = (assess_river(Conditions(turbidity_fnu=fnu), [limit]) for fnu in (4.0, 6.0))
    assert rank(cloudy) >= rank(clear)
    assert [note for note in clear.low_water if note["rule"] == "F1.1"]


@settings(max_examples=100, deadline=None)
@given(DAYS, LIMITS)
def test_low_water_is_a_list_of_its_own_and_raises_nothing(day, limits):
    """However low the river, the level is that of the same day with no craft minimum and no limit that looks below."""
    low = dataclasses.replace(day, craft_minimum_m3s=1e6)
    high_only = [limit for limit in limits if limit["side"] == "above" or limit["input"] not in ("stage", "discharge")]
    with_low, without = assess_river(low, limits), assess_river(day, high_only)
    assert with_low.level == without.level
    assert not [r for r in with_low.reasons if r["rule"] == "F10"]
    if day.discharge_m3s is not None:
        assert [n for n in with_low.low_water if n["rule"] == "F10"]


@settings(max_examples=100, deadline=None)
@given(DAYS, st.sampled_from([f.name for f in dataclasses.fields(Conditions) if f.name != "level_given"]))
def test_what_was_never_supplied_is_not_assessed(day, field):
    """A day without an input finds nothing calm that was not made with it, and names the gap."""
    bare = dataclasses.replace(day, **{field: None})
    for before, after in zip(both(day), both(bare), strict=True):
        made = {check.rule for check in before.base if check.counted and check.level is not None}
        news = [check for check in after.base if check.counted and check.level == 0 and check.rule not in made]
        # a word that called readings unfit is no reading: without it those that were supplied are looked at again
        about_readings = field in ("quality", "ice", "data_age_min")
        assert not news or (
            about_readings and {check.kind for check in news} <= {"level", "rise", "sensor", "ice", "age"}
        )
        assert after.checks - after.assessed == len([r for r in after.reasons if r["level"] is None]), (field, news)


@settings(max_examples=100, deadline=None)
@given(DAYS)
def test_units_change_the_words_and_nothing_else(day):
    """Level, counts, values and thresholds are the same in both systems of units."""
    for a, b in (
        (assess_river(day, units="us"), assess_river(day, units="metric")),
        (assess_spot(day, wading=True, units="us"), assess_spot(day, wading=True, units="metric")),
    ):
        assert (a.level, a.assessed, a.checks) == (b.level, b.assessed, b.checks)
        cut = ("rule", "level", "value", "threshold", "source")
        assert [[r[k] for k in cut] for r in a.reasons] == [[r[k] for k in cut] for r in b.reasons]


@settings(max_examples=100, deadline=None)
@given(DAYS)
def test_nan_is_read_as_missing(day):
    """A NaN is no value and gives the caution of none."""
    nans = {f.name: math.nan for f in dataclasses.fields(day) if getattr(day, f.name) is None}
    assert both(dataclasses.replace(day, **nans)) == both(day)


@settings(max_examples=100, deadline=None)
@given(DAYS, LIMITS)
def test_nothing_we_say_holds_a_forbidden_word_or_an_unfilled_place(day, limits):
    """Every text of every caution is read for words that would promise too much."""
    for caution in (assess_river(day, limits), assess_spot(day, wading=True, where="Ash bar")):
        said = [caution_line(caution.as_dict()), unlisted_words(caution.as_dict())]
        said += [*(r["text"] for r in (*caution.reasons, *caution.low_water))]
        for text in said:
            assert text
            assert not forbidden_in(text), text
            assert "{" not in text
            assert "nan" not in text.lower().split()


@settings(max_examples=100, deadline=None)
@given(DAYS)
def test_levels_and_counts_agree_with_the_reasons(day):
    """The level is the highest reason's, and never calm while nothing could be made."""
    for caution in both(day):
        raised = [reason["level"] for reason in caution.reasons if reason["level"]]
        assert caution.assessed <= caution.checks
        if raised:
            assert caution.level == max(raised)
        else:
            assert caution.level in (0, None)
        if caution.assessed == 0 and not raised:
            assert caution.level is None


def test_the_reader_of_forbidden_words_finds_them():
    """The search itself is tried on words that it must find and one that it must not."""
    assert forbidden_in("It is safe, OK and a green light for wadeable water; no danger, low risk, all clear.")
    assert len(forbidden_in("safe OK green wadeable")) == 4
    assert forbidden_in("Appropriate Safety Criteria for People") == []


def test_the_table_and_the_standing_words_hold_no_forbidden_word():
    """Every cell of our tables that a reader may meet is read."""
    for table in ("caution_rules", "trip_settings"):
        for row in rows(table):
            for cell in row.values():
                assert not forbidden_in(cell), row
    assert not forbidden_in(standing_words())
    assert not forbidden_in(" ".join(turning_words(turning_levels([(1.0, 0), (2.0, 3)]))))


@given(DAYS, maybe(numbers(-0.5, 2)), maybe(numbers(0, 3)), FLAGS)
def test_where_nobody_wades_the_stance_has_no_bearing(day, depth, speed, dark):
    """Depth and current at the stance, and the dark there, are the wader's: without one no check looks at them."""
    stood = dataclasses.replace(day, wade_depth_m=depth, wade_speed_m_s=speed, dark=dark)
    assert assess_spot(stood, wading=False) == assess_spot(day, wading=False)
