"""Lines and flies from what their labels say."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.errors import UsageMistake
from planner.river.records import Tackle, TackleFly, TackleLine
from planner.sink import fly_from_tackle, line_from_tackle, line_with_sink_factor
from planner.sink.constants import constant
from planner.sink.drag import density_for_sink_rate, diameter_for_sink_rate, sink_rate_broadside
from planner.sink.fly import fly_from_class
from planner.sink.line import line_from_head
from planner.sink.standards import head_against_standard, sink_class, tippet_diameter_m
from planner.tables import rows
from planner.units import FOOT, GRAIN, INCH

TACKLE = Tackle((), (), 1.2, 0.36, "nylon", 0.5, 2.0, "fluorocarbon")


@given(mass=st.floats(0.8e-3, 4e-3), sink=st.floats(0.01, 0.2))
def test_a_line_falls_at_the_rate_it_was_made_for(mass, sink):
    """Diameter from mass and sink rate, then sink rate from diameter and density, gives the sink rate back."""
    diameter = diameter_for_sink_rate(mass, sink)
    density = mass / (math.pi * diameter**2 / 4)
    assert sink_rate_broadside(diameter, density) == pytest.approx(sink, rel=1e-6)


@given(diameter=st.floats(0.4e-3, 2e-3), sink=st.floats(-0.05, 0.2))
def test_density_and_sink_rate_are_each_other_turned_round(diameter, sink):
    """A density found for a sink rate, floating lines included, falls or rises at that rate."""
    assert sink_rate_broadside(diameter, density_for_sink_rate(diameter, sink)) == pytest.approx(sink, abs=2e-6)


def test_a_line_too_dense_to_be_made_is_flagged_and_its_spread_reaches_further_down():
    """200 grains over 26 ft at 7 in/s would need 6,000 kg/m³: held at 3,500, slower than stated, said aloud."""
    line = line_from_head(26 * FOOT, 200 * GRAIN, 7 * INCH)
    assert line.head_density_kg_m3 == pytest.approx(3500.0)
    assert line.flags[0].startswith("weight and sink rate disagree")
    assert line.sink_rate_m_s < line.stated_sink_m_s
    assert line.sink_sd_below > line.sink_sd_above == pytest.approx(0.1)
    assert line.head_mass_kg == pytest.approx(200 * GRAIN)


def test_a_measured_diameter_wins_over_the_label():
    """With a diameter given, the sink rate is computed from it and the weight."""
    line = line_from_head(26 * FOOT, 200 * GRAIN, 5 * INCH, diameter_m=1.2e-3)
    assert line.head_diameter_m == 1.2e-3
    assert line.sink_rate_m_s == pytest.approx(3 * INCH, rel=0.05)
    assert line.stated_sink_m_s == pytest.approx(5 * INCH)


def test_tip_grains_are_the_tips_own_and_the_rest_of_the_head_floats():
    """A line with a sinking tip has a floating rear as long as head less tip."""
    line = line_from_tackle(TackleLine("tip", "WF-8-F/S", 30.0, 100.0, 6.0, 10.0), TACKLE)
    assert line.head_length_m == pytest.approx(10 * FOOT)
    assert line.head_mass_kg == pytest.approx(100 * GRAIN)
    assert line.rear_length_m == pytest.approx(20 * FOOT)
    assert line.rear_density_kg_m3 < 1000.0


def test_leader_and_tippet_are_joined_with_their_own_mass():
    """Length adds up, and the mass of the joined leader is that of its two parts."""
    line = line_from_tackle(TackleLine("head", "", 26.0, 200.0, 5.0), TACKLE)
    assert line.leader_length_m == pytest.approx(1.7)
    quarter = math.pi / 4
    parts = quarter * (1.2 * 0.36e-3**2 * 1140 + 0.5 * tippet_diameter_m(2.0) ** 2 * 1770)
    joined = quarter * line.leader_diameter_m**2 * line.leader_density_kg_m3 * line.leader_length_m
    assert joined == pytest.approx(parts)


def test_a_line_without_grains_is_refused_with_its_name():
    """The message names the line and what is missing."""
    with pytest.raises(UsageMistake, match="'bare' without grains"):
        line_from_tackle(TackleLine("bare", "", 26.0, math.nan, 5.0), TACKLE)


@pytest.mark.parametrize("change", [{"head_ft": 0.1}, {"head_grains": 1e6}, {"sink_ips": 50.0}, {"running": "wire"}])
def test_a_line_that_cannot_be_is_refused(change):
    """Lengths, weights, sink rates and running lines no line has are refused."""
    with pytest.raises(UsageMistake):
        line_from_tackle(replace(TackleLine("odd", "", 26.0, 200.0, 5.0), **change), TACKLE)


def test_sink_factor_keeps_the_diameter_and_moves_the_rate():
    """A line drawn 10 % slower is as thick and lighter in water."""
    line = line_from_head(26 * FOOT, 200 * GRAIN, 5 * INCH)
    slow = line_with_sink_factor(line, 0.9)
    assert slow.head_diameter_m == line.head_diameter_m
    assert slow.head_density_kg_m3 < line.head_density_kg_m3
    assert sink_rate_broadside(slow.head_diameter_m, slow.head_density_kg_m3) == pytest.approx(0.9 * 5 * INCH, rel=1e-6)


def test_a_floating_line_rises():
    """Sink rate 0 stands for a floating line, which is lighter than water."""
    line = line_from_head(30 * FOOT, 160 * GRAIN, 0.0)
    assert line.head_density_kg_m3 < constant("water_density")
    assert line.sink_rate_m_s < 0


@pytest.mark.parametrize("grains", [60.0, 160.0, 2000.0])
def test_a_floating_head_is_as_thick_as_its_weight_makes_its_coating(grains):
    """Mass over length, over the coating's density, is its section; one that would be thicker is taken at the bound."""
    line = line_from_head(30 * FOOT, grains * GRAIN, 0.0)
    section = grains * GRAIN / (30 * FOOT) / 880.0
    assert line.head_diameter_m == pytest.approx(min(2.2e-3, math.sqrt(4.0 * section / math.pi)))
    # the floating rear of a line with a sinking tip too
    assert line_from_head(30 * FOOT, grains * GRAIN, 0.1).rear_diameter_m == line.head_diameter_m


@pytest.mark.parametrize(
    ("metres", "kg", "rate", "taken"),
    [
        *((0.3, 1e-3, 0.1, True), (0.29, 1e-3, 0.1, False), (40.0, 0.05, 0.1, True), (40.1, 0.05, 0.1, False)),
        *((9.0, 0.2, 0.1, True), (9.0, 0.21, 0.1, False), (1.0, 0.05e-3, 0.0, True), (1.0, 0.04e-3, 0.0, False)),
        *((9.0, 0.02, 0.5, True), (9.0, 0.02, 0.51, False), (9.0, 0.02, -0.01, False)),
    ],
)
def test_a_head_that_none_can_be_is_refused(metres, kg, rate, taken):
    """0.3 to 40 m, 0.05 to 200 g, sinking 0 to 0.5 m/s: the bounds themselves are taken."""
    if taken:
        assert line_from_head(metres, kg, rate).head_length_m == metres
    else:
        with pytest.raises(UsageMistake, match="1 to 130 ft"):
            line_from_head(metres, kg, rate)


def test_each_sink_class_knows_its_own_usual_rate():
    """Every class of the table is found again from its usual rate."""
    for row in rows("sink_classes"):
        assert sink_class(float(row["usual_ips"]) * INCH) == row["class"]


def test_a_heavy_head_does_not_suit_a_light_rod():
    """350 grains are above one and a half times the standard of a 6-weight."""
    assert not head_against_standard(350.0, 26.0, 6)["suits"]
    assert not head_against_standard(100.0, 26.0, 6)["suits"]


@pytest.mark.parametrize("drag", ["low", "medium", "high"])
def test_more_weight_falls_faster_in_every_class(drag):
    """None, light and heavy have rising weight in water and the same drag areas."""
    flies = [fly_from_class(drag, weighting) for weighting in ("none", "light", "heavy")]
    weights = [fly.wet_weight_n for fly in flies]
    assert weights == sorted(weights)
    assert len({fly.towed_area_m2 for fly in flies}) == 1
    assert all(2.0 <= fly.broadside_area_m2 / fly.towed_area_m2 <= 4.0 for fly in flies)


def test_a_given_mass_wins_over_the_weighting():
    """A slim fly of 2.05 g dry carries 1.6 g of lead."""
    fly = fly_from_tackle(TackleFly("weighed", "low", 2.05, "none"))
    assert fly.mass_kg == pytest.approx(0.65e-3 + 1.6e-3)


def test_a_longer_fly_meets_more_drag():
    """Twice the class's length has 2.8 times the area."""
    assert fly_from_class("high", length_mm=180).towed_area_m2 == pytest.approx(4.5e-4 * 2**1.5)


@pytest.mark.parametrize(
    "fly", [TackleFly("x", "huge"), TackleFly("x", "low", 500.0), TackleFly("x", "low", 1.0, "iron")]
)
def test_a_fly_no_table_knows_is_refused(fly):
    """Unknown classes and masses are refused with the fly's name."""
    with pytest.raises(UsageMistake, match="'x'"):
        fly_from_tackle(fly)


def test_a_head_at_the_ends_of_what_can_be_is_taken_and_beyond_them_refused():
    """The shortest head that is said to be possible is one; a centimetre less is refused."""
    assert line_from_head(0.3, 1e-3, 0.1).head_length_m == 0.3
    with pytest.raises(UsageMistake, match="a head of 0\\.29 m"):
        line_from_head(0.29, 1e-3, 0.1)


@pytest.mark.parametrize(
    ("given", "taken"), [((8.0, 16e-3, 0.0), True), ((0.5, 0.05e-3, 0.1), True), ((0.5, 0.049e-3, 0.1), False)]
)
def test_a_line_that_hardly_sinks_and_the_lightest_head_are_lines(given, taken):
    """A sink rate of nothing is one; less than a grain is none."""
    if taken:
        assert line_from_head(*given).head_diameter_m > 0
    else:
        with pytest.raises(UsageMistake, match="1 to 3,000 grains"):
            line_from_head(*given)
