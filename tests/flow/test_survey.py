"""A surveyed run against an invented run whose bed, flow and levels are known."""

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.flow import survey_run
from planner.water import rating_of
from tests.flow.world import FULL, HALF, LENGTH, SLOPE, N, World, bed_level, gauge_stage, level_at, truth

ROUGH = World()


def surveyed(world: World, **changes):
    """The run of a world, surveyed."""
    run, river = world.but(**changes).river()
    return survey_run(run, river, world.but(**changes).series())


@pytest.fixture(scope="module")
def flow():
    """The plain world's run."""
    return surveyed(ROUGH)


def read(flow, discharge):
    """The run at a discharge with the stage that the gauge has then."""
    return flow.at(discharge, float(gauge_stage(discharge)))


@pytest.mark.parametrize("part", [0.4, 0.6, 0.8, 1.0, 1.3, 1.7])
def test_level_of_the_run_is_found_though_the_gauge_rises_more(flow, part):
    """From four tenths to 1.7 times the sounding day's discharge the level is within 2 cm of the true one."""
    state = read(flow, part * FULL)
    assert state.level_m == pytest.approx(level_at(part * FULL), abs=0.02)
    # the gauge alone would be far off: the world is made so
    if abs(part - 1) > 0.3:
        assert abs(state.level_parallel_m - level_at(part * FULL)) > 0.1


@pytest.mark.parametrize("part", [0.4, 0.7, 1.0, 1.5])
def test_mean_current_and_area_are_the_true_ones(flow, part):
    """Area, hydraulic radius and mean current come within 2 % of the truth they were sounded from."""
    area, radius, _ = truth(level_at(part * FULL))
    state = read(flow, part * FULL)
    assert state.area_m2 == pytest.approx(area, rel=0.02)
    assert state.hydraulic_radius_m == pytest.approx(radius, rel=0.02)
    assert state.velocity_used_m_s == pytest.approx(part * FULL / area, rel=0.02)
    assert state.velocity_low_m_s < part * FULL / area < state.velocity_high_m_s
    assert state.basis == "discharge"


def test_roughness_is_read_back_from_the_sounding_day(flow):
    """The n that made the world comes back within 2 %, and nothing is said of it as it lies in its class."""
    assert flow.n_calibrated == pytest.approx(N, rel=0.02)
    assert not any("shows n" in text for text in flow.survey_limits)


def test_roughness_outside_its_class_is_said_aloud():
    """A bed called weedy and sluggish that the discharge shows to be smooth is named with both figures."""
    flow = surveyed(ROUGH, bed={"class": "very_weedy"})
    said = [text for text in read(flow, FULL).limits if "shows n" in text]
    assert len(said) == 1
    assert "0.075 to 0.150" in said[0]
    assert "0.036" in said[0] or "0.035" in said[0]


def test_manning_never_uses_the_calibration(flow):
    """Manning's velocity is that of the class's n, the map's slope and the level of parallel rise."""
    state = read(flow, 1.4 * FULL)
    from planner.bed.section import wetted

    grid = flow.bed.grid
    water = wetted(grid.n, grid.z, state.level_parallel_m, flow.bed.walls)
    radius = water.area[grid.whole].mean() / water.perimeter[grid.whole].mean()
    assert state.n == 0.040
    assert state.velocity_manning_m_s == pytest.approx(radius ** (2 / 3) * math.sqrt(SLOPE) / 0.040, rel=1e-9)
    assert state.velocity_continuity_m_s == pytest.approx(1.4 * FULL / water.area[grid.whole].mean(), rel=1e-9)
    assert state.velocity_ratio == pytest.approx(state.velocity_manning_m_s / state.velocity_continuity_m_s)


def test_two_days_over_one_ground_are_the_run_s_own_gauge():
    """Without banks or share the rise of the run over that of the gauge is read off the two beds, and the bed holds."""
    random = np.random.default_rng(1)
    s, n = random.uniform(5, LENGTH - 5, 500), random.uniform(-HALF + 3, HALF - 3, 500)
    lon, lat = ROUGH.place(s, n)

    def miss(flow):
        state = flow.at(FULL, float(gauge_stage(FULL)))
        return np.sqrt(np.mean((flow.local(state, lon, lat)["depth_m"] + bed_level(s, n)) ** 2))

    own, gauge = surveyed(ROUGH), surveyed(ROUGH, banks="none")
    true = level_at(1.5 * FULL) / float(gauge_stage(1.5 * FULL) - gauge_stage(FULL))
    assert true < 0.8
    assert gauge.rise_ratio == pytest.approx(true, abs=0.06)
    assert miss(own) < 0.06
    assert miss(gauge) < 0.06
    assert any("as two surveys show" in text for text in read(gauge, 1.3 * FULL).limits)


@settings(max_examples=25, deadline=None)
@given(part=st.floats(0.2, 4.0), step=st.floats(1.001, 1.5))
def test_more_discharge_is_never_lower_water(flow, part, step):
    """Level, area and greatest depth rise with discharge, and the current stays positive with its range in order."""
    one, two = flow.at(part * FULL), flow.at(part * step * FULL)
    assert two.level_m > one.level_m
    assert two.area_m2 > one.area_m2
    assert two.max_depth_m > one.max_depth_m
    for state in (one, two):
        assert 0 < state.velocity_low_m_s < state.velocity_used_m_s < state.velocity_high_m_s


@settings(max_examples=25, deadline=None)
@given(stage=st.floats(1.6, 4.0), step=st.floats(0.01, 0.5))
def test_higher_stage_is_deeper_everywhere(flow, stage, step):
    """At every point inside, a higher stage gives more depth, with or without a discharge."""
    lon, lat = ROUGH.place(np.linspace(5, 155, 9), np.linspace(-20, 20, 9))
    one, two = (flow.local(flow.at(stage_m=h), lon, lat)["depth_m"] for h in (stage, stage + step))
    assert (two > one).all()


def test_relation_is_its_own_inverse(flow):
    """The level of the discharge of a level is that level."""
    levels = np.linspace(-1.2, 2.0, 30)
    assert flow.relation.level(flow.relation.discharge(levels)) == pytest.approx(levels, abs=1e-6)


def test_current_across_a_section_adds_up_to_the_discharge(flow):
    """Depth times current summed across any section is the discharge, within 1 %."""
    state = read(flow, 1.2 * FULL)
    n = np.linspace(-HALF + 0.01, HALF - 0.01, 2001)
    for s in (30.0, 77.0, 120.0):
        local = flow.local(state, *ROUGH.place(np.full(len(n), s), n))
        assert np.trapezoid(local["depth_m"] * local["velocity_m_s"], n) == pytest.approx(1.2 * FULL, rel=0.01)


def test_deeper_water_of_a_section_runs_faster(flow):
    """The trough carries the fastest current and each local range holds its own middle."""
    state = read(flow, FULL)
    n = np.linspace(-HALF + 2, HALF - 2, 41)
    local = flow.local(state, *ROUGH.place(np.full(41, 80.0), n))
    assert n[np.argmax(local["velocity_m_s"])] == pytest.approx(0.4 * HALF, abs=5)
    assert (local["velocity_low_m_s"] < local["velocity_m_s"]).all()
    assert (local["velocity_m_s"] < local["velocity_high_m_s"]).all()
    assert ((local["exponent_m"] >= 3.5) & (local["exponent_m"] <= 7)).all()
    assert local["distance_to_sounding_m"].max() < 15
    assert local["inside"].all()


def test_outside_the_outline_there_is_no_current(flow):
    """A point far on the bank has neither depth nor current; one just outside still has the rim's depth."""
    state = read(flow, FULL)
    local = flow.local(state, *ROUGH.place([80.0, 80.0], [HALF + 40, HALF + 2]))
    assert not local["inside"].any()
    assert np.isnan(local["velocity_m_s"]).all()
    assert np.isnan(local["depth_m"][0])
    assert local["depth_m"][1] == pytest.approx(0.0, abs=0.15)


@pytest.mark.parametrize("turn", [0.0, 70.0, 200.0])
def test_compass_does_not_matter(turn):
    """The same run turned and moved on the map has the same area, level and current, and its flow turns with it."""
    plain, other = surveyed(ROUGH), surveyed(ROUGH, turn_deg=turn, shift=(400.0, -250.0))
    one, two = read(plain, 1.3 * FULL), read(other, 1.3 * FULL)
    assert two.area_m2 == pytest.approx(one.area_m2, rel=2e-3)
    assert two.level_m == pytest.approx(one.level_m, abs=3e-3)
    assert two.velocity_used_m_s == pytest.approx(one.velocity_used_m_s, rel=2e-3)
    east, north = other.flow_direction(*ROUGH.but(turn_deg=turn, shift=(400.0, -250.0)).place(80.0, 5.0))
    off = math.degrees(math.atan2(float(north), float(east))) - turn
    assert (off + 180) % 360 - 180 == pytest.approx(0.0, abs=0.1)


def test_patch_is_the_same_ground_as_the_points(flow):
    """The patch around a point agrees with asking for its points one by one."""
    state = read(flow, FULL)
    lon, lat = (float(v) for v in ROUGH.place(80.0, 0.0))
    x, y, depth, sd = flow.patch(state, lon, lat, 12.0, 1.0)
    assert depth.shape == (25, 25)
    local = flow.local(state, *ROUGH.place([80.0 + x[20], 80.0], [y[5], y[18]]))
    assert depth[5, 20] == pytest.approx(local["depth_m"][0], abs=2e-3)
    assert depth[18, 12] == pytest.approx(local["depth_m"][1], abs=2e-3)
    assert sd[5, 20] == pytest.approx(local["depth_sd_m"][0], abs=2e-3)


def test_state_goes_into_json(flow):
    """The state is plain JSON with unknown as null."""
    state = surveyed(ROUGH, slope=math.nan).at(FULL)
    text = json.dumps(state.as_dict(), allow_nan=False)
    assert json.loads(text)["velocity_manning_m_s"] is None
    assert json.loads(text)["soundings"] == flow.soundings


def test_draft_is_added_to_the_depth():
    """A sounder 0.3 m under the surface finds a bed 0.3 m deeper than one at the surface."""
    run, river = ROUGH.river()
    plain = survey_run(run, river, ROUGH.series())
    river.soundings["draft_m"] = 0.3
    deep = survey_run(run, river, ROUGH.series())
    lon, lat = ROUGH.place(80.0, 0.0)
    one, two = (flow.local(read(flow, FULL), lon, lat)["depth_m"][0] for flow in (plain, deep))
    assert two - one == pytest.approx(0.3, abs=0.02)


def test_lag_is_taken_off_before_the_gauge_is_read():
    """A run that sees changes ten days late was sounded on the water that passed the gauge ten days before."""
    world = ROUGH.but(days=((FULL, 0), (1.5 * FULL, 200)))
    run, river = world.river()
    from dataclasses import replace

    late = survey_run(replace(run, lag_min=10 * 24 * 60.0), river, world.series())
    assert late.discharge_ref == pytest.approx(FULL)
    assert survey_run(run, river, world.series()).discharge_ref == pytest.approx(1.5 * FULL)


def test_stage_given_with_a_sounding_wins_and_is_rated():
    """Undated soundings with their stage are used, their discharge read off the gauge's own pairs."""
    world = ROUGH.but(dated=False)
    run, river = world.river()
    early = np.arange(len(river.soundings)) < 240
    river.soundings["stage_m"] = np.where(early, gauge_stage(FULL), gauge_stage(1.5 * FULL))
    series = world.series()
    flow = survey_run(run, river, series, rating_of(series))
    assert flow.left_out == 0
    assert flow.discharge_ref == pytest.approx(FULL, rel=0.02)
    assert read(flow, 1.3 * FULL).level_m == pytest.approx(level_at(1.3 * FULL), abs=0.03)


@pytest.mark.parametrize("share", [0.3, 0.6])
def test_flow_share_is_what_runs_through_the_run(share):
    """A run that takes a part of the river has that part of its discharge, and a current to match."""
    flow = surveyed(ROUGH, flow_share=share)
    state = read(flow, FULL)
    assert state.discharge_m3s == pytest.approx(share * FULL)
    assert state.velocity_used_m_s * state.area_m2 == pytest.approx(share * FULL, rel=1e-6)


def test_wider_doubt_of_the_discharge_widens_the_range(flow):
    """A discharge known to 20 % gives a wider range of level and current than one known to 5 %."""
    sure, unsure = (flow.at(FULL, discharge_rel_sd=sd) for sd in (0.05, 0.2))
    assert unsure.level_sd_m > 2 * sure.level_sd_m
    assert unsure.velocity_high_m_s / unsure.velocity_low_m_s > sure.velocity_high_m_s / sure.velocity_low_m_s
