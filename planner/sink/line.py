"""The physical line: lengths, diameters and densities from what the label says.

AFFTA weighs the first 30 ft of a line [AFFTA1962]; sinking heads and tips are sold by their total grains and
length. Mass per metre and sink rate together give diameter and density (`drag.diameter_for_sink_rate`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from planner.errors import UsageMistake
from planner.sink.constants import constant, material_density
from planner.sink.drag import density_for_sink_rate, diameter_for_sink_rate, sink_rate_broadside, wet_weight
from planner.tables import rows
from planner.units import FOOT, GRAIN, INCH

if TYPE_CHECKING:
    from planner.river.records import Tackle, TackleLine

__all__ = [
    "Line",
    "head_against_standard",
    "line_from_head",
    "line_from_tackle",
    "line_weight_grains",
    "line_with_sink_factor",
    "sink_class",
    "tippet_diameter_m",
]

DISAGREE = "weight and sink rate disagree"


@dataclass(frozen=True)
class HeadStep:
    """A level part of a stepped head: length [m], diameter [m], density [kg/m³]."""

    length_m: float
    diameter_m: float
    density_kg_m3: float


@dataclass(frozen=True)
class Line:
    """A line as the solver sees it, from the running line to the leader.

    Attributes
    ----------
    name, code : str
        The angler's name and the AFFTA designation.
    head_length_m, head_diameter_m, head_density_kg_m3 : float
        The part that sinks: a full head, or the tip alone; for a floating line its whole head.
    rear_length_m, rear_diameter_m, rear_density_kg_m3 : float
        The floating rear of the head behind a sinking tip; length 0 for a full head.
    running_diameter_m, running_density_kg_m3 : float
        The running line.
    running : str
        ``floating`` or ``sinking``.
    leader_length_m, leader_diameter_m, leader_density_kg_m3 : float
        Leader and tippet as one.
    sink_rate_m_s : float
        Terminal velocity of the sinking part, level in still water, as the solver uses it [m/s].
    stated_sink_m_s : float
        Sink rate on the label [m/s].
    sink_sd_below, sink_sd_above : float
        Relative spread of the true sink rate below and above `sink_rate_m_s` [1].
    flags : tuple of str
        What did not fit, said aloud.
    steps : tuple of HeadStep
        Of a head that is not level: its two or three parts from the leader on. Diameter, density and sink rate of the
        head are then those of the level line of the same length and mass that falls at the steps' mean rate.
    """

    name: str
    code: str
    head_length_m: float
    head_diameter_m: float
    head_density_kg_m3: float
    rear_length_m: float
    rear_diameter_m: float
    rear_density_kg_m3: float
    running_diameter_m: float
    running_density_kg_m3: float
    running: str
    leader_length_m: float
    leader_diameter_m: float
    leader_density_kg_m3: float
    sink_rate_m_s: float
    stated_sink_m_s: float
    sink_sd_below: float
    sink_sd_above: float
    flags: tuple[str, ...] = ()
    steps: tuple[HeadStep, ...] = ()

    def steps_of_three(self) -> tuple[tuple[float, float, float], ...]:
        """Length, diameter and density of front, middle and back of the head; what a head lacks has no length."""
        back = (self.head_length_m, self.head_diameter_m, self.head_density_kg_m3)
        parts = [(step.length_m, step.diameter_m, step.density_kg_m3) for step in self.steps] or [back]
        return (*((0.0, *part[1:]) for part in [parts[0]] * (3 - len(parts))), *parts)

    @property
    def wet_weight_n_m(self) -> float:
        """Weight in water of a metre of the sinking part [N/m]."""
        return wet_weight(self.head_diameter_m, self.head_density_kg_m3)

    @property
    def head_mass_kg(self) -> float:
        """Mass of the sinking part [kg]."""
        return self.head_density_kg_m3 * math.pi * self.head_diameter_m**2 / 4.0 * self.head_length_m

    @property
    def whole_head_m(self) -> float:
        """Length from the running line to the leader [m]."""
        return self.rear_length_m + self.head_length_m


def line_weight_grains(weight: int) -> tuple[float, float]:
    """Standard weight and tolerance of the first 30 ft of a line [grains], [AFFTA1962].

    Raises
    ------
    UsageMistake
        When the standard has no such weight.

    Examples
    --------
    >>> line_weight_grains(6)
    (160.0, 8.0)
    """
    for row in rows("line_weights"):
        if int(row["weight"]) == weight:
            return float(row["grains"]), float(row["tolerance_grains"])
    raise UsageMistake(f"line weight {weight}", "a weight of 1 to 14", "correct the line's or rod's weight")


def head_against_standard(head_grains: float, head_ft: float, rod_weight: int) -> dict[str, Any]:
    """How a head compares with the standard of a rod's weight, and whether the trade hangs it on that rod.

    A short head is cast whole, so it may exceed the standard's 30 ft figure: the trade hangs heads of up to about
    one and a half times that figure on a rod (common practice, no source).

    Parameters
    ----------
    head_grains, head_ft : float
        Weight [grains] and length [ft] of the head.
    rod_weight : int
        Line weight written on the rod.

    Returns
    -------
    dict
        ``suits``, ``standing`` (``above``, ``within`` or ``below``), ``standard_grains``, ``tolerance_grains``,
        ``grains_in_30_ft`` and ``text``.

    Examples
    --------
    >>> head_against_standard(200.0, 26.0, 6)["text"]
    '200 grains, above the standard 160 ± 8 of the first 30 ft for a 6-weight; suits the rod as a short head'
    """
    standard, tolerance = line_weight_grains(rod_weight)
    inside = head_grains * min(1.0, 30.0 / head_ft)
    standing = "above" if inside > standard + tolerance else "below" if inside < standard - tolerance else "within"
    suits = standard - tolerance <= inside <= 1.5 * standard
    text = f"{head_grains:g} grains, {standing} the standard {standard:g} ± {tolerance:g} of the first 30 ft for a "
    text += f"{rod_weight}-weight; " + ("suits the rod as a short head" if suits else "does not suit the rod")
    return {
        "suits": suits,
        "standing": standing,
        "standard_grains": standard,
        "tolerance_grains": tolerance,
        "grains_in_30_ft": inside,
        "text": text,
    }


def sink_class(sink_m_s: float) -> str:
    """Trade class of a sink rate; the class whose usual rate is nearest (ranges overlap, no standard).

    Examples
    --------
    >>> sink_class(6.3 * 0.0254)
    'type 6'
    """
    ips = sink_m_s / INCH
    return min(rows("sink_classes"), key=lambda row: abs(float(row["usual_ips"]) - ips))["class"]


def tippet_diameter_m(x: float) -> float:
    """Diameter of a tippet of size x [m]: 0.001 in × (11 − x) (common practice, no source).

    Examples
    --------
    >>> round(1000 * tippet_diameter_m(2), 3)
    0.229
    """
    return 1e-3 * INCH * (11.0 - x)


def _or(value: Any, default: float) -> float:
    if value is None:
        return default
    number = float(value)
    return default if math.isnan(number) else number


@lru_cache(maxsize=256)
def _sinking_part(
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
        f"{DISAGREE}: {sink_m_s / INCH:.1f} in/s at this weight needs {density:.0f} kg/m³, above the {bound:.0f} taken "
        f"as possible; {sink / INCH:.1f} in/s is used"
    )
    return held, bound, sink, spread + gap, (flag,)


def line_from_head(
    head_m: float,
    mass_kg: float,
    sink_m_s: float,
    *,
    name: str = "",
    code: str = "",
    rear_m: float = 0.0,
    running: str = "floating",
    leader_m: float | None = None,
    leader_diameter_m: float | None = None,
    leader_density_kg_m3: float | None = None,
    diameter_m: float = math.nan,
) -> Line:
    """Line from the length, mass and sink rate of its sinking part, all in SI.

    Parameters
    ----------
    head_m, mass_kg : float
        Length [m] and mass [kg] of the part that sinks (or of the whole head of a floating line).
    sink_m_s : float
        Stated sink rate [m/s]; 0 for a floating line.
    rear_m : float
        Floating rear of the head behind a sinking tip [m].
    running : str
        ``floating`` or ``sinking`` running line.
    leader_m, leader_diameter_m, leader_density_kg_m3 : float, optional
        Leader [m], [m], [kg/m³]; the trade's usual one unless given.
    diameter_m : float
        Measured diameter of the sinking part [m]; wins over the sink rate. NaN unknown.

    Raises
    ------
    UsageMistake
        When length, mass or sink rate cannot be a line's.

    Examples
    --------
    >>> line = line_from_head(26 * 0.3048, 200 * 64.79891e-6, 6 * 0.0254)
    >>> round(1000 * line.head_diameter_m, 2), round(line.head_density_kg_m3), round(line.sink_rate_m_s / 0.0254, 2)
    (0.77, 3500, 5.85)
    """
    if not (0.3 <= head_m <= 40.0 and 0.05e-3 <= mass_kg <= 0.2 and 0.0 <= sink_m_s <= 0.5):
        raise UsageMistake(
            f"a head of {head_m:.2f} m, {mass_kg / GRAIN:.0f} grains, sinking {sink_m_s / INCH:.1f} in/s",
            "a length of 1 to 130 ft, 1 to 3,000 grains and a sink rate of 0 to 20 in/s",
            f"correct the line {name!r}" if name else "correct the line",
        )
    if running not in ("floating", "sinking"):
        raise UsageMistake(f"running line {running!r}", "floating or sinking", "correct the running line")
    per_m = mass_kg / head_m
    floating = material_density("floating coating")
    thickest = constant("floating_head_diameter_bound")

    def floating_diameter(kg_m: float) -> float:
        return min(thickest, math.sqrt(4.0 * kg_m / (math.pi * floating)))

    spread = constant("sink_rate_rel_sd")
    flags: tuple[str, ...] = ()
    if sink_m_s == 0.0:
        measured = diameter_m == diameter_m
        diameter = diameter_m if measured else floating_diameter(per_m)
        density = floating
        sink, below = sink_rate_broadside(diameter, density), spread
    else:
        diameter, density, sink, below, flags = _sinking_part(per_m, sink_m_s, diameter_m)
    running_diameter = constant("running_diameter")
    running_density = (
        floating if running == "floating" else density_for_sink_rate(running_diameter, constant("running_sink_rate"))
    )
    return Line(
        name=name,
        code=code,
        head_length_m=head_m,
        head_diameter_m=diameter,
        head_density_kg_m3=density,
        rear_length_m=rear_m,
        rear_diameter_m=floating_diameter(per_m),
        rear_density_kg_m3=floating,
        running_diameter_m=running_diameter,
        running_density_kg_m3=running_density,
        running=running,
        leader_length_m=_or(leader_m, constant("leader_length")),
        leader_diameter_m=_or(leader_diameter_m, constant("leader_diameter")),
        leader_density_kg_m3=_or(leader_density_kg_m3, material_density("nylon")),
        sink_rate_m_s=sink,
        stated_sink_m_s=sink_m_s,
        sink_sd_below=below,
        sink_sd_above=spread,
        flags=flags,
    )


def line_from_tackle(line: TackleLine, tackle: Tackle | None = None) -> Line:
    """Line from an entry of the tackle file, with the tackle's leader and tippet.

    The grains of a line with a sinking tip are the tip's own; the rest of its head floats, as thick as the tip's
    weight per metre makes it. Tippet and leader are joined to one of their mean diameter and density.

    Parameters
    ----------
    line : TackleLine
        The line as its label gives it.
    tackle : Tackle, optional
        Gives leader and tippet; the trade's usual leader without it.

    Raises
    ------
    UsageMistake
        When length, grains or sink rate are missing or cannot be a line's.
    """
    head_ft, tip_ft = _or(line.head_ft, math.nan), _or(line.tip_ft, math.nan)
    tipped = tip_ft == tip_ft
    part_ft = tip_ft if tipped else head_ft
    grains, ips = _or(line.head_grains, math.nan), _or(line.sink_ips, math.nan)
    missing = [word for word, value in (("length", part_ft), ("grains", grains), ("sink rate", ips)) if value != value]
    if missing:
        raise UsageMistake(
            f"line {line.name!r} without {' and '.join(missing)}",
            "length, grains and sink rate of the part that sinks",
            "add them to tackle.toml",
        )
    leader_m = leader_d = leader_rho = None
    if tackle is not None:
        parts = [
            (
                _or(tackle.leader_m, constant("leader_length")),
                1e-3 * _or(tackle.leader_diameter_mm, 1e3 * constant("leader_diameter")),
                material_density(tackle.leader_material or "nylon"),
            )
        ]
        tippet = _or(tackle.tippet_m, 0.0)
        if tippet > 0.0:
            parts.append(
                (
                    tippet,
                    tippet_diameter_m(_or(tackle.tippet_x, 1.0)),
                    material_density(tackle.tippet_material or tackle.leader_material or "nylon"),
                )
            )
        leader_m = sum(length for length, _, _ in parts)
        volume = sum(length * diameter**2 for length, diameter, _ in parts)
        if leader_m <= 0.0:
            leader_m = 0.1
        leader_d = math.sqrt(volume / leader_m) if volume > 0 else constant("leader_diameter")
        leader_rho = sum(le * d**2 * rho for le, d, rho in parts) / volume if volume > 0 else material_density("nylon")
    rear_m = max(0.0, (head_ft - tip_ft) * FOOT) if tipped and head_ft == head_ft else 0.0
    return line_from_head(
        part_ft * FOOT,
        grains * GRAIN,
        ips * INCH,
        name=line.name,
        code=line.code,
        rear_m=rear_m,
        running=line.running or "floating",
        leader_m=leader_m,
        leader_diameter_m=leader_d,
        leader_density_kg_m3=leader_rho,
        diameter_m=1e-3 * _or(line.diameter_mm, math.nan),
    )


def line_with_sink_factor(line: Line, factor: float) -> Line:
    """The same line sinking `factor` times as fast: its diameter kept, its density changed.

    For drawing from the spread of the sink rate, and for correcting a line by the log.

    Examples
    --------
    >>> line = line_from_head(26 * 0.3048, 200 * 64.79891e-6, 5 * 0.0254)
    >>> round(line_with_sink_factor(line, 0.9).sink_rate_m_s / 0.0254, 3)
    4.5
    """
    sink = line.sink_rate_m_s * factor
    return replace(line, sink_rate_m_s=sink, head_density_kg_m3=density_for_sink_rate(line.head_diameter_m, sink))
