"""Hold raised levels between two plans, from their records alone: what a newer good reading has not cleared stays."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from planner.caution.assess import STEP
from planner.caution.records import Check, label_of
from planner.caution.rules import rules_of

__all__ = ["HELD", "hold_record"]

HELD = "Held from an earlier reading until a newer one clears it."


def _key(reason: Mapping[str, Any]) -> tuple[str, str]:
    return str(reason.get("rule")), str(reason.get("where") or "")


def hold_record(previous: Mapping[str, Any], new: Mapping[str, Any]) -> dict[str, Any]:
    """Keep what the last good reading raised until a newer good reading clears it.

    Parameters
    ----------
    previous, new : mapping
        What stood before and what the newest conditions give, as from `Caution.as_dict`; any other key of `new` is
        kept.

    Returns
    -------
    dict
        `new`, with each earlier reason kept where the same check at the same place is now not assessed, or rests on
        a missing, stale or iced input and raises less; the step for a rising river and the combination of cold and
        high water follow what is held. A check that now stands on a good reading, or has no bearing any more, is not
        held.
    """
    reasons = [dict(reason) for reason in new.get("reasons") or ()]
    place = {_key(reason): i for i, reason in enumerate(reasons)}
    unclear = {(str(rule), str(where)) for rule, where in new.get("unclear") or ()}
    unclear |= {key for key, i in place.items() if reasons[i].get("level") is None or reasons[i].get("doubt")}
    markers = dict(new.get("markers") or {})
    for name, level in (previous.get("markers") or {}).items():
        open_now = name in markers and (markers[name] is None or (name, "") in unclear)
        if open_now and (level or 0) > (markers[name] or 0):
            markers[name] = level
    for old in previous.get("reasons") or ():
        level, key = old.get("level"), _key(old)
        if not level or key[0] == "C2" or key not in unclear:
            continue
        at = place.get(key)
        if at is not None and (reasons[at].get("level") or 0) >= level:
            continue
        text = str(old.get("text") or "")
        kept = {**old, "text": text if text.endswith(HELD) else f"{text} {HELD}", "doubt": True}
        if at is None:
            reasons.append(kept)
        else:
            reasons[at] = kept
    if markers.get("F6r") == 1:
        reasons = [_stepped(reason) for reason in reasons]
    both = _combined(reasons, markers)
    if both is not None:
        reasons.append(both)
    raised = sorted((r for r in reasons if r.get("level")), key=lambda r: -r["level"])
    level = max([new.get("level") or 0, *(r["level"] for r in raised)]) or new.get("level")
    return {
        **new,
        "level": level,
        "label": label_of(level),
        "reasons": [*raised, *(r for r in reasons if not r.get("level"))],
        "markers": markers,
    }


def _stepped(reason: dict[str, Any]) -> dict[str, Any]:
    """One step higher for a rising river, once."""
    if reason.get("kind") != "level" or reason.get("level") not in (1, 2) or STEP in str(reason.get("text")):
        return reason
    return {**reason, "level": reason["level"] + 1, "text": f"{reason.get('text')} {STEP}"}


def _combined(reasons: list[dict[str, Any]], markers: Mapping[str, Any]) -> dict[str, Any] | None:
    """Cold with high water, where neither side says so yet."""
    if any(reason.get("rule") == "C2" for reason in reasons):
        return None
    cold = max([markers.get("C1") or 0, *(r["level"] or 0 for r in reasons if r.get("rule") == "C1")])
    high = [
        r
        for r in reasons
        if str(r.get("rule"))[:1] in "FW" and r.get("kind") != "sensor" and (r.get("level") or 0) >= 2
    ]
    if cold < 2 or not high:
        return None
    rule = rules_of("C2")[0]
    first = max(high, key=lambda r: r["level"])
    return Check(
        "C2", str(first.get("where") or ""), "combination", rule.level, rule.text, source=rule.source
    ).as_reason()
