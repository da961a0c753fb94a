"""Recorded rises, reading by reading: what would have been raised, and that the docs say the same."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
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
    """The section of docs/cautions.md holds every line of the report, in its order."""
    said = (ROOT / "docs" / "cautions.md").read_text(encoding="utf-8").splitlines()
    section = iter(said[said.index("## Replays") : said.index("## Holding, hours and the ladder")])
    for line in script.report().splitlines():
        assert line in section, line


def test_a_fast_rise_is_raised_hours_before_its_crest(script):
    """On 10 December 2015 level 2 stands by 04:30, and the crest comes at 10:00."""
    england = script.rises()[0]
    (raised,) = script.first_raised(england)
    assert (raised.level, raised.rule) == (2, "F6")
    assert raised.when == datetime(2015, 12, 10, 4, 30, tzinfo=UTC)
    assert england.series.times[np.argmax(england.series.stage_m)] == np.datetime64("2015-12-10T10:00:00")


def test_no_level_for_a_category_is_raised_later_than_the_category(script):
    """Level 2 stands by the action stage and level 3 by minor flooding, on every record that reaches them."""
    held = []
    for rise in script.rises():
        levels = script.level_times(rise)
        for name, reached, _ in script.category_times(rise):
            if reached is None or name not in rise.categories:
                continue
            least = 2 if name == "action" else 3
            assert levels[least] <= reached, (rise.name, name)
            held.append(name)
    plumtree, sligo, spring_branch = ["action", "minor", "action"], ["action"], ["action", "minor"]
    upper = ["action", "minor", "moderate", "major"]
    assert held == ["action", "minor", *plumtree, *sligo, *upper, *upper, *upper, *spring_branch]


def test_the_rise_says_it_before_the_stage_does(script):
    """On the creeks level 2 stands 35 min or more ahead, level 3 10 min or more."""
    for rise in script.rises()[3:6]:
        action = script.category_times(rise)[0][1]
        first = {raised.rule: raised.when for raised in reversed(script.first_raised(rise))}
        assert action - min(first["F6"], first["F6q"]) >= timedelta(minutes=35)
        assert action - first["F4"] >= timedelta(minutes=5)
        assert first["F4o"] == action
        rushed = next(raised for raised in script.first_raised(rise) if raised.level == 3)
        assert rushed.rule == "F6"
        assert timedelta(minutes=10) <= action - rushed.when <= timedelta(minutes=40)


def test_between_two_readings_a_wave_leaves_no_time(script):
    """At Comfort on 4 July 2025 no level stands before the reading that is above action stage."""
    comfort = script.rises()[8]
    action = script.category_times(comfort)[0][1]
    assert set(script.level_times(comfort).values()) == {action}
    kerrville = script.rises()[7]
    assert script.category_times(kerrville)[1][1] - script.level_times(kerrville)[3] == timedelta(minutes=15)


def test_the_evening_before_a_flash_flood_the_gauge_says_nothing_of_it(script):
    """A plan at 20:00 expects less than half the action stage: the record alone cannot foresee a thunderstorm."""
    for rise in script.rises()[3:6]:
        _, highest = script.evening_before(rise)
        assert highest < 0.5 * rise.categories["action"]


def test_the_records_reach_the_readings_that_their_readme_names(script):
    """Crests of the cut records, in feet and cubic feet a second, and the categories as the agency's table has them."""
    crests = [np.nanmax(rise.series.stage_m) / 0.3048 for rise in script.rises()[3:6]]
    np.testing.assert_allclose(crests, [6.63, 5.02, 4.14])
    crests = [np.nanmax(rise.series.stage_m) / 0.3048 for rise in script.rises()[6:10]]
    np.testing.assert_allclose(crests, [37.52, 34.29, 35.64, 30.03])
    assert np.nanmax(script.rises()[-1].series.discharge_m3s) / 0.3048**3 == pytest.approx(50100)
    stages = {name: stage / 0.3048 for name, stage in script.categories_of("01581752").items()}
    assert stages == pytest.approx({"action": 5, "minor": 6, "moderate": 7, "major": 10})


def test_at_quarter_hours_no_level_comes_later_than_the_category(script):
    """Every third reading, in three phases: eight of nine show the action stage; level 3 leads in seven."""
    leads = []
    for rise in script.rises()[3:6]:
        minute = rise.series.times.astype("datetime64[m]").astype(int) % 15
        for phase in (0, 5, 10):
            thinned = replace(rise, name=f"{rise.name} {phase}", series=rise.series.rows(minute == phase))
            action = script.category_times(thinned)[0][1]
            stood: dict[int, datetime] = {}
            for now, caution in script.replay(thinned):
                for level in range(1, (caution.level or 0) + 1):
                    stood.setdefault(level, now)
            assert 3 in stood
            if action is not None:
                leads.append(tuple((action - stood[level]).total_seconds() / 60 for level in (2, 3)))
    assert sorted(three for _, three in leads) == [0, 15, 15, 15, 15, 30, 30, 45]
    assert (min(two for two, _ in leads), max(two for two, _ in leads)) == (30, 75)


def test_a_large_flood_on_a_gauge_without_stage_stays_at_level_2(script):
    """Turkey River, June 2008: the gain of flow says level 2 twenty hours ahead, and nothing says level 3."""
    turkey = script.rises()[-1]
    ((_, reached, _),) = script.category_times(turkey)
    levels = script.level_times(turkey)
    assert set(levels) == {1, 2}
    assert timedelta(hours=20) <= reached - levels[2] < timedelta(hours=21)


def test_the_ice_of_january_2019_ends_the_figures_with_stay_off(script):
    """The first reading that the gauge marks as ice raises level 3."""
    karthaus = script.rises()[1]
    first = {raised.level: raised for raised in reversed(script.first_raised(karthaus))}
    iced = karthaus.series.times[karthaus.series.quality == "ice"][0]
    assert first[3].rule == "F9"
    assert first[3].when == datetime.fromtimestamp(int(iced.astype(np.int64)), UTC)
    assert first[2].when < first[3].when - timedelta(days=3)


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
