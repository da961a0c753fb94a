"""Heads that are not level: stepped ones, and ones with a thin front, compensated in density or not.

A level part of mass per metre m' and sink rate v has one diameter and density (`drag.diameter_for_sink_rate`). A head
whose front is thinner sinks level only when the front is denser; of one coating the front lags behind and the head
bellies.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from planner.errors import UsageMistake
from planner.sink.constants import constant
from planner.sink.drag import density_for_sink_rate, diameter_for_sink_rate, sink_rate_broadside
from planner.units import INCH

__all__ = ["HeadStep", "sinking_part", "stepped_head", "thin_front"]

DISAGREE = "weight and sink rate disagree"


@dataclass(frozen=True)
class HeadStep:
    """A level part of a stepped head: length [m], diameter [m], density [kg/m³]."""

    length_m: float
    diameter_m: float
    density_kg_m3: float

    @property
    def sink_rate_m_s(self) -> float:
        """Terminal velocity of the part alone, level in still water [m/s]."""
        return sink_rate_broadside(self.diameter_m, self.density_kg_m3)

    @property
    def mass_kg(self) -> float:
        """Mass of the part [kg]."""
        return self.density_kg_m3 * math.pi / 4.0 * self.diameter_m**2 * self.length_m


@lru_cache(maxsize=256)
def sinking_part(
    mass_kg_m: float, sink_m_s: float, diameter_m: float
) -> tuple[float, float, float, float, tuple[str, ...]]:
    """Diameter, density, sink rate, spread below and flags of a level part of given mass and stated sink rate."""
    spread = constant("sink_rate_rel_sd")
    bound = constant("density_bound")
    area = math.pi / 4.0
    if diameter_m == diameter_m:
        density = mass_kg_m / (area * diameter_m**2)
        flags: tuple[str, ...] = ()
        if density > bound:
            flags = (f"{DISAGREE}: {1000 * diameter_m:.2f} mm at this weight is {density:.0f} kg/m³",)
        return diameter_m, density, sink_rate_broadside(diameter_m, density), spread, flags
    diameter_m = diameter_for_sink_rate(mass_kg_m, sink_m_s)
    density = mass_kg_m / (area * diameter_m**2)
    if density <= bound:
        return diameter_m, density, sink_m_s, spread, ()
    # No coating is that dense: hold the diameter at the bound and let the line fall as it then must.
    held = math.sqrt(mass_kg_m / (area * bound))
    sink = sink_rate_broadside(held, bound)
    gap = 1.0 - sink / sink_m_s
    flag = (
        f"{DISAGREE}: {sink_m_s / INCH:.1f} in/s at this weight needs {density:.0f} kg/m³, above the {bound:.0f} "
        f"as possible; {sink / INCH:.1f} in/s is used"
    )
    return held, bound, sink, spread + gap, (flag,)


def stepped_head(parts: Sequence[tuple[float, float, float]]) -> tuple[tuple[HeadStep, ...], tuple[str, ...]]:
    """Steps of a head from length [m], mass [kg] and sink rate [m/s] of its two or three parts, and what did not fit.

    Parameters
    ----------
    parts : sequence of (length, mass, sink rate)
        From the leader on.

    Raises
    ------
    UsageMistake
        When there are not two or three parts, or one cannot be a line's.

    Examples
    --------
    >>> from planner.units import FOOT, GRAIN, INCH
    >>> steps, _ = stepped_head([(10 * FOOT, 100 * GRAIN, 6 * INCH), (16 * FOOT, 150 * GRAIN, 4 * INCH)])
    >>> [round(step.sink_rate_m_s / INCH, 2) for step in steps]
    [6.0, 4.0]
    """
    if not 2 <= len(parts) <= 3:
        raise UsageMistake(f"a head of {len(parts)} steps", "two or three steps", "join steps that are alike")
    steps: list[HeadStep] = []
    flags: list[str] = []
    for number, (length, mass, sink) in enumerate(parts, 1):
        if not (0.3 <= length <= 40.0 and 0.05e-3 <= mass <= 0.2 and 0.0 < sink <= 0.5):
            raise UsageMistake(
                f"step {number} of {length:.2f} m, {1000 * mass:.2f} g, sinking {sink / INCH:.1f} in/s",
                "1 to 130 ft, 1 to 3,000 grains and a sink rate of up to 20 in/s",
                "correct the step",
            )
        diameter, density, _, _, said = sinking_part(mass / length, sink, math.nan)
        steps.append(HeadStep(length, diameter, density))
        flags += [f"step {number}: {text}" for text in said]
    return tuple(steps), tuple(flags)


def thin_front(
    head_m: float, mass_kg: float, sink_m_s: float, front_m: float, compensated: bool
) -> tuple[tuple[HeadStep, ...], tuple[str, ...]]:
    """Steps of a head whose front is thinner than its belly, from the label's length, mass and sink rate.

    Front and belly are of one density, the stated rate being the belly's, or each of the density at which it falls at
    that rate (density-compensated). The front's diameter is 0.7 of the belly's, the mean of an even taper to 0.4
    (design choice, `sink_constants.csv`).

    Parameters
    ----------
    head_m, mass_kg, sink_m_s : float
        Of the whole head [m], [kg], [m/s].
    front_m : float
        Length of the thin front, less than the head's [m].
    compensated : bool
        Whether the label says density compensated.

    Raises
    ------
    UsageMistake
        When front or head cannot be a line's.

    Examples
    --------
    >>> plain, _ = thin_front(8.0, 13e-3, 0.12, 3.0, False)
    >>> level, _ = thin_front(8.0, 13e-3, 0.12, 3.0, True)
    >>> [round(1000 * step.sink_rate_m_s) for step in plain], [round(1000 * step.sink_rate_m_s) for step in level]
    ([95, 120], [120, 120])
    """
    if not (0.0 < front_m < head_m and mass_kg > 0.0 and sink_m_s > 0.0):
        raise UsageMistake(
            f"a front of {front_m:.2f} m on a head of {head_m:.2f} m that sinks {sink_m_s / INCH:.1f} in/s",
            "a front within a sinking head",
            "correct the line's front_taper_ft",
        )
    ratio = constant("front_diameter_ratio")
    back_m = head_m - front_m
    bound = constant("density_bound")
    area = math.pi / 4.0
    if not compensated:
        diameter, density, _, _, flags = sinking_part(mass_kg / (back_m + ratio**2 * front_m), sink_m_s, math.nan)
        return (HeadStep(front_m, ratio * diameter, density), HeadStep(back_m, diameter, density)), flags
    low = 0.1e-3
    high = diameter_for_sink_rate(mass_kg / (back_m + ratio**2 * front_m), sink_m_s)
    for _ in range(60):  # a thicker line of the same rate is heavier
        middle = 0.5 * (low + high)
        needed, back = (density_for_sink_rate(share * middle, sink_m_s) for share in (ratio, 1.0))
        front = min(needed, bound)
        mass = area * middle**2 * (back * back_m + ratio**2 * front * front_m)
        low, high = (middle, high) if mass < mass_kg else (low, middle)
    lags = (
        f"{DISAGREE}: at {sink_m_s / INCH:.1f} in/s the thin front needs {needed:.0f} kg/m³, above the {bound:.0f} "
        "taken as possible; the front lags behind"
    )
    if back > bound:  # not even the belly can be that dense: one coating for the whole head
        diameter, density, _, _, flags = sinking_part(mass_kg / (back_m + ratio**2 * front_m), sink_m_s, math.nan)
        return (HeadStep(front_m, ratio * diameter, density), HeadStep(back_m, diameter, density)), flags or (lags,)
    flags = (lags,) if needed > bound else ()
    return (HeadStep(front_m, ratio * middle, front), HeadStep(back_m, middle, back)), flags
