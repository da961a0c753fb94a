"""Soundings on the water of their moment: a gauge that rises by a known rate, and places told apart by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from shapely.geometry import Polygon

from planner.flow.reduction import only, reduce_soundings, reference
from planner.gauges.series import Series
from planner.tables import constants
from tests.flow import box

RULES = constants("flow")
T0 = np.datetime64("2026-05-01T00:00:00", "s")
CORNERS = Polygon([(0, -10), (100, -10), (100, 10), (0, 10)])
STAGE_RATE, FLOW_RATE = 0.1 / 3600, 0.02 / 3600  # [m/s] and of the log [1/s]


def record(hours=101, stage=True, flow=True):
    """A stage that rises by 0.1 m an hour from 1 m, a discharge that grows by 2 % from 20 m³/s, hour by hour."""
    t = np.arange(hours) * 3600.0
    nothing = np.full(hours, np.nan)
    return Series(
        station="file:gauge.csv", service="file", name="Invented", times=T0 + t.astype("timedelta64[s]"),
        stage_m=1.0 + STAGE_RATE * t if stage else nothing,
        discharge_m3s=20.0 * np.exp(FLOW_RATE * t) if flow else nothing,
        temperature_c=nothing, turbidity_fnu=nothing, quality=np.full(hours, "provisional"), notes=(),
        retrieved_at=datetime(2026, 6, 12, tzinfo=UTC),
    )  # fmt: skip


def at_hour(hour):
    """A moment so many hours after the record's beginning."""
    return pd.Timestamp(T0, tz="UTC") + pd.Timedelta(hours=hour)


UNGAUGED = "no record"


def reduced(rows, series=None, rating=None, zone="UTC", **run):
    """Soundings of the flume, each a dict over one of 2 m in its middle at hour 50, reduced."""
    blank = {"x": 50.0, "y": 0.0, "depth_m": 2.0, "taken_at": at_hour(50), "stage_m": math.nan, "method": "rod"}
    frame = pd.DataFrame([blank | {"draft_m": 0.0} | row for row in rows])
    lon, lat = box.PLANE.to_lonlat(frame["x"].to_numpy(float), frame["y"].to_numpy(float))
    frame = frame.assign(lon=lon, lat=lat, taken_at=pd.to_datetime(frame["taken_at"], utc=True))
    river = SimpleNamespace(soundings=frame, timezone=zone)
    series = None if series is UNGAUGED else record() if series is None else series
    return reduce_soundings(replace(box.flume().run, **run), river, box.PLANE, CORNERS, series, rating)


def test_a_sounding_has_the_stage_discharge_and_rates_of_its_moment():
    """At hour 50 the stage is 6 m and rises by 0.1 m an hour; the discharge is 20 e m³/s and grows by 2 % an hour."""
    got = reduced([{}])
    assert got.stage == pytest.approx([6.0])
    assert got.discharge == pytest.approx([20 * math.e])
    assert got.stage_rate == pytest.approx([STAGE_RATE])
    assert got.flow_rate == pytest.approx([FLOW_RATE], rel=1e-3)
    assert got.time_sd == pytest.approx([math.hypot(RULES["clock_sd_s"], RULES["lag_unknown_s"])])
    assert (got.left_out, got.extrapolated.tolist()) == (0, [False])


def test_a_brook_s_discharge_has_its_rate_too():
    """A hundredth of the discharge that grows by as many percent has the same rate of its log."""
    brook = replace(record(), discharge_m3s=record().discharge_m3s / 100)
    assert reduced([{}], series=brook).flow_rate == pytest.approx([FLOW_RATE], rel=1e-3)


def test_without_a_record_a_noted_stage_is_all_that_is_known():
    """A dated sounding keeps it and has no discharge; one without it is left out."""
    got = reduced([{"stage_m": 1.5}, {}], series=UNGAUGED)
    assert (got.stage.tolist(), got.left_out) == ([1.5], 1)
    assert np.isnan(got.discharge).all()
    assert np.isnan(got.flow_rate).all()


def test_a_run_in_which_nothing_was_sounded_has_nothing():
    """Soundings elsewhere on the river are not left out of this run: they are not in it."""
    got = reduced([{"x": 500.0}])
    assert (len(got.x), len(got.day), got.left_out) == (0, 0, 0)


@pytest.mark.parametrize("hour", [0, 100])
def test_at_the_ends_of_the_record_the_rates_are_one_sided(hour):
    """Before its first and after its last reading nothing is known, and half an hour within tells the rate."""
    got = reduced([{"taken_at": at_hour(hour)}])
    assert got.stage_rate == pytest.approx([STAGE_RATE])
    assert got.flow_rate == pytest.approx([FLOW_RATE], rel=1e-2)


def test_a_known_lag_moves_the_moment_and_makes_it_surer():
    """An hour and a half later than the gauge, the run has the water that the gauge had then."""
    got = reduced([{}], lag_min=90.0)
    assert got.stage == pytest.approx([6.0 - 0.15])
    assert got.time_sd == pytest.approx([RULES["clock_sd_s"]])


def test_a_stage_noted_with_the_sounding_wins_and_has_no_doubt_of_time():
    """The record's own is not asked; the discharge of the moment stays."""
    got = reduced([{"stage_m": 2.5}])
    assert got.stage == pytest.approx([2.5])
    assert got.time_sd == pytest.approx([0.0])
    assert got.discharge == pytest.approx([20 * math.e])


def test_a_sounding_of_no_known_water_is_left_out_and_counted():
    """Undated without a stage, or dated outside the record; an undated one with its stage stays, under that stage."""
    rows = [{"taken_at": pd.NaT}, {"taken_at": at_hour(200)}, {"taken_at": pd.NaT, "stage_m": 1.44}, {}]
    got = reduced(rows)
    assert got.left_out == 2
    assert got.day.tolist() == ["stage 1.4", "2026-05-03"]
    assert np.isnan(got.discharge).tolist() == [True, False]
    assert np.isnan(got.stage_rate).tolist() == [True, False]


def test_the_discharge_comes_from_the_pairs_where_the_record_has_a_stage_alone():
    """And is marked where the stage is beyond them."""
    rows = [{"taken_at": at_hour(hour)} for hour in (8, 12)]  # stages of 1.8 and 2.2 m; the pairs end at 2 m

    class Pairs:
        def discharge(self, stage):
            return 10.0 * stage

        def extrapolated(self, stage):
            return stage > 2.0

    got = reduced(rows, series=record(flow=False), rating=Pairs())
    assert got.discharge == pytest.approx([18.0, 22.0])
    assert got.extrapolated.tolist() == [False, True]
    own = reduced(rows, rating=Pairs())
    assert own.discharge == pytest.approx([20 * math.exp(0.16), 20 * math.exp(0.24)], rel=1e-6)
    assert not own.extrapolated.any()


def test_a_run_has_its_share_of_the_discharge_and_none_of_water_that_stands():
    """Three tenths of the river are three tenths of its discharge, also below one m³/s; no flow at all is unknown."""
    assert reduced([{}], flow_share=0.3).discharge == pytest.approx([6 * math.e])
    small = record()
    small = replace(small, discharge_m3s=np.linspace(-0.5, 0.5, 101))
    got = reduced([{"taken_at": at_hour(hour)} for hour in (20, 50, 75)], series=small)
    assert np.isnan(got.discharge).tolist() == [True, True, False]
    assert got.discharge[2] == pytest.approx(0.25)


def test_soundings_count_up_to_three_metres_outside_the_outline():
    """Beside each edge, not beyond it; across a corner by the distance and not by each axis; none without a depth."""
    out, beyond = 2.9, 3.1
    rows = [{"x": -out}, {"x": 100 + out}, {"y": -10 - out}, {"y": 10 + out}]
    rows += [{"x": -beyond}, {"x": 100 + beyond}, {"y": -10 - beyond}, {"y": 10 + beyond}]
    rows += [{"x": -out, "y": 10 + out}, {"x": 102.0, "y": 12.0}, {"depth_m": math.nan}]
    got = reduced(rows)
    assert got.x == pytest.approx([-out, 100 + out, 50, 50, 102.0], abs=1e-6)
    assert got.y == pytest.approx([0, 0, -10 - out, 10 + out, 12.0], abs=1e-6)
    assert got.left_out == 0


def test_the_day_is_that_of_the_river_s_own_zone():
    """Two in the morning in UTC is the evening before in the middle of America."""
    assert reduced([{"taken_at": at_hour(50)}], zone="America/Chicago").day.tolist() == ["2026-05-02"]
    assert reduced([{"taken_at": at_hour(50)}]).day.tolist() == ["2026-05-03"]


def test_how_a_depth_was_read_says_how_sure_it_is():
    """A rod has its own figure; a sounder adds the speed of sound, and its own depth, given or not."""
    rows = [{}, {"method": "sonar"}, {"method": "sonar", "draft_m": 0.3}, {"draft_m": 0.3}, {"draft_m": math.nan}]
    got = reduced(rows)
    sounder = math.hypot(RULES["sonar_sd_m"], RULES["sound_rel_sd"] * 2.0)
    assert got.sd == pytest.approx([RULES["lead_line_sd_m"], sounder, sounder, sounder, RULES["lead_line_sd_m"]])
    assert got.draft_sd == pytest.approx([0, RULES["draft_unknown_sd_m"], RULES["draft_sd_m"], RULES["draft_sd_m"], 0])
    assert got.depth == pytest.approx([2.0, 2.0, 2.3, 2.3, 2.0])


def test_a_place_is_as_sure_as_it_says_or_as_a_small_receiver():
    """A figure of the file's own wins; nothing, words or zero are no figure."""
    got = reduced([{"position_sd_m": value} for value in (0.4, math.nan, "far", 0.0)])
    assert got.place_sd == pytest.approx([0.4] + [RULES["position_sd_m"]] * 3)


def test_the_reference_is_the_day_of_most_soundings_whose_discharge_is_known():
    """Four without a discharge do not make it theirs against three with one; without any, the most soundings do."""
    three = [{"taken_at": at_hour(hour)} for hour in (49, 50, 54)]
    two = [{"taken_at": at_hour(hour)} for hour in (24, 25)]
    bare = [{"taken_at": pd.NaT, "stage_m": 1.5}] * 4
    got = reduced(three + two + bare)
    stage, flow, member = reference(got)
    assert (stage, flow) == (pytest.approx(6.0), pytest.approx(20 * math.e))
    assert member.tolist() == [True] * 3 + [False] * 6
    stage, flow, member = reference(reduced(three + two + bare, series=record(flow=False)))
    assert (stage, member.tolist()) == (pytest.approx(1.5), [False] * 5 + [True] * 4)
    assert math.isnan(flow)
    stage, flow, _ = reference(reduced(three, series=record(stage=False)))
    assert math.isnan(stage)
    assert flow == pytest.approx(20 * math.e)


def test_what_is_kept_keeps_its_own_and_the_rest_is_counted():
    """Every column is cut alike."""
    got = reduced([{"taken_at": at_hour(hour), "x": hour} for hour in (10, 20, 30)] + [{"taken_at": pd.NaT}])
    some = only(got, np.array([True, False, True]))
    assert some.left_out == 2
    assert some.x == pytest.approx([10, 30], abs=1e-6)
    assert some.stage == pytest.approx([2.0, 4.0])
    assert len(some.day) == len(some.flow_rate) == len(some.place_sd) == 2
