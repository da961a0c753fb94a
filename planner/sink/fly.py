"""The physical fly: mass, volume, drag areas and lift band from its class.

The classes (`planner/tables/fly_classes.csv`) are design choices within the range of published drag areas of small
lures, set so that each falls in still water as `fly_fall_rates.csv` says; the angler's own timed fall is better.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from planner.errors import UsageMistake
from planner.sink.constants import constant, material_density
from planner.sink.weights import weights_of
from planner.tables import rows
from planner.units import INCH

if TYPE_CHECKING:
    from planner.river.records import TackleFly

__all__ = ["Fly", "fall_rate", "fly_from_class", "fly_from_tackle", "fly_with_fall_rate"]


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


def fall_rate(fly: Fly) -> float:
    """Speed at which the fly alone falls in still water [m/s]: ``v = sqrt(2 W / (rho CdA))`` (1); negative: it rises.

    Examples
    --------
    >>> round(fall_rate(fly_from_class("low", "heavy")), 2)
    0.31
    """
    area = constant("water_density") * fly.broadside_area_m2
    return math.copysign(math.sqrt(2.0 * abs(fly.wet_weight_n) / area), fly.wet_weight_n)


def fly_with_fall_rate(fly: Fly, sink_m_s: float) -> Fly:
    """The fly with both drag areas scaled so that it falls at a timed rate, its weight kept; (1) solved for the area.

    Raises
    ------
    UsageMistake
        When the fly floats by its mass and volume, or the areas would leave a sixth to six times the class's.

    Examples
    --------
    >>> timed = fly_with_fall_rate(fly_from_class("low", "heavy"), 0.25)
    >>> round(fall_rate(timed), 3)
    0.25
    """
    weight = fly.wet_weight_n
    area = 2.0 * weight / (constant("water_density") * sink_m_s**2) if sink_m_s > 0.0 else math.nan
    factor = area / fly.broadside_area_m2
    if not 1.0 / 6.0 <= factor <= 6.0:
        raise UsageMistake(
            f"fly {fly.name!r} that weighs {1000 * weight:.1f} mN in water and falls {sink_m_s / INCH:.1f} in/s",
            f"a rate within about {fall_rate(fly) / INCH / 2.4:.1f} to {fall_rate(fly) / INCH * 2.4:.1f} in/s",
            "time it again, soaked, or correct its mass_g, drag or length_mm",
        )
    return replace(fly, towed_area_m2=fly.towed_area_m2 * factor, broadside_area_m2=area)


def fly_from_tackle(fly: TackleFly) -> Fly:
    """Fly from an entry of the tackle file.

    Besides its fields an entry may name ``bead``, ``cone`` or ``dumbbell`` (such as ``"tungsten 3.3 mm"``) and
    ``sink_ips``, the rate at which it was timed to fall.

    Raises
    ------
    UsageMistake
        As `fly_from_class`.
    """
    made = fly_from_class(
        fly.drag,
        fly.weighting or "none",
        mass_g=math.nan if fly.mass_g is None else float(fly.mass_g),
        length_mm=math.nan if fly.length_mm is None else float(fly.length_mm),
        name=fly.name,
    )
    added = weights_of(fly.extra)
    if added.mass_kg > 0.0:
        if fly.mass_g == fly.mass_g and fly.mass_g is not None:  # weighed with its bead: only the volume is news
            lead = added.mass_kg / material_density("lead")
            made = replace(made, volume_m3=made.volume_m3 + added.volume_m3 - lead)
        else:
            made = replace(made, mass_kg=made.mass_kg + added.mass_kg, volume_m3=made.volume_m3 + added.volume_m3)
    if "sink_ips" in fly.extra:
        try:
            timed = float(fly.extra["sink_ips"]) * INCH
        except (TypeError, ValueError) as error:
            raise UsageMistake(
                f"fly {fly.name!r}: sink_ips {fly.extra['sink_ips']!r}", "a number", "correct it in tackle.toml"
            ) from error
        made = fly_with_fall_rate(made, timed)
    return made
