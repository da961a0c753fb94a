"""Compile with numba, keeping the machine code on disk where a folder for it can be found."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numba

__all__ = ["compiled"]

# No "nnan" and "ninf": a free bed lies at infinite depth and NaN means unknown.
FASTMATH = {"nsz", "arcp", "contract", "afn", "reassoc"}


@cache
def _sources(caller: str) -> str:
    """Digest of the sources of the swim's compiled modules and of the caller's file."""
    here = Path(__file__).parent
    digest = hashlib.sha256()
    for path in (*(here / f"{name}.py" for name in ("compiled", "columns", "solver", "nodes", "course")), Path(caller)):
        digest.update(path.read_bytes() if path.exists() else b"")
    return digest.hexdigest()


def compiled(*, fastmath: set[str] | bool = FASTMATH, **options: Any) -> Callable[[Callable], Callable]:
    """Decorate a function with ``numba.njit``, cached on disk if possible, else compiled anew in each process.

    numba keeps its cache beside the module, or in the user's cache folder when the package is read-only; when
    neither can be written it raises RuntimeError at decoration, which must not stop the program.

    Parameters
    ----------
    fastmath : set of str or bool
        What the compiler may assume of floating-point numbers; False keeps to IEEE 754.
    **options
        Of ``numba.njit``.

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
            dispatcher = numba.njit(cache=True, fastmath=fastmath, error_model="numpy", **options)(function)
        except RuntimeError:
            return numba.njit(fastmath=fastmath, error_model="numpy", **options)(function)
        # numba looks only at the caller's own file; a change in a callee's file must renew the code too.
        index = getattr(getattr(dispatcher, "_cache", None), "_cache_file", None)
        if index is not None and hasattr(index, "_source_stamp"):
            index._source_stamp = _sources(function.__code__.co_filename)
        return dispatcher

    return decorate
