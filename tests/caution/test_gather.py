"""From a folder and a gauge's record to the conditions, each figure on its cautious side."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from planner.caution import assess_river, at_level, at_stance, gather_conditions
from planner.errors import RiverFolderUnfit
from planner.gauges import Series, parse_iv_json
from planner.water import expect
from tests.trip.test_schedule import SPOTS, river

DATA = Path(__file__).parents[2] / "data" / "gauges"
NOW = datetime(2026, 6, 12, 23, 0, tzinfo=UTC)
WINDOW = (NOW + timedelta(hours=13), NOW + timedelta(hours=21))


def record(stage, quality="provisional", end=NOW):
    """A series of quarter hours that ends at a moment."""
    n = len(stage)
    back = np.arange(n - 1, -1, -1) * np.timedelta64(900, "s")
    times = np.datetime64(end.replace(tzinfo=None), "s") - back
    stage = np.asarray(stage, dtype=float)
    warm = 20.0 + 3.0 * np.sin(np.arange(n) * 2 * np.pi / 96)
    return Series(
        "usgs:1", "usgs", "Invented", times, stage, 10 * stage**2, warm, np.full(n, np.nan),
        np.full(n, quality), (), end,
    )  # fmt: skip


def test_the_highest_upper_level_and_the_coldest_water_count():
    """Of the window's range the upper end, of the last day the coldest hour and the warmest."""
    series = record(2.0 + 0.05 * np.sin(np.arange(96 * 40) / 300))
    expected = expect(series, NOW, *WINDOW)
    c = gather_conditions(river(SPOTS), expected, series, NOW)
    assert c.stage_m == np.nanmax(expected.stage_high_m)
    assert c.stage_m >= np.nanmax(expected.stage_m)
    assert c.discharge_low_m3s <= c.discharge_m3s
    assert c.water_temp_c == pytest.approx(17.0, abs=0.01)
    assert c.water_temp_high_c == pytest.approx(23.0, abs=0.01)
    assert c.data_age_min == 0


@pytest.mark.parametrize("flow", [0.0, -3.0])
def test_no_flow_now_is_no_credit_for_tomorrows(flow):
    """Regression: below a dam that stands, or on the tide, a local limit of the flow read as held and not raised."""
    series = replace(record(np.full(400, 2.0)), discharge_m3s=np.full(400, flow))
    c = gather_conditions(river(SPOTS), expect(series, NOW, *WINDOW), series, NOW)
    assert c.discharge_m3s is None
    limit = {"input": "discharge", "at_si": 20.0, "level": 3, "side": "above", "text": "", "source": "board"}
    check = next(check for check in assess_river(c, [limit]).base if check.rule == "F1.1")
    assert check.level is None


def test_readings_after_the_plans_clock_are_not_looked_at():
    """A rise that comes after the plan was made is not known to it."""
    quiet = record(np.full(400, 2.0), end=NOW - timedelta(hours=1))
    flood = record(np.concatenate([np.full(400, 2.0), 2.0 + 0.2 * np.arange(1, 5)]), end=NOW)
    early = NOW - timedelta(hours=1)
    assert gather_conditions(river(SPOTS), series=flood, now=early).rise_m_1h == 0
    assert gather_conditions(river(SPOTS), series=quiet, now=early).rise_m_1h == 0
    assert gather_conditions(river(SPOTS), series=flood, now=NOW).rise_m_1h == pytest.approx(0.8)


def test_a_level_the_user_gave_is_taken_and_the_records_age_stays():
    """The stated level has no age, the rise still rests on the record."""
    series = record(np.full(400, 2.0), end=NOW - timedelta(hours=12))
    expected = expect(series, NOW, *WINDOW, level=2.2)
    c = gather_conditions(river(SPOTS), expected, series, NOW)
    assert c.level_given
    assert c.data_age_min == pytest.approx(720)
    caution = assess_river(c)
    assert next(check.level for check in caution.base if check.rule == "F6") is None


def test_a_level_given_without_any_gauge_has_no_age_check():
    """Where nothing was read, nothing can be old."""
    expected = expect(None, NOW, *WINDOW, level=2.2)
    caution = assess_river(gather_conditions(river(SPOTS), expected, None, NOW))
    assert not [check for check in caution.base if check.rule == "X1"]


def test_a_step_of_the_ladder_is_a_stated_level():
    """Only the level changes; the rest of the day stays."""
    c = gather_conditions(river(SPOTS), series=record(np.full(400, 2.0)), now=NOW)
    step = at_level(c, 2.5, 60.0)
    assert (step.stage_m, step.discharge_m3s, step.level_given) == (2.5, 60.0, True)
    assert step.water_temp_c == c.water_temp_c
    assert at_level(c, 2.5).discharge_m3s is None
    stance = at_stance(step, 0.4, 0.5, dark=False)
    assert (stance.wade_depth_m, stance.wade_speed_m_s, stance.dark) == (0.4, 0.5, False)


def test_the_trip_and_the_folder_add_what_they_know():
    """Daylight and hazards come from the trip, regulation and the craft's minimum from the folder."""
    trip = SimpleNamespace(takeout_vs_sunset_min=5.0, takeout_vs_dusk_min=-20.0, hazards_in_reach=(("weir", "W"),))
    folder = replace(river(SPOTS), extra={"regulated": True, "craft_minimum": "350 cfs"}, party={"adults": 1})
    c = gather_conditions(folder, trip=trip)
    assert (c.takeout_vs_sunset_min, c.hazards_in_reach, c.regulated, c.alone) == (5.0, (("weir", "W"),), True, True)
    assert c.craft_minimum_m3s == pytest.approx(9.911, abs=0.001)
    assert assess_river(c).level == 3


def test_a_craft_minimum_without_unit_is_refused_by_name():
    """The message names the file and shows how to write it."""
    with pytest.raises(RiverFolderUnfit, match=r"river\.toml: craft_minimum is 350"):
        gather_conditions(replace(river(SPOTS), extra={"craft_minimum": 350}))


def test_a_recorded_reply_under_ice_says_stay_off_and_leaves_the_flow_not_assessed():
    """Station 01542500 in January 2019, ice and missing codes: level 3 by ice, stage and flow not assessed."""
    raw = (DATA / "usgs_iv_01542500_2019-01_ice_missing.json").read_bytes()
    series = parse_iv_json(raw, "usgs:01542500")
    now = series.times[-1].astype(datetime).replace(tzinfo=UTC)
    expected = expect(series, now, now + timedelta(hours=12), now + timedelta(hours=20))
    c = gather_conditions(replace(river(SPOTS), extra={}), expected, series, now)
    caution = assess_river(c)
    assert caution.level == 3
    assert caution.reasons[0]["rule"] == "F9"
    levels = {check.rule: check.level for check in caution.base}
    assert levels["F2"] is None
    assert levels["F6"] is None
    for step in (1.0, 50.0):
        assert assess_river(at_level(c, discharge=step)).level == 3


def test_the_coldest_water_is_that_of_the_day_that_ends_now():
    """Both ends of the day count: what was read a day ago and what is read now; nothing older, nothing later."""
    for hours_ago, counts in ((24.25, False), (24.0, True), (12.0, True), (0.0, True), (-0.25, False)):
        series = record(np.full(150, 2.0), end=NOW + timedelta(minutes=15))
        temperature = np.full(150, 20.0)
        temperature[-2 - round(4 * hours_ago)] = 4.0
        c = gather_conditions(river(SPOTS), series=replace(series, temperature_c=temperature), now=NOW)
        assert c.water_temp_c == (4.0 if counts else 20.0), hours_ago


@pytest.mark.parametrize(("stances", "planned"), [(("anchored", "bank"), False), (("anchored", "wading"), True)])
def test_wading_is_planned_where_one_spot_is_waded(stances, planned):
    """One stance on foot is enough for the rule on releases to tell somebody to keep out of the water."""
    spots = [replace(spot, stance=stance) for spot, stance in zip(SPOTS, stances, strict=False)]
    assert gather_conditions(river(spots)).wading_planned is planned


@pytest.mark.parametrize(
    ("station", "level"),
    [("usgs:1", 0), ("file:gauge.csv", 0), ("noaa:MADE1", None), ("canada:05BJ004", None), ("england:690140", None),
     ("france:V715501001", None)],
)  # fmt: skip
def test_a_gauge_that_never_speaks_of_ice_does_not_say_that_there_is_none(station, level):
    """Regression: a Canadian reading of January, which cannot be marked, was counted as one without ice."""
    series = replace(record(np.full(400, 2.0)), station=station, service=station.partition(":")[0])
    caution = assess_river(gather_conditions(river(SPOTS), expect(series, NOW, *WINDOW), series, NOW))
    assert next(check.level for check in caution.base if check.rule == "F9") == level
    assert all(reason["rule"] != "F9" or "not known" in reason["text"] for reason in caution.reasons)


def test_ice_that_is_marked_counts_whoever_marks_it():
    """A word of ice stands, from a service that was not known to say it too."""
    series = replace(record(np.full(400, 2.0), "ice"), station="canada:05BJ004", service="canada")
    assert assess_river(gather_conditions(river(SPOTS), expect(series, NOW, *WINDOW), series, NOW)).level == 3


def marked(stage, *rows):
    """A record of this stage in which some rows are marked as equipment trouble."""
    quality = np.full(len(stage), "provisional", dtype="<U12")
    quality[list(rows)] = "equipment"
    return record(stage, quality)


def test_what_a_failed_float_gave_between_good_readings_is_no_rise():
    """Regression: a quarter hour of a stuck float, marked as such, read as a rise of 1.8 m within the hour."""
    stage = np.full(400, 2.0)
    stage[-3] = 0.2
    series = marked(stage, -3)
    c = gather_conditions(river(SPOTS), expect(series, NOW, *WINDOW), series, NOW)
    assert c.rise_m_1h == 0.0
    torn = np.full(400, 2.0)
    torn[-2:] = 2.9
    ends = marked(torn, -2, -1)
    caution = assess_river(gather_conditions(river(SPOTS), expect(ends, NOW, *WINDOW), ends, NOW))
    assert next(check.level for check in caution.base if check.rule == "F6") == 3


def test_a_stated_level_does_not_make_a_failed_gauge_tell_the_rise():
    """Regression: with a level of one's own the stuck float of a failed gauge was counted as a river that stands."""
    series = marked(np.full(400, 2.0), *range(-40, 0))
    stated = gather_conditions(river(SPOTS), expect(series, NOW, *WINDOW, level=2.0), series, NOW)
    caution = assess_river(stated)
    assert {check.rule: check.level for check in caution.base if check.rule in ("X1", "F6", "F6q")} == {
        "X1": None, "F6": None, "F6q": None,
    }  # fmt: skip
    assert not any(check.blocks for check in caution.base)
    sound = record(np.full(400, 2.0))
    heard = gather_conditions(river(SPOTS), expect(sound, NOW, *WINDOW, level=2.0), sound, NOW)
    assert next(check.level for check in assess_river(heard).base if check.rule == "F6") == 0
