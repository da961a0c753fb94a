"""What all services of the US Geological Survey write alike: station numbers, and numbers as text."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from planner.errors import UsageMistake

__all__ = ["floats", "site_number"]

_NUMBER = re.compile(r"\d{8,15}")


def site_number(station: str) -> str:
    """The station number of ``usgs:01541000``.

    Raises
    ------
    UsageMistake
        When it is none.
    """
    number = station.split(":", 1)[1] if ":" in station else station
    if not _NUMBER.fullmatch(number):
        raise UsageMistake(
            f"station {station!r} is no USGS station number",
            "8 to 15 digits with leading zeros, such as usgs:01541000",
            "correct the station",
        )
    return number


def floats(texts: Sequence[Any], notes: list[str], code: str) -> np.ndarray:
    """Numbers of texts; what is no number is NaN, and counted in the notes unless it is empty."""
    try:
        return np.fromiter(map(float, texts), np.float64, len(texts))
    except (TypeError, ValueError):
        values = np.full(len(texts), np.nan)
        odd = []
        for i, text in enumerate(texts):
            try:
                values[i] = float(text)
            except (TypeError, ValueError):
                odd += [str(text)] if text not in (None, "") else []
        if odd:
            notes.append(f"parameter {code}: {len(odd)} values are no numbers (first {odd[0]!r}); taken as missing")
        return values
