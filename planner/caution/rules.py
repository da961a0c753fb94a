"""The rule table, read once, and how one rule is held against the inputs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from planner.caution.inputs import INAPPLICABLE
from planner.caution.records import Check
from planner.caution.wording import show_value
from planner.errors import DataUnfit
from planner.tables import rows
from planner.units import CFS, FOOT, celsius

__all__ = ["Rule", "check_rule", "holds", "rule_ids", "rules_of", "si"]

_UNITS: dict[str, float] = {
    "m": 1.0,
    "ft": FOOT,
    "m/s": 1.0,
    "ft/s": FOOT,
    "m2/s": 1.0,
    "ft2/s": FOOT**2,
    "m3/s": 1.0,
    "ft3/s": CFS,
    "min": 1.0,
    "h": 1.0,
    "percent": 1.0,
    "fraction": 1.0,
    "ratio": 1.0,
    "count": 1.0,
    "FNU": 1.0,
}
_NOT_ASSESSED = -1  # the level of a row that says "too old", ranked below every level


@dataclass(frozen=True)
class Rule:
    """One row of `tables/caution_rules.csv`; `threshold` is in SI, a word, or the name of another input."""

    id: str
    scope: str
    kind: str
    input: str
    operator: str
    threshold: float | str
    unit: str
    level: int
    factor: str
    text: str
    source: str


def si(value: float, unit: str) -> float:
    """SI value of a threshold [m, m/s, m²/s, m³/s, °C, min, h, %].

    Examples
    --------
    >>> round(si(10, "ft2/s"), 4), round(si(70, "degF"), 2)
    (0.929, 21.11)
    """
    if unit == "degF":
        return celsius(value)
    if unit == "degC":
        return value
    if unit == "degF sum":  # two temperatures added: the zero points add too
        return (value - 64.0) / 1.8
    if unit not in _UNITS:
        raise DataUnfit(f"unit {unit!r} in the rule table", f"one of {', '.join(_UNITS)}", "correct caution_rules.csv")
    return value * _UNITS[unit]


def _rule(row: Mapping[str, str]) -> Rule:
    threshold: float | str = row["threshold"]
    if row["unit"]:
        try:
            threshold = si(float(row["threshold"]), row["unit"])
        except ValueError:
            threshold = row["threshold"]  # the name of another input
    level = _NOT_ASSESSED if row["level"] in ("?", "") else int(row["level"])
    return Rule(
        row["id"], row["scope"], row["kind"], row["input"], row["operator"], threshold, row["unit"], level,
        row["factor"], row["text"], row["source"],
    )  # fmt: skip


@cache
def _all() -> dict[str, tuple[Rule, ...]]:
    grouped: dict[str, list[Rule]] = {}
    for row in rows("caution_rules"):
        grouped.setdefault(row["id"], []).append(_rule(row))
    return {name: tuple(group) for name, group in grouped.items()}


def rule_ids(*scopes: str) -> tuple[str, ...]:
    """Ids of the rules of some scopes, in table order."""
    return tuple(name for name, group in _all().items() if group[0].scope in scopes)


def rules_of(name: str) -> tuple[Rule, ...]:
    """All rows of one rule id."""
    return _all()[name]


def holds(value: float | str | bool, operator: str, threshold: float | str | bool) -> bool:
    """Whether `value operator threshold`, numbers rounded to 1e-9 so that a threshold holds exactly at its value.

    Examples
    --------
    >>> holds(0.75 * 0.8, ">", 0.6)
    False
    """
    if operator == "is":
        return str(value).lower() == str(threshold).lower()
    left, right = round(float(value), 9), round(float(threshold), 9)
    return {">": left > right, ">=": left >= right, "<": left < right, "<=": left <= right}[operator]


def _limit(rule: Rule, inputs: Mapping[str, Any], factor: float) -> Any:
    if isinstance(rule.threshold, float):
        return rule.threshold * factor if rule.factor else rule.threshold
    return inputs[rule.threshold] if rule.unit else rule.threshold


def check_rule(
    name: str,
    inputs: Mapping[str, Any],
    *,
    where: str = "",
    factor: float = 1.0,
    lowered_by: str = "",
    units: str = "metric",
    doubt: str = "",
) -> Check | None:
    """Hold one rule of the table against the inputs.

    Parameters
    ----------
    name : str
        Rule id.
    inputs : mapping
        As given by `rule_inputs`.
    where : str
        Name of the spot or run for the text.
    factor : float
        Factor on the limits of the rows that take one.
    lowered_by : str
        What the factor stands for, in words.
    units : str
        ``us`` or ``metric``, for the text only.
    doubt : str
        Why the reading cannot carry this check; "" when it can.

    Returns
    -------
    Check or None
        None when the rule has no bearing here. The level is None when nothing is raised and an input is missing.
    """
    group = rules_of(name)
    rows_with_limit = [rule for rule in group if rule.operator != "missing"]
    hit: Rule | None = None
    applicable, lacking = False, False
    limits = [_limit(rule, inputs, factor) for rule in rows_with_limit]
    settled = max((r.level for r, limit in zip(rows_with_limit, limits, strict=True) if limit is not None), default=-1)
    for rule, limit in zip(rows_with_limit, limits, strict=True):
        value = inputs[rule.input]
        if value is INAPPLICABLE:
            continue
        applicable = True
        if value is None or limit is None:
            # an agency that names minor flooding and not major leaves nothing open: both raise the same level
            lacking = lacking or value is None or rule.level > settled
        elif holds(value, rule.operator, limit) and (hit is None or rule.level >= hit.level):
            hit = rule
    if not applicable:
        return None
    first = group[0]
    place = where or "Where you wade"
    missing = [rule for rule in group if rule.operator == "missing" and inputs[rule.input] is None]

    def outcome(level: int | None, text: str, source: str, value: Any = None, limit: Any = None) -> Check:
        return Check(
            name, where if first.scope == "spot" else "", first.kind, level, text, value, limit, source,
            counted=first.scope != "low_water" and first.kind != "marker", doubt=bool(doubt) or lacking,
            blocks=first.kind == "age" and level is None,
        )  # fmt: skip

    if hit is not None:
        value, limit = inputs[hit.input], _limit(hit, inputs, factor)
        text = hit.text.format(
            where=place,
            value=show_value(value, hit.unit, units, hit.input),
            threshold=show_value(limit, hit.unit, units, hit.input),
            names=inputs.get(f"names of {hit.input}", ""),
            quality=inputs["quality"] or "missing",
        )
        if hit.factor and lowered_by:
            text += f" The limit is lowered for: {lowered_by}."
        if doubt:
            text += f" {doubt} What it raised stands."
        return outcome(None if hit.level == _NOT_ASSESSED else hit.level, text, hit.source, value, limit)
    if missing:
        text = " ".join(rule.text.format(where=place) for rule in missing)
        return outcome(None, text, missing[0].source)
    if doubt:
        return outcome(None, f"{_subject(first, place)}: {doubt[0].lower()}{doubt[1:]}", first.source)
    return outcome(0, "", first.source)


_SUBJECTS = {
    "F2": "Flow against the date's own past",
    "F3": "Flow against all days on record",
    "F4": "Stage against the flood categories",
    "F4o": "The reading against the flood categories",
    "F6": "Rise within an hour",
    "F6q": "Gain of flow within three hours",
    "F6p": "Rise against the gauge's own past",
    "F6r": "Rising or not",
    "F9": "Ice",
    "F9t": "Water near freezing",
    "F10": "Flow against the craft's minimum",
    "W1": "Push of the water",
    "W2": "Depth where you stand",
    "W3": "Speed where you stand",
    "W5": "Depth and speed for a child or frail person",
    "C1": "Cold water",
    "C3": "Air and water together",
    "T1": "Cloudy water",
}


def _subject(rule: Rule, place: str) -> str:
    subject = _SUBJECTS.get(rule.id, "This check")
    return f"{place}: {subject[0].lower()}{subject[1:]}" if rule.scope == "spot" else subject
