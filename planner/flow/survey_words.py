"""What the days of survey say, as plain members and as sentences for a reader."""

from __future__ import annotations

import math
from typing import Any

from planner.flow.runflow import RunFlow
from planner.units import show

__all__ = ["survey_record", "survey_words"]


def survey_record(flow: RunFlow) -> dict[str, Any]:
    """Days of survey with their residuals, roughness, slope and the parts of a sounding's uncertainty [SI].

    Keys: ``days`` (``day``, ``soundings``, ``discharge_m3s``, ``stage_m``, ``level_m``, ``level_sd_m``, ``fitted_m``,
    ``residual_m``, ``reference``), ``n``, ``n_low``, ``n_high``, ``slope``, ``slope_low``, ``slope_high``, ``drift``,
    ``drift_sd``, ``control``, ``rise_ratio``, ``rise_ratio_sd``, ``sounding_sd_m`` (by part). NaN is unknown.
    """
    fit = flow.fit
    return {
        "days": [
            {
                "day": day.seen.day,
                "soundings": day.seen.soundings,
                "discharge_m3s": day.seen.discharge,
                "stage_m": day.seen.stage,
                "level_m": day.seen.level,
                "level_sd_m": day.seen.level_sd,
                "fitted_m": day.fitted,
                "residual_m": day.residual,
                "reference": day.seen.reference,
            }
            for day in fit.days
        ],
        **{
            name: getattr(fit, name)
            for name in ("n", "n_low", "n_high", "slope", "slope_low", "slope_high", "drift", "drift_sd", "control")
        },
        "rise_ratio": flow.rise_ratio,
        "rise_ratio_sd": flow.rise_ratio_sd,
        "sounding_sd_m": {} if flow.doubt is None else flow.doubt.as_dict(),
    }


def survey_words(record: dict[str, Any], units: str) -> list[str]:
    """Sentences on a record of `survey_record`, one for each day, then n, slope and uncertainty."""
    lines = []
    for day in record["days"]:
        head = f"survey {day['day']}: {day['soundings']} soundings at {show(day['discharge_m3s'], 'discharge', units)}"
        if day["reference"]:
            lines.append(f"{head}, the reference: its water is level 0")
        elif not _known(day["level_m"]):
            lines.append(f"{head}, no ground shared with the reference")
        else:
            seen = f"level seen {show(day['level_m'], 'level', units)} ± {show(day['level_sd_m'], 'level', units)}"
            off = f", by the relation {show(day['fitted_m'], 'level', units)}" if _known(day["fitted_m"]) else ""
            lines.append(f"{head}, {seen}{off}")
    if _known(record["n"]):
        lines.append(
            f"n {record['n']:.3f} ({record['n_low']:.3f} to {record['n_high']:.3f}) and slope {record['slope']:.5f} "
            f"({record['slope_low']:.5f} to {record['slope_high']:.5f}) after the survey: depth and discharge tell "
            "only the root of the slope over n, what was known before shares it out"
        )
    if record["sounding_sd_m"]:
        parts = record["sounding_sd_m"]
        named = ", ".join(f"{name} {show(parts[name], 'level', units)}" for name in parts if name != "total")
        lines.append(f"a sounding is sure to {show(parts['total'], 'level', units)}: {named}")
    return lines


def _known(value: Any) -> bool:
    return value is not None and math.isfinite(value)
