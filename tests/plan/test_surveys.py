"""Survey days outside the record that a plan reads."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from planner.plan.ask import Request
from planner.plan.readings import read_gauge
from planner.plan.surveys import survey_days, with_survey_days
from planner.river import read_river
from planner.water import stage_at
from tests.rivers import EXAMPLES, small_river

NOW = datetime(2026, 6, 12, 23, 0, tzinfo=UTC)


@pytest.fixture
def river(tmp_path: Path):
    """The demo river with soundings whose stage must come from the gauge."""
    read = read_river(small_river(EXAMPLES / "demo", tmp_path / "river"))
    soundings = read.soundings.assign(stage_m=np.nan)
    return replace(read, soundings=soundings)


def _request() -> Request:
    return Request(NOW, NOW + timedelta(hours=14), NOW + timedelta(hours=22), NOW.date())


def test_a_record_that_covers_the_surveys_asks_for_no_more(river) -> None:
    """Days inside the record need no second reading."""
    view = read_gauge(river.gauges[0], _request(), river, None)
    assert survey_days(river, view.series) == []


def test_days_before_the_record_are_read_and_joined(river) -> None:
    """A plan that reads a week still finds the stage of a survey a month ago."""
    view = read_gauge(river.gauges[0], _request(), river, None)
    short = view.series.between(NOW - timedelta(days=2), NOW)
    days = survey_days(river, short)
    assert days
    joined, notes = with_survey_days(short, river, _request())
    assert notes == ()
    moments = pd.to_datetime(river.soundings["taken_at"], utc=True).dt.tz_localize(None).to_numpy("datetime64[s]")
    assert np.isfinite(stage_at(joined, moments)).all()
    assert np.isnan(stage_at(short, moments)).all()


def test_a_day_that_cannot_be_had_is_said(river) -> None:
    """The note names the day and what follows from it."""
    view = read_gauge(river.gauges[0], _request(), river, None)
    soundings = river.soundings.assign(taken_at=pd.Timestamp("2019-05-01T12:00Z"))
    old = replace(river, soundings=soundings)
    joined, notes = with_survey_days(view.series, old, _request())
    assert joined is view.series
    assert "2019-05-01" in notes[0]
