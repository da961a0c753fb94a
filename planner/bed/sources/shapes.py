"""Soundings from GPX waypoints and tracks with a depth, and from GeoJSON points."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any
from xml.parsers import expat

import numpy as np

from planner.bed.sources.records import Batch, batch, joined
from planner.errors import DataUnfit
from planner.river.values import instant
from planner.units import FOOT

__all__ = ["parse_geojson", "parse_gpx"]

_POINTS = ("wpt", "trkpt", "rtept")
_DEEP = 64  # elements inside each other; GPX needs about ten


class _Gpx:
    """Handlers of a GPX text, element by element, so that a large track needs no tree."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.path: list[str] = []
        self.point: dict[str, Any] | None = None
        self.text: list[str] = []
        self.points: list[dict[str, Any]] = []
        self.parser = expat.ParserCreate(namespace_separator=" ")
        self.parser.StartDoctypeDeclHandler = self._refuse
        self.parser.EntityDeclHandler = self._refuse
        self.parser.ExternalEntityRefHandler = self._refuse
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self.text.append
        self.parser.buffer_text = True

    def _refuse(self, *_: Any) -> int:
        raise DataUnfit(
            "the XML declares a document type or an entity", "plain GPX", "export the file again", where=self.file
        )

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        name = name.rsplit(" ", 1)[-1]
        self.path.append(name)
        if len(self.path) > _DEEP:
            raise DataUnfit("elements nested too deep", "plain GPX", "export the file again", where=self.file)
        self.text.clear()
        if name in _POINTS:
            self.point = {"line": self.parser.CurrentLineNumber, "kind": name, **attributes}

    def _end(self, name: str) -> None:
        name = name.rsplit(" ", 1)[-1]
        self.path.pop()
        if self.point is not None:
            if name in _POINTS:
                self.points.append(self.point)
                self.point = None
            elif name.lower() in ("depth", "time", "name", "desc", "cmt", "temp", "wtemp"):
                self.point.setdefault(name.lower(), "".join(self.text).strip())
        self.text.clear()


def _float(value: Any) -> float:
    try:
        number = float(value)
    except (TypeError, ValueError):
        return math.nan
    return number if math.isfinite(number) else math.nan


def _when(text: str) -> np.datetime64 | None:
    """UTC time of an ISO 8601 text; xsd:dateTime without an offset counts as UTC, as GPX asks for UTC."""
    moment = instant(text)
    if moment is None:
        try:
            moment = datetime.fromisoformat(text.strip())
        except ValueError:
            return None
        moment = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    return np.datetime64(round(moment.timestamp() * 1000), "ms")


def parse_gpx(raw: bytes, file: str, unit: float = math.nan, transducer_m: float = math.nan) -> Batch:
    """Soundings of a GPX 1.0 or 1.1 file: points with a ``depth`` element in their extensions.

    Parameters
    ----------
    raw : bytes
        The file.
    file : str
        Its name for messages.
    unit : float
        Metres in the unit of the depths; NaN takes metres, as the extensions in use say.
    transducer_m : float
        Transducer below the surface [m], for tracks; NaN not given.

    Raises
    ------
    DataUnfit
        When it is not XML, or declares a document type or an entity: those can read other files or fill the memory.
    """
    reader = _Gpx(file)
    try:
        reader.parser.Parse(raw, True)
    except expat.ExpatError as error:
        raise DataUnfit(
            f"not readable as XML: {expat.errors.messages[error.code]}", "GPX", "export the file again",
            where=f"{file}, line {error.lineno}",
        ) from error  # fmt: skip
    factor = unit if math.isfinite(unit) else 1.0
    reasons, rows = [], []
    for point in reader.points:
        where = f"line {point['line']}"
        lon, lat, depth = _float(point.get("lon")), _float(point.get("lat")), _float(point.get("depth"))
        moment = _when(point["time"]) if point.get("time") else np.datetime64("NaT", "ms")
        if "depth" not in point:
            reasons.append(("a point without a depth", where))
        elif not (math.isfinite(lon) and math.isfinite(lat)):
            reasons.append(("a point without lon and lat", where))
        elif not math.isfinite(depth):
            reasons.append(("depth is not a number", where))
        elif moment is None:
            reasons.append(("the time is not ISO 8601", where))
        else:
            track = point["kind"] != "wpt"
            rows.append((lon, lat, depth * factor, moment, track, point))
    track = np.array([row[4] for row in rows], dtype=bool)
    draft = np.where(track, 0.0 if math.isnan(transducer_m) else transducer_m, 0.0)
    notes: tuple[str, ...] = ()
    if track.any() and math.isnan(transducer_m):
        notes = ("The transducer's depth is not known and was taken as 0: give --transducer-depth.",)
    temperature = [row[5].get("wtemp") or row[5].get("temp") or "" for row in rows]
    return batch(
        file, "GPX", [row[0] for row in rows], [row[1] for row in rows], [row[2] for row in rows],
        taken_at=np.array([row[3] for row in rows], dtype="datetime64[ms]"), draft_m=draft,
        method=["sonar" if row[4] else "" for row in rows], note=[row[5].get("name", "") for row in rows],
        where=[row[5]["line"] for row in rows], extra={"water_c": temperature} if any(temperature) else {},
        seen=len(reader.points), drops=joined(reasons), notes=notes,
    )  # fmt: skip


def parse_geojson(raw: bytes, file: str, unit: float = math.nan) -> Batch:
    """Soundings of a GeoJSON FeatureCollection of Points (RFC 7946: lon, lat on WGS 84).

    The depth is the property ``depth_m`` or ``depth_ft``, or ``depth`` in the unit given; ``taken_at`` or ``time``,
    ``stage_m`` or ``stage_ft``, ``method``, ``draft_m`` and ``note`` are read, further text and numbers are kept.
    """
    import orjson

    try:
        document = orjson.loads(raw)
    except (orjson.JSONDecodeError, RecursionError) as error:
        raise DataUnfit(f"not valid JSON: {error}", "GeoJSON", "correct the file", where=file) from error
    features = document.get("features") if isinstance(document, dict) else None
    if not isinstance(features, list):
        raise DataUnfit("the document holds no features", "a GeoJSON FeatureCollection", "export it again", where=file)
    if "crs" in document and not str(document["crs"]).rstrip("}'\" ").endswith(("CRS84", "4326")):
        raise DataUnfit("the coordinates are in another system", "WGS 84", "export it in EPSG:4326", where=file)
    used = {"depth_m", "depth_ft", "depth", "taken_at", "time", "stage_m", "stage_ft", "method", "draft_m", "note"}
    reasons, rows = [], []
    for number, one in enumerate(features, start=1):
        where = f"point {number}"
        feature = one if isinstance(one, dict) else {}
        shape, given = feature.get("geometry"), feature.get("properties")
        given = given if isinstance(given, dict) else {}
        if not isinstance(shape, dict) or shape.get("type") != "Point":
            reasons.append(("a feature that is no Point", where))
            continue
        position = shape.get("coordinates")
        lon, lat = (
            (_float(v) for v in position[:2]) if isinstance(position, list) and len(position) > 1 else (math.nan,) * 2
        )
        if "depth" in given and not {"depth_m", "depth_ft"} & set(given) and not math.isfinite(unit):
            raise DataUnfit(
                "the property depth names no unit", "depth_m or depth_ft", "give --depth-unit", where=f"{file}, {where}"
            )
        depth = _length(given, "depth", unit)
        when = given.get("taken_at", given.get("time"))
        moment = np.datetime64("NaT", "ms") if when in (None, "") else _offset_time(when)
        if not (math.isfinite(lon) and math.isfinite(lat)):
            reasons.append(("a point without lon and lat", where))
        elif not math.isfinite(depth):
            reasons.append(("no depth", where))
        elif moment is None:
            reasons.append(("the time is not ISO 8601 with offset", where))
        else:
            more = {key: str(v) for key, v in given.items() if key not in used and isinstance(v, str | int | float)}
            rows.append((number, lon, lat, depth, moment, given, more))
    names = sorted({name for row in rows for name in row[6]})
    return batch(
        file, "GeoJSON", [row[1] for row in rows], [row[2] for row in rows], [row[3] for row in rows],
        taken_at=np.array([row[4] for row in rows], dtype="datetime64[ms]"),
        stage_m=[_length(row[5], "stage", math.nan) for row in rows],
        draft_m=[np.nan_to_num(_float(row[5].get("draft_m"))) for row in rows],
        method=[str(row[5].get("method") or "") for row in rows], note=[str(row[5].get("note") or "") for row in rows],
        where=[row[0] for row in rows], unit="point", seen=len(features), drops=joined(reasons),
        extra={name: [row[6].get(name, "") for row in rows] for name in names},
    )  # fmt: skip


def _length(given: dict[str, Any], name: str, unit: float) -> float:
    for key, factor in ((f"{name}_m", 1.0), (f"{name}_ft", FOOT), (name, unit)):
        if key in given:
            return _float(given[key]) * factor
    return math.nan


def _offset_time(text: Any) -> np.datetime64 | None:
    moment = instant(text)
    return None if moment is None else np.datetime64(round(moment.timestamp() * 1000), "ms")
