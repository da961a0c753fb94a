"""What could be taken for another thing: a code for a number, a neighbour for the station, old words for new ones."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import requests

from planner.errors import GaugeReplyUnfit
from planner.gauges import file, france, open_series, parse_iv_json, transport, usgs_v1, waterml2
from planner.gauges.beside import open_categories, open_forecast
from planner.gauges.store import Store
from tests.gauges import replies
from tests.gauges.test_service import Service, send

STAGEFLOW = replies.DATA / "nwps_stageflow_NRKW1_2026-10-07_excerpt.json"
GAUGE = replies.DATA / "nwps_gauge_NRKW1_2026-10_excerpt.json"
POTOMAC = (replies.DATA / "usgs_dv_waterml20_01646500_2014-09.xml").read_bytes()
NOW = datetime(2026, 10, 7, 21, tzinfo=UTC)


@pytest.mark.parametrize("code", ["-999999", "-999999.000", "-9.99999e5"])
def test_the_missing_code_is_none_however_it_is_written(code: str) -> None:
    """Regression: with three decimals it was a stage of a thousand kilometres below zero."""
    raw = f"time,stage_m\n2026-06-12T18:00:00Z,1.0\n2026-06-12T18:15:00Z,{code}\n".encode()
    assert np.isnan(file.parse(raw, "file:x.csv").stage_m).tolist() == [False, True]
    inches = raw.replace(b"stage_m", b"temperature_f")
    assert np.isnan(file.parse(inches, "file:x.csv").temperature_c).tolist() == [False, True]


def other_gauge(folder: Path, off_ft: float) -> Path:
    """The recorded reply as another gauge might give it, five minutes later."""
    reply = json.loads(STAGEFLOW.read_bytes())
    for row in reply["observed"]["data"]:
        row["primary"] += off_ft
        row["validTime"] = row["validTime"].replace("0:00Z", "3:00Z").replace("5:00Z", "8:00Z")
    path = folder / "other.json"
    path.write_text(json.dumps(reply), encoding="utf-8")
    return path


def test_replies_of_two_gauges_are_not_joined(tmp_path: Path) -> None:
    """Regression: stageflow replies name no gauge, and two of them made one record that jumped by 40 m and back."""
    with pytest.raises(GaugeReplyUnfit, match=r"differ by 39\.6"):
        open_series("noaa:NRKW1", now=NOW, reply_files=[STAGEFLOW, other_gauge(tmp_path, -130.0)])
    joined = open_series("noaa:NRKW1", now=NOW, reply_files=[STAGEFLOW, other_gauge(tmp_path, 0.5)])
    assert len(joined) == 6


def test_of_recorded_forecasts_the_newest_that_is_known_counts(tmp_path: Path) -> None:
    """Regression: the first file was taken alone, so that a forecast issued later than the clock hid the one before."""
    later = json.loads(STAGEFLOW.read_bytes())
    later["forecast"]["issuedTime"] = "2026-10-08T15:36:00Z"
    tomorrow = tmp_path / "tomorrow.json"
    tomorrow.write_text(json.dumps(later), encoding="utf-8")
    for files in ([tomorrow, STAGEFLOW], [STAGEFLOW, tomorrow]):
        found = open_forecast("noaa:NRKW1", now=NOW, reply_files=files)
        assert found is not None
        assert found.issued == datetime(2026, 10, 7, 15, 36, tzinfo=UTC)
        after = open_forecast("noaa:NRKW1", now=NOW + timedelta(hours=20), reply_files=files)
        assert after is not None
        assert after.issued == datetime(2026, 10, 8, 15, 36, tzinfo=UTC)


def test_words_that_name_no_category_do_not_take_the_place_of_those_that_did(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Regression: a JSON apology with status 200 wiped out the flood categories, and F4 was not assessed."""
    server = Service()
    monkeypatch.setenv("PLUMBRUN_NOAA", server.address)
    monkeypatch.setattr("planner.gauges.beside._FRESH_S", {"categories": -1.0, "forecast": -1.0})
    try:
        with transport.make_session(retries=0, backoff_s=0.0) as session:
            server.answers = [send(200, GAUGE.read_bytes())]
            first = open_categories("noaa:NRKW1", cache=tmp_path, session=session)
            server.answers = [send(200, b'{"code": 13, "message": "busy"}')]
            again = open_categories("noaa:NRKW1", cache=tmp_path, session=session)
            kept = open_categories("noaa:NRKW1", cache=tmp_path, online=False)
            assert first is not None
            assert again is not None
            assert kept is not None
            assert first.known_stages() == again.known_stages() == kept.known_stages()
            assert len(first.known_stages()) == 4
            assert_a_forecast_taken_back_is_none(server, session, tmp_path)
    finally:
        server.stop()


def assert_a_forecast_taken_back_is_none(server: Service, session: requests.Session, cache: Path) -> None:
    """A service that says that it forecasts nothing is taken at its word."""
    server.answers = [send(200, STAGEFLOW.read_bytes())]
    assert open_forecast("noaa:NRKW1", now=NOW, cache=cache, session=session) is not None
    none = {**json.loads(STAGEFLOW.read_bytes()), "forecast": None}
    server.answers = [send(200, json.dumps(none).encode())]
    assert open_forecast("noaa:NRKW1", now=NOW, cache=cache, session=session) is None


def test_a_station_is_not_found_within_a_longer_number() -> None:
    """Regression: eight digits were found inside fifteen, and the neighbour's values answered for the station."""
    longer = POTOMAC.replace(b"01646500", b"016465001234567")
    assert len(waterml2.parse(longer, "usgs:016465001234567")) == 8
    with pytest.raises(GaugeReplyUnfit):
        waterml2.parse(longer, "usgs:01646500")
    assert len(waterml2.parse(POTOMAC, "usgs:01646500")) == 8


@pytest.mark.parametrize(
    ("word", "quality"),
    [("P", "provisional"), ("A", "measured"), ("Eqp", "equipment"), ("Ice", "ice"), ("Xyz", "estimated")],
)  # fmt: skip
def test_no_qualifier_of_waterml_2_is_passed_over(word: str, quality: str) -> None:
    """Regression: equipment trouble, and whatever else was not in the list, read as provisional without a word."""
    code = f"<swe:value>{word}</swe:value>".encode()
    raw = POTOMAC.replace(b"<swe:value>P</swe:value>", code).replace(b"dvQualCd=P", f"dvQualCd={word}".encode())
    raw = raw.replace(b"<swe:description>Provisional</swe:description>", b"")
    series = waterml2.parse(raw, "usgs:01646500")
    assert set(series.quality.tolist()) == {quality}
    assert any("is not known here" in note for note in series.notes) is (word == "Xyz")


def test_a_reply_stands_for_its_whole_span(tmp_path: Path) -> None:
    """Regression: rows of another sensor, or ones that the agency took back, stood between those of the new reply."""
    store = Store(tmp_path)
    window = (datetime(2026, 6, 12, tzinfo=UTC), datetime(2026, 6, 13, tzinfo=UTC))
    old = parse_iv_json(replies.hourly_reply(["1", "9", "1", "1"]), "usgs:01541000")
    new = parse_iv_json(replies.hourly_reply(["1", "2", "1"]), "usgs:01541000")
    store.keep(old, *window)
    store.keep(new.rows(np.array([0, 2])), *window)
    back = store.load("usgs:01541000", *window)
    assert back is not None
    np.testing.assert_allclose(back.stage_m / 0.3048, [1, 1, 1])
    assert back.times[-1] == old.times[-1]


def test_the_hour_that_a_clock_shows_twice_stays_two_hours() -> None:
    """Regression: in a file of local times the second 01:00 to 02:00 of autumn was laid over the first."""
    clock = ["00:30", "01:00", "01:30", "01:00", "01:30", "02:00"]
    rows = "\n".join(f"2026-11-01 {at},{stage}" for at, stage in zip(clock, range(6), strict=True))
    series = file.parse(f"when,stage_m\n{rows}\n".encode(), "file:x.csv?time=when&zone=America/Chicago")
    assert series.stage_m.tolist() == [0, 1, 2, 3, 4, 5]
    assert (np.diff(series.times).astype(int) == 1800).all()
    once = "2026-11-01 01:30,1\n2026-11-01 02:00,2\n"
    series = file.parse(f"when,stage_m\n{once}".encode(), "file:x.csv?time=when&zone=America/Chicago")
    assert str(series.times[0]) == "2026-11-01T06:30:00"


def test_a_spoilt_stage_stands_beside_no_later_flow() -> None:
    """Regression: the stage of a quarter hour before, marked as failed, was read with a good discharge after it."""
    raw = b"time,stage_m,discharge_m3s,qualifier\n" + b"\n".join(
        [b"2026-06-12T17:30:00Z,1.0,20,", b"2026-06-12T17:45:00Z,9.9,,equipment", b"2026-06-12T18:00:00Z,,20,"]
    )
    last = file.parse(raw, "file:x.csv").last()
    assert last.discharge_m3s == 20.0
    assert last.stage_m == 1.0
    assert last.time == datetime(2026, 6, 12, 18, tzinfo=UTC)


@pytest.mark.parametrize("site_first", [True, False])
def test_a_better_word_of_the_site_does_not_override_the_station(site_first: bool) -> None:
    """Regression: of two values of one time the site's stood where its quality was the better, against the note."""
    row = {"code_site": "V7155010", "grandeur_hydro": "Q", "date_obs": "2026-06-06T11:55:00Z"}
    rows = [
        {**row, "code_station": None, "resultat_obs": 9999.0, "code_qualification_obs": 20, "code_statut": 16},
        {**row, "code_station": "V715501001", "resultat_obs": 2050.0, "code_qualification_obs": 12},
    ]
    reply = json.dumps({"data": rows if site_first else rows[::-1]}).encode()
    assert france.parse(reply, "france:V715501001").discharge_m3s.tolist() == [2.05]


@pytest.mark.parametrize(
    ("word", "quality"),
    [("ICE", "ice"), ("Ice Affected", "ice"), ("EQUIP", "equipment"), ("EQUIPMENT_MALFUNCTION", "equipment"),
     ("MAINTENANCE", "equipment"), ("FLOOD_DAMAGE", "equipment"), ("NOTICED", "estimated")],
)  # fmt: skip
def test_a_grave_qualifier_is_known_by_its_beginning(word: str, quality: str) -> None:
    """Regression: ice or equipment trouble in a longer word than the one remembered was kept as an estimate."""
    row = {
        "time": "2026-01-01T00:00:00+00:00", "value": "5", "parameter_code": "00065", "statistic_id": "00011",
        "time_series_id": "a", "approval_status": "Provisional", "qualifier": [word], "unit_of_measure": "ft",
    }  # fmt: skip
    series = usgs_v1.parse(json.dumps({"features": [{"properties": row}]}).encode(), "usgs:01542500")
    assert series.quality.tolist() == [quality]
    assert any("not known here" in note for note in series.notes) is (word == "NOTICED")
