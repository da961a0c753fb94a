"""The day laid out with what the answers are worth."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from planner.plan.ask import request
from planner.plan.day import day_of
from planner.plan.readings import gauge_record, read_gauge
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


def test_the_reading_shown_is_the_one_whose_age_is_told(tmp_path) -> None:
    """Regression: of a gauge marked as failed the spoilt stage stood beside the age of the good one."""
    folder = small_river(EXAMPLES / "demo", tmp_path / "river")
    rows = (folder / "gauge.csv").read_text(encoding="utf-8").splitlines()
    rows[-40:] = [",".join([row.split(",")[0], "9.9", "900", "", "equipment"]) for row in rows[-40:]]
    (folder / "gauge.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    river = read_river(folder)
    asked = request(river.timezone, now="2026-06-12T18:00-05:00")
    record = gauge_record(read_gauge(river.gauges[0], asked, river, None))
    assert record["quality"] == "equipment"
    assert record["stage_m"] < 3
    assert record["age_min"] == (asked.now - record["observed_at"]).total_seconds() / 60 == 600
