"""What the river is expected to read."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.gauges import Quality, open_series
from planner.units import CFS, FOOT
from planner.water import expect, rating_of
from planner.water.spread import default_spread
from tests.gauges import replies
from tests.water import made

ICE_NOW = made.datetime(2019, 1, 29, 5, tzinfo=made.UTC)


def test_falling_water_follows_its_own_recession() -> None:
    """After 40 days of fall by 6 % a day the discharge a day ahead is 6 % less, and the stage goes along the rating."""
    q = made.recession(k=0.94)
    series = made.series(made.power(q), q)
    e = expect(series, made.NOW, made.NOW + timedelta(hours=24), made.NOW + timedelta(hours=24))
    assert e.discharge_m3s[0] == pytest.approx(q[-1] * 0.94, rel=2e-3)
    assert e.stage_m[0] == pytest.approx(made.power(q[-1] * 0.94), abs=2e-3)
    assert "falling water falls" in e.basis
    assert "half-life about 11 d" in e.basis


def test_rising_water_is_kept_and_its_rise_opens_the_range_upward() -> None:
    """A rise is not carried into the median, but the upper bounds reach at least where six more hours of it lead."""
    q = np.concatenate([np.full(3000, 20.0), 20.0 * np.exp(np.arange(1, 25) * 0.02)])
    series = made.series(made.power(q), q)
    e = expect(series, made.NOW, *made.window(8, 2))
    assert e.trend_m_per_h > 0
    assert e.rise_m_3h > 0
    assert e.gain_3h == pytest.approx(np.exp(0.24) - 1, rel=1e-9)
    np.testing.assert_allclose(e.discharge_m3s, q[-1])
    assert (e.discharge_high_m3s >= q[-1] * np.exp(6 * 0.08) * 0.999).all()
    assert (e.stage_high_m >= series.stage_m[-1] + 6 * e.trend_m_per_h - 1e-9).all()


def test_the_range_grows_with_lead_and_keeps_its_order() -> None:
    """5, 10, 50, 90 and 95 % stand in order at every hour and none narrows with lead."""
    q = made.storms()
    series = made.series(made.power(q), q)
    e = expect(series, made.NOW, made.NOW, made.NOW + timedelta(hours=36))
    for low, mid, high in (
        ((e.stage_p05_m, e.stage_low_m), e.stage_m, (e.stage_high_m, e.stage_p95_m)),
        ((e.discharge_p05_m3s, e.discharge_low_m3s), e.discharge_m3s, (e.discharge_high_m3s, e.discharge_p95_m3s)),
    ):
        assert (low[0] <= low[1]).all()
        assert (low[1] <= mid).all()
        assert (mid <= high[0]).all()
        assert (high[0] <= high[1]).all()
    assert (np.diff(e.stage_high_m - e.stage_m) > -1e-9).all()
    assert (np.diff(e.stage_m - e.stage_low_m) > -1e-9).all()
    assert "own changes over 60 d" in e.basis


def test_the_scored_range_holds_on_water_not_seen() -> None:
    """From origins all over a long made record, ranges of 80 % catch at least 70 % of what came 15 hours later."""
    q = made.storms(seed=11, days=300)
    stage = made.power(q)
    caught = []
    for origin in range(6000, len(q) - 150, 960):
        end = made.NOW - timedelta(minutes=15 * (len(q) - 1 - origin))
        past = made.series(stage[origin - 5760 : origin + 1], q[origin - 5760 : origin + 1], end=end)
        e = expect(past, end, end + timedelta(hours=15), end + timedelta(hours=15))
        row = int((e.times[0] - past.times[-1]) / np.timedelta64(900, "s"))
        truth = stage[origin + row]
        caught.append(e.stage_low_m[0] <= truth <= e.stage_high_m[0])
    assert len(caught) > 20
    assert np.mean(caught) >= 0.70


def test_a_short_record_takes_the_default_range_and_says_so() -> None:
    """With one day of data the 10 and 90 % of the table stand about the median."""
    series = made.series(np.full(96, 1.5))
    e = expect(series, made.NOW, made.NOW + timedelta(hours=12), made.NOW + timedelta(hours=12))
    assert e.stage_high_m[0] - 1.5 == pytest.approx(0.20)
    assert e.stage_low_m[0] - 1.5 == pytest.approx(-0.08)
    assert "general one" in e.basis


def test_a_dry_record_does_not_rule_out_rain() -> None:
    """Sixty days without any change leave a quarter of the default range."""
    series = made.series(np.full(5760, 1.5), np.full(5760, 20.0))
    e = expect(series, made.NOW, made.NOW + timedelta(hours=24), made.NOW + timedelta(hours=24))
    assert e.stage_high_m[0] - 1.5 == pytest.approx(0.25 * 0.30)
    assert e.discharge_high_m3s[0] == pytest.approx(20 * np.exp(0.25 * 0.60))


def test_an_old_reading_is_stale_and_its_range_wider() -> None:
    """Six hours of silence make the reading stale; the range counts from the reading, not from the clock."""
    series = made.series(np.full(96, 1.5))
    fresh = expect(series, made.NOW, *made.window(12, 0))
    old = expect(series, made.NOW + timedelta(hours=6), *made.window(18, 0))
    assert (fresh.quality, old.quality) == (Quality.PROVISIONAL, Quality.STALE)
    assert old.age_min == pytest.approx(360)
    assert old.stage_high_m[0] > fresh.stage_high_m[0]


@pytest.mark.parametrize(("age", "quality"), [(180, Quality.PROVISIONAL), (181, Quality.STALE)])
def test_three_hours_are_the_limit_of_stale(age: int, quality: Quality) -> None:
    """A reading is stale from the first minute beyond three hours."""
    series = made.series(np.full(96, 1.5))
    assert expect(series, made.NOW + timedelta(minutes=age), *made.window()).quality == quality


def test_ice_keeps_the_last_good_value_and_gives_no_range() -> None:
    """On the recorded January ice the last good discharge stays, marked ice, ten hours old, with unknown bounds."""
    series = open_series("usgs:01542500", now=ICE_NOW, reply_files=[replies.ICE])
    e = expect(series, ICE_NOW, ICE_NOW + timedelta(hours=8), ICE_NOW + timedelta(hours=12))
    assert e.keyed_on == "discharge"
    assert e.quality == Quality.ICE
    assert e.age_min == pytest.approx(600)
    np.testing.assert_allclose(e.discharge_m3s, 3760 * CFS)
    assert np.isnan(e.stage_m).all()
    for bound in (e.discharge_low_m3s, e.discharge_high_m3s, e.discharge_p05_m3s, e.discharge_p95_m3s):
        assert np.isnan(bound).all()
    assert "ice" in e.basis
    assert any("39 (ice)" in note for note in e.notes)


def test_equipment_trouble_shows_and_its_values_are_not_carried_on() -> None:
    """The reading before the trouble is carried on, and the trouble named."""
    stage = np.concatenate([np.full(95, 1.5), [9.0]])
    quality = np.array(["provisional"] * 95 + ["equipment"])
    e = expect(made.series(stage, quality=quality), made.NOW, *made.window())
    assert e.quality == Quality.EQUIPMENT
    np.testing.assert_allclose(e.stage_m, 1.5)


def test_the_users_level_replaces_the_reading() -> None:
    """A given stage starts at age zero, takes its discharge from the rating and says whose it is."""
    q = made.recession(20)
    series = made.series(made.power(q), q)
    e = expect(series, made.NOW + timedelta(hours=40), *made.window(50, 4), level=2.0)
    assert e.given
    assert e.age_min == 0
    assert "level you gave" in e.basis
    np.testing.assert_allclose(e.stage_m, 2.0)
    assert e.discharge_m3s[0] == pytest.approx(12.0 * (2.0 - 0.35) ** 1.8, rel=1e-3)
    assert np.isfinite(e.stage_high_m).all()


def test_the_users_level_works_without_any_record() -> None:
    """With no series the stage stands alone with a general range and no discharge."""
    e = expect(None, made.NOW, *made.window(), level=1.1, gauge="usgs:01541000")
    assert e.gauge == "usgs:01541000"
    np.testing.assert_allclose(e.stage_m, 1.1)
    assert np.isnan(e.discharge_m3s).all()
    assert (e.stage_high_m > 1.1).all()


def test_the_users_level_at_a_gauge_without_stage_is_a_discharge() -> None:
    """At a station that sends only discharge the level given is a discharge; ice at the gauge stays in view."""
    series = open_series("usgs:01542500", now=ICE_NOW, reply_files=[replies.ICE])
    e = expect(series, ICE_NOW, ICE_NOW, ICE_NOW + timedelta(hours=3), level=90.0)
    assert e.keyed_on == "discharge"
    np.testing.assert_allclose(e.discharge_m3s, 90.0)
    assert e.quality == Quality.ICE


def test_hours_already_recorded_are_the_record() -> None:
    """A window that began before the last reading takes what was read, without a range."""
    stage = 1.0 + np.arange(96) / 96.0
    series = made.series(stage)
    e = expect(series, made.NOW, made.NOW - timedelta(hours=3), made.NOW + timedelta(hours=3))
    past = e.times <= series.times[-1]
    assert int(past.sum()) == 4
    np.testing.assert_allclose(e.stage_m[past], np.interp(e.times[past].astype(int), series.times.astype(int), stage))
    np.testing.assert_allclose(e.stage_low_m[past], e.stage_high_m[past])
    assert (e.stage_high_m[~past] > e.stage_low_m[~past]).all()


def test_rows_after_the_clock_are_not_known() -> None:
    """The plan's clock hides what the record says later."""
    stage = np.concatenate([np.full(90, 1.5), np.full(6, 3.0)])
    e = expect(made.series(stage), made.NOW - timedelta(hours=2), *made.window())
    np.testing.assert_allclose(e.stage_m, 1.5)


def test_a_record_without_any_level_gives_nothing_known() -> None:
    """Turbidity alone: the expectation is unknown throughout and its quality missing."""
    series = open_series(
        "usgs:444306122144600",
        now=made.datetime(2020, 4, 19, 8, tzinfo=made.UTC),
        reply_files=[replies.TWO_SENSORS],
    )
    e = expect(series, made.datetime(2020, 4, 19, 8, tzinfo=made.UTC), *made.window())
    assert e.quality == Quality.MISSING
    assert np.isnan(e.stage_m).all()
    assert np.isnan(e.age_min)
    assert "No reading" in e.basis


def test_trend_and_rise_on_the_recorded_june_flood() -> None:
    """At Bower on 1 June 2018 the river falls by about 0.011 m an hour; the last three hours took 0.11 ft."""
    now = made.datetime(2018, 6, 2, 4, tzinfo=made.UTC)
    series = open_series("usgs:01541000", now=now, reply_files=[replies.BOWER])
    e = expect(series, now, now, now + timedelta(hours=12))
    assert e.trend_m_per_h == pytest.approx(-0.011, abs=0.001)
    assert e.rise_m_3h == pytest.approx(-0.11 * FOOT, abs=1e-9)
    assert e.keyed_on == "stage"
    assert e.quality == Quality.PROVISIONAL


def test_one_wild_value_does_not_make_a_trend() -> None:
    """A single value 2 m off within the last three hours leaves the trend at zero."""
    stage = np.full(96, 1.5)
    stage[-5] = 3.5
    e = expect(made.series(stage), made.NOW, *made.window())
    assert e.trend_m_per_h == 0.0
    assert any("off and back" in note for note in e.notes)


@pytest.mark.parametrize("flow", [0.0, -4.0])
def test_water_that_stands_or_runs_back_has_no_range(flow: float) -> None:
    """A dry river is expected dry and a tide at its reading, but how much may come is unknown and not as little."""
    e = expect(made.series(None, np.full(96, flow)), made.NOW, *made.window())
    np.testing.assert_array_equal(e.discharge_m3s, flow)
    for unknown in (e.discharge_low_m3s, e.discharge_high_m3s, e.discharge_p95_m3s, e.discharge_cautious_m3s):
        assert np.isnan(unknown).all()
    assert "its range is unknown" in e.basis


def test_the_cautious_side_of_an_hour_is_its_upper_end_or_else_its_median() -> None:
    """Under ice no range is known and the last good value stands; elsewhere the 90 % does."""
    e = expect(made.series(np.full(96, 1.5), np.full(96, 20.0)), made.NOW, *made.window())
    np.testing.assert_array_equal(e.stage_cautious_m, e.stage_high_m)
    np.testing.assert_array_equal(e.discharge_cautious_m3s, e.discharge_high_m3s)
    nan = np.full(len(e.times), np.nan)
    bare = replace(e, stage_high_m=nan, discharge_high_m3s=nan)
    np.testing.assert_array_equal(bare.stage_cautious_m, e.stage_m)
    np.testing.assert_array_equal(bare.discharge_cautious_m3s, e.discharge_m3s)


def test_neither_series_nor_level_is_a_mistake() -> None:
    """Nothing given, nothing expected."""
    with pytest.raises(ValueError, match="needs a series or a level"):
        expect(None, made.NOW, *made.window())


def test_default_range_grows_with_lead_in_every_quantile() -> None:
    """The table of default ranges never narrows, also beyond its end."""
    lead = np.arange(0, 400.0)
    for quantity in ("stage", "ln_discharge"):
        assert (np.diff(np.abs(default_spread(quantity, lead)), axis=1) >= 0).all()


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.one_of(st.floats(-1, 12), st.just(float("nan"))), min_size=1, max_size=120),
    st.integers(0, 3000),
    st.sampled_from(["provisional", "ice", "equipment", "missing", "estimated"]),
    st.sampled_from([15, 30, 60, 240]),
)
def test_no_record_makes_the_expectation_fall_over(stage: list[float], age: int, word: str, step: int) -> None:
    """Gaps, jumps, short and odd records give ordered bounds or unknown ones."""
    quality = np.array(["provisional"] * (len(stage) - 1) + [word])
    h = np.array(stage)
    series = made.series(h, np.where(h > 0, h * 10, np.nan), step_min=step, quality=quality)
    now = made.NOW + timedelta(minutes=age)
    e = expect(series, now, now, now + timedelta(hours=20))
    known = np.isfinite(e.stage_low_m)
    assert (e.stage_p05_m[known] <= e.stage_m[known] + 1e-9).all()
    assert (e.stage_p95_m[known] >= e.stage_m[known] - 1e-9).all()
    rating_of(series)


def test_a_level_that_the_user_states_does_not_recede() -> None:
    """Planning with 2 m must look at 2 m of stage through the whole window, however the river falls today."""
    q = made.recession(k=0.94)
    e = expect(made.series(made.power(q), q), made.NOW, *made.window(14, 8), 2.0, "stage")
    assert e.stage_m == pytest.approx(2.0)
    assert (e.stage_high_m >= 2.0).all()
