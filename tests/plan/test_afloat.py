"""The hours on the water end with the slow end of the trip, not with the hours asked for."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from planner.caution.gather import gather_conditions
from planner.gauges import forecast as agency
from planner.gauges.series import to_datetime64
from planner.plan import afloat as module
from planner.plan.afloat import afloat, look_at
from planner.plan.ask import Request
from planner.plan.cautions import cautious_level
from planner.plan.readings import Beside
from planner.river import read_river
from planner.trip import Route
from planner.weather import Forecast, Weather
from tests.rivers import EXAMPLES, small_river

NOW = datetime(2026, 6, 12, 23, 0, tzinfo=UTC)
# The demo drifts about 55 min, 81 min at its slow end: 13:30 is reached at about 13:56 then, with wind later.
REQUEST = Request(NOW, NOW + timedelta(hours=12), NOW + timedelta(hours=14, minutes=30), NOW.date())
CREST = 3.4


@pytest.fixture(scope="module")
def river(tmp_path_factory: pytest.TempPathFactory):
    """The demo river with one spot."""
    return read_river(small_river(EXAMPLES / "demo", tmp_path_factory.mktemp("afloat") / "river"))


@pytest.fixture(scope="module")
def looked(river):
    """Its gauge and runs, read once."""
    look = look_at(river)
    look(REQUEST)
    return look


def sky(river, *, wind: tuple[float, ...] = (), thunder: tuple[float, ...] = ()) -> Forecast:
    """A forecast of eight hours from the first asked for; wind blows straight up the river."""
    n = 8
    row = np.zeros(n)
    blows, rolls = row.copy(), row.copy()
    blows[: len(wind)], rolls[: len(thunder)] = wind, thunder
    towards = np.full(n, Route.of(river).bearing())
    times = to_datetime64(REQUEST.start) + np.arange(n) * np.timedelta64(3600, "s")
    return Forecast("Made Service", "here", NOW, times, row + 18.0, blows, towards, blows, rolls, row, row)


def given(monkeypatch: pytest.MonkeyPatch, forecast: Forecast) -> None:
    """Let this forecast be what the weather service said."""
    monkeypatch.setattr(
        module, "look_up", lambda river, start, end, now, **_: Weather(start, end, now, forecast, (), ())
    )


def test_gauge_and_weather_are_looked_at_to_the_slow_end(river, looked) -> None:
    """81 minutes of slow drift in place of 55 end half an hour late: that half hour has its gauge and its sky."""
    found = afloat(river, REQUEST, looked)
    latest = found.lay_out().take_out_latest
    assert latest > REQUEST.end + timedelta(minutes=20)
    assert found.weather.end == latest
    for view in found.views.values():
        assert view.expected.times[-1] >= to_datetime64(latest)
    assert all(water.view is found.views[water.view.station] for water in found.waters.values())
    assert found.lay_out().end == REQUEST.end  # the hours asked for are what the day is laid out in


def test_a_crest_between_the_end_and_the_slow_end_counts(river, looked) -> None:
    """Water that comes after the hours asked for, while a slow party is still out, is what the runs are held at."""
    now, late = to_datetime64(NOW), to_datetime64(REQUEST.end)
    hour = np.timedelta64(3600, "s")

    def with_crest(request: Request):
        views, waters = looked(request)
        station, view = next(iter(views.items()))
        last = view.series.last().stage_m
        times = np.array([now, late - hour // 2, late + hour // 2, late + 9 * hour])
        stages = np.array([last, last, CREST, CREST])
        crest = agency.Forecast("noaa:MADE1", "Made Service", NOW, times, stages, np.full(4, np.nan))
        seen = module.seen_again(replace(view, beside=Beside(forecast=crest)), request, river, None)
        return {station: seen}, {name: replace(water, view=seen) for name, water in waters.items()}

    whole = afloat(river, REQUEST, with_crest)
    asked_for = with_crest(replace(REQUEST, end=REQUEST.end - timedelta(minutes=30)))[1]
    for name, water in whole.waters.items():
        assert cautious_level(water).stage_m >= CREST
        assert cautious_level(asked_for[name]).stage_m < 2.5


def test_thunder_after_the_hours_asked_for_reaches_the_slow_end(river, looked, monkeypatch) -> None:
    """Regression: thunder was looked for until the hours asked for were over, though a slow float is still out."""
    given(monkeypatch, sky(river, thunder=(0, 0, 0, 80)))
    whole_hours = replace(REQUEST, end=REQUEST.start + timedelta(hours=3))  # the fourth hour begins as they end
    found = afloat(river, whole_hours, looked)
    trip = found.lay_out()
    view = next(iter(found.views.values()))
    base = gather_conditions(river, view.expected, view.series, NOW, trip, weather=found.weather)
    assert base.thunder_chance == 80
    early = Weather(whole_hours.start, whole_hours.end, NOW, found.weather.forecast, ())
    assert early.conditions()["thunder_chance"] == 0


def test_wind_of_the_later_hours_slows_the_slow_end(river, looked, monkeypatch) -> None:
    """Wind that rises only after the hours asked for still blows on whoever is late."""
    still = afloat(river, REQUEST, looked).lay_out().take_out_latest
    given(monkeypatch, sky(river, wind=(0, 0, 8.0, 8.0)))
    on_the_hour = replace(REQUEST, end=REQUEST.start + timedelta(hours=2))
    found = afloat(river, on_the_hour, looked)
    latest = found.lay_out().take_out_latest
    assert latest - on_the_hour.end > still - REQUEST.end + timedelta(minutes=10)
    assert found.weather.end == latest


def test_twelve_hours_more_are_the_most(river, looked, monkeypatch) -> None:
    """A storm up the river leaves a tenth of a metre a second: six hours and more, and no hour past the twelfth."""
    monkeypatch.setattr(module, "_LONGEST", timedelta(hours=1))
    given(monkeypatch, sky(river, wind=(30.0,) * 8))
    found = afloat(river, REQUEST, looked)
    assert found.lay_out().take_out_latest > REQUEST.end + timedelta(hours=2)
    assert found.weather.end == REQUEST.end + timedelta(hours=1)
