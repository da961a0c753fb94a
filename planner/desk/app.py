"""The desk's addresses: each route hands over to the part that answers, and nothing else."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import orjson
from flask import Flask, Response, request
from werkzeug.exceptions import HTTPException

from planner.desk import guard as guarding
from planner.desk import reply
from planner.desk.assets import assets
from planner.desk.desk import Desk
from planner.desk.features import KINDS
from planner.desk.guard import Guard, Refused
from planner.errors import PlumbrunError
from planner.files import plain

__all__ = ["make_app"]


def _json(value: Any, status: int = 200) -> Response:
    return Response(orjson.dumps(plain(value)), status, mimetype="application/json")


def _asked() -> dict[str, Any]:
    """The JSON object in the body of a request."""
    try:
        value = orjson.loads(request.get_data())
    except (orjson.JSONDecodeError, RecursionError) as error:
        raise Refused(400, f"no JSON ({error})", "a JSON object", "send one") from error
    if not isinstance(value, dict):
        raise Refused(400, f"a {type(value).__name__}", "a JSON object", "send one")
    return value


def make_app(desk: Desk, guard: Guard) -> Flask:
    """The desk as a WSGI application.

    Parameters
    ----------
    desk : Desk
        What answers.
    guard : Guard
        What each request must show.
    """
    app = Flask("planner.desk", static_folder=None, template_folder=None)

    @app.before_request
    def look() -> None:
        guard.look(request.method, request.path, request.headers)
        if request.method in ("POST", "PUT"):
            most = guarding.largest(request.path)
            if (request.content_length or 0) > most:
                raise Refused(413, f"{request.content_length:,} bytes", f"at most {most:,}", "send less at once")
            if not guarding.right_type(request.path, request.content_type or ""):
                raise Refused(415, f"the type {(request.content_type or 'none')[:60]!r}", "the type of this address",
                              "send JSON as application/json and a file as application/octet-stream")  # fmt: skip

    @app.after_request
    def dress(response: Response) -> Response:
        for name, value in guarding.headers_for(request.path).items():
            response.headers[name] = value
        return response

    @app.errorhandler(PlumbrunError)
    def say(error: PlumbrunError) -> Response:
        return _json(reply.error_body(error), reply.status_of(error))

    @app.errorhandler(HTTPException)
    def say_http(error: HTTPException) -> Response:
        body = {"given": error.name, "need": "an address of the desk", "next_step": "load the page anew", "where": ""}
        return _json(body, error.code or 500)

    @app.errorhandler(Exception)
    def say_mistake(error: Exception) -> Response:
        app.logger.exception("a mistake in the program itself")
        given = f"a mistake in the program itself ({type(error).__name__})"
        return _json({"given": given, "need": "a report of it", "next_step": "load the page anew", "where": ""}, 500)

    _page(app, desk, guard)
    _folder(app, desk)
    return app


def _page(app: Flask, desk: Desk, guard: Guard) -> None:
    @app.get("/")
    def page() -> Response:
        key = request.args.get("key", "")
        if not guard.may_open(key, request.cookies):
            text = "Open the desk with the whole address that was printed at its start.\n"
            return Response(text, 403, mimetype="text/plain")
        if key:
            response = Response("", 303, {"Location": "/"})
            response.set_cookie(guard.cookie, guard.key, httponly=True, samesite="Strict", path="/")
            return response
        from planner.desk.page import page_html

        return Response(page_html(guard.token, started=desk.started), mimetype="text/html")

    @app.get("/static/<name>")
    def static_file(name: str) -> Response:
        asset = assets().get(name)
        if asset is None:
            raise Refused(404, f"{name[:60]!r}", "a file of the page", "load the page anew")
        return Response(asset.body, mimetype=asset.media_type)


def _folder(app: Flask, desk: Desk) -> None:
    @app.get("/api/river")
    def river() -> Response:
        return _json(desk.river())

    @app.get("/api/version")
    def version() -> Response:
        return _json({"version": desk.store.version()})

    def shapes_of(kind: str) -> Callable[[], Response]:
        return lambda: _json(desk.shapes(kind, _asked()))

    for kind in KINDS:
        app.add_url_rule(f"/api/shapes/{kind}", f"shapes_{kind}", shapes_of(kind), methods=["PUT"])

    @app.post("/api/history/back")
    def back() -> Response:
        return _json(desk.step(-1, _asked()))

    @app.post("/api/history/forward")
    def forward() -> Response:
        return _json(desk.step(1, _asked()))
