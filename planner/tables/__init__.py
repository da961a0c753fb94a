"""Every reference number of the package, one CSV per source, with source, table, page and unit in its columns.

Code reads a number from here; it is written nowhere else. Keys of `references.csv` (author-year) are cited in
docstrings as ``[Chow1959]``.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files

__all__ = ["rows"]


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
