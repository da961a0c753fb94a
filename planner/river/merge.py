"""Bring members of a document up to date without touching the rest."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any

__all__ = ["MISSING", "member", "same", "update_members", "update_table"]

MISSING: Any = object()


def same(one: Any, two: Any) -> bool:
    """Equality in which unknown (NaN, None, NaT) equals unknown."""
    lost = [value is None or (not isinstance(value, Mapping | list | tuple) and value != value) for value in (one, two)]
    return all(lost) or (not any(lost) and bool(one == two))


def member(value: Any) -> Any:
    """A member as a document holds it; `MISSING` for None, NaN, empty text and empty tables."""
    if value is None or (isinstance(value, str | dict) and not value):
        return MISSING
    if isinstance(value, float) and math.isnan(value):
        return MISSING
    if isinstance(value, datetime):
        return value.isoformat()
    return list(value) if isinstance(value, tuple) else value


def update_members(
    raw: Mapping[str, Any],
    now: Mapping[str, Any],
    before: Mapping[str, Any],
    defaults: Mapping[str, Any],
) -> dict[str, Any]:
    """Members of `raw` with what changed brought up to date.

    Parameters
    ----------
    raw : mapping
        Members of the document.
    now, before : mapping
        Members of the record now and as it was read from `raw`.
    defaults : mapping
        What a member means where the document leaves it out.
    """
    merged = dict(raw)
    for key, value in now.items():
        was = before.get(key) if key in raw else defaults.get(key)
        if key in raw and raw[key] is None:
            was = defaults.get(key)
        if same(value, was) or (member(value) is MISSING and member(was) is MISSING):
            continue
        if member(value) is MISSING:
            merged.pop(key, None)
        else:
            merged[key] = member(value)
    for key in before:
        if key not in now:
            merged.pop(key, None)
    return merged


def update_table(table: Any, now: Mapping[str, Any], before: Mapping[str, Any]) -> bool:
    """Bring the members of a TOML table up to date in place; True when something changed."""
    changed = False
    for key, value in now.items():
        if key in before and same(value, before[key]):
            continue
        if member(value) is MISSING and key not in table:
            continue
        changed = True
        if member(value) is MISSING:
            table.pop(key, None)
        elif isinstance(value, Mapping) and isinstance(table.get(key), Mapping):
            old = before.get(key)
            update_table(table[key], value, old if isinstance(old, Mapping) else {})
        else:
            table[key] = member(value)
    for key in before:
        if key not in now and key in table:
            changed = True
            table.pop(key)
    return changed
