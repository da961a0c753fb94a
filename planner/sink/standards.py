"""What the trade's standard and its classes say of a line: weights, sink classes, tippet sizes."""

from __future__ import annotations

from typing import Any

from planner.errors import UsageMistake
from planner.tables import rows
from planner.units import INCH

__all__ = ["head_against_standard", "line_weight_grains", "sink_class", "tippet_diameter_m"]


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
