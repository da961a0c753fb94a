"""How rough a bed is: classes of the handbooks, and formulas from grain and slope.

Each formula gives NaN outside the range its data cover, unless asked not to (`strict=False`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from planner.errors import UsageMistake
from planner.flow.state import TEN_NINETY
from planner.tables import constants, rows
from planner.units import FOOT

__all__ = [
    "Roughness",
    "bathurst",
    "class_range",
    "composite_by_conveyance",
    "composite_n",
    "cowan",
    "jarrett",
    "limerinos",
    "outside",
    "roughness_classes",
    "roughness_of",
    "strickler",
]


@dataclass(frozen=True)
class Roughness:
    """Manning's n of a bed with its spread.

    Parameters
    ----------
    n : float
        Value to use [s/m^(1/3)]; NaN unknown.
    low, high : float
        Published or assumed 10 and 90 % range [s/m^(1/3)].
    basis : str
        Where it comes from, for a reader.
    in_range : bool
        False when a formula was used outside the range of its data.
    """

    n: float
    low: float
    high: float
    basis: str
    in_range: bool = True

    @property
    def ln_sd(self) -> float:
        """Standard deviation of ln n, the range taken as 10 to 90 %."""
        return math.log(self.high / self.low) / (2 * TEN_NINETY) if self.n == self.n else math.nan


def roughness_classes() -> dict[str, str]:
    """Names of the bed classes with their descriptions, in table order."""
    return {row["class"]: row["description"] for row in rows("roughness")}


def class_range(name: str) -> tuple[float, float, float]:
    """Least, normal and greatest n [s/m^(1/3)] of a bed class [Chow1959], [ArcementSchneider1989].

    Raises
    ------
    UsageMistake
        When the class is not in the table.

    Examples
    --------
    >>> class_range("gravel_cobble")
    (0.03, 0.04, 0.05)
    """
    for row in rows("roughness"):
        if row["class"] == name:
            return float(row["n_min"]), float(row["n_normal"]), float(row["n_max"])
    raise UsageMistake(
        f"bed class {name!r} is not in the roughness table",
        f"one of: {', '.join(roughness_classes())}",
        "take one of these, or give n or d84_mm",
    )


def outside(formula: str, **values: float) -> list[str]:
    """What of the values lies outside the data of a grain or slope formula, one sentence each.

    Parameters
    ----------
    formula : str
        ``limerinos``, ``jarrett`` or ``bathurst``.
    **values : float
        ``radius``, ``depth``, ``d84`` [m] and ``slope`` as the table `roughness_ranges` names them.

    Examples
    --------
    >>> outside("jarrett", radius=1.0, slope=0.001)
    ['slope 0.001 is outside the data, 0.002 to 0.04']
    """
    found = []
    for row in rows("roughness_ranges"):
        if row["formula"] == formula and row["quantity"] in values:
            value, low, high = values[row["quantity"]], float(row["low"]), float(row["high"])
            unit = f" {row['unit']}" if row["unit"] != "1" else ""
            if not low <= value <= high:
                found.append(f"{row['quantity']} {value:.3g}{unit} is outside the data, {low:g} to {high:g}{unit}")
    return found


def limerinos(radius: float, d84: float, strict: bool = False) -> float:
    """n of a gravel or cobble bed, 0.112878 R^(1/6) / (1.16 + 2.0 log10(R/D84)) (1) [Limerinos1970].

    Parameters
    ----------
    radius : float
        Hydraulic radius R [m]; data 0.31 to 3.32 m.
    d84 : float
        Stone size that 84 % of the bed is finer than [m]; data 0.019 to 0.747 m.
    strict : bool
        NaN outside those ranges.

    Notes
    -----
    0.0926 in feet is 0.0926 / 0.3048^(1/6) = 0.112878 in metres. NaN also where (1) is not positive.
    """
    if not (radius > 0 and d84 > 0) or (strict and outside("limerinos", radius=radius, d84=d84)):
        return math.nan
    below = 1.16 + 2.0 * math.log10(radius / d84)
    return 0.0926 / FOOT ** (1 / 6) * radius ** (1 / 6) / below if below > 0 else math.nan


def jarrett(radius: float, slope: float, strict: bool = False) -> float:
    """n of a steep stream, 0.39 S^0.38 R^-0.16 with R in feet (1) [Jarrett1984].

    Parameters
    ----------
    radius : float
        Hydraulic radius [m]; data 0.15 to 1.68 m.
    slope : float
        Friction slope [m/m]; 0.002 to 0.04.
    strict : bool
        NaN outside those ranges.
    """
    if not (radius > 0 and slope > 0) or (strict and outside("jarrett", radius=radius, slope=slope)):
        return math.nan
    return 0.39 * slope**0.38 * (radius / FOOT) ** -0.16


def strickler(d50: float) -> float:
    """n of a plane bed of stones of median size d50 [m], d50^(1/6) / 21.1 (1) [Strickler1923]."""
    return d50 ** (1 / 6) / 21.1 if d50 > 0 else math.nan


def bathurst(depth: float, d84: float, strict: bool = False) -> float:
    """n of a steep boulder stream, 0.3194 h^(1/6) / (4 + 5.62 log10(h/D84)) (1) [Bathurst1985].

    Parameters
    ----------
    depth : float
        Mean depth h [m]; data 0.102 to 1.6 m.
    d84 : float
        Stone size [m]; data 0.113 to 0.740 m.
    strict : bool
        NaN outside those ranges.
    """
    if not (depth > 0 and d84 > 0) or (strict and outside("bathurst", depth=depth, d84=d84)):
        return math.nan
    below = 4.0 + 5.62 * math.log10(depth / d84)
    return 0.3194 * depth ** (1 / 6) / below if below > 0 else math.nan


def cowan(base: str, irregularity: str, variation: str, obstruction: str, vegetation: str, meander: str) -> float:
    """n by adding what disturbs the flow, (n0 + n1 + n2 + n3 + n4) m (1) [Cowan1956], [PhillipsTadayon2007].

    Each argument names a level of the table ``cowan``; `UsageMistake` names the levels when one is not there.

    Examples
    --------
    >>> round(cowan("earth", "smooth", "gradual", "negligible", "low", "minor"), 4)
    0.0275
    """
    given = {
        "n0": base, "n1": irregularity, "n2": variation, "n3": obstruction, "n4": vegetation, "m": meander,
    }  # fmt: skip
    values = {}
    for factor, level in given.items():
        known = {row["level"]: float(row["value"]) for row in rows("cowan") if row["factor"] == factor}
        if level not in known:
            raise UsageMistake(f"{factor} level {level!r}", f"one of: {', '.join(known)}", "take one of these")
        values[factor] = known[level]
    return sum(value for factor, value in values.items() if factor != "m") * values["m"]


def composite_n(n: Sequence[float], perimeter: Sequence[float], method: str = "horton") -> float:
    """One n for a section whose parts differ.

    Parameters
    ----------
    n, perimeter : sequence of float
        Roughness [s/m^(1/3)] and wetted perimeter [m] of the parts.
    method : str
        ``horton``: (sum P n^1.5 / P)^(2/3), equal velocities; ``pavlovskii``: (sum P n² / P)^(1/2), added forces.
    """
    power = {"horton": 1.5, "pavlovskii": 2.0}
    if method not in power:
        raise UsageMistake(f"method {method!r}", f"one of: {', '.join(power)}", "take one of these")
    p = power[method]
    return (sum(w * v**p for v, w in zip(n, perimeter, strict=True)) / sum(perimeter)) ** (1 / p)


def composite_by_conveyance(n: Sequence[float], area: Sequence[float], perimeter: Sequence[float]) -> float:
    """One n for a section whose parts convey side by side [s/m^(1/3)].

    n = A R^(2/3) / sum(A_i R_i^(2/3) / n_i) (1), R = A/P of the whole and of each part [Davidian1984].

    Parameters
    ----------
    n : sequence of float
        Roughness of the parts [s/m^(1/3)].
    area, perimeter : sequence of float
        Area [m²] and wetted perimeter [m] of the parts, verticals between them not counted.

    Examples
    --------
    >>> round(composite_by_conveyance([0.03, 0.06], [40.0, 10.0], [20.0, 20.0]), 5)
    0.02612
    """
    if not (len(n) == len(area) == len(perimeter) and min((*n, *area, *perimeter), default=0.0) > 0):
        raise UsageMistake("parts of unequal number or not positive", "n, area and perimeter of each", "check them")
    whole = sum(area) * (sum(area) / sum(perimeter)) ** (2 / 3)
    return whole / sum(a * (a / p) ** (2 / 3) / v for v, a, p in zip(n, area, perimeter, strict=True))


def roughness_of(bed: dict[str, Any], radius: float) -> Roughness:
    """Roughness of a run's `bed` entry at a hydraulic radius.

    Parameters
    ----------
    bed : dict
        ``{"class": name}``, ``{"n": n}``, ``{"d84_mm": size}`` or empty.
    radius : float
        Hydraulic radius [m], for the grain formula.
    """
    table = constants("flow")
    if "n" in bed:
        value, spread = float(bed["n"]), table["given_n_ln_sd"]
        width = math.exp(TEN_NINETY * spread)
        return Roughness(value, value / width, value * width, f"n {value:g} as given")
    if "d84_mm" in bed:
        d84 = float(bed["d84_mm"]) / 1000.0
        value = limerinos(radius, d84)
        if value != value:
            return Roughness(math.nan, math.nan, math.nan, "the water is too shallow for stones of that size", False)
        inside = limerinos(radius, d84, strict=True) == value
        width = math.exp(TEN_NINETY * table["grain_n_ln_sd"])
        return Roughness(value, value / width, value * width, f"stones of {bed['d84_mm']:g} mm", inside)
    if "class" in bed:
        low, normal, high = class_range(str(bed["class"]))
        return Roughness(normal, low, high, f"bed class {bed['class']}")
    return Roughness(math.nan, math.nan, math.nan, "no bed given")
