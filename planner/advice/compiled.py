"""Compile with numba, keeping the machine code on disk where a folder for it can be found."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba

__all__ = ["compiled"]


def compiled(**options: Any) -> Callable[[Callable], Callable]:
    """``numba.njit`` with its cache on disk, or without one where no folder for it can be written.

    The functions that call each other stand in one module, so that a change in it renews them all.

    Examples
    --------
    >>> @compiled()
    ... def twice(x):
    ...     return 2.0 * x
    >>> twice(1.5)
    3.0
    """

    def decorate(function: Callable) -> Callable:
        try:
            return numba.njit(cache=True, error_model="numpy", **options)(function)
        except RuntimeError:
            return numba.njit(error_model="numpy", **options)(function)

    return decorate
