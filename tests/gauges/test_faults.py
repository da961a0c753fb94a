"""A server on this machine with every fault, for each way of asking: the last good reading marked stale, or exit 3."""

from __future__ import annotations

import gzip
import ssl
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler
from pathlib import Path

import pytest
import requests
from click.testing import CliRunner

from planner.cli import main
from planner.errors import GaugeReplyUnfit, SourceUnreachable, StationUnknown
from planner.gauges import Quality, Series, open_series, transport
from planner.gauges.beside import open_normals
from tests.gauges import replies
from tests.gauges.test_service import Answer, Service, reset, send

PEM = Path(__file__).with_name("expired.pem")
CSV = "text/csv;charset=UTF-8"
GEO = "application/geo+json"
# service -> (environment, station, a moment after the last value, its recorded reply, content type)
ASKED = {
    "usgs v1": ("USGS_V1", "usgs:12210700", datetime(2026, 6, 1, 1, tzinfo=UTC), GEO),
    "usgs legacy": ("USGS_IV", "usgs:01541000", datetime(2018, 6, 2, 4, tzinfo=UTC), "application/json"),
    "noaa": ("NOAA", "noaa:NRKW1", datetime(2026, 10, 7, 21, tzinfo=UTC), "application/json"),
    "canada": ("CANADA", "canada:05BJ004", datetime(2026, 3, 7, 8, tzinfo=UTC), GEO),
    "england": ("ENGLAND", "england:690140", datetime(2015, 12, 10, 17, tzinfo=UTC), "application/json"),
    "france": ("FRANCE", "france:B720000001", datetime(2026, 9, 23, 20, tzinfo=UTC), "application/json"),
}
GOOD = {
    "usgs v1": replies.DATA / "usgs_ogc_v1_continuous_12210700_2026-06_next_link_excerpt.json",
    "usgs legacy": replies.BOWER,
    "noaa": replies.DATA / "nwps_stageflow_NRKW1_2026-10-07_excerpt.json",
    "canada": replies.DATA / "ca_geomet_hydrometric_realtime_05BJ004_one_feature_excerpt.json",
    "england": replies.DATA / "ea_readings_690140_2015-12-10.json",
    "france": replies.DATA / "hubeau_v2_observations_tr_B720000001_H_one_row_excerpt.json",
}


def body(name: str) -> bytes:
    """The recorded reply, without the link to a page that was cut off."""
    import orjson

    raw = GOOD[name].read_bytes()
    if name in ("usgs v1", "france"):
        reply = orjson.loads(raw)
        reply.pop("links", None)
        reply.pop("next", None)
        raw = orjson.dumps(reply)
    return raw


def drip(handler: BaseHTTPRequestHandler) -> None:
    """A byte now and then, for longer than anybody waits."""
    handler.send_response(200)
    handler.send_header("Content-Type", "application/json")
    handler.send_header("Content-Length", "100000")
    handler.end_headers()
    for _ in range(60):
        handler.wfile.write(b" " * 2000)
        time.sleep(0.01)


def bomb(handler: BaseHTTPRequestHandler) -> None:
    """Two hundred kilobytes that become two hundred megabytes."""
    packed = gzip.compress(b" " * 4_000_000, 9) * 50
    handler.send_response(200)
    handler.send_header("Content-Type", "application/json")
    handler.send_header("Content-Encoding", "gzip")
    handler.send_header("Content-Length", str(len(packed)))
    handler.end_headers()
    handler.wfile.write(packed)


def half(handler: BaseHTTPRequestHandler) -> None:
    """Half a JSON text, whole by its announced length."""
    send(200, b'{"type":"FeatureCollection","features":[{"pro')(handler)


FAULTS: dict[str, Answer] = {
    "429": send(429, b"{}", Retry_After="0"),
    "429 for an hour": send(429, b"{}", Retry_After="3600", X_RateLimit_Limit="100"),
    "500": send(500, b'{"code":"500"}'),
    "503": send(503, b"<html>busy</html>", "text/html", Retry_After="0"),
    "slow drip": drip,
    "truncated JSON": half,
    "HTML with 200": send(200, b"<html>Back soon</html>", "text/html"),
    "HTML dressed as JSON": send(200, b"<html>Back soon</html>"),
    "wrong kind": send(200, b"%PDF-1.7", "application/pdf"),
    "gzip bomb": bomb,
    "other host": send(302, Location="http://localhost:9/elsewhere"),
    "reset": reset,
}


@pytest.fixture
def session(monkeypatch: pytest.MonkeyPatch) -> Iterator[requests.Session]:
    """The session as in use, without pauses and with a small limit of size."""
    monkeypatch.setattr(transport, "LIMIT_BYTES", 2_000_000)
    with transport.make_session(retries=1, backoff_s=0.0) as made:
        yield made


def point(monkeypatch: pytest.MonkeyPatch, name: str, server: Service) -> tuple[str, datetime]:
    """Send a service's questions to the server."""
    variable, station, now, _ = ASKED[name]
    monkeypatch.setenv(f"PLUMBRUN_{variable}", server.address)
    monkeypatch.setenv("PLUMBRUN_USGS", "v1" if name == "usgs v1" else "iv")
    return station, now


def ask(station: str, now: datetime, session: requests.Session) -> Series:
    """The station over two days."""
    return open_series(station, now=now, days=2, session=session)


@pytest.mark.parametrize("fault", sorted(FAULTS))
@pytest.mark.parametrize("name", sorted(ASKED))
def test_a_fault_ends_in_the_last_good_reading_marked_stale(
    monkeypatch: pytest.MonkeyPatch, server: Service, session: requests.Session, name: str, fault: str
) -> None:
    """With a reading stored before, each service and each fault give that reading, stale, and the notes say why."""
    station, now = point(monkeypatch, name, server)
    server.answers = [send(200, body(name), ASKED[name][3])]
    fresh = ask(station, now, session)
    assert not fresh.from_cache
    server.answers = [FAULTS[fault]]
    server.asked.clear()
    if fault == "slow drip":
        monkeypatch.setattr(transport, "TOTAL_S", 0.15)
    later = ask(station, now + timedelta(hours=9), session)
    assert server.asked
    assert later.from_cache
    assert later.last().quality == Quality.STALE
    assert later.last().time == fresh.last().time
    assert later.last().stage_m == fresh.last().stage_m
    assert any("stand in" in note for note in later.notes)


@pytest.mark.parametrize("fault", sorted(FAULTS))
def test_a_fault_with_nothing_stored_is_exit_3(
    monkeypatch: pytest.MonkeyPatch, server: Service, session: requests.Session, fault: str
) -> None:
    """Without a stored reading every fault has the exit code 3 and says what to do."""
    station, now = point(monkeypatch, "usgs v1", server)
    server.answers = [FAULTS[fault]]
    if fault == "slow drip":
        monkeypatch.setattr(transport, "TOTAL_S", 0.15)
    with pytest.raises(SourceUnreachable) as caught:
        ask(station, now, session)
    assert caught.value.exit_code == 3
    assert caught.value.next_step


def test_a_gzip_bomb_is_cut_off_by_its_size_after_unpacking(monkeypatch: pytest.MonkeyPatch, server: Service) -> None:
    """200 kB on the wire stop at the limit of 2 MB, long before 200 MB."""
    server.answers = [bomb]
    with transport.make_session(retries=0) as made, pytest.raises(GaugeReplyUnfit, match="larger than 2 MB"):
        transport.fetch(server.address, {}, session=made, limit_bytes=2_000_000)


def test_the_command_ends_with_exit_3_and_no_traceback(monkeypatch: pytest.MonkeyPatch, server: Service) -> None:
    """As a user types it: a message that names the way out, and nothing on stdout."""
    station, now = point(monkeypatch, "usgs v1", server)
    monkeypatch.setattr(transport, "make_session", requests.Session)
    server.answers = [send(500)]
    result = CliRunner().invoke(main, ["gauge", station, "--now", now.isoformat()])
    assert result.exit_code == 3
    assert result.stdout == ""
    assert "--gauge-reply" in result.stderr
    assert "Traceback" not in result.output


def test_legacy_values_stand_in_when_v1_is_silent(
    monkeypatch: pytest.MonkeyPatch, server: Service, session: requests.Session
) -> None:
    """The stated order: v1 first, the legacy service second, and the reading is fresh."""
    station, now = point(monkeypatch, "usgs legacy", server)
    monkeypatch.setenv("PLUMBRUN_USGS_V1", f"{server.address}v1/")
    monkeypatch.setenv("PLUMBRUN_USGS", "v1,iv")
    good = send(200, body("usgs legacy"))

    def answer(handler: BaseHTTPRequestHandler) -> None:
        (send(500) if "/v1/" in handler.path else good)(handler)

    server.answers = [answer]
    series = ask(station, now, session)
    assert len(series) == 96
    assert not series.from_cache
    assert "/v1/continuous/items" in server.asked[0]
    assert "sites=01541000" in server.asked[-1]


def test_pages_are_followed_to_the_end_with_the_key(
    monkeypatch: pytest.MonkeyPatch, server: Service, session: requests.Session
) -> None:
    """Two pages become one series, and the key goes with both questions."""
    station, now = point(monkeypatch, "usgs v1", server)
    monkeypatch.setenv("PLUMBRUN_USGS_KEY", "a-key")
    keys: list[str | None] = []
    first = body("usgs v1").replace(b'"features"', b'"links":[{"rel":"next","href":"/page2?cursor=x"}],"features"', 1)
    second = body("usgs v1").replace(b"2026-06-01T00", b"2026-05-31T23").replace(b'"links"', b'"_"')

    def answer(handler: BaseHTTPRequestHandler) -> None:
        keys.append(handler.headers.get("X-Api-Key"))
        send(200, second if "page2" in handler.path else first, GEO)(handler)

    server.answers = [answer]
    series = ask(station, now, session)
    assert len(series) == 6
    assert keys == ["a-key", "a-key"]


def test_a_next_link_to_another_host_is_not_followed(
    monkeypatch: pytest.MonkeyPatch, server: Service, session: requests.Session
) -> None:
    """The key stays where it belongs: the link is an error, not a shorter answer."""
    station, now = point(monkeypatch, "usgs v1", server)
    monkeypatch.setenv("PLUMBRUN_USGS_KEY", "a-key")
    other = Service()
    link = f'"links":[{{"rel":"next","href":"{other.address}"}}],"features"'.encode()
    server.answers = [send(200, body("usgs v1").replace(b'"features"', link, 1), GEO)]
    other.answers = [send(200, body("usgs v1"), GEO)]
    try:
        with pytest.raises(SourceUnreachable, match="next page is at"):
            ask(station, now, session)
        assert other.asked == []
    finally:
        other.stop()


@pytest.mark.parametrize("end", ["fails", "never ends"])
def test_a_page_that_fails_is_an_error_and_never_a_shorter_answer(
    monkeypatch: pytest.MonkeyPatch, server: Service, session: requests.Session, end: str
) -> None:
    """The second of two pages is missing, or leads to itself."""
    station, now = point(monkeypatch, "usgs v1", server)
    first = body("usgs v1").replace(b'"features"', b'"links":[{"rel":"next","href":"/again"}],"features"', 1)
    server.answers = [send(200, first, GEO), send(500) if end == "fails" else send(200, first, GEO)]
    with pytest.raises(SourceUnreachable):
        ask(station, now, session)


def test_partial_content_is_paged(monkeypatch: pytest.MonkeyPatch, server: Service, session: requests.Session) -> None:
    """206 means more pages in France; height and discharge are asked for apart and both are followed."""
    station, now = point(monkeypatch, "france", server)
    page = b'{"next":%s,"data":[{"code_station":"B720000001","date_obs":"2026-09-23T%s:30:00Z","resultat_obs":491}]}'

    def answer(handler: BaseHTTPRequestHandler) -> None:
        if "cursor" in handler.path:
            send(200, page % (b"null", b"18"))(handler)
        else:
            query = handler.path.split("?")[1]
            send(206, page % (f'"{server.address}?cursor=1&{query}"'.encode(), b"19"))(handler)

    server.answers = [answer]
    series = ask(station, now, session)
    assert series.stage_m.tolist() == [0.491, 0.491]
    assert series.discharge_m3s.tolist() == [0.491, 0.491]
    assert len(server.asked) == 4


def test_an_unknown_station_is_asked_at_both_services_and_is_exit_4(
    monkeypatch: pytest.MonkeyPatch, server: Service, session: requests.Session
) -> None:
    """Nothing at v1 and 404 at the legacy service: the station is wrong, not the connection."""
    station, now = point(monkeypatch, "usgs legacy", server)
    monkeypatch.setenv("PLUMBRUN_USGS_V1", server.address)
    monkeypatch.setenv("PLUMBRUN_USGS", "v1,iv")
    server.answers = [send(200, b'{"type":"FeatureCollection","features":[]}', GEO), send(404, b"", "text/plain")]
    with pytest.raises(StationUnknown):
        ask(station, now, session)


@pytest.mark.parametrize("trusted", [False, True], ids=["self-signed", "expired"])
def test_a_certificate_that_is_not_trusted_is_unreachable(
    monkeypatch: pytest.MonkeyPatch, server: Service, trusted: bool
) -> None:
    """A self-signed certificate, and one that is trusted but has expired, are told from a lost connection."""
    for name in ("REQUESTS_CA_BUNDLE", "CURL_CA_BUNDLE"):
        monkeypatch.delenv(name, raising=False)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(PEM)
    secure = Service()
    secure.server.socket = context.wrap_socket(secure.server.socket, server_side=True)
    secure.answers = [send(200, body("noaa"))]
    monkeypatch.setenv("PLUMBRUN_NOAA", secure.address.replace("http:", "https:"))
    try:
        with transport.make_session(retries=0, backoff_s=0.0) as made:
            made.verify = str(PEM) if trusted else True
            with pytest.raises(SourceUnreachable, match="has expired" if trusted else "self-signed") as caught:
                ask("noaa:NRKW1", ASKED["noaa"][2], made)
        assert caught.value.exit_code == 3
        assert secure.asked == []
    finally:
        secure.stop()


def test_what_stands_beside_the_readings_never_stops_a_plan(
    monkeypatch: pytest.MonkeyPatch, server: Service, session: requests.Session
) -> None:
    """Statistics that cannot be had are unknown; once had, they are kept and not asked for again."""
    monkeypatch.setenv("PLUMBRUN_USGS_STATISTICS", server.address)
    server.answers = [send(500)]
    assert open_normals("usgs:12451000", session=session) is None
    good = (replies.DATA / "usgs_statistics_v0_observationNormals.json").read_bytes()
    server.answers = [send(200, good)]
    first = open_normals("usgs:12451000", session=session)
    asked = len(server.asked)
    assert first is not None
    assert open_normals("usgs:12451000", session=session) == first
    assert len(server.asked) == asked


def test_two_programs_may_ask_at_once(
    monkeypatch: pytest.MonkeyPatch, server: Service, session: requests.Session
) -> None:
    """Four askers at once share one store and each gets the reading."""
    station, now = point(monkeypatch, "noaa", server)
    server.answers = [send(200, body("noaa"))]
    got: list[float] = []
    threads = [threading.Thread(target=lambda: got.append(ask(station, now, session).last().stage_m)) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(set(got)) == 1
    assert len(got) == 4
