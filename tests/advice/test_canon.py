"""Canonical geometries and the grids."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.advice.canon import (
    canon_of,
    count_knots,
    current_grid,
    depth_grid,
    locate,
    path_depths,
    path_nodes,
)
from planner.advice.records import AtLevel


def _level(current, depth):
    return AtLevel(0.0, depth, current, current * 0.85, current * 1.15, 6.0)


@given(st.floats(0.0, 6.0))
def test_weights_sum_to_one_and_slopes_to_zero(current):
    """A constant is interpolated exactly and does not answer to the current."""
    nodes = locate(current)
    assert sum(weight for _, weight, _ in nodes) == pytest.approx(1.0)
    assert sum(slope for _, _, slope in nodes) == pytest.approx(0.0, abs=1e-12)
    assert all(-1e-12 <= weight <= 1 + 1e-12 for _, weight, _ in nodes)


@given(st.floats(0.11, 2.8))
def test_the_logarithm_of_the_current_is_interpolated_exactly(current):
    """So is its slope of one."""
    v = current_grid()
    nodes = locate(current)
    assert sum(weight * math.log(v[i]) for i, weight, _ in nodes) == pytest.approx(math.log(current))
    assert sum(slope * math.log(v[i]) for i, _, slope in nodes) == pytest.approx(1.0)


def test_depth_inverse_to_the_current_errs_by_less_than_the_stated_bound():
    """The towed depth goes as 1/V; between nodes its error is at most (ln 1.4)²/8."""
    v = current_grid()
    for current in np.linspace(0.11, 2.8, 200):
        depth = sum(weight / v[i] for i, weight, _ in locate(current) if v[i] > 0)
        assert -1e-12 <= depth * current - 1 <= 1.05 * math.log(1.4) ** 2 / 8


def test_still_water_needs_one_node():
    """At rest neither current nor depth matters."""
    nodes, weight, slope = path_nodes([_level(0.0, 2.0), _level(0.0, 3.0)], still=True)
    assert nodes == [(0, 0)]
    assert weight.tolist() == [[1.0], [1.0]]
    assert not slope.any()


def test_a_reading_between_the_same_levels_needs_no_new_node():
    """Another gauge reading on the same path finds its swims in the store."""
    current = np.linspace(0.5, 0.9, 9)
    depth = 2.2 * (current / 0.7) ** 1.2
    whole = path_nodes([_level(v, h) for v, h in zip(current, depth, strict=True)], still=False)[0]
    for shift in (0.01, 0.03, -0.02):
        moved = (current + shift)[1:-1]
        again = path_nodes([_level(v, 2.2 * (v / 0.7) ** 1.2) for v in moved], still=False)[0]
        assert set(again) <= set(whole)


def test_each_node_takes_the_depth_that_goes_with_its_current():
    """The depth of a node is that of the path at its current, within half a step of the grid."""
    levels = [_level(v, 2.2 * (v / 0.7) ** 1.2) for v in (0.5, 0.6, 0.7, 0.8)]
    v, h = current_grid(), depth_grid()
    depths = path_depths(levels, still=False)
    for i in range(4, 8):
        assert abs(math.log(h[depths[i]] / (2.2 * (v[i] / 0.7) ** 1.2))) <= 0.5 * math.log(1.3) + 1e-9


def test_a_cast_is_snapped_to_the_nearest_geometry(make):
    """Angle to 15 degrees, length to 3 m; the true values stay with the spot."""
    canon = canon_of(make.spot(cast=16.4, angle=51.0))
    assert (canon.cast_m, canon.angle_deg, canon.boat_ratio) == (15.0, 45.0, 0.0)


def test_what_the_line_feels_from_a_boat_is_the_difference_of_the_currents(make):
    """A boat in slower water than the landing moves slower against it."""
    spot = make.spot(stance="drifting")
    slow = make.replace(spot.levels[0], boat_velocity_m_s=0.5 * spot.levels[0].velocity_m_s)
    assert canon_of(spot).boat_ratio == pytest.approx(0.8)
    assert canon_of(make.replace(spot, levels=(slow,))).boat_ratio == pytest.approx(0.4)


def test_the_knots_of_the_countdown_start_at_none_and_end_with_the_longest():
    """Nothing is extrapolated."""
    knots = count_knots(30.0)
    assert knots[0] == 0.0
    assert knots[-1] == 30.0
    assert (np.diff(knots) > 0).all()
