"""Depth and current at points of a run made by hand, against Manning and continuity in closed form."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from planner.flow.field import node_speeds
from planner.flow.profile import exponent_of
from planner.flow.state import TEN_NINETY
from planner.tables import constants
from tests.flow import box

RULES = constants("flow")
FLUME = box.flume()
VEE = box.flume(lambda n: -2.0 * (1 - np.abs(n) / 10))


def test_the_current_of_a_vee_is_shared_by_the_power_of_its_depth():
    """v = Q h^(2/3) over the integral of h^(5/3), which is 2 x 10 x 3/8 x 2^(5/3) in a vee 2 m deep and 20 m wide."""
    state = VEE.at(box.FULL)
    q = state.velocity_used_m_s * state.area_m2
    state = replace(state, level_m=0.0)
    got = box.local(VEE, state, [50, 50, 50, 50], [0.0, 5.0, -5.0, 9.0])
    depth = np.array([2.0, 1.0, 1.0, 0.2])
    assert got["depth_m"] == pytest.approx(depth, abs=1e-6)
    assert got["velocity_m_s"] == pytest.approx(q * depth ** (2 / 3) / (20 * 3 / 8 * 2 ** (5 / 3)), rel=2e-3)
    m = exponent_of(box.N, depth)
    assert got["exponent_m"] == pytest.approx(m)
    assert got["surface_m_s"] == pytest.approx(got["velocity_m_s"] * (m + 1) / m)


def test_the_range_at_a_point_has_the_section_s_doubt_the_vertical_s_and_that_of_its_depth():
    """In quadrature: the mean's, 0.18 across the section, and two thirds of the depth's own part."""
    state = FLUME.at(box.FULL)
    got = box.local(FLUME, state, 50, 0)
    depth_sd = math.hypot(0.1, state.level_sd_m)
    assert got["depth_sd_m"][0] == pytest.approx(depth_sd)
    spread = math.sqrt(state.velocity_ln_sd**2 + RULES["lateral_ln_sd"] ** 2 + (2 / 3 * depth_sd / 2.0) ** 2)
    ratio = (
        np.log(got["velocity_high_m_s"] / got["velocity_m_s"]),
        np.log(got["velocity_m_s"] / got["velocity_low_m_s"]),
    )
    assert np.concatenate(ratio) == pytest.approx(TEN_NINETY * spread, rel=1e-3)
    half = box.local(FLUME, replace(state, level_m=-1.5), 50, 0)
    spread = math.sqrt(state.velocity_ln_sd**2 + RULES["lateral_ln_sd"] ** 2 + (2 / 3 * depth_sd / 0.5) ** 2)
    assert np.log(half["velocity_high_m_s"] / half["velocity_m_s"]) == pytest.approx(TEN_NINETY * spread, rel=1e-3)
    thin = replace(state, level_m=-1.98)
    local = box.local(FLUME, thin, 50, 0)
    part = math.hypot(0.1, state.level_sd_m) / 0.05  # more than all of it
    assert part > 1
    spread = math.sqrt(state.velocity_ln_sd**2 + RULES["lateral_ln_sd"] ** 2 + (2 / 3) ** 2)
    assert np.log(local["velocity_high_m_s"] / local["velocity_m_s"]) == pytest.approx(TEN_NINETY * spread, rel=1e-3)


def test_the_bed_is_carried_on_ten_metres_outside_and_grows_doubtful():
    """By 0.15 m a metre; past ten metres it is unknown, and there is no current outside."""
    got = box.local(FLUME, FLUME.at(box.FULL), [50, 50, 50], [14.0, 19.9, 20.2])
    assert np.isfinite(got["depth_m"]).tolist() == [True, True, False]
    level_sd = FLUME.at(box.FULL).level_sd_m
    assert got["depth_sd_m"][:2] == pytest.approx(
        np.hypot(np.hypot(0.1, 0.15 * np.array([4.0, 9.9])), level_sd), rel=1e-3
    )
    assert np.isnan(got["velocity_m_s"]).all()
    assert got["water"].tolist() == ["", "", ""]
    assert not got["inside"].any()


def test_a_rough_shelf_takes_less_of_the_current_at_the_same_depth():
    """Where n is twice the channel's the speed is half of it, and the discharge of the section stays whole."""
    nodes = box.grid()
    ease = np.where(nodes.n > 0, 0.5, 1.0)
    flow = box.but(FLUME, ease=ease)
    state = flow.at(box.FULL)
    n = np.linspace(-9.99, 9.99, 2001)
    got = box.local(flow, state, np.full(len(n), 50.0), n)
    one, two = (float(np.interp(at, n, got["velocity_m_s"])) for at in (-5.0, 5.0))
    assert two == pytest.approx(one / 2, rel=1e-6)
    speeds = node_speeds(flow, nodes, state)
    assert (speeds[0, 5], speeds[0, 35]) == (pytest.approx(one), pytest.approx(two))
    film = replace(state, level_m=-1.98, velocity_used_m_s=0.2, area_m2=0.4)  # 2 cm deep and 20 m wide
    assert box.local(FLUME, film, 50, 0)["velocity_m_s"] == pytest.approx([0.2], rel=1e-6)
    assert np.trapezoid(got["depth_m"] * got["velocity_m_s"], n) == pytest.approx(box.FULL, rel=5e-3)


def narrowing():
    """A flume whose bed rises by half a metre from the first station to the last."""
    nodes = box.grid(stations=6)
    z = nodes.z + np.linspace(0.0, 0.5, 6)[:, None]
    return box.but(FLUME, bed=replace(FLUME.bed, grid=replace(nodes, z=z)))


def test_where_the_outline_spans_the_flow_every_section_carries_it_all():
    """Shallower stations run faster; where it does not span, one factor serves them all."""
    flow = narrowing()
    state = flow.at(box.FULL)
    got = box.local(flow, state, [0.5, 99.5], [1.0, 1.0])
    carried = state.velocity_used_m_s * state.area_m2
    assert got["velocity_m_s"] * got["depth_m"] * box.WIDTH == pytest.approx([carried] * 2, rel=2e-2)
    part = box.but(flow, spans=False)
    loose = box.local(part, state, [0.5, 99.5], [1.0, 1.0])
    assert loose["velocity_m_s"] / loose["depth_m"] ** (2 / 3) == pytest.approx(
        [float(loose["velocity_m_s"][0] / loose["depth_m"][0] ** (2 / 3))] * 2, rel=1e-6
    )
    mean = np.mean(2 - np.linspace(0.0, 0.5, 6) + state.level_m)
    assert loose["velocity_m_s"].mean() == pytest.approx(carried / box.WIDTH / mean, rel=2e-2)


def test_a_still_run_is_slack_everywhere():
    """No current, at most that of still water, and no water at all on dry ground."""
    flow = box.flume(lambda n: np.where(np.abs(n) < 9, -2.0, 0.5), run={"still": True})
    got = box.local(flow, flow.at(stage_m=box.STAGE), [50, 50], [0.0, 9.8])
    assert got["velocity_m_s"][0] == 0.0
    assert got["velocity_high_m_s"][0] == RULES["still_speed_m_s"]
    assert math.isnan(got["velocity_m_s"][1])
    assert got["water"][0] == "slack"


def test_how_far_the_next_sounding_is_and_how_sure_that_makes_a_place():
    """Soundings stand every 10 m along and 2 m across: a point between four is 5.1 m from each."""
    got = box.local(FLUME, FLUME.at(box.FULL), [50.0, 45.0], [1.0, 0.0])
    assert got["distance_to_sounding_m"] == pytest.approx([math.hypot(5, 1), 0.0], abs=1e-3)
    assert got["confidence"].tolist() == ["sounded", "sounded"]


def test_a_point_asked_again_is_the_same_and_many_points_are_the_same_as_few():
    """What is remembered changes nothing: five hundred points and more are asked without it."""
    state = VEE.at(box.FULL)
    n = np.linspace(-9, 9, 501)
    many = box.local(VEE, state, np.full(501, 40.0), n)["depth_m"]
    few = [
        VEE.local(state, *box.PLANE.to_lonlat(np.full(100, 40.0), n[k : k + 100]))["depth_m"]
        for k in range(0, 500, 100)
    ]
    again = VEE.local(state, *box.PLANE.to_lonlat(np.full(100, 40.0), n[:100]))["depth_m"]
    assert np.concatenate(few) == pytest.approx(many[:500])
    assert again == pytest.approx(many[:100])


def test_the_patch_of_a_point_is_even_and_centred_on_it():
    """Three metres each way by half a metre: 13 rows, the point's in the middle, the next half a metre north."""
    lon, lat = (float(v) for v in box.PLANE.to_lonlat(50.0, 4.0))
    state = replace(VEE.at(box.FULL), level_m=0.0, level_sd_m=0.3)
    x, y, depth, sd = VEE.patch(state, lon, lat, 3.0, 0.5)
    assert x == pytest.approx(np.arange(-6, 7) * 0.5)
    assert y == pytest.approx(x)
    assert depth[6, 6] == pytest.approx(1.2, abs=1e-3)
    assert depth[7, 6] == pytest.approx(1.1, abs=1e-3)
    assert depth[6, 7] == pytest.approx(1.2, abs=1e-3)
    assert sd[6, 6] == pytest.approx(math.hypot(0.1, 0.3), rel=1e-3)
    shore = tuple(float(v) for v in box.PLANE.to_lonlat(50.0, 18.0))
    edge = VEE.patch(state, *shore, 3.0, 0.5)[2][:, 6]
    assert np.isfinite(edge[:10]).all()  # up to 19.5 m, 9.5 m outside
    assert np.isnan(edge[11:]).all()
    assert VEE.patch(state, *shore)[0][[0, -1]] == pytest.approx([-30.0, 30.0])


def test_the_section_asked_for_is_the_one_there():
    """By its distance along, by a point, or the middle one without either."""
    flow = narrowing()
    assert flow.section(0.0).z[0] == pytest.approx(-2.0)
    lon, lat = (float(v) for v in box.PLANE.to_lonlat(100.0, 3.0))
    assert flow.section(lon=lon, lat=lat).z[0] == pytest.approx(-1.5, abs=1e-3)
    assert flow.section().s == pytest.approx(60.0)  # the fourth of six stations, every 20 m


def test_the_current_runs_along_the_flume():
    """East, everywhere in it."""
    east, north = FLUME.flow_direction(*box.PLANE.to_lonlat(np.array([10.0, 90.0]), np.array([-5.0, 5.0])))
    assert east == pytest.approx([1.0, 1.0])
    assert north == pytest.approx([0.0, 0.0], abs=1e-6)
