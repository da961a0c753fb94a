"""Holding a level over by the checks themselves: what the record in plan.json must never fall below."""

from __future__ import annotations

from dataclasses import replace

from planner.caution import Caution
from planner.caution.assess import _combine
from planner.caution.keep import HELD

__all__ = ["hold"]


def hold(previous: Caution, new: Caution) -> Caution:
    """Keep what the last good reading raised until a newer good reading clears it.

    Parameters
    ----------
    previous : Caution
        What stood before.
    new : Caution
        What the newest conditions give.

    Returns
    -------
    Caution
        `new`, with each earlier level kept where its check is now not assessed or rests on a missing, stale or iced
        input. A check that has no bearing any more is dropped.
    """
    before = {(check.rule, check.where, check.kind == "marker"): check for check in previous.base if check.level}
    base = []
    for check in new.base:
        old = before.get((check.rule, check.where, check.kind == "marker"))
        unclear = check.level is None or check.doubt
        if old is not None and unclear and (old.level or 0) > (check.level or 0):
            words = old.text if old.text.endswith(HELD) else f"{old.text} {HELD}"
            base.append(replace(old, text=words, doubt=True))
        else:
            base.append(check)
    return _combine(base, new.low_water)
