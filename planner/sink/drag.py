"""Drag of a long circular cylinder across the stream, and the line that falls at a stated sink rate.

The cross-flow principle [Packwood1990] takes the drag normal to a line from the normal part of the relative
velocity alone::

    f_n = 1/2 rho C_n(Re_n) d |u_n| u_n,    Re_n = |u_n| d / nu                       (1)
    f_t = 1/2 rho pi C_t d |u_t| u_t        (C_t on the wetted surface)                (2)
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from planner.errors import UsageMistake
from planner.sink.constants import constant

__all__ = [
    "cn_cheng",
    "cn_sucker_brauer",
    "cn_table",
    "density_for_sink_rate",
    "diameter_for_sink_rate",
    "sink_rate_broadside",
    "wet_weight",
]

# C_n is tabulated for the solver over the square root of the Reynolds number, 0 to 6,400, which holds every
# line of this trade (1.5 mm at 4 m/s); beyond it the last value stands.
TABLE_SIZE = 321
TABLE_STEP = 0.25


def cn_cheng(reynolds: float) -> float:
    """Normal drag coefficient of a circular cylinder, [Cheng2013]; valid to Re = 2e5.

    ``C_n = 11 Re^-0.75 + 0.9 (1 - exp(-1000/Re)) + 1.2 (1 - exp(-(Re/4500)^0.7))``        (3)

    Parameters
    ----------
    reynolds : float
        Reynolds number of the normal flow [1]. Outside 0 < Re < 2e5 the result is NaN.

    Examples
    --------
    >>> round(cn_cheng(100.0), 3)
    1.329
    """
    if not 0.0 < reynolds < 2e5:
        return math.nan
    return (
        11.0 * reynolds**-0.75
        + 0.9 * (1.0 - math.exp(-1000.0 / reynolds))
        + 1.2 * (1.0 - math.exp(-((reynolds / 4500.0) ** 0.7)))
    )


def cn_sucker_brauer(reynolds: float) -> float:
    """Normal drag coefficient of a circular cylinder, [SuckerBrauer1975]; valid for 1e-4 < Re < 2e5.

    ``C_n = 1.18 + 6.8/Re^0.89 + 1.96/Re^0.5 - 4e-4 Re/(1 + 3.64e-7 Re²)``                 (4)

    Parameters
    ----------
    reynolds : float
        Reynolds number of the normal flow [1]. Outside the range the result is NaN.

    Examples
    --------
    >>> round(cn_sucker_brauer(100.0), 3)
    1.449
    """
    if not 1e-4 < reynolds < 2e5:
        return math.nan
    return (
        1.18
        + 6.8 / reynolds**0.89
        + 1.96 / math.sqrt(reynolds)
        - 4e-4 * reynolds / (1.0 + 3.64e-7 * reynolds * reynolds)
    )


_FORMULAS = {"cheng": cn_cheng, "sucker_brauer": cn_sucker_brauer}


@lru_cache(maxsize=4)
def cn_table(constant_cn: float | None = None) -> np.ndarray:
    """C_n over sqrt(Re) in steps of 0.25, shape (321,), for the solver.

    Parameters
    ----------
    constant_cn : float, optional
        One value for all Reynolds numbers [1], to compare with models that have no Reynolds law.

    Returns
    -------
    numpy.ndarray
        The same one each time, not to be written to.
    """
    if constant_cn is not None:
        return np.full(TABLE_SIZE, float(constant_cn))
    roots = np.maximum(np.arange(TABLE_SIZE) * TABLE_STEP, 0.5 * TABLE_STEP)
    return np.array([cn_cheng(root * root) for root in roots])


def wet_weight(diameter_m: float, density_kg_m3: float, water_density_kg_m3: float | None = None) -> float:
    """Weight in water of a metre of line [N/m]: ``w = (rho_line - rho) g pi d²/4`` (5).

    Examples
    --------
    >>> round(1000 * wet_weight(1.192e-3, 1465.0), 2)
    5.09
    """
    rho = constant("water_density") if water_density_kg_m3 is None else water_density_kg_m3
    return (density_kg_m3 - rho) * constant("gravity") * math.pi * diameter_m**2 / 4.0


def _water(viscosity_m2_s: float | None, water_density_kg_m3: float | None) -> tuple[float, float]:
    nu = constant("water_viscosity") if viscosity_m2_s is None else viscosity_m2_s
    rho = constant("water_density") if water_density_kg_m3 is None else water_density_kg_m3
    return nu, rho


def density_for_sink_rate(
    diameter_m: float,
    sink_m_s: float,
    formula: str = "cheng",
    viscosity_m2_s: float | None = None,
    water_density_kg_m3: float | None = None,
) -> float:
    """Density [kg/m³] at which a level line of this diameter falls broadside at `sink_m_s`.

    From ``w = 1/2 rho C_n(v d/nu) d v²`` (6) and (5). A negative `sink_m_s` gives a line that rises.

    Parameters
    ----------
    diameter_m : float
        Diameter [m].
    sink_m_s : float
        Terminal velocity in still water [m/s].
    formula : str
        ``cheng`` or ``sucker_brauer``.
    viscosity_m2_s, water_density_kg_m3 : float, optional
        Water at 12 °C unless given [m²/s], [kg/m³].

    Examples
    --------
    >>> round(density_for_sink_rate(1.2e-3, 6 * 0.0254))
    2586
    """
    nu, rho = _water(viscosity_m2_s, water_density_kg_m3)
    if sink_m_s == 0.0:
        return rho
    speed = abs(sink_m_s)
    drag = 0.5 * rho * _FORMULAS[formula](speed * diameter_m / nu) * diameter_m * speed * speed
    return rho + math.copysign(drag, sink_m_s) / (constant("gravity") * math.pi * diameter_m**2 / 4.0)


def diameter_for_sink_rate(
    mass_kg_m: float,
    sink_m_s: float,
    formula: str = "cheng",
    viscosity_m2_s: float | None = None,
    water_density_kg_m3: float | None = None,
) -> float:
    """Diameter [m] of the level line of this mass per metre that falls broadside at `sink_m_s`.

    Equations (5) and (6) have one root in d: at a given mass a thicker line is lighter in water and meets more
    drag, so it falls slower. Found by bisection.

    Parameters
    ----------
    mass_kg_m : float
        Mass per metre [kg/m].
    sink_m_s : float
        Terminal velocity in still water, above zero [m/s].
    formula : str
        ``cheng`` or ``sucker_brauer``.
    viscosity_m2_s, water_density_kg_m3 : float, optional
        Water at 12 °C unless given [m²/s], [kg/m³].

    Raises
    ------
    UsageMistake
        When mass or sink rate is not above zero.

    Examples
    --------
    A 200 grain head of 26 ft that sinks 3 inches per second is about 1.2 mm thick:

    >>> round(1000 * diameter_for_sink_rate(200 * 64.79891e-6 / (26 * 0.3048), 3 * 0.0254), 2)
    1.2
    """
    if not (mass_kg_m > 0.0 and sink_m_s > 0.0):
        raise UsageMistake(
            f"a line of {mass_kg_m:g} kg/m that sinks {sink_m_s:g} m/s",
            "weight and sink rate above zero",
            "correct the line's grains, length or sink rate",
        )
    _, rho = _water(viscosity_m2_s, water_density_kg_m3)
    high = math.sqrt(4.0 * mass_kg_m / (math.pi * rho))  # the neutral line: falls at zero
    low = high * 1e-3
    for _ in range(80):
        middle = 0.5 * (low + high)
        density = mass_kg_m / (math.pi * middle**2 / 4.0)
        needed = density_for_sink_rate(middle, sink_m_s, formula, viscosity_m2_s, water_density_kg_m3)
        if density > needed:  # falls faster than asked: make it thicker
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def sink_rate_broadside(
    diameter_m: float,
    density_kg_m3: float,
    formula: str = "cheng",
    viscosity_m2_s: float | None = None,
    water_density_kg_m3: float | None = None,
) -> float:
    """Terminal velocity [m/s] of a level line falling broadside, from (5) and (6); negative when it rises.

    Examples
    --------
    >>> round(sink_rate_broadside(1.2e-3, 2586.0) / 0.0254, 2)
    6.0
    """
    nu, rho = _water(viscosity_m2_s, water_density_kg_m3)
    weight = abs(wet_weight(diameter_m, density_kg_m3, rho))
    if weight == 0.0:
        return 0.0
    low, high = 1e-6, 5.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        drag = 0.5 * rho * _FORMULAS[formula](middle * diameter_m / nu) * diameter_m * middle * middle
        if drag < weight:
            low = middle
        else:
            high = middle
    return math.copysign(0.5 * (low + high), density_kg_m3 - rho)
