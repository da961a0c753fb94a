"""The browser and the invented pages that the page's tests share."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from planner.page import build_page
from tests.browser import launched
from tests.page.sample import NASTY, sample


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """One running browser for all tests of the page."""
    with launched() as found:
        yield found


def _written(folder: Path, name: str, units: str = "us", **size: Any) -> Path:
    plan, river = sample(**size)
    file = folder / f"{name}.html"
    file.write_text(build_page(plan, river, units), encoding="utf-8")
    return file


@pytest.fixture(scope="session")
def small_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three runs, six spots, thirteen levels."""
    return _written(tmp_path_factory.mktemp("page"), "small")


@pytest.fixture(scope="session")
def big_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twenty runs, forty spots, twenty-five levels."""
    return _written(tmp_path_factory.mktemp("page"), "big", runs=20, spots=40, levels=25)


@pytest.fixture(scope="session")
def huge_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A hundred runs, two hundred spots, twenty-five levels."""
    return _written(tmp_path_factory.mktemp("page"), "huge", runs=100, spots=200, levels=25)


@pytest.fixture(scope="session")
def nasty_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Names that are markup, script, template and right-to-left text."""
    return _written(tmp_path_factory.mktemp("page"), "nasty", names=NASTY)
