"""Heads against the standard of a rod's weight at its bounds, classes by their nearest rate, tables by name."""

from __future__ import annotations

import pytest

from planner.errors import UsageMistake
from planner.sink.constants import constant, material_density
from planner.sink.standards import head_against_standard, line_weight_grains, sink_class, tippet_diameter_m
from planner.units import INCH


@pytest.mark.parametrize(
    ("grains", "feet", "inside", "standing", "suits"),
    [
        # a 6-weight: 160 ± 8 grains in the first 30 ft, heads up to 240 (common practice, no source)
        (151.9, 26.0, 151.9, "below", False),
        (152.0, 26.0, 152.0, "within", True),
        (168.0, 30.0, 168.0, "within", True),
        (168.1, 30.0, 168.1, "above", True),
        (240.0, 30.0, 240.0, "above", True),
        (240.1, 26.0, 240.1, "above", False),
        # a long head counts by its first 30 ft
        (240.0, 45.0, 160.0, "within", True),
        (300.0, 60.0, 150.0, "below", False),
    ],
)
def test_a_head_is_held_against_the_standard_by_what_lies_in_its_first_thirty_feet(
    grains, feet, inside, standing, suits
):
    """With the tolerance on both sides, the bounds among what is within."""
    told = head_against_standard(grains, feet, 6)
    assert told["grains_in_30_ft"] == pytest.approx(inside)
    assert (told["standing"], told["suits"]) == (standing, suits)
    assert told["text"].endswith("suits the rod as a short head" if suits else "does not suit the rod")
    assert (told["standard_grains"], told["tolerance_grains"]) == (160.0, 8.0)


def test_a_weight_that_the_standard_lacks_is_refused():
    """Fifteen and none."""
    for weight in (0, 15):
        with pytest.raises(UsageMistake):
            line_weight_grains(weight)


@pytest.mark.parametrize(("ips", "named"), [(-1.0, "floating"), (2.5, "type 2"), (2.6, "type 3"), (12.0, "type 8")])
def test_a_rate_between_two_classes_is_of_the_nearer_one(ips, named):
    """Type 2 is usually 2.1 in/s and type 3 usually 3.0 (common practice, no source)."""
    assert sink_class(ips * INCH) == named


@pytest.mark.parametrize(("x", "mils"), [(0.0, 11.0), (4.0, 7.0), (8.0, 3.0)])
def test_a_tippet_of_size_x_is_eleven_less_x_thousandths_of_an_inch(x, mils):
    """Common practice, no source."""
    assert tippet_diameter_m(x) == pytest.approx(mils * 25.4e-6)


def test_a_constant_and_a_material_are_taken_from_the_row_of_their_name():
    """Neither the first row nor the last; a name that is in no row is refused."""
    assert constant("axial_stiffness") == 100.0
    assert material_density("fluorocarbon") == 1770.0
    for of in (constant, material_density):
        with pytest.raises(LookupError, match="mithril"):
            of("mithril")
