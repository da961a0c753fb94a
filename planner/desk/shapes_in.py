"""Shapes of a dropped file, by what stands in it: GeoJSON, GPX, KML, GeoPackage. Nothing is written."""

from __future__ import annotations

from typing import Any

from planner.desk.geopackage_in import MAGIC, taken_geopackage
from planner.desk.guard import Refused
from planner.desk.taken import MOST_TEXT, Taken, position
from planner.desk.xml_in import taken_gpx, taken_kml
from planner.errors import DataUnfit

__all__ = ["shapes_in"]

_NEED = "GeoJSON, GPX, KML or a GeoPackage"
_MULTI = {"MultiPoint": "Point", "MultiLineString": "LineString", "MultiPolygon": "Polygon"}


def shapes_in(raw: bytes, name: str) -> dict[str, Any]:
    """Features of a file, each with a guess at its ``role``, and what was dropped and why.

    Parameters
    ----------
    raw : bytes
        The file.
    name : str
        Its name, for messages only.

    Raises
    ------
    Refused
        Status 415 for a file that is none of these; a packed one is not unpacked here.
    DataUnfit
        When the file cannot be read, or holds more than a drawing does.
    """
    file = name[:80] or "the file"
    if raw.startswith(MAGIC):
        return taken_geopackage(raw, file).record()
    if raw[:2] == b"PK" or raw[:2] == b"\x1f\x8b":
        raise Refused(415, "a packed file", _NEED, "unpack it and drop in what is inside", file)
    start = raw[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    if start.startswith(b"{"):
        return _geojson(raw, file).record()
    if start.startswith(b"<") or raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = raw[:65536].replace(b"\x00", b"").lower()
        if b"<gpx" in text:
            return taken_gpx(raw, file).record()
        if b"<kml" in text or b":kml" in text:
            return taken_kml(raw, file).record()
        # a document type may stand before the root: the parser that refuses it says so
        return taken_gpx(raw, file).record() if b"<!" in text else _unknown(file)
    return _unknown(file)


def _unknown(file: str) -> dict[str, Any]:
    raise Refused(415, "a file of another kind", _NEED, "export it as one of these", file)


def _geojson(raw: bytes, file: str) -> Taken:
    import orjson

    try:
        document = orjson.loads(raw.removeprefix(b"\xef\xbb\xbf"))
    except (orjson.JSONDecodeError, RecursionError) as error:
        raise DataUnfit(f"not valid JSON: {error}", "GeoJSON (RFC 7946)", "export it again", where=file) from error
    crs = document.get("crs") if isinstance(document, dict) else None
    if crs is not None and not str(crs).rstrip("}'\" ").endswith(("CRS84", "4326")):
        raise DataUnfit("the coordinates are in another system", "WGS 84", "export it in EPSG:4326", where=file)
    features = document.get("features") if isinstance(document, dict) else None
    if not isinstance(features, list):
        kind = document.get("type") if isinstance(document, dict) else None
        features = [document] if kind == "Feature" else [{"type": "Feature", "geometry": document}]
    taken = Taken()
    for number, feature in enumerate(features, start=1):
        where = f"feature {number}"
        given = feature.get("properties") if isinstance(feature, dict) else None
        own = {
            str(key)[:60]: value[:MOST_TEXT] if isinstance(value, str) else value
            for key, value in (given.items() if isinstance(given, dict) else ())
            if isinstance(value, str | int | float)
        }
        shapes = _parts(feature.get("geometry") if isinstance(feature, dict) else None)
        if not shapes:
            taken.drop(where, "a feature without a point, line or polygon")
        for shape in shapes:
            coordinates = _coordinates(shape["type"], shape.get("coordinates"), taken)
            if coordinates is None:
                taken.drop(where, "a position that is no lon, lat, or too few of them")
            else:
                taken.add({"type": shape["type"], "coordinates": coordinates}, dict(own))
    return taken


def _parts(geometry: Any) -> list[dict[str, Any]]:
    """Simple geometries of a geometry, one level deep."""
    if not isinstance(geometry, dict):
        return []
    kind, inside = geometry.get("type"), geometry.get("coordinates")
    if kind in _MULTI:
        return [{"type": _MULTI[kind], "coordinates": part} for part in (inside if isinstance(inside, list) else [])]
    return [geometry] if kind in _MULTI.values() else []


def _coordinates(kind: str, given: Any, taken: Taken) -> Any:
    """Checked coordinates of a simple geometry; None when they are none."""
    if kind == "Point":
        taken.count(1)
        return position(given)
    if not isinstance(given, list):
        return None
    if kind == "Polygon":
        rings = [_coordinates("ring", ring, taken) for ring in given]
        return None if not rings or any(ring is None for ring in rings) else rings
    taken.count(len(given))
    found = [position(one) for one in given]
    if any(one is None for one in found) or len(found) < (4 if kind == "ring" else 2):
        return None
    return found
