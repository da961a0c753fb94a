"""Shapes of GPX and KML, element by element: no document type, no entity, no depth, no flood.

A parser that is given a document type can be made to fill the memory with a few lines or to read other files, so both
are refused at the first sign, in whatever encoding the text comes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any
from xml.parsers import expat

from planner.desk.taken import MOST_POSITIONS, MOST_TEXT, Taken, position
from planner.errors import DataUnfit

__all__ = ["taken_gpx", "taken_kml"]

_DEEP = 64
_MOST_ELEMENTS = 1_000_000


@dataclass
class _Reader:
    """Walks an XML text with three handlers; `start`, `end` are given by the format."""

    what: str
    file: str
    path: list[str] = field(default_factory=list)
    text: list[str] = field(default_factory=list)
    elements: int = 0
    size: int = 0

    def _refuse(self, *_: Any) -> int:
        raise DataUnfit(
            "the XML declares a document type or an entity", f"plain {self.what}", "export the file again",
            where=self.file,
        )  # fmt: skip

    def start(self, name: str, attributes: dict[str, str], line: int) -> None:
        """An element begins."""

    def end(self, name: str, text: str) -> None:
        """An element ends."""

    def read(self, raw: bytes) -> None:
        """Walk the text."""
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.buffer_text = True

        def begins(name: str, attributes: dict[str, str]) -> None:
            name = name.rsplit(" ", 1)[-1]
            self.path.append(name)
            self.elements += 1
            if len(self.path) > _DEEP or self.elements > _MOST_ELEMENTS:
                raise DataUnfit(
                    "more elements than a drawing has, or too deep in each other", f"plain {self.what}",
                    "export less at once", where=self.file,
                )  # fmt: skip
            self.text.clear()
            self.start(name, attributes, parser.CurrentLineNumber)

        def ends(name: str) -> None:
            self.path.pop()
            self.end(name.rsplit(" ", 1)[-1], "".join(self.text).strip())
            self.text.clear()

        parser.StartDoctypeDeclHandler = self._refuse
        parser.EntityDeclHandler = self._refuse
        parser.ExternalEntityRefHandler = self._refuse
        parser.StartElementHandler, parser.EndElementHandler = begins, ends
        parser.CharacterDataHandler = self.text.append
        try:
            parser.Parse(raw, True)
        except expat.ExpatError as error:
            raise DataUnfit(
                f"not readable as XML: {expat.errors.messages[error.code]}", self.what, "export the file again",
                where=f"{self.file}, line {error.lineno}",
            ) from error  # fmt: skip
        except (ValueError, LookupError) as error:  # an encoding that is none
            raise DataUnfit(
                f"not readable as XML: {error}", self.what, "export the file again", where=self.file
            ) from error


@dataclass
class _Gpx(_Reader):
    taken: Taken = field(default_factory=Taken)
    line: list[list[float]] = field(default_factory=list)
    point: list[float] | None = None
    own: dict[str, Any] = field(default_factory=dict)
    named: dict[str, Any] = field(default_factory=dict)
    began: int = 0

    def start(self, name: str, attributes: dict[str, str], line: int) -> None:
        if name in ("wpt", "trkpt", "rtept"):
            self.point = position([attributes.get("lon"), attributes.get("lat")])
            self.own = {}
            if self.point is None:
                self.taken.drop(f"line {line}", "a point without lon and lat")
            else:
                self.taken.count(1)
        elif name in ("trkseg", "rte"):
            self.line, self.began = [], line
        if name in ("trk", "rte"):
            self.named = {}

    def end(self, name: str, text: str) -> None:
        inside = self.path[-1] if self.path else ""
        if name in ("name", "desc", "depth") and (inside in ("wpt", "trkpt", "rtept") or name == "depth"):
            if text:
                self.own.setdefault({"desc": "note", "depth": "depth_m"}.get(name, name), text[:MOST_TEXT])
        elif name in ("name", "desc") and inside in ("trk", "rte"):
            self.named[{"desc": "note"}.get(name, name)] = text[:MOST_TEXT]
        elif name == "wpt":
            if self.point is not None:
                self.taken.add({"type": "Point", "coordinates": self.point}, _with_depth(self.own))
        elif name in ("trkpt", "rtept"):
            if self.point is not None:
                self.line.append(self.point)
                if "depth_m" in self.own:
                    self.taken.add({"type": "Point", "coordinates": self.point}, _with_depth(self.own))
        elif name in ("trkseg", "rte"):
            if len(self.line) > 1:
                self.taken.add({"type": "LineString", "coordinates": self.line}, dict(self.named))
            elif self.line:
                self.taken.drop(f"line {self.began}", "a track of one point")


def _with_depth(own: dict[str, Any]) -> dict[str, Any]:
    if "depth_m" not in own:
        return dict(own)
    try:
        depth = float(own["depth_m"])
    except ValueError:
        depth = math.nan
    return {key: value for key, value in own.items() if key != "depth_m"} | (
        {"depth_m": depth} if math.isfinite(depth) else {}
    )


def taken_gpx(raw: bytes, file: str) -> Taken:
    """Waypoints as points, routes and tracks as lines, points with a depth as soundings."""
    reader = _Gpx("GPX", file)
    reader.read(raw)
    return reader.taken


@dataclass
class _Kml(_Reader):
    taken: Taken = field(default_factory=Taken)
    own: dict[str, Any] = field(default_factory=dict)
    shapes: list[dict[str, Any]] = field(default_factory=list)
    rings: list[list[list[float]]] = field(default_factory=list)
    began: int = 0

    def start(self, name: str, attributes: dict[str, str], line: int) -> None:
        if name == "Placemark":
            self.own, self.shapes, self.began = {}, [], line
        elif name == "Polygon":
            self.rings = []
        elif name in ("Model", "Track", "MultiTrack", "GroundOverlay", "NetworkLink"):
            self.taken.drop(f"line {line}", f"{name} is not drawn here")

    def _positions(self, text: str) -> list[list[float]]:
        words = text.split()
        self.taken.count(len(words))
        found = [position(word.split(",")) for word in words]
        if any(one is None for one in found):
            self.taken.drop(f"line {self.began}", "a position that is no lon,lat")
        return [one for one in found if one is not None]

    def end(self, name: str, text: str) -> None:
        inside = self.path[-1] if self.path else ""
        if name in ("name", "description") and inside == "Placemark":
            self.own[{"description": "note"}.get(name, name)] = text[:MOST_TEXT]
        elif name == "coordinates":
            found = self._positions(text)
            if inside == "Point" and found:
                self.shapes.append({"type": "Point", "coordinates": found[0]})
            elif inside == "LineString" and len(found) > 1:
                self.shapes.append({"type": "LineString", "coordinates": found})
            elif inside == "LinearRing" and len(found) > 3:
                self.rings.append(found if found[0] == found[-1] else [*found, found[0]])
            else:
                self.taken.drop(f"line {self.began}", "too few positions")
        elif name == "Polygon" and self.rings:
            self.shapes.append({"type": "Polygon", "coordinates": self.rings})
        elif name == "Placemark":
            for shape in self.shapes:
                self.taken.add(shape, dict(self.own))
            if not self.shapes:
                self.taken.drop(f"line {self.began}", "a placemark without a shape")


def taken_kml(raw: bytes, file: str) -> Taken:
    """Placemarks of a KML text; their descriptions are kept as text, whatever stands in them."""
    if len(raw) > MOST_POSITIONS * 100:
        raise DataUnfit(f"{len(raw):,} bytes", "a drawing", "export less at once", where=file)
    reader = _Kml("KML", file)
    reader.read(raw)
    return reader.taken
