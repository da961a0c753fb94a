"""Each gauge test has a store of its own and an address at which nothing answers."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def _alone(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PLUMBRUN_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("PLUMBRUN_USGS_IV", "http://127.0.0.1:9/")
