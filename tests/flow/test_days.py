"""Several survey days, controls downstream, shelves, islands and the doubt of each sounding."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from planner.bed.surface import Grid
from planner.flow import survey_run
from planner.flow.control import Mark, control_relation, held_from_below
from planner.flow.days import DaySeen, fit_constant, split_constant
from planner.flow.division import Division, conveyed, divide
from planner.flow.relation import ControlRelation, conveyance_table
from tests.flow.world import FULL, HALF, LENGTH, SLOPE, N, World, bed_level, gauge_stage, level_at, truth

ROUGH = World()
THREE = World(days=((FULL, 200), (0.6 * FULL, 160), (1.7 * FULL, 160)))


def surveyed(world, **changes):
    """The run of a world, surveyed, with changes of the run's own properties."""
    run, river = world.river()
    return survey_run(replace(run, **changes), river, world.series())


@pytest.fixture(scope="module")
def three():
    """A run surveyed on three days from 0.6 to 1.7 times full."""
    return surveyed(THREE)


def test_levels_of_the_days_are_read_off_the_beds(three):
    """Each day's level, seen where it sounded the reference's ground, is the true one within 3 cm."""
    base = level_at(FULL)
    for day, (q, _) in zip(three.fit.days, THREE.days, strict=True):
        assert day.seen.discharge == pytest.approx(q, rel=0.01)
        assert day.seen.level == pytest.approx(level_at(q) - base, abs=0.03)
        assert abs(day.residual) < 0.03


def test_three_days_tell_that_the_roughness_does_not_drift(three):
    """In a world of one n the drift fitted is small and surer than what was assumed before."""
    assert abs(three.fit.drift) < 0.05
    assert three.fit.drift_sd < 0.1
    assert three.n_calibrated == pytest.approx(N, rel=0.03)
    single = surveyed(ROUGH.but(days=((FULL, 200),)))
    assert single.fit.drift_sd == pytest.approx(0.15)
    q, h = 0.45 * FULL, float(gauge_stage(0.45 * FULL))
    assert three.at(q, h).level_sd_m < single.at(q, h).level_sd_m
    assert three.at(q, h).level_m == pytest.approx(level_at(q) - level_at(FULL), abs=0.03)


def test_n_and_slope_share_what_the_constant_says():
    """The product of the two is the constant's; each moves by its own doubt, and both become surer."""
    constant = math.sqrt(0.0012) / 0.036
    n, n_low, n_high, slope, slope_low, slope_high = split_constant(constant, 0.03, 0.045, 0.15, 0.0008)
    assert 0.036 < n < 0.045
    assert 0.0008 < slope < 0.0013
    assert math.sqrt(slope) / n == pytest.approx(constant, rel=0.03)
    assert math.log(n_high / n_low) < 2 * 1.2816 * 0.15
    assert math.log(slope_high / slope_low) < 2 * 1.2816 * 0.30
    assert split_constant(constant, 0.0, 0.045, 0.15, math.nan)[3] == pytest.approx((constant * 0.045) ** 2)
    assert split_constant(constant, 0.0, math.nan, math.nan, 0.0012)[0] == pytest.approx(0.036)


def flat_grid(width=30.0, bed=-2.0):
    """A grid of a rectangle."""
    n = np.tile(np.linspace(0, width, 21), (5, 1))
    z = np.full_like(n, bed)
    return Grid(np.linspace(0, 100, 5), n, z, np.zeros_like(z), np.ones(5, dtype=bool))


@settings(max_examples=30, deadline=None)
@given(drift=st.floats(-0.3, 0.3), k=st.floats(0.3, 2.0))
def test_drift_that_made_the_days_is_found_again(drift, k):
    """Levels and discharges made with a constant and a drift give both back, drawn a little toward no drift."""
    table = conveyance_table(flat_grid(), (True, True))
    made = table.fitted(k, drift, 40.0, 0.1)
    levels = np.array([-0.8, -0.4, 0.0, 0.5, 1.0])
    days = tuple(DaySeen(str(i), 50, float(made.discharge(z)), math.nan, float(z), 0.005) for i, z in enumerate(levels))
    constant, _, found, sd = fit_constant(table, days, 40.0)
    assert abs(found) <= abs(drift) + 1e-6
    assert found == pytest.approx(drift, abs=0.12 * abs(drift) + 0.01)
    assert sd < 0.06
    assert table.fitted(constant, found, 40.0, sd).level(made.discharge(levels)) == pytest.approx(levels, abs=0.06)


@settings(max_examples=40, deadline=None)
@given(drift=st.floats(-0.5, 0.5), low=st.floats(-1.5, 2.0), step=st.floats(0.01, 1.0))
def test_relation_with_drift_stays_its_own_inverse_and_rises(drift, low, step):
    """With any drift fitted, more discharge is higher water, and level and discharge undo each other."""
    made = conveyance_table(flat_grid(), (True, True)).fitted(0.8, drift, 40.0, 0.1)
    q = made.discharge(np.array([low, low + step]))
    assert q[1] > q[0]
    assert made.level(q) == pytest.approx([low, low + step], abs=1e-6)


POOL = ControlRelation(np.linspace(-2, 4, 50), np.linspace(0, 200, 50), 40.0 / 0.6**1.67, -0.6, 1.67)


def pool_world(spec, **extra):
    """A run whose level follows a riffle: soundings made with the control's levels in place of friction's."""
    run, river = spec.river()
    rows = river.soundings
    shift = []
    for q, _ in spec.days:
        friction = level_at(q) - level_at(spec.days[0][0])
        shift.append(float(POOL.level(q * 40.0 / FULL)) - friction)
    moments = rows["taken_at"].drop_duplicates().tolist()
    moved = rows["depth_m"] + rows["taken_at"].map(dict(zip(moments, shift, strict=True)))
    river = replace(river, soundings=rows.assign(depth_m=moved)[moved > 0.05])
    return survey_run(replace(run, extra=extra), river, spec.series())


def test_a_pool_held_by_a_riffle_is_recognised_from_two_days():
    """Where the level moves otherwise than friction would have it, the riffle's own relation is fitted and said."""
    spec = ROUGH.but(days=((FULL, 240), (0.3 * FULL, 200)))
    flow = pool_world(spec)
    assert flow.fit.control.startswith("downstream")
    assert any("downstream holds" in text for text in flow.survey_limits)
    for part in (0.25, 0.5, 1.4):
        state = flow.at(part * FULL, float(gauge_stage(part * FULL)))
        assert state.level_m == pytest.approx(float(POOL.level(part * 40.0)), abs=0.06)
        assert state.velocity_used_m_s == pytest.approx(part * FULL / state.area_m2, rel=1e-6)


def test_friction_is_not_taken_for_a_control(three):
    """Runs ruled by friction are left to friction."""
    assert three.fit.control == "friction"
    assert surveyed(ROUGH).fit.control == "friction"


def test_a_marked_pool_follows_the_depth_over_its_lip():
    """With the depth over the riffle given, one day of survey is enough."""
    flow = pool_world(ROUGH.but(days=((FULL, 240),)), control="downstream", control_depth_m=0.6)
    state = flow.at(0.4 * FULL, float(gauge_stage(0.4 * FULL)))
    assert state.level_m == pytest.approx(float(POOL.level(0.4 * 40.0)), abs=0.01)
    assert "marked by you" in flow.fit.control


def test_a_marked_pool_of_which_nothing_is_known_rises_as_the_gauge_does():
    """Marked without lip or second level, the run keeps parallel rise and says what would help."""
    flow = pool_world(ROUGH.but(days=((FULL, 240),)), control="downstream")
    state = flow.at(0.6 * FULL, float(gauge_stage(0.6 * FULL)))
    assert state.level_m == pytest.approx(state.level_parallel_m)
    assert any("control_depth_m" in text for text in state.limits)


def test_levels_on_the_user_s_mark_give_the_pool_s_rise():
    """Two readings of a mark with any zero give the control without a second survey."""
    levels = [
        {"level_m": 3.1 + float(POOL.level(part * 40.0)), "discharge_m3s": part * FULL} for part in (0.3, 0.7, 1.2)
    ]
    flow = pool_world(ROUGH.but(days=((FULL, 240),)), control="downstream", levels=levels)
    state = flow.at(0.5 * FULL, float(gauge_stage(0.5 * FULL)))
    assert state.level_m == pytest.approx(float(POOL.level(0.5 * 40.0)), abs=0.03)


@settings(max_examples=30, deadline=None)
@given(power=st.floats(1.4, 2.2), lip=st.floats(0.3, 1.2))
def test_a_control_is_found_again_from_its_levels(power, lip):
    """Marks made with a lip and a power give levels back within 3 cm between and a little beyond them."""
    made = ControlRelation(POOL.levels, POOL.area, 40.0 / lip**power, -lip, power)
    marks = tuple(Mark(float(made.level(q)) + 7.0, q) for q in (10.0, 25.0, 60.0))
    found = control_relation(conveyance_table(flat_grid(), (True, True)), (), marks, 40.0, math.nan)
    q = np.array([8.0, 18.0, 40.0, 75.0])
    assert found.level(q) == pytest.approx(made.level(q), abs=0.05)


def test_departures_on_both_sides_are_no_control():
    """Levels too high one day and too low another are scatter, not a riffle."""
    table = conveyance_table(flat_grid(), (True, True)).calibrated(40.0, 0.0)
    up, down = (float(table.level(q)) for q in (80.0, 80.5))
    one, two = DaySeen("a", 90, 80.0, math.nan, up + 0.9, 0.02), DaySeen("b", 90, 80.5, math.nan, down - 0.9, 0.02)
    assert held_from_below(table, (one,), (), 40.0)[0]
    assert not held_from_below(table, (one, two), (), 40.0)[0]


def compound(rows=7, shelf=-0.1, bed=-2.0):
    """A channel 20 m wide between shelves of 30 m."""
    n = np.tile(np.linspace(0, 80, 81), (rows, 1))
    z = np.where((n >= 30) & (n <= 50), bed, shelf)
    return n, z


def test_a_shelf_is_found_and_a_bowl_or_a_ramp_is_not():
    """Two levels with a step are divided at the step; a smooth bowl and an even ramp are one section."""
    n, z = compound()
    found = divide(n, z, np.ones(7, dtype=bool))
    assert abs(n[0, found.right[0]] - 30) <= 1.5
    assert abs(n[0, found.left[0]] - 50) <= 1.5
    bowl = -2.0 * (1 - ((n - 40) / 40) ** 2)
    ramp = -2.0 * (1 - n / 80)
    for smooth in (bowl, ramp, np.full_like(n, -1.0)):
        assert divide(n, smooth, np.ones(7, dtype=bool)).whole(81)
    assert divide(n, bed_level(0, (n - 40) / 40 * HALF), np.ones(7, dtype=bool)).whole(81)


@settings(max_examples=30, deadline=None)
@given(shelf=st.floats(-0.8, 0.3), low=st.floats(-1.9, 2.0), step=st.floats(0.01, 0.5), ease=st.floats(0.3, 1.0))
def test_more_water_never_slows_the_main_channel_of_divided_sections(shelf, low, step, ease):
    """Through bankfull and above it, the divided conveyance rises and so does the speed it means in the channel."""
    n, z = compound(shelf=shelf)
    division = divide(n, z, np.ones(7, dtype=bool), (ease, ease))
    at = np.array([low, low + step])
    carried, _ = conveyed(n, z, at, (True, True), division)
    assert carried[1] > carried[0]
    depth = np.maximum(at[:, None] - z[0], 0)
    power = depth ** (5 / 3) * division.factor(81)[0]
    share = np.trapezoid(power, n[0], axis=1)
    speed = carried / share * depth[:, 40] ** (2 / 3)
    assert speed[1] >= speed[0] * 0.999


def test_an_undivided_table_dips_where_the_divided_does_not():
    """Just over the shelves one section seems to carry less than the channel alone did; divided it does not."""
    n, z = compound()
    at = np.array([-0.1, -0.02])
    one = conveyed(n, z, at, (True, True), Division(np.zeros(7, int), np.full(7, 80)))[0]
    parts = conveyed(n, z, at, (True, True), divide(n, z, np.ones(7, dtype=bool)))[0]
    assert one[1] < one[0]
    assert parts[1] > parts[0]


def test_rough_shelves_carry_less():
    """A run whose shelves are brush carries less over them than one of one roughness."""
    n, z = compound(shelf=-0.8)
    whole = np.ones(7, dtype=bool)
    same, rough = (conveyed(n, z, [0.5], (True, True), divide(n, z, whole, (e, e)))[0][0] for e in (1.0, 0.4))
    assert rough < 0.9 * same


def island_world():
    """The plain world with an island in its middle, drawn as a hole."""
    run, river = ROUGH.river()
    corners = [ROUGH.place(80 + 15 * math.cos(a), -6 + 5 * math.sin(a)) for a in np.linspace(0, 2 * math.pi, 25)]
    hole = [tuple(float(v) for v in c) for c in corners]
    return replace(run, polygon=Polygon(run.polygon.exterior.coords, [hole])), river


def test_an_island_takes_no_flow_and_the_water_beside_it_takes_it_all():
    """A hole in the outline is dry; depth times current across the rest is still the whole discharge."""
    run, river = island_world()
    flow = survey_run(run, river, ROUGH.series())
    state = flow.at(FULL, float(gauge_stage(FULL)))
    local = flow.local(state, *ROUGH.place([80.0, 80.0], [-6.0, 12.0]))
    assert not local["inside"][0]
    assert math.isnan(local["velocity_m_s"][0])
    assert local["depth_m"][0] < 0
    plain = surveyed(ROUGH)
    without = plain.local(plain.at(FULL, float(gauge_stage(FULL))), *ROUGH.place([80.0], [12.0]))
    assert local["velocity_m_s"][1] > 1.05 * without["velocity_m_s"][0]
    n = np.linspace(-HALF + 0.01, HALF - 0.01, 4001)
    across = flow.local(state, *ROUGH.place(np.full(len(n), 80.0), n))
    flux = np.nan_to_num(np.maximum(across["depth_m"], 0) * across["velocity_m_s"])
    assert np.trapezoid(flux, n) == pytest.approx(state.discharge_m3s, rel=0.01)


def test_doubts_add_in_quadrature_and_each_has_its_cause():
    """The total is the root of the sum of squares; a fast rise, a phone's position and a sounder each show."""
    run, river = ROUGH.river()
    series = ROUGH.series()
    plain = survey_run(run, river, series).doubt
    parts = (plain.method, plain.draft, plain.stage, plain.time, plain.position, plain.shift)
    assert plain.total == pytest.approx(np.sqrt(sum(p**2 for p in parts)))
    assert plain.time == pytest.approx(0.0)
    assert plain.draft == pytest.approx(0.0)
    ramp = river.soundings.assign(taken_at=pd.Timestamp("2026-05-11T00:00Z"))
    rising = survey_run(run, replace(river, soundings=ramp), series).doubt
    assert rising.time.min() > 0.0015
    noted = survey_run(run, replace(river, soundings=ramp.assign(stage_m=2.0)), series).doubt
    assert noted.time == pytest.approx(0.0)
    lined = survey_run(run, replace(river, soundings=river.soundings.assign(position_sd_m="0.5")), series).doubt
    assert np.mean(lined.position) < 0.5 * np.mean(plain.position)
    thrown = survey_run(run, replace(river, soundings=river.soundings.assign(method="lead line")), series).doubt
    assert thrown.position == pytest.approx(plain.position), "a lead line tells the depth, a phone where it was"
    sonar = survey_run(run, replace(river, soundings=river.soundings.assign(method="sonar")), series).doubt
    assert np.mean(sonar.total) > np.mean(plain.total)
    assert sonar.draft.min() > 0.1
    assert set(plain.as_dict()) == {"method", "draft", "stage", "time", "position", "shift", "total"}


def test_a_known_lag_makes_the_time_surer():
    """Without a lag the moment at the gauge is known to half an hour, with one to minutes."""
    world = ROUGH.but(days=((FULL, 150), (1.5 * FULL, 0)))
    run, river = world.river()
    ramp = replace(river, soundings=river.soundings.assign(taken_at=pd.Timestamp("2026-05-11T00:00Z")))
    loose = survey_run(run, ramp, world.series()).doubt.time
    tight = survey_run(replace(run, lag_min=0.0), ramp, world.series()).doubt.time
    assert tight.max() < 0.2 * loose.min()


def test_a_new_sounding_leaves_the_far_bed_alone():
    """With the calibration held, one more sounding changes the bed only where it is among the fifty nearest."""
    from planner.bed import ChannelFrame, fit_bed

    random = np.random.default_rng(3)
    s, n = random.uniform(0, 2000, 900), random.uniform(-20, 20, 900)
    z = bed_level(s, n)
    frame = ChannelFrame([(0.0, 0.0), (2000.0, 0.0)])
    one = fit_bed(frame, s, n, z)
    two = fit_bed(frame, np.append(s, 1000.0), np.append(n, 3.0), np.append(z, -1.2))
    at_s, at_n = (v.ravel() for v in np.meshgrid(np.linspace(50, 1950, 60), np.linspace(-18, 18, 9)))
    before, after = one.z(at_s, at_n)[0], two.z(at_s, at_n)[0]
    scaled = np.column_stack((two.points.s / two.stretch, two.points.n))
    new = int(np.argmin(np.hypot(two.points.s - 1000.0, two.points.n - 3.0)))
    places = np.column_stack((at_s / two.stretch, at_n))
    far = np.hypot(*(places[:, None, :] - scaled[None]).transpose(2, 0, 1))
    among = far.argsort(axis=1)[:, :51]
    touched = (among == new).any(axis=1)
    assert touched.any()
    assert before[~touched] == pytest.approx(after[~touched], abs=1e-9)
    assert np.abs(before - after)[touched].max() > 1e-3


def test_half_the_channel_with_its_share_has_the_current_of_the_whole():
    """A polygon over the left half with that half's share of the flow gives the whole's current within its range."""
    whole = surveyed(ROUGH)
    state = whole.at(FULL, float(gauge_stage(FULL)))
    n = np.linspace(0, HALF, 400)
    local = whole.local(state, *ROUGH.place(np.full(400, 80.0), n))
    part = np.trapezoid(np.nan_to_num(np.maximum(local["depth_m"], 0) * local["velocity_m_s"]), n) / FULL
    run, river = ROUGH.river()
    corners = [(0, 0), (LENGTH, 0), (LENGTH, HALF), (0, HALF)]
    half = Polygon([tuple(float(v) for v in ROUGH.place(*c)) for c in corners])
    flow = survey_run(replace(run, polygon=half, banks="left", flow_share=float(part)), river, ROUGH.series())
    own = flow.at(FULL, float(gauge_stage(FULL)))
    at = np.array([4.0, 10.0, 16.0, 20.0])
    one = whole.local(state, *ROUGH.place(np.full(4, 80.0), at))["velocity_m_s"]
    two = flow.local(own, *ROUGH.place(np.full(4, 80.0), at))
    assert (two["velocity_low_m_s"] < one).all()
    assert (one < two["velocity_high_m_s"]).all()
    assert two["velocity_m_s"] == pytest.approx(one, rel=0.1)


def test_what_is_beyond_the_survey_is_flagged(three):
    """Inside the range sounded nothing is flagged; far above, far below and over the banks it is, and said."""
    assert not three.at(FULL, float(gauge_stage(FULL))).extrapolated
    for part, words in ((0.2, "lower than on any sounding day"), (3.5, "above the drawn edge")):
        state = three.at(part * FULL, float(gauge_stage(part * FULL)))
        assert state.extrapolated
        assert any(words in text for text in state.limits)
    assert truth(level_at(FULL))[2] == pytest.approx(FULL, rel=1e-6)
    assert SLOPE > 0


def test_a_lake_takes_the_level_that_is_read():
    """A still run without any stage has its depth from the level given, and no current."""
    flow = surveyed(ROUGH.but(still=True, with_stage=False, with_discharge=True))
    one, two = flow.at(level_m=0.0), flow.at(level_m=0.5)
    lon, lat = ROUGH.place([80.0], [5.0])
    deep = [flow.local(state, lon, lat)["depth_m"][0] for state in (one, two)]
    assert deep[1] - deep[0] == pytest.approx(0.5)
    assert two.velocity_used_m_s == 0.0


def test_what_cannot_be_read_of_a_control_is_said():
    """A misspelt control, a depth in words and a level without a discharge are named and passed over."""
    run, river = ROUGH.but(days=((FULL, 150),)).river()
    extra = {"control": "upstream", "control_depth_m": "knee", "levels": [{"level_m": 1.0}]}
    flow = survey_run(replace(run, extra=extra), river, ROUGH.series())
    for words in ('only "downstream"', "control_depth_m is not", "1 of the run's levels"):
        assert any(words in text for text in flow.survey_limits), words
    assert flow.fit.control == "friction"


@pytest.mark.parametrize("shift", [-3.0, 12.5])
def test_the_gauge_s_zero_does_not_matter(shift):
    """A gauge whose zero lies elsewhere gives the same level, depth and current."""
    run, river = ROUGH.river()
    series = ROUGH.series()
    plain = survey_run(run, river, series)
    moved = survey_run(run, river, replace(series, stage_m=series.stage_m + shift))
    h = float(gauge_stage(1.2 * FULL))
    one, two = plain.at(1.2 * FULL, h), moved.at(1.2 * FULL, h + shift)
    for name in ("level_m", "area_m2", "velocity_used_m_s", "velocity_manning_m_s", "level_parallel_m"):
        assert getattr(two, name) == pytest.approx(getattr(one, name), rel=1e-9), name


@settings(max_examples=25, deadline=None)
@given(part=st.floats(0.25, 0.95), step=st.floats(1.01, 1.3), s=st.floats(20, 140))
def test_more_discharge_below_bankfull_is_faster_and_deeper_in_the_channel(three, part, step, s):
    """In the main channel below the drawn edge a rise brings more depth and more speed at every station."""
    low, high = (q * FULL for q in (part, min(part * step, 1.0)))
    at = ROUGH.place([s, s, s], [5.0, 10.0, 15.0])
    one, two = (three.local(three.at(q, float(gauge_stage(q))), *at) for q in (low, high))
    assert (two["depth_m"] > one["depth_m"]).all()
    assert (two["velocity_m_s"] > one["velocity_m_s"]).all()
