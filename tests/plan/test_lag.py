"""Runs that see the gauge's water later or earlier than the gauge does."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from planner.caution import Conditions, Stance, hourly_cautions
from planner.gauges.forecast import Forecast
from planner.gauges.series import to_datetime64
from planner.plan.ask import Request
from planner.plan.cautions import cautious_hours, cautious_level
from planner.plan.readings import Beside, lags_of, read_gauge, seen_again
from planner.plan.waters import RunWater, expected_at
from planner.river import read_river
from tests.rivers import EXAMPLES, small_river

NOW = datetime(2026, 6, 12, 23, 0, tzinfo=UTC)
REQUEST = Request(NOW, NOW + timedelta(hours=14), NOW + timedelta(hours=22), NOW.date())
CREST = 3.4  # of the stage, eleven hours from now: over before the boats are on the water


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory):
    """The demo river, a gauge whose forecast crests before the window, and one of its runs at a given lag."""
    river = read_river(small_river(EXAMPLES / "demo", tmp_path_factory.mktemp("lag") / "river"))
    plain = read_gauge(river.gauges[0], REQUEST, river, None)
    last = plain.series.last().stage_m
    hours = np.array([0, 8, 11, 13, 14, 30])
    stages = np.array([last, last, CREST, last, last, last])
    crest = Forecast(
        "noaa:MADE1", "Made Service", NOW, to_datetime64(NOW) + hours * np.timedelta64(3600, "s"), stages,
        np.full(len(hours), np.nan),
    )  # fmt: skip

    def at_lag(minutes: float, **extra) -> RunWater:
        run = replace(river.runs[0], lag_min=minutes, extra={**river.runs[0].extra, **extra})
        changed = replace(river, runs=(run, *river.runs[1:]))
        view = seen_again(replace(plain, beside=Beside(forecast=crest)), REQUEST, changed, None)
        return RunWater(run, view, flow=None, lag_s=60.0 * minutes)

    return at_lag


def test_a_crest_that_passed_the_gauge_before_the_window_is_still_on_its_way(made) -> None:
    """Regression: a run four hours down the river was held at the falling gauge, below the crest that comes by then."""
    assert cautious_level(made(0.0)).stage_m < 2.5
    assert cautious_level(made(240.0)).stage_m >= CREST
    assert cautious_level(made(240.0)).discharge_m3s > 3 * cautious_level(made(0.0)).discharge_m3s


def test_the_run_sees_the_hour_before_the_window_and_not_its_first(made) -> None:
    """Regression: the median of a run with a lag stood at the window's first hour for all hours before it."""
    water = made(240.0)
    start = REQUEST.start
    seen = expected_at(water.view, start + timedelta(hours=1), water.lag_s).stage_m
    assert seen == pytest.approx(CREST, abs=0.02)
    assert expected_at(water.view, start + timedelta(hours=1)).stage_m < 2.5


def test_the_hours_hold_a_rise_at_once_and_a_fall_not_before_the_lag(made) -> None:
    """Until the lag is over the crest stays; no hour is held lower than without a lag."""
    plain, late = cautious_hours(made(0.0))[0], cautious_hours(made(240.0))[0]
    assert (late >= plain).all()
    assert (late[:2] >= CREST).all()
    assert late[-1] == pytest.approx(plain[-1], abs=0.05)


def test_a_run_above_the_gauge_sees_the_hours_after_the_window(made) -> None:
    """With a lag of less than nothing the range of two hours later counts."""
    above, here = made(-120.0), made(0.0)
    assert above.view.seen(above.lag_s).times[-1] >= here.view.expected.times[-1] + np.timedelta64(2, "h")
    assert cautious_level(above).stage_m >= cautious_level(here).stage_m


def test_a_distance_alone_is_looked_back_for_at_the_slowest(made) -> None:
    """Eleven kilometres at 0.5 m/s of celerity are six hours; without lag and distance nothing more is asked."""
    river = read_river(EXAMPLES / "demo")
    gauge = river.gauges[0]
    assert lags_of(river, gauge) == (0.0, 0.0)
    far = replace(river.runs[0], extra={"gauge_km": 10.8})
    assert lags_of(replace(river, runs=(far,)), gauge) == pytest.approx((21600.0, 0.0))


def test_each_hour_holds_a_lagging_run_at_its_own_water(made) -> None:
    """Beside the spots of the gauge's hour stand those of a run that sees another."""
    expected = made(0.0).view.expected
    n = len(expected.times)

    def bar(stage: float, discharge: float) -> list[Stance]:
        return [Stance("bar", "riffle", "Ash bar", True, stage - 1.0, 0.5)]

    late = [(np.where(np.arange(n) < 2, 3.4, 1.2), np.full(n, np.nan), bar)]
    found = hourly_cautions(Conditions(data_age_min=5, quality="provisional"), expected, lagging=late, now=NOW)
    deep = [any(r["rule"] == "W2" and r["level"] for r in hour.spots["bar"].reasons) for hour in found]
    assert deep[1:4] == [True, True, False]
