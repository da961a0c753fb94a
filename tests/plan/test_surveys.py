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
from planner.plan.waters import run_water
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


@pytest.mark.parametrize("mark", ["equipment", "ice"])
def test_a_marked_stage_reduces_no_sounding(tmp_path: Path, mark: str) -> None:
    """Regression: the stage of a failed gauge, 1 m too high on a survey day, made the run 0.6 m shallower."""
    folder = small_river(EXAMPLES / "demo", tmp_path / "river")
    before = read_gauge("file:gauge.csv", _request(), read_river(folder), None)
    head, *rows = (folder / "gauge.csv").read_text(encoding="utf-8").splitlines()
    marked = []
    for row in rows:
        time, stage, discharge, warm, word = row.split(",")
        if time.startswith("2026-04-25"):
            stage, discharge, word = f"{float(stage) + 1:.3f}", f"{3 * float(discharge):.2f}", mark
        marked.append(",".join([time, stage, discharge, warm, word]))
    (folder / "gauge.csv").write_text("\n".join([head, *marked]) + "\n", encoding="utf-8")
    river = read_river(folder)
    view = read_gauge("file:gauge.csv", _request(), river, None)
    noon, may = np.datetime64("2026-04-25T17:00:00"), np.datetime64("2026-05-30T17:00:00")
    assert np.isnan(stage_at(view.record, noon))
    assert stage_at(view.record, may) == stage_at(before.record, may)
    reduced = run_water(river.run("chute"), river, view).flow
    assert reduced.soundings == 44  # of 125: those of the day that was read well
    assert reduced.stage_ref == pytest.approx(float(stage_at(before.record, may)), abs=0.1)
