"""Every reference number of the package, one CSV per source, with source, table, page and unit in its columns.

Code reads a number from here; it is written nowhere else. Keys of `references.csv` (author-year) are cited in
docstrings as ``[Chow1959]``.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files
from types import MappingProxyType

__all__ = ["constants", "rows"]


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    """All rows of a reference table, as text.

    Parameters
    ----------
    name : str
        File name without ``.csv``.

    Returns
    -------
    tuple of dict
        One dict per row, keyed by the header. Do not change them.
    """
    text = (files("planner.tables") / f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(line for line in text.splitlines() if line and not line.startswith("#")))


@cache
def constants(name: str) -> MappingProxyType[str, float]:
    """Values by name of a table with the columns ``name`` and ``value``, each in the unit that its row states.

    Parameters
    ----------
    name : str
        File name without ``.csv``.

    Examples
    --------
    >>> constants("sink_constants")["water_density"]
    999.5
    """
    return MappingProxyType({row["name"]: float(row["value"]) for row in rows(name)})
