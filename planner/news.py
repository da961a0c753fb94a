"""What is news between two plans: a caution level that changed, an answer that changed with the water."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from planner.caution import label_of
from planner.page.words import fly_words
from planner.units import show

__all__ = ["Change", "changes_between", "is_news", "level_words"]

# Design choices: smaller steps of depth, speed, count and leader are within what an answer is worth.
_DEPTH_M, _SPEED_SHARE, _COUNT_S, _LEADER_M = 0.1, 0.1, 1.0, 0.05


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
    return label_of(level) if level is None else f"{level} ({label_of(level)})"


def _level(what: str, old: Mapping[str, Any] | None, new: Mapping[str, Any] | None) -> list[Change]:
    before, after = (old or {}).get("level"), (new or {}).get("level")
    if before == after:
        return []
    rose = after is None or (before is not None and after > before) or (before is None and after > 0)
    why = next((str(r["text"]) for r in (new or {}).get("reasons") or () if r.get("level")), "")
    tail = f" {why}" if why and rose else ""
    return [Change(f"{what}: caution {level_words(before)} is now {level_words(after)}.{tail}", rose)]


@dataclass(frozen=True)
class _Answer:
    """What the angler was told to do at a spot; all None where there was no answer.

    `leader_m` is the length of the leader where it is not the box's own, else None [m].
    """

    line: str | None
    fly: str | None
    leader_m: float | None
    countdown_mode: str | None
    countdown_from_s: float | None
    countdown_to_s: float | None

    @property
    def rig(self) -> tuple[str | None, str | None]:
        """The line and the fly."""
        return self.line, self.fly

    @property
    def count(self) -> str:
        """The countdown in words."""
        low, high = self.countdown_from_s, self.countdown_to_s
        if low is None or high is None:
            return "no count"
        return f"count {low:.0f} s" if low == high else f"count {low:.0f} to {high:.0f} s"


def _answer(spot: Mapping[str, Any]) -> _Answer:
    best = spot.get("best") or {}
    return _Answer(**{field.name: best.get(field.name) for field in fields(_Answer)})


def _answer_words(spot: Mapping[str, Any], units: str) -> str:
    best = spot.get("best")
    if not best:
        return "no answer"
    told = _answer(spot)
    return f"{told.line}, {fly_words(best, units)}, {told.count}"


def _change_words(old: Mapping[str, Any], new: Mapping[str, Any], units: str) -> str:
    was, now = _answer(old), _answer(new)
    alike = (was.rig, was.countdown_mode) == (now.rig, now.countdown_mode)
    if not (old.get("best") and new.get("best") and alike and _other_leader(was, now)):
        return f"{_answer_words(old, units)} is now {_answer_words(new, units)}"
    before, after = (None if m is None else show(m, "depth", units) for m in (was.leader_m, now.leader_m))
    leader = f"leader {after}" if after else "the box’s own leader"
    count = now.count if now.count == was.count else f"{now.count} instead of {was.count.removeprefix('count ')}"
    return f"same line and fly, {leader} instead of {before or 'the box’s own'}, {count}"


def changes_between(old: Mapping[str, Any], new: Mapping[str, Any], units: str = "us") -> list[Change]:
    """What changed between two plans: caution levels first, then answers.

    Parameters
    ----------
    old, new : mapping
        As ``plan.json``. An answer is news when it comes or goes, or when it differs and the water at the spot moved
        with it, by 0.1 m or by a tenth of its speed: among rigs of one worth the search may pick another at any look.
        A run whose spots changed says nothing of its own.
    units : str
        ``us`` or ``metric``, for the lengths of leaders.
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
            found.append(Change(f"{name}: {_change_words(was, spot, units)}."))
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


def _other_leader(old: _Answer, new: _Answer) -> bool:
    """Whether the leader is another one: lengths that are shown alike are not."""
    if (old.leader_m is None) != (new.leader_m is None):
        return True
    return old.leader_m is not None and new.leader_m is not None and abs(new.leader_m - old.leader_m) > _LEADER_M


def _differs(old: _Answer, new: _Answer) -> bool:
    if old.rig != new.rig or old.countdown_mode != new.countdown_mode or _other_leader(old, new):
        return True
    pairs = ((old.countdown_from_s, new.countdown_from_s), (old.countdown_to_s, new.countdown_to_s))
    return any(a is not None and b is not None and abs(a - b) > _COUNT_S for a, b in pairs)
