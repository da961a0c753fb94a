"""What is news between two plans: a caution level that changed, an answer that changed with the water."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from planner.caution import LABELS, NOT_ASSESSED

__all__ = ["Change", "changes_between", "is_news", "level_words"]

# Design choices: smaller steps of depth and speed are within what an answer is worth.
_DEPTH_M, _SPEED_SHARE = 0.1, 0.1


@dataclass(frozen=True)
class Change:
    """One change.

    Parameters
    ----------
    text : str
        What changed, as a sentence.
    rose : bool
        Whether a caution level went up, or could no longer be assessed.
    """

    text: str
    rose: bool = False


def level_words(level: int | None) -> str:
    """A level as its number and its words."""
    return NOT_ASSESSED if level is None else f"{level} ({LABELS[level]})"


def _level(what: str, old: Mapping[str, Any] | None, new: Mapping[str, Any] | None) -> list[Change]:
    before, after = (old or {}).get("level"), (new or {}).get("level")
    if before == after:
        return []
    rose = after is None or (before is not None and after > before) or (before is None and after > 0)
    why = next((str(r["text"]) for r in (new or {}).get("reasons") or () if r.get("level")), "")
    tail = f" {why}" if why and rose else ""
    return [Change(f"{what}: caution {level_words(before)} is now {level_words(after)}.{tail}", rose)]


def _answer(spot: Mapping[str, Any]) -> tuple[Any, ...]:
    best = spot.get("best") or {}
    return tuple(best.get(key) for key in ("line", "fly", "countdown_mode", "countdown_from_s", "countdown_to_s"))


def _answer_words(spot: Mapping[str, Any]) -> str:
    best = spot.get("best")
    if not best:
        return "no answer"
    low, high = best.get("countdown_from_s"), best.get("countdown_to_s")
    count = f"{low:.0f} s" if low == high else f"{low:.0f} to {high:.0f} s"
    return f"{best.get('line')}, {best.get('fly')}, count {count}"


def changes_between(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[Change]:
    """What changed between two plans: caution levels first, then answers.

    Parameters
    ----------
    old, new : mapping
        As ``plan.json``. An answer is news when it comes or goes, or when it differs and the water at the spot moved
        with it, by 0.1 m or by a tenth of its speed: among rigs of one worth the search may pick another at any look.
        A run whose spots changed says nothing of its own.
    """
    found = _level("The day", old.get("caution"), new.get("caution"))
    before = {spot["id"]: spot for spot in old.get("spots") or ()}
    said = set()
    for spot in new.get("spots") or ():
        if spot["id"] in before:
            levels = _level(str(spot.get("name") or spot["id"]), before[spot["id"]].get("caution"), spot.get("caution"))
            said |= {spot.get("run")} if levels else set()
            found += levels
    runs = {record["id"]: record for record in old.get("runs") or ()}
    for run in new.get("runs") or ():
        if run["id"] in runs and run["id"] not in said:
            found += _level(str(run.get("name") or run["id"]), runs[run["id"]].get("caution"), run.get("caution"))
    for spot in new.get("spots") or ():
        was = before.get(spot["id"])
        if was is not None and is_news(was, spot):
            name = spot.get("name") or spot["id"]
            found.append(Change(f"{name}: {_answer_words(was)} is now {_answer_words(spot)}."))
    return found


def is_news(old: Mapping[str, Any], new: Mapping[str, Any]) -> bool:
    """Whether a spot's answer changed by more than it is worth."""
    if bool(old.get("best")) != bool(new.get("best")):
        return True
    if not _differs(_answer(old), _answer(new)):
        return False
    for key, least, share in (("depth_m", _DEPTH_M, 0.0), ("velocity_m_s", 0.0, _SPEED_SHARE)):
        a, b = old.get(key), new.get(key)
        if (a is None) != (b is None):
            return True
        if a is not None and b is not None and round(abs(b - a), 9) >= max(least, share * abs(a)) > 0:
            return True
    return False


def _differs(old: tuple[Any, ...], new: tuple[Any, ...]) -> bool:
    if old[:3] != new[:3]:
        return True
    pairs = [(a, b) for a, b in zip(old[3:], new[3:], strict=True) if a is not None and b is not None]
    return any(abs(a - b) > 1.0 for a, b in pairs)
