"""Alerts are asked for along the whole of what is drawn, not at its upper end alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import responses
from shapely.geometry import LineString

from planner.gauges.transport import make_session
from planner.weather import look_up
from planner.weather.look import sky_of
from tests.trip.test_schedule import SPOTS, at, river
from tests.weather.shapes import GRID_ADDRESS, alert, alerts, grid, point
from tests.weather.test_weather import END, NOW, START

GEO = "application/geo+json"


def flowline(where, metres: float):
    """The same river with a flowline so long."""
    line = LineString([at(x) for x in np.linspace(0, metres, 41)])
    places = tuple(replace(p, geometry=line) if p.kind == "flowline" else p for p in where.places)
    return replace(where, places=places)


def answer(where, lower: bytes | None) -> None:
    """A forecast, no alert at the upper end, and this reply further down."""
    sky = sky_of(where)
    assert sky is not None
    responses.get(f"https://api.weather.gov/points/{sky.lat:.4g},{sky.lon:.6g}", body=point(), content_type=GEO)
    responses.get(GRID_ADDRESS, body=grid(NOW), content_type=GEO)

    def told(request):
        lon = float(request.params["point"].partition(",")[2])
        if abs(lon - sky.lon) < 1e-3:
            return 200, {}, alerts()
        return (200, {}, lower) if lower is not None else (503, {}, b"")

    responses.add_callback("GET", "https://api.weather.gov/alerts/active", told, content_type=GEO)


@responses.activate
def test_a_flood_warning_at_the_take_out_is_heard():
    """Regression: one whose area begins below the put-in was not asked for, and flood alerts read as none in force."""
    where = river(SPOTS)
    answer(where, alerts(alert("Flood Warning", NOW)))
    got = look_up(where, START, END, NOW, session=make_session(0))
    assert got.conditions()["flood_alert"] == "warning"
    assert len(got.alerts) == 1


@responses.activate
def test_a_place_that_does_not_answer_leaves_all_unknown():
    """None at the upper end and silence further down is not none in force."""
    where = river(SPOTS)
    answer(where, None)
    got = look_up(where, START, END, NOW, session=make_session(0))
    assert got.alerts is None
    assert got.conditions()["flood_alert"] is None
    assert any("does not mean that none is in force" in note for note in got.notes)


@responses.activate
def test_one_alert_that_holds_for_all_places_is_told_once():
    """The same alert comes from each place and stands in the plan once."""
    where = flowline(river(SPOTS), 40_000)
    one = alerts(alert("Flood Watch", NOW))
    answer(where, one)
    got = look_up(where, START, END, NOW, session=make_session(0))
    assert len([call for call in responses.calls if "alerts" in call.request.url]) == 5
    assert len(got.alerts) == 1


@pytest.mark.parametrize(("metres", "count"), [(1500, 0), (9000, 1), (25_000, 3), (40_000, 4), (120_000, 5)])
def test_the_places_reach_the_lower_end_about_ten_kilometres_apart(metres: float, count: int):
    """A short river is one place; a long one has five more at most, its lower end among them."""
    sky = sky_of(flowline(river(SPOTS), metres))
    assert sky is not None
    assert len(sky.below) == count
    if count:
        assert sky.below[-1] == pytest.approx(at(metres), abs=1e-6)


def test_without_a_flowline_the_farthest_spot_counts():
    """Spots and runs are what is drawn then."""
    sky = sky_of(river(SPOTS, flowline=False))
    assert sky is not None
    assert (sky.lon, sky.lat) == at(6500)
    assert len(sky.below) == 1
    assert abs(sky.below[0][0] - at(2200)[0]) < 2e-3
