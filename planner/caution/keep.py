"""Hold raised levels between two plans, from their records alone: what a newer good reading has not cleared stays."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from planner.caution.assess import HELD, STEP
from planner.caution.records import LABELS, NOT_ASSESSED

__all__ = ["hold_record"]


def _key(reason: Mapping[str, Any]) -> tuple[str, str]:
    return str(reason.get("rule")), str(reason.get("where") or "")


def hold_record(previous: Mapping[str, Any], new: Mapping[str, Any]) -> dict[str, Any]:
    """`planner.caution.hold` for cautions as they stand in ``plan.json``.

    Parameters
    ----------
    previous, new : mapping
        ``{level, label, assessed, checks, reasons, low_water, unclear}``; any other key of `new` is kept.

    Returns
    -------
    dict
        `new`, with each earlier reason kept where the same check at the same place is now not assessed, or rests on
        a missing, stale or iced input and raises less; so is the step for a rising river while its rise is not known.
        A check that now stands on a good reading, or has no bearing
        any more, is not held. The combination of cold and high water is held while any check that it rests on is
        in doubt.
    """
    reasons = [dict(reason) for reason in new.get("reasons") or ()]
    now = {_key(reason): reason for reason in reasons}
    unclear = {(str(rule), str(where)) for rule, where in new.get("unclear") or ()}
    unclear |= {key for key, reason in now.items() if reason.get("level") is None or reason.get("doubt")}
    combined_in_doubt = any(rule[:1] in "CFW" for rule, _ in unclear)
    rise_in_doubt = any(rule in ("F6r", "F6", "X1") for rule, _ in unclear)
    for old in previous.get("reasons") or ():
        level, key = old.get("level"), _key(old)
        if not level:
            continue
        present = now.get(key)
        if present is not None and (present.get("level") or 0) >= level:
            continue
        stepped = rise_in_doubt and present is not None and STEP in str(old.get("text"))
        combined = combined_in_doubt and key[0] == "C2"
        if key not in unclear and not stepped and not combined:
            continue
        text = str(old.get("text") or "")
        kept = {**old, "text": text if text.endswith(HELD) else f"{text} {HELD}", "doubt": True}
        if present is None:
            reasons.append(kept)
        else:
            reasons[next(i for i, reason in enumerate(reasons) if reason is present)] = kept
    raised = sorted((r for r in reasons if r.get("level")), key=lambda r: -r["level"])
    levels = [new.get("level") or 0, *(r["level"] for r in raised)]
    level = max(levels) or new.get("level")
    return {
        **new,
        "level": level,
        "label": NOT_ASSESSED if level is None else LABELS[level],
        "reasons": [*raised, *(r for r in reasons if not r.get("level"))],
    }
