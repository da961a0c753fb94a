"""Two estimates of a current made one, and small formulas against sums done by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.flow.manning import froude
from planner.flow.profile import exponent_of, speed_at_height
from planner.flow.weighing import weigh
from tests.flow.gauging import mean_section, mid_section
from tests.flow.log_law import log_law, log_law_mean, log_law_mean_height

SPEED = st.floats(0.05, 3.0)
VARIANCE = st.floats(0.005, 0.5)


@given(SPEED, SPEED, VARIANCE, VARIANCE)
def test_the_mean_lies_between_both_and_nearer_the_surer(one, two, by_one, by_two):
    """In the log the mean divides the way between the estimates as their variances."""
    current, _, basis, limit = weigh(one, two, by_one, by_two)
    expected = (math.log(one) * by_two + math.log(two) * by_one) / (by_one + by_two)
    assert math.log(current) == pytest.approx(expected, abs=1e-9)
    assert (basis, limit) == ("both", "")


def test_the_spread_of_a_mean_is_that_of_two_estimates_or_half_their_disagreement():
    """Agreeing: one over the sum of inverse variances, by hand 0.04 x 0.12 / 0.16; else half the log of their ratio."""
    assert weigh(1.0, 1.0, 0.04, 0.12)[1] == pytest.approx(math.sqrt(0.03))
    assert weigh(0.5, 2.0, 0.04, 0.12)[1] == pytest.approx(math.log(4.0) / 2)
    assert weigh(2.0, 0.5, 0.04, 0.12)[1] == pytest.approx(math.log(4.0) / 2)


def test_one_estimate_alone_is_kept_and_its_spread_is_half_as_wide_again():
    """What rests on one estimate says which, in words, and is trusted less."""
    current, spread, basis, limit = weigh(0.8, math.nan, 0.04, 0.09)
    assert (current, basis) == (0.8, "manning")
    assert spread == pytest.approx(0.3)
    assert "Manning's equation alone" in limit
    current, spread, basis, limit = weigh(math.nan, 0.7, 0.04, 0.09)
    assert (current, basis) == (0.7, "continuity")
    assert spread == pytest.approx(0.45)
    assert "discharge over area alone" in limit
    current, spread, basis, limit = weigh(math.nan, math.nan, 0.04, 0.09)
    assert math.isnan(current)
    assert math.isnan(spread)
    assert basis == "none"
    assert "No current can be computed" in limit


def test_no_water_has_no_froude_number():
    """At a depth of nothing the number is unknown, neither infinite nor an error."""
    assert np.isnan(froude([1.0, 1.0], [0.0, -0.1])).all()
    assert float(froude(1.0, 1.0)) == pytest.approx(1 / math.sqrt(9.80665))


def test_a_gauging_of_uneven_verticals_is_the_sum_done_by_hand():
    """Four verticals at uneven places: strips of 1, 2.5, 2 and 0.5 m; trapezoids of 2, 3 and 1 m."""
    x, depth, speed = [0, 2, 5, 6], [0.5, 1.0, 2.0, 0.0], [0.2, 0.5, 1.0, 0.0]
    got = mid_section(x, depth, speed)
    assert got["area"] == pytest.approx(0.5 + 2.5 + 4.0)
    assert got["discharge"] == pytest.approx(0.1 + 1.25 + 4.0)
    assert got["velocity"] == pytest.approx(5.35 / 7.0)
    perimeter = math.hypot(2, 0.5) + math.hypot(3, 1) + math.hypot(1, 2) + 0.5
    assert got["perimeter"] == pytest.approx(perimeter)
    assert got["radius"] == pytest.approx(7.0 / perimeter)
    assert mean_section(x, depth, speed) == pytest.approx(0.35 * 0.75 * 2 + 0.75 * 1.5 * 3 + 0.5 * 1.0 * 1)


def test_the_exponent_of_half_a_metre_is_the_sum_done_by_hand():
    """0.41 x 0.5^(1/6) / (0.03 x sqrt(9.80665)); where n is unknown the table's middle value, also in thin water."""
    assert float(exponent_of(0.03, 0.5)) == pytest.approx(0.41 * 0.5 ** (1 / 6) / (0.03 * math.sqrt(9.80665)))
    assert float(exponent_of(math.nan, 0.5)) == 5.0


def test_no_depth_has_no_current_at_any_height():
    """Where there is no water the current at a height is unknown."""
    assert math.isnan(float(speed_at_height(1.0, 0.0, 0.0, 5.0)))


def test_the_log_law_averages_to_its_own_mean_and_meets_it_at_its_height():
    """The mean over the depth by fine steps is the closed form, and the law passes through it at 0.37 of the depth."""
    depth, shear, ks = 1.6, 0.08, 0.15
    z = (np.arange(200_000) + 0.5) / 200_000 * depth
    assert float(np.mean(log_law(z, shear, ks))) == pytest.approx(log_law_mean(depth, shear, ks), rel=1e-4)
    assert float(log_law(log_law_mean_height(depth), shear, ks)) == pytest.approx(
        shear / 0.41 * (math.log(depth / (ks / 30)) - 1)
    )
    assert float(log_law(ks / 60, shear, ks)) == 0.0
