"""Numbers of a table of named values, as floats."""

from __future__ import annotations

from functools import cache
from types import MappingProxyType

from planner.tables import rows

__all__ = ["constants"]


@cache
def constants(table: str) -> MappingProxyType[str, float]:
    """Values by name of a table with the columns name and value.

    Parameters
    ----------
    table : str
        File name in `planner/tables` without ``.csv``.
    """
    return MappingProxyType({row["name"]: float(row["value"]) for row in rows(table)})
