"""Small calls that a row of hydraulics.csv needs: US units, files of measurements, ratios of a profile."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np

from planner.flow.division import Division, conveyed
from planner.flow.manning import critical_depth, manning_discharge, normal_depth, trapezoid
from planner.flow.profile import speed_at_height, surface_speed
from planner.flow.relation import ControlRelation
from planner.flow.roughness import composite_by_conveyance, jarrett
from planner.units import CFS, FOOT
from tests.flow.gauging import manning_n, mean_from_points, mean_section, mid_section
from tests.flow.log_law import log_law, log_law_mean, shear_velocity

DATA = Path(__file__).parents[2] / "data" / "channels"


def us_depths(discharge_cfs: float, slope: float, n: float, width_ft: float) -> dict[str, float]:
    """Normal and critical depth [ft] of a rectangle."""
    q, b = discharge_cfs * CFS, width_ft * FOOT
    return {"normal": normal_depth(q, slope, n, b) / FOOT, "critical": critical_depth(q, b) / FOOT}


def us_roughness(discharge_cfs: float, slope: float, depth_ft: float, width_ft: float) -> float:
    """n that a rectangle shows."""
    area, perimeter, _ = (float(v) for v in trapezoid(depth_ft * FOOT, width_ft * FOOT))
    return manning_n(area / perimeter, slope, discharge_cfs * CFS / area)


def trapezoid_discharge(depth: float, slope: float, n: float, width: float, side: float) -> float:
    """Discharge [m³/s] of a trapezoid."""
    area, perimeter, _ = trapezoid(depth, width, side)
    return float(manning_discharge(area, area / perimeter, slope, n))


def us_jarrett(radius_ft: float, slope: float) -> float:
    """Jarrett's n with R in feet."""
    return jarrett(radius_ft * FOOT, slope)


def verde() -> dict[str, float]:
    """The Verde gauging by the mid-section method, US units."""
    with (DATA / "verde_river_2007-06-13_midsection.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    x, d, v = ([float(row[key] or 0.0) for row in rows] for key in ("distance_ft", "depth_ft", "velocity_ft_s"))
    return mid_section(x, d, v) | {"mean_section": mean_section(x, d, v)}


def long_legged() -> dict[str, float]:
    """The Long-Legged gauging from its panels: speeds at depth fractions, meter factor, widths."""
    with (DATA / "long_legged_river_2011_midsection.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    discharge = area = 0.0
    ratios = []
    for row in rows:
        speeds = {f: float(row[f"v_{f}d_m_s"]) for f in ("0.2", "0.6", "0.8") if row[f"v_{f}d_m_s"]}
        panel = float(row["width_m"]) * float(row["depth_m"])
        area += panel
        discharge += panel * float(row["factor"]) * mean_from_points(speeds)
        if "0.2" in speeds:
            ratios.append(speeds["0.2"] / speeds["0.8"])
    return {
        "discharge": discharge,
        "area": area,
        "velocity": discharge / area,
        "exponent": math.log(4) / math.log(float(np.median(ratios))),
    }


def small_stream(x: list[float], depth: list[float], speed: list[float]) -> dict[str, float]:
    """Both methods, units as given."""
    return mid_section(x, depth, speed) | {"mean_section": mean_section(x, depth, speed)}


def power_law(m: float) -> dict[str, float]:
    """Ratios of the power law's profile for a depth of 1 and a mean of 1."""
    at = {d: float(speed_at_height(1.0, 1.0, 1.0 - d, m)) for d in (0.2, 0.6, 0.8)}
    return {
        "mean_over_surface": 1.0 / float(surface_speed(1.0, m)),
        "u06": at[0.6],
        "two_point": mean_from_points({"0.2": at[0.2], "0.8": at[0.8]}),
        "u02": at[0.2],
        "u08": at[0.8],
    }


def log_profile(depth: float, slope: float, ks: float) -> dict[str, float]:
    """Shear velocity, mean and ratios of the log law, g 9.81."""
    shear = shear_velocity(depth, slope, 9.81)
    mean = log_law_mean(depth, shear, ks)
    surface, six, two, eight = (float(log_law(depth * part, shear, ks)) for part in (1.0, 0.4, 0.8, 0.2))
    return {
        "shear": shear,
        "mean": mean,
        "mean_over_surface": mean / surface,
        "u06_over_mean": six / mean,
        "two_point_over_u06": (two + eight) / 2 / six,
    }


def standard_curve_rms(m: float) -> float:
    """Root mean square of the standard vertical-velocity curve about a power law."""
    down = [0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95]
    curve = [1.160, 1.160, 1.149, 1.130, 1.108, 1.067, 1.020, 0.953, 0.871, 0.746, 0.648]
    law = speed_at_height(1.0, 1.0, 1.0 - np.array(down), m)
    return float(np.sqrt(np.mean((law - np.array(curve)) ** 2)))


def composite(n: list[float], area: list[float], perimeter: list[float]) -> float:
    """One n of parts side by side."""
    return composite_by_conveyance(n, area, perimeter)


def control(power: float, lip_m: float, reference: float, level_m: float) -> float:
    """Discharge over a control that passes the reference discharge at level 0 [m³/s]."""
    levels = np.linspace(-2, 4, 10)
    made = ControlRelation(levels, levels + 3, reference / (-lip_m) ** power, lip_m, power)
    return float(made.discharge(level_m))


def channel_factors(depths: list[float], n: list[float], slope: float) -> dict[str, float]:
    """Discharge of a rectangle 20 m wide beside one 30 m wide, divided and as one [m³/s]."""
    places = np.array([[0.0, 20.0, 20.0 + 1e-6, 50.0]])
    z = -np.array([[depths[0], depths[0], depths[1], depths[1]]])
    k = math.sqrt(slope) / n[0]
    whole = Division(np.array([0]), np.array([3]))
    parts = Division(np.array([0]), np.array([2]), (1.0, n[0] / n[1]))
    return {
        "divided": k * float(conveyed(places, z, [0.0], (False, False), parts)[0][0]),
        "whole": k * float(conveyed(places, z, [0.0], (False, False), whole)[0][0]),
    }
