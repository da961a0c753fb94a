"""The trip's clock on a straight invented river of ten kilometres."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon

from planner.errors import UsageMistake
from planner.river.ground import LocalPlane
from planner.river.records import Place, River, Run, Spot, Tackle
from planner.trip import Route, schedule, sun_times
from planner.trip.drift import Reach, leg_seconds
from planner.trip.route import setting
from tests.caution.words import forbidden_in

PLANE = LocalPlane(-91.0, 43.5)
START = datetime(2026, 6, 13, 12, 0, tzinfo=UTC)
END = datetime(2026, 6, 13, 20, 0, tzinfo=UTC)


def at(x: float, y: float = 0.0) -> tuple[float, float]:
    """Lon, lat of a point x metres downstream (east) of the upper end."""
    lon, lat = PLANE.to_lonlat(x - 5000.0, y)
    return float(lon), float(lat)


def spot(name: str, x: float, run: str = "a", stance: str = "anchored") -> Spot:
    """A spot at a station."""
    return Spot(name, run, name.upper(), stance, at(x), at(x, 10.0))


def river(spots, *, craft="drift boat", put_in=0.0, take_out=10000.0, hazards=(), flowline=True, extra=None) -> River:
    """A straight river with two runs of 1 km."""
    runs = tuple(
        Run(name, name, "usgs:1", Polygon([at(x, -20), at(x + 1000, -20), at(x + 1000, 20), at(x, 20)]))
        for name, x in (("a", 2000.0), ("b", 6000.0))
    )
    places = []
    if flowline:
        places.append(Place("f", "", "flowline", LineString([at(x) for x in np.linspace(0, 10000, 21)])))
    if put_in is not None:
        places.append(Place("p", "Upper ramp", "put_in", Point(at(put_in))))
    if take_out is not None:
        places.append(Place("t", "Lower ramp", "take_out", Point(at(take_out))))
    places += [Place(f"h{i}", name, "hazard", Point(at(x)), kind) for i, (kind, name, x) in enumerate(hazards)]
    tackle = Tackle((), (), 2.0, 0.4, "nylon", 1.0, 2.0, "nylon")
    return River(
        Path("."), "Invented", "America/Chicago", "us", ("usgs:1",), runs, tuple(spots), tuple(places),
        pd.DataFrame(), tackle, pd.DataFrame(), craft=craft, extra=extra or {},
    )  # fmt: skip


SPOTS = [spot("low", 6500, "b"), spot("top", 2200), spot("mid", 2800)]


@pytest.mark.parametrize("lacking", [{"flowline": False}, {"take_out": None}])
def test_a_way_that_is_not_drawn_is_no_proof_of_daylight(lacking):
    """Regression: with the drift's time unknown the take-out stood at the window's end and N1 read as held."""
    trip = schedule(river(SPOTS, **lacking), START, END)
    assert trip.sun.sunset - END > timedelta(hours=2)
    assert trip.takeout_vs_sunset_min is None
    assert trip.takeout_vs_dusk_min is None
    assert trip.margin_before_dusk_min is None
    assert schedule(river(SPOTS), START, END).takeout_vs_sunset_min < -60
    late = schedule(river(SPOTS, **lacking), START, trip.sun.dusk + timedelta(minutes=20))
    assert late.takeout_vs_sunset_min > 0, "what is late already is said all the same"
    assert late.takeout_vs_dusk_min > 19


def test_spots_come_in_the_order_of_the_flowline():
    """The order is that of the water, not that of the file."""
    trip = schedule(river(SPOTS), START, END)
    assert [stop.spot for stop in trip.stops] == ["top", "mid", "low"]
    times = [moment for stop in trip.stops for moment in (stop.arrive_at, stop.leave_by)]
    assert times == sorted(times)


def test_drift_and_fishing_fill_the_window():
    """What the drift leaves is fished in equal parts, and the take-out is reached at the window's end."""
    trip = schedule(river(SPOTS), START, END)
    drift = 10000 / setting("drift_speed") / 60
    assert trip.travel_min == pytest.approx(drift, rel=1e-3)
    assert [stop.fishing_min for stop in trip.stops] == pytest.approx([(480 - drift) / 3] * 3, rel=1e-3)
    assert abs((trip.take_out_at - END).total_seconds()) < 1
    assert trip.distance_m == pytest.approx(10000, abs=1)


def test_weights_share_the_fishing_out():
    """A spot of twice the weight gets twice the minutes."""
    trip = schedule(river(SPOTS), START, END, weights={"top": 2.0})
    minutes = {stop.spot: stop.fishing_min for stop in trip.stops}
    assert minutes["top"] == pytest.approx(2 * minutes["mid"])


def test_the_current_of_a_run_is_used_inside_it_only():
    """A run of 1 km at 1.4 m/s is drifted in half the time of the default, the rest as before."""
    slow = schedule(river(SPOTS), START, END)
    fast = schedule(river(SPOTS), START, END, flows={"a": 1.4, "b": math.nan})
    gained = 1000 / 0.7 / 60 - 1000 / 1.4 / 60
    assert slow.travel_min - fast.travel_min == pytest.approx(gained, rel=0.01)


def test_flow_records_serve_as_currents():
    """Anything that carries the run's velocity is read like the number."""

    class Flow:
        velocity_used_m_s = 1.4

    one, other = (
        schedule(river(SPOTS), START, END, flows={"a": Flow()}),
        schedule(river(SPOTS), START, END, flows={"a": 1.4}),
    )
    assert one.travel_min == other.travel_min


def test_a_window_too_short_for_the_drift_is_said():
    """Two hours do not hold four hours of drift: said, and nothing is fished."""
    trip = schedule(river(SPOTS), START, START + timedelta(hours=2))
    assert any("drift alone takes about 4.0 h" in text for text in trip.conflicts)
    assert all(stop.fishing_min == 0 for stop in trip.stops)
    assert trip.take_out_at > trip.end


def test_a_window_that_fits_only_at_the_usual_speed_is_said():
    """Where the slow end of the drift overruns the window, a way off is asked for."""
    trip = schedule(river(SPOTS), START, START + timedelta(hours=4, minutes=40))
    assert any("slow end" in text for text in trip.conflicts)


def test_too_many_spots_for_the_time_names_what_to_drop():
    """With ten minutes to fish three spots, those of the least weight are named."""
    end = START + timedelta(seconds=10000 / 0.7 + 600)
    trip = schedule(river(SPOTS), START, end, weights={"mid": 0.5, "low": 0.9})
    assert any("Drop: MID, LOW." in text for text in trip.conflicts)


def test_a_spot_above_the_put_in_is_not_on_the_float():
    """It is listed last with no time, and said."""
    trip = schedule(river([*SPOTS, spot("up", 500)], put_in=1000.0), START, END)
    assert trip.stops[-1].spot == "up"
    assert trip.stops[-1].arrive_at is None
    assert any("UP lies above the put-in" in text for text in trip.conflicts)
    assert trip.arrival("up") == START + (END - START) / 2


def test_a_take_out_above_the_put_in_is_said():
    """Swapped ramps are found."""
    trip = schedule(river([], put_in=8000.0, take_out=1000.0), START, END)
    assert any("above the put-in along the flowline" in text for text in trip.conflicts)


def test_only_hazards_between_the_ramps_are_in_reach():
    """One above and one below are left out; with no take-out drawn nothing is left out."""
    hazards = [("low-head dam", "Above", 200.0), ("strainer", "Between", 5000.0), ("low-head dam", "Below", 9900.0)]
    placed = river(SPOTS, put_in=1000.0, take_out=9000.0, hazards=hazards)
    assert Route.of(placed).hazards_in_reach() == (("strainer", "Between"),)
    open_end = river(SPOTS, put_in=1000.0, take_out=None, hazards=hazards)
    assert [name for _, name in Route.of(open_end).hazards_in_reach()] == ["Between", "Below"]
    assert len(Route.of(river(SPOTS, flowline=False, hazards=hazards)).hazards_in_reach()) == 3
    assert Route.of(river(SPOTS)).hazards_in_reach() is None


def test_wood_that_reaches_past_the_put_in_is_in_reach():
    """Regression: a hazard drawn as a line from above the put-in to below it counted as above it."""
    jam = Place("j", "Long jam", "hazard", LineString([at(900.0, 5.0), at(1300.0, 5.0)]), "logjam")
    above = Place("k", "Old jam", "hazard", LineString([at(500.0, 5.0), at(900.0, 5.0)]), "logjam")
    plain = river(SPOTS, put_in=1000.0, take_out=9000.0)
    drawn = replace(plain, places=(*plain.places, jam, above))
    assert Route.of(drawn).hazards_in_reach() == (("logjam", "Long jam"),)


def test_without_a_flowline_the_order_is_the_files_and_said():
    """No flowline: file order, the whole window fished, and a note."""
    trip = schedule(river(SPOTS, flowline=False), START, END)
    assert [stop.spot for stop in trip.stops] == ["low", "top", "mid"]
    assert any("No flowline" in text for text in trip.notes)
    assert math.isnan(trip.distance_m)
    assert trip.as_dict()["distance_m"] is None


def test_a_day_on_foot_walks_both_ways():
    """On foot no current counts, and spots above the put-in are on the trip."""
    walk = schedule(river([spot("up", 500), *SPOTS], craft="on foot", put_in=1000.0), START, END, flows={"a": 2.0})
    assert walk.by == "foot"
    assert all(stop.arrive_at is not None for stop in walk.stops)


def test_a_late_float_counts_against_sunset_at_its_slow_end():
    """The slow end is later than the planned one, and its minutes after sunset are those of the clock."""
    trip = schedule(river(SPOTS), START, datetime(2026, 6, 14, 2, 0, tzinfo=UTC))
    assert trip.take_out_latest > trip.take_out_at
    late = (trip.take_out_latest - trip.sun.sunset).total_seconds() / 60
    assert trip.takeout_vs_sunset_min == pytest.approx(late)
    assert late > 0
    assert any("after dusk" in text or "after sunset" in text for text in trip.conflicts)
    last = trip.stops[-1]
    assert last.daylight_leave_by < last.leave_by


def test_leaving_at_the_daylight_hour_takes_out_an_hour_before_sunset_at_the_slow_end():
    """The leave-by of the last spot plus the slow drift home is sunset less an hour."""
    trip = schedule(river(SPOTS), START, END)
    last = trip.stops[-1]
    home = (10000 - last.at_m) / (setting("drift_speed") * setting("slow_share"))
    assert abs((last.daylight_leave_by + timedelta(seconds=home, hours=1) - trip.sun.sunset).total_seconds()) < 2


def test_a_stop_in_the_dark_is_marked():
    """A start two hours before dawn has its first stop in the dark and says so."""
    trip = schedule(river(SPOTS), datetime(2026, 6, 13, 7, 30, tzinfo=UTC), END)
    assert trip.stops[0].dark is True
    assert trip.stops[-1].dark is False
    assert any("before dawn" in text for text in trip.conflicts)


def test_the_dictionary_is_plain_json_in_utc():
    """Times end in Z, no number is NaN."""
    trip = schedule(river([*SPOTS, spot("up", 500)], put_in=1000.0), START, END)
    text = json.dumps(trip.as_dict(), allow_nan=False)
    assert json.loads(text)["stops"][0]["arrive_at"].endswith("Z")
    assert json.loads(text)["start"] == "2026-06-13T12:00:00Z"


@pytest.mark.parametrize(("start", "end"), [(END, START), (START.replace(tzinfo=None), END)])
def test_a_window_that_is_none_is_refused(start, end):
    """An end before the start, or a time without its zone, is a mistake of usage."""
    with pytest.raises(UsageMistake):
        schedule(river(SPOTS), start, end)


def test_a_window_already_begun_is_said():
    """A plan made at noon for a morning start says so."""
    trip = schedule(river(SPOTS), START, END, now=START + timedelta(hours=1))
    assert any("began before" in text for text in trip.notes)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(0, 10000), min_size=0, max_size=8),
    st.floats(0.5, 16),
    st.floats(0.1, 3),
)
def test_any_day_keeps_its_clock(stations, hours, speed):
    """Stops never overlap, minutes add up to the window or the drift, and no text promises too much."""
    spots = [spot(f"s{i}", x) for i, x in enumerate(stations)]
    end = START + timedelta(hours=hours)
    trip = schedule(river(spots), START, end, flows={"a": speed})
    clock = trip.start
    for stop in trip.stops:
        assert stop.arrive_at >= clock - timedelta(seconds=1)
        assert stop.leave_by >= stop.arrive_at
        clock = stop.leave_by
    assert trip.take_out_at >= clock - timedelta(seconds=1)
    total = trip.travel_min + sum(stop.fishing_min for stop in trip.stops)
    if spots:
        assert total == pytest.approx(max(hours * 60, trip.travel_min), abs=0.1)
    assert trip.take_out_latest >= trip.take_out_at
    for text in (*trip.conflicts, *trip.notes):
        assert not forbidden_in(text)


@settings(max_examples=80, deadline=None)
@given(st.floats(0, 5000), st.floats(0, 5000), st.floats(0, 5000), st.floats(0.1, 3))
def test_a_way_in_two_parts_takes_as_long_as_the_whole(a, b, c, speed):
    """Drift times add up along the flowline."""
    upper, middle, lower = sorted((a, b, c))
    runs = {"a": (1000.0, 2000.0), "b": (1500.0, 4000.0)}
    speeds = {"a": speed, "b": 0.5}
    pieces = [Reach(a, b, speeds[run], speeds[run] / 2) for run, (a, b) in runs.items()]
    for slow in (False, True):
        parts = leg_seconds(upper, middle, pieces, 0.7, slow) + leg_seconds(middle, lower, pieces, 0.7, slow)
        assert parts == pytest.approx(leg_seconds(upper, lower, pieces, 0.7, slow), abs=1e-6)


@pytest.mark.parametrize(
    ("lon", "lat", "day", "zone"),
    [(-150.0, 61.0, date(2026, 5, 31), "America/Anchorage"), (-147.7, 64.8, date(2026, 6, 10), "America/Anchorage"),
     (-157.4, 1.9, date(2026, 3, 1), "Pacific/Kiritimati"), (175.0, -39.0, date(2026, 12, 21), "Pacific/Auckland")],
)  # fmt: skip
def test_dusk_that_comes_after_midnight_is_the_evening_of_the_day(lon, lat, day, zone):
    """Regression: in Alaska in June the dusk of the night before ended the day, and every trip ended in the dark."""
    sun = sun_times(lon, lat, day, zone)
    known = [moment for moment in (sun.dawn, sun.sunrise, sun.sunset, sun.dusk) if moment is not None]
    assert known == sorted(known)
    assert len(known) >= 2
    noon = datetime.combine(day, time(13), ZoneInfo(zone))
    assert sun.sunrise < noon < sun.sunset
    assert (sun.sunset - sun.sunrise) < timedelta(hours=24)
    assert sun.is_dark(noon) is not True


def test_sun_times_are_in_order_and_on_their_day():
    """Dawn, sunrise, sunset and dusk of a local day follow each other within that day."""
    sun = sun_times(-91.0, 43.5, date(2026, 6, 13), "America/Chicago")
    moments = [sun.dawn, sun.sunrise, sun.sunset, sun.dusk]
    assert moments == sorted(moments)
    assert sun.sunset - sun.sunrise > timedelta(hours=15)
    midnight = datetime(2026, 6, 13, 5, 0, tzinfo=UTC)
    assert all(midnight <= moment < midnight + timedelta(hours=24) for moment in moments)


def test_at_the_equinox_day_and_night_are_nearly_equal():
    """On 20 March the sun is up for about twelve hours at any latitude, a little more for its disc and the air."""
    for lat in (-35.0, 0.0, 43.5, 55.0):
        sun = sun_times(10.0, lat, date(2026, 3, 20), "UTC")
        assert timedelta(hours=12) < sun.sunset - sun.sunrise < timedelta(hours=12, minutes=20)


def test_where_the_sun_does_not_set_nothing_is_invented():
    """At 70° north in June there is no sunset; daylight then reads unknown."""
    sun = sun_times(20.0, 70.0, date(2026, 6, 21), "UTC")
    assert sun.sunset is None
    assert sun.dusk is None
    assert sun.is_dark(datetime(2026, 6, 21, 23, tzinfo=UTC)) is None
    trip = replace(schedule(river(SPOTS), START, END), sun=sun)
    assert trip.takeout_vs_sunset_min is None
    assert trip.as_dict()["sunset"] is None


def test_where_runs_overlap_the_slower_current_counts():
    """A hundred metres that belong to a fast and a slow run are drifted slowly, the fast run's rest fast."""
    pieces = [Reach(0.0, 200.0, 2.0, 1.0), Reach(100.0, 200.0, 0.5, 0.25)]
    assert leg_seconds(0, 200, pieces, 1.0) == pytest.approx(50 + 200)
