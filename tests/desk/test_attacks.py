"""Hostile requests and files: each is refused with the right status, and nothing in the folder changes."""

from __future__ import annotations

import io
import json
import socket
import sqlite3
import struct
import time
import zipfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from planner.desk import guard as guarding
from tests.desk.desks import NOW, Caller, Served, contents, demo_folder, served

SCRIPT = '<script>alert(1)</script><img src=x onerror="alert(2)">"\'}{{7*7}}'


@pytest.fixture
def desk(tmp_path: Path) -> Caller:
    """A desk on a copy of the demo river."""
    return Caller(demo_folder(tmp_path / "river"))


@pytest.fixture(autouse=True)
def _nothing_changes(request: pytest.FixtureRequest) -> Iterator[None]:
    """Unless a test says otherwise, the folder is byte for byte what it was."""
    if "desk" not in request.fixturenames or request.node.get_closest_marker("usefixtures"):
        yield
        return
    desk: Caller = request.getfixturevalue("desk")
    before = contents(desk.desk.folder)
    yield
    if "changes" not in request.node.name:
        assert contents(desk.desk.folder) == before


def _spot_edit(desk: Caller) -> dict[str, Any]:
    river = desk.get("/api/river")
    return {"version": river["version"], "remove": [river["spots"]["features"][0]["properties"]["id"]]}


# who asks


def test_a_rebound_host_cannot_write(desk: Caller) -> None:
    """A page whose name was pointed at 127.0.0.1 sends its own Host, with whatever else it likes."""
    edit = _spot_edit(desk)
    for host in ("attacker.example:50123", "attacker.example", "localhost:50123"):
        reply = desk.ask("PUT", "/api/shapes/spots", edit, Host=host, Origin=f"http://{host}")
        assert reply.status_code == 403


def test_a_cross_origin_write_is_refused(desk: Caller) -> None:
    """Another site's script, form or hidden frame cannot write, even if it learned the token."""
    edit = _spot_edit(desk)
    assert desk.ask("PUT", "/api/shapes/spots", edit, Origin="http://attacker.example").status_code == 403
    assert desk.ask("PUT", "/api/shapes/spots", edit, Origin="null").status_code == 403
    assert desk.ask("PUT", "/api/shapes/spots", edit, Origin=None, Sec_Fetch_Site="cross-site").status_code == 403


def test_a_foreign_form_cannot_even_send_a_body(desk: Caller) -> None:
    """The three types that a form may send without asking first are not taken anywhere."""
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"):
        for path in ("/api/shapes/spots", "/api/import/shapes", "/api/soundings/preview", "/api/log"):
            method = "PUT" if "shapes/spots" in path else "POST"
            assert desk.ask(method, path, b"{}", kind=kind).status_code == 415, (path, kind)


def test_a_missing_or_wrong_token_cannot_write(desk: Caller) -> None:
    """Each write without the token of this start is refused."""
    edit = _spot_edit(desk)
    for token in (None, "", desk.guard.token[:-1], desk.guard.token + "x", desk.guard.key):
        assert desk.ask("PUT", "/api/shapes/spots", edit, X_Desk_Token=token).status_code == 403


# what is named


@pytest.mark.parametrize(
    "path",
    [
        "/static/../desk.py", "/static/%2e%2e/desk.py", "/static/..%2fdesk.py", "/static/%2e%2e%2f%2e%2e%2fcli.py",
        "/static/....//desk.py", "/static/..%5cdesk.py", "/static/%00leaflet.js", "/static//etc/passwd", "/static/",
        "/static", "/static/page.py", "/static/leaflet.js%00.py", "/../../etc/passwd", "/%2e%2e/%2e%2e/etc/passwd",
        "/river.toml", "/.desk/history.json", "/plans/", "/api/../static/../desk.py",
    ],
)  # fmt: skip
def test_no_path_leads_out_and_no_directory_is_served(desk: Caller, path: str) -> None:
    """Names outside the fixed list are unknown, whatever they are spelled like."""
    reply = desk.ask("GET", path)
    assert reply.status_code in (301, 308, 404), path
    assert b"root:" not in reply.data
    assert b"import" not in reply.data
    assert b"Kettlemoor" not in reply.data


@pytest.mark.parametrize(
    "run", ["../../etc/passwd", "..%2f..%2fetc%2fpasswd", "%2e%2e", "x'%20OR%201=1--", "%00", "a" * 5000]
)
def test_an_id_is_looked_up_and_never_a_path(desk: Caller, run: str) -> None:
    """An unknown run is unknown: no file is looked for."""
    assert desk.ask("GET", f"/api/see/run/{run}").status_code in (404, 422)


def test_names_of_files_and_folders_are_no_paths(desk: Caller, tmp_path: Path) -> None:
    """The name of a dropped file is a word in messages; the name of a new folder has letters, digits and hyphens."""
    before = sorted(tmp_path.rglob("*"))
    reply = desk.ask(
        "POST", "/api/import/shapes?name=../../../../tmp/evil.geojson", b'{"type":"FeatureCollection","features":[]}'
    )
    assert reply.status_code == 200
    bare = Caller(None, tmp_path)
    answers = {"name": "Evil", "gauge": "", "units": "us", "craft": "raft", "put_in": [-90.8, 43.2]}
    for name in ("../evil", "/tmp/evil", "a/b", "..", ".hidden", "C:\\evil", "x" * 200, "con\x00", ["x"]):
        assert bare.ask("POST", "/api/new", answers | {"folder": name}).status_code == 422, name
    for gauge in ("file:../../etc/passwd", "file:/etc/passwd", "usgs:../../x;rm", "nobody:1", "usgs:" + "9" * 200):
        assert bare.ask("POST", "/api/new", answers | {"gauge": gauge}).status_code == 422, gauge
    assert [path for path in sorted(tmp_path.rglob("*")) if ".desk" not in path.parts] == before


def test_a_gauge_cannot_point_out_of_the_folder(desk: Caller) -> None:
    """Neither the settings nor the look at a gauge read a file outside the folder."""
    version = desk.get("/api/version")["version"]
    for gauge in ("file:../../../etc/passwd", "file:/etc/passwd"):
        reply = desk.ask("PUT", "/api/settings", {"version": version, "set": {"gauges": [gauge]}})
        assert reply.status_code == 422
        assert desk.ask("GET", f"/api/gauges/check?station={gauge}").status_code == 422


# how much


def _raw(desk: Served, head: str, chunks: Iterator[bytes] | None = None) -> tuple[int, int]:
    """Status of a request written by hand, and how many bytes of its body could be sent before the answer."""
    host, port = desk.host.split(":")
    sent = 0
    with socket.create_connection((host, int(port)), timeout=20) as link:
        link.sendall(head.encode())
        link.settimeout(0.0)
        reply = b""
        try:
            for chunk in chunks or iter(()):
                link.settimeout(20.0)
                link.sendall(chunk)
                sent += len(chunk)
                link.settimeout(0.0)
                try:
                    reply += link.recv(65536)
                    break
                except BlockingIOError:
                    continue
        except (BrokenPipeError, ConnectionResetError):
            pass
        link.settimeout(20.0)
        try:
            while b"\r\n\r\n" not in reply:
                part = link.recv(65536)
                if not part:
                    break
                reply += part
        except ConnectionResetError:
            pass
    return int(reply.split(b" ", 2)[1]) if reply.startswith(b"HTTP/") else 0, sent


@pytest.fixture(scope="module")
def process(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Served, Path]]:
    """A desk in a process of its own, and its folder."""
    folder = demo_folder(tmp_path_factory.mktemp("served") / "river")
    with served(folder) as desk:
        yield desk, folder


def _head(desk: Served, path: str, *more: str) -> str:
    lines = [
        f"POST {path} HTTP/1.1", f"Host: {desk.host}", f"Origin: {desk.base}", f"X-Desk-Token: {desk.token}",
        "Content-Type: application/octet-stream", *more,
    ]  # fmt: skip
    return "\r\n".join(lines) + "\r\n\r\n"


def test_a_declared_gigabyte_is_refused_before_it_is_sent(process: tuple[Served, Path]) -> None:
    """The size alone is enough: 413 comes without one byte of the body."""
    desk, folder = process
    before = contents(folder)
    status, sent = _raw(desk, _head(desk, "/api/soundings/preview", f"Content-Length: {1 << 30}"))
    assert (status, sent) == (413, 0)
    assert contents(folder) == before


def test_a_chunked_gigabyte_is_cut_off(process: tuple[Served, Path]) -> None:
    """A body without a size is cut at the limit: most of the gigabyte is never taken."""
    desk, folder = process
    before = contents(folder)
    part = b"100000\r\n" + b"x" * (1 << 20) + b"\r\n"
    status, sent = _raw(
        desk, _head(desk, "/api/soundings/preview", "Transfer-Encoding: chunked"), (part for _ in range(1024))
    )
    assert status in (0, 413)  # 0: the connection was closed while we were still sending
    assert sent < guarding.LARGEST_BYTES + (32 << 20)
    assert contents(folder) == before
    assert desk.ask("GET", "/api/version")[0] == 200


def test_endless_headers_and_two_lengths_are_refused(process: tuple[Served, Path]) -> None:
    """A head beyond its limit, and two sizes that contradict each other, never reach the desk."""
    desk, _ = process
    assert _raw(desk, _head(desk, "/api/log", "X-Long: " + "x" * 100_000))[0] in (0, 431)
    assert _raw(desk, _head(desk, "/api/log", "Content-Length: 5", "Content-Length: 6"))[0] == 400
    assert _raw(desk, _head(desk, "/api/log", "Content-Length: -1"))[0] == 400
    assert _raw(desk, _head(desk, "/api/log", "Transfer-Encoding: gzip"))[0] == 501


def test_each_address_has_its_own_limit(desk: Caller) -> None:
    """A megabyte for JSON, sixteen for shapes: beyond it 413."""
    big = b'{"x": "' + b"x" * guarding.LARGEST_JSON_BYTES + b'"}'
    assert desk.ask("POST", "/api/log", big, kind="application/json").status_code == 413
    assert desk.ask("PUT", "/api/settings", big, kind="application/json").status_code == 413
    much = b" " * (guarding.LARGEST_SHAPES_BYTES + 1)
    assert desk.ask("POST", "/api/import/shapes", much).status_code == 413


@pytest.mark.parametrize("body", [b"", b"[]", b"7", b"null", b"{", b"\xff\xfe", b"[" * 100_000, b'{"version": 1}'])
def test_a_malformed_body_is_no_mistake_of_the_program(desk: Caller, body: bytes) -> None:
    """Any body gives 400 or 422 with words, never 500."""
    for method, path in (
        ("PUT", "/api/shapes/runs"), ("PUT", "/api/settings"), ("PUT", "/api/tackle"), ("PUT", "/api/thresholds"),
        ("POST", "/api/log"), ("POST", "/api/soundings/apply"), ("POST", "/api/plan/spot"), ("POST", "/api/new"),
        ("POST", "/api/tackle/physics"), ("POST", "/api/soundings/preview"),
    ):  # fmt: skip
        reply = desk.ask(method, path, body, kind="application/json")
        assert reply.status_code in (400, 422), (path, body[:20], reply.text)
        assert reply.get_json()["next_step"]


@pytest.mark.parametrize(
    "value",
    [None, 5, "x", [], {}, [1, 2], {"type": "Feature"}, {"properties": {"id": "a"}, "geometry": {"type": "Polygon"}},
     {"properties": {"id": "a"}, "geometry": {"type": "Polygon", "coordinates": [[[1e400, 0]]]}},
     {"properties": {"id": "a"}, "geometry": {"type": "Point", "coordinates": ["x", None]}},
     {"properties": [], "geometry": None}, {"properties": {"id": {"a": 1}}, "geometry": {"type": "LineString"}}],
)  # fmt: skip
def test_a_malformed_feature_is_refused_in_words(desk: Caller, value: Any) -> None:
    """Whatever stands in the list of features, the answer is 422 or 400 and the folder stays."""
    version = desk.get("/api/version")["version"]
    for kind in ("runs", "spots", "places"):
        reply = desk.ask("PUT", f"/api/shapes/{kind}", {"version": version, "set": [value]})
        assert reply.status_code in (400, 422), (kind, reply.text)
    assert desk.ask("POST", "/api/plan/spot", {"spot": value}).status_code in (400, 422)


# files that unfold


@cache
def _bomb_zip() -> bytes:
    """A zip of a few kilobytes that would unfold to 256 MB."""
    out = io.BytesIO()
    packed = zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=9)
    with packed, packed.open("doc.kml", "w") as stream:
        for _ in range(256):
            stream.write(b"\0" * (1 << 20))
    return out.getvalue()


@pytest.mark.parametrize("name", ["a.kmz", "a.zip", "a.gpkg", "a.kml", "a.csv"])
def test_a_zip_bomb_is_not_unpacked(desk: Caller, name: str) -> None:
    """A packed file is told by its first bytes, whatever it is called, and is never unpacked."""
    bomb = _bomb_zip()
    began = time.process_time()
    assert desk.ask("POST", f"/api/import/shapes?name={name}", bomb).status_code == 415
    assert desk.ask("POST", f"/api/soundings/preview?name={name}", bomb).status_code in (415, 422)
    assert time.process_time() - began < 5


def _package(tmp_path: Path, *statements: str, rows: list[tuple[bytes, str]] | None = None) -> bytes:
    """A GeoPackage with one layer and what else the statements make of it."""
    path = tmp_path / "made.gpkg"
    path.unlink(missing_ok=True)
    with sqlite3.connect(path) as base:
        base.executescript(
            "CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT, srs_id INTEGER, organization TEXT, "
            "organization_coordsys_id INTEGER, definition TEXT);"
            "INSERT INTO gpkg_spatial_ref_sys VALUES ('WGS 84', 4326, 'EPSG', 4326, '');"
            "CREATE TABLE gpkg_geometry_columns (table_name TEXT, column_name TEXT, geometry_type_name TEXT, "
            "srs_id INTEGER, z INTEGER, m INTEGER);"
            "INSERT INTO gpkg_geometry_columns VALUES ('shapes', 'geom', 'GEOMETRY', 4326, 0, 0);"
        )
        if not any("shapes" in statement for statement in statements):
            base.execute("CREATE TABLE shapes (fid INTEGER PRIMARY KEY, geom BLOB, name TEXT)")
            base.executemany("INSERT INTO shapes (geom, name) VALUES (?, ?)", rows or [(_point(-90.8, 43.2), "here")])
        for statement in statements:
            base.execute(statement)
    base.close()
    return path.read_bytes()


def _point(lon: float, lat: float) -> bytes:
    return b"GP\x00\x01" + struct.pack("<i", 4326) + struct.pack("<BIdd", 1, 1, lon, lat)


def _import(desk: Caller, raw: bytes, name: str = "made.gpkg") -> Any:
    return desk.ask("POST", f"/api/import/shapes?name={name}", raw)


def test_the_made_package_is_read_at_all(desk: Caller, tmp_path: Path) -> None:
    """The hostile ones below fail for what is hostile in them, since the plain one is read."""
    reply = _import(desk, _package(tmp_path))
    assert reply.status_code == 200
    assert reply.get_json()["features"][0]["geometry"] == {"type": "Point", "coordinates": [-90.8, 43.2]}


def test_a_view_that_runs_for_ever_is_not_run(desk: Caller, tmp_path: Path) -> None:
    """A layer that is a view over an endless recursion is no plain table and is left out."""
    endless = (
        "CREATE VIEW shapes AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) "
        "SELECT zeroblob(1000000) AS geom, i AS name FROM n"
    )
    began = time.process_time()
    reply = _import(desk, _package(tmp_path, endless))
    assert reply.status_code == 200
    assert reply.get_json()["features"] == []
    assert "no plain table" in reply.get_json()["dropped"][0]["why"]
    assert time.process_time() - began < 5


def test_a_generated_column_runs_no_function(desk: Caller, tmp_path: Path) -> None:
    """A column that is computed when it is read calls nothing: the authorizer allows reading only."""
    made = "CREATE TABLE shapes (fid INTEGER PRIMARY KEY, geom AS (zeroblob(50000000)), name TEXT)"
    reply = _import(desk, _package(tmp_path, made, "INSERT INTO shapes (name) VALUES ('x')"))
    assert reply.status_code == 422


def test_a_package_with_too_many_rows_is_refused(desk: Caller, tmp_path: Path) -> None:
    """Thousands of rows are no drawing: refused with its limit, without reading them all."""
    reply = _import(desk, _package(tmp_path, rows=[(_point(0, 0), "x")] * 6_000))
    assert reply.status_code == 422
    assert "5,000" in reply.get_json()["given"]


def test_a_package_that_unfolds_is_refused(desk: Caller, tmp_path: Path) -> None:
    """Rows that together hold more than the bound of bytes are refused before all of them are read."""
    wide = b"GP\x00\x01" + struct.pack("<i", 4326) + b"\x01" + b"\0" * 3_000_000
    raw = _package(tmp_path, rows=[(wide, "x")] * 12)
    if len(raw) <= guarding.LARGEST_SHAPES_BYTES:  # it is not: the request itself is refused by its size
        assert _import(desk, raw).status_code == 422
    assert _import(desk, raw).status_code == 413
    from planner.desk.geopackage_in import taken_geopackage
    from planner.errors import DataUnfit

    with pytest.raises(DataUnfit, match="more than 32,000,000"):
        taken_geopackage(raw, "made.gpkg")


def test_a_count_that_lies_takes_no_memory(desk: Caller, tmp_path: Path) -> None:
    """A geometry that claims four thousand million points holds none of them and is dropped."""
    lies = [
        b"GP\x00\x01" + struct.pack("<i", 4326) + struct.pack("<BII", 1, kind, 0xFFFFFFFF) for kind in (2, 3, 4, 5, 6)
    ]
    reply = _import(desk, _package(tmp_path, rows=[(lie, "x") for lie in lies]))
    assert reply.status_code == 200
    assert reply.get_json()["features"] == []
    assert len(reply.get_json()["dropped"]) == 5


def test_collections_in_collections_do_not_exhaust_the_stack(desk: Caller, tmp_path: Path) -> None:
    """A geometry nested a hundred thousand deep is of a kind that is not read."""
    nested = b"GP\x00\x01" + struct.pack("<i", 4326) + struct.pack("<BII", 1, 7, 1) * 100_000
    deep = b"GP\x00\x01" + struct.pack("<i", 4326) + struct.pack("<BII", 1, 6, 1) * 100_000
    reply = _import(desk, _package(tmp_path, rows=[(nested, "x"), (deep, "y")]))
    assert reply.get_json()["features"] == []


@pytest.mark.parametrize("cut", [16, 100, 1000, 5000])
def test_a_damaged_package_is_refused_in_words(desk: Caller, tmp_path: Path, cut: int) -> None:
    """A file cut short or overwritten in the middle gives 422, never a mistake of the program."""
    raw = _package(tmp_path)
    assert _import(desk, raw[:cut]).status_code == 422
    assert _import(desk, raw[:cut] + b"\xff" * 2000 + raw[cut + 2000 :]).status_code in (200, 422)


_LAUGHS = (
    '<?xml version="1.0"?><!DOCTYPE {root} [<!ENTITY a "ha">'
    + "".join(f'<!ENTITY {new} "{f"&{old};" * 10}">' for old, new in zip("abcdefghi", "bcdefghij", strict=True))
    + "]><{root}><name>&j;</name></{root}>"
)
_READS = (
    '<?xml version="1.0"?><!DOCTYPE {root} [<!ENTITY x SYSTEM "file:///etc/passwd">]><{root}><name>&x;</name></{root}>'
)
_FETCHES = '<?xml version="1.0"?><!DOCTYPE {root} SYSTEM "http://127.0.0.1:9/evil.dtd"><{root}/>'
_QUADRATIC = (
    '<?xml version="1.0"?><!DOCTYPE {root} [<!ENTITY a "' + "x" * 50_000 + '">]><{root}>' + "&a;" * 5_000 + "</{root}>"
)
_PARAMETER = '<?xml version="1.0"?><!DOCTYPE {root} [<!ENTITY % p "<!ENTITY a \'b\'>"> %p;]><{root}>&a;</{root}>'


@pytest.mark.parametrize("root", ["gpx", "kml"])
@pytest.mark.parametrize("bomb", [_LAUGHS, _READS, _FETCHES, _QUADRATIC, _PARAMETER])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_entities_are_refused_at_the_first_sign(desk: Caller, root: str, bomb: str, encoding: str) -> None:
    """Entity bombs, outside entities and document types in GPX and KML: 422 at once, nothing read or unfolded."""
    raw = bomb.replace("{root}", root).encode(encoding)
    began = time.process_time()
    reply = _import(desk, raw, f"x.{root}")
    assert reply.status_code == 422
    assert "document type" in reply.get_json()["given"]
    assert "root:" not in reply.text
    if root == "gpx":
        assert desk.ask("POST", "/api/soundings/preview?name=x.gpx", raw).status_code == 422
    assert time.process_time() - began < 5


def test_xml_nested_without_end_is_refused(desk: Caller) -> None:
    """A hundred thousand elements inside each other are refused, not followed."""
    for root in ("gpx", "kml"):
        raw = f"<{root}>".encode() + b"<a>" * 100_000 + b"</a>" * 100_000 + f"</{root}>".encode()
        assert _import(desk, raw, f"x.{root}").status_code == 422


def test_json_nested_without_end_is_refused(desk: Caller) -> None:
    """Brackets without end are no GeoJSON."""
    for raw in (
        b'{"features":' + b"[" * 200_000,
        b'{"type":"FeatureCollection","features":[' + b'{"geometry":' * 100_000,
    ):
        assert _import(desk, raw, "x.geojson").status_code == 422


# what stands in names


def test_a_script_in_every_text_stays_text_and_changes_only_its_field(desk: Caller) -> None:
    """Names, notes, settings, tackle, thresholds and the log hold what was typed; no answer turns it into markup."""
    river = desk.get("/api/river")
    version = river["version"]
    for kind in ("runs", "spots", "places"):
        feature = river[kind]["features"][0]
        feature["properties"] |= {"name": SCRIPT, "note": SCRIPT}
        version = desk.put(f"/api/shapes/{kind}", {"version": version, "set": [feature], "said": SCRIPT})["version"]
    put = {"name": SCRIPT, "authority": {"name": SCRIPT, "phone": "1"}}
    version = desk.put("/api/settings", {"version": version, "set": put})["version"]
    thresholds = [{**one, "text": SCRIPT, "source": SCRIPT} for one in river["settings"]["threshold"]]
    version = desk.put("/api/thresholds", {"version": version, "set": thresholds})["version"]
    fly = {"name": SCRIPT, "drag": "low", "weighting": "light"}
    version = desk.put("/api/tackle", {"version": version, "set": {"fly": [fly]}})["version"]
    entry = {"spot": river["spots"]["features"][0]["properties"]["id"], "outcome": "clean", "note": SCRIPT}
    version = desk.post("/api/log", {"version": version, "entry": entry})["version"]
    typed = {"rows": [{"lon": -90.807, "lat": 43.2046, "depth": 1.2, "taken_at": NOW, "stage": 1.0, "note": SCRIPT}]}
    preview = desk.post("/api/soundings/preview", typed)
    desk.post("/api/soundings/apply", {"version": version, "preview": preview["preview"]})
    after = desk.get("/api/river")
    assert after["runs"]["features"][0]["properties"]["name"] == SCRIPT
    assert after["settings"]["name"] == SCRIPT
    assert after["settings"]["threshold"][0]["text"] == SCRIPT
    assert after["tackle"]["flies"][0]["name"] == SCRIPT
    assert after["log"][-1]["note"] == SCRIPT
    assert SCRIPT in (desk.desk.folder / "soundings.csv").read_text(encoding="utf-8").replace('""', '"')
    for path in ("/api/river", "/api/tackle/physics"):
        assert desk.ask("GET", path).headers["Content-Type"] == "application/json"
    page = desk.ask("GET", f"/?key={desk.guard.key}", Origin=None, Sec_Fetch_Site="none")
    page = desk.ask("GET", "/", Origin=None, Sec_Fetch_Site="none")
    assert "alert(1)" not in page.text
    back = desk.ask("PUT", "/api/shapes/spots", {"version": "x", "remove": ["<script>"]})
    assert back.headers["Content-Type"] == "application/json"


def test_a_script_in_a_dropped_file_stays_text(desk: Caller) -> None:
    """Descriptions of KML and GPX are kept as the characters that they are."""
    text = SCRIPT.replace("&", "&amp;").replace("<", "&lt;")
    inside = f"<name>{text}</name><description><![CDATA[{SCRIPT}]]></description>"
    point = "<Point><coordinates>-90,43</coordinates></Point>"
    kml = f"<kml><Placemark>{inside}{point}</Placemark></kml>"
    gpx = f'<gpx><wpt lat="43" lon="-90"><name>{text}</name></wpt></gpx>'
    for raw, name in ((kml, "x.kml"), (gpx, "x.gpx")):
        reply = _import(desk, raw.encode(), name)
        assert reply.headers["Content-Type"] == "application/json"
        assert reply.get_json()["features"][0]["properties"]["name"] == SCRIPT


def test_a_name_is_never_run(desk: Caller) -> None:
    """Toml, csv and json hold a name as data: a quote, a line break or a formula sign cannot leave its field."""
    version = desk.get("/api/version")["version"]
    evil = 'x"\n[evil]\nthreshold = []\n#'
    desk.desk.folder.joinpath("river.toml")
    before = desk.get("/api/river")["settings"]
    reply = desk.ask("PUT", "/api/settings", {"version": version, "set": {"craft": evil}})
    after = desk.get("/api/river")["settings"]
    assert "evil" not in after
    assert after["threshold"] == before["threshold"]
    if reply.status_code == 200:
        assert after["craft"] == evil
        desk.post("/api/history/back", {})


def test_no_answer_tells_where_the_folder_lies(desk: Caller) -> None:
    """The page knows the folder's name, not the path to it."""
    where = str(desk.desk.folder.parent)
    assert where not in desk.ask("GET", "/api/river").text
    assert where not in json.dumps(desk.get("/api/version"))
