"""Manning, roughness and the profile against reference libraries and their own laws."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.errors import UsageMistake
from planner.flow.manning import (
    critical_depth,
    froude,
    manning_discharge,
    manning_velocity,
    normal_depth,
    trapezoid,
)
from planner.flow.profile import exponent_of, speed_at_height, surface_speed
from planner.flow.roughness import (
    Roughness,
    bathurst,
    class_range,
    composite_by_conveyance,
    composite_n,
    cowan,
    jarrett,
    limerinos,
    roughness_classes,
    roughness_of,
    strickler,
)
from planner.tables import constants, rows
from tests.flow.gauging import manning_n, mean_from_points, mean_section, mid_section


@settings(max_examples=60, deadline=None)
@given(radius=st.floats(0.05, 10), slope=st.floats(1e-5, 0.05), n=st.floats(0.01, 0.2))
def test_manning_agrees_with_the_reference_library(radius, slope, n):
    """Manning's velocity is that of an independent library over the whole range of rivers."""
    fluids = pytest.importorskip("fluids")
    assert float(manning_velocity(radius, slope, n)) == pytest.approx(fluids.open_flow.V_Manning(radius, slope, n))
    assert manning_n(radius, slope, float(manning_velocity(radius, slope, n))) == pytest.approx(n)


@settings(max_examples=25, deadline=None)
@given(
    q=st.floats(0.5, 400),
    slope=st.floats(1e-4, 0.02),
    n=st.floats(0.015, 0.08),
    width=st.floats(2, 80),
    side=st.floats(0, 3),
)
def test_normal_and_critical_depth_agree_with_the_reference_library(q, slope, n, width, side):
    """Depths of uniform and of critical flow agree with an independent solver."""
    geometry = pytest.importorskip("pyopenchannel.geometry")
    hydraulics = pytest.importorskip("pyopenchannel.hydraulics")
    channel = geometry.TrapezoidalChannel(bottom_width=width, side_slope=side)
    mine = normal_depth(q, slope, n, width, side)
    assert mine == pytest.approx(hydraulics.NormalDepth.calculate(channel, q, slope, n), rel=1e-4)
    assert critical_depth(q, width, side, 9.81) == pytest.approx(
        hydraulics.CriticalDepth.calculate(channel, q), rel=1e-3
    )
    area, perimeter, _ = trapezoid(mine, width, side)
    assert float(manning_discharge(area, area / perimeter, slope, n)) == pytest.approx(q, rel=1e-9)


def test_critical_flow_has_froude_number_one():
    """At critical depth the Froude number is one."""
    y = critical_depth(50.0, 12.0, 1.5)
    area, _, top = trapezoid(y, 12.0, 1.5)
    assert float(froude(50.0 / area, area / top)) == pytest.approx(1.0)


@pytest.mark.parametrize("bad", [(0.0, 0.001, 0.03), (1.0, 0.0, 0.03), (1.0, 0.001, 0.0), (math.nan, 0.001, 0.03)])
def test_manning_of_nothing_is_unknown(bad):
    """A missing or impossible input gives unknown, not zero and not an error."""
    assert np.isnan(manning_velocity(*bad))
    assert math.isnan(manning_n(*bad[:2], 0.0))
    assert math.isnan(normal_depth(0.0, 0.001, 0.03, 10.0))


def test_every_class_of_chow_is_in_the_library_with_the_same_three_values():
    """Each class that cites Chow with a printed normal value has its triple among the library's natural channels."""
    fluids = pytest.importorskip("fluids")

    def leaves(node):
        for value in node.values():
            if isinstance(value, dict):
                yield from leaves(value)
            else:
                yield tuple(value)

    known = set(leaves(fluids.open_flow.n_natural))
    checked = 0
    for row in rows("roughness"):
        if row["source"] == "Chow1959" and row["class"] not in ("major_regular", "major_rough"):
            assert class_range(row["class"]) in known, row["class"]
            checked += 1
    assert checked == 14


def test_class_ranges_are_in_order_and_carry_their_source():
    """Least, normal and greatest n rise in every row, and every row has its source, place and mark."""
    for row in rows("roughness"):
        low, normal, high = class_range(row["class"])
        assert 0.01 < low < normal < high < 0.25
        assert row["source"]
        assert row["table"]
        assert row["mark"]
    assert set(roughness_classes()) == {row["class"] for row in rows("roughness")}


def test_unknown_class_names_the_known_ones():
    """The message for a class that is not there lists those that are."""
    with pytest.raises(UsageMistake, match="gravel_cobble"):
        class_range("glass")
    with pytest.raises(UsageMistake, match="fine_gravel"):
        cowan("glass", "smooth", "gradual", "negligible", "low", "minor")
    with pytest.raises(UsageMistake, match="horton"):
        composite_n([0.03], [1.0], "guess")


def test_formulas_outside_their_data_are_unknown_when_asked():
    """Strictly, a formula outside its data's range gives unknown; loosely, a value where it has one."""
    assert math.isnan(limerinos(0.1, 0.1, strict=True))
    assert limerinos(0.25, 0.1) > 0
    assert math.isnan(limerinos(0.01, 0.5))
    assert math.isnan(jarrett(1.0, 0.0001, strict=True))
    assert jarrett(1.0, 0.0001) > 0
    assert math.isnan(bathurst(3.0, 0.2, strict=True))
    assert math.isnan(strickler(0.0))


@settings(max_examples=40, deadline=None)
@given(radius=st.floats(0.4, 3), d84=st.floats(0.02, 0.3))
def test_bigger_stones_are_rougher_and_deeper_water_less_so(radius, d84):
    """By the grain formula n rises with the stones; for a given stone it falls as the water deepens from shallow."""
    assert limerinos(radius, d84 * 1.2) > limerinos(radius, d84)
    assert roughness_of({"d84_mm": d84 * 1000}, radius).n == pytest.approx(limerinos(radius, d84))


def test_roughness_of_a_bed_entry_keeps_its_range():
    """A class gives its published range, an n given its own, nothing gives unknown."""
    rough = roughness_of({"class": "cobble_boulder"}, 1.0)
    assert (rough.low, rough.n, rough.high) == (0.04, 0.05, 0.07)
    assert roughness_of({"n": 0.033}, 1.0).low < 0.033 < roughness_of({"n": 0.033}, 1.0).high
    assert math.isnan(roughness_of({}, 1.0).n)
    assert math.isnan(roughness_of({}, 1.0).ln_sd)
    assert not roughness_of({"d84_mm": 700.0}, 0.1).in_range


def test_the_spread_of_a_roughness_is_that_of_its_ten_to_ninety_percent():
    """The log of high over low spans 2 x 1.2816 standard deviations, and each source has its own."""
    assert Roughness(0.04, 0.03, 0.05, "by hand").ln_sd == pytest.approx(math.log(5 / 3) / 2.5631, rel=1e-4)
    assert roughness_of({"n": 0.04}, 1.0).ln_sd == pytest.approx(constants("flow")["given_n_ln_sd"])
    assert roughness_of({"d84_mm": 90.0}, 1.0).ln_sd == pytest.approx(constants("flow")["grain_n_ln_sd"])


def test_a_grain_formula_says_whether_it_is_within_its_data():
    """Stones of 90 mm under a radius of 1 m are, under one of 0.2 m they are not; both have a value."""
    inside, shallow = roughness_of({"d84_mm": 90.0}, 1.0), roughness_of({"d84_mm": 90.0}, 0.2)
    assert (inside.in_range, shallow.in_range) == (True, False)
    assert inside.n == pytest.approx(0.112878 / (1.16 + 2 * math.log10(1 / 0.09)), rel=1e-5)
    assert shallow.n > inside.n


def test_a_grain_formula_has_no_value_where_its_resistance_is_infinite():
    """At the depth at which the denominator is nothing, and under it, n is unknown."""
    assert math.isnan(limerinos(10**-0.58, 1.0))
    assert math.isnan(bathurst(0.0971015655684614, 0.5))  # 0.5 x 10^(-4 / 5.62)


@pytest.mark.parametrize("formula", [limerinos, jarrett, bathurst])
@pytest.mark.parametrize("given", [(0.0, 0.01), (1.0, 0.0)])
def test_a_formula_that_lacks_depth_or_stones_or_slope_gives_no_roughness(formula, given):
    """Nothing in either is unknown, not a bed without friction."""
    assert math.isnan(formula(*given))


@pytest.mark.parametrize("parts", [([0.03, 0.0], [9.0, 9.0], [5.0, 5.0]), ([0.03, 0.03], [9.0, 0.0], [5.0, 5.0])])
def test_a_part_of_no_roughness_or_no_area_is_refused(parts):
    """A section composed of parts needs each of them to be something."""
    with pytest.raises(UsageMistake, match="not positive"):
        composite_by_conveyance(*parts)


@settings(max_examples=60, deadline=None)
@given(n=st.floats(0.012, 0.15), depth=st.floats(0.05, 12), mean=st.floats(0.01, 3))
def test_profile_averages_to_the_mean_and_rises_to_the_surface(n, depth, mean):
    """Averaged over depth the profile is the mean current; it never falls toward the surface."""
    m = float(exponent_of(n, depth))
    assert 3.5 <= m <= 7
    # substitute z = h t^4 so that the steep foot of the profile is resolved
    t = (np.arange(4000) + 0.5) / 4000
    u = speed_at_height(mean, depth, depth * t**4, m)
    assert float(np.mean(u * 4 * t**3)) == pytest.approx(mean, rel=1e-4)
    assert (np.diff(u) >= 0).all()
    assert float(u[-1]) <= float(surface_speed(mean, m))
    assert float(speed_at_height(mean, depth, 2 * depth, m)) == pytest.approx(float(surface_speed(mean, m)))


def test_rougher_beds_have_fuller_shear():
    """The exponent falls with roughness: a boulder bed's surface runs further ahead of its mean."""
    assert float(exponent_of(0.06, 1.5)) < float(exponent_of(0.03, 1.5)) < float(exponent_of(0.018, 1.5))
    assert float(exponent_of(math.nan, 1.5)) == 5
    assert float(exponent_of(0.03, 0.0)) == 3.5


def test_points_of_a_current_meter():
    """Two-point, one-point and three-point means are those of the handbook."""
    assert mean_from_points({"0.2": 1.2, "0.8": 0.8}) == pytest.approx(1.0)
    assert mean_from_points({"0.6": 0.9}) == 0.9
    assert mean_from_points({"0.2": 1.2, "0.6": 1.1, "0.8": 0.8}) == pytest.approx(1.05)
    assert math.isnan(mean_from_points({"0.2": 1.2}))


def test_verticals_out_of_order_are_refused():
    """Places that do not rise from bank to bank, or too few, are refused with the need."""
    with pytest.raises(UsageMistake, match="rising"):
        mid_section([0, 2, 1], [0, 1, 0], [0, 1, 0])
    with pytest.raises(UsageMistake, match="3 or more"):
        mean_section([0, 2], [0, 1], [0, 1])


def test_both_methods_agree_where_depth_and_speed_are_even():
    """In a rectangle of even flow both methods give width times depth times speed."""
    x = np.linspace(0, 20, 21)
    assert mid_section(x, np.full(21, 2.0), np.full(21, 0.5))["discharge"] == pytest.approx(20.0)
    assert mean_section(x, np.full(21, 2.0), np.full(21, 0.5)) == pytest.approx(20.0)


@pytest.mark.parametrize("given", [(0.0, 0.001, 0.8), (1.2, 0.0, 0.8), (1.2, 0.001, 0.0)])
def test_a_gauging_that_lacks_depth_slope_or_current_shows_no_roughness(given):
    """Nothing in one of them is unknown, not a roughness of zero."""
    assert math.isnan(manning_n(*given))
