"""Canada's service: the nearest town's hours, alerts by area, texts as sent. Shapes are the service's, values ours."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
import responses
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.errors import DataUnfit
from planner.gauges.transport import make_session
from planner.weather import Weather, canada, look_up
from planner.weather.hours import alert_level
from tests.trip.test_schedule import SPOTS, river

NOW = datetime(2026, 6, 12, 23, tzinfo=UTC)
START, END = NOW + timedelta(hours=14), NOW + timedelta(hours=22)
PLACE = (-91.0, 43.5)


def both(value: Any) -> dict[str, Any]:
    """A value as the service writes it, in both languages."""
    return {"value": {"en": value, "fr": value}}


def hour(k: int, condition: str = "Mainly sunny", **more: Any) -> dict[str, Any]:
    """One hour of an invented town."""
    return {
        "timestamp": (NOW + timedelta(hours=k)).strftime("%Y-%m-%dT%H:%M:%SZ"),
        "condition": {"en": condition, "fr": "…"},
        "temperature": both(12 + k % 8),
        "lop": both(20),
        "wind": {"speed": both(18), "gust": both("36"), "bearing": both(45), "direction": both("NE")},
        **more,
    }


def town(lon: float, lat: float, name: str, hours: list[Any]) -> dict[str, Any]:
    """One invented town."""
    return {
        "type": "Feature",
        "id": name,
        "geometry": {"type": "Point", "coordinates": [lon, lat]},
        "properties": {
            "name": {"en": name, "fr": name},
            "lastUpdated": "2026-06-12T22:00:00Z",
            "hourlyForecastGroup": {"hourlyForecasts": hours},
        },
    }


def collection(*features: Any) -> bytes:
    """A reply."""
    return json.dumps({"type": "FeatureCollection", "features": list(features)}).encode()


def alert(name: str, around: float | None = 0.2, **more: Any) -> dict[str, Any]:
    """One invented alert whose area lies about the place."""
    lon, lat = PLACE
    ring = None
    if around is not None:
        ring = [
            [lon - around, lat - around],
            [lon + around, lat - around],
            [lon, lat + around],
            [lon - around, lat - around],
        ]
    return {
        "type": "Feature",
        "geometry": None if ring is None else {"type": "Polygon", "coordinates": [ring]},
        "properties": {
            "id": "invented-1",
            "alert_type": "warning",
            "alert_name_en": name,
            "alert_text_en": "Heavy rain.\n\n###\n\nTwo  spaces stay. All clear is not given.",
            "feature_name_en": "Invented Valley",
            "province": "ZZ",
            "status_en": "issued",
            "publication_datetime": "2026-06-12T21:30:00Z",
            "validity_datetime": "2026-06-12T21:30:00Z",
            "expiration_datetime": "2026-06-13T05:30:00Z",
            "event_end_datetime": None,
            **more,
        },
    }


def test_the_nearest_towns_hours_come_over_in_si() -> None:
    """Kilometres an hour, numbers as text and calm air are read; the town and its distance are said."""
    near = town(-91.1, 43.5, "Nearby", [hour(k) for k in range(24)])
    near["properties"]["hourlyForecastGroup"]["hourlyForecasts"][3]["wind"]["speed"] = both("calm")
    found = canada.parse_towns(collection(town(-91.5, 43.9, "Far", [hour(0)]), near), *PLACE)
    assert found.place == "Nearby"
    assert found.times[0] == np.datetime64("2026-06-12T23:00:00")
    assert found.wind_m_s[0] == pytest.approx(5.0)
    assert found.gust_m_s[0] == pytest.approx(10.0)
    assert found.wind_m_s[3] == 0.0
    assert found.air_c[1] == 13.0
    assert found.notes[0] == "The forecast is that of Nearby, 8 km away."
    assert Weather(START, END, NOW, found, ()).conditions()["air_temp_c"] == min(12 + k % 8 for k in range(14, 22))
    assert np.isnan(found.rain_mm).all()


@pytest.mark.parametrize(
    ("condition", "chance"),
    [("Mainly sunny", 0.0), ("Risk of thunderstorms", 40.0), ("Chance of showers or thunderstorms", 50.0),
     ("Thunderstorms", 100.0), ("", None)],
)  # fmt: skip
def test_thunder_is_read_from_the_words_at_their_upper_end(condition: str, chance: float | None) -> None:
    """One hour with the words in the window counts; an hour without words is not calm."""
    hours = [hour(k, condition if k == 16 else "Cloudy") for k in range(24)]
    found = canada.parse_towns(collection(town(-91.0, 43.5, "Here", hours)), *PLACE)
    assert Weather(START, END, NOW, found, ()).conditions()["thunder_chance"] == chance


def test_hours_beyond_the_forecast_are_not_assessed() -> None:
    """Twelve hours of forecast leave thunder and air of a later trip unknown, and a gap in it too."""
    for hours in ([hour(k) for k in range(12)], [hour(k) for k in range(24) if k != 17]):
        found = canada.parse_towns(collection(town(-91.0, 43.5, "Here", hours)), *PLACE)
        got = Weather(START, END, NOW, found, ()).conditions()
        assert got["thunder_chance"] is None
        assert got["air_temp_c"] is None


def test_a_town_too_far_away_is_no_forecast() -> None:
    """Beyond 60 km, or with no town at all, there is none."""
    for reply in (collection(town(-90.0, 43.5, "Far", [hour(0)])), collection()):
        with pytest.raises(DataUnfit, match="within 60 km"):
            canada.parse_towns(reply, *PLACE)


def test_alerts_are_kept_by_area_and_relayed_to_the_letter() -> None:
    """An area that holds the place counts, one beside it does not, one that cannot be read does; texts are as sent."""
    beside = alert("Wind Warning")
    beside["geometry"]["coordinates"] = [[[0, 0], [1, 0], [1, 1], [0, 0]]]
    broken = alert("Snow Squall Watch")
    broken["geometry"] = {"type": "Polygon", "coordinates": "none"}
    found = canada.parse_alerts(
        collection(alert("Rainfall Warning"), beside, broken, alert("Fog Advisory", None)), PLACE
    )
    assert [one.event for one in found] == ["Rainfall Warning", "Snow Squall Watch", "Fog Advisory"]
    assert found[0].description == "Heavy rain.\n\n###\n\nTwo  spaces stay. All clear is not given."
    assert found[0].sender == "Environment and Climate Change Canada"
    assert found[0].sent == datetime(2026, 6, 12, 21, 30, tzinfo=UTC)
    got = Weather(START, END, NOW, None, found).conditions()
    assert (got["flood_alert"], got["storm_alert"]) == ("warning", "watch")


def test_a_message_that_runs_out_is_not_an_event_that_ends() -> None:
    """Only the event's own end, or a status of ended, takes an alert out of force."""
    open_end = canada.parse_alerts(collection(alert("Severe Thunderstorm Warning")), PLACE)
    assert Weather(START, END, NOW, None, open_end).conditions()["storm_alert"] == "warning"
    for change in ({"event_end_datetime": "2026-06-13T02:00:00Z"}, {"status_en": "ended"}):
        found = canada.parse_alerts(collection(alert("Severe Thunderstorm Warning", **change)), PLACE)
        assert Weather(START, END, NOW, None, found).conditions()["storm_alert"] == "none"


def test_names_of_the_service_fall_into_our_channels() -> None:
    """Old names and those that begin with a colour."""
    assert alert_level("Yellow Warning - Rainfall") == ("flood", "warning")
    assert alert_level("Snow Squall Watch") == ("storm", "watch")
    assert alert_level("Air Quality Statement") == ("", "warning")


@pytest.mark.parametrize(
    "raw", [b"", b"<html>", b"{}", b'{"features": {}}', b'{"features": [{}]}', b'{"features": [1]}', b"[]"]
)
def test_a_reply_that_is_none_is_refused(raw: bytes) -> None:
    """A maintenance page is not silence."""
    with pytest.raises(DataUnfit):
        canada.parse_alerts(raw)
    with pytest.raises(DataUnfit):
        canada.parse_towns(raw, *PLACE)


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=8) | st.sampled_from(["2026-06-12T23:00:00Z", "calm"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                "features properties geometry coordinates type hourlyForecastGroup hourlyForecasts timestamp value en "
                "wind speed condition alert_name_en name".split()
            ),
            inner,
            max_size=4,
        )
    ),
    max_leaves=14,
)


@settings(max_examples=80, deadline=None)
@given(JSON)
def test_no_reply_breaks_the_readers(inner: Any) -> None:
    """Whatever comes, at any depth, it is read or refused with a message."""
    hours = {"hourlyForecastGroup": {"hourlyForecasts": [inner, {"timestamp": "2026-06-12T23:00:00Z", "wind": inner}]}}
    point = {"type": "Point", "coordinates": [-91.0, 43.5]}
    for raw in (
        json.dumps(inner),
        json.dumps({"features": [{"geometry": inner, "properties": {"alert_name_en": "Wind Warning", "id": inner}}]}),
        json.dumps({"features": [{"geometry": point, "properties": {**hours, "name": inner}}]}),
    ):
        for parse in (lambda reply: canada.parse_alerts(reply, PLACE), lambda reply: canada.parse_towns(reply, *PLACE)):
            try:
                parse(raw.encode())
            except DataUnfit:
                continue


@responses.activate
def test_a_river_on_a_canadian_gauge_asks_for_both(tmp_path: Any) -> None:
    """Two requests about the river's place without a key; recorded replies are told apart from those of others."""
    where = replace(river(SPOTS), gauges=("canada:05BJ004",))
    lon, lat = next(iter(where.flowline().geometry.coords))[:2]
    towns = collection(town(lon, lat, "Here", [hour(k) for k in range(24)]))
    listed = alert("Rainfall Warning", None)
    for name, reply in (("citypageweather-realtime", towns), ("weather-alerts", collection(listed))):
        responses.get(
            f"https://api.weather.gc.ca/collections/{name}/items", body=reply, content_type="application/geo+json"
        )
    got = look_up(where, START, END, NOW, session=make_session(0))
    assert got.conditions()["flood_alert"] == "warning"
    assert got.conditions()["thunder_chance"] == 0.0
    assert all("key" not in call.request.url for call in responses.calls)
    (tmp_path / "a").write_bytes(towns)
    (tmp_path / "b").write_bytes(collection(listed))
    again = look_up(where, START, END, NOW, replies=[tmp_path / "a", tmp_path / "b"])
    assert again.conditions() == got.conditions()
