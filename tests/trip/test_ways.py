"""Drift through the velocity field, wind, minutes, ways off the river, the shuttle and days on foot."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from shapely.geometry import Point

from planner.errors import RiverFolderUnfit
from planner.river.records import Place
from planner.trip import DriftThread, Route, drift_thread, fishing_weights, schedule
from planner.trip.route import setting
from tests.trip.test_schedule import END, SPOTS, START, at, river, spot


class Field:
    """1 m/s in the upper half of a run and 0.5 m/s in the lower, with soundings in its first 800 m."""

    def local(self, state, lon, lat):
        """Depth-averaged velocity and its low side."""
        x = (np.asarray(lon) - at(0.0)[0]) / (at(1000.0)[0] - at(0.0)[0]) * 1000.0
        mean = np.where(x < 2500.0, 1.0, 0.5)
        return {
            "velocity_m_s": mean,
            "velocity_low_m_s": 0.8 * mean,
            "exponent_m": np.full(len(x), 4.0),
            "inside": x < 2800.0,
        }


def test_the_boat_drifts_with_the_surface_current_of_each_piece():
    """One over m more than the depth-averaged current where soundings are, the default where none are."""
    route = Route.of(river(SPOTS))
    thread = drift_thread(route, "a", Field(), None, every=101.0)
    assert len(thread.usual) == 10
    assert thread.usual[0] == pytest.approx(1.25)
    assert thread.usual[6] == pytest.approx(0.625)
    assert thread.slow[0] == pytest.approx(0.8)
    assert math.isnan(thread.usual[9])
    usual = schedule(river(SPOTS), START, END, flows={"a": thread}).travel_min
    hand = 500 / 1.25 + 300 / 0.625 + (10000 - 800) / setting("drift_speed")
    assert usual == pytest.approx(hand / 60, rel=0.01)


def test_no_thread_is_made_where_no_sounding_lies_on_the_flowline():
    """A run off the soundings or a river without a flowline falls back to the default."""
    route = Route.of(river(SPOTS))
    names = ("velocity_m_s", "velocity_low_m_s", "exponent_m")
    dry = SimpleNamespace(
        local=lambda state, lon, lat: {
            **{name: np.full(len(lon), np.nan) for name in names},
            "inside": np.zeros(len(lon), bool),
        }
    )
    assert drift_thread(route, "a", dry, None) is None
    assert drift_thread(Route.of(river(SPOTS, flowline=False)), "a", Field(), None) is None


def test_wind_up_the_river_makes_the_slow_end_slower_and_the_usual_drift_no_faster():
    """The more wind against the rower, the later the slow end; the planned arrival stays."""
    lates, plans = [], []
    for wind in (0.0, 3.0, 8.0, 40.0):
        trip = schedule(river(SPOTS), START, END, wind_against=wind)
        lates.append(trip.take_out_latest)
        plans.append(trip.take_out_at)
    assert lates == sorted(lates)
    assert lates[0] < lates[2]
    assert len(set(plans)) == 1
    assert lates[3] - plans[3] < timedelta(hours=30)  # a rower still makes a little way
    assert schedule(river(SPOTS), START, END, wind_against=math.nan).take_out_latest == lates[0]


def test_the_slow_end_of_a_thread_is_its_own_low_current():
    """Where the field gives its 10 %, that is the slow side and not a share of the median."""
    thread = DriftThread((0.0, 10000.0), (1.0,), (0.25,))
    trip = schedule(river(SPOTS, put_in=2000.0, take_out=3000.0), START, END, flows={"a": thread})
    assert trip.travel_min == pytest.approx(1000 / 60, rel=0.01)
    assert trip.travel_slow_min == pytest.approx(4000 / 60, rel=0.01)


def test_more_time_goes_where_the_fly_stays_in_the_band():
    """Band time shares the minutes out, bounded, under the person's own weights."""
    spots = [spot("top", 2200), spot("mid", 2800), replace(spot("low", 6500, "b"), extra={"weight": 3})]
    got = fishing_weights(river(spots), {"top": 30.0, "mid": 2.0, "low": 16.0})
    assert got["top"] == pytest.approx(30 / 16)
    assert got["mid"] == 0.5
    assert got["low"] == pytest.approx(3.0)
    assert fishing_weights(river(spots), {"top": 8.0, "mid": math.nan, "low": None})["mid"] == 0.25
    trip = schedule(river(spots), START, END, weights=got)
    minutes = {stop.spot: stop.fishing_min for stop in trip.stops}
    assert minutes["low"] / minutes["mid"] == pytest.approx(6.0)
    assert [run["run"] for run in trip.as_dict()["runs"]] == ["a", "b"]


@pytest.mark.parametrize("weight", ["much", -1, True, float("nan")])
def test_a_weight_that_is_none_is_refused(weight):
    """Weights are numbers of zero or more."""
    with pytest.raises(RiverFolderUnfit):
        fishing_weights(river([replace(spot("top", 2200), extra={"weight": weight})]))


def test_ramps_on_the_way_are_ways_off_in_order():
    """Every ramp between put-in and take-out is listed with its place and slow drift; the trip's own are not."""
    base = river(SPOTS)
    more = (
        Place("m2", "Mill lane", "take_out", Point(at(7000.0)), note="gate, gravel road"),
        Place("m1", "Ford", "put_in", Point(at(4000.0))),
    )
    trip = schedule(replace(base, places=(*base.places, *more)), START, END)
    assert [way.name for way in trip.ways_off] == ["Ford", "Mill lane"]
    mill = trip.ways_off[1]
    assert mill.note == "gate, gravel road"
    assert mill.drift_min == pytest.approx(7000 / (setting("drift_speed") * setting("slow_share")) / 60, rel=0.01)
    assert (mill.lon, mill.lat) == pytest.approx(at(7000.0))
    assert trip.as_dict()["ways_off"][0]["name"] == "Ford"
    assert schedule(base, START, END).ways_off == ()


def test_the_shuttle_takes_the_drivers_own_minutes():
    """Twice the road and the handling before the start; with no minutes given none are made up."""
    given = schedule(river(SPOTS, extra={"shuttle": {"minutes": 40, "note": "Bridge is closed."}}), START, END)
    assert "by 05:25" in given.shuttle  # 07:00 in Chicago less 95 min
    assert "Bridge is closed." in given.shuttle
    assert "not given" in schedule(river(SPOTS), START, END).shuttle
    assert "6.2 mi" in schedule(river(SPOTS), START, END).shuttle


def test_a_day_on_foot_has_its_accesses_and_the_way_back():
    """Each spot names its nearest access, and with no take-out the walk ends at the car."""
    walk = schedule(river(SPOTS, craft="on foot", put_in=2000.0, take_out=None), START, END)
    assert walk.access["top"] == ("Upper ramp", pytest.approx(200, abs=1))
    assert walk.travel_min == pytest.approx(2 * 4500 / setting("walk_speed") / 60, rel=0.01)
    assert walk.shuttle == ""
    assert any("back to where the walk began" in note for note in walk.notes)
    bare = schedule(river(SPOTS, craft="on foot", put_in=None, take_out=None), START, END)
    assert any("No access point" in note for note in bare.notes)


def test_daylight_names_what_to_drop_or_says_that_dropping_does_not_mend_it():
    """The spots of least weight go first until the hour before sunset is kept."""
    end = datetime(2026, 6, 14, 1, 30, tzinfo=UTC)
    trip = schedule(river(SPOTS), START, end, weights={"mid": 0.5})
    said = next(text for text in trip.conflicts if "sunset" in text or "dusk" in text)
    assert "or drop: MID" in said
    assert trip.margin_before_dusk_min == pytest.approx(-trip.takeout_vs_dusk_min)
    none = schedule(river([]), START, datetime(2026, 6, 14, 4, 0, tzinfo=UTC) - timedelta(hours=1))
    assert not any("drop:" in text for text in none.conflicts)


def test_the_river_runs_where_its_flowline_points():
    """A flowline to the east bears 90 degrees; its stations lead back to their places."""
    route = Route.of(river(SPOTS))
    assert route.bearing() == pytest.approx(90.0, abs=0.1)
    assert route.at(route.spots["top"]) == pytest.approx(at(2200.0), abs=1e-6)
    assert math.isnan(Route.of(river(SPOTS, flowline=False)).bearing())
    assert dataclasses.is_dataclass(route)
