"""Ladder, recession, moments, transfer to the run, and the checks of a record."""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.gauges import open_series
from planner.units import CFS, FOOT
from planner.water import discharge_at, expect, ladder, rating_of, run_discharge, stage_at, travel_time_s
from planner.water.clean import check_table, cleaned
from planner.water.recession import fit_recession
from tests.gauges import replies
from tests.water import made

_Q = made.storms(days=30, step_min=60)
_RECORDS = {days: made.series(made.power(_Q[-24 * days :]), _Q[-24 * days :], step_min=60) for days in (1, 30)}


@settings(max_examples=40, deadline=None)
@given(st.floats(-0.5, 8.0), st.sampled_from(["us", "metric"]), st.sampled_from([1, 30]))
def test_the_ladder_spans_what_it_must_on_round_values(level: float, units: str, days: int) -> None:
    """At most 25 steps, ascending, round in the user's unit, beyond 5 to 95 % and half a metre either way."""
    series = _RECORDS[days]
    e, rating = expect(series, made.NOW, *made.window(), level=level), rating_of(series)
    stages, discharges = ladder(e, rating, units)
    assert 2 <= len(stages) <= 25
    assert len(discharges) == len(stages)
    assert stages[0] <= min(np.nanmin(e.stage_p05_m), e.stage_m.min() - 0.5) + 1e-9
    assert stages[-1] >= max(np.nanmax(e.stage_p95_m), e.stage_m.max() + 0.5) - 1e-9
    shown = stages / (FOOT if units == "us" else 1.0)
    steps = np.diff(shown)
    np.testing.assert_allclose(steps, steps[0], rtol=1e-6)
    np.testing.assert_allclose(shown / steps[0], np.round(shown / steps[0]), atol=1e-6)
    known = discharges[np.isfinite(discharges)]
    assert (np.diff(known) > 0).all()


def test_the_ladders_discharge_passes_through_the_last_reading() -> None:
    """At Bower the ladder at 6.67 ft, were it a step, would read 1,090 ft³/s."""
    now = made.datetime(2018, 6, 2, 4, tzinfo=made.UTC)
    series = open_series("usgs:01541000", now=now, reply_files=[replies.BOWER])
    stages, discharges = ladder(expect(series, now, now, now + timedelta(hours=12)), rating_of(series), "us")
    at = np.exp(np.interp(6.67 * FOOT, stages, np.log(discharges)))
    assert at == pytest.approx(1090 * CFS, rel=0.005)


def test_without_stage_the_ladder_is_of_discharges() -> None:
    """At the ice station: no stage, at least half to twice the last discharge, two figures in ft³/s."""
    now = made.datetime(2019, 1, 29, 5, tzinfo=made.UTC)
    series = open_series("usgs:01542500", now=now, reply_files=[replies.ICE])
    stages, discharges = ladder(expect(series, now, now, now + timedelta(hours=9)), None, "us")
    assert np.isnan(stages).all()
    assert len(discharges) <= 25
    assert discharges[0] <= 1880 * CFS
    assert discharges[-1] >= 7520 * CFS
    cfs = discharges / CFS
    digits = 10 ** (np.floor(np.log10(cfs)) - 1)
    np.testing.assert_allclose(cfs / digits, np.round(cfs / digits), atol=1e-6)


def test_nothing_known_gives_no_ladder() -> None:
    """No level, no steps."""
    series = made.series(np.full(5, np.nan), quality=np.full(5, "missing"))
    stages, discharges = ladder(expect(series, made.NOW, *made.window()), None, "us")
    assert len(stages) == len(discharges) == 0


def test_ladder_of_a_dry_river_is_empty() -> None:
    """With no flow there is no factor of two."""
    stages, _ = ladder(expect(made.series(None, np.zeros(96)), made.NOW, *made.window()), None, "metric")
    assert len(stages) == 0


@pytest.mark.parametrize("k", [0.80, 0.90, 0.97])
def test_recession_constant_is_found_in_falling_water(k: float) -> None:
    """K of a made record comes back."""
    hourly = made.recession(15, k=k, step_min=60)
    fitted = fit_recession(hourly)
    assert fitted is not None
    assert float(fitted.carry(hourly[-1], 24.0)) == pytest.approx(hourly[-1] * k, rel=0.01)


def test_high_water_falls_faster_where_the_record_says_so() -> None:
    """From a store with -dQ/dt = a Q^1.6 the exponent and the fall at high and at low water come back."""
    a, b = 0.0008, 1.6
    q = [200.0]
    for _ in range(24 * 40):
        q.append((q[-1] ** (1 - b) + (b - 1) * a) ** (1 / (1 - b)))
    fitted = fit_recession(np.array(q))
    assert fitted is not None
    assert fitted.power == pytest.approx(b, abs=0.05)
    for start in (150.0, 20.0):
        truth = (start ** (1 - b) + (b - 1) * a * 24) ** (1 / (1 - b))
        assert float(fitted.carry(start, 24.0)) == pytest.approx(truth, rel=0.02)


def test_storms_do_not_hide_the_recession() -> None:
    """Rises between the falling limbs leave the fitted fall near that of the store that made them."""
    q = made.storms(days=120)[::4]
    fitted = fit_recession(q)
    assert fitted is not None
    truth = 4.0 + (30.0 - 4.0) * 0.93
    assert float(fitted.carry(30.0, 24.0)) == pytest.approx(truth, rel=0.02)


def test_too_little_falling_water_gives_no_recession() -> None:
    """A day of fall is not enough, nor is steady or rising water, nor nothing."""
    assert fit_recession(made.recession(1, step_min=60)) is None
    assert fit_recession(np.full(2000, 5.0)) is None
    assert fit_recession(np.linspace(5, 50, 2000)) is None
    assert fit_recession(np.empty(0)) is None


def test_moments_between_readings_are_linear_and_gaps_stay_unknown() -> None:
    """Half way is half way; outside the record and across more than three hours nothing is known."""
    series = made.series(np.array([1.0, 2.0, np.nan, np.nan, 5.0]), np.arange(5.0), step_min=90)
    t = series.times
    half = t[0] + np.timedelta64(45 * 60, "s")
    np.testing.assert_allclose(stage_at(series, np.array([half, t[0], t[1], t[4]])), [1.5, 1.0, 2.0, 5.0])
    gap = t[1] + np.timedelta64(60, "s")
    assert np.isnan(stage_at(series, np.array([t[0] - 1, gap, t[4] + 1]))).all()
    assert float(discharge_at(series, made.NOW)) == 4.0
    np.testing.assert_allclose(stage_at(series, [made.NOW, made.NOW - timedelta(hours=6)]), [5.0, 1.0])


def test_a_gap_of_just_three_hours_is_still_bridged() -> None:
    """Three hours are bridged, a second more is not."""
    series = made.series(np.array([1.0, np.nan, 2.0]), step_min=90)
    assert np.isfinite(stage_at(series, series.times[1:2])).all()
    late = made.series(np.array([1.0, np.nan, 2.0]), step_min=91)
    assert np.isnan(stage_at(late, late.times[1:2])).all()


def test_a_moment_without_zone_is_refused() -> None:
    """A bare time is no moment."""
    with pytest.raises(ValueError, match="no zone"):
        stage_at(made.series(np.ones(5)), made.datetime(2026, 6, 12))


def test_the_run_takes_area_ratio_and_share() -> None:
    """Half the flow of a run with 120 of the gauge's 150 square miles is four tenths of the gauge's."""
    run = SimpleNamespace(area_ratio=0.8, flow_share=0.5)
    assert run_discharge(250.0, run) == pytest.approx(100.0)
    assert run_discharge(250.0, SimpleNamespace(area_ratio=1.0, flow_share=float("nan"))) == 250.0
    assert np.isnan(run_discharge(float("nan"), run))


def test_a_change_of_flow_travels_faster_than_the_water() -> None:
    """Ten kilometres at 1 m/s take 10,000 s for the water and 6,000 s for the rise."""
    assert travel_time_s(10_000.0, 1.0) == pytest.approx(6000.0)
    assert travel_time_s(10_000.0, 1.0, celerity_ratio=1.0) == pytest.approx(10_000.0)
    assert np.isnan(travel_time_s(10_000.0, 0.0))


def test_a_spike_is_taken_out_and_a_rise_is_not() -> None:
    """One or two values off and back go; a step that stays, a peak of three and the last value do not."""
    stage = np.full(60, 1.0)
    stage[10] = 2.0
    stage[20:22] = 0.2
    stage[30:33] = 1.8
    stage[40:] = 1.6
    stage[59] = 2.9
    got = cleaned(made.series(stage))
    assert np.flatnonzero(np.isnan(got.stage_m)).tolist() == [10, 20, 21]
    assert any("3 values jump" in note for note in got.notes)


def test_a_real_flood_loses_nothing() -> None:
    """The recorded floods pass the cleaning untouched."""
    for path, station in ((replies.PEARL, "usgs:02492000"), (replies.BOWER, "usgs:01541000")):
        raw = path.read_bytes()
        from planner.gauges import parse_iv_json

        series = parse_iv_json(raw, station)
        assert cleaned(series) is series


def test_the_checks_name_what_they_find() -> None:
    """Gaps, a slip by a thousand, a negative discharge and silence each have their row; a clean record has none."""
    q = np.full(400, 20.0)
    assert not [check for check in check_table(made.series(None, q), made.NOW) if check.passed is False]
    q[50:80] = np.nan
    q[100] = 20_000.0
    q[150] = -1.0
    later = made.NOW + timedelta(hours=5)
    found = {check.name: check for check in check_table(made.series(None, q), later) if check.passed is False}
    assert set(found) == {"spikes in discharge", "gaps", "scale", "negative", "silence"}
    assert found["gaps"].statistic == 1
    assert found["silence"].statistic == 300
