"""Each gauge test has a store of its own and an address at which nothing answers."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.gauges.test_service import Service


@pytest.fixture(autouse=True)
def _alone(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PLUMBRUN_CACHE", str(tmp_path / "cache"))
    for name in ("USGS_IV", "USGS_V1", "NOAA", "CANADA", "CANADA_OFFICE", "ENGLAND", "FRANCE", "USGS_STATISTICS"):
        monkeypatch.setenv(f"PLUMBRUN_{name}", "http://127.0.0.1:9/")
    monkeypatch.setenv("PLUMBRUN_USGS", "iv")


@pytest.fixture
def server() -> Iterator[Service]:
    """A server that nobody is told of yet."""
    running = Service()
    yield running
    running.stop()
