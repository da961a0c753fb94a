"""The day laid out with what the answers are worth."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from planner.plan.ask import request
from planner.plan.day import day_of
from planner.river import read_river
from tests.rivers import EXAMPLES, small_river


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory):
    """The demo river with three spots on the evening of its gauge."""
    river = read_river(small_river(EXAMPLES / "demo", tmp_path_factory.mktemp("day") / "river", spots=3))
    return day_of(river, request(river.timezone, now="2026-06-12T18:00-05:00"), "us")


def test_more_minutes_go_where_the_band_is_held_longer(day) -> None:
    """With equal wishes the minutes are shared as the band times are, between half and twice their mean."""
    band = {
        spot.spot.id: spot_answers[spot.at_arrival].best.band_time_s
        for spot, spot_answers in zip(day.spots, day.answers, strict=True)
        if spot_answers[spot.at_arrival].best is not None
    }
    minutes = {stop.spot: stop.fishing_min for stop in day.trip.stops}
    best, least = max(band, key=band.get), min(band, key=band.get)
    assert band[best] > band[least]
    mean = sum(band.values()) / len(band)
    weight = {spot: min(max(value / mean, 0.5), 2.0) for spot, value in band.items()}
    assert minutes[best] / minutes[least] == pytest.approx(weight[best] / weight[least], rel=1e-3)


def test_the_day_still_fits_its_window(day) -> None:
    """However the minutes are shared, the boat is at the take-out when the window ends."""
    assert day.trip.start == datetime(2026, 6, 13, 13, 0, tzinfo=UTC)
    assert abs((day.trip.take_out_at - day.trip.end).total_seconds()) < 60
