"""From the gauge to the run: discharge with the spread of published exponents, and both lags."""

from __future__ import annotations

import math
from types import SimpleNamespace

import pytest

from planner.water.transfer import transfer_to_run


def run(area_ratio: float = 1.0, share: float = math.nan, lag: float = math.nan, **extra: float) -> SimpleNamespace:
    """A made run."""
    return SimpleNamespace(area_ratio=area_ratio, flow_share=share, lag_min=lag, extra=extra)


def test_published_exponents_give_a_spread_about_the_usual_one() -> None:
    """At half again the area the discharge is 150, and 132.8 by the lowest published exponent, 0.7."""
    found = transfer_to_run(run(1.5), 100.0)
    assert found.discharge_m3s == pytest.approx(150.0)
    assert found.low_m3s == pytest.approx(100.0 * 1.5**0.7)
    assert found.high_m3s == pytest.approx(150.0)
    assert found.in_range
    assert any("published exponents" in note for note in found.notes)


@pytest.mark.parametrize(("ratio", "inside"), [(0.5, True), (1.5, True), (0.49, False), (1.51, False)])
def test_a_ratio_outside_its_range_is_said_and_still_answered(ratio: float, inside: bool) -> None:
    """The bounds of the source count as inside; beyond them the note names the range."""
    found = transfer_to_run(run(ratio), 80.0)
    assert found.in_range is inside
    assert any("outside 0.5 to 1.5" in note for note in found.notes) is not inside
    assert found.discharge_m3s == pytest.approx(80.0 * ratio)


def test_both_lags_are_shown_and_the_users_counts() -> None:
    """12 km at 1 m/s take two hours by celerity 5/3; the user's 90 min are used, and both are in the note."""
    found = transfer_to_run(run(lag=90.0, gauge_km=12.0), 80.0, velocity=1.0)
    assert found.lag_travel_s == pytest.approx(7200.0)
    assert found.lag_s == found.lag_given_s == 5400.0
    assert any("90 min" in note and "2.0 h" in note for note in found.notes)


def test_the_travel_time_stands_in_for_a_lag_that_is_not_given() -> None:
    """Without the user's lag the travel time counts; a run above the gauge sees a change before it."""
    assert transfer_to_run(run(gauge_km=-3.0), 80.0, velocity=1.0).lag_s == pytest.approx(-1800.0)
    nothing = transfer_to_run(run(), 80.0)
    assert nothing.lag_s == 0.0
    assert "No lag is given" in nothing.notes[-1]


def test_an_unknown_discharge_stays_unknown() -> None:
    """No figure is made up from nothing."""
    found = transfer_to_run(run(1.2), math.nan)
    assert math.isnan(found.discharge_m3s)
    assert "not known" in found.notes[0]
