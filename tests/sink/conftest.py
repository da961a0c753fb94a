"""Lines, flies and currents shared by the tests of the sink model."""

from __future__ import annotations

import pytest

from planner.sink import Current, Fly, Line
from planner.sink.fly import fly_from_class
from planner.sink.line import line_from_head
from planner.units import FOOT, GRAIN, INCH


@pytest.fixture(scope="session")
def head() -> Line:
    """A 200 grain head of 26 ft that sinks 5 in/s."""
    return line_from_head(26 * FOOT, 200 * GRAIN, 5 * INCH)


@pytest.fixture(scope="session")
def slim() -> Fly:
    """A slim heavy fly."""
    return fly_from_class("low", "heavy")


@pytest.fixture(scope="session")
def bulky() -> Fly:
    """A bulky unweighted fly."""
    return fly_from_class("high", "none")


@pytest.fixture(scope="session")
def river() -> Current:
    """3.5 ft/s in 8 ft of water."""
    return Current(3.5 * FOOT, 8 * FOOT, 7.0)
