"""What is asked of each service, in the form that its documentation names."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from urllib.parse import parse_qs, urlsplit

import pytest
import requests

from planner.gauges import canada, statistics, transport
from planner.gauges.series import Series
from planner.units import CFS
from tests.gauges import replies
from tests.gauges.test_faults import ASKED, CSV, ask, body, point
from tests.gauges.test_service import Service, send

NORMALS = replies.DATA / "usgs_statistics_v0_observationNormals.json"
OFFICE = replies.DATA / "ca_wateroffice_realtime_08MF005_level_2025-10-22.csv"


@pytest.fixture
def session() -> Iterator[requests.Session]:
    """The session as in use, without pauses."""
    with transport.make_session(retries=0, backoff_s=0.0) as made:
        yield made


# Hub'Eau: yyyy-MM-dd'T'HH:mm:ssXXX; OGC API and Environment Agency: RFC 3339; legacy: ISO 8601 to the minute.
@pytest.mark.parametrize(
    ("name", "wanted"),
    [
        ("usgs v1", {"time": "2026-05-30T00:00:00Z/2026-06-01T01:00:00Z"}),
        ("usgs legacy", {"startDT": "2018-05-31T03:00Z", "endDT": "2018-06-02T04:00Z"}),
        ("canada", {"datetime": "2026-03-05T07:00:00Z/2026-03-07T08:00:00Z"}),
        ("england", {"since": "2015-12-08T16:00:00Z"}),
        ("france", {"date_debut_obs": "2026-09-21T19:00:00Z", "date_fin_obs": "2026-09-23T20:00:00Z"}),
    ],
)
def test_times_have_the_form_that_the_service_names(
    monkeypatch: pytest.MonkeyPatch, server: Service, session: requests.Session, name: str, wanted: dict[str, str]
) -> None:
    """Regression: France was asked in minutes, a form that its service does not list and may refuse as no station."""
    station, now = point(monkeypatch, name, server)
    server.answers = [send(200, body(name), ASKED[name][3])] * 2
    ask(station, now, session)
    query = parse_qs(urlsplit(server.asked[0]).query)
    assert {key: query[key][0] for key in wanted} == wanted


def test_the_water_office_is_asked_in_its_own_clock(
    monkeypatch: pytest.MonkeyPatch, server: Service, session: requests.Session
) -> None:
    """Regression: a window in Pacific time was sent as if it were UTC, and the newest eight hours did not come."""
    monkeypatch.setenv("PLUMBRUN_CANADA_OFFICE", server.address)
    server.answers = [send(200, OFFICE.read_bytes(), CSV)] * 2
    end = datetime(2025, 10, 22, 12, tzinfo=timezone(timedelta(hours=-8)))
    canada._office("canada:08MF005", end - timedelta(days=1), end, session)
    query = parse_qs(urlsplit(server.asked[0]).query)
    assert (query["start_date"], query["end_date"]) == (["2025-10-21 20:00:00"], ["2025-10-22 20:00:00"])


def office(raw: bytes) -> Series:
    """A reply of the Water Office."""
    return canada.parse(raw, "canada:08MF005")


def test_a_reply_that_breaks_off_in_a_value_gives_none_there() -> None:
    """Regression: the last row "3.5" of 3.555 was read as a level 5 cm lower."""
    whole = OFFICE.read_bytes()
    last = whole.rindex(b",3.") + 4
    cut = office(whole[:last])
    assert len(cut) == len(office(whole)) - 1
    assert any("break off" in note for note in cut.notes)
    assert not any("break off" in note for note in office(whole).notes)


def test_only_daily_means_are_ranked() -> None:
    """Regression: where each day's highest value is ranked too, its percentiles stood for those of the means."""
    reply = json.loads(NORMALS.read_bytes())
    data = reply["features"][0]["properties"]["data"]
    other = json.loads(json.dumps(data[0]))
    for value in other["values"]:
        value["sample_count"] = 200
        value["values" if "values" in value else "value"] = ["9"] * 7 if "values" in value else "9"
    for statistic in ("00001", "00002"):
        reply["features"][0]["properties"]["data"] = [*data, {**other, "parent_statistic_id": statistic}]
        found = statistics.parse(json.dumps(reply).encode(), "usgs:12451000")[(1, 1)]
        assert found.percentiles[50.0] == pytest.approx(315.5 * CFS)
        assert (found.years, found.highest) == (104, pytest.approx(2500 * CFS))


@pytest.mark.parametrize(("years", "taken"), [(30, 315.5), (200, 9.0)])
def test_of_two_series_of_means_the_longer_is_taken_whole(years: int, taken: float) -> None:
    """Regression: percentiles of two places at one station were mixed, the years of the longer beside them."""
    reply = json.loads(NORMALS.read_bytes())
    data = reply["features"][0]["properties"]["data"]
    other = json.loads(json.dumps({**data[0], "parent_time_series_id": "another"}))
    for value in other["values"]:
        value["sample_count"] = years
        value["values" if "values" in value else "value"] = ["9"] * 7 if "values" in value else "9"
    data.append(other)
    found = statistics.parse(json.dumps(reply).encode(), "usgs:12451000")[(1, 1)]
    assert found.percentiles[50.0] == pytest.approx(taken * CFS)
    assert found.years == max(years, 104)
    assert found.highest == pytest.approx((2500 if taken > 9 else 9) * CFS)
