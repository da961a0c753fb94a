"""The rise of the water against the gauge's own record, and its clouding against its own month, at the bounds."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from planner.caution.past import cloudy_conditions, rise_conditions

START = np.datetime64("2026-06-01T00", "s")
NONE = np.full(400, np.nan)


def hours(*values: float) -> np.ndarray:
    """Moments so many hours after the start."""
    return START + np.round(np.array(values) * 3600).astype(int) * np.timedelta64(1, "s")


def rise(stamps: np.ndarray, stage, **more) -> dict:
    """Of a record of stage alone."""
    return rise_conditions(stamps, np.array(stage, dtype=float), NONE[: len(stamps)], **more)


def test_a_rise_is_read_between_two_readings() -> None:
    """With a reading every two hours, an hour ago lies on the line between them."""
    got = rise(hours(0, 2, 4), [1.0, 1.2, 1.6])
    assert got["rise_m_1h"] == pytest.approx(0.2)
    assert got["rise_m_3h"] == pytest.approx(0.5)


@pytest.mark.parametrize(("gap", "told"), [(3.0, True), (3.01, False)])
def test_nothing_is_read_across_more_than_three_hours_without_a_reading(gap: float, told: bool) -> None:
    """A stage an hour ago is known from readings three hours apart, and not from ones further apart."""
    got = rise(hours(0, 4, 4 + gap), [1.0, 1.0, 1.03])
    assert (got["rise_m_1h"] is not None) is told


def test_a_reading_at_the_moment_itself_needs_no_neighbour() -> None:
    """The reading of just an hour ago counts although none stands near it."""
    got = rise(hours(0, 9, 10), [1.0, 1.0, 1.02])
    assert got["rise_m_1h"] == pytest.approx(0.02)
    assert got["rise_m_3h"] is None


def test_readings_up_to_now_count_and_later_ones_do_not() -> None:
    """The reading of the very moment is the last; that of the next hour is not looked at."""
    stamps = hours(0, 1, 2, 3, 4)
    got = rise(stamps, [1.0, 1.0, 1.0, 1.1, 9.0], now=datetime(2026, 6, 1, 3, tzinfo=UTC))
    assert got["rise_m_1h"] == pytest.approx(0.1)
    flow = np.array([10.0, 10.0, 10.0, 11.0, 99.0])
    got = rise_conditions(stamps, NONE[:5], flow, now=datetime(2026, 6, 1, 3, tzinfo=UTC))
    assert got["flow_gain_3h"] == pytest.approx(0.1)


def test_a_dip_within_the_span_hides_no_rise() -> None:
    """Down and up again within three hours is a rise from the lowest, in stage and in flow."""
    got = rise_conditions(hours(0, 1, 2, 3), [1.0, 0.9, 0.8, 1.0], [10.0, 9.0, 8.0, 10.0])
    assert got["rise_m_3h"] == pytest.approx(0.2)
    assert got["rise_m_1h"] == pytest.approx(0.2)
    assert got["flow_gain_3h"] == pytest.approx(0.25)


def test_the_lowest_counts_at_the_beginning_of_the_span_and_not_before() -> None:
    """What was lower more than three hours ago is no rise of the last three."""
    got = rise_conditions(hours(0, 1, 2, 3, 4), [0.5, 0.8, 1.0, 1.0, 1.0], [5.0, 8.0, 10.0, 10.0, 10.0])
    assert got["rise_m_3h"] == pytest.approx(0.2)
    assert got["rise_m_1h"] == pytest.approx(0.0)
    assert got["flow_gain_3h"] == pytest.approx(0.25)


def test_a_falling_river_is_told_as_falling() -> None:
    """The fall over the whole span, not that from the lowest reading, which is the last."""
    got = rise_conditions(hours(0, 1, 2, 3), [1.3, 1.2, 1.1, 1.0], [13.0, 12.0, 11.0, 10.0])
    assert got["rise_m_1h"] == pytest.approx(-0.1)
    assert got["rise_m_3h"] == pytest.approx(-0.3)
    assert got["flow_gain_3h"] == pytest.approx(10 / 13 - 1)


@pytest.mark.parametrize(("low", "told"), [(0.85, True), (0.8501, False)])
def test_a_record_that_begins_late_tells_a_rise_that_reaches_the_rule(low: float, told: bool) -> None:
    """Within the hour, 0.15 m is a rise to tell; a little less may be nothing, so it is not known."""
    got = rise(hours(0, 0.5), [low, 1.0])
    assert (got["rise_m_1h"] is not None) is told


def test_a_flow_that_begins_within_the_span_tells_its_growth() -> None:
    """A quarter more within two hours reaches the rule; less, or from a dry bed, is not known."""
    stamps = hours(0, 1, 2)
    assert rise_conditions(stamps, NONE[:3], [8.0, 9.0, 10.0])["flow_gain_3h"] == pytest.approx(0.25)
    assert rise_conditions(stamps, NONE[:3], [8.1, 9.0, 10.0])["flow_gain_3h"] is None
    assert rise_conditions(hours(0, 1, 2, 3), NONE[:4], [0.0, 0.0, 1.0, 2.0])["flow_gain_3h"] is None


def test_the_growth_of_a_flow_below_one_is_a_share_too() -> None:
    """Half a cubic metre that becomes 0.6 grew by a fifth."""
    got = rise_conditions(hours(0, 1, 2, 3), NONE[:4], [0.5, 0.5, 0.55, 0.6])
    assert got["flow_gain_3h"] == pytest.approx(0.2)
    dipped = rise_conditions(hours(0, 1, 2, 3), NONE[:4], [0.6, 0.5, 0.5, 0.6])
    assert dipped["flow_gain_3h"] == pytest.approx(0.2)


def steps(count: int, last: float) -> dict:
    """So many hourly rises of 1, 2, 3 … mm, then one of `last` [m]."""
    stage = np.concatenate([[0.0], np.cumsum(np.append(np.arange(1, count) * 0.001, last))])
    return rise(START + np.arange(len(stage)) * np.timedelta64(3600, "s"), stage)


def test_two_hundred_rises_rank_one_and_fewer_do_not() -> None:
    """With 199 rises of an hour and fewer of three nothing is said of the rank."""
    assert steps(199, 0.1)["rise_percentile"] is None
    assert steps(200, 0.1)["rise_percentile"] is not None


def test_the_rank_is_the_share_of_rises_that_are_smaller() -> None:
    """Half a metre in an hour is above the other 200 of 201; a tenth is above 99 of 200, and no rise is above none."""
    assert steps(201, 0.5)["rise_percentile"] == pytest.approx(100 * 200 / 201)
    assert steps(200, 0.1)["rise_percentile"] == pytest.approx(49.5)  # of 1 to 199 mm and itself, 99 are below 100 mm
    falling = np.append(np.cumsum(np.arange(1, 300) * 0.001), 40.0 - np.arange(4))
    times = START + np.arange(len(falling)) * np.timedelta64(3600, "s")
    assert rise(times, falling)["rise_percentile"] == 0.0


def cloudy(readings: np.ndarray, each_min: float = 60.0, **more) -> dict:
    """Of readings so many minutes apart."""
    times = START + (np.arange(len(readings)) * each_min * 60).astype(int) * np.timedelta64(1, "s")
    return cloudy_conditions(times, readings, **more)


def test_the_usual_turbidity_is_that_of_the_last_thirty_days() -> None:
    """Readings of the month before change nothing, and 200 of the month are enough."""
    got = cloudy(np.append(np.full(800, 90.0), np.full(720, 5.0)))
    assert got["turbidity_median_fnu"] == 5.0
    # of readings a day apart the 30 days before the last hold 30, so that 1,000 of them are too few
    assert cloudy(np.full(1000, 5.0), 1440.0)["turbidity_median_fnu"] is None
    assert cloudy(np.full(200, 5.0))["turbidity_median_fnu"] == 5.0
    assert cloudy(np.full(199, 5.0))["turbidity_median_fnu"] is None


@pytest.mark.parametrize(
    ("before", "last", "turns"),
    [(4.0, 5.0, True), (4.0, 4.99, False), (20.0, 22.0, True), (20.0, 21.9, False), (4.0, 3.0, False)],
)
def test_water_turns_cloudier_by_a_tenth_and_by_one_unit(before: float, last: float, turns: bool) -> None:
    """Clear water by 1 FNU, cloudy water by a tenth, each at its bound."""
    got = cloudy(np.array([before, before, before, last]))
    assert got["turbidity_rising"] is turns


def test_clouding_is_read_three_hours_back_and_up_to_now() -> None:
    """What was clear four hours ago does not count; a reading after now is not looked at, nor a record too short."""
    assert cloudy(np.array([1.0, 9.0, 9.0, 9.0, 9.0]))["turbidity_rising"] is False
    at = datetime(2026, 6, 1, 3, tzinfo=UTC)
    assert cloudy(np.array([4.0, 4.0, 4.0, 9.0, 1.0]), now=at)["turbidity_rising"] is True
    assert cloudy(np.array([4.0, 4.0, 9.0]))["turbidity_rising"] is None


def test_a_flow_that_ended_before_the_stage_says_nothing_of_now() -> None:
    """Regression: a discharge that ended two days ago read as no growth in the last three hours, and was counted."""
    stamps = hours(*np.arange(0, 60, 0.5))
    stage = np.full(len(stamps), 1.0)
    flow = np.where(np.arange(len(stamps)) < 20, 5.0, np.nan)
    assert rise_conditions(stamps, stage, flow)["flow_gain_3h"] is None
    assert rise_conditions(stamps, stage, flow)["rise_m_3h"] == 0.0
    within = np.where(np.arange(len(stamps)) < len(stamps) - 2, 5.0, np.nan)
    assert rise_conditions(stamps, stage, within)["flow_gain_3h"] == 0.0


def test_a_stage_that_ended_before_the_flow_tells_only_what_it_raised() -> None:
    """A float that the flood tore away said so before; one that stood still before it ended says nothing."""
    stamps = hours(*np.arange(0, 400, 0.5))
    n = len(stamps)
    flow = np.full(n, 5.0)
    saw = 1.0 + 0.01 * (np.arange(n) % 5)
    calm = rise_conditions(stamps, np.where(np.arange(n) < n - 9, saw, np.nan), flow)
    assert (calm["rise_m_1h"], calm["rise_percentile"], calm["flow_gain_3h"]) == (None, None, 0.0)
    torn = np.where(np.arange(n) < n - 9, saw + np.where(np.arange(n) >= n - 11, 0.6, 0.0), np.nan)
    gone = rise_conditions(stamps, torn, flow)
    assert gone["rise_m_1h"] > 0.5
    assert gone["rise_m_3h"] > 0.5
    assert gone["rise_percentile"] > 99
