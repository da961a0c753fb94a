"""Shapes of dropped files: GeoJSON, GPX, KML and GeoPackage give the same features, each with a guess at its role."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from planner.desk.guard import Refused
from planner.desk.shapes_in import shapes_in
from planner.errors import DataUnfit
from tests.desk.desks import DEMO

RUN = [[-90.80, 43.20], [-90.799, 43.20], [-90.799, 43.201], [-90.80, 43.201], [-90.80, 43.20]]
CAST = [[-90.7995, 43.2002], [-90.7994, 43.2003]]
LINE = [[-90.801, 43.20], [-90.80, 43.2005], [-90.798, 43.201]]


def _shapes(found: dict[str, Any]) -> list[tuple[Any, str, Any]]:
    return [(one["role"], one["geometry"]["type"], one["geometry"]["coordinates"]) for one in found["features"]]


def _geojson() -> bytes:
    shapes = [
        ({"name": "Long pool"}, "Polygon", [RUN]),
        ({"name": "Seam"}, "LineString", CAST),
        ({"name": "River"}, "LineString", LINE),
        ({"name": "North put-in"}, "Point", RUN[0]),
        ({"name": "Old low head dam"}, "Point", RUN[1]),
        ({"name": "Take out"}, "Point", RUN[2]),
        ({"depth_m": 1.5}, "Point", CAST[0]),
    ]
    features = [
        {"type": "Feature", "properties": own, "geometry": {"type": kind, "coordinates": at}}
        for own, kind, at in shapes
    ]
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


EXPECTED = [
    ("run", "Polygon", [RUN]), ("spot", "LineString", CAST), ("flowline", "LineString", LINE),
    ("put_in", "Point", RUN[0]), ("hazard", "Point", RUN[1]), ("take_out", "Point", RUN[2]),
    ("sounding", "Point", CAST[0]),
]  # fmt: skip


def _words(positions: list[list[float]]) -> str:
    return " ".join(f"{lon},{lat},0" for lon, lat in positions)


def _kml() -> bytes:
    ring = f"<outerBoundaryIs><LinearRing><coordinates>{_words(RUN)}</coordinates></LinearRing></outerBoundaryIs>"
    marks = [
        f"<name>Long pool</name><Polygon>{ring}</Polygon>",
        f"<name>Seam</name><LineString><coordinates>{_words(CAST)}</coordinates></LineString>",
        f"<name>River</name><LineString><coordinates>\n {_words(LINE)} \n</coordinates></LineString>",
        f"<name>North put-in</name><Point><coordinates>{_words(RUN[:1])}</coordinates></Point>",
        f"<name>Old low head dam</name><Point><coordinates>{_words(RUN[1:2])}</coordinates></Point>",
        f"<name>Take out</name><Point><coordinates>{_words(RUN[2:3])}</coordinates></Point>",
    ]
    body = "".join(f"<Placemark>{mark}</Placemark>" for mark in marks)
    head = '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2">'
    return f"{head}<Document><Folder>{body}</Folder></Document></kml>".encode()


def _gpx() -> bytes:
    def point(kind: str, at: list[float], more: str = "") -> str:
        return f'<{kind} lat="{at[1]}" lon="{at[0]}">{more}</{kind}>'

    body = (
        f"<rte><name>Seam</name>{''.join(point('rtept', at) for at in CAST)}</rte>"
        f"<trk><name>River</name><trkseg>{''.join(point('trkpt', at) for at in LINE)}</trkseg></trk>"
        + point("wpt", RUN[0], "<name>North put-in</name>")
        + point("wpt", RUN[1], "<name>Old low head dam</name>")
        + point("wpt", RUN[2], "<name>Take out</name>")
        + point("wpt", CAST[0], "<extensions><depth>1.5</depth></extensions>")
    )
    return f'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{body}</gpx>'.encode()


def test_geojson_gives_each_feature_its_role() -> None:
    """Shapes and names tell what each feature is likely to be; nothing is dropped."""
    found = shapes_in(_geojson(), "x.geojson")
    assert _shapes(found) == EXPECTED
    assert found["dropped"] == []


def test_kml_gives_the_same_features() -> None:
    """Altitudes are left aside, folders looked into, rings closed."""
    assert _shapes(shapes_in(_kml(), "x.kml")) == EXPECTED[:6]


def test_gpx_gives_the_same_features() -> None:
    """Waypoints, routes and tracks come with their names; a point with a depth is a sounding."""
    assert _shapes(shapes_in(_gpx(), "x.gpx")) == EXPECTED[1:]


@pytest.mark.parametrize("driver", ["GPKG", "GeoJSON"])
def test_another_program_writes_what_is_read_here(tmp_path: Path, driver: str) -> None:
    """Files written by GDAL are read alike, a GeoPackage in projected metres to within a centimetre."""
    import geopandas

    frame = geopandas.read_file(DEMO / "runs.geojson")[["id", "name", "geometry"]]
    path = tmp_path / f"x.{driver.lower()}"
    frame.to_crs(32615 if driver == "GPKG" else 4326).to_file(path, driver=driver)
    found = shapes_in(path.read_bytes(), path.name)
    assert [one["role"] for one in found["features"]] == ["run"] * len(frame)
    for one, row in zip(found["features"], frame.itertuples(), strict=True):
        assert one["properties"]["name"] == row.name
        outer = list(row.geometry.exterior.coords)
        for (lon, lat), (lon2, lat2) in zip(one["geometry"]["coordinates"][0], outer, strict=True):
            assert lon == pytest.approx(lon2, abs=2e-7)
            assert lat == pytest.approx(lat2, abs=2e-7)


def test_a_package_of_several_layers_and_parts_is_taken_apart(tmp_path: Path) -> None:
    """Layers are read one after the other, multi-polygons polygon by polygon, heights left aside."""
    import geopandas
    from shapely.geometry import MultiPolygon, Point, Polygon

    path = tmp_path / "x.gpkg"
    two = MultiPolygon([Polygon(RUN), Polygon([[x + 0.01, y] for x, y in RUN])])
    geopandas.GeoDataFrame({"name": ["Two"]}, geometry=[two], crs=4326).to_file(path, layer="runs", driver="GPKG")
    geopandas.GeoDataFrame({"name": ["Put-in"]}, geometry=[Point(-90.8, 43.2, 7.0)], crs=4326).to_file(
        path, layer="places", driver="GPKG"
    )
    found = shapes_in(path.read_bytes(), "x.gpkg")
    assert [one["role"] for one in found["features"]] == ["run", "run", "put_in"]
    assert found["features"][2]["geometry"]["coordinates"] == [-90.8, 43.2]


def test_what_is_not_taken_is_named() -> None:
    """A feature without a shape and a position beyond the degrees are dropped with their place and reason."""
    features = [
        {"type": "Feature", "properties": {}, "geometry": None},
        {"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [500_000, 4_700_000]}},
        {"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [-90, 43]}},
    ]
    found = shapes_in(json.dumps({"type": "FeatureCollection", "features": features}).encode(), "x")
    assert [drop["where"] for drop in found["dropped"]] == ["feature 1", "feature 2"]
    assert len(found["features"]) == 1
    assert found["features"][0]["role"] is None


def test_projected_geojson_is_refused_with_what_to_do() -> None:
    """A crs member that names another system is not read as degrees."""
    document = {
        "type": "FeatureCollection",
        "crs": {"properties": {"name": "urn:ogc:def:crs:EPSG::32615"}},
        "features": [],
    }
    with pytest.raises(DataUnfit, match="EPSG:4326"):
        shapes_in(json.dumps(document).encode(), "x.geojson")


@pytest.mark.parametrize(
    "raw", [b"", b"hello", b"PK\x03\x04", b"\x1f\x8b\x08", b"%PDF-1.7", b"<html></html>", b"\x00" * 64]
)
def test_another_kind_of_file_is_refused_by_its_content(raw: bytes) -> None:
    """What a file is called does not matter."""
    with pytest.raises(Refused) as refused:
        shapes_in(raw, "x.geojson")
    assert refused.value.status == 415


def test_more_than_a_drawing_is_refused() -> None:
    """A file of a hundred thousand points is no drawing: its limit is said."""
    features = [{"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [0, 0]}}] * 6_000
    with pytest.raises(DataUnfit, match="5,000 features"):
        shapes_in(json.dumps({"type": "FeatureCollection", "features": features}).encode(), "x")
    line = {"type": "LineString", "coordinates": [[0.0, 0.0], [1.0, 1.0]] * 100_001}
    with pytest.raises(DataUnfit, match="200,000 positions"):
        shapes_in(json.dumps(line).encode(), "x")
