"""What `plumbrun calibrate` answers: timed falls read, and the lines to write into tackle.toml."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.errors import QuantityUnfit, UsageMistake
from planner.sink.calibrate import Timed, timed_fly, timed_line, water_at
from planner.sink.drag import sink_rate_broadside
from planner.sink.fly import fly_from_class, fly_from_tackle
from planner.sink.standards import sink_class
from planner.tables import rows
from planner.units import FOOT, GRAIN, INCH, celsius, parse, show

if TYPE_CHECKING:
    from planner.river.records import TackleFly, TackleLine

__all__ = ["calibrate_text", "fly_report", "line_report", "water_celsius"]


def water_celsius(text: str, what: str = "--water") -> float:
    """Temperature [°C] of a text such as ``"20 C"`` or ``"68 F"``.

    Raises
    ------
    QuantityUnfit
        When it is none.

    Examples
    --------
    >>> water_celsius("68 °F"), water_celsius("12C")
    (20.0, 12.0)
    """
    found = re.fullmatch(r"\s*(-?\d+(?:\.\d+)?)\s*(?:°|deg)?\s*([CF])\s*", text, re.IGNORECASE)
    if not found:
        raise QuantityUnfit(f"{what} {text!r}", "a temperature like '20 C' or '68 F'", "write number and unit")
    value = float(found[1])
    return value if found[2].upper() == "C" else celsius(value)


def _fall(fell: str, times: Sequence[str]) -> tuple[float, list[float]]:
    bare = re.compile(r"\s*\d+(\.\d+)?\s*")
    seconds = [float(text) if bare.fullmatch(text) else parse(text, "s", "--in") for text in times]
    return parse(fell, "m", "--fell"), seconds


def _timed(fall: Timed, fell_m: float, times: list[float]) -> dict[str, Any]:
    return {
        "fell_m": fell_m,
        "times_s": times,
        "sink_m_s": fall.sink_m_s,
        "error_m_s": fall.error_m_s,
        "start_s": fall.tau_s * math.log(2.0),  # how much later than at full pace from the start it arrives
        "notes": list(fall.notes),
    }


def line_report(
    *,
    length: str,
    fell: str,
    times: Sequence[str],
    weight: str | None = None,
    water: str = "20 C",
    entry: TackleLine | None = None,
) -> dict[str, Any]:
    """Sink rate of a line from a level piece timed over a fall.

    Parameters
    ----------
    length : str
        Length of the piece that was timed, or of the whole head, e.g. ``"3 ft"``.
    fell : str
        Depth it fell.
    times : sequence of str
        Times of one or more falls, with or without a unit [s].
    weight : str, optional
        Mass of that piece, e.g. ``"60 grain"`` or ``"3.9 g"``; gives diameter and density.
    water : str
        Temperature of the water.
    entry : TackleLine, optional
        The line of the tackle file that it is; its grains and length stand in for a weight.

    Raises
    ------
    UsageMistake, QuantityUnfit
        When a quantity cannot be read or cannot be a line's.
    """
    fell_m, seconds = _fall(fell, times)
    piece = parse(length, "m", "--length")
    if not 0.02 <= piece <= 40.0:
        raise UsageMistake(f"--length {length!r}", "a piece of 2 cm to 40 m", "correct --length")
    if entry is not None and "steps" in entry.extra:
        raise UsageMistake(
            f"line {entry.name!r}, a head of steps",
            "one step's piece",
            "time each step and correct its sink_ips by hand",
        )
    mass = math.nan if weight is None else parse(weight, "kg", "--weight")
    if not (mass != mass or 0.2e-3 <= mass / piece <= 20e-3):
        raise UsageMistake(
            f"--weight {weight!r} on --length {length!r}", "0.2 to 20 g a metre", "correct weight or length"
        )
    per_m, level = mass / piece, entry is not None and "front_taper_ft" not in entry.extra
    if entry is not None and level and mass != mass:
        part_ft = entry.tip_ft if entry.tip_ft == entry.tip_ft else entry.head_ft
        per_m = entry.head_grains * GRAIN / (part_ft * FOOT)
    at = water_celsius(water)
    fall, diameter, density, ends = timed_line(fell_m, seconds, at, piece, per_m)
    report = _timed(fall, fell_m, seconds)
    if piece > 2.5 * fell_m:
        report["notes"].append(
            "The piece is long for this depth: it must go in level all along, or the time is its lower end's."
        )
    nu, rho = water_at(at)
    here = sink_rate_broadside(diameter, density, "cheng", nu, rho) if density == density else math.nan
    toml = {"sink_ips": round(fall.sink_m_s / INCH, 2)}
    hints = []
    if mass == mass:
        hints.append(f"{per_m / GRAIN * FOOT:.1f} grains a foot: head_grains is that times head_ft")
    if density == density:
        hints.append(f"{1000 * diameter:.2f} mm thick, {density:.0f} kg/m³")
    return report | {
        "kind": "line",
        "class": sink_class(fall.sink_m_s),
        "stated_sink_m_s": math.nan if entry is None else entry.sink_ips * INCH,
        "length_m": piece,
        "ends": ends,
        "mass_kg_m": per_m,
        "diameter_m": diameter,
        "density_kg_m3": density,
        "water_c": at,
        "sink_here_m_s": here,
        "toml": toml,
        "hints": hints,
    }


def fly_report(
    *,
    fell: str,
    times: Sequence[str],
    drag: str = "medium",
    weighting: str = "none",
    weight: str | None = None,
    length: str | None = None,
    entry: TackleFly | None = None,
) -> dict[str, Any]:
    """Sink rate of a fly from timed falls, and its drag areas to match.

    Parameters
    ----------
    fell, times
        As `line_report`.
    drag, weighting : str
        Its classes.
    weight, length : str, optional
        Mass as weighed dry, and length; the classes' without.
    entry : TackleFly, optional
        The fly of the tackle file that it is, in place of classes, mass and length.

    Raises
    ------
    UsageMistake, QuantityUnfit
        When a quantity cannot be read, or the fly would float.
    """
    fell_m, seconds = _fall(fell, times)
    toml: dict[str, Any] = {}
    if entry is not None:
        fly = fly_from_tackle(replace(entry, extra={k: v for k, v in entry.extra.items() if k != "sink_ips"}))
    else:
        mass = math.nan if weight is None else parse(weight, "g", "--weight")
        size = math.nan if length is None else parse(length, "mm", "--length")
        fly = fly_from_class(drag, weighting, mass_g=mass, length_mm=size, name="the fly timed")
        toml["drag"] = drag
        toml |= {"weighting": weighting} if mass != mass else {"mass_g": round(mass, 2)}
        if size == size:
            toml["length_mm"] = round(size)
    fall, made = timed_fly(fell_m, seconds, fly)
    notes = list(fall.notes)
    if entry is None and weight is None:
        row = next(row for row in rows("fly_fall_rates") if (row["drag"], row["weighting"]) == (drag, weighting))
        if not float(row["low_ips"]) <= fall.sink_m_s / INCH <= float(row["high_ips"]):
            notes.append(
                f"Flies of these classes fall about {row['low_ips']} to {row['high_ips']}: another drag or weighting "
                "may be nearer."
            )
    toml["sink_ips"] = round(fall.sink_m_s / INCH, 1)
    return _timed(fall, fell_m, seconds) | {
        "kind": "fly",
        "notes": notes,
        "towed_area_m2": made.towed_area_m2,
        "broadside_area_m2": made.broadside_area_m2,
        "area_factor": made.towed_area_m2 / fly.towed_area_m2,
        "wet_weight_n": made.wet_weight_n,
        "toml": toml,
        "hints": [],
    }


def calibrate_text(report: dict[str, Any], units: str, written: str = "") -> str:
    """A timed fall for a person, ending in the lines to write into tackle.toml, or in which file holds them."""
    sink, error = report["sink_m_s"] / INCH, report["error_m_s"] / INCH
    times = report["times_s"]
    lines = [
        f"Fell {show(report['fell_m'], 'depth', units)} in {float(np.mean(times)):.1f} s"
        + (f" (mean of {len(times)})" if len(times) > 1 else "")
        + f": sinks {sink:.2f} inches per second, give or take {error:.2f}."
    ]
    if report["kind"] == "line":
        lines.append(
            f"Taken out: {report['start_s']:.2f} s for the start, {100 * (1 - report['ends']):.1f} % for water slip at "
            f"the ends, and the water's {report['water_c']:.0f} °C (the rate is for 12 °C)."
        )
        lines.append(f"That is {report['class']}.")
        if report["stated_sink_m_s"] > 0:
            off = 100 * (report["sink_m_s"] / report["stated_sink_m_s"] - 1)
            lines.append(
                f"The tackle file has {report['stated_sink_m_s'] / INCH:.2f}; this is {abs(off):.0f} % "
                + ("more." if off > 0 else "less: labels are of pieces of an inch or two, which fall 8 to 17 % faster.")
            )
    else:
        lines.append(
            f"Taken out: {report['start_s']:.2f} s for the start. Its drag areas become "
            f"{report['area_factor']:.2f} of what drag class and length give."
        )
    lines += report["notes"]
    keys = [f"  {key} = {_toml(value)}" for key, value in report["toml"].items()]
    lines += [*([f"Written to {written}:"] if written else [f"For its [[{report['kind']}]] in tackle.toml:"]), *keys]
    return "\n".join([*lines, *(f"  # {hint}" for hint in report["hints"])])


def _toml(value: Any) -> str:
    return f'"{value}"' if isinstance(value, str) else f"{value:g}"
