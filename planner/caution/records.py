"""What goes into a caution and what comes out: conditions, single checks and the caution itself."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

from planner.errors import UsageMistake

__all__ = ["LABELS", "NOT_ASSESSED", "Caution", "Check", "Conditions", "known", "label_of"]

LABELS = ("no caution raised", "heads-up", "think again", "stay off")
NOT_ASSESSED = "not assessed"

_WORDS: dict[str, tuple[str, ...]] = {
    "footing": ("good", "fair", "slick", "poor"),
    "flood_alert": ("none", "advisory", "watch", "warning"),
    "storm_alert": ("none", "watch", "warning"),
    "quality": ("measured", "provisional", "estimated", "forecast", "stale", "ice", "equipment", "missing"),
}


def label_of(level: int | None) -> str:
    """A caution level in words; None is not assessed.

    Examples
    --------
    >>> label_of(2), label_of(None)
    ('think again', 'not assessed')
    """
    return NOT_ASSESSED if level is None else LABELS[level]


def known(value: Any) -> bool:
    """True when a value was supplied: neither None nor NaN."""
    return value is not None and value == value


@dataclass(frozen=True)
class Conditions:
    """Everything that a rule can ask for. None or NaN means never supplied, which is never read as calm.

    Where a figure has a range, give its cautious side: the upper 90 % of depth, speed, stage and discharge over the
    whole window (for the craft's minimum, which reads `discharge_low_m3s`, the lower 10 %).

    Parameters
    ----------
    wade_depth_m, wade_speed_m_s : float, optional
        Depth [m] and depth-averaged speed [m/s] where a wader stands.
    footing : str, optional
        ``good``, ``fair``, ``slick`` or ``poor``. Limits are those for ``fair``; ``good`` earns no credit.
    dark, alone, loaded : bool, optional
        Each lowers the wading limits.
    children, frail : bool, optional
        Whether a child (H·M up to 50 m·kg) or a frail person comes along.
    child_hm_m_kg : float, optional
        Height times mass of the smallest child [m·kg]; not given, the smallest class is taken.
    wading_planned : bool, optional
        Whether anybody wades on this trip.
    stage_m, discharge_m3s, discharge_low_m3s : float, optional
        Gauge stage [m] and discharge [m³/s].
    level_given : bool
        True when the stage or discharge is stated (by the user or a step of the ladder), not read from the gauge.
    data_age_min : float, optional
        Age of the last reading [min].
    quality : str, optional
        The last reading's quality, as in `planner.gauges`.
    rise_m_1h, rise_m_3h : float, optional
        Rise of the stage over the last hour and three hours [m]; negative falling.
    flow_gain_3h : float, optional
        Relative gain of discharge over three hours [1].
    rise_percentile : float, optional
        Share of the gauge's own rises that are smaller [%].
    percentile_season, percentile_all_days : float, optional
        Rank of the discharge among the date's and all days' past [%].
    action_stage_m, minor_stage_m, moderate_stage_m, major_stage_m : float, optional
        The agency's own categories [m].
    observed_stage_m : float, optional
        What the gauge reads now [m]; `stage_m` is what it may reach in the hours asked for.
    flood_alert, storm_alert : str, optional
        ``none``, ``advisory`` (flood only), ``watch`` or ``warning``.
    hours_since_flood_warning : float, optional
        Hours since a flood or flash flood warning ended [h].
    regulated, release_in_window : bool, optional
        Whether the flow is regulated, and a release known within the hours.
    hazards_in_reach : tuple of (kind, name), optional
        Hazards drawn between put-in and take-out (those of unknown place included); None when none is drawn at all.
    craft_minimum_m3s : float, optional
        Least discharge for the craft, from the river folder [m³/s].
    water_temp_c, water_temp_high_c : float, optional
        Lowest and highest water temperature of the last day [°C]; the second is held against local limits of warmth.
    air_temp_c : float, optional
        Lowest air temperature within the hours [°C].
    ice_unmarked : bool
        True when the gauge's service never says ice, so that its silence does not say that there is none.
    ice, bottom_seen, turbidity_rising : bool, optional
        Ice at the gauge; the user sees the bottom at wading depth; the water turns cloudier.
    turbidity_fnu, turbidity_median_fnu : float, optional
        Turbidity and its usual value for the month [FNU].
    thunder_chance : float, optional
        Highest chance of thunder within the hours [%].
    takeout_vs_sunset_min, takeout_vs_dusk_min : float, optional
        Slow end of the float minus sunset and minus the end of civil dusk [min]; negative before it.

    Raises
    ------
    UsageMistake
        When a word is not one of its list.
    """

    wade_depth_m: float | None = None
    wade_speed_m_s: float | None = None
    footing: str | None = None
    dark: bool | None = None
    alone: bool | None = None
    loaded: bool | None = None
    children: bool | None = None
    child_hm_m_kg: float | None = None
    frail: bool | None = None
    wading_planned: bool | None = None
    stage_m: float | None = None
    discharge_m3s: float | None = None
    discharge_low_m3s: float | None = None
    level_given: bool = False
    data_age_min: float | None = None
    quality: str | None = None
    rise_m_1h: float | None = None
    rise_m_3h: float | None = None
    flow_gain_3h: float | None = None
    rise_percentile: float | None = None
    percentile_season: float | None = None
    percentile_all_days: float | None = None
    action_stage_m: float | None = None
    minor_stage_m: float | None = None
    moderate_stage_m: float | None = None
    major_stage_m: float | None = None
    observed_stage_m: float | None = None
    flood_alert: str | None = None
    hours_since_flood_warning: float | None = None
    storm_alert: str | None = None
    regulated: bool | None = None
    release_in_window: bool | None = None
    hazards_in_reach: tuple[tuple[str, str], ...] | None = None
    craft_minimum_m3s: float | None = None
    water_temp_c: float | None = None
    water_temp_high_c: float | None = None
    air_temp_c: float | None = None
    ice: bool | None = None
    ice_unmarked: bool = False
    turbidity_fnu: float | None = None
    turbidity_median_fnu: float | None = None
    turbidity_rising: bool | None = None
    bottom_seen: bool | None = None
    thunder_chance: float | None = None
    takeout_vs_sunset_min: float | None = None
    takeout_vs_dusk_min: float | None = None

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not known(value):
                object.__setattr__(self, field.name, None)
            elif field.name in _WORDS and value not in _WORDS[field.name]:
                raise UsageMistake(
                    f"{field.name} is {value!r}", f"one of: {', '.join(_WORDS[field.name])}", "correct the word"
                )


@dataclass(frozen=True)
class Check:
    """One check of one rule.

    Parameters
    ----------
    rule, where, kind : str
        Rule id, the spot's or run's name ("" for the river), and where its input comes from.
    level : int or None
        0 to 3; None is not assessed.
    text, source : str
        Why, and who says so; what is missing when the level is None.
    value, threshold : float, str, bool or None
        What was compared, in SI.
    counted : bool
        False for markers (they steer other checks) and low-water notes.
    doubt : bool
        True when an input of the check was missing, stale or iced, so that it clears no earlier level.
    blocks : bool
        True when, with nothing raised, the whole reads not assessed because of this check.
    """

    rule: str
    where: str
    kind: str
    level: int | None
    text: str
    value: float | str | bool | None = None
    threshold: float | str | bool | None = None
    source: str = ""
    counted: bool = True
    doubt: bool = False
    blocks: bool = False

    def as_reason(self) -> dict[str, Any]:
        """The check as a reason of `plan.json`."""
        return {
            "rule": self.rule,
            "level": self.level,
            "text": self.text,
            "value": self.value,
            "threshold": self.threshold,
            "source": self.source,
            "where": self.where,
            "kind": self.kind,
            "doubt": self.doubt,
        }


@dataclass(frozen=True)
class Caution:
    """The outcome of all checks.

    Parameters
    ----------
    level : int or None
        The highest level raised, 0 to 3; None is not assessed.
    label : str
        Its words.
    assessed, checks : int
        How many checks could be made, of how many that apply.
    reasons : tuple of dict
        ``{rule, level, text, value, threshold, source, where, kind, doubt}``: raised ones first, highest level first,
        then those that could not be assessed (level None).
    low_water : tuple of dict
        Notes of low water, in the same form; they do not enter the level.
    base : tuple of Check
        The single checks before combinations, for `worst` and for what `keep.hold_record` needs.
    """

    level: int | None
    label: str
    assessed: int
    checks: int
    reasons: tuple[dict[str, Any], ...]
    low_water: tuple[dict[str, Any], ...] = ()
    base: tuple[Check, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """The caution as it stands in `plan.json`; `unclear` and `markers` are what holding it over needs."""
        return {
            "level": self.level,
            "label": self.label,
            "assessed": self.assessed,
            "checks": self.checks,
            "reasons": [dict(reason) for reason in self.reasons],
            "low_water": [dict(note) for note in self.low_water],
            "unclear": [[check.rule, check.where] for check in self.base if check.doubt and check.level == 0],
            "markers": {check.rule: check.level for check in self.base if check.kind == "marker"},
        }
