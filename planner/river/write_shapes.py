"""Texts of runs.geojson, spots.geojson and places.geojson: order, foreign members and unchanged geometry stay."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from shapely.geometry import mapping

from planner.river import settings, shapes
from planner.river.merge import same, update_members
from planner.river.records import HOLD_HIGH_M, HOLD_LOW_M, Place, River, Run, Spot
from planner.river.values import Notebook

__all__ = ["collection_text", "feature_id", "places_text", "runs_text", "spots_text"]

_BED = ("bed", "n", "d84_mm")


@dataclass(frozen=True)
class _Drawn:
    """A record as GeoJSON sees it."""

    id: str
    members: dict[str, Any]
    geometry: dict[str, Any]
    defaults: dict[str, Any]


def _plain(geometry: Any) -> dict[str, Any]:
    plain: dict[str, Any] = json.loads(json.dumps(mapping(geometry)))
    return plain


def _run(run: Run, river: River) -> _Drawn:
    keys = (
        "id", "name", "gauge", "slope", "banks", "waterline_at", "flow_share", "area_ratio", "lag_min", "still",
        "hold_low_m", "hold_high_m", "note",
    )  # fmt: skip
    own = {key: getattr(run, key) for key in keys}
    own |= {"bed": run.bed.get("class"), "n": run.bed.get("n"), "d84_mm": run.bed.get("d84_mm")}
    defaults = {
        "name": run.id,
        "gauge": river.gauges[0] if river.gauges else "",
        "slope": 0.0 if run.still else river.slope,
        "banks": "none",
        "area_ratio": 1.0,
        "still": False,
        "hold_low_m": HOLD_LOW_M,
        "hold_high_m": HOLD_HIGH_M,
        "bed": river.bed.get("class"),
        "n": river.bed.get("n"),
        "d84_mm": river.bed.get("d84_mm"),
    }
    return _Drawn(run.id, own | run.extra, _plain(run.polygon), defaults)


def _spot(spot: Spot) -> _Drawn:
    keys = ("id", "run", "name", "stance", "boat_speed_ratio", "hold_low_m", "hold_high_m", "note")
    geometry = {"type": "LineString", "coordinates": [list(spot.stance_lonlat), list(spot.landing_lonlat)]}
    return _Drawn(spot.id, {key: getattr(spot, key) for key in keys} | spot.extra, geometry, {"name": spot.id})


def _place(place: Place) -> _Drawn:
    own = {key: getattr(place, key) for key in ("id", "kind", "name", "hazard_kind", "note")}
    return _Drawn(place.id, own | place.extra, _plain(place.geometry), {"name": place.id})


def feature_id(feature: Mapping[str, Any]) -> str:
    """Id of a feature, from its properties or from the feature itself; ``None`` as a word when it has none."""
    return str((feature.get("properties") or {}).get("id", feature.get("id"))).strip()


def _bed_replaced(raw: dict[str, Any], now: Mapping[str, Any], before: Mapping[str, Any]) -> dict[str, Any]:
    """Without the old bed, in whichever of its forms, where the bed changed."""
    if all(same(now.get(key), before.get(key)) for key in _BED):
        return raw
    return {key: value for key, value in raw.items() if key not in _BED}


def _text(name: str, document: str | None, records: list[_Drawn], before: list[_Drawn]) -> str | None:
    import orjson

    if document is None and not records:
        return None
    raw: dict[str, Any] = {"type": "FeatureCollection", "features": []}
    if document is not None:
        raw = orjson.loads(document.removeprefix("\ufeff"))
    features_as_read = {feature_id(feature): feature for feature in raw["features"]}
    records_as_read = {record.id: record for record in before}
    features = []
    for record in records:
        was = records_as_read.get(record.id)
        feature: dict[str, Any] = {"type": "Feature"}
        if was is not None:
            feature = dict(features_as_read[record.id])
        properties = dict(feature.get("properties") or {})
        members = dict(record.members)
        if was is not None and "id" not in properties:
            members.pop("id", None)  # the id stands on the feature itself
        if was is not None and name == shapes.RUNS_FILE:
            inherits = not any(properties.get(key) is not None for key in _BED)
            if not inherits:
                properties = _bed_replaced(properties, members, was.members)
                if all(same(members.get(key), was.members.get(key)) for key in _BED):
                    members = {key: value for key, value in members.items() if key not in _BED}
        known = {key: value for key, value in was.members.items() if key in members} if was else {}
        gone = set(was.members) - set(record.members) if was else set()
        properties = {key: value for key, value in properties.items() if key not in gone}
        feature["properties"] = update_members(properties, members, known, record.defaults)
        if was is None or was.geometry != record.geometry:
            feature["geometry"] = record.geometry
        features.append(feature)
    if document is not None and features == raw["features"]:
        return document
    return collection_text(raw, features)


def collection_text(document: Mapping[str, Any], features: list[dict[str, Any]]) -> str:
    """Text of a collection: the document's own members, then one feature to a line, as version control likes it."""
    head = json.dumps({key: value for key, value in document.items() if key != "features"}, ensure_ascii=False)[:-1]
    body = ",\n".join(json.dumps(feature, ensure_ascii=False) for feature in features)
    return f'{head}{", " if len(head) > 1 else ""}"features": [\n{body}\n]}}\n'


def _document(river: River, name: str) -> str | None:
    text = river.documents.get(name)
    return None if text is None else text.removeprefix("\ufeff")


def _keep_mark(river: River, name: str, text: str | None) -> str | None:
    """The document itself, byte-order mark and all, where nothing changed."""
    return river.documents[name] if text is not None and text == _document(river, name) else text


def runs_text(river: River) -> str | None:
    """Text of runs.geojson; None when there is nothing to write."""
    document, notes = _document(river, shapes.RUNS_FILE), Notebook()
    given: dict[str, Any] | None = None
    if settings.SETTINGS_FILE in river.documents:
        given = settings.parse_settings(river.documents[settings.SETTINGS_FILE], notes)
    given = given or {"gauges": (), "slope": math.nan, "bed": {}}
    before = [_run(run, river) for run in shapes.parse_runs(document, notes, given)] if document is not None else []
    text = _text(shapes.RUNS_FILE, document, [_run(run, river) for run in river.runs], before)
    return _keep_mark(river, shapes.RUNS_FILE, text)


def spots_text(river: River) -> str | None:
    """Text of spots.geojson; None when there is nothing to write."""
    document = _document(river, shapes.SPOTS_FILE)
    before = [_spot(spot) for spot in shapes.parse_spots(document, Notebook())] if document is not None else []
    text = _text(shapes.SPOTS_FILE, document, [_spot(spot) for spot in river.spots], before)
    return _keep_mark(river, shapes.SPOTS_FILE, text)


def places_text(river: River) -> str | None:
    """Text of places.geojson; None when there is nothing to write."""
    document = _document(river, shapes.PLACES_FILE)
    before = [_place(place) for place in shapes.parse_places(document, Notebook())] if document is not None else []
    text = _text(shapes.PLACES_FILE, document, [_place(place) for place in river.places], before)
    return _keep_mark(river, shapes.PLACES_FILE, text)
