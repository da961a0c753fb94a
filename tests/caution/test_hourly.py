"""Cautions hour by hour, the hours at which they turn, and levels held between two plans."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings

from planner.caution import (
    Stance,
    assess_river,
    assess_spot,
    cloudy_conditions,
    flood_categories,
    gather_conditions,
    hold_record,
    hourly_cautions,
    release_within,
    turning_hours,
)
from planner.caution.records import Conditions
from planner.errors import RiverFolderUnfit
from planner.trip import schedule
from planner.trip.sun import SunTimes
from planner.water import expect
from tests.caution.held import hold
from tests.caution.test_gather import NOW, WINDOW, record
from tests.caution.test_invariants import DAYS, rank
from tests.caution.test_rules import CALM
from tests.trip.test_schedule import SPOTS, river

LIMIT = {"input": "stage", "at_si": 2.2, "level": 3, "side": "above", "text": "", "source": "board"}


def stances(stage, discharge):
    """One wading spot whose depth is the stage less 1.6 m, one from the boat."""
    return [
        Stance("bar", "riffle", "Ash bar", True, stage - 1.6, 0.5),
        Stance("seam", "pool", "Far seam", False, 3.0, 1.5),
    ]


def hours(stage, **more):
    """Hours of the window for a record that ends at NOW."""
    series = record(stage)
    expected = expect(series, NOW, *WINDOW)
    base = gather_conditions(river(SPOTS), expected, series, NOW)
    return expected, hourly_cautions(base, expected, thresholds=[LIMIT], stances=stances, now=NOW, **more)


def test_the_present_stands_on_the_reading_and_each_hour_on_its_own_upper_level():
    """Now comes first and is the reading itself; each later hour takes its upper 90 %."""
    expected, found = hours(2.0 + 0.02 * np.sin(np.arange(96 * 40) / 300))
    assert [hour.now for hour in found] == [True] + [False] * len(expected.times)
    assert found[0].stage_m == expected.last.stage_m
    for hour, stage in zip(found[1:], expected.stage_high_m, strict=True):
        assert hour.stage_m == stage
    assert set(found[1].spots) == {"bar", "seam"}
    assert set(found[1].runs) == {"riffle", "pool"}


def test_each_hour_is_at_least_as_high_as_its_river_and_its_spots():
    """The hour's level is the highest of its places."""
    _, found = hours(2.15 + 0.02 * np.sin(np.arange(96 * 40) / 300))
    for hour in found:
        parts = [rank(hour.river), *(rank(c) for c in hour.spots.values()), *(rank(c) for c in hour.runs.values())]
        assert rank(hour.whole) >= max(parts)
        record_ = hour.as_dict()
        assert record_["level"] == hour.whole.level
        assert record_["spots"]["bar"] == hour.spots["bar"].level


def test_an_hour_in_the_dark_raises_what_daylight_does_not():
    """Being on the river after dusk is level 3 at that hour and not before."""
    series = record(np.full(96 * 40, 2.0))
    expected = expect(series, NOW, *WINDOW)
    sunset = WINDOW[0] + timedelta(hours=5)
    sun = SunTimes(None, None, sunset, sunset + timedelta(minutes=30))
    found = hourly_cautions(CALM, expected, sun=sun)
    levels = {round((hour.time - sunset).total_seconds() / 3600): rank(hour.river) for hour in found}
    assert levels[1] == 3
    assert levels[-3] == 0
    assert any("stay off" in sentence for sentence in turning_hours(found))


def test_the_weather_of_an_hour_counts_for_that_hour_only():
    """Thunder at noon is no caution of the morning."""
    expected = expect(record(np.full(96 * 40, 2.0)), NOW, *WINDOW)
    noon = WINDOW[0] + timedelta(hours=4)

    def conditions(start, end):
        return {"thunder_chance": 80.0 if start <= noon < end else 0.0}

    found = hourly_cautions(CALM, expected, weather=SimpleNamespace(conditions=conditions))
    assert [rank(hour.whole) for hour in found if hour.time == noon] == [2]
    assert {rank(hour.whole) for hour in found if hour.time != noon} == {0}


@settings(max_examples=60, deadline=None)
@given(DAYS, DAYS)
def test_holding_a_record_is_never_lower_than_holding_the_caution(old, new):
    """What stands in plan.json is enough to hold every level that the full checks would hold."""
    for before, after in (
        (assess_river(old), assess_river(new)),
        (assess_spot(old, wading=True), assess_spot(new, wading=True)),
    ):
        kept = hold_record(before.as_dict(), after.as_dict())
        assert (kept["level"] or 0) >= rank(hold(before, after)), (before.reasons, after.reasons)
        assert (kept["level"] or 0) >= rank(after)


def test_a_good_reading_clears_a_held_record():
    """A record is held through silence and no longer."""
    high = assess_river(dataclasses.replace(CALM, stage_m=4.5)).as_dict()
    silent = assess_river(dataclasses.replace(CALM, stage_m=None, data_age_min=None, quality="missing")).as_dict()
    held = hold_record(high, silent)
    assert held["level"] == 3
    assert hold_record(held, silent)["reasons"][0]["text"].count("Held from") == 1
    assert hold_record(held, assess_river(CALM).as_dict())["level"] == 0


def test_the_reading_counts_beside_what_is_expected():
    """A river in flood now and forecast to fall by tomorrow is said as such, and a stated level asks for no reading."""
    falling = dataclasses.replace(CALM, stage_m=2.0, observed_stage_m=4.2)
    assert assess_river(falling).level == 3
    stated = assess_river(dataclasses.replace(falling, level_given=True))
    assert all(reason["rule"] != "F4o" for reason in stated.reasons)


def test_major_flooding_is_named_and_needs_no_own_row_to_be_assessed():
    """Categories beyond minor change the words and leave nothing open when they are not known."""
    flood = dataclasses.replace(CALM, stage_m=5.0, moderate_stage_m=4.5, major_stage_m=4.9)
    assert "major flooding" in assess_river(flood).reasons[0]["text"]
    plain = assess_river(dataclasses.replace(CALM, stage_m=3.5))
    assert next(check.doubt for check in plain.base if check.rule == "F4") is False


def test_the_folders_own_flood_stages_and_the_agencys_meet_at_the_lower():
    """Of two sources for a category the lower counts."""
    own = river(SPOTS, extra={"flood_stage": {"unit": "ft", "action": 8.0, "minor": 10.0, "source": "board"}})
    assert flood_categories(own)["action"] == pytest.approx(8 * 0.3048)
    c = gather_conditions(own, categories={"action": 3.0, "minor": 2.9, "major": float("nan")})
    assert c.action_stage_m == pytest.approx(8 * 0.3048)
    assert c.minor_stage_m == 2.9
    assert c.major_stage_m is None
    with pytest.raises(RiverFolderUnfit):
        flood_categories(river(SPOTS, extra={"flood_stage": {"action": "high"}}))


def test_a_release_before_the_slow_end_of_the_float_counts():
    """Regression: one that begins after the hours asked for, with the slow boat still on the water, was none."""
    start, end = WINDOW
    begin = end + timedelta(minutes=30)
    listed = {"from": begin.isoformat(), "to": (begin + timedelta(hours=2)).isoformat(), "source": "board"}
    dammed = river(SPOTS, extra={"release": [listed]})
    trip = schedule(dammed, start, end)
    assert trip.take_out_latest > begin
    assert gather_conditions(dammed, trip=trip).release_in_window is True
    assert gather_conditions(dammed, trip=dataclasses.replace(trip, take_out_latest=end)).release_in_window is False


def test_a_release_on_its_way_counts_and_a_distant_one_does_not():
    """Water let go four hours before the put-in may still be coming down."""
    day = datetime(2026, 6, 13, 13, tzinfo=UTC)

    def with_release(begin, end):
        listed = [{"from": begin.isoformat(), "to": end.isoformat(), "source": "dam's web page"}]
        return river(SPOTS, extra={"release": listed})

    before = with_release(day - timedelta(hours=6), day - timedelta(hours=4))
    assert release_within(before, day, day + timedelta(hours=8)) is True
    past = with_release(day - timedelta(hours=20), day - timedelta(hours=18))
    assert release_within(past, day, day + timedelta(hours=8)) is False
    assert release_within(river(SPOTS), day, day + timedelta(hours=8)) is None
    with pytest.raises(RiverFolderUnfit):
        release_within(river(SPOTS, extra={"release": [{"from": "noon"}]}), day, day)


def test_water_that_turns_cloudier_is_seen_and_a_noisy_sensor_is_not():
    """A rise of a tenth and of 1 FNU at least within three hours."""
    times = np.datetime64("2026-06-01T00", "s") + np.arange(400) * np.timedelta64(900, "s")
    noisy = 4.0 + 0.4 * (np.arange(400) % 2)
    assert cloudy_conditions(times, noisy)["turbidity_rising"] is False
    surge = np.where(np.arange(400) > 395, 40.0, noisy)
    got = cloudy_conditions(times, surge)
    assert got["turbidity_rising"] is True
    caution = assess_river(Conditions(turbidity_fnu=40.0, rise_m_3h=0.1, **got))
    assert next(check.level for check in caution.base if check.rule == "T1") == 2
    assert cloudy_conditions(times[:50], surge[:50])["turbidity_median_fnu"] is None


def test_stances_are_asked_a_little_higher_and_once_for_each_level():
    """Hours within a centimetre share one look at the bed, never a lower one."""
    asked = []

    def once(stage, discharge):
        asked.append((stage, discharge))
        return stances(stage, discharge)

    series = record(2.0 + 0.02 * np.sin(np.arange(96 * 40) / 300))
    expected = expect(series, NOW, *WINDOW)
    found = hourly_cautions(CALM, expected, stances=once, now=NOW)
    assert len(asked) == len(set(asked)) < len(found)
    highest = np.nanmax(expected.stage_high_m)
    assert max(stage for stage, _ in asked) >= highest
    assert max(stage for stage, _ in asked) < highest + 0.01 + 1e-9
    assert max(discharge for _, discharge in asked) >= np.nanmax(expected.discharge_high_m3s)


def test_the_present_is_not_judged_by_tomorrows_sun():
    """Darkness now follows the present day's sun and is not known without it."""
    expected = expect(record(np.full(96 * 40, 2.0)), NOW, *WINDOW)
    tomorrow = SunTimes(NOW + timedelta(hours=10), None, NOW + timedelta(hours=25), NOW + timedelta(hours=26))
    today = SunTimes(NOW - timedelta(hours=14), None, NOW + timedelta(hours=2), NOW + timedelta(hours=3))
    plain = hourly_cautions(CALM, expected, sun=tomorrow, now=NOW)[0]
    known = hourly_cautions(CALM, expected, sun=tomorrow, sun_now=today, now=NOW)[0]
    assert plain.now
    assert any(r["rule"] == "N1" and r["level"] is None for r in plain.whole.reasons)
    assert all(r["rule"] != "N1" for r in known.whole.reasons)


@pytest.mark.parametrize("lacking", ["stage_m", "discharge_m3s"])
def test_a_gauge_that_reads_one_of_the_two_has_a_present(lacking):
    """A service that sends the flow alone, or the stage alone, still tells what the river does now."""
    series = record(np.full(96 * 40, 2.0))
    series = dataclasses.replace(series, **{lacking: np.full(len(series.times), np.nan)})
    found = hourly_cautions(CALM, expect(series, NOW, *WINDOW), now=NOW)
    assert found[0].now
    assert np.isnan(getattr(found[0], lacking))


def test_without_any_reading_there_is_no_present():
    """Nothing that was never read is called now."""
    stated = expect(None, NOW, *WINDOW, level=2.2)
    assert not any(hour.now for hour in hourly_cautions(CALM, stated, now=NOW))


def test_hours_of_two_levels_are_looked_at_twice_though_no_flow_is_known():
    """Two stages of a gauge without a flow never share one look at the bed; one stage does."""
    asked = []

    def once(stage, discharge):
        asked.append(stage)
        return stances(stage, discharge)

    expected = expect(record(np.full(96 * 40, 2.0)), NOW, *WINDOW)
    steps = 2.0 + 0.1 * (np.arange(len(expected.times)) // 3)
    unknown = np.full(len(steps), np.nan)
    expected = dataclasses.replace(
        expected, stage_m=steps, stage_high_m=steps,
        discharge_m3s=unknown, discharge_low_m3s=unknown, discharge_high_m3s=unknown,
    )  # fmt: skip
    found = hourly_cautions(CALM, expected, stances=once)
    assert asked == pytest.approx(sorted(set(steps)))
    for hour, stage in zip(found, steps, strict=True):
        assert hour.spots["bar"].reasons == hourly_cautions_at(expected, stage)


def hourly_cautions_at(expected, stage):
    """What the wading spot's caution says where every hour has one stage."""
    level = np.full(len(expected.times), stage)
    flat = dataclasses.replace(expected, stage_m=level, stage_high_m=level)
    return hourly_cautions(CALM, flat, stances=stances)[0].spots["bar"].reasons


@pytest.mark.parametrize(("flow", "most"), [(0.0, 0.0), (0.0123, 0.013), (10.1, 11.0), (98.7, 99.0), (4321.0, 4400.0)])
def test_the_bed_is_asked_at_the_second_figure_of_the_flow_up(flow, most):
    """Never below the flow, at most a tenth above it, and a dry bed at no flow at all."""
    asked = set()

    def once(stage, discharge):
        asked.add(discharge)
        return ()

    expected = expect(record(np.full(96 * 40, 2.0)), NOW, *WINDOW)
    flat = np.full(len(expected.times), flow)
    hourly_cautions(CALM, dataclasses.replace(expected, discharge_high_m3s=flat), stances=once)
    assert [*asked] == [pytest.approx(most)]


def test_a_day_of_one_level_turns_at_no_hour():
    """Where nothing turns there is nothing to say, the first hour's own level least of all."""
    expected = expect(record(np.full(96 * 40, 2.0)), NOW, *WINDOW)
    assert turning_hours(hourly_cautions(CALM, expected)) == ()


def test_an_hour_is_held_against_the_sun_to_the_minute():
    """The hour that begins an hour before sunset raises nothing yet, a minute later it does."""
    expected = expect(record(np.full(96 * 40, 2.0)), NOW, *WINDOW)
    for minutes, level in ((60, 0), (59, 1)):
        sunset = WINDOW[0] + timedelta(minutes=minutes)
        first = hourly_cautions(CALM, expected, sun=SimpleNamespace(sunset=sunset, dusk=None, is_dark=lambda at: None))
        assert rank(first[0].river) == level


def test_the_words_of_an_hour_are_those_of_its_gravest_caution():
    """Of thunder and a river at its limit the one that says stay off is told."""
    high = dataclasses.replace(CALM, thunder_chance=80.0)
    expected = expect(record(np.full(96 * 40, 2.3)), NOW, *WINDOW)
    hour = hourly_cautions(high, expected, thresholds=[LIMIT])[0].as_dict()
    assert hour["level"] == 3
    assert "the local limit" in hour["text"]
