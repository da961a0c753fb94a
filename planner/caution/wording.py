"""The words beside a caution: the standing words, and quantities in the reader's units."""

from __future__ import annotations

from typing import Any

from planner.units import fahrenheit, show, value_in

__all__ = ["STANDING", "show_value", "standing_words"]

STANDING = (
    "Local authorities, posted closures, licensed guides and what is seen at the water decide.",
    "Gauge data are provisional.",
    "Depth and current here are estimates for a reach, not for the place where a foot goes.",
)
_LEVEL_KINDS = ("stage", "rise")


def _clock(minutes: float) -> str:
    return f"{minutes / 60:.1f} h" if minutes >= 120 else f"{minutes:.0f} min"


def show_value(value: Any, unit: str, units: str = "metric", name: str = "") -> str:
    """A compared quantity as a reader sees it.

    Parameters
    ----------
    value : float, str, bool or None
        SI value.
    unit : str
        Unit of the rule's threshold, which tells the kind.
    units : str
        ``us`` or ``metric``.
    name : str
        Name of the input: stages and rises get two decimals.

    Examples
    --------
    >>> show_value(0.6, "m2/s", "us"), show_value(10.0, "degF", "us"), show_value(0.5, "m", "metric")
    ('6.5 ft²/s', '50 °F', '0.5 m')
    """
    if value is None or isinstance(value, str | bool):
        return "" if value is None else str(value)
    us = units == "us"
    if unit in ("m", "ft"):
        return show(value, "level" if any(kind in name for kind in _LEVEL_KINDS) else "depth", units)
    if unit in ("m/s", "ft/s"):
        return show(value, "speed", units)
    if unit in ("m2/s", "ft2/s"):
        return f"{value_in(value, 'area', units):.{1 if us else 2}f} {'ft²/s' if us else 'm²/s'}"
    if unit in ("m3/s", "ft3/s"):
        return show(value, "discharge", units)
    if unit in ("degF", "degC"):
        return f"{fahrenheit(value):.0f} °F" if us else f"{value:.1f} °C"
    if unit == "degF sum":
        return f"{value * 1.8 + 64.0:.0f} °F" if us else f"{value:.0f} °C"
    if unit == "min":
        return _clock(value)
    if unit == "h":
        return f"{value:.1f} h"
    if unit == "fraction":
        return f"{100 * value:.0f} %"
    return f"{value:.1f} FNU" if unit == "FNU" else f"{value:.3g}"


def standing_words() -> str:
    """What always stands beside a caution."""
    return " ".join(STANDING)
