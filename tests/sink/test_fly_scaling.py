"""How a fly's class is carried to another length, mass and timed rate, by sums done by hand."""

from __future__ import annotations

import re

import pytest

from planner.errors import UsageMistake
from planner.sink.constants import constant
from planner.sink.fly import fall_rate, fly_from_class, fly_with_fall_rate
from planner.sink.weights import added_weight
from planner.tables import rows
from planner.units import INCH


@pytest.mark.parametrize("row", rows("fly_classes"), ids=lambda row: row["drag"])
def test_a_fly_of_twice_the_length_has_four_times_the_stuff_and_under_three_times_the_area(row):
    """Bulk goes with length squared, area with length to the power 1.5; the band that lifts it stays."""
    one = fly_from_class(row["drag"])
    two = fly_from_class(row["drag"], length_mm=2 * float(row["length_mm"]))
    assert two.mass_kg == pytest.approx(4 * one.mass_kg)
    assert two.volume_m3 == pytest.approx(4 * one.volume_m3)
    assert two.towed_area_m2 == pytest.approx(2**1.5 * one.towed_area_m2)
    assert two.broadside_area_m2 == pytest.approx(2**1.5 * one.broadside_area_m2)
    assert two.lift_band_m2 == one.lift_band_m2
    assert one.mass_kg == pytest.approx(float(row["soaked_mass_g"]) / 1000)
    assert one.volume_m3 == pytest.approx(float(row["volume_cm3"]) * 1e-6)


def test_a_fly_lighter_than_its_class_keeps_its_volume_and_never_weighs_less_than_its_floor():
    """Lighter than the class's hook it loses mass alone, down to three tenths of the water that it holds off."""
    row = next(row for row in rows("fly_classes") if row["drag"] == "low")
    plain = fly_from_class("low")
    less = fly_from_class("low", mass_g=float(row["dry_mass_g"]) - 0.05)
    assert less.mass_kg == pytest.approx(plain.mass_kg - 0.05e-3)
    assert less.volume_m3 == plain.volume_m3
    for row in rows("fly_classes"):
        least = fly_from_class(row["drag"], mass_g=0.01)
        taken_off = float(row["dry_mass_g"]) - 0.01
        floor = 0.3 * constant("water_density") * least.volume_m3
        assert least.mass_kg == pytest.approx(max((float(row["soaked_mass_g"]) - taken_off) / 1000, floor))


def test_the_rates_that_a_refusal_names_are_taken():
    """The message's bounds hold: both are accepted, a tenth beyond either is not."""
    fly = fly_from_class("low", "heavy")
    with pytest.raises(UsageMistake) as said:
        fly_with_fall_rate(fly, 10 * fall_rate(fly))
    weight, rate = re.search(r"weighs ([\d.]+) mN in water and falls ([\d.]+) in/s", str(said.value)).groups()
    assert float(weight) == pytest.approx(1000 * fly.wet_weight_n, abs=0.06)
    assert float(rate) == pytest.approx(10 * fall_rate(fly) / INCH, abs=0.06)
    low, high = (float(n) for n in re.search(r"about ([\d.]+) to ([\d.]+) in/s", str(said.value)).groups())
    for bound, beyond in ((low, 0.9), (high, 1.1)):
        assert fall_rate(fly_with_fall_rate(fly, bound * INCH)) == pytest.approx(bound * INCH)
        with pytest.raises(UsageMistake):
            fly_with_fall_rate(fly, bound * beyond * INCH)


def test_a_weight_that_cannot_be_is_named_in_the_size_that_was_given():
    """A bead of 20 mm is refused as one of 20 mm."""
    with pytest.raises(UsageMistake, match="lead bead of 20 mm"):
        added_weight("bead", "lead", 20e-3)


def test_a_timed_fly_keeps_its_shape():
    """Both areas grow alike when it is timed slower, so that the drag of a swim follows the drag of the fall."""
    fly = fly_from_class("medium", "heavy")
    slow = fly_with_fall_rate(fly, 0.7 * fall_rate(fly))
    assert slow.broadside_area_m2 > fly.broadside_area_m2
    assert slow.towed_area_m2 / slow.broadside_area_m2 == pytest.approx(fly.towed_area_m2 / fly.broadside_area_m2)
