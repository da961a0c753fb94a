"""What the rows of `safety.csv` need beyond one plain call."""

from __future__ import annotations

import math
from typing import Any

from planner.caution import Conditions, assess_river, assess_spot, footing_factor
from planner.units import FOOT
from tests.published import stability as published

__all__ = ["abt_forms_ratio", "abt_us_form", "factor", "is_nan", "level", "local_level", "rescdam_ratio", "xia_push"]

_POUND = 0.45359237


def abt_us_form(height_m: float, mass_kg: float) -> float:
    """The regression of Abt et al. in pounds and inches [ft²/s]."""
    weight_lb, height_in = mass_kg / _POUND, height_m / FOOT * 12
    return math.exp(0.022 * weight_lb * height_in / 1000 + 1.09) ** 2


def abt_forms_ratio(height_m: float, mass_kg: float) -> float:
    """SI form over US form, both in m²/s."""
    return published.abt_limit(height_m, mass_kg) / (abt_us_form(height_m, mass_kg) * FOOT**2)


def is_nan(function: str, **inputs: float) -> bool:
    """Whether a function gives no number."""
    return math.isnan(getattr(published, function)(**inputs))


def rescdam_ratio(conditions: str, hm: float) -> float:
    """Limit under some conditions over that under good ones."""
    return published.rescdam_limit(1.0, hm, conditions) / published.rescdam_limit(1.0, hm, "good")


def xia_push(depth: float, height: float, mass: float) -> float:
    """Depth times the toppling speed [m²/s]."""
    return depth * published.xia_toppling_speed(depth, height, mass)


def factor(**conditions: Any) -> float:
    """Factor on the wading limits."""
    return footing_factor(Conditions(**conditions))


def level(rule: str, **conditions: Any) -> int | None:
    """Level that one rule raises; None when it has no bearing or could not be assessed."""
    seen = Conditions(**conditions)
    caution = assess_spot(seen, wading=True) if rule[0] == "W" else assess_river(seen)
    return next((check.level for check in caution.base if check.rule == rule), None)


def local_level(stage_ft: float, at_ft: float, level: int) -> int | None:
    """Level that a local threshold raises at a stage, both in feet."""
    limit = {"input": "stage", "at_si": at_ft * FOOT, "level": level, "side": "above", "text": "", "source": "park"}
    caution = assess_river(Conditions(stage_m=stage_ft * FOOT), [limit])
    return next(check.level for check in caution.base if check.rule == "F1.1")
