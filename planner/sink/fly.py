"""The physical fly: mass, volume, drag areas and lift band from its class.

The classes (`planner/tables/fly_classes.csv`) are design choices within the range of published drag areas of
small lures; the angler's own timed sink of a fly is the better calibration.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.errors import UsageMistake
from planner.sink.constants import constant, material_density
from planner.tables import rows

if TYPE_CHECKING:
    from planner.river.records import TackleFly

__all__ = ["Fly", "fly_from_class", "fly_from_tackle"]


@dataclass(frozen=True)
class Fly:
    """A fly as the solver sees it, soaked.

    Attributes
    ----------
    name : str
        The angler's name for it.
    mass_kg : float
        Mass with the water it holds [kg].
    volume_m3 : float
        Volume with the water it holds [m³].
    towed_area_m2 : float
        Drag coefficient × area when it swims head first [m²].
    broadside_area_m2 : float
        Drag coefficient × area across its axis, as when it sinks [m²].
    lift_area_m2 : float
        Lift coefficient × area; 0 by default, never tuned [m²].
    lift_band_m2 : float
        Half-width of the band in which the lift may lie [m²].
    """

    name: str
    mass_kg: float
    volume_m3: float
    towed_area_m2: float
    broadside_area_m2: float
    lift_area_m2: float = 0.0
    lift_band_m2: float = 2e-5

    @property
    def wet_weight_n(self) -> float:
        """Weight in water [N]; negative for a fly that floats."""
        return (self.mass_kg - constant("water_density") * self.volume_m3) * constant("gravity")


def fly_from_class(
    drag: str, weighting: str = "none", *, mass_g: float = math.nan, length_mm: float = math.nan, name: str = ""
) -> Fly:
    """Fly from its drag class and weighting.

    Parameters
    ----------
    drag : str
        ``high``, ``medium`` or ``low``.
    weighting : str
        ``none``, ``light`` or ``heavy``: lead tied in, by the table.
    mass_g : float
        Mass as weighed dry [g]; wins over the weighting. What exceeds the class's own dry mass is taken as lead.
    length_mm : float
        Length [mm]; areas go with length^1.5 and volumes with length² about the class's own length (design choice:
        longer flies are tied sparser).

    Raises
    ------
    UsageMistake
        When class, weighting, mass or length is none the table knows.

    Examples
    --------
    >>> fly = fly_from_class("low", "heavy")
    >>> round(1000 * fly.mass_kg, 2), round(1e6 * fly.volume_m3, 2), round(1000 * fly.wet_weight_n, 1)
    (1.96, 0.47, 14.7)
    """
    classes = {row["drag"]: row for row in rows("fly_classes")}
    weights = {row["weighting"]: row for row in rows("fly_weightings")}
    weighting = weighting or "none"
    given = f"fly {name!r}: " if name else "a fly of "
    if drag not in classes:
        raise UsageMistake(f"{given}drag {drag!r}", f"one of {', '.join(sorted(classes))}", "correct the fly's drag")
    if weighting not in weights:
        raise UsageMistake(f"{given}weighting {weighting!r}", f"one of {', '.join(weights)}", "correct the weighting")
    row = classes[drag]
    scale = 1.0 if math.isnan(length_mm) else length_mm / float(row["length_mm"])
    if not 0.2 <= scale <= 4.0:
        raise UsageMistake(f"{given}length {length_mm:g} mm", "about 15 to 300 mm", "correct the fly's length_mm")
    bulk = scale**2
    areas = scale**1.5
    if math.isnan(mass_g):
        added_g = float(weights[weighting]["added_g"])
    else:
        if not 0.01 <= mass_g <= 50.0:
            raise UsageMistake(f"{given}mass {mass_g:g} g", "0.01 to 50 g", "correct the fly's mass_g")
        added_g = mass_g - float(row["dry_mass_g"]) * bulk
    volume = float(row["volume_cm3"]) * 1e-6 * bulk
    mass = float(row["soaked_mass_g"]) * 1e-3 * bulk
    if added_g >= 0.0:
        mass += added_g * 1e-3
        volume += added_g * 1e-3 / material_density("lead")
    else:  # lighter than the class: less hook, the dressing's volume stays
        mass = max(mass + added_g * 1e-3, 0.3 * constant("water_density") * volume)
    towed = float(row["towed_area_cm2"]) * 1e-4 * areas
    return Fly(
        name=name or f"{drag} drag, weighting {weighting}",
        mass_kg=mass,
        volume_m3=volume,
        towed_area_m2=towed,
        broadside_area_m2=towed * float(row["broadside_ratio"]),
        lift_band_m2=float(row["lift_band_cm2"]) * 1e-4,
    )


def fly_from_tackle(fly: TackleFly) -> Fly:
    """Fly from an entry of the tackle file.

    Raises
    ------
    UsageMistake
        As `fly_from_class`.
    """
    return fly_from_class(
        fly.drag,
        fly.weighting or "none",
        mass_g=math.nan if fly.mass_g is None else float(fly.mass_g),
        length_mm=math.nan if fly.length_mm is None else float(fly.length_mm),
        name=fly.name,
    )
