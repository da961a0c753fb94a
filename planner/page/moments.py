"""A time of the plan: a moment as it was computed, or its words as they stand in ``plan.json``."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from planner.errors import DataUnfit

__all__ = ["moment_of", "utc_of"]


def moment_of(value: Any) -> datetime:
    """The moment of a time of the plan.

    Raises
    ------
    ValueError
        When it is no time.

    Examples
    --------
    >>> moment_of("2026-06-13T08:00:00-05:00").utcoffset() == moment_of(moment_of("2026-06-13T08:00-05:00")).utcoffset()
    True
    """
    return value if isinstance(value, datetime) else datetime.fromisoformat(str(value))


def utc_of(value: Any, what: str) -> datetime:
    """A time of the plan in UTC, for files that other programs read.

    Raises
    ------
    DataUnfit
        When it is no time, or one without its zone; `what` says which.
    """
    try:
        moment = moment_of(value)
    except ValueError as error:
        raise DataUnfit(f"the plan's {what} is {value!r}", "a time", "make the plan again") from error
    if moment.tzinfo is None:
        raise DataUnfit(f"the plan's {what} has no zone", "a time with its zone", "make the plan again")
    return moment.astimezone(UTC)
