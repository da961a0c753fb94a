"""Sections: what water of a level wets."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from planner.bed import Section, wetted

BEDS = arrays(float, 12, elements=st.floats(-4, 2))
ACROSS = np.linspace(-20, 20, 12)


def test_trapezoid_matches_the_handbook_formulas():
    """Bottom 10 m, sides 2 to 1, 1.5 m deep: A = (b + z y) y, P = b + 2 y sqrt(1 + z²), T = b + 2 z y."""
    section = Section(0.0, np.array([-11.0, -5.0, 5.0, 11.0]), np.array([1.0, -2.0, -2.0, 1.0]), np.zeros(4))
    w = section.at(-0.5)
    assert float(w.area) == pytest.approx((10 + 2 * 1.5) * 1.5)
    assert float(w.perimeter) == pytest.approx(10 + 2 * 1.5 * np.sqrt(5))
    assert float(w.top_width) == pytest.approx(10 + 2 * 2 * 1.5)
    assert float(w.radius) == pytest.approx(19.5 / (10 + 3 * np.sqrt(5)))


@settings(max_examples=60, deadline=None)
@given(z=BEDS, low=st.floats(-5, 4), rise=st.floats(0, 3))
def test_higher_water_never_wets_less(z, low, rise):
    """Area, perimeter and top width never fall as the level rises, and area grows by no more than width times rise."""
    one, two = (wetted(ACROSS, z, low + d, (True, True)) for d in (0.0, rise))
    assert two.area >= one.area - 1e-9
    assert two.perimeter >= one.perimeter - 1e-9
    assert two.top_width >= one.top_width - 1e-9
    assert two.area - one.area <= two.top_width * rise + 1e-9


@settings(max_examples=60, deadline=None)
@given(z=BEDS, level=st.floats(-5, 4), lift=st.floats(-10, 10))
def test_datum_does_not_matter(z, level, lift):
    """Bed and water lifted together give the same section."""
    z, level = np.round(z, 3), round(level, 3) + 0.0005  # the wetted perimeter jumps where the depth is exactly zero
    one, two = wetted(ACROSS, z, level), wetted(ACROSS, z + lift, level + lift)
    assert float(two.area) == pytest.approx(float(one.area), abs=1e-8)
    assert float(two.perimeter) == pytest.approx(float(one.perimeter), rel=1e-6, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(z=BEDS, level=st.floats(-5, 4))
def test_area_is_the_integral_of_the_depth(z, level):
    """The exact area agrees with a fine sum of depths."""
    fine = np.linspace(-20, 20, 20001)
    depth = np.maximum(level - np.interp(fine, ACROSS, z), 0)
    assert float(wetted(ACROSS, z, level).area) == pytest.approx(float(np.trapezoid(depth, fine)), abs=2e-3)


def test_dry_section_has_no_radius():
    """Water below the bed has no area and an unknown radius, without a warning."""
    w = wetted(ACROSS, np.zeros(12), np.array([-1.0, 0.0]))
    assert w.area == pytest.approx([0.0, 0.0])
    assert np.isnan(w.radius[0])
    assert np.isnan(w.mean_depth[0])


def test_only_an_edge_of_the_water_counts_as_a_wall():
    """A drawn side that is not the water's edge adds nothing to the wetted perimeter."""
    n, z = np.array([0.0, 10.0]), np.array([-2.0, -2.0])
    assert [float(wetted(n, z, 0.0, w).perimeter) for w in ((False, False), (True, False), (True, True))] == [
        10,
        12,
        14,
    ]
