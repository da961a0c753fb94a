"""The figures of `planner/tables/water_rules.csv` by name."""

from __future__ import annotations

from planner.tables import constants

__all__ = ["rule"]


def rule(name: str) -> float:
    """Value of one rule, in the unit that its row names.

    Raises
    ------
    KeyError
        When the table has no such row (a mistake in the code).
    """
    return constants("water_rules")[name]
