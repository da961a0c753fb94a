"""Ask a public service politely and take no answer on trust.

Retries honour Retry-After up to a limit, time-outs bound each step, the size of a reply is limited while it comes in,
its kind is checked, and no redirect leads to another host.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any
from urllib.parse import urljoin, urlsplit

import requests
from requests.adapters import HTTPAdapter
from urllib3.exceptions import MaxRetryError, ResponseError
from urllib3.response import BaseHTTPResponse
from urllib3.util.retry import Retry

from planner.errors import GaugeReplyUnfit, SourceUnreachable, StationUnknown
from planner.gauges.pace import ask_again_after, wait_turn

__all__ = [
    "CONNECT_S",
    "LIMIT_BYTES",
    "READ_S",
    "TOTAL_S",
    "WAIT_S",
    "Answer",
    "ask",
    "ask_all",
    "fetch",
    "iso_z",
    "make_session",
]

# Design choices. 120 days of 15-minute stage and discharge are 2 MB; the limit leaves room for a reply of many years.
CONNECT_S = 6.0
READ_S = 20.0
TOTAL_S = 60.0
LIMIT_BYTES = 64 * 1024 * 1024
# The longest pause that a service may ask for and get; more than that is said to the user instead of waited.
WAIT_S = 30.0
# A service that refuses without naming a time is left alone for this long when many rivers are read. Design choice.
_PAUSE_S = 60.0
_REDIRECTS = 3
_PAGES = 200
JSON_KINDS = ("application/json", "application/vnd.geo+json", "application/geo+json", "text/json")
_ATTEMPTS_AT_BODY = 2
_NEXT = "check the connection, plan from a recorded reply with --gauge-reply, or give the level with --level"


class _PatientRetry(Retry):
    """Retry that waits as long as the service asks, and gives up at once when it asks for more than `WAIT_S`."""

    def increment(
        self,
        method: str | None = None,
        url: str | None = None,
        response: BaseHTTPResponse | None = None,
        error: Exception | None = None,
        _pool: Any = None,
        _stacktrace: Any = None,
    ) -> _PatientRetry:
        if response is not None and error is None:
            asked = self.get_retry_after(response)
            if asked is not None and asked > WAIT_S:
                ask_again_after(f"{getattr(_pool, 'host', '')}:{getattr(_pool, 'port', '')}", asked)
                raise MaxRetryError(_pool, url or "", ResponseError(f"it asks to wait {asked:.0f} s"))
        return super().increment(method, url, response, error, _pool, _stacktrace)


def make_session(retries: int = 3, backoff_s: float = 0.5) -> requests.Session:
    """A session that retries on 429, 500, 502, 503, 504 and on broken connections.

    Parameters
    ----------
    retries : int
        Further attempts after the first.
    backoff_s : float
        Pause before the second retry, doubled each time [s].
    """
    retry = _PatientRetry(
        total=retries,
        connect=min(retries, 2),
        backoff_factor=backoff_s,
        backoff_max=WAIT_S,
        status_forcelist=(429, 500, 502, 503, 504),
        allowed_methods=("GET",),
        respect_retry_after_header=True,
        raise_on_status=False,
    )
    session = requests.Session()
    session.mount("https://", HTTPAdapter(max_retries=retry))
    session.mount("http://", HTTPAdapter(max_retries=retry))
    session.headers["User-Agent"] = "plumbrun (river trip planner; requests)"
    return session


@dataclass(frozen=True)
class Answer:
    """One answer of a service.

    Parameters
    ----------
    body : bytes
        After decompression.
    headers : Mapping
        As sent, names in any case.
    status : int
        HTTP status.
    """

    body: bytes
    headers: Mapping[str, str] = field(default_factory=dict)
    status: int = 200


def fetch(
    address: str,
    query: Mapping[str, str],
    *,
    session: requests.Session | None = None,
    what: str = "the service",
    kinds: tuple[str, ...] = JSON_KINDS,
    limit_bytes: int | None = None,
) -> bytes:
    """The body of a GET answer; see `ask`."""
    return ask(address, query, session=session, what=what, kinds=kinds, limit_bytes=limit_bytes).body


def ask(
    address: str,
    query: Mapping[str, str],
    *,
    session: requests.Session | None = None,
    what: str = "the service",
    kinds: tuple[str, ...] = JSON_KINDS,
    limit_bytes: int | None = None,
    headers: Mapping[str, str] | None = None,
    statuses: tuple[int, ...] = (200, 203),
) -> Answer:
    """A GET answer.

    Parameters
    ----------
    address : str
        Of the service, without query.
    query : mapping
        Query parameters.
    session : requests.Session, optional
        Default `make_session`.
    what : str
        Named in messages.
    kinds : tuple of str
        Content types taken; any other is refused before the body is read.
    limit_bytes : int
        Largest body, after decompression; `LIMIT_BYTES` by default.
    headers : mapping, optional
        Further request headers, such as a key; they never leave the host of `address`.
    statuses : tuple of int
        Taken as an answer.

    Raises
    ------
    SourceUnreachable
        No connection, time-out, broken body, or a status that says "later" after all retries.
    StationUnknown
        The service answers 400, 404 or 410.
    GaugeReplyUnfit
        It answers with another kind of content, or too much of it.
    """
    own = session is None
    session = session or make_session()
    limit = LIMIT_BYTES if limit_bytes is None else limit_bytes
    try:
        for attempt in range(1, _ATTEMPTS_AT_BODY + 1):
            try:
                return _once(session, address, query, what, kinds, limit, headers or {}, statuses)
            except requests.exceptions.ChunkedEncodingError as error:
                # the connection broke inside the body, where urllib3 does not retry
                if attempt == _ATTEMPTS_AT_BODY:
                    raise _unreachable(what, address, "the reply broke off") from error
        raise AssertionError("unreachable")
    except requests.exceptions.RetryError as error:
        raise _unreachable(what, address, f"it keeps refusing{_reason(error)}") from error
    except requests.exceptions.SSLError as error:
        raise _unreachable(what, address, f"its certificate is not trusted{_certificate(error)}") from error
    except requests.exceptions.Timeout as error:
        raise _unreachable(what, address, "it did not answer in time") from error
    except requests.exceptions.ConnectionError as error:
        raise _unreachable(what, address, f"no connection{_reason(error)}") from error
    except requests.exceptions.RequestException as error:
        raise _unreachable(what, address, f"the request failed ({type(error).__name__})") from error
    finally:
        if own:
            session.close()


def ask_all(
    address: str,
    query: Mapping[str, str],
    next_of: Callable[[Answer], str | None],
    **options: Any,
) -> list[Answer]:
    """An answer and all its further pages, in order.

    A page that fails is an error, never a shorter answer. A link to the next page is followed on the host that was
    asked and nowhere else, so that a key stays where it belongs.

    Parameters
    ----------
    address, query
        Of the first page.
    next_of : callable
        Address of the page after an answer, None at the end.
    **options
        As of `ask`.

    Raises
    ------
    SourceUnreachable
        Also when a link leads to another host, repeats, or does not end.
    """
    what = options.get("what", "the service")
    answers = [ask(address, query, **options)]
    seen = {address}
    here = address
    while (there := next_of(answers[-1])) is not None:
        here = _same_host(here, there, what, "its next page is at")
        if here in seen or len(answers) == _PAGES:
            raise _unreachable(what, address, f"its pages do not end (after {len(answers)})")
        if sum(len(answer.body) for answer in answers) > LIMIT_BYTES:
            raise _too_large(what, address, LIMIT_BYTES)
        seen.add(here)
        answers.append(ask(here, {}, **options))
    return answers


def iso_z(time_: datetime) -> str:
    """UTC time with its seconds, ``2026-06-12T23:00:00Z``, as RFC 3339 has it; Hub'Eau names no form without them."""
    return time_.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _once(
    session: requests.Session,
    address: str,
    query: Mapping[str, str],
    what: str,
    kinds: tuple[str, ...],
    limit_bytes: int,
    headers: Mapping[str, str],
    statuses: tuple[int, ...],
) -> Answer:
    began = time.monotonic()
    target, parameters = address, query
    for _ in range(_REDIRECTS + 1):
        wait_turn(_host_port(target))
        with session.get(
            target,
            params=parameters,
            timeout=(CONNECT_S, READ_S),
            stream=True,
            allow_redirects=False,
            headers={"Accept": kinds[0], **headers},
        ) as response:
            if response.is_redirect:
                target, parameters = _same_host(target, response.headers["location"], what), {}
                continue
            _check_status(response, address, what, statuses)
            _check_kind(response, kinds, what)
            body = _body(response, limit_bytes, began, what, address)
            return Answer(body, response.headers, response.status_code)
    raise _unreachable(what, address, f"more than {_REDIRECTS} redirects")


def _host_port(address: str) -> str:
    parts = urlsplit(address)
    return f"{parts.hostname}:{parts.port or (443 if parts.scheme == 'https' else 80)}"


def _same_host(here: str, location: str, what: str, how: str = "it redirects to") -> str:
    there = urljoin(here, location)
    a, b = urlsplit(here), urlsplit(there)
    other = (a.hostname, a.port) != (b.hostname, b.port)
    if other or b.scheme not in ("http", "https") or (a.scheme, b.scheme) == ("https", "http"):
        raise _unreachable(what, here, f"{how} {b.scheme}://{b.netloc}, which is not followed")
    return there


def _check_status(response: requests.Response, address: str, what: str, statuses: tuple[int, ...]) -> None:
    status = response.status_code
    if status in statuses:
        return
    if status in (400, 404, 410, 422):
        raise StationUnknown(
            f"{what}: the service answers {status}, it knows no such station or no values for the days asked",
            "a station that the service has",
            "check the station, or give the level with --level",
            where=urlsplit(address).netloc,
        )
    if status == 429:
        asked = response.headers.get("Retry-After", "")
        limit = response.headers.get("X-RateLimit-Limit", "")
        ask_again_after(_host_port(response.url), float(asked) if asked.isdigit() else _PAUSE_S)
        why = "too many requests" + (f" (it allows {limit} an hour)" if limit else "")
        raise _unreachable(what, address, why + (f"; it asks to wait {asked} s" if asked else ""))
    raise _unreachable(what, address, f"it answers {status}")


def _check_kind(response: requests.Response, kinds: tuple[str, ...], what: str) -> None:
    kind = response.headers.get("Content-Type", "").split(";")[0].strip().lower()
    if kind not in kinds:
        raise GaugeReplyUnfit(
            f"{what}: the reply is of the kind {kind or 'unnamed'!r}",
            " or ".join(kinds[:2]),
            "ask again later (a maintenance page?), or give a recorded reply with --gauge-reply",
            where=urlsplit(response.url).netloc,
        )


def _body(response: requests.Response, limit_bytes: int, began: float, what: str, address: str) -> bytes:
    parts: list[bytes] = []
    size = 0
    for part in response.iter_content(64 * 1024):
        size += len(part)
        if size > limit_bytes:
            raise _too_large(what, address, limit_bytes)
        if time.monotonic() - began > TOTAL_S:
            raise _unreachable(what, address, f"the reply took longer than {TOTAL_S:.0f} s")
        parts.append(part)
    return b"".join(parts)


def _too_large(what: str, address: str, limit_bytes: int) -> GaugeReplyUnfit:
    return GaugeReplyUnfit(
        f"{what}: the reply is larger than {limit_bytes / 1e6:.0f} MB",
        "a reply of the days asked",
        "ask for fewer days",
        where=urlsplit(address).netloc,
    )


def _unreachable(what: str, address: str, why: str) -> SourceUnreachable:
    return SourceUnreachable(
        f"{what} could not be reached: {why}", "an answer of the service", _NEXT, where=urlsplit(address).netloc
    )


def _reason(error: Exception) -> str:
    """The innermost reason that a person can use."""
    inner: Any = error.args[0] if error.args else None
    reason = getattr(inner, "reason", None)
    text = str(reason or "")
    if "asks to wait" in text or "error responses" in text:
        return f" ({text})"
    if "resolve" in text:
        return " (the name of the host could not be resolved)"
    if "refused" in text:
        return " (refused)"
    return ""


def _certificate(error: Exception) -> str:
    text = str(error)
    if "expired" in text:
        return " (it has expired; is this machine's clock right?)"
    return " (self-signed)" if "self-signed" in text or "self signed" in text else ""
