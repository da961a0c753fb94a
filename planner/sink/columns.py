"""The columns of the arrays that the compiled swim works on, by name.

One field of a table a line; the constant in capitals is its place, named as the field is without its unit.
"""

from __future__ import annotations

__all__ = ["FLAG_COLUMNS", "RECORD_COLUMNS", "SCENARIO_FIELDS"]

# One swim: its line from the rod to the fly, the fly, the cast, the water. Three that stand side by side for a part of
# the line (length, diameter, density) or for the fly (its areas) are taken by the place of the first.
SCENARIO_FIELDS = (
    "running_diameter_m",
    "running_density_kg_m3",
    "rear_length_m",
    "rear_diameter_m",
    "rear_density_kg_m3",
    "head_length_m",
    "head_diameter_m",
    "head_density_kg_m3",
    "leader_length_m",
    "leader_diameter_m",
    "leader_density_kg_m3",
    "fly_mass_kg",
    "fly_volume_m3",
    "fly_towed_area_m2",
    "fly_broadside_area_m2",
    "fly_lift_area_m2",
    "cast_m",
    "angle_deg",
    "strip_m_s",
    "mode",
    "boat_speed_m_s",
    "tip_height_m",
    "pickup_m",
    "lift_at_m",
    "lift_height_m",
    "mean_m_s",
    "depth_m",
    "exponent_m",
    "bed_depth_m",
    "front_length_m",
    "front_diameter_m",
    "front_density_kg_m3",
    "middle_length_m",
    "middle_diameter_m",
    "middle_density_kg_m3",
    "pull_s",
    "pause_s",
    "mend_every_s",
    "film_n_m",
)
# fmt: off
(
    RUNNING_DIAMETER, RUNNING_DENSITY, REAR_LENGTH, REAR_DIAMETER, REAR_DENSITY, HEAD_LENGTH, HEAD_DIAMETER,
    HEAD_DENSITY, LEADER_LENGTH, LEADER_DIAMETER, LEADER_DENSITY, FLY_MASS, FLY_VOLUME, FLY_TOWED_AREA,
    FLY_BROADSIDE_AREA, FLY_LIFT_AREA, CAST, ANGLE, STRIP, MODE, BOAT_SPEED, TIP_HEIGHT, PICKUP, LIFT_AT,
    LIFT_HEIGHT, MEAN, DEPTH, EXPONENT, BED_DEPTH, FRONT_LENGTH, FRONT_DIAMETER, FRONT_DENSITY, MIDDLE_LENGTH,
    MIDDLE_DIAMETER, MIDDLE_DENSITY, PULL, PAUSE, MEND_EVERY, FILM,
) = range(len(SCENARIO_FIELDS))
# fmt: on

# What is recorded at a moment, in the order in which `course` writes it.
RECORD_COLUMNS = (
    "depth_m",
    "x_m",
    "y_m",
    "low_depth_m",
    "low_x_m",
    "low_y_m",
    "relative_m_s",
    "line_out_m",
    "tension_n",
    "phase",
    "height_m",
    "clearance_m",
)

# What a whole retrieve came to.
FLAG_COLUMNS = (
    "touched",
    "touch_at_m",
    "hang",
    "fed_m",
    "max_speed_m_s",
    "max_tension_n",
    "highest_m",
    "deepest_m",
    "strip_start_s",
    "records",
    "max_stretch",
)
# fmt: off
(
    FLAG_TOUCHED, FLAG_TOUCH_AT, FLAG_HANG, FLAG_FED, FLAG_MAX_SPEED, FLAG_MAX_TENSION, FLAG_HIGHEST,
    FLAG_DEEPEST, FLAG_STRIP_START, FLAG_RECORDS, FLAG_MAX_STRETCH,
) = range(len(FLAG_COLUMNS))
# fmt: on

# The water that a batch hands over; the step takes the first six of it and two more, in the order of its docstring.
WATER_DENSITY, VISCOSITY, GRAVITY, AXIAL_STIFFNESS, TANGENTIAL_DRAG, BED_FRICTION, SLACK_TENSION = range(7)
BED_SPEED, FILM_HOLDS = 6, 7
