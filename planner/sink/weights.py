"""Beads, cones and dumbbell eyes: mass, volume and weight in water by material and size."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from planner.errors import UsageMistake
from planner.sink.constants import material_density
from planner.tables import rows
from planner.units import INCH

__all__ = ["AddedWeight", "added_weight", "read_added", "weights_of"]

METALS = ("tungsten", "lead", "brass", "steel", "tin", "bismuth")
_SIZE = re.compile(r"\s*([a-z]+)\s+(\d+(?:\.\d+)?|\d+\s*/\s*\d+)\s*(mm|in|\")\s*")


@dataclass(frozen=True)
class AddedWeight:
    """A weight tied in: its mass [kg] and volume [m³]."""

    mass_kg: float
    volume_m3: float


def added_weight(shape: str, material: str, size_m: float) -> AddedWeight:
    """Weight of a bead, cone or dumbbell: ``m = k rho pi D³/6`` (1), k by shape from `fly_weight_shapes.csv`.

    Parameters
    ----------
    shape : str
        ``bead``, ``cone`` or ``dumbbell``.
    material : str
        ``tungsten``, ``lead``, ``brass``, ``steel``, ``tin`` or ``bismuth``.
    size_m : float
        Diameter of the bead, of the cone's base, or of one of the dumbbell's eyes [m].

    Raises
    ------
    UsageMistake
        When shape, material or size is none the tables know.

    Examples
    --------
    >>> bead = added_weight("bead", "tungsten", 3.3e-3)
    >>> round(1000 * bead.mass_kg, 3)
    0.254
    """
    shapes = {row["shape"]: float(row["of_sphere"]) for row in rows("fly_weight_shapes")}
    if shape not in shapes or material not in METALS or not 1e-3 <= size_m <= 15e-3:
        raise UsageMistake(
            f"a {material} {shape} of {1000 * size_m:g} mm",
            f"a {', '.join(shapes)} of {', '.join(METALS)}, 1 to 15 mm",
            "correct the weight tied in",
        )
    volume = shapes[shape] * math.pi / 6.0 * size_m**3
    return AddedWeight(material_density(material) * volume, volume)


def read_added(shape: str, text: str) -> AddedWeight:
    """The weight of a shape from ``"material size unit"``.

    Raises
    ------
    UsageMistake
        When the text cannot be read or the tables do not know it.

    Examples
    --------
    >>> round(1000 * read_added("dumbbell", "lead 5/32 in").mass_kg, 2)
    0.74
    """
    match = _SIZE.fullmatch(str(text).lower())
    if match is None:
        raise UsageMistake(
            f"{shape} {text!r}", f"a material and a size, such as {shape} = 'tungsten 3.3 mm'", "correct the fly"
        )
    material, number, unit = match.groups()
    top, _, bottom = number.partition("/")
    divisor = float(bottom or 1.0)
    size = float(top) / divisor if divisor > 0.0 else math.nan
    return added_weight(shape, material, size * (1e-3 if unit == "mm" else INCH))


def weights_of(entry: Mapping[str, Any]) -> AddedWeight:
    """All weights that an entry of the tackle file names as ``bead``, ``cone`` or ``dumbbell``."""
    found = [read_added(shape, entry[shape]) for shape in ("bead", "cone", "dumbbell") if shape in entry]
    return AddedWeight(sum(weight.mass_kg for weight in found), sum(weight.volume_m3 for weight in found))
