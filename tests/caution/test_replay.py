"""Recorded rises, reading by reading: what would have been raised, and that the docs say the same."""

from __future__ import annotations

import importlib.util
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from planner.caution import rise_conditions

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def script() -> ModuleType:
    """The replay script as a module."""
    spec = importlib.util.spec_from_file_location("replay_rises", ROOT / "examples" / "replay_rises.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["replay_rises"] = module
    spec.loader.exec_module(module)
    return module


def test_the_docs_hold_the_replay_as_it_runs(script):
    """Every line of the report stands in docs/cautions.md."""
    said = (ROOT / "docs" / "cautions.md").read_text(encoding="utf-8")
    for line in script.report().splitlines():
        assert line in said, line


def test_a_fast_rise_is_raised_hours_before_its_crest(script):
    """On 10 December 2015 level 2 stands by 04:30, and the crest comes at 10:00."""
    england = script.rises()[0]
    ((level, when, rule, _),) = script.first_raised(england)
    assert (level, rule) == (2, "F6")
    assert when == datetime(2015, 12, 10, 4, 30, tzinfo=UTC)
    assert england.series.times[np.argmax(england.series.stage_m)] == np.datetime64("2015-12-10T10:00:00")


def test_no_level_is_raised_later_than_the_agencys_category(script):
    """On the Pearl River stay off stands from the first reading, which is above flood stage already."""
    pearl = script.rises()[2]
    first = {level: when for level, when, _, _ in script.first_raised(pearl)}
    ((_, reached, before),) = script.category_times(pearl)
    assert before
    assert first[3] <= reached


def test_the_ice_of_january_2019_ends_the_figures_with_stay_off(script):
    """The first reading that the gauge marks as ice raises level 3."""
    karthaus = script.rises()[1]
    first = {level: (when, rule) for level, when, rule, _ in script.first_raised(karthaus)}
    iced = karthaus.series.times[karthaus.series.quality == "ice"][0]
    assert first[3][1] == "F9"
    assert first[3][0] == datetime.fromtimestamp(int(iced.astype(np.int64)), UTC)
    assert first[2][0] < first[3][0] - timedelta(days=3)


def test_a_rise_since_a_dip_within_the_hour_is_a_rise():
    """From the lowest reading of the hour, so that a dip hides nothing; a fall stays a fall."""
    times = np.datetime64("2026-06-01T00:00:00", "s") + np.arange(20) * np.timedelta64(900, "s")
    dip = np.full(20, 2.0)
    dip[-3] = 1.8
    assert rise_conditions(times, dip, 10 * dip)["rise_m_1h"] == pytest.approx(0.2)
    assert rise_conditions(times, dip[::-1] * 0 + np.linspace(2.0, 1.0, 20), dip)["rise_m_1h"] < 0


def test_a_record_shorter_than_the_span_can_say_that_it_rose_and_not_that_it_did_not():
    """Half an hour of record: a rise beyond the threshold counts, a smaller one is not known."""
    times = np.datetime64("2026-06-01T00:00:00", "s") + np.arange(3) * np.timedelta64(900, "s")
    flow = np.full(3, 10.0)
    assert rise_conditions(times, np.array([1.0, 1.1, 1.2]), flow)["rise_m_1h"] == pytest.approx(0.2)
    assert rise_conditions(times, np.array([1.0, 1.02, 1.04]), flow)["rise_m_1h"] is None
    assert rise_conditions(times, np.array([1.0, 1.02, 1.04]), flow)["rise_m_3h"] == pytest.approx(0.04)
    assert rise_conditions(times, flow, np.array([10.0, 11.0, 13.0]))["flow_gain_3h"] == pytest.approx(0.3)
    assert rise_conditions(times, flow, flow)["flow_gain_3h"] is None
