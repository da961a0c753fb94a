"""Lees, wakes and slack water of channels drawn by hand, where one in six is one node a station."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from planner.flow.slack import lees, water_at, water_nodes
from tests.flow import box

S = np.arange(0.0, 91.0, 6.0)  # so that an edge closes by 1 m from a station to the next
N = np.tile(np.arange(-10.0, 11.0), (len(S), 1))


def at(width, s, n):
    """The figure at a station and a place across [m]."""
    return float(width[int(s // 6), int(n + 10)])


@pytest.mark.parametrize("side", [1, -1])
def test_a_spit_s_lee_narrows_by_one_in_six(side):
    """A spit of six metres at 24 m leaves 5 m of lee at 30 m, 1 m at 54 m and none at 60 m, on either bank alike."""
    dry = np.zeros(N.shape, dtype=bool)
    dry[4] = side * N[4] > 4
    width = lees(N, S, dry)
    for s, lee in ((18, 0), (30, 5), (36, 4), (48, 2), (54, 1), (60, 0)):
        assert at(width, s, side * 10) == pytest.approx(lee), s
        assert at(width, s, side * (10 - lee)) == 0.0  # the line itself is in the current
        if lee:
            assert at(width, s, side * (11 - lee)) == pytest.approx(lee)
    assert not width[4].any()
    assert not width[:, 10 - side * 5].any()  # the far bank has none


def test_an_island_s_wake_narrows_on_both_sides():
    """Behind an island eight metres wide it is 6, 4 and 2 m wide at the stations below, and then gone."""
    dry = np.zeros(N.shape, dtype=bool)
    dry[2:4] = np.abs(N[2:4]) <= 4
    width = lees(N, S, dry)
    for s, wake in ((12, 0), (18, 0), (24, 6), (30, 4), (36, 2), (42, 0)):
        assert at(width, s, 0) == pytest.approx(wake), s
        half = wake // 2
        assert at(width, s, half) == 0.0
        assert at(width, s, -half) == 0.0
        if wake:
            assert at(width, s, half - 1) == at(width, s, 1 - half) == pytest.approx(wake)


def test_two_islands_have_a_wake_each_and_the_wider_counts_where_they_meet():
    """Abreast of each other each throws its own; the next island downstream begins its wake anew."""
    dry = np.zeros(N.shape, dtype=bool)
    dry[2] = ((N[2] >= -8) & (N[2] <= -2)) | ((N[2] >= 2) & (N[2] <= 6))
    dry[4] = (N[4] >= -7) & (N[4] <= -3)
    width = lees(N, S, dry)
    assert at(width, 18, -5) == pytest.approx(4)
    assert at(width, 18, 4) == pytest.approx(2)
    assert at(width, 18, 0) == 0.0
    assert at(width, 24, 4) == 0.0
    assert at(width, 30, -5) == pytest.approx(2)  # of the second island: the first one's would be gone
    assert not lees(N, S, np.ones(N.shape, dtype=bool)).any()


def spit(depth, width=6):
    """The flume with a spit at 24 m, its nodes those of this file, at a depth [m]; and its state there."""
    z = np.full(N.shape, -box.DEPTH)
    z[4, N[4] > 10 - width] = 1.0
    nodes = replace(box.grid(stations=len(S)), s=S, n=N, z=z, sd=np.full(N.shape, 0.1), whole=np.ones(len(S), bool))
    flow = box.flume(nodes=nodes)
    state = flow.at(box.FULL)
    speed = 1.0
    state = replace(state, level_m=depth - box.DEPTH, velocity_used_m_s=speed, area_m2=box.WIDTH * depth, n=box.N)
    return flow, state, nodes


def test_deep_lees_turn_and_narrow_ones_run():
    """From a metre and a half of lee up the water of a deep one is an eddy; the node at 54 m, one metre of it, runs."""
    flow, state, nodes = spit(2.0)
    kinds = water_nodes(flow, state, nodes)
    assert [int(at(kinds, s, 10)) for s in (18, 24, 30, 48, 54)] == [1, 0, 3, 3, 1]
    assert int(at(kinds, 30, 0)) == 1


@pytest.mark.parametrize(("depth", "kind"), [(0.26, 3), (0.24, 2)])
def test_bed_friction_stills_an_eddy_from_a_stability_of_one_half(depth, kind):
    """g n² / h^(1/3) x 5 m / h is 0.47 in 0.26 m of water and 0.53 in 0.24 m."""
    flow, state, nodes = spit(depth)
    assert (9.80665 * 0.04**2 / depth ** (1 / 3) * 5 / depth < 0.5) == (kind == 3)
    assert int(at(water_nodes(flow, state, nodes), 30, 10)) == kind
    unknown = box.but(flow, n_calibrated=math.nan)
    assert int(at(water_nodes(unknown, state, nodes), 30, 10)) == kind
    bare = replace(state, n=math.nan)  # then 0.035 is taken, and both turn
    assert int(at(water_nodes(unknown, bare, nodes), 30, 10)) == 3


def test_slow_water_and_the_shallow_rim_are_slack():
    """Under 0.15 m/s, and under a quarter of the section's fastest: in a vee where depth^(2/3) is less, 1.25 m in."""
    flow = box.flume()
    state = flow.at(box.FULL)
    for speed, kind in ((0.14, 2), (0.16, 1)):
        slow = replace(state, velocity_used_m_s=speed)
        assert set(water_nodes(flow, slow, flow.bed.grid).ravel().tolist()) == {kind}
    vee = box.flume(lambda n: -2.0 * (1 - np.abs(n) / 10))
    kinds = water_nodes(vee, replace(vee.at(box.FULL), level_m=0.0), vee.bed.grid)[0]
    n = vee.bed.grid.n[0]
    assert kinds[np.abs(n) <= 8.5].tolist() == [1] * int((np.abs(n) <= 8.5).sum())
    assert set(kinds[(np.abs(n) > 8.9) & (np.abs(n) < 9.9)].tolist()) == {2}
    assert kinds[[0, -1]].tolist() == [0, 0]


def test_a_place_has_the_water_of_its_nearest_node():
    """Half way between two is where it changes; a place that is not known, or a run of no level, has none."""
    nodes = box.grid(columns=21, stations=6)
    kinds = np.ones(nodes.z.shape, dtype=np.int8)
    kinds[2, 10] = 3  # s 40 m, n 0
    s = np.array([40.0, 49.0, 51.0, 40.0, 40.0, math.nan, 31.0])
    n = np.array([0.0, 0.0, 0.0, 0.4, 0.6, 0.0, -0.4])
    expected = ["eddy", "eddy", "current", "eddy", "current", "", "eddy"]
    assert water_at(nodes, kinds, s, n).tolist() == expected
    assert water_at(nodes, None, s, n).tolist() == [""] * 7
