"""Percentiles, rates of rise, the agency's forecast and the table of checks."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.gauges import noaa
from planner.gauges import statistics as day_statistics
from planner.gauges.beside import open_categories, open_forecast, open_normals
from planner.gauges.forecast import Forecast
from planner.gauges.series import to_datetime64
from planner.units import CFS
from planner.water import expect, rating_of
from planner.water.clean import check_table
from planner.water.percentiles import rank_among, standing
from planner.water.rises import rise_rates
from tests.gauges import replies
from tests.water import made

DAY = datetime(2026, 6, 12, tzinfo=UTC)
STATS = replies.DATA / "usgs_daily_stats_01491000_01645000.rdb"
STAGEFLOW = replies.DATA / "nwps_stageflow_NRKW1_2026-10-07_excerpt.json"
GAUGE = replies.DATA / "nwps_gauge_NRKW1_2026-10_excerpt.json"


@pytest.fixture(scope="module")
def normals() -> dict:
    """Recorded statistics of the Choptank."""
    return day_statistics.parse(STATS.read_bytes(), "usgs:01491000")


def test_a_published_percentile_has_its_own_rank(normals: dict) -> None:
    """A discharge that is the 90th percentile of its day ranks 90, and so for every one given."""
    normal = normals[(6, 12)]
    for percentile, discharge in normal.percentiles.items():
        assert rank_among(discharge, normal) == pytest.approx(percentile, abs=1e-9)


@settings(max_examples=20, deadline=None)
@given(a=st.floats(0.01, 1e4), b=st.floats(0.01, 1e4))
def test_more_water_never_ranks_lower(normals: dict, a: float, b: float) -> None:
    """Ranks are monotone in discharge and stay between 0 and 100."""
    low, high = sorted((a, b))
    ranks = [standing(q, DAY, normals) for q in (low, high)]
    assert 0 <= ranks[0].season <= ranks[1].season <= 100
    assert 0 <= ranks[0].all_days <= ranks[1].all_days <= 100


def test_the_words_follow_the_classes_and_the_records(normals: dict) -> None:
    """Usual, high and unheard-of water are named as the agency's classes name them."""
    normal = normals[(6, 12)]
    assert standing(62 * CFS, DAY, normals).words.startswith("normal for the date")
    assert standing(normal.percentiles[95.0], DAY, normals).words.startswith("much above normal")
    assert standing(normal.highest * 1.01, DAY, normals).words.startswith("highest on record")
    assert standing(normal.lowest * 0.99, DAY, normals).words.startswith("lowest on record")
    assert standing(normal.highest * 2, DAY, normals).season == 100


def test_few_years_or_an_unknown_flow_are_not_ranked(normals: dict) -> None:
    """Under 30 years, without statistics, or without a discharge the cautions get None, never a low figure."""
    few = {key: day_statistics.DayNormal(29, one.percentiles, one.lowest, one.highest) for key, one in normals.items()}
    for rank in (standing(1.0, DAY, few), standing(math.nan, DAY, normals), standing(1.0, DAY, None)):
        assert rank.as_conditions() == {"percentile_season": None, "percentile_all_days": None}
        assert rank.words.startswith("not ranked")


def test_rates_of_rise_count_only_rises() -> None:
    """A saw of 1 cm up in ten hours and a fall in one has one rate of rise; falling water has none."""
    saw = 1.0 + 0.01 * (np.arange(1200) % 11) / 10.0
    rates = rise_rates(made.series(saw, None, step_min=60))
    assert rates["p50_m_per_h"] == pytest.approx(0.001, rel=1e-6)
    assert rates["hours"] > 1000
    assert math.isnan(rise_rates(made.series(np.linspace(2, 1, 400), None, step_min=60))["p95_m_per_h"])


def forecast_of(hours: list[float], stage: list[float], issued: datetime = made.NOW) -> Forecast:
    """A made forecast of stage."""
    times = np.array([to_datetime64(made.NOW + timedelta(hours=h)) for h in hours])
    return Forecast("noaa:MADE1", "Made Service", issued, times, np.array(stage), np.full(len(stage), np.nan))


def test_the_agencys_forecast_comes_first() -> None:
    """Beyond half a day the median is the forecast's; at the reading it is the reading; the range keeps its width."""
    q = np.full(2000, 20.0)
    series = made.series(np.full(2000, 1.5), q)
    start, end = made.NOW, made.NOW + timedelta(hours=24)
    own = expect(series, made.NOW, start, end)
    e = expect(series, made.NOW, start, end, forecast=forecast_of([0, 12, 24], [1.6, 1.9, 2.2]))
    assert e.stage_m[0] == 1.5
    assert e.stage_m[12] == pytest.approx(1.9)
    assert e.stage_m[24] == pytest.approx(2.2)
    np.testing.assert_allclose(e.stage_high_m - e.stage_m, own.stage_high_m - own.stage_m, atol=1e-12)
    assert "Made Service" in e.basis


def test_a_forecast_on_another_zero_is_not_used_and_said() -> None:
    """A stage forty metres off the reading is a level above a datum, not a flood."""
    series = made.series(np.full(2000, 1.5), np.full(2000, 20.0))
    end = made.NOW + timedelta(hours=24)
    e = expect(series, made.NOW, made.NOW, end, forecast=forecast_of([0, 24], [42.0, 42.1]))
    assert np.nanmax(e.stage_p95_m) < 3
    assert "is not used" in e.basis


def test_a_forecast_that_begins_after_the_reading_misses_nothing() -> None:
    """Regression: a rise of 0.8 m by its first time was taken for another zero, and the flood forecast left out."""
    series = made.series(np.full(2000, 1.5), np.full(2000, 20.0))
    end = made.NOW + timedelta(hours=24)
    e = expect(series, made.NOW, made.NOW, end, forecast=forecast_of([2, 8, 24], [2.3, 4.2, 4.0]))
    np.testing.assert_allclose(e.stage_m[[0, 1, 2, 8, 24]], [1.5, 1.9, 2.3, 4.2, 4.0])
    small = expect(series, made.NOW, made.NOW, end, forecast=forecast_of([5, 24], [1.9, 1.9]))
    np.testing.assert_allclose(small.stage_m[[5, 6, 24]], 1.9)
    silent = made.NOW + timedelta(hours=8)
    late = expect(series, silent, silent, end, forecast=forecast_of([7, 24], [2.9, 4.2]))
    assert late.stage_m[-1] == pytest.approx(4.2)
    far = expect(series, made.NOW, made.NOW, end, forecast=forecast_of([2, 24], [42.0, 42.1]))
    assert np.nanmax(far.stage_p95_m) < 3
    fallen = expect(series, made.NOW, made.NOW, end, forecast=forecast_of([0.5, 24], [0.2, 0.2]))
    assert "is not used" in fallen.basis


def test_a_crest_that_comes_late_is_still_forecast() -> None:
    """Regression: on a rise two hours later than forecast the crest was left out, as if the zero were another."""
    series = made.series(np.full(2000, 1.5), np.full(2000, 20.0))
    end = made.NOW + timedelta(hours=24)
    said = forecast_of([-6, 0, 6, 12, 24], [1.5, 2.2, 3.5, 4.5, 4.0], made.NOW - timedelta(hours=7))
    rows = slice(-200, None, 4)
    same = replace(said, seen_times=series.times[rows], seen_stage_m=series.stage_m[rows] + 0.01)
    e = expect(series, made.NOW, made.NOW, end, forecast=same)
    np.testing.assert_allclose(e.stage_m[[0, 12, 24]], [1.5, 4.5, 4.0])
    other = replace(said, seen_times=series.times[rows], seen_stage_m=series.stage_m[rows] + 0.7)
    e = expect(series, made.NOW, made.NOW, end, forecast=other)
    assert np.nanmax(e.stage_p95_m) < 3
    assert "+0.70 m off this gauge's" in e.basis
    elsewhere = replace(other, seen_times=series.times[rows] - np.timedelta64(400, "D"))
    assert "+0.70 m off the last reading" in expect(series, made.NOW, made.NOW, end, forecast=elsewhere).basis


def test_a_forecast_brings_its_agencys_own_readings() -> None:
    """The observed part of a stageflow reply stands beside the forecast, so that the zeros can be compared."""
    found = noaa.parse_forecast(STAGEFLOW.read_bytes(), "noaa:NRKW1")
    assert found is not None
    np.testing.assert_allclose(found.seen_stage_m / 0.3048, [138.0, 138.03, 138.02])
    assert str(found.seen_times[-1]) == "2026-10-07T20:30:00"
    alone = noaa.parse_forecast(json.dumps(json.loads(STAGEFLOW.read_bytes())["forecast"]).encode(), "noaa:NRKW1")
    assert alone is not None
    assert not len(alone.seen_times)


def test_a_rise_that_is_forecast_in_stage_alone_leaves_no_discharge_of_today() -> None:
    """Regression: on a record too flat for a rating the stage rose by 1 m and the discharge stayed as it was."""
    series = made.series(np.full(2000, 1.5), np.full(2000, 20.0))
    end = made.NOW + timedelta(hours=24)
    e = expect(series, made.NOW, made.NOW, end, forecast=forecast_of([0, 12], [1.5, 2.5]))
    assert e.discharge_m3s[0] == 20.0
    assert np.isnan([e.discharge_m3s[1:13], e.discharge_high_m3s[1:13]]).all()
    np.testing.assert_allclose(e.discharge_m3s[13:], 20.0)


def test_hours_with_no_forecast_of_discharge_follow_the_rating_one_by_one() -> None:
    """A forecast whose discharge ends before its stage is carried on by the station's own pairs."""
    q = made.storms()
    series = made.series(made.power(q), q)
    here = float(series.stage_m[-1])
    said = forecast_of([0, 6, 12], [here, here + 0.1, here + 0.3])
    said = replace(said, discharge_m3s=np.array([q[-1], 1.5 * q[-1], np.nan]))
    e = expect(series, made.NOW, made.NOW, made.NOW + timedelta(hours=12), forecast=said)
    assert e.discharge_m3s[6] == pytest.approx(1.5 * q[-1], rel=0.02)
    assert e.discharge_m3s[12] == pytest.approx(float(rating_of(series).discharge(here + 0.3)), rel=0.02)


def test_a_forecast_raises_water_that_stands() -> None:
    """Below a dam that holds its water, the discharge that is forecast counts."""
    series = made.series(np.full(2000, 1.5), np.zeros(2000))
    said = forecast_of([0, 12], [1.5, 1.8])
    said = replace(said, discharge_m3s=np.array([0.0, 30.0]))
    e = expect(series, made.NOW, made.NOW, made.NOW + timedelta(hours=12), forecast=said)
    assert e.discharge_cautious_m3s[-1] == pytest.approx(30.0)


def test_hours_beyond_the_forecast_keep_the_own_expectation() -> None:
    """A forecast of six hours says nothing of the seventh."""
    series = made.series(np.full(2000, 1.5), np.full(2000, 20.0))
    end = made.NOW + timedelta(hours=12)
    e = expect(series, made.NOW, made.NOW, end, forecast=forecast_of([0, 6], [1.5, 1.8]))
    assert e.stage_m[6] == pytest.approx(1.8)
    assert e.stage_m[7] == pytest.approx(1.5)
    assert "as far as it reaches" in e.basis


def test_recorded_replies_give_forecast_categories_and_statistics() -> None:
    """What stands beside the readings is found among recorded replies, whatever their order, and by its own gauge."""
    now = datetime(2026, 10, 7, 21, tzinfo=UTC)
    files = [STATS, GAUGE, STAGEFLOW]
    found = open_forecast("noaa:NRKW1", now=now, reply_files=files)
    assert found is not None
    assert len(found.times) == 4
    for station in ("noaa:NRKW1", "usgs:12210700"):
        categories = open_categories(station, reply_files=files)
        assert categories is not None
        assert set(categories.known_stages()) == {"action", "minor", "moderate", "major"}
    assert open_categories("usgs:01541000", reply_files=files) is None
    assert open_normals("usgs:01645000", reply_files=files) is not None
    assert open_normals("usgs:12210700", reply_files=files) is None


@pytest.mark.parametrize("hours", [-6, 48])
def test_a_forecast_of_another_time_is_none(hours: int) -> None:
    """One that is issued after the plan's clock is not known yet, one of two days ago no longer counts."""
    now = datetime(2026, 10, 7, 15, 36, tzinfo=UTC) + timedelta(hours=hours)
    assert open_forecast("noaa:NRKW1", now=now, reply_files=[STAGEFLOW]) is None
    assert noaa.parse_forecast(STAGEFLOW.read_bytes(), "noaa:NRKW1") is not None


def test_the_table_of_checks_holds_passes_and_failures() -> None:
    """Each check has statistic, operator, threshold, pass and comment; what cannot be made is neither pass nor fail."""
    stage = np.full(960, 1.0)
    q = 20.0 + 5.0 * np.sin(np.arange(960) / 30.0)
    table = {check.name: check for check in check_table(made.series(stage, q), made.NOW)}
    assert table["flat line"].passed is False
    assert table["flat line"].statistic > table["flat line"].threshold == 24
    assert table["silence"].passed is True
    assert table["gaps"].passed is True
    assert all(check.operator == "<=" and check.comment for check in table.values())
    alone = {check.name: check for check in check_table(made.series(stage, None), made.NOW)}
    assert alone["flat line"].passed is None


def test_a_slip_of_a_thousand_is_found() -> None:
    """501,847 l/s sent for 4.48 m³/s stands far above the record's own high water."""
    q = np.full(400, 4.48)
    q[200] = 501.847
    table = {check.name: check for check in check_table(made.series(None, q), made.NOW)}
    assert table["scale"].passed is False
    assert table["spikes in discharge"].passed is False
