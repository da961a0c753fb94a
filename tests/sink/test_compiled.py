"""Machine code kept on disk: stamped with all that it was made from, and only where the compiler keeps it so."""

from __future__ import annotations

import hashlib
from pathlib import Path
from types import SimpleNamespace

import numba
import pytest

from planner.sink import solver
from planner.sink.compiled import compiled


def test_machine_code_is_stamped_with_every_source_that_it_is_made_from():
    """So that a change in what a function calls renews its code too."""
    folder = Path(solver.__file__).parent
    sources = [folder / f"{name}.py" for name in ("compiled", "columns", "solver", "nodes", "course")]
    digest = hashlib.sha256(b"".join(path.read_bytes() for path in [*sources, Path(__file__)]))
    made = compiled()(_twice)
    assert made._cache._cache_file._source_stamp == digest.hexdigest()


def _twice(x: float) -> float:
    return 2.0 * x


@pytest.mark.parametrize("file", [None, SimpleNamespace(renewed=False)])
def test_a_compiler_that_keeps_its_code_otherwise_is_left_alone(monkeypatch, file):
    """Without a file of machine code, or without a stamp on it, nothing is set and the function is given back."""
    made = SimpleNamespace(_cache=SimpleNamespace(_cache_file=file))
    monkeypatch.setattr(numba, "njit", lambda **_: lambda _: made)
    assert compiled()(_twice) is made
    assert not hasattr(file, "_source_stamp")
