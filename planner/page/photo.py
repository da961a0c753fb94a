"""A picture that knows its place, such as an air photo, made small, grey and pale enough to lie under the runs.

A GeoTIFF [OGC2019] says where its pixels lie by a scale and a tie point or by a matrix, and in which reference
system by an EPSG code. The part around the river is resampled to equal steps of longitude and of Mercator's northing,
because the map library stretches a picture evenly between its corners in that projection: the picture then lies where
it should to the last row, at any size of river. What moves a pixel is the resampling alone, at most half a pixel of
the picture that is kept, and the shift between datums, as good as pyproj has it without further grids: a metre or two
between NAD 83 and WGS 84, tens of metres from older ones (from memory).
"""

from __future__ import annotations

import base64
import io
import math
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError
from scipy.ndimage import map_coordinates

from planner.errors import DataUnfit
from planner.units import FOOT

__all__ = ["MOST_BYTES", "MOST_PIXELS", "MOST_SIDE", "PAPER", "PhotoUnfit", "photo"]

MOST_PIXELS = 80_000_000
"""Read at most; the whole is decoded at four bytes a pixel. Below the bound at which Pillow itself warns."""
MOST_SIDE = 1600
"""Longest side of the picture that is kept [pixels]."""
MOST_BYTES = 300_000
"""Length of the picture as it stands in the page, base64 included [bytes]."""
DARKEST, PALEST = 176, 244
"""Range of grey that is kept: the flowline's blue, the map's lightest line, holds 3 to 1 against its darkest."""
PAPER = 242
"""Grey where the picture holds nothing; as light as the map's paper."""

_SCALE, _TIES, _MATRIX, _KEYS, _NODATA = 33550, 33922, 34264, 34735, 42113
_MODEL, _RASTER, _GEOGRAPHIC, _PROJECTED, _LENGTH = 1024, 1025, 2048, 3072, 3076
_POINT, _USER_DEFINED = 2, 32767
_LENGTHS = {9001: 1.0, 9002: FOOT, 9003: 1200 / 3937}
"""EPSG's codes of metre, foot and US survey foot [m]."""
_QUALITIES = (80, 65, 50, 38, 28)
_DEEP = ("I", "F")

Floats = NDArray[np.float64]


class PhotoUnfit(DataUnfit):
    """The picture named as the map's background cannot be drawn."""


@dataclass(frozen=True)
class _Place:
    """Pixel to map coordinates: x = a col + b row + c, y = d col + e row + f, counted from the outer corner."""

    matrix: Floats
    to_lonlat: Transformer
    from_lonlat: Transformer

    def lonlat(self, col: Any, row: Any) -> tuple[Floats, Floats]:
        (a, b, c), (d, e, f) = self.matrix
        col, row = np.asarray(col, float), np.asarray(row, float)
        lon, lat = self.to_lonlat.transform(a * col + b * row + c, d * col + e * row + f)
        return np.asarray(lon), np.asarray(lat)

    def pixel(self, lon: Floats, lat: Floats) -> tuple[Floats, Floats]:
        x, y = self.from_lonlat.transform(lon, lat)
        (a, b, c), (d, e, f) = self.matrix
        det = a * e - b * d
        x, y = np.asarray(x) - c, np.asarray(y) - f
        return (e * x - b * y) / det, (a * y - d * x) / det


def _northing(lat: Any) -> Any:
    return np.arcsinh(np.tan(np.radians(lat)))


def _latitude(northing: Any) -> Any:
    return np.degrees(np.arctan(np.sinh(northing)))


def _numbers(tags: Any, tag: int) -> list[float]:
    found = tags.get(tag)
    try:
        numbers = [float(v) for v in (found if isinstance(found, tuple) else () if found is None else (found,))]
    except (TypeError, ValueError):
        return []
    return numbers if all(map(math.isfinite, numbers)) else []


def _geo_keys(tags: Any) -> dict[int, int]:
    """Keys whose value stands in the directory itself; the others hold names and parameters, not codes."""
    raw = [int(v) for v in _numbers(tags, _KEYS)]
    rows = [raw[i : i + 4] for i in range(4, len(raw) - 3, 4)]
    return {key: value for key, at, _, value in rows if at == 0}


def _matrix(tags: Any, keys: dict[int, int], where: str) -> Floats:
    whole, scale, ties = _numbers(tags, _MATRIX), _numbers(tags, _SCALE), _numbers(tags, _TIES)
    matrix = None
    if len(whole) == 16:
        matrix = np.array([[whole[0], whole[1], whole[3]], [whole[4], whole[5], whole[7]]])
    elif len(scale) >= 2 and len(ties) >= 6:
        (i, j, _, x, y), (sx, sy) = ties[:5], scale[:2]
        matrix = np.array([[sx, 0.0, x - sx * i], [0.0, -sy, y + sy * j]])
    if matrix is None or abs(np.linalg.det(matrix[:, :2])) < 1e-20:
        raise PhotoUnfit(
            "the picture does not say where it lies",
            "a GeoTIFF with a pixel scale and a tie point, or a transformation; a world file beside it is not read",
            "georeference it in a GIS and save it as GeoTIFF, or remove the key",
            where,
        )
    if keys.get(_RASTER) == _POINT:  # then the tie point is a pixel's middle, not its corner
        matrix[:, 2] -= 0.5 * (matrix[:, 0] + matrix[:, 1])
    return matrix


def _system(keys: dict[int, int], where: str) -> CRS:
    code = keys.get(_PROJECTED) if keys.get(_MODEL) != 2 else None
    code = code or keys.get(_GEOGRAPHIC, 0)
    crs = None
    if code not in (0, _USER_DEFINED):
        try:
            crs = CRS.from_epsg(code)
        except ProjError:
            crs = None
    if crs is None or not (crs.is_projected or crs.is_geographic):
        said = "none" if code == 0 else "a user-defined one" if code == _USER_DEFINED else f"EPSG:{code}"
        raise PhotoUnfit(
            f"the picture's reference system is not known ({said})",
            "the EPSG code of a geographic or projected system, such as 4326",
            "save it again in a system that has an EPSG code, or remove the key",
            where,
        )
    length = _LENGTHS.get(keys.get(_LENGTH, 0))
    own = crs.axis_info[0].unit_conversion_factor if crs.is_projected and crs.axis_info else None
    if length is not None and own is not None and abs(length - own) > 1e-9:
        raise PhotoUnfit(
            f"the picture counts in units of {length:.7g} m and EPSG:{code} in units of {own:.7g} m",
            "one unit of length",
            "save it again in the system's own unit, or remove the key",
            where,
        )
    return crs


def _window(box: list[float]) -> list[float]:
    """The map's box with room around it: 15 % of its longer side and 50 m or so, on all sides [degrees]."""
    west, south, east, north = box
    squeeze = max(math.cos(math.radians((south + north) / 2)), 0.01)
    room = 0.15 * max((east - west) * squeeze, north - south) + 5e-4
    return [west - room / squeeze, max(south - room, -85.0), east + room / squeeze, min(north + room, 85.0)]


def _frame(place: _Place, size: tuple[int, int], box: list[float], where: str) -> list[float]:
    """West, south, east, north of what the picture has of the window."""
    edge = np.linspace(0, 1, 65)
    zero, one = np.zeros(65), np.ones(65)
    lon, lat = place.lonlat(
        size[0] * np.concatenate((edge, one, edge, zero)), size[1] * np.concatenate((zero, edge, one, edge))
    )
    fine = np.isfinite(lon) & np.isfinite(lat)
    lon, lat = lon[fine], lat[fine]
    has = [lon.min(), lat.min(), lon.max(), lat.max()] if lon.size else [0.0, 0.0, 0.0, 0.0]
    if not lon.size or has[0] >= box[2] or has[2] <= box[0] or has[1] >= box[3] or has[3] <= box[1]:
        raise _elsewhere(f"it spans {has[0]:.4f} to {has[2]:.4f} east, {has[1]:.4f} to {has[3]:.4f} north", where)
    wide = _window(box)
    return [max(has[0], wide[0]), max(has[1], wide[1]), min(has[2], wide[2]), min(has[3], wide[3])]


def _elsewhere(said: str, where: str) -> PhotoUnfit:
    return PhotoUnfit(
        f"the picture does not lie over this river: {said}",
        "a picture of the water that is planned",
        "check its reference system, or remove the key",
        where,
    )


def _grey(part: Image.Image, nodata: float | None) -> tuple[Image.Image, Image.Image]:
    """The part as grey of 8 bits and where it holds anything (255) or nothing (0)."""
    if part.mode.startswith(_DEEP):
        values = np.asarray(part).astype(np.float32)
        with np.errstate(over="ignore"):
            has = np.isfinite(values) & (values != np.float32(math.nan if nodata is None else nodata))
        low, high = np.percentile(values[has], (2, 98)) if has.any() else (0.0, 1.0)
        scaled = np.clip((np.where(has, values, low) - low) / max(high - low, 1e-9), 0, 1)
        return Image.fromarray(np.round(255 * scaled).astype(np.uint8)), _as_mask(has)
    bands = part.getbands()
    has = np.ones((part.height, part.width), bool)
    if "A" in bands:
        has &= np.asarray(part.getchannel("A")) > 127
    if nodata is not None and part.mode != "P":
        colours = [name for name in bands if name not in "AX"]
        has &= ~np.all([np.asarray(part.getchannel(name)) == nodata for name in colours], axis=0)
    return (part if part.mode == "L" else part.convert("RGB").convert("L")), _as_mask(has)


def _as_mask(has: NDArray[np.bool_]) -> Image.Image:
    return Image.fromarray(has.astype(np.uint8) * 255)


def _opened(path: Path, where: str) -> Image.Image:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # of odd tags; those that are needed are checked here
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            picture = Image.open(path, formats=("TIFF",))
    except (Image.DecompressionBombWarning, Image.DecompressionBombError) as error:
        raise _too_many("it", where) from error
    except Exception as error:  # a broken header raises many kinds
        raise _unreadable(error, where) from error
    if picture.width * picture.height > MOST_PIXELS:
        picture.close()
        raise _too_many(f"{picture.width} × {picture.height}, which", where)
    return picture


def _too_many(given: str, where: str) -> PhotoUnfit:
    return PhotoUnfit(
        f"the picture is too large: {given} has more than {MOST_PIXELS // 1_000_000} million pixels",
        f"at most {MOST_PIXELS // 1_000_000} million pixels; {MOST_SIDE} on the longest side are kept",
        "cut it to the river or save it smaller in a GIS, or remove the key",
        where,
    )


def _unreadable(error: Exception, where: str) -> PhotoUnfit:
    return PhotoUnfit(
        f"the picture could not be read ({type(error).__name__})",
        "a valid GeoTIFF of one band, or of red, green and blue with 8 bits each",
        "open it in a GIS and save it again as 8-bit GeoTIFF, or remove the key",
        where,
    )


def _warped(picture: Image.Image, place: _Place, corners: list[float], nodata: float | None, where: str) -> Floats:
    """Grey 0 to 255 on equal steps of longitude and of Mercator's northing, NaN where the picture holds nothing."""
    west, south, east, north = corners
    top, bottom = float(_northing(north)), float(_northing(south))
    wide, tall = math.radians(east - west), top - bottom
    middle = place.pixel(np.array((west + east) / 2), np.array((south + north) / 2))
    beside = np.array([[0, 1, 0], [0, 0, 1]]) + np.array(middle)[:, None]
    lon, lat = place.lonlat(*beside)
    x, y = np.radians(lon), _northing(lat)
    own = min(math.hypot(x[k] - x[0], y[k] - y[0]) for k in (1, 2))
    step = max(own, max(wide, tall) / MOST_SIDE) if math.isfinite(own) else max(wide, tall) / MOST_SIDE
    columns, rows = (max(1, min(MOST_SIDE, round(length / step))) for length in (wide, tall))
    lons = west + (np.arange(columns) + 0.5) * (east - west) / columns
    lats = _latitude(top - (np.arange(rows) + 0.5) * tall / rows)
    col, row = place.pixel(*np.meshgrid(lons, lats))
    inside = np.isfinite(col) & np.isfinite(row)
    inside &= (col >= 0) & (col <= picture.width) & (row >= 0) & (row <= picture.height)
    if not inside.any():
        raise _elsewhere("none of its pixels is on the map", where)
    c0, r0 = max(0, int(col[inside].min()) - 2), max(0, int(row[inside].min()) - 2)
    c1 = min(picture.width, int(col[inside].max()) + 3)
    r1 = min(picture.height, int(row[inside].max()) + 3)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)
            grey, has = _grey(picture.crop((c0, r0, c1, r1)), nodata)
    except Exception as error:  # broken strips, lengths and codecs raise many kinds
        raise _unreadable(error, where) from error
    # finer pixels than are kept are averaged first, or the picture would sparkle
    less = max(1, int(step / own)) if math.isfinite(own) and own > 0 else 1
    weight = np.asarray(has.reduce(less), float) / 255
    light = np.asarray(Image.fromarray(np.where(np.asarray(has) > 0, np.asarray(grey), 0)).reduce(less), float)
    at = [(row[inside] - r0) / less - 0.5, (col[inside] - c0) / less - 0.5]
    share = map_coordinates(weight, at, order=1, mode="nearest")
    total = map_coordinates(light, at, order=1, mode="nearest")
    out = np.full(col.shape, np.nan)
    out[inside] = np.where(share >= 0.5, total / np.maximum(share, 0.5), np.nan)
    if not np.isfinite(out).any():
        raise _elsewhere("it holds nothing there", where)
    return out


def _washed(grey: Floats) -> Image.Image:
    """Stretched between its 2 and 98 % and brought into the pale range that keeps what is drawn over it readable."""
    low, high = np.nanpercentile(grey, (2, 98))
    if high - low < 8:  # thin lines on plain ground are fewer than that
        low, high = np.nanmin(grey), np.nanmax(grey)
    share = np.clip((grey - low) / (high - low), 0, 1) if high - low >= 1 else np.full(grey.shape, 0.5)
    pale = np.where(np.isfinite(grey), DARKEST + share * (PALEST - DARKEST), PAPER)
    return Image.fromarray(np.round(pale).astype(np.uint8))


def _embedded(picture: Image.Image) -> str:
    """As a data: address of at most `MOST_BYTES`: coarser by quality first, then by size."""
    head = "data:image/jpeg;base64,"
    while True:
        for quality in _QUALITIES:
            held = io.BytesIO()
            picture.save(held, "JPEG", quality=quality, optimize=True)
            if len(head) + 4 * math.ceil(held.tell() / 3) <= MOST_BYTES:
                return head + base64.b64encode(held.getvalue()).decode("ascii")
        smaller = (max(1, int(0.8 * picture.width)), max(1, int(0.8 * picture.height)))
        picture = picture.resize(smaller, Image.Resampling.BOX)


def photo(path: Path, box: list[float], where: str) -> dict[str, Any]:
    """The part of a GeoTIFF around the river, grey and pale, ready to be written into the page.

    Parameters
    ----------
    path : Path
        The GeoTIFF.
    box : list of float
        West, south, east, north of what the map draws [degrees].
    where : str
        What names the file, for the error.

    Returns
    -------
    dict
        ``picture``, a data: address of a grey JPEG whose columns are equal steps of longitude and whose rows are equal
        steps of Mercator's northing; ``corners`` [[south, west], [north, east]] of its outer edges [degrees].

    Raises
    ------
    PhotoUnfit
        When it cannot be read, is too large, does not say where it lies or lies elsewhere.
    """
    with _opened(path, where) as picture:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", UserWarning)
                tags = dict(getattr(picture, "tag_v2", {}))
        except Exception as error:  # a broken tag is decoded only when it is asked for
            raise _unreadable(error, where) from error
        keys = _geo_keys(tags)
        matrix, crs = _matrix(tags, keys, where), _system(keys, where)
        place = _Place(
            matrix, *(Transformer.from_crs(a, b, always_xy=True) for a, b in ((crs, CRS(4326)), (CRS(4326), crs)))
        )
        try:
            nodata = float(str(tags.get(_NODATA, "")).strip("\x00 "))
        except ValueError:
            nodata = math.nan
        corners = _frame(place, picture.size, box, where)
        grey = _warped(picture, place, corners, None if math.isnan(nodata) else nodata, where)
    west, south, east, north = (round(float(v), 7) for v in corners)
    return {"picture": _embedded(_washed(grey)), "corners": [[south, west], [north, east]]}
