"""The user's own air photo under the map: where it comes to lie, how pale and small it gets, what is refused."""

from __future__ import annotations

import base64
import io
import math
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from PIL.TiffImagePlugin import ImageFileDirectory_v2
from pyproj import Geod, Transformer

from planner.errors import DataUnfit
from planner.page import build_page, photo
from planner.page.background import background
from planner.page.ground import map_data
from planner.page.sketch import _frame
from tests.browser import DESKTOP, opened
from tests.page.sample import sample

SHORT, DOUBLE, ASCII = 3, 12, 2
WGS84 = {1024: 2, 1025: 1, 2048: 4326}
UTM15 = {1024: 1, 1025: 1, 3072: 32615, 3076: 9001}
GRASS = (70, 130, 60)


def _keys(keys: dict[int, int]) -> list[int]:
    return [1, 1, 0, len(keys), *(n for key, value in sorted(keys.items()) for n in (key, 0, 1, value))]


def _write(path: Path, pixels: Any, tags: dict[int, Any]) -> Path:
    """A GeoTIFF with these tags, written by Pillow."""
    info = ImageFileDirectory_v2()
    for tag, value in tags.items():
        info.tagtype[tag] = SHORT if tag == 34735 else ASCII if tag == 42113 else DOUBLE
        info[tag] = value if isinstance(value, str) else tuple(value)
    picture = pixels if isinstance(pixels, Image.Image) else Image.fromarray(pixels)
    picture.save(path, "TIFF", tiffinfo=info)
    return path


def _north_up(west: float, north: float, step: float, keys: dict[int, int]) -> dict[int, Any]:
    return {33550: (step, step, 0.0), 33922: (0.0, 0.0, 0.0, west, north, 0.0), 34735: _keys(keys)}


def _river(folder: Path, name: str = "photo.tif") -> tuple[Any, list[float]]:
    plan, river = sample()
    return replace(river, folder=folder, documents={"river.toml": f'background = "{name}"\n'}), map_data(plan, river)[
        "box"
    ]


def _marks(box: list[float]) -> list[tuple[float, float]]:
    """Five places, the corners among them, that the map shows."""
    west, south, east, north = box
    wide, tall = east - west, north - south
    shares = ((0.02, 0.03), (0.97, 0.05), (0.5, 0.52), (0.04, 0.96), (0.95, 0.93))
    return [(west + a * wide, south + b * tall) for a, b in shares]


def _flat_rgb(shape: tuple[int, int]) -> Any:
    pixels = np.empty((*shape, 3), np.uint8)
    pixels[:] = GRASS
    return pixels


def _read(found: dict[str, Any]) -> Image.Image:
    head, _, body = found["picture"].partition(",")
    assert head == "data:image/jpeg;base64"
    return Image.open(io.BytesIO(base64.b64decode(body, validate=True)))


def _found_at(found: dict[str, Any], near: tuple[float, float]) -> tuple[float, float, float]:
    """Lon, lat of the white mark next to a place, as the map library would lay the picture, and a pixel's size [m]."""
    grey = np.asarray(_read(found)).astype(float)
    (south, west), (north, east) = found["corners"]
    rows, columns = grey.shape

    def mercator(lat: float) -> float:
        return math.log(math.tan(math.pi / 4 + math.radians(lat) / 2))

    top, bottom = mercator(north), mercator(south)
    col = (near[0] - west) / (east - west) * columns
    row = (top - mercator(near[1])) / (top - bottom) * rows
    reach = 9
    r0, c0 = max(0, int(row) - reach), max(0, int(col) - reach)
    part = grey[r0 : r0 + 2 * reach + 1, c0 : c0 + 2 * reach + 1]
    bright = np.clip(part - np.median(part) - 8, 0, None)
    assert bright.sum() > 0, "no mark where one was painted"
    r, c = np.indices(part.shape)
    row, col = r0 + 0.5 + (r * bright).sum() / bright.sum(), c0 + 0.5 + (c * bright).sum() / bright.sum()
    lat = math.degrees(2 * math.atan(math.exp(top - row / rows * (top - bottom))) - math.pi / 2)
    pixel = math.radians(east - west) / columns * 6_378_137 * math.cos(math.radians(lat))
    return west + col / columns * (east - west), lat, pixel


Place = Callable[[float, float], tuple[float, float]]


def _geographic(box: list[float], point: bool) -> tuple[Any, dict[int, Any], Place, Place]:
    """Pixels, tags, and the ways from lon, lat to pixel and back."""
    step = max(4e-5, (box[3] - box[1]) / 1500)
    west, north = box[0] - 0.002, box[3] + 0.002
    shape = (math.ceil((north - box[1] + 0.002) / step), math.ceil((box[2] + 0.002 - west) / step))
    keys = {**WGS84, 1025: 2 if point else 1}
    shift = 0.5 * step if point else 0.0  # the tie point names the middle of the first pixel
    tags = _north_up(west + shift, north - shift, step, keys)
    return (
        _flat_rgb(shape),
        tags,
        lambda lon, lat: ((lon - west) / step, (north - lat) / step),
        lambda col, row: (west + step * col, north - step * row),
    )


def _metric(box: list[float], turn: float) -> tuple[Any, dict[int, Any], Place, Place]:
    """UTM zone 15, north up by scale and tie point, or turned by a matrix."""
    to_utm = Transformer.from_crs(4326, 32615, always_xy=True)
    x, y = to_utm.transform([box[0], box[2], box[0], box[2]], [box[1], box[1], box[3], box[3]])
    middle, step = np.array([(min(x) + max(x)) / 2, (min(y) + max(y)) / 2]), 3.0
    half = math.ceil((0.5 * math.hypot(max(x) - min(x), max(y) - min(y)) + 200) / step)
    cos, sin = step * math.cos(turn), step * math.sin(turn)
    whole = np.array([[cos, sin], [sin, -cos]])
    origin = middle - whole @ (half, half)
    if turn:
        flat = [cos, sin, 0, origin[0], sin, -cos, 0, origin[1], 0, 0, 0, 0, 0, 0, 0, 1]
        tags: dict[int, Any] = {34264: flat, 34735: _keys(UTM15)}
    else:
        tags = _north_up(origin[0], origin[1], step, UTM15)

    def pixel(lon: float, lat: float) -> tuple[float, float]:
        col, row = np.linalg.solve(whole, np.array(to_utm.transform(lon, lat)) - origin)
        return float(col), float(row)

    def lonlat(col: float, row: float) -> tuple[float, float]:
        x, y = whole @ (col, row) + origin
        lon, lat = to_utm.transform(x, y, direction="INVERSE")
        return float(lon), float(lat)

    return _flat_rgb((2 * half, 2 * half)), tags, pixel, lonlat


@pytest.mark.parametrize(
    "kind", ["EPSG:4326", "EPSG:4326 by pixel middles", "EPSG:4326 tall", "EPSG:32615", "EPSG:32615 turned"]
)
def test_a_picture_lies_where_its_tags_say_within_half_a_pixel(tmp_path: Path, kind: str) -> None:
    """Marks painted at five known places come out where the map library lays them, also over three degrees of north."""
    river, box = _river(tmp_path)
    if "tall" in kind:
        box = [-91.5, 42.0, -91.0, 45.0]
    if "4326" in kind:
        pixels, tags, pixel, lonlat = _geographic(box, "middles" in kind)
    else:
        pixels, tags, pixel, lonlat = _metric(box, 0.5 if "turned" in kind else 0.0)
    truth = []
    for place in _marks(box):
        col, row = (int(v) for v in pixel(*place))
        pixels[row - 1 : row + 2, col - 1 : col + 2] = 255
        truth.append(lonlat(col + 0.5, row + 0.5))
    _write(tmp_path / "photo.tif", pixels, tags)
    found = background(river, box)
    assert found is not None
    assert found["name"] == "photo.tif"
    for lon, lat in truth:
        got_lon, got_lat, size = _found_at(found, (lon, lat))
        away = Geod(ellps="WGS84").inv(lon, lat, got_lon, got_lat)[2]
        assert away <= 0.5 * size, (away, size)
    if "tall" not in kind:
        assert size < 1.4 * (3.0 if "32615" in kind else 4e-5 * 111_195)


def test_what_is_kept_is_the_river_with_some_room(tmp_path: Path) -> None:
    """Of a picture far wider than the river the map's box and less than as much again on each side are kept."""
    river, box = _river(tmp_path)
    west, south, east, north = box
    _write(
        tmp_path / "photo.tif",
        np.full((900, 900), 90, np.uint8),
        _north_up(west - 0.5, north + 0.5, 1.1 / 900, WGS84),
    )
    (s, w), (n, e) = background(river, box)["corners"]
    assert w < west < east < e
    assert s < south < north < n
    longest = max(east - west, north - south)
    assert max(west - w, e - east, south - s, n - north) < longest


def test_a_noisy_picture_is_kept_within_its_bytes_pale_and_without_colour(tmp_path: Path) -> None:
    """Nine million pixels of grass and shadow become a grey JPEG of 1,600 at most, 300 kB at most, never dark."""
    river, box = _river(tmp_path)
    west, south, east, north = box
    rng = np.random.default_rng(5)
    pixels = rng.integers(0, 256, (3000, 3000, 3)).astype(np.uint8)
    pixels[::2, ::2] = GRASS
    step = (max(east - west, north - south) + 0.004) / 3000
    _write(tmp_path / "photo.tif", pixels, _north_up(west - 0.002, north + 0.002, step, WGS84))
    found = background(river, box)
    assert len(found["picture"]) <= photo.MOST_BYTES
    kept = _read(found)
    assert kept.mode == "L"
    assert 400 < max(kept.size) <= photo.MOST_SIDE
    # the blue of the flowline, the lightest line on the map, against the darkest that a JPEG makes of it
    assert _contrast(0x1F4E79, int(np.percentile(np.asarray(kept), 0.01))) >= 3.0
    plan, plain = sample()
    assert len(build_page(plan, river, "us")) - len(build_page(plan, plain, "us")) < photo.MOST_BYTES + 500


def _contrast(colour: int, grey: int) -> float:
    def light(values: tuple[int, int, int]) -> float:
        parts = [v / 255 / 12.92 if v <= 10 else ((v / 255 + 0.055) / 1.055) ** 2.4 for v in values]
        return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]

    return (light((grey, grey, grey)) + 0.05) / (light((colour >> 16, colour >> 8 & 255, colour & 255)) + 0.05)


@pytest.mark.parametrize("kind", ["alpha", "nodata", "deep", "deep nodata"])
def test_where_a_picture_holds_nothing_the_paper_shows(tmp_path: Path, kind: str) -> None:
    """Clear pixels and the value that means nothing become paper; what the picture holds beside them keeps its grey."""
    river, box = _river(tmp_path)
    west, south, east, north = box
    step = (max(east - west, north - south) + 0.004) / 300
    tags = _north_up(west - 0.002, north + 0.002, step, WGS84)
    if kind == "alpha":
        pixels = np.zeros((300, 300, 4), np.uint8)
        pixels[:] = (*GRASS, 255)
        pixels[:, :150, 3] = 0
    elif kind == "nodata":
        pixels = _flat_rgb((300, 300))
        pixels[:, :150] = 0
        tags[42113] = "0"
    else:
        pixels = np.full((300, 300), 1200, np.uint16) if kind == "deep" else np.full((300, 300), 12.5, np.float32)
        pixels[:, :150] = 700 if kind == "deep" else -9999
        tags[42113] = "700" if kind == "deep" else "-9999"
    _write(tmp_path / "photo.tif", pixels, tags)
    found = background(river, box)
    grey = np.asarray(_read(found)).astype(int)
    (_, w), (_, e) = found["corners"]
    seam = (west - 0.002 + 150 * step - w) / (e - w) * grey.shape[1]
    assert 20 < seam < grey.shape[1] - 20, "the sample's river moved off the seam"
    assert abs(np.median(grey[:, : int(seam) - 9]) - photo.PAPER) <= 2
    assert np.median(grey[:, int(seam) + 9 :]) < photo.PAPER - 15


REFUSED = {
    "no place": "does not say where it lies",
    "flat place": "does not say where it lies",
    "no system": "reference system is not known (none)",
    "own system": "reference system is not known (a user-defined one)",
    "no such system": "reference system is not known (EPSG:32999)",
    "feet": "in units of 0.3048 m and EPSG:32615",
    "far": "does not lie over this river",
    "beside": "does not lie over this river",
    "no picture": "could not be read",
    "another format": "could not be read",
    "cut short": "could not be read",
    "large": "more than 80 million pixels",
    "gone": "no such file",
}


@pytest.mark.parametrize("case", REFUSED)
def test_a_picture_that_cannot_be_used_is_refused_with_the_next_step(tmp_path: Path, case: str) -> None:
    """Each way a picture can fail names the file, what is wrong, what is needed and what to do."""
    river, box = _river(tmp_path)
    path = tmp_path / "photo.tif"
    rng = np.random.default_rng(1)
    pixels = rng.integers(0, 255, (60, 60)).astype(np.uint8)
    good = _north_up(box[0] - 0.01, box[3] + 0.01, 0.001, WGS84)
    tags = {
        "no place": {34735: good[34735]},
        "flat place": {**good, 33550: (0.0, 0.001, 0.0)},
        "no system": {33550: good[33550], 33922: good[33922]},
        "own system": {**good, 34735: _keys({1024: 1, 3072: 32767})},
        "no such system": {**good, 34735: _keys({1024: 1, 3072: 32999})},
        "feet": {**good, 34735: _keys({**UTM15, 3076: 9002})},
        "far": _north_up(10.0, 10.0, 0.001, WGS84),
        "beside": _north_up(box[2] + 1e-5, box[3] + 0.01, 0.001, WGS84),
    }.get(case, good)
    if case == "no picture":
        path.write_bytes(b"II*")
    elif case == "another format":
        Image.fromarray(pixels).save(path, "PNG")
    elif case == "large":
        Image.new("1", (9000, 9000)).save(path, "TIFF", compression="group4")
    elif case != "gone":
        _write(path, pixels, tags)
    if case == "cut short":  # the strip ends early, the directory stays whole
        whole = path.read_bytes()
        with Image.open(path) as picture:
            start = picture.tag_v2[273][0]
        assert start > 100
        path.write_bytes(whole[: start + 500])
    with pytest.raises(DataUnfit) as raised:
        background(river, box)
    said = str(raised.value)
    assert REFUSED[case] in said
    assert 'background = "photo.tif"' in said
    assert "remove the key" in said


@pytest.mark.parametrize("way", ["up", "absolute", "link"])
def test_a_file_outside_the_river_folder_is_refused(tmp_path: Path, way: str) -> None:
    """A path that leaves the folder, also by a link, is not read, because the folder is what is shared."""
    folder, other = tmp_path / "river", tmp_path / "photo.tif"
    folder.mkdir()
    other.write_bytes(b"II*")
    name = {"up": "../photo.tif", "absolute": other.as_posix(), "link": "photo.tif"}[way]
    if way == "link":
        (folder / "photo.tif").symlink_to(other)
    river, box = _river(folder, name)
    with pytest.raises(DataUnfit, match="outside the river folder"):
        background(river, box)


@pytest.mark.browser
def test_the_picture_lies_under_everything_and_the_page_asks_for_nothing(browser: Any, tmp_path: Path) -> None:
    """In Chromium a dark patch of the photo shows at its own place on the map, below the runs, with no request."""
    river, box = _river(tmp_path)
    pixels, tags, pixel, _ = _geographic(box, point=False)
    pixels[:] = 230
    lon, lat = box[0] + 0.25 * (box[2] - box[0]), box[3] + 2e-4
    col, row = (int(v) for v in pixel(lon, lat))
    pixels[row - 3 : row + 4, col - 3 : col + 4] = (10, 90, 10)
    _write(tmp_path / "photo.tif", pixels, tags)
    plan, _ = sample()
    file = tmp_path / "page.html"
    file.write_text(build_page(plan, river, "us"), encoding="utf-8")
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', file.read_text(encoding="utf-8"))
    assert policy is not None
    assert "img-src data: blob:;" in policy.group(1)
    with opened(browser, file, DESKTOP) as found:
        page = found.page
        image = page.locator(".leaflet-pane.under img.leaflet-image-layer")
        assert image.count() == 1
        assert image.evaluate("i => i.complete && i.naturalWidth > 100")
        assert "photo.tif from the river folder, in pale grey" in page.locator(".map-part").inner_text()
        order = "n => Number(getComputedStyle(n).zIndex)"
        under, over = (
            page.locator(f".leaflet-pane.{name}").evaluate(order) for name in ("under", "leaflet-overlay-pane")
        )
        assert under < over
        page.evaluate(
            "document.querySelectorAll('.leaflet-pane.leaflet-marker-pane, .leaflet-overlay-pane, .leaflet-control, "
            ".north, #dock, .leaflet-tooltip-pane').forEach(n => { n.style.display = 'none'; })"
        )
        frame = page.locator("#map_river")
        x, y = page.evaluate(
            "([lat, lon]) => { const p = window.map_river.latLngToContainerPoint([lat, lon]); return [p.x, p.y]; }",
            [lat, lon],
        )
        shot = np.asarray(Image.open(io.BytesIO(frame.screenshot())).convert("RGB")).astype(int)
        assert 0 < x < shot.shape[1]
        assert 0 < y < shot.shape[0]
        spread = shot.max(axis=2) - shot.min(axis=2)
        here = shot[round(y) - 1 : round(y) + 2, round(x) - 1 : round(x) + 2]
        assert here.mean() < photo.DARKEST + 15
        assert spread[round(y), round(x)] <= 2
        away = shot[round(y), [round(x) - 40, round(x) + 40]]
        assert away.min() > photo.DARKEST + 40
        assert [url.partition("#")[0] for url in found.requests] == [file.as_uri()]
        assert found.complaints == []


def test_the_printed_drawing_holds_the_picture_in_its_place_and_once(browser: Any, tmp_path: Path) -> None:
    """Without scripts and in print a dark patch lies in the drawing where the turned river says, its credit is named,
    and the page holds the picture a single time.
    """
    river, box = _river(tmp_path)
    credit = 'background_credit = "Photo: invented <office>, CC BY 4.0"\n'
    river = replace(river, documents={"river.toml": river.documents["river.toml"] + credit})
    pixels, tags, pixel, _ = _geographic(box, point=False)
    pixels[:] = 230
    lon, lat = box[0] + 0.25 * (box[2] - box[0]), box[3] - 0.1 * (box[3] - box[1])
    col, row = (int(v) for v in pixel(lon, lat))
    pixels[row - 4 : row + 5, col - 4 : col + 5] = (10, 90, 10)
    _write(tmp_path / "photo.tif", pixels, tags)
    plan, _ = sample()
    page_text = build_page(plan, river, "us")
    assert page_text.count("data:image/jpeg;base64,") == 1
    file = tmp_path / "page.html"
    file.write_text(page_text, encoding="utf-8")
    data = map_data(plan, river)
    project = _frame(data)[0]
    with opened(browser, file, DESKTOP, java_script_enabled=False) as found:
        page = found.page
        assert "Photo: invented <office>, CC BY 4.0" in page.locator(".map-part").inner_text()
        page.evaluate("for (const n of document.querySelectorAll('.sketch g > :not(image)')) n.remove()")
        spot = page.evaluate(
            "([x, y]) => { const m = document.querySelector('.sketch').getScreenCTM();"
            " return [m.a * x + m.e + scrollX, m.d * y + m.f + scrollY]; }",
            list(project([lat, lon])),
        )
        whole = Image.open(io.BytesIO(page.screenshot(full_page=True))).convert("L")
        near = np.asarray(whole.crop((int(spot[0]) - 6, int(spot[1]) - 6, int(spot[0]) + 7, int(spot[1]) + 7)))
        away = np.asarray(whole.crop((int(spot[0]) + 25, int(spot[1]) - 3, int(spot[0]) + 32, int(spot[1]) + 4)))
        assert near.min() < away.min() - 25
        assert found.complaints == []
