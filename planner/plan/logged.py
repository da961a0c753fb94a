"""From the rows of log.csv to swims that the advice can learn from: which row, at which level, fished how."""

from __future__ import annotations

import math
from datetime import datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from planner.advice import LoggedSwim
from planner.errors import QuantityUnfit
from planner.plan.ask import asked_level
from planner.plan.waters import GaugeLevel, RunWater, spot_levels
from planner.units import parse
from planner.water import discharge_at, stage_at

if TYPE_CHECKING:
    from planner.river import River

__all__ = ["logged_swims", "row_level", "yes_or_no"]

_YES, _NO = ("yes", "y", "true", "1"), ("no", "n", "false", "0")


def yes_or_no(text: Any) -> bool | None:
    """What a cell says; None when it says neither.

    Examples
    --------
    >>> yes_or_no(" Yes "), yes_or_no("no"), yes_or_no("")
    (True, False, None)
    """
    word = str(text).strip().lower()
    return True if word in _YES else False if word in _NO else None


def logged_swims(river: River, waters: dict[str, RunWater]) -> tuple[list[LoggedSwim], tuple[str, ...]]:
    """Rows of the log as swims, and a sentence on each kind of row that was left out.

    A row needs spot, line and fly of the folder, seconds, and yes or no under ``touched`` (or ``hung``). Its level is
    its own, with a unit, or else what the gauge read at its time. A fish ends a swim before its time: a row with a
    fish and no touch says nothing.

    Parameters
    ----------
    river : River
        The folder.
    waters : dict
        Runs by id, surveyed.
    """
    left: dict[str, list[int]] = {}
    spots = {spot.id: spot for spot in river.spots if spot.run in waters}
    lines, flies = {line.name for line in river.tackle.lines}, {fly.name for fly in river.tackle.flies}
    kept: dict[str, list[tuple[dict[str, Any], GaugeLevel, float, bool, bool | None]]] = {}
    for record in river.log.to_dict("records"):
        row = {str(name): value for name, value in record.items()}
        number = int(row["file_line"])
        spot = spots.get(str(row.get("spot", "")).strip())
        touched, hung = yes_or_no(row.get("touched", "")), yes_or_no(row.get("hung", ""))
        seconds = _number(row.get("countdown_s", ""))
        caught = _number(row.get("caught", ""))
        because = ""
        if spot is None:
            because = "name no spot of spots.geojson"
        elif str(row.get("line", "")).strip() not in lines or str(row.get("fly", "")).strip() not in flies:
            because = "name a line or a fly that is not in the box"
        elif touched is None and not hung:
            because = "do not say whether the bed was touched"
        elif not 0 <= seconds <= 600:
            because = "give no seconds of countdown"
        elif caught > 0 and not touched and not hung:
            because = "ended with a fish before the swim was over"
        level = GaugeLevel(math.nan, math.nan) if because or spot is None else row_level(row, waters[spot.run])
        if not because and not (math.isfinite(level.stage_m) or math.isfinite(level.discharge_m3s)):
            because = "have no level, and the gauge's record does not reach back to their time"
        if because or spot is None:
            left.setdefault(because, []).append(number)
            continue
        kept.setdefault(spot.id, []).append((row, level, seconds, bool(touched or hung), hung))
    swims = []
    for key, rows in kept.items():
        ladder = sorted({level for _, level, *_ in rows}, key=lambda at: (at.stage_m, at.discharge_m3s))
        asked, _ = spot_levels(waters[spots[key].run], spots[key], ladder, None)
        for row, level, seconds, touched, hung in rows:
            swims.append(
                LoggedSwim(
                    asked=asked,
                    level=ladder.index(level),
                    line=str(row["line"]).strip(),
                    fly=str(row["fly"]).strip(),
                    countdown_s=seconds,
                    touched=touched,
                    hung=hung,
                    mode=str(row.get("countdown_mode", "") or "").strip(),
                    strip_m_s=_number(row.get("strip_m_s", "")),
                    day=_day(row.get("time", ""), river.timezone),
                )
            )
    notes = tuple(
        f"log.csv, line{'s' if len(numbers) > 1 else ''} {', '.join(map(str, numbers[:8]))}"
        f"{' and more' if len(numbers) > 8 else ''}: {because}; not learned from."
        for because, numbers in left.items()
    )
    return swims, notes


def row_level(row: dict[str, Any], water: RunWater) -> GaugeLevel:
    """The gauge's level that a row of the log was fished at; NaN unknown."""
    text = str(row.get("level", "") or "").strip()
    if text and text != "nan":
        try:
            asked = asked_level(text)
        except QuantityUnfit:
            asked = None
        if asked is not None:
            return GaugeLevel(asked.stage_m, asked.discharge_m3s)
    record = water.view.record or water.view.series
    try:
        at = datetime.fromisoformat(str(row.get("time", "")).strip())
    except ValueError:
        return GaugeLevel(math.nan, math.nan)
    if record is None or at.tzinfo is None:
        return GaugeLevel(math.nan, math.nan)
    return GaugeLevel(float(stage_at(record, at)), float(discharge_at(record, at)))


def _day(text: Any, zone: str) -> str:
    try:
        at = datetime.fromisoformat(str(text).strip())
    except ValueError:
        return ""
    return (at.astimezone(ZoneInfo(zone)) if at.tzinfo else at).date().isoformat()


def _number(text: Any) -> float:
    word = str(text).strip()
    try:
        return float(word)
    except ValueError:
        pass
    try:
        return parse(word, "m/s", "strip")
    except QuantityUnfit:
        return math.nan
