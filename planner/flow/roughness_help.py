"""Every way to a roughness that what is known of a run allows, side by side, each with its range and source."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from planner.errors import UsageMistake
from planner.flow.roughness import (
    bathurst,
    class_range,
    composite_by_conveyance,
    composite_n,
    cowan,
    jarrett,
    limerinos,
    outside,
    roughness_classes,
    strickler,
)
from planner.tables import rows

__all__ = ["COWAN_FACTORS", "Part", "Way", "cowan_levels", "ways"]

COWAN_FACTORS = ("n0", "n1", "n2", "n3", "n4", "m")


@dataclass(frozen=True)
class Way:
    """One way to n.

    Parameters
    ----------
    name : str
        What it is called in print.
    n, low, high : float
        Value and published range [s/m^(1/3)]; NaN where there is none.
    from_what : str
        What it was computed from.
    source : str
        Author-year key.
    outside : tuple of str
        Which bound of its data was crossed; empty inside them.
    """

    name: str
    n: float
    low: float
    high: float
    from_what: str
    source: str
    outside: tuple[str, ...] = ()


@dataclass(frozen=True)
class Part:
    """A part of a section: n [s/m^(1/3)], area [m²] and wetted perimeter [m]."""

    n: float
    area: float
    perimeter: float
    label: str = field(default="")


def cowan_levels() -> dict[str, dict[str, float]]:
    """Levels of each of Cowan's factors with their values, in table order."""
    found: dict[str, dict[str, float]] = {factor: {} for factor in COWAN_FACTORS}
    for row in rows("cowan"):
        found[row["factor"]][row["level"]] = float(row["value"])
    return found


def ways(
    bed_class: str | None = None,
    radius: float = math.nan,
    slope: float = math.nan,
    d50: float = math.nan,
    d84: float = math.nan,
    build_up: Sequence[str] | None = None,
    parts: Sequence[Part] = (),
) -> list[Way]:
    """Every roughness that the inputs allow.

    Parameters
    ----------
    bed_class : str, optional
        A class of the table.
    radius : float
        Hydraulic radius, about the mean depth of a wide river [m].
    slope : float
        Of the water surface [m/m].
    d50, d84 : float
        Stone sizes that 50 and 84 % of the bed are finer than [m].
    build_up : sequence of str, optional
        Six levels for Cowan's build-up: base, irregularity, variation, obstructions, vegetation, meandering.
    parts : sequence of Part
        Of a section whose parts differ.

    Raises
    ------
    UsageMistake
        When a name is not in its table, or the build-up has not six levels.
    """
    found: list[Way] = []
    nothing = (math.nan, math.nan)
    if bed_class is not None:
        low, normal, high = class_range(bed_class)
        found.append(Way("class", normal, low, high, roughness_classes()[bed_class], "Chow1959"))
    if build_up is not None:
        if len(build_up) != len(COWAN_FACTORS):
            raise UsageMistake(
                f"{len(build_up)} levels for the build-up", f"six: {', '.join(COWAN_FACTORS)}", "see the list of levels"
            )
        found.append(Way("Cowan's build-up", cowan(*build_up), *nothing, ", ".join(build_up), "Cowan1956"))
    if d50 > 0:
        text = f"d50 {d50 * 1000:.0f} mm, a plane bed without bars, plants or bends"
        found.append(Way("Strickler", strickler(d50), *nothing, text, "Strickler1923"))
    if d84 > 0 and radius > 0:
        text = f"radius {radius:.2f} m, d84 {d84 * 1000:.0f} mm"
        found.append(
            Way("Limerinos", limerinos(radius, d84), *nothing, text, "Limerinos1970",
                tuple(outside("limerinos", radius=radius, d84=d84)))
        )  # fmt: skip
        found.append(
            Way("Bathurst", bathurst(radius, d84), *nothing, text.replace("radius", "depth"), "Bathurst1985",
                tuple(outside("bathurst", depth=radius, d84=d84)))
        )  # fmt: skip
    if slope > 0 and radius > 0:
        text = f"radius {radius:.2f} m, slope {slope:.5f}"
        found.append(
            Way("Jarrett", jarrett(radius, slope), *nothing, text, "Jarrett1984",
                tuple(outside("jarrett", radius=radius, slope=slope)))
        )  # fmt: skip
    if parts:
        n, perimeter = [part.n for part in parts], [part.perimeter for part in parts]
        text = "; ".join(f"{part.label or part.n:} over {part.perimeter:.1f} m" for part in parts)
        area = [part.area for part in parts]
        found.append(
            Way("parts side by side", composite_by_conveyance(n, area, perimeter), *nothing, text, "Davidian1984")
        )
        for method, name in (("horton", "parts, one speed"), ("pavlovskii", "parts, added forces")):
            found.append(Way(name, composite_n(n, perimeter, method), *nothing, text, "Chow1959"))
    return found
