"""What may lie under the runs on the map: the user's own drawing, or pictures from a public service.

A file of the river folder that river.toml names as ``background``: a GeoJSON or GeoPackage drawing of banks, contours,
islands, or a GeoTIFF picture, that the user may use. It is clipped to the map, thinned until it fits and written into
the page. Pictures from the network are off by default twice: the page must be built with them and the reader must
switch them on.
"""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.errors import DataUnfit
from planner.river.records import River

if TYPE_CHECKING:
    import geopandas

__all__ = ["BackgroundUnfit", "background", "online_layer"]

_MOST_NUMBERS = 12_000
_READS = (".geojson", ".json", ".gpkg")
_PICTURES = (".tif", ".tiff")

_USGS = {
    "host": "https://basemap.nationalmap.gov",
    "url": "https://basemap.nationalmap.gov/arcgis/rest/services/USGSTopo/MapServer/tile/{z}/{y}/{x}",
    "credit": "Background: U.S. Geological Survey, The National Map (public domain)",
    "zoom": 16,
}
"""Public domain; grey on the page, because the original's woods are green."""


class BackgroundUnfit(DataUnfit):
    """The file named as the map's background cannot be drawn."""


def _settings(river: River) -> dict[str, Any]:
    try:
        return tomllib.loads(river.documents.get("river.toml", ""))
    except tomllib.TOMLDecodeError:
        return {}


def online_layer(river: River, online: bool | None = None) -> dict[str, Any] | None:
    """The public service whose pictures the reader may switch on; None when the page is not built with it.

    Parameters
    ----------
    river : River
        Its river.toml may say ``online_background = true``.
    online : bool, optional
        Wins over river.toml.
    """
    wanted = _settings(river).get("online_background") is True if online is None else online
    return dict(_USGS) if wanted else None


def background(river: River, box: list[float]) -> dict[str, Any] | None:
    """The user's drawing as lines and areas in lat, lon, or picture with its corners, clipped to the map and thinned.

    Parameters
    ----------
    river : River
        Its river.toml may name ``background``, a file in the river folder.
    box : list of float
        West, south, east, north of the map [degrees].

    Returns
    -------
    dict or None
        ``name`` of the file, ``credit`` that it asks for (``background_credit`` of river.toml), and of a drawing
        ``lines`` and ``areas`` (rings), each a list of lists of lat, lon [degrees]; of a picture ``picture`` and
        ``corners`` as `planner.page.photo.photo` gives them.

    Raises
    ------
    BackgroundUnfit
        When the file is missing or outside the folder, of a kind that is not read, has no reference system or holds
        nothing here.
    PhotoUnfit
        When a picture cannot be read, is too large, does not say where it lies or lies elsewhere.
    """
    said = _settings(river)
    given, credit = said.get("background"), str(said.get("background_credit") or "").strip()
    if not given:
        return None
    path = river.folder / str(given)
    where = f'river.toml, background = "{given}"'
    kind = path.suffix.lower()
    if kind not in (*_READS, *_PICTURES):
        raise BackgroundUnfit(
            f"a file that ends in {path.suffix or 'nothing'}",
            "a GeoJSON or GeoPackage file of lines or areas, or a GeoTIFF picture",
            "save it as one of these, or remove the key",
            where=where,
        )
    if not _within(path, river.folder):
        raise BackgroundUnfit(
            "the file is outside the river folder",
            "a file in the river folder",
            "copy it there, or remove the key",
            where=where,
        )
    if not path.is_file():
        raise BackgroundUnfit(
            "no such file", "a file in the river folder", "correct the name, or remove the key", where
        )
    if kind in _PICTURES:
        from planner.page.photo import photo

        return {**photo(path, box, where), "name": path.name, "credit": credit}
    import geopandas as gpd

    try:
        frame = gpd.read_file(path)
    except Exception as error:  # the drivers raise many kinds
        raise BackgroundUnfit(
            f"the file could not be read ({type(error).__name__})",
            "a valid GeoJSON or GeoPackage file",
            "open it in a GIS and save it again, or remove the key",
            where=where,
        ) from error
    return {**_drawn(frame, box, where), "name": path.name, "credit": credit}


def _within(path: Path, folder: Path) -> bool:
    try:
        return path.resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError, ValueError):  # a loop of links, or a name no file can have
        return False


def _drawn(frame: geopandas.GeoDataFrame, box: list[float], where: str) -> dict[str, Any]:
    if frame.crs is None and len(frame):
        raise BackgroundUnfit(
            "the file names no reference system",
            "coordinates whose system is known, such as WGS 84",
            "save it again with its reference system",
            where=where,
        )
    from shapely.geometry import box as rectangle

    west, south, east, north = box
    room_x, room_y = 0.5 * (east - west) + 1e-3, 0.5 * (north - south) + 1e-3
    frame = frame.to_crs(4326) if len(frame) else frame
    shapes = [g for g in frame.geometry if g is not None and not g.is_empty]
    around = rectangle(west - room_x, south - room_y, east + room_x, north + room_y)
    shapes = [cut for cut in (g.buffer(0).intersection(around) if "Polygon" in g.geom_type else g.intersection(around)
                              for g in shapes) if not cut.is_empty]  # fmt: skip
    tolerance = 1e-6
    while True:
        lines, areas = _parts([g.simplify(tolerance) for g in shapes])
        numbers = sum(2 * len(part) for part in (*lines, *areas))
        if numbers <= _MOST_NUMBERS:
            break
        tolerance *= 2
        if tolerance > 0.01:
            raise BackgroundUnfit(
                f"{len(shapes)} features within the map",
                f"few enough that {_MOST_NUMBERS // 2} points draw them",
                "keep the banks and the main contours alone",
                where=where,
            )
    if not lines and not areas:
        raise BackgroundUnfit(
            "no line or area within the map",
            "a drawing of the water that is planned",
            "check its reference system, or remove the key",
            where=where,
        )
    return {"lines": lines, "areas": areas}


def _parts(shapes: list[Any]) -> tuple[list[list[list[float]]], list[list[list[float]]]]:
    lines: list[list[list[float]]] = []
    areas: list[list[list[float]]] = []
    for shape in shapes:
        for part in getattr(shape, "geoms", [shape]):
            if part.geom_type == "Polygon" and not part.is_empty:
                areas += [_points(ring.coords) for ring in (part.exterior, *part.interiors)]
            elif part.geom_type in ("LineString", "LinearRing") and len(part.coords) > 1:
                lines.append(_points(part.coords))
            elif part.geom_type in ("MultiPolygon", "MultiLineString", "GeometryCollection"):
                more = _parts(list(part.geoms))
                lines += more[0]
                areas += more[1]
    return lines, areas


def _points(coords: Any) -> list[list[float]]:
    return [[round(float(c[1]), 6), round(float(c[0]), 6)] for c in coords if math.isfinite(c[0] + c[1])]
