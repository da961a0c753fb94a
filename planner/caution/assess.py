"""Assess a river, a run or a spot; combine checks."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

from planner.caution.inputs import doubts, footing_factor, footing_reasons, rule_inputs
from planner.caution.local import local_checks
from planner.caution.records import Caution, Check, Conditions, label_of
from planner.caution.rules import check_rule, rule_ids, rules_of

__all__ = ["STEP", "assess_beside", "assess_river", "assess_run", "assess_spot", "worst"]

STEP = "The river is rising: one step higher."


def _checks(names: Iterable[str], c: Conditions, where: str, units: str) -> list[Check]:
    inputs = rule_inputs(c)
    unsure = doubts(c, inputs)
    factor, lowered_by = footing_factor(c), footing_reasons(c)
    found = []
    for name in names:
        if name in ("C2", "W4"):
            continue
        rule = rules_of(name)[0]
        if name == "X1" and c.level_given and c.data_age_min is None and c.quality is None:
            continue  # a level that was stated has no age
        check = check_rule(
            name,
            inputs,
            where=where,
            factor=factor,
            lowered_by=lowered_by,
            units=units,
            doubt=unsure.get(rule.kind, ""),
        )
        if check is not None:
            found.append(replace(check, blocks=False) if check.blocks and c.level_given else check)
    return _undated(found, c)


def _undated(checks: list[Check], c: Conditions) -> list[Check]:
    """A reading whose age is not known clears nothing, whatever it reads."""
    if c.data_age_min is not None or c.level_given:
        return checks
    return [replace(k, doubt=True) if k.kind in ("level", "rise", "sensor", "ice") else k for k in checks]


def _footing(c: Conditions, where: str) -> Check:
    """The check that footing, light and company were said; what was not said clears nothing that was held."""
    missing = [r for r in rules_of("W4") if r.operator == "missing" and getattr(c, r.input) is None]
    place = where or "Where you wade"
    text = " ".join(rule.text.format(where=place) for rule in missing)
    return Check("W4", where, "party", None if missing else 0, text, source=rules_of("W4")[0].source)


def _as_marker(check: Check | None) -> list[Check]:
    return [] if check is None else [replace(check, kind="marker", counted=False)]


def _raised(check: Check, rising: bool) -> Check:
    """One step higher while the river rises, for cautions that come from the water's level."""
    if rising and check.kind == "level" and check.level in (1, 2):
        return replace(check, level=check.level + 1, text=f"{check.text} {STEP}")
    return check


def _combination(checks: list[Check], cold: Check | None) -> Check | None:
    if cold is None or cold.level is None or cold.level < 2:
        return None
    high = [c for c in checks if c.rule[0] in "FW" and c.kind not in ("sensor", "marker") and (c.level or 0) >= 2]
    if not high:
        return None
    rule = rules_of("C2")[0]
    first = max(high, key=lambda c: c.level or 0)
    return Check("C2", first.where, "combination", rule.level, rule.text, source=rule.source, counted=False)


def _combine(base: Iterable[Check], low_water: tuple[dict[str, Any], ...] = ()) -> Caution:
    """A caution from its single checks: the highest level, after the steps for rising and for cold with high water."""
    base = tuple(base)
    markers = {check.rule: check for check in base if check.kind == "marker"}
    rise = markers.get("F6r")
    rising = rise is not None and rise.level == 1
    checks = [_raised(check, rising) for check in base if check.kind != "marker"]
    known_cold = [check for check in (*checks, markers.get("C1")) if check is not None and check.rule == "C1"]
    cold = max(known_cold, key=lambda check: check.level or 0, default=None)
    both = _combination(checks, cold)
    shown = [*checks, both] if both is not None else checks
    counted = [check for check in checks if check.counted]
    made = [check for check in counted if check.level is not None]
    levels = [check.level for check in shown if check.level is not None]
    level = max(levels, default=None)
    if level == 0 and any(check.blocks for check in checks):
        level = None
    raised = sorted((c for c in shown if c.level), key=lambda c: -(c.level or 0))
    reasons = [check.as_reason() for check in raised]
    reasons += [check.as_reason() for check in shown if check.level is None]
    label = label_of(level)
    return Caution(level, label, len(made), len(counted), tuple(reasons), low_water, base)


def assess_river(
    c: Conditions,
    thresholds: Iterable[Mapping[str, Any]] = (),
    *,
    units: str = "metric",
    gauge: str = "",
    elsewhere: Collection[str] = (),
) -> Caution:
    """Caution of the river as a whole: gauge, rise, age, ice, cold, hazards drawn, weather, daylight, local limits.

    Parameters
    ----------
    c : Conditions
        The cautious side over the whole window, or one step of the ladder with `level_given`.
    thresholds : iterable of mapping
        `River.thresholds`; they only ever raise.
    units : str
        ``us`` or ``metric``, for the texts.
    gauge : str
        Station id of the conditions.
    elsewhere : collection of str
        Other gauges that `assess_beside` looks at: their local limits are left to it.

    Returns
    -------
    Caution

    Examples
    --------
    >>> assess_river(Conditions(data_age_min=20, quality="ice")).label
    'stay off'
    """
    base = _checks(rule_ids("river", "all"), c, "", units)
    local, low = local_checks(thresholds, c, units=units, doubts=doubts(c), gauge=gauge, elsewhere=elsewhere)
    after_age = 1 if base and base[0].rule == "X1" else 0
    base[after_age:after_age] = _undated(local, c)
    craft = _checks(rule_ids("low_water"), c, "", units)
    notes = tuple(check.as_reason() for check in [*craft, *low] if check.level != 0)
    return _combine(base, notes)


def assess_beside(
    c: Conditions, thresholds: Iterable[Mapping[str, Any]] = (), *, units: str = "metric", gauge: str
) -> Caution:
    """Caution of what another gauge of the river reads, beside `assess_river` of its first one.

    Level, rank, rise, temperature, clouding and local limits of that gauge, each under its name. Weather, daylight, map
    and party are the river's and stand with its first gauge.

    Parameters
    ----------
    c : Conditions
        Of that gauge.
    thresholds : iterable of mapping
        `River.thresholds`; those of other gauges are left out.
    units : str
        ``us`` or ``metric``, for the texts.
    gauge : str
        Its station id.

    Returns
    -------
    Caution
        For `worst`, with the river's own.
    """
    thresholds = tuple(thresholds)
    elsewhere = {str(item.get("gauge", "")) for item in thresholds} - {gauge}
    local, low = local_checks(thresholds, c, units=units, doubts=doubts(c), gauge=gauge, elsewhere=elsewhere)
    found = [check for check in _checks(rule_ids("river"), c, "", units) if check.kind in ("level", "rise", "sensor")]
    named = [
        replace(check, where=gauge, text=f"{gauge}: {check.text}" if check.text else "")
        for check in (*_undated(local, c), *found)
    ]
    return _combine([*named, *_everywhere(c, units)], tuple(check.as_reason() for check in low if check.level != 0))


def _on_foot(c: Conditions, where: str, units: str) -> list[Check]:
    footing = _footing(c, where)
    found = []
    for check in _checks(rule_ids("spot"), c, where, units):
        by_factor = any(rule.factor for rule in rules_of(check.rule))
        unsure = by_factor and footing.level is None and not check.doubt
        # where somebody stands in water of unknown depth or speed, nothing raised is not an answer
        unknown = check.level is None and check.rule in ("W1", "W2", "W3")
        found.append(replace(check, doubt=check.doubt or unsure, blocks=check.blocks or unknown))
    return [*found, footing]


@lru_cache(maxsize=256)
def _everywhere(c: Conditions, units: str) -> tuple[Check, ...]:
    """The checks of every place: age, rise and ice of the water, and whether it is cold.

    Kept, as all runs and all spots where nobody wades share the conditions of an hour or a step of the ladder.
    """
    cold = _as_marker(next(iter(_checks(["C1"], c, "", units)), None))
    return (*_checks(rule_ids("all"), c, "", units), *cold)


def assess_spot(c: Conditions, *, wading: bool, where: str = "", units: str = "metric") -> Caution:
    """Caution of one spot: wading limits where somebody wades, and age, rise and ice of the water everywhere.

    Parameters
    ----------
    c : Conditions
        With `wade_depth_m` and `wade_speed_m_s` at the stance, cautious side.
    wading : bool
        Whether the stance is ``wading``; else the wading rules have no bearing and are not counted.
    where : str
        The spot's name, for the texts.
    units : str
        ``us`` or ``metric``.

    Returns
    -------
    Caution

    Examples
    --------
    >>> seen = Conditions(wade_depth_m=0.75, wade_speed_m_s=0.8, data_age_min=15, rise_m_3h=0.0)
    >>> [r["rule"] for r in assess_spot(seen, wading=True, where="Ash bar").reasons if r["level"]]
    ['W1', 'W2']
    """
    base = _on_foot(c, where, units) if wading else []
    return _combine([*base, *_everywhere(c, units)])


def assess_run(
    c: Conditions,
    *,
    spots: Iterable[Caution] = (),
    wading: bool = False,
    where: str = "",
    units: str = "metric",
) -> Caution:
    """Caution of one run: its spots' cautions, and age, rise and ice of the water.

    Parameters
    ----------
    c : Conditions
        As for the river. With `wading`, `wade_depth_m` and `wade_speed_m_s` are taken as the means of the run where
        people stand: an index of the reach, for a run whose wading spots are not drawn.
    spots : iterable of Caution
        Cautions of the run's spots; their wading checks join the run's.
    wading : bool
        Whether to hold the run's own means against the wading limits.
    where : str
        The run's name, for the texts.
    units : str
        ``us`` or ``metric``.

    Returns
    -------
    Caution
    """
    own = _on_foot(c, where, units) if wading else []
    own = [replace(k, text=f"{k.text} This is the mean of a run, not the place where a foot goes.") if k.level else k
           for k in own]  # fmt: skip
    return worst([_combine([*own, *_everywhere(c, units)]), *spots])


def _graver(one: Check, other: Check) -> Check:
    """Of two checks of one rule at one place: the higher; not assessed wins over nothing raised."""

    def rank(check: Check) -> float:
        return 0.5 if check.level is None else float(check.level)

    return other if rank(other) > rank(one) else one


def worst(cautions: Iterable[Caution]) -> Caution:
    """One caution from several: every check once, the highest level, all low-water notes.

    Parameters
    ----------
    cautions : iterable of Caution
        For example the river's and its spots'.

    Returns
    -------
    Caution
        With no caution given, not assessed.
    """
    base: dict[tuple[str, str, bool], Check] = {}
    notes: list[dict[str, Any]] = []
    for caution in cautions:
        for check in caution.base:
            key = (check.rule, check.where, check.kind == "marker")
            base[key] = _graver(base[key], check) if key in base else check
        notes += [note for note in caution.low_water if note not in notes]
    return _combine(base.values(), tuple(notes))
