"""The cautions of now and of each hour, as spans of hours that read the same, and as signs under the chart."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

from planner.page import words
from planner.page.marks import caution_mark, text
from planner.page.moments import moment_of

__all__ = ["hour_levels", "hour_spans", "hours_list"]


_NUMBER = re.compile(r"\d[\d.,]*")


def hour_spans(plan: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Hours in a row that raise the same for the same reason, as one; its figures are those of the highest water.

    Parameters
    ----------
    plan : mapping
        As ``plan.json``, with `hours` and `timezone`.

    Returns
    -------
    list of dict
        `when` (``Now``, or ``08:00 to 11:00``), `level`, `label`, `text`, in order.

    Examples
    --------
    >>> hour = {"now": False, "level": 1, "label": "heads-up", "text": "The river rises."}
    >>> times = ("2026-06-13T13:00:00Z", "2026-06-13T14:00:00Z")
    >>> [s["when"] for s in hour_spans({"timezone": "America/Chicago", "hours": [{**hour, "time": t} for t in times]})]
    ['08:00 to 10:00']
    """
    zone = str(plan.get("timezone") or "UTC")
    found: list[dict[str, Any]] = []
    for hour in plan.get("hours") or ():
        row = {"now": bool(hour.get("now")), **{key: hour.get(key) for key in ("level", "label", "text")}}
        row["same"] = row["now"], row["level"], _NUMBER.sub("#", str(row["text"] or ""))
        if not found or found[-1]["same"] != row["same"]:
            found.append({**row, "from": moment_of(hour["time"]), "water": _water(hour)})
        elif _water(hour) > found[-1]["water"]:
            found[-1].update(text=row["text"], water=_water(hour))
        found[-1]["to"] = moment_of(hour["time"]) + timedelta(hours=1)
    for row in found:
        first, last = (f"{row.pop(key).astimezone(ZoneInfo(zone)):%H:%M}" for key in ("from", "to"))
        row["when"] = "Now" if row.pop("now") else f"{first} to {last}"
        del row["same"], row["water"]
    return found


def _water(hour: Mapping[str, Any]) -> tuple[float, float]:
    """What tells a higher hour from a lower one: the stage, and the discharge where a gauge has no stage."""
    given = (hour.get(key) for key in ("stage_m", "discharge_m3s"))
    stage, discharge = (-math.inf if value is None else float(value) for value in given)
    return stage, discharge


def hours_list(plan: Mapping[str, Any]) -> str:
    """The spans as a list of the page, each with sign, word and its gravest reason; empty when there are none."""
    rows = "".join(
        f'<li><b class="when">{text(row["when"])}</b> {caution_mark(row, short=True)} '
        f"<span>{text(row['text'] or '')}</span></li>"
        for row in hour_spans(plan)
    )
    if not rows:
        return ""
    return (
        '<h3>Caution hour by hour</h3><p class="note">Each hour at its own upper 90 %, and whoever is still on the '
        f'river then.</p><ul class="hour-list">{rows}</ul>'
    )


def hour_levels(plan: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """Level and label by the hour's beginning (as `words.clock` gives it in UTC with the day), without the present."""
    return {
        words.clock(hour["time"], "UTC", with_day=True): {"level": hour.get("level"), "label": hour.get("label")}
        for hour in plan.get("hours") or ()
        if not hour.get("now")
    }
