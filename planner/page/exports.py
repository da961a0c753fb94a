"""The spots for a spreadsheet and for a GPS unit.

Depth goes into an extension of the waypoint and into its description, never into ``ele``, which is a height.
"""

from __future__ import annotations

import csv
import io
import re
import xml.etree.ElementTree as ET
from typing import Any

from planner.page import words
from planner.river.records import River
from planner.units import show

__all__ = ["CSV_COLUMNS", "GPX_DEPTH_SPACE", "spots_csv", "spots_gpx"]

GPX_SPACE = "http://www.topografix.com/GPX/1/1"
GPX_DEPTH_SPACE = "urn:plumbrun:gpx:1"

CSV_COLUMNS = (
    "id",
    "number",
    "name",
    "run",
    "at",
    "stance_lon",
    "stance_lat",
    "landing_lon",
    "landing_lat",
    "caution_level",
    "caution",
    "line",
    "fly",
    "countdown_from_s",
    "countdown_to_s",
    "countdown_mode",
    "leader_m",
    "strip_m_s",
    "lift_rod_at_m",
    "fly_depth_p10_m",
    "fly_depth_p50_m",
    "fly_depth_p90_m",
    "band_time_s",
    "touch_chance",
    "hang_chance",
    "depth_m",
    "depth_low_m",
    "depth_high_m",
    "velocity_m_s",
    "stage_m",
    "stance",
    "cast_m",
    "angle_deg",
    "none_because",
    "next_line",
    "next_fly",
    "why",
)


def _cell(value: Any) -> Any:
    """A cell that no spreadsheet takes for a formula."""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + value
    return "" if value is None else value


def spots_csv(plan: dict[str, Any], river: River | None = None) -> str:
    """The spots at the planned level as CSV, SI with units in the column names, cautions on each row.

    Parameters
    ----------
    plan : dict
        As ``plan.json``.
    river : River, optional
        Gives the coordinates of stance and landing; without it those columns stay empty.

    Returns
    -------
    str
        One header line, one line per spot; unknown is empty. Text that begins like a formula gets an apostrophe.
    """
    known = {spot.id: spot for spot in river.spots} if river is not None else {}
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(CSV_COLUMNS)
    for i, spot in enumerate(plan.get("spots") or (), 1):
        record = known.get(spot["id"])
        best, other, caution = spot.get("best") or {}, spot.get("next_best") or {}, spot.get("caution") or {}
        row: dict[str, Any] = {key: spot.get(key, best.get(key)) for key in CSV_COLUMNS}
        row.update(number=i, name=words.name_of(spot, record), why=best.get("why"))
        row.update(caution_level=caution.get("level"), caution=words.caution_line(caution))
        row.update(next_line=other.get("line"), next_fly=other.get("fly"))
        row.update(
            zip(("fly_depth_p10_m", "fly_depth_p50_m", "fly_depth_p90_m"), best.get("fly_depth_m") or (), strict=False)
        )
        if record is not None:
            row.update(zip(("stance_lon", "stance_lat"), record.stance_lonlat, strict=True))
            row.update(zip(("landing_lon", "landing_lat"), record.landing_lonlat, strict=True))
        writer.writerow([_cell(row[key]) for key in CSV_COLUMNS])
    return out.getvalue()


def _clean(text: Any) -> str:
    """Text without the signs that XML 1.0 does not allow."""
    return re.sub("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "", str(text))


def _waypoint(root: ET.Element, lonlat: tuple[float, float], name: str, text: str, kind: str) -> ET.Element:
    point = ET.SubElement(root, f"{{{GPX_SPACE}}}wpt", lat=f"{lonlat[1]:.7f}", lon=f"{lonlat[0]:.7f}")
    for tag, value in (("name", name), ("desc", text), ("type", kind)):
        if value:
            ET.SubElement(point, f"{{{GPX_SPACE}}}{tag}").text = _clean(value)
    return point


def _said(spot: dict[str, Any], units: str) -> str:
    best = spot.get("best")
    if best:
        strip = show(best.get("strip_m_s"), "strip", units)
        answer = f"{best['line']}, {words.fly_words(best, units)}, count {words.count_words(best)}, strip {strip}."
    else:
        answer = spot.get("none_because") or "No answer."
    depth = show(spot.get("depth_m"), "depth", units)
    level = show(spot.get("stage_m"), "level", units)
    return f"{words.caution_line(spot.get('caution'))}. {answer} Depth about {depth} at gauge {level}."


def spots_gpx(plan: dict[str, Any], river: River) -> str:
    """Landings, put-ins, take-outs, hazards and the flowline as GPX 1.1.

    Parameters
    ----------
    plan : dict
        As ``plan.json``; a spot that the river lacks is left out.
    river : River
        Coordinates, and the units of the descriptions.
    """
    ET.register_namespace("", GPX_SPACE)
    ET.register_namespace("plumbrun", GPX_DEPTH_SPACE)
    root = ET.Element(f"{{{GPX_SPACE}}}gpx", version="1.1", creator="plumbrun")
    meta = ET.SubElement(root, f"{{{GPX_SPACE}}}metadata")
    ET.SubElement(meta, f"{{{GPX_SPACE}}}name").text = _clean(f"{plan.get('river') or river.name}, {plan['for_day']}")
    caution = plan.get("caution")
    said = " ".join((f"{words.caution_line(caution)}.", words.unlisted_words(caution), *words.STANDING))
    ET.SubElement(meta, f"{{{GPX_SPACE}}}desc").text = _clean(said)
    known = {spot.id: spot for spot in river.spots}
    for i, spot in enumerate(plan.get("spots") or (), 1):
        record = known.get(spot["id"])
        if record is None:
            continue
        point = _waypoint(
            root, record.landing_lonlat, f"{i} {words.name_of(spot, record)}", _said(spot, river.units), "spot"
        )
        if spot.get("depth_m") is not None:
            extension = ET.SubElement(point, f"{{{GPX_SPACE}}}extensions")
            ET.SubElement(extension, f"{{{GPX_DEPTH_SPACE}}}depth_m").text = f"{spot['depth_m']:.2f}"
    for place in river.places:
        if place.kind == "flowline":
            continue
        middle = place.geometry.representative_point()
        label = words.joined((place.hazard_kind, place.name or place.id))
        _waypoint(root, (middle.x, middle.y), label, place.note, place.kind.replace("_", "-"))
    for place in river.places_of("flowline"):
        track = ET.SubElement(root, f"{{{GPX_SPACE}}}trk")
        ET.SubElement(track, f"{{{GPX_SPACE}}}name").text = _clean(place.name or "flowline, downstream")
        for part in getattr(place.geometry, "geoms", [place.geometry]):
            piece = ET.SubElement(track, f"{{{GPX_SPACE}}}trkseg")
            for lon, lat in (c[:2] for c in part.coords):
                ET.SubElement(piece, f"{{{GPX_SPACE}}}trkpt", lat=f"{lat:.7f}", lon=f"{lon:.7f}")
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"
