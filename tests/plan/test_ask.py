"""The request: day, window, clock and level as a user types them."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from planner.errors import QuantityUnfit, UsageMistake
from planner.plan.ask import asked_level, moment, request

ZONE = "America/Chicago"
NOW = "2026-06-12T18:00-05:00"


def test_tomorrow_is_the_next_day_in_the_rivers_zone() -> None:
    """Late in the evening the UTC date is already the next one; the river's own day counts."""
    asked = request(ZONE, now="2026-06-12T23:30-05:00")
    assert asked.day == date(2026, 6, 13)
    assert asked.start == datetime(2026, 6, 13, 13, 0, tzinfo=UTC)


def test_a_window_on_the_day_the_clocks_change_keeps_its_local_hours() -> None:
    """On the spring day of 23 hours, 08:00 is one hour earlier in UTC than the day before."""
    before = request(ZONE, day="2026-03-07", now="2026-03-01T12:00Z")
    after = request(ZONE, day="2026-03-08", now="2026-03-01T12:00Z")
    assert (after.start - before.start).total_seconds() == 23 * 3600


def test_a_time_without_offset_is_in_the_rivers_zone() -> None:
    """A clock time typed without offset means the river's own."""
    assert moment("2026-06-12T18:00", ZONE) == moment(NOW, "UTC")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"day": "someday"}, "--day"),
        ({"day": "2026-06-01"}, "ends before now"),
        ({"start": "16:00", "end": "08:00"}, "before it starts"),
        ({"start": "8 o'clock"}, "--from"),
        ({"now": "yesterday"}, "--now"),
    ],
)
def test_a_request_that_cannot_be_read_says_which_word_is_wrong(options: dict, said: str) -> None:
    """The message names the option that was given wrongly."""
    with pytest.raises(UsageMistake, match=said):
        request(ZONE, **{"now": NOW, **options})


def test_a_level_is_read_as_stage_or_as_discharge() -> None:
    """The unit tells which of the two is meant."""
    assert asked_level("2.4 ft").stage_m == pytest.approx(0.73152)
    assert asked_level("850 cfs").discharge_m3s == pytest.approx(850 * 0.3048**3)
    assert asked_level("24 m³/s").discharge_m3s == pytest.approx(24.0)
    assert asked_level("-0.4 ft").stage_m == pytest.approx(-0.12192)
    assert asked_level(None) is None


@pytest.mark.parametrize("text", ["2.4", "two feet", "3 kg", "nan ft", "-5 cfs", "0 cfs", "-3 ft", "-200 ft"])
def test_a_level_of_no_such_kind_is_refused(text: str) -> None:
    """A number without unit, of another kind, not finite, no flowing water, or far below zero is no level."""
    with pytest.raises(QuantityUnfit):
        asked_level(text)
