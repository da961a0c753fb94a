"""The words beside a caution: the headline, the standing words, and quantities in the reader's units."""

from __future__ import annotations

from typing import Any

from planner.caution.records import Caution
from planner.units import fahrenheit, show, value_in

__all__ = ["NO_ADVICE", "headline", "show_value", "standing_words"]

NO_ADVICE = "This is not advice that the river is fit to use."

_STANDING = (
    "Local authorities, posted closures, licensed guides and what is seen at the water decide.",
    "Gauge data are provisional.",
    "Depth and current are estimates for a reach, not for the place where a foot goes.",
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


def headline(caution: Caution) -> str:
    """The sentence that stands first, for every level.

    Examples
    --------
    >>> headline(Caution(0, "no caution raised", 5, 9, ()))
    'No caution raised by the 5 of 9 checks that could be made. This is not advice that the river is fit to use.'
    """
    made = f"{caution.assessed} of {caution.checks} checks that could be made"
    if caution.level is None:
        if caution.assessed == 0:
            return f"Not assessed: none of the {caution.checks} checks could be made. {NO_ADVICE}"
        why = next((reason["text"] for reason in caution.reasons if reason["rule"] == "X1"), "")
        return f"Not assessed. {why + ' ' if why else ''}The {made} raised nothing. {NO_ADVICE}"
    if caution.level == 0:
        return f"No caution raised by the {made}. {NO_ADVICE}"
    raised = sum(reason["level"] is not None for reason in caution.reasons)
    cautions = "1 caution" if raised == 1 else f"{raised} cautions"
    lead = {1: "Heads-up", 2: "Think again", 3: "Stay off"}[caution.level]
    return f"{lead}: {cautions} raised by the {made}."


def standing_words() -> str:
    """What always stands beside a caution."""
    return " ".join(_STANDING)
