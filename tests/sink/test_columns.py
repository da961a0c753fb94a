"""Each constant stands for the field that it is named after."""

from __future__ import annotations

import pytest

from planner.sink import Cast, Current, columns
from planner.sink.batch import scenarios, water_constants
from planner.sink.constants import constant

UNITS = ("kg_m3", "n_m", "m_s", "m2", "m3", "kg", "m", "deg", "s", "n")


def stem(field: str) -> str:
    """A field's name without its unit, in capitals."""
    unit = next((unit for unit in UNITS if field.endswith(f"_{unit}")), "")
    return field[: len(field) - len(unit)].rstrip("_").upper()


@pytest.mark.parametrize(
    ("fields", "prefix"), [(columns.SCENARIO_FIELDS, ""), (columns.FLAG_COLUMNS, "FLAG_")], ids=["scenario", "flags"]
)
def test_every_field_has_its_place_by_name(fields: tuple[str, ...], prefix: str) -> None:
    """One name put in or left out in one of the two lists would read every later number as its neighbour."""
    for place, field in enumerate(fields):
        assert getattr(columns, prefix + stem(field)) == place, field


def test_parts_of_the_line_stand_as_length_diameter_density() -> None:
    """A part is taken by the place of its length; its diameter and density follow. A fly's three areas do the same."""
    for part in ("LEADER", "FRONT", "MIDDLE", "HEAD", "REAR"):
        length = getattr(columns, f"{part}_LENGTH")
        assert getattr(columns, f"{part}_DIAMETER") == length + 1
        assert getattr(columns, f"{part}_DENSITY") == length + 2
    assert columns.RUNNING_DENSITY == columns.RUNNING_DIAMETER + 1
    assert columns.FLY_BROADSIDE_AREA == columns.FLY_TOWED_AREA + 1
    assert columns.FLY_LIFT_AREA == columns.FLY_TOWED_AREA + 2


def test_a_scenario_holds_each_record_under_its_own_name(head, slim) -> None:
    """Cast, current and tackle are found where their names say."""
    line, fly = head, slim
    cast = Cast(
        14.0, 60.0, 0.4, 3.0, "fed", boat_speed_m_s=0.3, tip_height_m=0.5, lift_at_m=6.0, pull_s=0.6, pause_s=0.4
    )
    row = scenarios([(line, fly, cast, Current(0.8, 1.6))])[0]
    assert (row["cast_m"], row["angle_deg"], row["strip_m_s"], row["mode"]) == (14.0, 60.0, 0.4, 1.0)
    assert (row["boat_speed_m_s"], row["tip_height_m"], row["lift_at_m"]) == (0.3, 0.5, 6.0)
    assert (row["pull_s"], row["pause_s"], row["mean_m_s"], row["depth_m"]) == (0.6, 0.4, 0.8, 1.6)
    assert (row["fly_mass_kg"], row["fly_lift_area_m2"]) == (fly.mass_kg, fly.lift_area_m2)
    assert (row["leader_length_m"], row["running_diameter_m"]) == (line.leader_length_m, line.running_diameter_m)


def test_the_water_stands_in_the_order_of_its_names() -> None:
    """Density, viscosity, gravity, stiffness along the line, drag along it, friction of the bed, tension of slack."""
    water = water_constants()
    assert water[columns.WATER_DENSITY] == constant("water_density")
    assert water[columns.VISCOSITY] == constant("water_viscosity")
    assert water[columns.GRAVITY] == constant("gravity")
    assert water[columns.AXIAL_STIFFNESS] == constant("axial_stiffness")
    assert water[columns.TANGENTIAL_DRAG] == constant("tangential_drag")
    assert water[columns.BED_FRICTION] == constant("bed_friction")
    assert water[columns.SLACK_TENSION] == constant("hang_tension")
