"""Sink rate from a stopwatch and a bucket or a pool.

A level line let go from rest falls ``z = v tau ln cosh(t/tau)`` (1) with ``tau = (m' + rho A) v / w`` (2); a fly nearly
so with its own mass and drag. The rate v is solved from depth and mean time, so that the start is not taken for
slowness. A short piece falls faster than a whole line, because water slips round its ends: its drag is the share
``f = 1 - k d/L`` (3) of the long line's. What is reported is the long line's rate in the model's water of 12 °C.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planner.errors import UsageMistake
from planner.sink.constants import constant
from planner.sink.drag import density_for_sink_rate, diameter_for_sink_rate, sink_rate_broadside
from planner.sink.fly import Fly, fall_rate, fly_with_fall_rate
from planner.units import INCH

__all__ = ["Timed", "long_line_rate", "short_piece_share", "timed_fall", "timed_fly", "timed_line", "water_at"]


@dataclass(frozen=True)
class Timed:
    """A timed fall: terminal rate [m/s] with its standard error, the time constant of the start [s], and notes."""

    sink_m_s: float
    error_m_s: float
    tau_s: float
    notes: tuple[str, ...] = ()


def water_at(celsius: float) -> tuple[float, float]:
    """Kinematic viscosity [m²/s] and density [kg/m³] of fresh water, 0 to 40 °C.

    Viscosity by the fit ``mu = 2.414e-5 × 10^(247.8/(T - 140))`` Pa s, T in kelvin [AlShemmeri2012]; density by
    ``rho = 1000 (1 - (t + 288.9414)(t - 3.9863)²/(508929.2 (t + 68.12963)))`` [McCutcheon1993].

    Raises
    ------
    UsageMistake
        Outside 0 to 40 °C.

    Examples
    --------
    >>> nu, rho = water_at(20.0)
    >>> round(nu * 1e6, 3), round(rho, 1)
    (1.004, 998.2)
    """
    if not 0.0 <= celsius <= 40.0:
        raise UsageMistake(f"water of {celsius:g} °C", "0 to 40 °C", "correct --water")
    rho = 1000.0 * (1.0 - (celsius + 288.9414) * (celsius - 3.9863) ** 2 / (508929.2 * (celsius + 68.12963)))
    return 2.414e-5 * 10.0 ** (247.8 / (celsius + 133.15)) / rho, rho


def short_piece_share(diameter_m: float, length_m: float) -> float:
    """Drag of a piece of line over that of as much of a long one: (3), k from `sink_constants.csv` [1].

    NaN for pieces shorter than 20 diameters, to which (3) does not reach.

    Examples
    --------
    >>> round(short_piece_share(1.0e-3, 0.04), 2), round(short_piece_share(1.0e-3, 3.0), 3)
    (0.82, 0.998)
    """
    if not length_m >= 20.0 * diameter_m > 0.0:
        return math.nan
    return 1.0 - constant("end_slip") * diameter_m / length_m


def long_line_rate(piece_m_s: float, diameter_m: float, length_m: float, celsius: float = 12.0) -> float:
    """Rate at which a long line falls whose piece of this length was timed at `piece_m_s`, in the same water [m/s].

    Examples
    --------
    Pieces of an inch or two, as laboratories drop them, fall about a tenth faster than a whole head:

    >>> round(0.15 / long_line_rate(0.15, 1.0e-3, 0.038), 2)
    1.12
    """
    nu, rho = water_at(celsius)
    share = short_piece_share(diameter_m, length_m)
    density = rho + share * (density_for_sink_rate(diameter_m, piece_m_s, "cheng", nu, rho) - rho)
    return sink_rate_broadside(diameter_m, density, "cheng", nu, rho)


def timed_fall(fell_m: float, times_s: Sequence[float], inertia: float) -> Timed:
    """Terminal rate of a body timed over a fall from rest.

    Equation (1) with ``tau = inertia × v / g``, inertia being (mass + added mass) over (mass - displaced mass). The
    error joins the stopwatch's, the spread of repeated falls and that of the depth.

    Parameters
    ----------
    fell_m : float
        Depth fallen [m].
    times_s : sequence of float
        Times of one or more falls [s].
    inertia : float
        As above [1].

    Raises
    ------
    UsageMistake
        When depth or times cannot be a fall's.

    Examples
    --------
    >>> fall = timed_fall(1.5, [9.8], 3.0)
    >>> round(fall.sink_m_s, 4), round(fall.error_m_s, 4), round(fall.tau_s, 3)
    (0.1536, 0.0031, 0.047)
    """
    times = np.asarray(times_s, dtype=float)
    if not (0.2 <= fell_m <= 10.0 and times.size and np.all((times >= 0.5) & (times <= 600.0))):
        raise UsageMistake(
            f"a fall of {fell_m:g} m in {', '.join(f'{t:g}' for t in times) or 'no time'} s",
            "0.2 to 10 m in 0.5 to 600 s",
            "time a deeper or slower fall",
        )
    time = float(times.mean())
    low, high = 0.0, 3.0 * fell_m / time + constant("gravity") * time / inertia
    for _ in range(80):
        rate = 0.5 * (low + high)
        tau = max(inertia * rate / constant("gravity"), 1e-9)
        arg = time / tau
        log_cosh = arg + math.log1p(math.exp(-2.0 * arg)) - math.log(2.0)
        if rate * tau * log_cosh < fell_m:
            low = rate
        else:
            high = rate
    if arg < 2.0:
        raise UsageMistake(
            f"a fall of {fell_m:g} m in {time:g} s, most of it still speeding up",
            "a fall that reaches its own pace",
            "time a deeper fall, or check depth and time",
        )
    spread = float(times.std(ddof=1)) if times.size > 1 else 0.0
    error_s = math.hypot(constant("stopwatch_error"), spread) / math.sqrt(times.size)
    share = math.hypot(error_s / time, constant("fall_depth_error") / fell_m)
    notes = []
    if share > 0.05:
        notes.append(f"Known to {100 * share:.0f} % only: use a deeper fall, or time more of them.")
    if times.size > 1 and np.ptp(times) > 0.2 * time:
        notes.append("The times differ by more than a fifth: was it level, soaked and free of bubbles?")
    return Timed(rate, rate * share, tau, tuple(notes))


def timed_line(
    fell_m: float, times_s: Sequence[float], celsius: float, piece_m: float, mass_kg_m: float = math.nan
) -> tuple[Timed, float, float, float]:
    """Sink rate of a line in the model's water, its diameter and density, from timed falls of a level piece.

    Parameters
    ----------
    fell_m, times_s : float, sequence
        As `timed_fall`.
    celsius : float
        Temperature of the water [°C].
    piece_m : float
        Length of the piece [m].
    mass_kg_m : float
        Mass per metre [kg/m]; without it (NaN) the diameter is taken as usual and the diameter and density given back
        are NaN.

    Returns
    -------
    Timed, float, float, float
        Rate of a long line at 12 °C (half of the correction for the ends counts as error), diameter [m], density
        [kg/m³], and the rate of a long line over the piece's in the water it was timed in [1].

    Examples
    --------
    >>> fall, diameter, density, ends = timed_line(1.5, [9.8], 20.0, 1.0, 1.635e-3)
    >>> round(fall.sink_m_s / 0.0254, 2), round(1000 * diameter, 2), round(ends, 3)
    (5.91, 0.76, 0.997)
    """
    nu, rho = water_at(celsius)
    known = mass_kg_m == mass_kg_m
    diameter, inertia = constant("usual_head_diameter"), 3.0
    for _ in range(8):  # start and ends depend on diameter and density, these on the rate: settles at once
        fall = timed_fall(fell_m, times_s, inertia)
        if not piece_m >= 20.0 * diameter:
            raise UsageMistake(f"a piece of {piece_m:g} m", "at least 20 times its thickness", "time a longer piece")
        long_m_s = long_line_rate(fall.sink_m_s, diameter, piece_m, celsius)
        if known:
            diameter = diameter_for_sink_rate(mass_kg_m, long_m_s, "cheng", nu, rho)
            density = mass_kg_m / (math.pi / 4.0 * diameter**2)
        else:
            density = density_for_sink_rate(diameter, long_m_s, "cheng", nu, rho)
        inertia = (density + rho) / (density - rho)
    rate, ends = sink_rate_broadside(diameter, density), long_m_s / fall.sink_m_s
    notes = list(fall.notes)
    if known and density > constant("density_bound"):
        notes.append(
            f"At this weight the rate needs {density:.0f} kg/m³, above what coatings reach: weigh it again, or it did "
            "not fall level."
        )
    share = math.hypot(fall.error_m_s / fall.sink_m_s, 0.5 * (1.0 - ends))
    made = Timed(rate, rate * share, fall.tau_s, tuple(notes))
    return (made, diameter, density, ends) if known else (made, math.nan, math.nan, ends)


def timed_fly(fell_m: float, times_s: Sequence[float], fly: Fly) -> tuple[Timed, Fly]:
    """Sink rate of a fly and the fly with drag areas to match, from timed falls, soaked and on slack tippet.

    Raises
    ------
    UsageMistake
        As `timed_fall` and `fly.fly_with_fall_rate`.

    Examples
    --------
    >>> from planner.sink.fly import fly_from_class
    >>> fall, timed = timed_fly(1.5, [5.2, 5.0], fly_from_class("low", "heavy"))
    >>> round(fall.sink_m_s, 2), round(timed.towed_area_m2 * 1e4, 2)
    (0.3, 1.12)
    """
    heavy = fly.mass_kg - constant("water_density") * fly.volume_m3
    if heavy <= 0.0:
        raise UsageMistake(
            f"fly {fly.name!r}, which floats by its mass and volume",
            "a fly that sinks",
            "give its mass as weighed, or its weighting",
        )
    inertia = (fly.mass_kg + constant("water_density") * fly.volume_m3) / heavy
    fall = timed_fall(fell_m, times_s, inertia)
    made = fly_with_fall_rate(fly, fall.sink_m_s)
    note = f"By its class alone it would fall {fall_rate(fly) / INCH:.1f} inches per second."
    return Timed(fall.sink_m_s, fall.error_m_s, fall.tau_s, (*fall.notes, note)), made
