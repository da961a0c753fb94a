"""Why a spot has the answer it has: the chain from gauge to countdown, for a person and for a machine."""

from __future__ import annotations

import math
import textwrap
from pathlib import Path
from typing import Any

from planner.errors import UsageMistake
from planner.units import FOOT, INCH, show

__all__ = ["why_report", "why_text"]

_WIDE = 100


def why_report(
    folder: Path,
    spot_id: str,
    *,
    day: str = "tomorrow",
    start: str = "08:00",
    end: str = "16:00",
    level: str | None = None,
    replies: tuple[Path, ...] = (),
    now: str | None = None,
    units: str | None = None,
    learning: bool = True,
) -> dict[str, Any]:
    """The chain of one spot at its arrival, from the very computation that writes the plan.

    Parameters
    ----------
    folder : Path
        The river folder.
    spot_id : str
        Of spots.geojson.
    day, start, end, level, now
        As `planner.plan.ask.request` reads them; a level is taken in place of the gauge's reading.
    replies : tuple of Path
        Recorded gauge replies.
    units : str, optional
        ``us`` or ``metric``, for the sentences.
    learning : bool
        Whether the log has a say.

    Returns
    -------
    dict
        ``spot`` (its record in ``plan.json``), ``caution`` of the day, ``chain`` (steps with ``title``, ``formula``,
        ``worked``, ``rows`` {name, value, unit, low, high, origin}), ``units``.

    Raises
    ------
    UsageMistake
        When there is no such spot.
    """
    from planner.plan.ask import request
    from planner.plan.chain import chain_of
    from planner.plan.compute import plan_of
    from planner.plan.day import day_of
    from planner.river import read_river

    river = read_river(folder)
    names = [spot.id for spot in river.spots]
    if spot_id not in names:
        raise UsageMistake(
            f"spot {spot_id!r} is not in spots.geojson",
            f"one of: {', '.join(names) or 'none'}",
            "correct the spot's id",
        )
    asked = request(
        river.timezone, day=day, start=start, end=end, now=now, level=level, replies=replies, learning=learning
    )
    shown = units or river.units
    found = day_of(river, asked, shown)
    plan = plan_of(found, river, asked, shown)
    which = names.index(spot_id)
    here = found.spots[which]
    chain = chain_of(found, river, here, here.at_arrival, found.answers[which][here.at_arrival], asked.hang_limit)
    return {
        "river": plan["river"],
        "for_day": plan["for_day"],
        "caution": plan["caution"],
        "spot": plan["spots"][which],
        "learned": plan["learned"],
        "chain": chain,
        "units": shown,
    }


def why_text(report: dict[str, Any], units: str | None = None) -> str:
    """The chain as text, cautions first.

    Parameters
    ----------
    report : dict
        From `why_report`.
    units : str, optional
        ``us`` shows feet beside metres.
    """
    from planner.page import words

    shown, spot = units or report["units"], report["spot"]
    out = []
    for where, caution in (("The day", report["caution"]), (spot.get("name") or spot["id"], spot["caution"])):
        out += _wrapped(f"{where}: {words.caution_line(caution)}".upper())
        for reason in words.raised(caution["reasons"]):
            out += _wrapped(str(reason["text"]), f"  [{reason['level']}] ", "      ")
        missing = len(words.missing(caution))
        if missing:
            out.append(f"  not assessed: {missing}, see the plan")
    out += _wrapped(" ".join(words.STANDING))
    out += ["", f"Why: {spot.get('name') or spot['id']}, {report['river']}, {report['for_day']}"]
    for number, step in enumerate(report["chain"], 1):
        out += ["", f"{number}. {step['title']}"]
        out += _rows(step["rows"], shown)
        if step["formula"]:
            out += _wrapped(step["formula"], "   formula: ", "            ")
        if step["worked"]:
            out += _wrapped(step["worked"], "   worked:  ", "            ")
        if step.get("seconds"):
            out += _seconds(step["seconds"])
        if step["words"]:
            out += _wrapped(step["words"], "   ", "   ")
    out += ["", *_after(spot, report, shown)]
    return "\n".join(out)


def _after(spot: dict[str, Any], report: dict[str, Any], units: str) -> list[str]:
    out: list[str] = []
    if spot["next_best"]:
        rival = spot["next_best"]
        out += _wrapped(f"Next best: {rival['fly']} on {rival['line']}, {rival['band_time_s']:.1f} s in the band.")
    for name, words in (("One step lower", spot.get("if_lower")), ("One step higher", spot.get("if_higher"))):
        if words:
            out += _wrapped(f"{name}: {words}")
    for tip in spot.get("tips") or ():
        out += _wrapped(tip)
    taught = [one["words"] for one in report["learned"]["spots"] if one["spot"] == spot["id"]]
    line = (spot["best"] or {}).get("line")
    taught += [one["words"] for one in report["learned"]["lines"] if one["line"] == line]
    for words in taught:
        out += _wrapped(words)
    out += [part for limit in spot.get("limits") or () for part in _wrapped(f"Limit: {limit}")]
    return out


def _wrapped(text: str, first: str = "", rest: str = "  ") -> list[str]:
    return textwrap.wrap(text, _WIDE, initial_indent=first, subsequent_indent=rest) or [first]


def _number(value: Any) -> str:
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return "unknown"
    if isinstance(value, int | float):
        return f"{value:.4g}"
    return str(value)


def _beside(value: Any, unit: str, units: str) -> str:
    """The same value in the user's unit; empty where that is the same."""
    if units != "us" or not isinstance(value, float) or not math.isfinite(value):
        return ""
    if unit == "m":
        return f"{value / FOOT:.2f} ft" if abs(value) >= 0.02 else f"{value / INCH:.3f} in"
    if unit == "m/s":
        return f"{value / FOOT:.2f} ft/s"
    if unit == "m³/s":
        return show(value, "discharge", units)
    return ""


def _rows(rows: list[dict[str, Any]], units: str) -> list[str]:
    out = []
    for row in rows:
        unit = "" if row["unit"] == "1" else row["unit"]
        value = f"{_number(row['value'])} {unit}".strip()
        other = _beside(row["value"], row["unit"], units)
        value += f" ({other})" if other else ""
        low, high = row["low"], row["high"]
        spread = ""
        if low is not None and high is not None and math.isfinite(low) and math.isfinite(high):
            spread = f"10 to 90 %: {_number(low)} to {_number(high)}; "
        out += _wrapped(f"{spread}{row['origin']}", f"   {row['name']:<34} {value:<26} ", " " * 12)
    return out


def _seconds(rows: list[dict[str, float]]) -> list[str]:
    out = ["   count  in the band  touches  hangs"]
    for row in rows:
        chances = f"{100 * row['touch_chance']:>5.1f} %  {100 * row['hang_chance']:>4.1f} %"
        out.append(f"   {row['count_s']:>3.0f} s  {row['band_time_s']:>9.1f} s  {chances}")
    return out
