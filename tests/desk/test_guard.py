"""What a request must show before the desk answers it, and how the desk listens."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest

from planner.desk import serve as serving
from planner.desk.assets import assets
from planner.desk.guard import POLICY, Guard, Refused
from planner.desk.serve import LOOPBACK, open_socket
from planner.errors import UsageMistake
from tests.desk.desks import HOST, Caller, demo_folder


@pytest.fixture
def desk(tmp_path: Path) -> Caller:
    """A desk on a copy of the demo river."""
    return Caller(demo_folder(tmp_path / "river"))


def test_it_listens_on_the_loopback_address_only() -> None:
    """No other machine can connect, since the socket is bound to 127.0.0.1."""
    with open_socket(0) as listener:
        assert listener.getsockname()[0] == LOOPBACK == "127.0.0.1"


def test_a_taken_port_is_said() -> None:
    """A port in use is named, with what to do."""
    with socket.socket() as taken:
        taken.bind((LOOPBACK, 0))
        taken.listen()
        with pytest.raises(UsageMistake, match=str(taken.getsockname()[1])):
            open_socket(taken.getsockname()[1])


@pytest.mark.parametrize(
    "host",
    [
        "evil.example", "evil.example:50123", "localhost:50123", "127.0.0.1", "127.0.0.1:50124", "[::1]:50123",
        "127.0.0.1:50123.evil.example", "127.0.0.1:50123@evil.example", "127.1:50123", "2130706433:50123", "",
    ],
)  # fmt: skip
def test_only_the_exact_host_is_answered(desk: Caller, host: str) -> None:
    """A name that a web page pointed at 127.0.0.1 (DNS rebinding) is refused, for reading as for writing."""
    assert desk.ask("GET", "/api/river", Host=host).status_code == 403
    assert desk.ask("GET", "/", Host=host).status_code == 403
    assert desk.ask("GET", "/static/leaflet.js", Host=host).status_code == 403


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1:50123", "http://localhost:50123"])
def test_a_foreign_origin_is_refused(desk: Caller, origin: str) -> None:
    """Only the desk's own origin may ask, even with the right token."""
    assert desk.ask("GET", "/api/river", Origin=origin).status_code == 403


def test_a_write_needs_an_origin(desk: Caller) -> None:
    """A browser names the origin of each write; without one it is not the page's."""
    assert desk.ask("PUT", "/api/shapes/runs", {}, Origin=None).status_code == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_another_site_is_refused_even_without_an_origin(desk: Caller, site: str) -> None:
    """An image or script tag of another page sends no origin, but tells its site."""
    assert desk.ask("GET", "/static/leaflet.js", Origin=None, Sec_Fetch_Site=site).status_code == 403
    assert desk.ask("GET", "/plan.html", Origin=None, Sec_Fetch_Site=site).status_code == 403


def test_the_plans_page_needs_the_browser_that_opened_the_desk(desk: Caller) -> None:
    """Another account of this computer may connect, but has not the cookie of the key."""
    assert desk.ask("GET", "/plan.html").status_code == 403
    desk.client.set_cookie(desk.guard.cookie, desk.guard.key, domain="127.0.0.1")
    assert desk.ask("GET", "/plan.html").status_code == 404  # no plan yet


@pytest.mark.parametrize("token", [None, "", "x", "ü", "0" * 43])
def test_each_request_under_api_needs_the_token(desk: Caller, token: str | None) -> None:
    """A missing or wrong token is refused, for reading too."""
    if token == "ü":
        token = "ü".encode().decode("latin-1")
    assert desk.ask("GET", "/api/version", X_Desk_Token=token).status_code == 403
    assert desk.ask("PUT", "/api/shapes/runs", {}, X_Desk_Token=token).status_code == 403


def test_two_starts_have_two_tokens() -> None:
    """A token of yesterday opens nothing today."""
    one, two = Guard(HOST), Guard(HOST)
    assert one.token != two.token
    assert one.key != two.key
    assert min(len(one.token), len(one.key)) >= 43


def test_the_page_is_given_to_the_key_only(desk: Caller) -> None:
    """Another account of the computer can connect too; without key or cookie it gets no page and no token."""
    bare = desk.ask("GET", "/", Origin=None, Sec_Fetch_Site="none")
    assert bare.status_code == 403
    assert desk.guard.token not in bare.text
    assert desk.ask("GET", "/?key=wrong", Origin=None, Sec_Fetch_Site="none").status_code == 403
    first = desk.ask("GET", f"/?key={desk.guard.key}", Origin=None, Sec_Fetch_Site="none")
    assert first.status_code == 303
    assert first.headers["Location"] == "/"
    cookie = first.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    second = desk.ask("GET", "/", Origin=None, Sec_Fetch_Site="none")
    assert second.status_code == 200
    assert desk.guard.token in second.text


@pytest.mark.parametrize("method", ["DELETE", "PATCH", "OPTIONS", "TRACE", "PROPFIND"])
def test_other_methods_are_refused(desk: Caller, method: str) -> None:
    """No preflight is granted and nothing is deleted."""
    reply = desk.ask(method, "/api/river")
    assert reply.status_code == 405
    assert "Access-Control-Allow-Origin" not in reply.headers


@pytest.mark.parametrize("path", ["/", "/api/river", "/api/none", "/static/none.js", "/plan.html"])
def test_each_answer_carries_the_policy(desk: Caller, path: str) -> None:
    """Errors and pages alike say what may load, and that no other site may frame or read them."""
    headers = desk.ask("GET", path).headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "form-action 'none'" in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "no-referrer"
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
    assert headers["Cache-Control"] == "no-store"
    assert "Access-Control-Allow-Origin" not in headers


def test_the_policy_of_the_desk_lets_no_written_script_run() -> None:
    """A script in a name cannot run: no inline script, no eval, no other host."""
    script = next(part for part in POLICY.split("; ") if part.startswith("script-src"))
    assert script == "script-src 'self'"
    assert "unsafe" not in POLICY
    assert "http" not in POLICY


def test_the_written_page_is_kept_apart(desk: Caller) -> None:
    """The plan's page has a script of its own; its origin is another one, so it reads neither token nor API."""
    policy = desk.ask("GET", "/plan.html").headers["Content-Security-Policy"]
    assert policy.startswith("sandbox ")
    assert "allow-same-origin" not in policy


def test_the_list_of_static_files_is_fixed() -> None:
    """Names come from the package at the start, never from a request; the map library is served from there."""
    names = set(assets())
    assert {"leaflet.js", "leaflet.css"} <= names
    assert all("/" not in name and ".." not in name for name in names)


def test_a_guard_without_a_browser_behind_it() -> None:
    """The guard alone: its own request passes, and each missing part is refused."""
    guard = Guard(HOST)
    own = {"Host": HOST, "Origin": f"http://{HOST}", "X-Desk-Token": guard.token, "Sec-Fetch-Site": "same-origin"}
    guard.look("PUT", "/api/shapes/runs", own)
    for left_out in ("Host", "Origin", "X-Desk-Token"):
        with pytest.raises(Refused) as refused:
            guard.look("PUT", "/api/shapes/runs", {name: own[name] for name in own if name != left_out})
        assert refused.value.status == 403


@pytest.mark.parametrize("told", ["say", "opened"])
def test_an_interrupt_while_the_address_is_told_still_closes_the_desk(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, told: str
) -> None:
    """Whoever stops the desk as it comes up leaves no folder held and no port open."""

    def interrupt(address: str) -> None:
        raise KeyboardInterrupt

    def close(desk: serving.Desk) -> None:
        closed.append(desk)

    closed, sockets = [], []
    monkeypatch.setattr(serving.Desk, "warm", lambda desk: None)
    monkeypatch.setattr(serving.Desk, "close", close)
    monkeypatch.setattr(serving, "open_socket", lambda port: sockets.append(open_socket(port)) or sockets[0])
    with pytest.raises(KeyboardInterrupt):
        serving.serve(None, parent=tmp_path, **{"say": lambda address: None, "opened": None, told: interrupt})
    assert len(closed) == 1
    assert sockets[0].fileno() == -1
