"""Level, current and depth of a run made by hand, against Manning and continuity in closed form."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from planner.errors import DataUnfit
from planner.flow.relation import ControlRelation
from planner.flow.roughness import limerinos
from planner.flow.state import TEN_NINETY
from planner.tables import constants
from tests.flow import box

RULES = constants("flow")
FLUME = box.flume()
GAUGED = box.flume(rating=box.Rating())


def said(state, words):
    """Whether a limit of a state holds the words."""
    return any(words in text for text in state.limits)


@pytest.mark.parametrize("at", [-0.45, -0.3, 0.0, 0.25])
def test_level_current_and_section_of_a_flume_are_those_of_manning(at):
    """At the discharge of a level the run stands at it, with the flume's area, radius and width, and Q = V A."""
    q = box.discharge(at)
    state = FLUME.at(q, box.STAGE + at)
    assert state.level_m == pytest.approx(at, abs=1e-3)
    assert state.level_parallel_m == pytest.approx(at)
    assert state.area_m2 == pytest.approx(box.area(at), rel=1e-3)
    assert state.hydraulic_radius_m == pytest.approx(box.radius(at), rel=1e-3)
    assert state.top_width_m == pytest.approx(box.WIDTH)
    assert state.mean_depth_m == pytest.approx(box.DEPTH + at, abs=1e-3)
    assert state.max_depth_m == pytest.approx(box.DEPTH + at, abs=1e-3)
    assert state.velocity_manning_m_s == pytest.approx(box.manning(at), rel=1e-3)
    assert state.velocity_continuity_m_s == pytest.approx(q / box.area(at), rel=1e-3)
    assert state.velocity_ratio == pytest.approx(1.0, rel=1e-3)
    assert state.velocity_used_m_s * state.area_m2 == pytest.approx(q, rel=1e-9)
    assert (state.basis, state.n, state.n_calibrated, state.soundings) == ("discharge", box.N, box.N, 90)
    assert state.bed_error_m == 0.1
    assert state.limits == ()


def test_both_estimates_are_taken_at_the_level_that_the_gauge_s_rise_means():
    """A gauge that reads 0.4 m too high for the discharge shifts Manning and continuity, not the level taken."""
    state = FLUME.at(box.FULL, box.STAGE + 0.4)
    assert state.level_m == pytest.approx(0.0, abs=1e-3)
    assert state.velocity_manning_m_s == pytest.approx(box.manning(0.4), rel=1e-3)
    assert state.velocity_continuity_m_s == pytest.approx(box.FULL / box.area(0.4), rel=1e-3)
    alone = FLUME.at(box.discharge(0.2))
    assert alone.velocity_manning_m_s == pytest.approx(box.manning(0.2), rel=1e-3)
    assert said(alone, "at the solved level")


@pytest.mark.parametrize("part", [0.6, 1.2])
def test_the_doubt_of_level_and_current_is_summed_by_hand(part):
    """Gauge, drift and stage give the level's; gauge, drift by area, stage by width and the bed give the current's."""
    q = part * box.FULL
    state = FLUME.at(q, discharge_rel_sd=0.07, stage_sd_m=0.03)
    at = box.level(q)
    steep, wide = box.steep(at), 1 / (box.DEPTH + at)
    drift = RULES["conveyance_drift"] * abs(math.log(part))
    assert state.level_sd_m == pytest.approx(math.hypot(0.03, math.hypot(0.07, drift) / steep), rel=2e-3)
    bed = 0.1 / (box.DEPTH + at) / 2  # of four blocks
    spread = math.sqrt(0.07**2 + (wide / steep * drift) ** 2 + (wide * 0.03) ** 2 + bed**2)
    assert state.velocity_ln_sd == pytest.approx(spread, rel=2e-3)
    assert math.log(state.velocity_high_m_s / state.velocity_used_m_s) == pytest.approx(TEN_NINETY * spread, rel=2e-3)
    assert math.log(state.velocity_used_m_s / state.velocity_low_m_s) == pytest.approx(TEN_NINETY * spread, rel=2e-3)


def test_a_drift_that_the_days_show_counts_in_place_of_the_one_expected():
    """Days that pin the drift down to 0.02 leave the level surer."""
    sure = box.but(FLUME, relation=replace(FLUME.relation, drift_sd=0.02))
    q = 2.0 * box.FULL
    assert sure.at(q).level_sd_m == pytest.approx(
        math.hypot(
            RULES["stage_sd_m"], math.hypot(RULES["discharge_rel_sd"], 0.02 * math.log(2)) / box.steep(box.level(q))
        ),
        rel=2e-3,
    )


def test_a_bed_of_unknown_error_is_taken_as_missed_by_three_decimetres():
    """Where no block could be left out the bed counts with 0.3 m, as one block."""
    lone = replace(FLUME.bed, error=replace(FLUME.bed.error, rmse=math.nan, blocks=0))
    state = box.but(FLUME, bed=lone).at(box.FULL)
    stage = RULES["stage_sd_m"] / box.DEPTH
    expected = math.sqrt(RULES["discharge_rel_sd"] ** 2 + stage**2 + (0.3 / box.DEPTH) ** 2)
    assert state.velocity_ln_sd == pytest.approx(expected, rel=2e-3)
    assert math.isnan(state.bed_error_m)


def test_a_stage_alone_takes_its_discharge_from_the_gauge_s_pairs():
    """The doubt of the pairs joins that of the gauge, and that of going beyond them joins both."""
    q_sd = math.hypot(RULES["discharge_rel_sd"], box.Rating.rel_sd)
    for at, q_rel in ((0.25, q_sd), (0.9, math.hypot(q_sd, 0.2))):
        state = GAUGED.at(stage_m=box.STAGE + at)
        assert state.discharge_m3s == pytest.approx(box.discharge(at))
        assert said(state, "own stage and discharge pairs")
        assert said(state, "extrapolated") == (at > 0.5)
        drift = RULES["conveyance_drift"] * math.log(box.discharge(at) / box.FULL)
        expected = math.hypot(RULES["stage_sd_m"], math.hypot(q_rel, drift) / box.steep(at))
        assert state.level_sd_m == pytest.approx(expected, rel=2e-3)


def test_a_discharge_alone_takes_its_stage_from_the_gauge_s_pairs():
    """The stage is that of the pairs, 3 cm less sure; with both read, the pairs are not asked."""
    state = GAUGED.at(box.discharge(0.2))
    assert state.stage_m == pytest.approx(box.STAGE + 0.2)
    drift = RULES["conveyance_drift"] * math.log(box.discharge(0.2) / box.FULL)
    stage_sd = math.hypot(RULES["stage_sd_m"], 0.03)
    expected = math.hypot(stage_sd, math.hypot(RULES["discharge_rel_sd"], drift) / box.steep(0.2))
    assert state.level_sd_m == pytest.approx(expected, rel=2e-3)
    both = GAUGED.at(box.discharge(0.2), box.STAGE + 0.5)
    assert both.stage_m == box.STAGE + 0.5
    assert both.level_sd_m < state.level_sd_m
    assert both.limits == ()


@pytest.mark.parametrize("q", [0.0, -3.0])
def test_no_discharge_or_water_running_back_is_no_discharge(q):
    """It is unknown in the run, as on the tide; a stage then gives the level by the gauge's rise."""
    state = FLUME.at(q, box.STAGE + 0.2)
    assert math.isnan(state.discharge_m3s)
    assert state.level_m == pytest.approx(0.2)


def test_a_trickle_is_a_discharge():
    """Half a cubic metre a second is carried at the level that Manning gives it."""
    assert FLUME.at(0.5).level_m == pytest.approx(box.level(0.5), abs=5e-3)


def test_a_level_that_was_read_wins():
    """A lake's level as given is taken, as sure as its reading, and said; the section follows it."""
    state = FLUME.at(box.FULL, box.STAGE, level_m=-0.5, stage_sd_m=0.04)
    assert (state.level_m, state.level_sd_m) == (-0.5, 0.04)
    assert state.area_m2 == pytest.approx(box.area(-0.5))
    assert said(state, "the one given")


def test_a_calibrated_run_with_a_stage_alone_has_its_current_from_its_own_relation():
    """Where no pairs are known the level rises with the gauge; the current is that of the sounding day's relation."""
    state = FLUME.at(stage_m=box.STAGE - 0.4)
    assert state.basis == "relation"
    assert state.level_m == pytest.approx(-0.4)
    assert state.velocity_used_m_s == pytest.approx(box.manning(-0.4), rel=2e-3)
    assert state.level_sd_m == pytest.approx(math.hypot(RULES["stage_sd_m"], 0.5 * 0.4))
    rise = (box.steep(-0.4) - 1 / 1.6) * state.level_sd_m
    expected = math.sqrt(RULES["discharge_rel_sd"] ** 2 + rise**2 + (0.05 / 1.6) ** 2)
    assert state.velocity_ln_sd == pytest.approx(expected, rel=1e-2)


def bare(**changes):
    """The flume with no discharge known on its sounding day."""
    changes = {"stage_ref": box.STAGE} | changes
    blank = replace(FLUME.relation, constant=math.nan)
    return box.flume(relation=blank, discharge_ref=math.nan, n_calibrated=math.nan, **changes)


@pytest.mark.parametrize(("stage_sd", "miss"), [(RULES["stage_sd_m"], 0.1), (0.6, 0.1), (0.02, 1.2)])
def test_two_estimates_of_an_uncalibrated_flume_are_weighed_by_their_doubt(stage_sd, miss):
    """Each variance is summed by hand; agreeing estimates give a mean surer than either."""
    bed = replace(FLUME.bed, error=replace(FLUME.bed.error, rmse=miss))
    state = box.but(bare(), bed=bed).at(box.discharge(0.2), box.STAGE + 0.2, stage_sd_m=stage_sd)
    depth = box.DEPTH + 0.2
    by_level = (math.hypot(stage_sd, 0.5 * 0.2) / depth) ** 2
    by_bed = (miss / depth / 2) ** 2
    by_manning = RULES["given_n_ln_sd"] ** 2 + (RULES["slope_ln_sd"] / 2) ** 2 + 4 / 9 * (by_level + by_bed)
    by_share = RULES["discharge_rel_sd"] ** 2 + by_level + by_bed
    assert state.basis == "both"
    assert state.velocity_used_m_s == pytest.approx(box.manning(0.2), rel=1e-3)
    assert state.velocity_ln_sd == pytest.approx(math.sqrt(by_manning * by_share / (by_manning + by_share)), rel=1e-3)


def test_an_outline_that_does_not_span_the_flow_has_no_continuity():
    """Discharge over a part of the section means nothing there."""
    state = bare(spans=False).at(box.FULL, box.STAGE)
    assert math.isnan(state.velocity_continuity_m_s)
    assert state.basis == "manning"


def test_without_stage_or_calibration_the_level_rests_on_manning():
    """Slope and n alone give the level, as unsure as half the slope's log, n's and the discharge's together."""
    state = bare(stage_ref=math.nan).at(box.discharge(0.3))
    assert state.level_m == pytest.approx(0.3, abs=2e-3)
    spread = math.sqrt(RULES["given_n_ln_sd"] ** 2 + (RULES["slope_ln_sd"] / 2) ** 2 + RULES["discharge_rel_sd"] ** 2)
    assert state.level_sd_m == pytest.approx(spread / box.steep(0.3), rel=3e-3)
    assert said(state, "Manning's equation alone")


@pytest.mark.parametrize(
    "lack", [{"spans": False}, {"slope": math.nan}, {"slope": 0.0}, {"bed_entry": {}}, {"run": {"still": True}}]
)
def test_manning_gives_no_level_where_one_of_its_parts_is_missing(lack):
    """Without stage and calibration: no outline across the flow, no slope, no n, or still water leave it unknown."""
    state = bare(stage_ref=math.nan, **lack).at(box.FULL)
    assert math.isnan(state.level_m)
    assert said(state, "Neither stage nor discharge")


def test_a_pool_that_was_not_calibrated_has_no_normal_depth():
    """Manning's equation is not asked for a run that is held from downstream."""
    held = ControlRelation(np.linspace(-2, 4, 9), np.linspace(0, 120, 9), math.nan, -0.5, 1.67)
    with pytest.raises(DataUnfit, match="held from downstream"):
        box.but(bare(stage_ref=math.nan), relation=held).at(box.FULL)


def test_two_surveys_tell_how_much_of_the_gauge_s_rise_the_run_takes():
    """A ratio known within 0.4 is used with its own doubt and said; one less sure is said to be a guess."""
    told = bare(rise_ratio=0.6, rise_ratio_sd=0.1).at(stage_m=box.STAGE + 0.5)
    assert told.level_m == pytest.approx(0.3)
    assert told.level_sd_m == pytest.approx(math.hypot(RULES["stage_sd_m"], 0.1 * 0.5))
    assert said(told, "0.60 times as much as the gauge")
    loose = bare(rise_ratio=0.9, rise_ratio_sd=0.4).at(stage_m=box.STAGE - 0.5)
    assert loose.level_m == pytest.approx(-0.45)
    assert loose.level_sd_m == pytest.approx(math.hypot(RULES["stage_sd_m"], 0.5 * 0.5))
    assert said(loose, "as much as the gauge does")


def test_still_water_rises_with_its_gauge_and_has_a_bound_of_drift_alone():
    """The level is the gauge's, surely so; the current is nothing and at most that of still water."""
    state = box.flume(run={"still": True}).at(box.FULL, box.STAGE + 0.3)
    assert (state.level_m, state.level_sd_m) == (pytest.approx(0.3), RULES["stage_sd_m"])
    assert (state.velocity_used_m_s, state.velocity_low_m_s, state.velocity_ln_sd) == (0.0, 0.0, 0.0)
    assert state.velocity_high_m_s == RULES["still_speed_m_s"]
    assert state.basis == "still"


def beyond_words(state):
    """What of being beyond the survey a state says."""
    words = ("above the drawn edge", "lower than on any", "lowest sounding", "four times")
    return state.extrapolated, [word for word in words if said(state, word)]


@pytest.mark.parametrize(
    ("at", "expected"),
    [
        (0.29, (False, [])),
        (0.3, (False, [])),
        (0.31, (True, ["above the drawn edge"])),
        (-0.57, (False, [])),
        (-0.5 - RULES["control_least_m"], (False, [])),
        (-0.59, (True, ["lower than on any"])),
        (-1.88, (True, ["lower than on any"])),
        (-1.92, (True, ["lowest sounding"])),
    ],
)
def test_a_level_beyond_what_was_sounded_is_said(at, expected):
    """Over the drawn edge by 0.3 m, under the lowest day by 8 cm, and within 10 cm of the deepest sounding."""
    assert beyond_words(FLUME.at(level_m=at)) == expected


def test_how_far_under_the_lowest_day_the_water_stands_is_said():
    """The day's level was -0.5 m, so -1.1 m is 0.60 m lower."""
    assert said(FLUME.at(stage_m=box.STAGE - 1.1), "0.60 m lower than")


@pytest.mark.parametrize(
    ("part", "far"), [(0.24, True), (0.26, False), (3.9, False), (4.1, True), (0.25, True), (4.0, True)]
)
def test_a_discharge_four_times_off_the_sounding_day_s_is_a_guess(part, far):
    """From four times up or a quarter down the level is not presented as known."""
    wide = box.but(FLUME, levels_sounded=(-2.0, 2.0), waterline=3.0)
    state = wide.at(part * box.FULL)
    assert (state.extrapolated, said(state, "four times")) == (far, far)


@pytest.mark.parametrize("q", [0.15, 5.0])
def test_a_brook_far_off_its_sounding_day_is_a_guess_too(q):
    """A brook of 0.8 m³/s on that day is beyond it at a fifth of that and at six times as much."""
    at = box.level(0.8)
    brook = box.but(FLUME, discharge_ref=0.8, levels_sounded=(at - 9, at + 9), waterline=3.0)
    assert brook.at(q).extrapolated


def test_stones_give_the_level_by_the_roughness_at_the_datum():
    """Without stage or calibration n is that of the grain formula at level 0."""
    n = limerinos(box.radius(0.0), 0.25)
    flow = bare(stage_ref=math.nan, bed_entry={"d84_mm": 250.0})
    assert flow.at(box.FULL * box.N / n).level_m == pytest.approx(0.0, abs=2e-3)
    assert flow.at(box.discharge(0.8) * box.N / n).level_m == pytest.approx(0.8, abs=2e-3)


def test_a_flume_without_banks_is_never_above_them():
    """Where no edge is the water's there is none to be above."""
    open_bed = replace(FLUME.bed, walls=(False, False))
    state = box.but(FLUME, bed=open_bed).at(stage_m=box.STAGE + 0.4)
    assert beyond_words(state) == (False, [])
    one = box.but(FLUME, bed=replace(FLUME.bed, walls=(True, False))).at(stage_m=box.STAGE + 0.4)
    assert beyond_words(one) == (True, ["above the drawn edge"])


def test_the_deepest_place_is_of_the_whole_stations():
    """A hole at a station where the outline is cut short does not count, unless all are."""
    nodes = box.grid()
    deep = nodes.z.copy()
    deep[0] = -3.0
    whole = np.array([False, True, True, True, True, True])
    cut = box.but(FLUME, bed=replace(FLUME.bed, grid=replace(nodes, z=deep, whole=whole)))
    assert cut.at(box.FULL).max_depth_m == pytest.approx(2.0, abs=1e-3)
    none = box.but(FLUME, bed=replace(FLUME.bed, grid=replace(nodes, z=deep, whole=np.zeros(6, dtype=bool))))
    assert none.at(box.FULL).max_depth_m == pytest.approx(3.0, abs=1e-3)
    assert said(cut.at(stage_m=box.STAGE - 1.92), "lowest sounding")
    assert not said(none.at(stage_m=box.STAGE - 1.92), "lowest sounding")


def test_water_below_the_bed_is_dry():
    """No area, no depth, no current, and it is said."""
    state = FLUME.at(stage_m=box.STAGE - 2.3)
    assert (state.area_m2, state.max_depth_m) == (0.0, 0.0)
    assert math.isnan(state.velocity_used_m_s)
    assert said(state, "dry")


def test_stones_too_large_for_the_grain_formula_are_said():
    """n of stones of 600 mm under a radius of 1.7 m is within the data, of 800 mm it is not."""
    for size, out in ((600.0, False), (800.0, True)):
        assert said(box.but(FLUME, bed_entry={"d84_mm": size}).at(box.FULL), "grain formula is outside") == out


def test_a_run_without_soundings_has_no_bed_to_ask_for():
    """Asking for it says what to do."""
    with pytest.raises(DataUnfit, match="flume without soundings"):
        box.but(FLUME, bed=None).surveyed()
    assert not box.but(FLUME, relation=None).calibrated
    assert FLUME.calibrated
