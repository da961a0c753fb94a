"""Quantities at the edges."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner import units
from planner.errors import QuantityUnfit
from planner.units import celsius, default_units, fahrenheit, parse, show, value_in


@pytest.fixture
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """An empty cache, with no registry made yet in this process."""
    monkeypatch.setenv("PLUMBRUN_CACHE", str(tmp_path))
    units._registry.cache_clear()
    yield tmp_path
    units._registry.cache_clear()


def test_units_are_read_alike_from_what_was_kept(own_cache: Path) -> None:
    """The second process reads what the first kept of the definitions, and knows our own unit too."""
    first = parse("2.4 ft", "m"), parse("850 cfs", "m**3/s")
    assert list(own_cache.glob("units/*"))
    units._registry.cache_clear()
    assert (parse("2.4 ft", "m"), parse("850 cfs", "m**3/s")) == first


def test_what_was_kept_of_the_units_may_be_spoilt(own_cache: Path) -> None:
    """Damage to every kept file changes no quantity."""
    parse("2.4 ft", "m")
    for path in own_cache.glob("units/*"):
        path.write_bytes(b"spoilt")
    units._registry.cache_clear()
    assert math.isclose(parse("2.4 ft", "m"), 2.4 * 0.3048, rel_tol=1e-12)


def test_units_need_no_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file where the cache's folder should be stops no quantity from being read."""
    (tmp_path / "taken").write_text("", encoding="utf-8")
    monkeypatch.setenv("PLUMBRUN_CACHE", str(tmp_path / "taken"))
    units._registry.cache_clear()
    assert math.isclose(parse("2.4 ft", "m"), 2.4 * 0.3048, rel_tol=1e-12)
    units._registry.cache_clear()


def test_constants_are_exact() -> None:
    """The foot and the grain are defined, not measured."""
    assert parse("1 ft", "m") == pytest.approx(0.3048, rel=1e-15)
    assert parse("1 grain", "kg") == pytest.approx(64.79891e-6, rel=1e-12)
    assert parse("1 cfs", "m**3/s") == pytest.approx(0.028316846592, rel=1e-12)


@given(st.floats(0.001, 1000))
def test_a_shown_value_goes_back_to_the_same_number(value: float) -> None:
    """What is shown in feet is the same length."""
    assert value_in(value, "depth", "us") * 0.3048 == pytest.approx(value)
    assert celsius(fahrenheit(value)) == pytest.approx(value)


def test_unknown_is_shown_as_unknown() -> None:
    """NaN and None never become a number."""
    assert show(math.nan, "depth") == "unknown"
    assert show(None, "speed", "us") == "unknown"


@pytest.mark.parametrize("text", ["", "ft", "3", "3 bananas", "3 s", "inf ft", "__import__('os')"])
def test_what_is_no_length_is_refused(text: str) -> None:
    """Every other text ends in a message, never in a traceback."""
    with pytest.raises(QuantityUnfit):
        parse(text, "m", "--depth")


def test_us_gauges_show_us_units() -> None:
    """A US gauge is read in feet by default."""
    assert default_units("usgs:01541000") == "us"
    assert default_units("france:B720000001") == "metric"
