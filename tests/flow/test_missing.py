"""What a surveyed run says when something is missing."""

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from planner.flow import survey_run
from tests.flow.world import FULL, World, gauge_stage, level_at

STAGE = float(gauge_stage(FULL))
ROUGH = World()


def surveyed(**changes):
    """The run of a changed world and the world."""
    world = ROUGH.but(**changes)
    run, river = world.river()
    return survey_run(run, river, world.series())


def said(state, words):
    """Whether a limit holds the words."""
    return any(words in text for text in state.limits)


def test_no_soundings_gives_no_figure_at_all():
    """Without soundings every depth and current is unknown and the reason is first among the limits."""
    flow = surveyed(days=((FULL, 0),))
    state = flow.at(FULL, STAGE)
    assert said(state, "No usable sounding")
    assert state.soundings == 0
    assert all(math.isnan(v) for v in (state.level_m, state.area_m2, state.velocity_used_m_s, state.max_depth_m))
    local = flow.local(state, *ROUGH.place([80.0], [0.0]))
    assert np.isnan(local["depth_m"]).all()
    assert local["inside"].all()
    assert np.isnan(flow.patch(state, -91.0, 43.5, 3.0, 1.0)[2]).all()
    assert flow.section(lon=-91.0, lat=43.5) is None


def test_undated_soundings_without_stage_are_counted_and_left_out():
    """Soundings with neither date nor stage are not used, and their number is said."""
    flow = surveyed(dated=False)
    assert flow.soundings == 0
    assert flow.left_out == 400
    assert said(flow.at(FULL, STAGE), "400 sounding(s) were left out")


def test_no_discharge_means_parallel_rise_and_manning_alone():
    """With stage only, the run rises as the gauge does, continuity is unknown and the range is wide."""
    flow = surveyed(with_discharge=False, days=((FULL, 240),))
    state = flow.at(stage_m=STAGE + 0.4)
    assert state.level_m == pytest.approx(state.level_parallel_m) == pytest.approx(0.4, abs=1e-6)
    assert state.level_sd_m > 0.2
    assert math.isnan(state.velocity_continuity_m_s)
    assert state.velocity_used_m_s == state.velocity_manning_m_s
    assert state.basis == "manning"
    assert said(state, "rise and fall as much as the gauge")
    assert said(state, "Manning's equation alone")
    sure = surveyed().at(FULL, STAGE)
    assert state.velocity_high_m_s / state.velocity_low_m_s > sure.velocity_high_m_s / sure.velocity_low_m_s


def test_no_discharge_and_no_slope_gives_depth_only():
    """Depth stays known, current does not, and the page can say what to give."""
    state = surveyed(with_discharge=False, slope=math.nan).at(stage_m=STAGE)
    assert state.max_depth_m > 2
    assert math.isnan(state.velocity_used_m_s)
    assert math.isnan(state.velocity_high_m_s)
    assert said(state, "No current can be computed")
    assert said(state, "No slope is given")


def test_discharge_without_stage_still_finds_the_run():
    """On a river known by discharge only, soundings of two days are carried by the run's own relation."""
    flow = surveyed(with_stage=False)
    assert flow.soundings == 400
    state = flow.at(1.4 * FULL)
    assert state.level_m == pytest.approx(level_at(1.4 * FULL), abs=0.03)
    assert math.isnan(state.stage_m)
    assert state.velocity_manning_m_s > 0
    assert said(state, "No stage")


def test_outline_that_is_not_the_water_is_said_aloud():
    """With no edge named, discharge over area is unknown and area is of the drawn part."""
    state = surveyed(banks="none").at(FULL, STAGE)
    assert said(state, "not the water's edge")
    assert math.isnan(state.velocity_continuity_m_s)
    assert state.basis == "manning"
    one = surveyed(banks="left").at(FULL, STAGE)
    assert said(one, "Only the left edge")
    assert math.isnan(one.velocity_continuity_m_s)


def test_no_bed_class_leaves_continuity():
    """With a discharge and edges but nothing known of the bed, the current is discharge over area."""
    flow = surveyed(bed={})
    state = flow.at(FULL, STAGE)
    assert math.isnan(state.velocity_manning_m_s)
    assert state.velocity_used_m_s == pytest.approx(FULL / state.area_m2)
    assert said(state, "No bed class")


def test_two_estimates_are_weighed_where_the_run_was_not_calibrated():
    """Sounded with no discharge known, but a discharge today: the current lies between both estimates."""
    world = ROUGH.but(with_discharge=False)
    run, river = world.river()
    state = survey_run(run, river, world.series()).at(FULL, STAGE)
    assert state.basis == "both"
    low, high = sorted((state.velocity_manning_m_s, state.velocity_continuity_m_s))
    assert low <= state.velocity_used_m_s <= high
    assert said(state, "cannot be calibrated")


def test_discharge_today_but_no_stage_and_no_calibration_rests_on_manning_and_says_so():
    """The level comes from the class's n and the map's slope, with a wide doubt."""
    state = surveyed(with_discharge=False).at(1.2 * FULL)
    assert said(state, "rests on Manning's equation alone")
    assert state.level_sd_m > 0.15
    assert state.level_m == pytest.approx(level_at(1.2 * FULL), abs=3 * state.level_sd_m)


def test_nothing_read_gives_nothing():
    """Neither stage nor discharge: no level, no current, one sentence."""
    state = surveyed().at()
    assert math.isnan(state.level_m)
    assert math.isnan(state.velocity_used_m_s)
    assert said(state, "Neither stage nor discharge")


def test_stage_alone_uses_the_gauges_own_pairs():
    """With a calibrated run and a stage only, the discharge is read off the gauge's pairs and said."""
    flow = surveyed()
    state = flow.at(stage_m=float(gauge_stage(1.2 * FULL)))
    assert state.discharge_m3s == pytest.approx(1.2 * FULL, rel=0.03)
    assert said(state, "own stage and discharge pairs")
    assert said(flow.at(stage_m=STAGE + 3.0), "extrapolated")


def test_still_water_has_no_current_but_a_depth():
    """A run marked still has zero current with a small upper bound, and rises as the gauge does."""
    flow = surveyed(still=True)
    state = flow.at(FULL, STAGE + 0.3)
    assert state.velocity_used_m_s == 0.0
    assert 0 < state.velocity_high_m_s <= 0.1
    assert state.level_m == pytest.approx(0.3, abs=1e-6)
    local = flow.local(state, *ROUGH.place([80.0], [0.0]))
    assert local["velocity_m_s"] == pytest.approx([0.0])
    assert local["depth_m"][0] > 2


def test_no_flowline_takes_the_middle_and_asks_which_way():
    """Without a flowline the middle of the outline serves, and the direction is said to be a guess unless told."""
    flow = surveyed(flowline=False)
    assert said(flow.at(FULL, STAGE), "Which way is downstream")
    told = surveyed(flowline=False, extra={"flow_bearing_deg": 270})
    assert not said(told.at(FULL, STAGE), "Which way")
    east, _ = told.flow_direction(*ROUGH.place(80.0, 0.0))
    assert float(east) == pytest.approx(-1.0, abs=0.02)
    assert told.at(FULL, STAGE).area_m2 == pytest.approx(surveyed().at(FULL, STAGE).area_m2, rel=0.02)


@pytest.mark.parametrize("word", ["west", None, [270], float("inf")])
def test_a_bearing_that_is_no_number_is_said_and_passed_over(word):
    """Regression: a word in place of degrees ended the plan in a traceback."""
    state = surveyed(flowline=False, extra={"flow_bearing_deg": word}).at(FULL, STAGE)
    assert said(state, "flow_bearing_deg")
    assert said(state, "Which way is downstream")


def test_edge_of_an_unknown_day_is_taken_at_the_sounding_days_level():
    """When the drawing day is not known that is said, and the edge is set at level 0."""
    flow = surveyed(waterline=False)
    assert said(flow.at(FULL, STAGE), "water's edge was drawn")
    assert flow.waterline == 0.0


def test_water_above_the_drawn_edge_is_said():
    """A level well above the drawn edge says that the bank is taken as upright."""
    assert said(surveyed().at(2.5 * FULL), "above the drawn edge")


def test_discharge_far_from_the_sounding_day_is_called_a_guess():
    """Past four times the sounding day's discharge the level is not presented as known."""
    flow = surveyed()
    assert said(flow.at(4.5 * FULL), "four times")
    assert not said(flow.at(2.0 * FULL), "four times")


def test_bed_laid_dry_is_said():
    """A stage far below the soundings says dry and gives no current."""
    state = surveyed(with_discharge=False).at(stage_m=STAGE - 5.0)
    assert state.area_m2 == 0.0
    assert math.isnan(state.velocity_used_m_s)
    assert said(state, "dry")


@pytest.mark.parametrize("count", [1, 2, 5, 9])
def test_a_handful_of_soundings_still_answers_with_doubt(count):
    """From one sounding on there is a depth, its doubt is wide and the page says why."""
    flow = surveyed(days=((FULL, count),))
    state = flow.at(FULL, STAGE)
    assert state.max_depth_m > 0.3
    assert said(state, f"Only {count} sounding(s)")
    local = flow.local(state, *ROUGH.place([40.0, 120.0], [10.0, -10.0]))
    assert (local["depth_sd_m"] > 0.1).all()


def test_no_gauge_at_all_leaves_only_given_stages():
    """Without a record, dated soundings cannot be used; with their stages they can."""
    run, river = ROUGH.river()
    assert survey_run(run, river, None).soundings == 0
    river.soundings["stage_m"] = STAGE
    flow = survey_run(run, river, None)
    assert flow.soundings == 400
    assert flow.at(stage_m=STAGE).max_depth_m > 1.5


@settings(max_examples=60, deadline=None)
@given(
    discharge=st.one_of(st.just(math.nan), st.floats(-10, 1e5), st.just(0.0)),
    stage=st.one_of(st.just(math.nan), st.floats(-10, 30)),
)
@example(discharge=5e-324, stage=math.nan)  # its ratio to the sounding day's discharge was 0, and its logarithm raised
def test_no_reading_however_odd_raises_or_turns_the_range_around(discharge, stage):
    """Any pair of stage and discharge gives a state with its current in order or unknown."""
    state = ODD.at(discharge, stage)
    state.as_dict()
    if math.isfinite(state.velocity_used_m_s):
        assert state.velocity_low_m_s <= state.velocity_used_m_s <= state.velocity_high_m_s
    ODD.local(state, -91.0, 43.5)


ODD = surveyed(days=((FULL, 60),))
