"""Weather: read from the service's shape, relayed word for word, and never calm by being absent."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
import responses
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.caution import assess_river, gather_conditions
from planner.errors import DataUnfit
from planner.gauges.transport import make_session
from planner.weather import Weather, england, look_up, parse_alerts, parse_grid, parse_point, wind_words
from planner.weather.hours import alert_level
from tests.trip.test_schedule import SPOTS, river
from tests.weather.shapes import GRID_ADDRESS, alert, alerts, grid, layer, point

NOW = datetime(2026, 6, 12, 23, tzinfo=UTC)
START, END = NOW + timedelta(hours=14), NOW + timedelta(hours=22)


def weather(grid_reply=None, alert_reply=None):
    """Weather of the window from replies."""
    return Weather(
        START, END, NOW,
        None if grid_reply is None else parse_grid(grid_reply),
        None if alert_reply is None else parse_alerts(alert_reply),
    )  # fmt: skip


def test_each_layer_comes_over_in_si_and_on_whole_hours():
    """Kilometres an hour become metres a second, and rain of six hours is spread over them."""
    rain = layer(NOW, [12.0, 0.0, 0.0, 0.0], hours=6, unit="wmoUnit:mm")
    got = parse_grid(grid(NOW, quantitativePrecipitation=rain))
    assert got.times[0] == np.datetime64("2026-06-12T23:00:00")
    assert len(got.times) == 24
    assert got.wind_m_s[0] == pytest.approx(5.0)
    assert got.gust_m_s[0] == pytest.approx(10.0)
    assert got.air_c[3] == 23.0
    assert got.rain_mm[:7].tolist() == [2.0] * 6 + [0.0]
    assert got.issued_at == NOW


def test_the_worst_hour_of_the_window_counts():
    """The highest chance of thunder and the coldest air of the hours on the water."""
    thunder = [90] * 10 + [5] * 6 + [45] + [5] * 7
    got = weather(grid(NOW, probabilityOfThunder=layer(NOW, thunder))).conditions()
    assert got["thunder_chance"] == 45.0
    assert got["air_temp_c"] == 22.0
    one_hour = weather(grid(NOW, probabilityOfThunder=layer(NOW, thunder))).conditions(
        START, START + timedelta(hours=1)
    )
    assert one_hour["thunder_chance"] == 5.0


def test_thunder_in_words_counts_at_the_upper_end_of_the_word():
    """Where the office gives no figure its words are read, and that is said."""
    words = [
        [{"coverage": "slight_chance", "weather": "thunderstorms"}, {"coverage": "likely", "weather": "rain"}]
    ] * 24
    got = weather(grid(NOW, probabilityOfThunder=None, weather=layer(NOW, words)))
    assert got.conditions()["thunder_chance"] == 20.0
    assert "words" in got.forecast.notes[0]
    unheard = [[{"coverage": "teeming", "weather": "thunderstorms"}]] * 24
    assert (
        weather(grid(NOW, probabilityOfThunder=None, weather=layer(NOW, unheard))).conditions()["thunder_chance"] == 100
    )


def test_hours_without_a_forecast_are_not_calm():
    """A forecast that ends before the take-out leaves thunder not assessed, unless its hours already raise it."""
    assert weather(grid(NOW, count=18)).conditions()["thunder_chance"] is None
    stormy = grid(NOW, count=18, probabilityOfThunder=layer(NOW, [70] * 18))
    assert weather(stormy).conditions()["thunder_chance"] == 70.0
    gap = grid(NOW, probabilityOfThunder=layer(NOW, [5] * 16 + [None] + [5] * 7), weather=None)
    assert weather(gap).conditions()["thunder_chance"] is None


def test_no_weather_is_not_assessed_and_no_alert_is_none():
    """What could not be had is None; an empty list of alerts says that none is in force."""
    assert set(weather().conditions().values()) == {None}
    got = weather(alert_reply=alerts()).conditions()
    assert (got["flood_alert"], got["storm_alert"]) == ("none", "none")
    rules = {
        r["rule"]
        for r in assess_river(gather_conditions(river(SPOTS), weather=weather())).reasons
        if r["level"] is None
    }
    assert {"F5", "S1", "C3"} <= rules


def test_an_empty_list_of_alerts_says_nothing_about_the_day_after_tomorrow():
    """Silence holds for a day and no longer; an alert that reaches that far counts."""
    late = Weather(NOW + timedelta(hours=30), NOW + timedelta(hours=38), NOW, None, ())
    assert late.conditions()["flood_alert"] is None
    watch = parse_alerts(alerts(alert("Flood Watch", NOW, NOW + timedelta(hours=60))))
    assert Weather(late.start, late.end, NOW, None, watch).conditions()["flood_alert"] == "watch"


@pytest.mark.parametrize(
    ("event", "ends", "flood", "storm"),
    [
        ("Flood Warning", None, "warning", "none"),
        ("Flash Flood Watch", END, "watch", "none"),
        ("Flood Advisory", END, "advisory", "none"),
        ("Flood Statement", END, "warning", "none"),
        ("Severe Thunderstorm Watch", END, "none", "watch"),
        ("Tornado Warning", END, "none", "warning"),
        ("Wind Advisory", END, "none", "watch"),
        ("Frost Advisory", END, "none", "none"),
        ("Flood Watch", START - timedelta(hours=3), "none", "none"),
    ],
)
def test_each_kind_of_alert_feeds_its_own_input(event, ends, flood, storm):
    """An alert counts by its kind and by the hours it holds; one without an end holds on."""
    got = weather(alert_reply=alerts(alert(event, NOW - timedelta(hours=1), ends))).conditions()
    assert (got["flood_alert"], got["storm_alert"]) == (flood, storm)


def test_a_flood_warning_that_has_just_ended_still_counts():
    """The hours since it ended are given to the rule that waits."""
    got = weather(alert_reply=alerts(alert("Flood Warning", NOW, START - timedelta(hours=1)))).conditions()
    assert got["hours_since_flood_warning"] == pytest.approx(1.0)
    assert got["flood_alert"] == "none"


def test_alerts_are_relayed_to_the_letter_with_sender_and_time():
    """Not a space of a sender's text is changed, and its words are marked as quoted."""
    sent = alert("Flood Warning", NOW)
    (got,) = parse_alerts(alerts(sent))
    record = got.as_dict()
    for name in ("headline", "description", "instruction", "event"):
        assert record[name] == sent["properties"][name]
    assert record["quoted"] is True
    assert record["sender"] == "NWS Invented Office"
    assert record["sent"] == "2026-06-12T23:00:00Z"


def test_exercise_messages_and_cancelled_ones_are_left_out():
    """A test of the sender's wires is no alert."""
    reply = alerts(alert("Flood Warning", NOW, status="Test"), alert("Flood Warning", NOW, messageType="Cancel"))
    assert parse_alerts(reply) == ()


def test_wind_up_the_river_is_said_and_wind_down_it_is_not():
    """Wind from where the river goes blows against the rower."""
    blowing = weather(grid(NOW))  # 5 m/s from the east
    assert blowing.against(90.0) == pytest.approx(5.0)
    assert blowing.against(270.0) == 0.0
    assert "expect to row" in wind_words(blowing.against(90.0), "us")
    assert wind_words(blowing.against(270.0), "us") == ""
    assert np.isnan(weather().against(90.0))


def test_rain_is_a_note_and_no_level():
    """Rain until the take-out is said with its amount and raises nothing by itself."""
    wet = weather(grid(NOW, quantitativePrecipitation=layer(NOW, [10.0, 10.0, 0.0, 0.0], hours=6, unit="wmoUnit:mm")))
    assert "0.8 in of rain" in wet.rain_note("us")
    assert "20 mm" in wet.as_dict("metric")["notes"][0]
    assert weather(grid(NOW)).rain_note("us") == ""


@responses.activate
def test_the_service_is_asked_for_the_point_its_grid_and_its_alerts():
    """Three requests, coordinates of four decimals at most, no key."""
    responses.get("https://api.weather.gov/points/43.5,-91.062", body=point(), content_type="application/geo+json")
    responses.get(GRID_ADDRESS, body=grid(NOW), content_type="application/geo+json")
    responses.get(
        "https://api.weather.gov/alerts/active",
        body=alerts(alert("Flood Watch", NOW)),
        content_type="application/geo+json",
    )
    where = river(SPOTS)
    lon, lat = next(iter(where.flowline().geometry.coords))
    responses.get(
        f"https://api.weather.gov/points/{lat:.4f},{lon:.4f}".replace("43.5000", "43.5"),
        body=point(),
        content_type="application/geo+json",
    )
    got = look_up(where, START, END, NOW, session=make_session(0))
    assert got.conditions()["flood_alert"] == "watch"
    assert got.conditions()["thunder_chance"] == 5.0
    assert all("key" not in call.request.url for call in responses.calls)


@responses.activate
def test_a_dead_network_leaves_the_weather_not_assessed_with_a_reason():
    """No error reaches the plan; the notes say what could not be had."""
    got = look_up(river(SPOTS), START, END, NOW, session=make_session(0))
    assert got.forecast is None
    assert got.alerts is None
    assert any("does not mean that none is in force" in note for note in got.notes)


def test_a_river_without_a_public_us_gauge_asks_nobody():
    """The demo and a river elsewhere make no request for weather."""
    from dataclasses import replace

    got = look_up(replace(river(SPOTS), gauges=("file:gauge.csv",)), START, END, NOW)
    assert got.notes == ("Weather was not looked up: no weather service is known for this river.",)


def test_recorded_replies_stand_in_for_the_network(tmp_path):
    """A grid and a list of alerts are told apart by what is in them."""
    (tmp_path / "a.json").write_bytes(grid(NOW))
    (tmp_path / "b.json").write_bytes(alerts(alert("Flood Advisory", NOW)))
    got = look_up(river(SPOTS), START, END, NOW, replies=[tmp_path / "b.json", tmp_path / "a.json"])
    assert got.conditions()["flood_alert"] == "advisory"
    assert got.forecast is not None


@pytest.mark.parametrize("address", ["https://elsewhere.example/gridpoints/XXX/1,2", "", None, 3])
def test_a_point_that_leads_elsewhere_is_refused(address):
    """A reply cannot send us to another host."""
    with pytest.raises(DataUnfit):
        parse_point(point(address))


@pytest.mark.parametrize(
    "raw",
    [b"", b"<html>", b"[]", b"{}", b'{"features": 3}', b'{"features": [{"properties": {}}]}', b'{"properties": {}}'],
)
def test_replies_that_are_no_forecast_and_no_alerts_are_refused(raw):
    """A maintenance page is not silence."""
    with pytest.raises(DataUnfit):
        parse_alerts(raw)
    with pytest.raises(DataUnfit):
        parse_grid(raw)


def test_a_layer_in_an_unknown_unit_is_refused():
    """Miles an hour read as kilometres would be wind that is not there."""
    with pytest.raises(DataUnfit, match="wmoUnit:mi_h-1"):
        parse_grid(grid(NOW, windSpeed=layer(NOW, [10.0], unit="wmoUnit:mi_h-1")))


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=8) | st.sampled_from(["2026-06-12T23:00:00+00:00/PT3H"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                ["properties", "features", "values", "validTime", "value", "temperature", "event", "weather"]
            ),
            inner,
            max_size=4,
        )
    ),
    max_leaves=12,
)


@settings(max_examples=60, deadline=None)
@given(JSON)
def test_no_reply_breaks_the_readers(document):
    """Whatever comes, it is read or refused with a message."""
    raw = json.dumps(document).encode()
    for parse in (parse_grid, parse_alerts, parse_point):
        try:
            parse(raw)
        except DataUnfit:
            continue


def test_events_are_told_apart_by_their_name():
    """Channel and gravity of names that the service uses."""
    assert alert_level("Flash Flood Warning") == ("flood", "warning")
    assert alert_level("Hydrologic Outlook") == ("flood", "advisory")
    assert alert_level("High Wind Watch") == ("storm", "watch")
    assert alert_level("Red Flag Warning") == ("", "warning")


def england_reply(*items):
    """A reply in the shape of the Environment Agency's service, with invented values."""
    return json.dumps({"meta": {}, "items": list(items)}).encode()


def england_item(severity, level, **more):
    """One invented alert."""
    return {
        "@id": "http://environment.data.gov.uk/flood-monitoring/id/floods/0",
        "severity": severity,
        "severityLevel": level,
        "description": "Invented Brook at Invented Bridge",
        "message": "River levels are rising.  Two spaces stay.",
        "floodAreaID": "000INV",
        "timeRaised": "2026-06-12T20:00:00",
        "timeMessageChanged": "2026-06-12T21:00:00",
        "timeSeverityChanged": "2026-06-13T12:30:00",
        **more,
    }


def test_englands_alerts_feed_the_flood_input_in_its_own_steps():
    """Alert, warning and severe warning; one that is over counts by the hours since."""
    for severity, level, word in (
        ("Flood alert", 3, "watch"),
        ("Flood warning", 2, "warning"),
        ("Severe flood warning", 1, "warning"),
    ):
        found = england.parse_alerts(england_reply(england_item(severity, level)))
        got = Weather(START, END, NOW, None, found).conditions()
        assert (got["flood_alert"], got["storm_alert"]) == (word, "none")
    over = england.parse_alerts(england_reply(england_item("Warning no longer in force", 4)))
    got = Weather(START, END, NOW, None, over).conditions()
    assert got["flood_alert"] == "none"
    assert got["hours_since_flood_warning"] == pytest.approx(
        (START - datetime(2026, 6, 13, 11, 30, tzinfo=UTC)).seconds / 3600
    )
    assert over[0].event == "Warning no longer in force"
    assert over[0].description == "River levels are rising.  Two spaces stay."
    assert over[0].sent == datetime(2026, 6, 12, 20, tzinfo=UTC)


@pytest.mark.parametrize("raw", [b"", b"<html>", b"{}", b'{"items": {}}', b'{"items": [{}]}', b"[]"])
def test_a_reply_that_is_no_list_of_englands_alerts_is_refused(raw):
    """A maintenance page is not silence there either."""
    with pytest.raises(DataUnfit):
        england.parse_alerts(raw)


@responses.activate
def test_a_river_on_an_english_gauge_asks_for_flood_alerts_near_it():
    """One request with place and distance; thunder stays not assessed."""
    from dataclasses import replace

    responses.get(
        "https://environment.data.gov.uk/flood-monitoring/id/floods",
        body=england_reply(england_item("Flood warning", 2)),
        content_type="application/json",
    )
    got = look_up(replace(river(SPOTS), gauges=("england:690140",)), START, END, NOW, session=make_session(0))
    assert got.conditions()["flood_alert"] == "warning"
    assert got.conditions()["thunder_chance"] is None
    assert "dist=15" in responses.calls[0].request.url


def test_a_plan_as_of_another_hour_is_not_mixed_with_todays_weather():
    """A rehearsed evening asks nobody."""
    got = look_up(river(SPOTS), START, END, NOW, present=NOW + timedelta(days=200))
    assert got.notes == ("Weather was not looked up: the plan is made as of another hour than the present.",)
    assert got.alerts is None


def test_a_forecast_that_stalled_clears_no_thunder():
    """Regression: one last updated five days ago covered the hours, and no thunder in it read as no thunder."""
    fresh = weather(grid(NOW))
    stalled = replace(fresh, looked_up_at=NOW + timedelta(hours=24, minutes=1))
    assert fresh.conditions()["thunder_chance"] is not None
    assert replace(fresh, looked_up_at=NOW + timedelta(hours=24)).conditions()["thunder_chance"] is not None
    assert stalled.conditions()["thunder_chance"] is None
    assert stalled.conditions()["air_temp_c"] is None
    assert any("last updated at 2026-06-12 23:00 UTC" in note for note in stalled.as_dict()["notes"])
    assert not any("last updated" in note for note in fresh.as_dict()["notes"])
    stormy = weather(grid(NOW, probabilityOfThunder=layer(NOW, [70] * 24)))
    assert replace(stormy, looked_up_at=NOW + timedelta(days=5)).conditions()["thunder_chance"] == 70.0
