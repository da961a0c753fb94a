"""From conditions to the inputs that the rule table names, each known, missing (None) or not applicable."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from functools import cache
from math import prod
from typing import Any

from planner.caution.past import raises_from
from planner.caution.records import Conditions
from planner.tables import rows

__all__ = ["INAPPLICABLE", "doubts", "footing_factor", "footing_reasons", "party_conditions", "rule_inputs"]


class _Inapplicable:
    def __repr__(self) -> str:
        return "INAPPLICABLE"


INAPPLICABLE: Any = _Inapplicable()

# Height times mass [m·kg] at which a person counts as adult, and up to which a child as very small [Cox2010].
_ADULT_HM, _SMALL_HM = 50.0, 25.0
_DAMS = ("dam", "weir")
_WOOD = ("strainer", "sweeper", "logjam", "log jam", "log", "wood", "tree", "rootwad")


def _times(a: float | None, b: float | None) -> float | None:
    return None if a is None or b is None else a * b


def _depth(c: Conditions) -> float | None:
    """Depth where a wader stands [m]; a stance above the water is dry, not negative."""
    return None if c.wade_depth_m is None else max(c.wade_depth_m, 0.0)


def _speed(c: Conditions) -> float | None:
    if c.wade_depth_m is not None and c.wade_depth_m <= 0:
        return 0.0
    return None if c.wade_speed_m_s is None else abs(c.wade_speed_m_s)


def _children(c: Conditions, depth: float | None, speed: float | None) -> dict[str, Any]:
    """Inputs of the children's rule: which class is looked at, or whether nobody of it comes along."""
    adult_sized = c.child_hm_m_kg is not None and c.child_hm_m_kg > _ADULT_HM
    child: bool | None = False if adult_sized else c.children
    small: bool | None = child
    if child and c.child_hm_m_kg is not None:
        small = c.child_hm_m_kg <= _SMALL_HM
    weak = True if (small or c.frail) else (None if small is None or c.frail is None else False)

    def of(person: bool | None, value: Any) -> Any:
        return INAPPLICABLE if person is False else (value if person else None)

    any_such = True if (child or c.frail) else (None if child is None or c.frail is None else False)
    return {
        "child_push": of(child, _times(depth, speed)),
        "child_depth_m": of(any_such, depth),
        "frail_speed_m_s": of(weak, speed),
    }


def _hazards(c: Conditions) -> dict[str, Any]:
    if c.hazards_in_reach is None:
        return {"dams_in_reach": None, "wood_in_reach": None, "other_hazards_in_reach": None}
    dams: list[str] = []
    wood: list[str] = []
    other: list[str] = []
    for kind, name in c.hazards_in_reach:
        plain = kind.lower().replace("_", " ").replace("-", " ")
        group = dams if any(word in plain for word in _DAMS) else wood if any(w in plain for w in _WOOD) else other
        group.append(name or kind or "a hazard")
    return {
        "dams_in_reach": len(dams),
        "wood_in_reach": len(wood),
        "other_hazards_in_reach": len(other),
        "names of dams_in_reach": ", ".join(dams),
        "names of wood_in_reach": ", ".join(wood),
        "names of other_hazards_in_reach": ", ".join(other),
    }


def _wading_in_release(c: Conditions, release: Any) -> Any:
    if release is INAPPLICABLE or c.wading_planned is False:
        return INAPPLICABLE
    return release if not release else (True if c.wading_planned else None)


def rule_inputs(c: Conditions) -> dict[str, Any]:
    """Every input that a row of the rule table may name.

    Parameters
    ----------
    c : Conditions
        What is known.

    Returns
    -------
    dict
        Input name to its value in SI; None is missing, `INAPPLICABLE` has no bearing here.
    """
    given = vars(c)
    depth, speed = _depth(c), _speed(c)
    rising = None if c.rise_m_3h is None else round(c.rise_m_3h, 9) >= raises_from("F6r")
    sensitive = not (c.regulated is False and rising is False)  # unknown counts as the stricter case
    flow = c.discharge_low_m3s if c.discharge_low_m3s is not None else c.discharge_m3s
    ratio = None
    if c.turbidity_fnu is not None and c.turbidity_median_fnu:
        ratio = c.turbidity_fnu / c.turbidity_median_fnu
    cloudier = None if c.turbidity_rising is None or rising is None else c.turbidity_rising and rising
    releases: Any = INAPPLICABLE if c.regulated is False and c.release_in_window is None else c.release_in_window
    ice = True if c.quality == "ice" else c.ice
    if ice is None and not c.ice_unmarked and c.quality not in (None, "missing", "equipment"):
        ice = False  # a gauge that qualifies its readings and does not say ice reports none
    return {
        **given,
        "ice": ice,
        "wade_depth_m": depth,
        "wade_speed_m_s": speed,
        "wade_push": 0.0 if depth == 0 else _times(depth, speed),
        **_children(c, depth, speed),
        **_hazards(c),
        "data_age_sensitive_min": c.data_age_min if sensitive else INAPPLICABLE,
        "data_age_calm_min": INAPPLICABLE if sensitive else c.data_age_min,
        "quality_unfit": c.quality in ("stale", "missing", "equipment"),
        "discharge_m3s": c.discharge_m3s,
        "lowest_discharge_m3s": flow,
        # a level that is stated says nothing about what the gauge reads now
        "observed_stage_m": INAPPLICABLE if c.level_given else c.observed_stage_m,
        "release_in_window": releases,
        "wading_in_release": _wading_in_release(c, releases),
        "air_water_sum_c": None if c.air_temp_c is None or c.water_temp_c is None else c.air_temp_c + c.water_temp_c,
        "turbidity_ratio": ratio,
        "cloudy_and_rising": cloudier,
    }


def footing_factor(c: Conditions) -> float:
    """Factor on the limits of depth times speed for footing, light, load and company.

    The published limits hold for fair footing at best, so good footing earns nothing. Each of slick bed, dark,
    load and alone takes 2/3, and all together never less than the 1/3 of poor footing: the ratios that RESCDAM's
    three classes have at every size of person [Karvonen2000].

    Examples
    --------
    >>> round(footing_factor(Conditions(footing="fair", dark=True)), 4)
    0.6667
    >>> round(footing_factor(Conditions(footing="poor", dark=True)), 4)
    0.3333
    """
    return _product(tuple(row["factor"] for row in _lowering(c)))


def footing_reasons(c: Conditions) -> str:
    """What lowers the limits of depth times speed, in words; "" when nothing does."""
    return ", ".join(row["text"] for row in _lowering(c))


@cache
def _footing_rows() -> tuple[Mapping[str, str], ...]:
    return tuple(row for row in rows("caution_rules") if row["id"] == "W4" and row["operator"] == "is")


@cache
def _product(parts: tuple[str, ...]) -> float:
    lowest = min(Fraction(row["factor"]) for row in _footing_rows())
    return float(max(prod(Fraction(part) for part in parts), lowest))


def _lowering(c: Conditions) -> list[Mapping[str, str]]:
    return [row for row in _footing_rows() if str(getattr(c, row["input"])).lower() == row["threshold"]]


def doubts(c: Conditions, inputs: Mapping[str, Any] | None = None) -> dict[str, str]:
    """Kinds of input that the last reading cannot carry, with the reason.

    A level of such a check stays when it is raised; where nothing is raised it reads not assessed.

    Parameters
    ----------
    c : Conditions
        What is known.
    inputs : mapping, optional
        As given by `rule_inputs`, when it has been made already.

    Returns
    -------
    dict
        Kind (``level``, ``rise``, ``sensor``, ``ice``) to a sentence.
    """
    inputs = rule_inputs(c) if inputs is None else inputs
    found: dict[str, str] = {}
    limits = {row["input"]: float(row["threshold"]) for row in _age_rows()}
    age = None
    for name, limit in limits.items():
        value = inputs[name]
        if value is not INAPPLICABLE and value is not None and round(value, 9) > limit:
            age = value
    if age is not None:
        for kind in ("rise", "sensor", "ice"):
            found[kind] = "The last reading is too old for this."
        if not c.level_given:
            found["level"] = "The last reading is too old for this."
    if c.level_given and c.data_age_min is None:
        # a stated level needs no reading, but what a reading of unknown age says of anything else clears nothing
        for kind in ("rise", "sensor", "ice"):
            found[kind] = "How old the last reading is, is not known."
    if inputs["quality_unfit"]:
        for kind in ("rise", "sensor"):
            found[kind] = "The gauge marks its own reading as unfit for this."
        if not c.level_given:
            found["level"] = "The gauge marks its own reading as unfit for this."
    if inputs["ice"]:
        for kind in ("level", "rise"):
            found[kind] = "Ice backs the water up, so neither stage nor flow can be read from the gauge."
    return found


@cache
def _age_rows() -> tuple[Mapping[str, str], ...]:
    return tuple(row for row in rows("caution_rules") if row["id"] == "X1" and row["operator"] == ">")


def party_conditions(party: Mapping[str, Any]) -> dict[str, Any]:
    """What a river folder's party says, as arguments of `Conditions`.

    Parameters
    ----------
    party : mapping
        Keys read: ``adults``, ``children`` (a number, true/false, or a list of tables with ``height_m`` and
        ``mass_kg``), ``child_height_m``, ``child_mass_kg``, ``frail``, ``footing``, ``alone``, ``loaded``. Others are
        left alone.

    Returns
    -------
    dict
        Only what was said. Alone follows from ``adults`` and ``children`` when it is not said itself.

    Examples
    --------
    >>> party_conditions({"adults": 2, "children": 0, "footing": "slick"})
    {'children': False, 'footing': 'slick', 'alone': False}
    """
    out: dict[str, Any] = {}
    children = party.get("children")
    people = [child for child in children if isinstance(child, Mapping)] if isinstance(children, list | tuple) else []
    if children is not None:
        out["children"] = bool(children)
    sizes = [float(p["height_m"]) * float(p["mass_kg"]) for p in people if "height_m" in p and "mass_kg" in p]
    if people and len(sizes) == len(people):
        out["child_hm_m_kg"] = min(sizes)
    elif "child_height_m" in party and "child_mass_kg" in party:
        out["child_hm_m_kg"] = float(party["child_height_m"]) * float(party["child_mass_kg"])
    for name in ("frail", "footing", "alone", "loaded"):
        if party.get(name) is not None:
            out[name] = party[name] if name == "footing" else bool(party[name])
    if "alone" not in out and isinstance(party.get("adults"), int) and not isinstance(party.get("adults"), bool):
        out["alone"] = party["adults"] < 2
    return out
