"""The figures of `planner/tables/water_rules.csv` by name."""

from __future__ import annotations

from functools import cache

from planner.tables import rows

__all__ = ["rule"]


@cache
def rule(name: str) -> float:
    """Value of one rule, in the unit that its row names.

    Raises
    ------
    KeyError
        When the table has no such row (a mistake in the code).
    """
    return {row["name"]: float(row["value"]) for row in rows("water_rules")}[name]
