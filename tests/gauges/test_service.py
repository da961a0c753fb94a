"""A real HTTP server on this machine, with the faults that services have."""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit

import pytest
import requests
import responses

from planner.errors import GaugeReplyUnfit, SourceUnreachable, StationUnknown
from planner.gauges import Quality, Series, open_series, transport
from planner.gauges.store import Store
from tests.gauges import replies

STATION = "usgs:01541000"
NOW = datetime(2018, 6, 2, 4, 0, tzinfo=UTC)
GOOD = replies.BOWER.read_bytes()
JSON = "application/json;charset=UTF-8"

Answer = Callable[[BaseHTTPRequestHandler], None]


def send(status: int, body: bytes = b"", kind: str = JSON, **headers: str) -> Answer:
    """An answer of the server."""

    def answer(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(status)
        handler.send_header("Content-Type", kind)
        for name, value in headers.items():
            handler.send_header(name.replace("_", "-"), value)
        handler.send_header("Content-Length", str(len(body)))
        handler.end_headers()
        handler.wfile.write(body)

    return answer


def truncated(handler: BaseHTTPRequestHandler) -> None:
    """Half of what was announced, then the connection ends."""
    handler.send_response(200)
    handler.send_header("Content-Type", JSON)
    handler.send_header("Content-Length", str(len(GOOD)))
    handler.end_headers()
    handler.wfile.write(GOOD[: len(GOOD) // 2])
    handler.close_connection = True


def reset(handler: BaseHTTPRequestHandler) -> None:
    """No answer at all."""
    handler.connection.close()


def slow(handler: BaseHTTPRequestHandler) -> None:
    """Nothing for longer than the client waits."""
    time.sleep(0.25)
    handler.close_connection = True


class Service:
    """A server that gives its answers in turn, the last one for good."""

    def __init__(self) -> None:
        self.answers: list[Answer] = []
        self.asked: list[str] = []
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                service.asked.append(self.path)
                answer = service.answers[min(len(service.asked), len(service.answers)) - 1]
                with contextlib.suppress(OSError):
                    answer(self)

            def log_message(self, *_: object) -> None:
                pass

            def finish(self) -> None:
                with contextlib.suppress(OSError, ValueError):
                    super().finish()

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        self.server.handle_error = lambda *_: None  # type: ignore[method-assign]
        self.address = f"http://127.0.0.1:{self.server.server_port}/nwis/iv/"
        self.thread = threading.Thread(target=self.server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
        self.thread.start()

    def stop(self) -> None:
        """End the server."""
        self.server.shutdown()
        self.server.server_close()
        self.thread.join()


@pytest.fixture
def service(monkeypatch: pytest.MonkeyPatch) -> Iterator[Service]:
    """A server at the address that the reader asks."""
    running = Service()
    monkeypatch.setenv("PLUMBRUN_USGS_IV", running.address)
    yield running
    running.stop()


@pytest.fixture
def session() -> Iterator[requests.Session]:
    """The session as in use, without pauses between retries."""
    with transport.make_session(backoff_s=0.0) as made:
        yield made


def ask(session: requests.Session, **options: object) -> Series:
    """The station over the last day."""
    return open_series(STATION, now=NOW, days=1, session=session, **options)  # type: ignore[arg-type]


def test_the_request_asks_what_the_plan_needs(service: Service, session: requests.Session) -> None:
    """One request names the station, the four parameters and a window somewhat wider than asked."""
    service.answers = [send(200, GOOD)]
    series = ask(session)
    query = parse_qs(urlsplit(service.asked[0]).query)
    assert query["sites"] == ["01541000"]
    assert query["parameterCd"][0].split(",") == ["00060", "00065", "00010", "63680"]
    assert query["format"] == ["json"]
    assert query["startDT"] == ["2018-06-01T03:00Z"]
    assert query["endDT"] == ["2018-06-02T04:00Z"]
    assert len(series) == 96
    assert not series.from_cache


@pytest.mark.parametrize(
    "first",
    [
        send(429, b"{}", Retry_After="0"),
        send(500),
        send(503, b"<html>busy</html>", "text/html", Retry_After="0"),
        reset,
        truncated,
    ],
    ids=["429", "500", "503", "reset", "truncated"],
)
def test_a_passing_fault_is_asked_again(service: Service, session: requests.Session, first: Answer) -> None:
    """After one fault the second answer is taken."""
    service.answers = [first, send(200, GOOD)]
    assert len(ask(session)) == 96
    assert len(service.asked) == 2


def test_retry_after_is_honoured(service: Service, session: requests.Session, monkeypatch: pytest.MonkeyPatch) -> None:
    """The pause that the service asks for is the pause that is made."""
    paused: list[float] = []
    monkeypatch.setattr("urllib3.util.retry.time.sleep", paused.append)
    service.answers = [send(429, b"{}", Retry_After="7"), send(200, GOOD)]
    ask(session)
    assert paused == [7]


def test_a_long_pause_is_said_and_not_waited(service: Service, session: requests.Session) -> None:
    """A service that asks for an hour is not asked again, and the message says what it wants."""
    service.answers = [send(429, b"{}", Retry_After="3600")]
    began = time.monotonic()
    with pytest.raises(SourceUnreachable, match="asks to wait 3600 s"):
        ask(session)
    assert len(service.asked) == 1
    assert time.monotonic() - began < 5


@pytest.mark.parametrize("fault", [send(500), reset, truncated], ids=["500", "reset", "truncated"])
def test_a_lasting_fault_without_store_is_unreachable(
    service: Service, session: requests.Session, fault: Answer
) -> None:
    """With nothing stored the error has exit code 3 and names what the user can do."""
    service.answers = [fault]
    with pytest.raises(SourceUnreachable) as caught:
        ask(session)
    assert caught.value.exit_code == 3
    for words in ("--gauge-reply", "--level", "connection"):
        assert words in str(caught.value)


def test_a_silent_service_runs_into_the_time_out(
    service: Service, session: requests.Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A service that holds the line without a word is given up."""
    monkeypatch.setattr(transport, "READ_S", 0.05)
    service.answers = [slow]
    with transport.make_session(retries=1, backoff_s=0.0) as hasty, pytest.raises(SourceUnreachable, match="could not"):
        ask(hasty)


def test_nobody_there_is_unreachable(session: requests.Session) -> None:
    """A refused connection has exit code 3."""
    with pytest.raises(SourceUnreachable, match="no connection"):
        ask(session)


def test_a_page_with_status_200_is_refused(service: Service, session: requests.Session) -> None:
    """A maintenance page is no reading, whatever its status says."""
    service.answers = [send(200, b"<html>Back soon</html>", "text/html")]
    with pytest.raises(SourceUnreachable, match="text/html"):
        ask(session)


def test_a_page_dressed_as_json_is_refused(service: Service, session: requests.Session) -> None:
    """The content is looked at, not only its announced kind."""
    service.answers = [send(200, b"<html>Back soon</html>")]
    with pytest.raises(SourceUnreachable, match="HTML or XML page"):
        ask(session)


def test_an_unknown_station_is_no_matter_of_connection(service: Service, session: requests.Session) -> None:
    """404 says that the station is wrong, with exit code 4, and nothing stored stands in for it."""
    service.answers = [send(200, GOOD), send(404, b"No sites found", "text/plain")]
    ask(session)
    with pytest.raises(StationUnknown, match="no such station"):
        open_series(STATION, now=NOW, days=3, session=session)


def test_too_large_a_reply_is_cut_off_while_it_comes(service: Service, session: requests.Session) -> None:
    """The limit acts on what arrives, also when the length announced says nothing."""
    service.answers = [send(200, b" " * 400_000)]
    with pytest.raises(GaugeReplyUnfit, match="larger than"):
        transport.fetch(service.address, {}, session=session, limit_bytes=100_000)


def test_a_redirect_to_another_host_is_not_followed(service: Service, session: requests.Session) -> None:
    """Only the host that was asked may answer."""
    service.answers = [send(301, Location="http://localhost:9/elsewhere")]
    with pytest.raises(SourceUnreachable, match="redirects to http://localhost"):
        ask(session)


def test_a_redirect_on_the_same_host_is_followed_a_few_times(service: Service, session: requests.Session) -> None:
    """A moved path is followed; a ring of redirects ends."""
    service.answers = [send(301, Location="/moved?x=1"), send(200, GOOD)]
    assert len(ask(session)) == 96
    assert service.asked[1] == "/moved?x=1"
    service.answers = [send(302, Location="/round")]
    with pytest.raises(SourceUnreachable, match="more than 3 redirects"):
        transport.fetch(service.address, {}, session=session)


def test_stored_observations_stand_in_marked_stale(service: Service, session: requests.Session) -> None:
    """When the service falls silent the last good reading comes from the store, stale, and the notes say why."""
    service.answers = [send(200, GOOD), send(500)]
    fresh = ask(session)
    later = open_series(STATION, now=NOW + timedelta(hours=9), days=2, session=session)
    assert later.from_cache
    assert later.last().quality == Quality.STALE
    assert later.last().time == fresh.last().time
    assert later.last().stage_m == fresh.last().stage_m
    assert any("stand in" in note and "could not be reached" in note for note in later.notes)
    assert set(later.quality[:-1]) == {"provisional"}


@pytest.mark.parametrize(
    "bad",
    [send(200, b"<html>Back soon</html>", "text/html"), send(200, GOOD[:500]), send(200, replies.NOTHING.read_bytes())],
    ids=["page", "half", "nothing"],
)
def test_a_bad_answer_never_takes_the_place_of_a_stored_reading(
    service: Service, session: requests.Session, bad: Answer
) -> None:
    """What the parser refuses is not stored; the reading before it stands in."""
    service.answers = [send(200, GOOD), bad]
    ask(session)
    before = Store().load(STATION, NOW - timedelta(days=2), NOW)
    again = open_series(STATION, now=NOW, days=2, session=session)
    after = Store().load(STATION, NOW - timedelta(days=2), NOW)
    assert again.from_cache
    assert again.last().quality == Quality.STALE
    assert before is not None
    assert after is not None
    assert (before.stage_m == after.stage_m).all()


def test_a_settled_window_is_not_asked_twice(service: Service, session: requests.Session) -> None:
    """A window that was over long before it was fetched comes from the store the second time, and is not stale."""
    service.answers = [send(200, GOOD)]
    first = ask(session)
    second = ask(session)
    assert len(service.asked) == 1
    assert not second.from_cache
    assert second.last().time == first.last().time
    assert second.last().quality == first.last().quality
    assert (second.times == first.times).all()
    assert (second.stage_m == first.stage_m).all()


@responses.activate
def test_three_refusals_and_an_answer_through_mounted_retries() -> None:
    """503, 429, 500 and then 200 is one answer for the user."""
    url = "http://127.0.0.1:9/"
    for status in (503, 429, 500):
        responses.add(responses.GET, url, status=status)
    responses.add(responses.GET, url, body=GOOD, content_type=JSON)
    with transport.make_session(backoff_s=0.0) as session:
        assert len(ask(session)) == 96


@responses.activate
def test_a_reply_over_a_downgraded_redirect_is_refused() -> None:
    """From https a redirect to http is not followed, even on the same host."""
    responses.add(responses.GET, "https://a.example/iv", status=301, headers={"Location": "http://a.example/iv"})
    with transport.make_session(backoff_s=0.0) as session, pytest.raises(SourceUnreachable, match="not followed"):
        transport.fetch("https://a.example/iv", {}, session=session)
