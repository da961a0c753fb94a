"""The words, classes and number forms that every output of the page package shares.

Depth and speed classes are our own steps, round in the reader's unit [design choice]; their colours are
ColorBrewer's Blues and Purples. A class always carries its letter, a caution level its shape and number, because
colour fails in sun, in print and for many eyes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from planner.caution.records import LABELS, label_of
from planner.caution.wording import STANDING
from planner.page.moments import moment_of
from planner.units import FOOT, show, unit_of, value_in

__all__ = [
    "CLASSES",
    "KINDS",
    "LEVEL_WORDS",
    "NO_CAUTION",
    "STANCE_WORDS",
    "STANDING",
    "age_words",
    "angle_words",
    "caution_line",
    "caution_short",
    "class_letter",
    "class_steps",
    "clock",
    "count_words",
    "countdown_words",
    "day_words",
    "folded_words",
    "grouped",
    "in_sight",
    "joined",
    "low_notes",
    "missing",
    "missing_notes",
    "mode_words",
    "name_of",
    "note_text",
    "number_rule",
    "percent",
    "raised",
    "span",
    "trend_words",
    "unlisted_words",
]

KINDS = ("length", "depth", "level", "speed", "discharge", "strip", "rise")

LEVEL_WORDS: dict[int | None, str] = {level: label_of(level) for level in (*range(len(LABELS)), None)}

NO_CAUTION = (
    "No caution raised by the {assessed} of {checks} checks that could be made. This is not advice that the river is "
    "fit to use."
)

STANCE_WORDS = {
    "wading": ("W", "wading"),
    "bank": ("B", "from the bank"),
    "anchored": ("A", "boat held"),
    "drifting": ("D", "boat drifting"),
}

# upper bounds of the first four classes [m, m/s], round in the reader's unit
CLASSES: dict[str, dict[str, Any]] = {
    "depth": {
        "letters": "ABCDE",
        "colours": ("#eff3ff", "#bdd7e7", "#6baed6", "#3182bd", "#08519c"),
        "metric": (0.5, 1.0, 1.5, 2.5),
        "us": (2 * FOOT, 3 * FOOT, 5 * FOOT, 8 * FOOT),
    },
    "speed": {
        "letters": "VWXYZ",
        "colours": ("#f2f0f7", "#cbc9e2", "#9e9ac8", "#756bb1", "#54278f"),
        "metric": (0.25, 0.5, 0.8, 1.2),
        "us": (1 * FOOT, 1.5 * FOOT, 2.5 * FOOT, 4 * FOOT),
    },
}


def number_rule(kind: str, units: str) -> tuple[float, str, int]:
    """How a kind of quantity is shown: SI value of one unit, the unit's label, decimals.

    Examples
    --------
    >>> number_rule("depth", "us")
    (0.3048, 'ft', 1)
    """
    zero = show(0.0, kind, units).split(" ")[0]
    return 1.0 / value_in(1.0, kind, units), unit_of(kind, units), len(zero.partition(".")[2])


def span(low: float | None, high: float | None, kind: str, units: str) -> str:
    """A range such as ``3.6 to 4.9 ft``; one number where both ends read the same, ``unknown`` where both are.

    Examples
    --------
    >>> span(1.1, 1.52, "depth", "metric")
    '1.1 to 1.5 m'
    """
    if low is None or high is None:
        return show(low if high is None else high, kind, units)
    first, last = show(low, kind, units), show(high, kind, units)
    return last if first == last else f"{first.split(' ')[0]} to {last}"


def percent(share: float | None) -> str:
    """A chance for a reader, in whole per cent.

    Examples
    --------
    >>> percent(0.124)
    '12 %'
    """
    if share is None:
        return "unknown"
    if 0 < share < 0.005:
        return "under 1 %"
    return f"{100 * share:.0f} %"


def countdown_words(choice: dict[str, Any] | None) -> str:
    """The countdown window of a choice, such as ``6 to 9 s``.

    Examples
    --------
    >>> countdown_words({"countdown_from_s": 6.0, "countdown_to_s": 9.0})
    '6 to 9 s'
    """
    if not choice or choice.get("countdown_from_s") is None:
        return "–"
    first, last = f"{choice['countdown_from_s']:.0f}", f"{choice['countdown_to_s']:.0f}"
    return f"{last} s" if first == last else f"{first} to {last} s"


def count_words(choice: dict[str, Any] | None) -> str:
    """The countdown window with its mode, such as ``6 to 9 s fed``: six seconds fed are another swim than six held.

    Examples
    --------
    >>> count_words({"countdown_from_s": 6.0, "countdown_to_s": 9.0, "countdown_mode": "fed"}), count_words(None)
    ('6 to 9 s fed', '–')
    """
    mode = (choice or {}).get("countdown_mode")
    found = countdown_words(choice)
    return f"{found} {mode}" if mode and found != "–" else found


def fly_words(choice: dict[str, Any] | None, units: str) -> str:
    """The fly, with its leader where that is not the box's own, such as ``slim heavy, leader 7.9 ft``.

    Examples
    --------
    >>> fly_words({"fly": "slim heavy", "leader_m": 2.4}, "metric"), fly_words({"fly": "slim heavy"}, "metric")
    ('slim heavy, leader 2.4 m', 'slim heavy')
    """
    choice = choice or {}
    fly, leader = choice.get("fly") or "–", choice.get("leader_m")
    return fly if leader is None else f"{fly}, leader {show(leader, 'depth', units)}"


def mode_words(mode: str | None) -> str:
    """What to do with the line while it sinks."""
    return {
        "fed": "feed slack while it sinks",
        "held": "hold the line while it sinks",
        "mended": "mend up-current, then let it sink",
    }.get(mode or "", mode or "")


def angle_words(angle: float | None) -> str:
    """Angle of a cast from straight downstream, in degrees and words.

    Examples
    --------
    >>> angle_words(64.8)
    '65° from downstream (down and across)'
    """
    if angle is None:
        return "unknown"
    side = next(
        word
        for bound, word in (
            (15, "downstream"),
            (75, "down and across"),
            (105, "across"),
            (165, "up and across"),
            (181, "upstream"),
        )
        if angle <= bound
    )
    return f"{angle:.0f}° from downstream ({side})"


def class_steps(kind: str, units: str) -> tuple[float, ...]:
    """Upper bounds of the first four classes of depth [m] or speed [m/s]."""
    return tuple(CLASSES[kind][units])


def class_letter(value: float | None, kind: str, units: str) -> str:
    """Letter of the class in which a depth [m] or speed [m/s] lies; ``?`` when unknown.

    Examples
    --------
    >>> class_letter(1.2, "depth", "metric"), class_letter(None, "depth", "us")
    ('C', '?')
    """
    if value is None:
        return "?"
    passed = sum(round(value, 9) >= bound - 1e-9 for bound in class_steps(kind, units))
    return str(CLASSES[kind]["letters"][passed])


def caution_line(caution: dict[str, Any] | None) -> str:
    """The caution in one line: its level, its word.

    Examples
    --------
    >>> caution_line({"level": 2, "label": "think again"})
    'Caution 2 of 3: think again'
    >>> caution_line({"level": None})
    'Caution not assessed'
    """
    level = (caution or {}).get("level")
    if level is None:
        return "Caution not assessed"
    if level == 0:
        return "No caution raised"
    label = (caution or {}).get("label") or LEVEL_WORDS[level]
    return f"Caution {level} of 3: {label}"


def caution_short(caution: dict[str, Any] | None) -> str:
    """The caution for a cell whose column is named Caution: its number, its word.

    Examples
    --------
    >>> caution_short({"level": 2, "label": "think again"}), caution_short(None)
    ('2: think again', 'not assessed')
    """
    level = (caution or {}).get("level")
    if level is None:
        return LEVEL_WORDS[None]
    return f"{level}: {'none raised' if level == 0 else (caution or {}).get('label') or LEVEL_WORDS[level]}"


def unlisted_words(caution: dict[str, Any] | None) -> str:
    """What the number of checks made is worth, in one sentence."""
    if not caution:
        return "No check could be made. Missing input never lowers a level."
    made, all_checks = _count(caution.get("assessed")), _count(caution.get("checks"))
    if caution.get("level") == 0:
        return NO_CAUTION.format(assessed=made, checks=all_checks)
    return f"{made} of {all_checks} checks could be made."


def _count(value: Any) -> int:
    return len(value) if isinstance(value, (list, tuple, dict)) else int(value or 0)


def trend_words(trend: float | None, units: str) -> str:
    """Rise or fall of the gauge [m/h] in words."""
    if trend is None:
        return "trend unknown"
    if show(abs(trend), "rise", units).startswith("0.00 "):
        return "steady"
    return f"{'rising' if trend > 0 else 'falling'} {show(abs(trend), 'rise', units)}"


def clock(value: str | datetime | None, zone: str, with_day: bool = False) -> str:
    """A moment on the river's own clock: ``07:20`` or ``Fri 12 Jun 18:00``.

    Examples
    --------
    >>> clock("2026-06-12T23:00:00Z", "America/Chicago", with_day=True)
    'Fri 12 Jun 18:00'
    """
    if not value:
        return ""
    local = moment_of(value).astimezone(ZoneInfo(zone))
    hour = f"{local:%H:%M}"
    return f"{local:%a} {local.day} {local:%b} {hour}" if with_day else hour


def day_words(day: str | date) -> str:
    """A day written out: ``Saturday 13 June 2026``."""
    found = date.fromisoformat(day[:10]) if isinstance(day, str) else day
    return f"{found:%A} {found.day} {found:%B %Y}"


def joined(words: Iterable[str]) -> str:
    """Words of a list with commas between and nothing for the empty ones."""
    return ", ".join(word for word in words if word)


def raised(reasons: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """The reasons that raised a level, highest first."""
    return sorted((r for r in reasons if r.get("level")), key=lambda r: -int(r["level"]))


def missing(caution: dict[str, Any]) -> list[dict[str, Any]]:
    """The checks that could not be made: as many as `checks` less `assessed`."""
    return [r for r in caution.get("reasons") or () if r.get("level") is None and r.get("rule")]


def missing_notes(caution: dict[str, Any]) -> list[dict[str, Any]]:
    """The low-water notes that could not be made; they are no checks and not among their number."""
    found = (n for n in caution.get("low_water") or () if isinstance(n, dict))
    return [n for n in found if n.get("level") is None and n.get("rule")]


def low_notes(caution: dict[str, Any]) -> list[str]:
    """What is said of low water, without the notes that could not be made."""
    notes = caution.get("low_water") or ()
    return [note_text(n) for n in notes if not isinstance(n, dict) or n.get("level") is not None or not n.get("rule")]


def grouped(notes: Iterable[tuple[str, str]]) -> list[str]:
    """Notes that say the same of several things, once, with the things named.

    Examples
    --------
    >>> grouped([("Ferry run", "no lag"), ("Barn run", "no lag"), ("", "old file")])
    ['Ferry run, Barn run: no lag', 'old file']
    """
    found: dict[str, list[str]] = {}
    for who, what in notes:
        found.setdefault(what, []).append(who)
    return [f"{joined(dict.fromkeys(who))}: {what}" if any(who) else what for what, who in found.items()]


def in_sight(reasons: Sequence[dict[str, Any]]) -> int:
    """How many reasons, highest first, stand open: all of levels 2 and 3, and one at least."""
    return max(1, sum(int(r["level"]) >= 2 for r in reasons))


def folded_words(count: int) -> str:
    """Summary of the reasons that are folded away.

    Examples
    --------
    >>> folded_words(1), folded_words(2)
    ('1 more heads-up', '2 more heads-ups')
    """
    return f"{count} more heads-up{'s' if count != 1 else ''}"


def note_text(note: Any) -> str:
    """The words of a note that is a record or text itself."""
    return str(note.get("text") or "") if isinstance(note, dict) else str(note)


def name_of(row: dict[str, Any], record: Any = None) -> str:
    """The name that a person gave a run or spot, else its id."""
    return str(row.get("name") or getattr(record, "name", "") or row.get("id", ""))


def age_words(minutes: float | None) -> str:
    """Age of a reading when the plan was made.

    Examples
    --------
    >>> age_words(20), age_words(300)
    ('20 min old', '5 h old')
    """
    if minutes is None:
        return "age unknown"
    return f"{minutes:.0f} min old" if minutes < 120 else f"{minutes / 60:.0f} h old"
