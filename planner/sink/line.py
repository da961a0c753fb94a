"""The physical line: lengths, diameters and densities from what the label says.

AFFTA weighs the first 30 ft of a line [AFFTA1962]; sinking heads and tips are sold by their total grains and
length. Mass per metre and sink rate together give diameter and density (`drag.diameter_for_sink_rate`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from planner.errors import UsageMistake
from planner.sink.constants import constant, material_density
from planner.sink.drag import density_for_sink_rate, sink_rate_broadside
from planner.sink.heads import HeadStep, sinking_part, stepped_head, thin_front
from planner.sink.standards import tippet_diameter_m
from planner.units import FOOT, GRAIN, INCH

if TYPE_CHECKING:
    from planner.river.records import Tackle, TackleLine

__all__ = [
    "Line",
    "line_from_head",
    "line_from_tackle",
    "line_with_sink_factor",
]


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
        Of a head that is not level: its two or three parts from the leader on. The head's diameter and density are
        then those of its whole volume and mass, its sink rate the mean along it.
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
    def head_mass_kg(self) -> float:
        """Mass of the sinking part [kg]."""
        return self.head_density_kg_m3 * math.pi * self.head_diameter_m**2 / 4.0 * self.head_length_m


def _or(value: Any, default: float) -> float:
    if value is None:
        return default
    number = float(value)
    return default if math.isnan(number) else number


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
        diameter, density, sink, below, flags = sinking_part(per_m, sink_m_s, diameter_m)
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
    weight per metre makes it. Tippet and leader are joined to one of their mean diameter and density. An entry may
    name ``steps`` (a list of ft, grains and sink_ips from the leader on) or ``front_taper_ft`` with ``compensated``.

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
    made = line_from_head(
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
    return _shaped(made, line.extra)


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
    if line.steps:
        faster = (density_for_sink_rate(step.diameter_m, step.sink_rate_m_s * factor) for step in line.steps)
        steps = (replace(step, density_kg_m3=density) for step, density in zip(line.steps, faster, strict=True))
        return _with_steps(line, tuple(steps))
    return replace(line, sink_rate_m_s=sink, head_density_kg_m3=density_for_sink_rate(line.head_diameter_m, sink))


def _with_steps(line: Line, steps: tuple[HeadStep, ...]) -> Line:
    """The line with a head of these steps."""
    length = sum(step.length_m for step in steps)
    volume = sum(step.diameter_m**2 * step.length_m for step in steps)
    return replace(
        line,
        steps=steps,
        head_length_m=length,
        head_diameter_m=math.sqrt(volume / length),
        head_density_kg_m3=sum(step.mass_kg for step in steps) / (math.pi / 4.0 * volume),
        sink_rate_m_s=sum(step.sink_rate_m_s * step.length_m for step in steps) / length,
    )


def _shaped(made: Line, given: dict[str, Any]) -> Line:
    """The line with the steps or the thin front that its entry in the tackle file names."""
    if "steps" in given:
        try:
            parts = [
                (float(p["ft"]) * FOOT, float(p["grains"]) * GRAIN, float(p["sink_ips"]) * INCH) for p in given["steps"]
            ]
        except (KeyError, TypeError, ValueError) as error:
            raise UsageMistake(
                f"line {made.name!r}: steps {given['steps']!r}",
                "a list of { ft = …, grains = …, sink_ips = … }, from the leader on",
                "correct the steps in tackle.toml",
            ) from error
        steps, flags = stepped_head(parts)
        length, mass = sum(part[0] for part in parts), sum(part[1] for part in parts)
        if abs(length / made.head_length_m - 1.0) > 0.02 or abs(mass / made.head_mass_kg - 1.0) > 0.05:
            raise UsageMistake(
                f"line {made.name!r}: its steps come to {length / FOOT:.1f} ft and {mass / GRAIN:.0f} grains",
                f"the sinking part: {made.head_length_m / FOOT:.1f} ft, {made.head_mass_kg / GRAIN:.0f} grains",
                "correct the steps, or head_ft (tip_ft) and head_grains",
            )
        stated = sum(part[2] * part[0] for part in parts) / length
        return _flagged(replace(_with_steps(made, steps), stated_sink_m_s=stated), flags)
    if "front_taper_ft" in given:
        try:
            front = float(given["front_taper_ft"]) * FOOT
        except (TypeError, ValueError) as error:
            raise UsageMistake(
                f"line {made.name!r}: front_taper_ft {given['front_taper_ft']!r}", "a length in feet", "correct it"
            ) from error
        steps, flags = thin_front(
            made.head_length_m, made.head_mass_kg, made.stated_sink_m_s, front, bool(given.get("compensated", False))
        )
        return _flagged(_with_steps(made, steps), flags)
    return made


def _flagged(line: Line, flags: tuple[str, ...]) -> Line:
    """The line with these flags; where weight and rate disagree its spread reaches down to the stated rate's gap."""
    spread = constant("sink_rate_rel_sd")
    gap = max(0.0, 1.0 - line.sink_rate_m_s / line.stated_sink_m_s) if flags else 0.0
    return replace(line, flags=flags, sink_sd_below=spread + gap, sink_sd_above=spread)
