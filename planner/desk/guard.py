"""Who may ask what of the desk: this computer's own page, with the token of this start, and nobody else.

The desk listens on the loopback address only. A page of the web can still make a browser send requests there, and can
point its own host name at 127.0.0.1 (DNS rebinding); another account of this computer can connect as well. So each
request must name the exact host, come from the desk's own origin, and carry a token that only the page holds, which is
handed out to whoever opens the address with the key that was printed at the start.
"""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from planner.errors import PlumbrunError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from werkzeug.datastructures import Headers

__all__ = ["LARGEST_BYTES", "POLICY", "POLICY_OF_PLAN", "Guard", "Refused", "headers_for", "largest", "right_type"]

# The most that one request may carry [bytes] (design choice): a season's soundings in a file, a drawing, an entry.
LARGEST_BYTES = 64_000_000
LARGEST_SHAPES_BYTES = 16_000_000
LARGEST_JSON_BYTES = 1_000_000

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
    "frame-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
# The written page holds its own script. It runs in an origin of its own, so that it can reach neither token nor API.
POLICY_OF_PLAN = (
    "sandbox allow-scripts allow-downloads allow-modals; default-src 'none'; script-src 'unsafe-inline'; "
    "style-src 'unsafe-inline'; img-src data: blob:; base-uri 'none'; form-action 'none'; frame-ancestors 'self'"
)


class Refused(PlumbrunError):
    """A request that is not answered; `status` is that of HTTP."""

    def __init__(self, status: int, given: str, need: str, next_step: str, where: str = "") -> None:
        super().__init__(given, need, next_step, where)
        self.status = status


@dataclass(frozen=True)
class Guard:
    """What a request must show.

    Parameters
    ----------
    host : str
        The one host with its port, such as ``127.0.0.1:50123``.
    token : str
        In the header ``X-Desk-Token`` of each request under ``/api``.
    key : str
        In the address that opens the page the first time.
    """

    host: str
    token: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    key: str = field(default_factory=lambda: secrets.token_urlsafe(32))

    @property
    def cookie(self) -> str:
        """Name of the cookie that a browser gets for the key; it differs by port, as cookies do not."""
        return f"desk-{self.host.rpartition(':')[2]}"

    @property
    def origin(self) -> str:
        """The one origin."""
        return f"http://{self.host}"

    @property
    def address(self) -> str:
        """What opens the page."""
        return f"{self.origin}/?key={self.key}"

    def look(self, method: str, path: str, headers: Mapping[str, str] | Headers) -> None:
        """Let a request through, or refuse it.

        Raises
        ------
        Refused
            Status 403, and 405 for a method that is not used here.
        """
        step = f"open the desk at {self.origin} with the address printed at its start"
        if method not in ("GET", "HEAD", "POST", "PUT"):
            raise Refused(405, f"the method {method}", "GET, POST or PUT", step)
        if headers.get("Host", "").lower() != self.host:
            raise Refused(403, f"the host {headers.get('Host', '')[:80]!r}", self.host, step)
        origin, site = headers.get("Origin"), headers.get("Sec-Fetch-Site")
        if origin is not None and origin != self.origin:
            raise Refused(403, f"the origin {origin[:80]!r}", self.origin, step)
        writes = method in ("POST", "PUT")
        if writes and origin is None:
            raise Refused(403, "a write without an Origin", self.origin, step)
        opened = path == "/" and method == "GET"  # a link may open the page; what it shows needs the key
        if site is not None and site != "same-origin" and not (site == "none" and not writes) and not opened:
            raise Refused(403, f"a request from another site ({site[:20]})", "one of the desk's own page", step)
        if path.startswith("/api/") and not same_secret(headers.get("X-Desk-Token", ""), self.token):
            raise Refused(
                403, "a missing or wrong token", "the header X-Desk-Token of this start", "load the page anew"
            )

    def may_open(self, key: str, cookies: Mapping[str, str]) -> bool:
        """Whether a browser may have the page: with the key of this start or the cookie that it got for it."""
        return same_secret(key, self.key) or same_secret(cookies.get(self.cookie, ""), self.key)


def same_secret(one: str, two: str) -> bool:
    """Equality that takes as long for a near miss as for a far one."""
    return hmac.compare_digest(one.encode("utf-8", "surrogatepass"), two.encode())


def largest(path: str) -> int:
    """The most bytes that a request to a path may carry."""
    if path == "/api/soundings/preview":
        return LARGEST_BYTES
    if path.startswith(("/api/import/", "/api/shapes/")):
        return LARGEST_SHAPES_BYTES
    return LARGEST_JSON_BYTES


def right_type(path: str, given: str) -> bool:
    """Whether the body's media type is one that a path takes; none of them can a foreign form send unasked."""
    kind = given.partition(";")[0].strip().lower()
    if path == "/api/import/shapes":
        return kind == "application/octet-stream"
    if path == "/api/soundings/preview":
        return kind in ("application/octet-stream", "application/json")
    return kind == "application/json"


def headers_for(path: str) -> dict[str, str]:
    """Headers of each answer."""
    return {
        "Content-Security-Policy": POLICY_OF_PLAN if path == "/plan.html" else POLICY,
        "X-Content-Type-Options": "nosniff",
        "X-Frame-Options": "SAMEORIGIN" if path == "/plan.html" else "DENY",
        "Referrer-Policy": "no-referrer",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Permissions-Policy": "geolocation=(self)",
        "Cache-Control": "no-store",
    }
