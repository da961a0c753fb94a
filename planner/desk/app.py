"""The desk's addresses: each route hands over to the part that answers, and nothing else."""

from __future__ import annotations

import math
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
        host = desk.picture_host() if request.path == "/" and response.status_code == 200 else ""
        if host:  # the one service of background pictures, only where river.toml asks for it
            response.headers["Content-Security-Policy"] = guarding.POLICY.replace("data:", f"data: {host}")
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
    _intake(app, desk)
    _water(app, desk)
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

    @app.get("/plan.html")
    def plan_page() -> Response:
        if not guard.may_open("", request.cookies):  # another account of this computer may connect, and has no cookie
            raise Refused(403, "the plan's page without the key", "the browser that opened the desk", "open it there")
        page = desk.day.page() if desk.started else None
        if page is None:
            raise Refused(404, "no plan yet", "a plan of the whole day", "ask for one")
        return Response(page, mimetype="text/html")

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

    @app.get("/api/background")
    def background() -> Response:
        return _json(desk.under())

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

    writes: dict[str, tuple[str, Callable[[dict[str, Any]], dict[str, Any]]]] = {
        "/api/settings": ("PUT", desk.settings),
        "/api/thresholds": ("PUT", desk.thresholds),
        "/api/tackle": ("PUT", desk.tackle),
        "/api/log": ("POST", desk.log),
        "/api/new": ("POST", desk.make),
        "/api/tackle/physics": ("POST", desk.physics),
        "/api/calibrate": ("POST", desk.calibrate),
    }

    def write(answer: Callable[[dict[str, Any]], dict[str, Any]]) -> Callable[[], Response]:
        return lambda: _json(answer(_asked()))

    for path, (method, answer) in writes.items():
        app.add_url_rule(path, f"write {path}", write(answer), methods=[method])

    @app.get("/api/tackle/physics")
    def physics() -> Response:
        return _json(desk.physics())

    @app.get("/api/caution")
    def caution() -> Response:
        return _json(desk.caution(request.args.to_dict()))

    @app.get("/api/learned")
    def learned() -> Response:
        return _json(desk.learned())


def _intake(app: Flask, desk: Desk) -> None:
    @app.post("/api/import/shapes")
    def import_shapes() -> Response:
        from planner.desk.shapes_in import shapes_in

        return _json(shapes_in(request.get_data(), request.args.get("name", "")))

    @app.post("/api/soundings/preview")
    def preview() -> Response:
        typed = (request.content_type or "").startswith("application/json")
        if typed and (request.content_length or 0) > guarding.LARGEST_JSON_BYTES:
            raise Refused(413, "too many typed rows", "a table typed by hand", "drop it in as a file")
        given = _asked() if typed else request.get_data()
        return _json(desk.preview(given, request.args.get("name", ""), request.args.to_dict()))

    @app.post("/api/soundings/apply")
    def apply() -> Response:
        return _json(desk.apply(_asked()))


def _number(name: str) -> float:
    """A number of the address."""
    try:
        value = float(request.args.get(name, ""))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise Refused(400, f"{name} = {request.args.get(name, '')[:40]!r}", "a number", "send one")
    return value


def _water(app: Flask, desk: Desk) -> None:
    @app.get("/api/see/run/<run_id>")
    def see_run(run_id: str) -> Response:
        return _json(desk.see(run_id, request.args.get("level")))

    @app.get("/api/see/section/<run_id>")
    def see_section(run_id: str) -> Response:
        return _json(desk.see(run_id, request.args.get("level"), (_number("lon"), _number("lat"))))

    @app.post("/api/plan/spot")
    def plan_spot() -> Response:
        return _json(desk.plan_spot(_asked()))

    @app.post("/api/plan/day")
    def plan_day() -> Response:
        return _json(desk.plan_day(_asked()))

    @app.get("/api/plan/day")
    def planned_day() -> Response:
        return _json(desk.day.state())

    @app.get("/api/gauges/near")
    def near() -> Response:
        within = _number("within_km") if "within_km" in request.args else 25.0
        service = request.args.get("service", "usgs")
        return _json(desk.gauges_near(_number("lon"), _number("lat"), service, min(max(within, 0.1), 300.0)))

    @app.get("/api/gauges/check")
    def check() -> Response:
        return _json(desk.gauge_checked(request.args.get("station", "")))
