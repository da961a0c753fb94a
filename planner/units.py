"""The one pint registry: parse what a user typed, show what a user reads.

Inside the package every number is SI. Constants here are exact by definition of the international foot, inch
and grain; nothing else in the package repeats a conversion factor (`tests/test_house.py` looks).
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

from planner.cache import cache_folder
from planner.errors import QuantityUnfit
from planner.services import country_of

__all__ = [
    "CFS",
    "FOOT",
    "GRAIN",
    "INCH",
    "celsius",
    "default_units",
    "fahrenheit",
    "parse",
    "show",
    "unit_of",
    "value_in",
]

FOOT = 0.3048
INCH = 0.0254
GRAIN = 64.79891e-6
CFS = FOOT**3

# kind -> (SI factor, unit label, digits) for each system of units that a user reads
_SHOWN: dict[str, dict[str, tuple[float, str, int]]] = {
    "us": {
        "length": (FOOT, "ft", 0),
        "depth": (FOOT, "ft", 1),
        "level": (FOOT, "ft", 2),
        "speed": (FOOT, "ft/s", 1),
        "discharge": (CFS, "ft³/s", 0),
        "rise": (FOOT, "ft/h", 2),
        "strip": (FOOT, "ft/s", 1),
        "area": (FOOT**2, "ft²", 0),
    },
    "metric": {
        "length": (1.0, "m", 0),
        "depth": (1.0, "m", 1),
        "level": (1.0, "m", 2),
        "speed": (1.0, "m/s", 1),
        "discharge": (1.0, "m³/s", 1),
        "rise": (1.0, "m/h", 2),
        "strip": (1.0, "m/s", 2),
        "area": (1.0, "m²", 0),
    },
}


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    registry: Any
    try:  # reading the definitions of all units takes most of the time: pint keeps what it made of them
        registry = pint.UnitRegistry(cache_folder=str(cache_folder() / "units"))
    except Exception:  # a folder that cannot be written to, or something in it that is no registry of pint's
        registry = pint.UnitRegistry()
    registry.define("cubic_foot_per_second = foot ** 3 / second = cfs")
    return registry


def parse(text: str, unit: str, what: str = "quantity") -> float:
    """Read a quantity with its unit and give its value in `unit`.

    Parameters
    ----------
    text : str
        A number with a unit, such as ``"2.4 ft"`` or ``"200 grain"``.
    unit : str
        The pint unit of the value given back.
    what : str
        What the quantity is, for the message.

    Returns
    -------
    float
        The value in `unit`.

    Raises
    ------
    QuantityUnfit
        When the text is no number with a unit of the same kind, or is not finite.

    Examples
    --------
    >>> round(parse("2.4 ft", "m"), 5)
    0.73152
    """
    import math

    import pint

    need = f"a number with a unit, like {_example(unit)}"
    if not re.match(r"\s*[+-]?(\d|\.\d)", str(text)):
        raise QuantityUnfit(f"{what} {text!r} does not begin with a number", need, "write the number first")
    try:
        quantity = _registry().Quantity(str(text).replace("ft³/s", "cfs").replace("m³/s", "m**3/s"))
        if quantity.unitless:
            raise QuantityUnfit(f"{what} {text!r} has no unit", need, "write the unit after the number")
        value = float(quantity.to(unit).magnitude)
    except QuantityUnfit:
        raise
    except pint.DimensionalityError as error:
        raise QuantityUnfit(f"{what} {text!r} is of another kind than {unit}", need, "correct the unit") from error
    except Exception as error:  # pint raises many kinds on malformed text
        raise QuantityUnfit(f"{what} {text!r} could not be read", need, "write it like the example") from error
    if not math.isfinite(value):
        raise QuantityUnfit(f"{what} {text!r} is not a finite number", need, "write a finite number")
    return value


def _example(unit: str) -> str:
    return {"m": "'2.4 ft' or '0.73 m'", "m**3/s": "'850 cfs' or '24 m**3/s'", "m/s": "'3 ft/s' or '0.9 m/s'"}.get(
        unit, f"'1 {unit}'"
    )


def show(value: float | None, kind: str, units: str = "metric", digits: int | None = None) -> str:
    """Write a SI value for a reader, rounded to what it is worth; unknown reads ``unknown``.

    Parameters
    ----------
    value : float or None
        Value in SI; None or NaN is unknown.
    kind : str
        One of length, depth, level, speed, discharge, rise, strip, area.
    units : str
        ``us`` or ``metric``.
    digits : int, optional
        Decimals, when the kind's own are not wanted.

    Examples
    --------
    >>> show(1.2192, "depth", "us")
    '4.0 ft'
    """
    if value is None or value != value:
        return "unknown"
    factor, label, places = _SHOWN[units][kind]
    return f"{value / factor:,.{places if digits is None else digits}f} {label}"


def value_in(value: float, kind: str, units: str) -> float:
    """Value of a SI quantity in the unit a user reads."""
    return value / _SHOWN[units][kind][0]


def unit_of(kind: str, units: str) -> str:
    """Label of the unit a user reads for a kind of quantity."""
    return _SHOWN[units][kind][1]


def celsius(fahrenheit_value: float) -> float:
    """Temperature in °C of one in °F."""
    return (fahrenheit_value - 32.0) / 1.8


def fahrenheit(celsius_value: float) -> float:
    """Temperature in °F of one in °C."""
    return celsius_value * 1.8 + 32.0


def default_units(gauge: str) -> str:
    """``us`` for a gauge of a US service, else ``metric``."""
    return "us" if country_of(gauge) == "us" else "metric"
