"""Thresholds that a river folder holds for its own reach, with their source; they only ever raise a level."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any

from planner.caution.records import Check, Conditions
from planner.caution.rules import holds
from planner.caution.wording import show_value

__all__ = ["local_checks"]

_INPUTS = {
    "stage": ("stage_m", "m", "level", "The gauge"),
    "discharge": ("discharge_m3s", "m3/s", "level", "Flow"),
    "water_temperature": ("water_temp_c", "degC", "sensor", "The water's temperature"),
    "turbidity": ("turbidity_fnu", "FNU", "sensor", "Turbidity"),
}

# Below a limit of these the river is lower or clearer: a note, never a level, which more water would then take away.
_NOTES_BELOW = ("stage", "discharge", "turbidity")


def _label(gauge: str) -> str:
    return f" ({gauge})" if gauge else ""


def _one(index: int, item: Mapping[str, Any], c: Conditions, units: str, doubts: Mapping[str, str]) -> Check | None:
    field, unit, kind, subject = _INPUTS[item["input"]]
    below = item.get("side", "above") == "below"
    low_water = below and item["input"] in _NOTES_BELOW
    value = getattr(c, field)
    if low_water and item["input"] == "discharge" and c.discharge_low_m3s is not None:
        value = c.discharge_low_m3s
    if not below and item["input"] == "water_temperature" and c.water_temp_high_c is not None:
        value = c.water_temp_high_c
    limit, level = float(item["at_si"]), int(item["level"])
    rule = f"F1.{index + 1}"
    source = str(item.get("source") or "the river folder, no source given")
    side = "or less" if below else "or more"
    shown = show_value(limit, unit, units, field)
    doubt = doubts.get(kind, "")

    def outcome(found: int | None, text: str) -> Check:
        return Check(
            rule, "", kind, found, text, value, limit, source,
            counted=not low_water, doubt=bool(doubt) or value is None,
        )  # fmt: skip

    said = f" “{item['text']}”" if item.get("text") else ""
    if value is None:
        known = (
            f"{subject}{_label(str(item.get('gauge') or ''))} is not known; the local limit is {shown} {side}.{said}"
        )
        return outcome(None, known)
    if holds(value, "<=" if below else ">=", limit):
        reached = show_value(value, unit, units, field)
        text = f"{subject} may reach {reached}; the local limit is {shown} {side}.{said}"
        return outcome(level, text + (f" {doubt} What it raised stands." if doubt else ""))
    if doubt:
        return outcome(None, f"{subject} against the local limit of {shown}: {doubt[0].lower()}{doubt[1:]}")
    return outcome(0, "")


def local_checks(
    thresholds: Iterable[Mapping[str, Any]],
    c: Conditions,
    *,
    units: str = "metric",
    doubts: Mapping[str, str] | None = None,
    gauge: str = "",
    elsewhere: Collection[str] = (),
) -> tuple[list[Check], list[Check]]:
    """Hold the local thresholds against the conditions.

    A threshold counts at its value and beyond: an agency that closes a river at 15 ft closes it at 15.0 ft.

    Parameters
    ----------
    thresholds : iterable of mapping
        As in `River.thresholds`: input, level, at_si, side, gauge, text, source.
    c : Conditions
        What is known.
    units : str
        ``us`` or ``metric``, for the text.
    doubts : mapping, optional
        Kinds of input that the last reading cannot carry, as given by `inputs.doubts`.
    gauge : str
        Station id the conditions are for; thresholds of another gauge are then left as not assessed.
    elsewhere : collection of str
        Gauges whose thresholds are held against conditions of their own and left out here.

    Returns
    -------
    checks, low_water : list of Check
        What enters the level, and the notes of low or clear water (stage, discharge or turbidity below a threshold).
    """
    checks: list[Check] = []
    low: list[Check] = []
    for index, item in enumerate(thresholds):
        if item.get("input") not in _INPUTS:
            continue
        if item.get("gauge", "") in elsewhere:
            continue
        other = gauge and item.get("gauge") and item["gauge"] != gauge
        seen = Conditions() if other else c
        check = _one(index, item, seen, units, doubts or {})
        if check is not None:
            is_low = item.get("side") == "below" and item["input"] in _NOTES_BELOW
            (low if is_low else checks).append(check)
    return checks, low
