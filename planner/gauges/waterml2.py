"""OGC WaterML 2.0 time series, from any agency's file or service.

References: OGC 10-126r4 (part 1, time series) [OGC2014].
"""

from __future__ import annotations

import re
from datetime import datetime
from xml.etree.ElementTree import Element

import numpy as np

from planner.errors import GaugeReplyUnfit
from planner.gauges.assemble import Column, assemble, rank
from planner.gauges.sensors import Sensor, choose_sensor
from planner.gauges.series import Quality, Series
from planner.gauges.stamps import NoOffset, parse_stamps
from planner.gauges.usgs_iv import QUALIFIERS
from planner.gauges.xml_text import local_name, root_of
from planner.units import CFS, FOOT

__all__ = ["VARIABLES", "parse"]

_NEED = "a WaterML 2.0 collection with a measurement time series"

# what an observed property's title or address says (lower case, searched in this order) -> our column. A property that
# names a datum or an elevation is no stage above the gauge's zero.
VARIABLES: tuple[tuple[str, str], ...] = (
    (r"navd|ngvd|elevation|above (sea|datum)", ""),
    (r"parmcd=00060|discharge|streamflow|\bflow\b|débit|durchfluss|abfluss", "discharge_m3s"),
    (r"parmcd=00065|gage.?height|stage|water.?level|\blevel\b|wasserstand|hauteur", "stage_m"),
    (r"parmcd=00010|temperature", "temperature_c"),
    (r"parmcd=63680|turbidity", "turbidity_fnu"),
)
UNITS: dict[str, dict[str, float]] = {
    "discharge_m3s": {"ft3/s": CFS, "[ft_i]3/s": CFS, "cfs": CFS, "m3/s": 1.0, "m3.s-1": 1.0, "cms": 1.0, "l/s": 1e-3},
    "stage_m": {"ft": FOOT, "[ft_i]": FOOT, "m": 1.0, "cm": 0.01, "mm": 0.001},
    "temperature_c": {"deg C": 1.0, "degC": 1.0, "Cel": 1.0, "°C": 1.0},
    "turbidity_fnu": {"FNU": 1.0, "_FNU": 1.0},
}
# last part of a quality or qualifier address -> quality, by the words of the standard's vocabulary and of USGS files
_QUALITY = {
    "a": Quality.MEASURED,
    "good": Quality.MEASURED,
    "p": Quality.PROVISIONAL,
    "unchecked": Quality.PROVISIONAL,
    "e": Quality.ESTIMATED,
    "estimate": Quality.ESTIMATED,
    "suspect": Quality.ESTIMATED,
    "poor": Quality.ESTIMATED,
    "ice": Quality.ICE,
    "missing": Quality.MISSING,
    "approved": Quality.MEASURED,
    "provisional": Quality.PROVISIONAL,
    **{word.lower(): present for word, (present, _, _) in QUALIFIERS.items()},
}
_ZONE = re.compile(r"([+-]\d\d:\d\d|Z)$")


def parse(raw: bytes, station: str, where: str = "", retrieved_at: datetime | None = None) -> Series:
    """A WaterML 2.0 text as a `Series`.

    Every observation member is read; what its property, unit and points say is taken, the rest is named in the notes.
    Points without time or value are left out and counted. A date without a time is a daily value: it stands at
    12:00 UTC of its day, and the notes say so. A time without offset takes the series' default zone, and without one
    is refused.

    Raises
    ------
    GaugeReplyUnfit
        When the text is no such XML, or holds nothing of use.
    """
    where = where or station
    root = root_of(raw, where, _NEED)
    if "waterml/2" not in root.tag:
        raise GaugeReplyUnfit(f"the file is XML of the kind {local_name(root.tag)!r}", _NEED, "correct it", where=where)
    notes: list[str] = []
    sensors: dict[str, list[Sensor]] = {}
    name = ""
    number = station.split(":", 1)[-1]
    for member in _all(root, "OM_Observation"):
        feature = next(iter(_all(member, "featureOfInterest")), None)
        name = name or (_attribute(feature, "title") if feature is not None else "")
        said = " ".join([*member.itertext(), *_attributes(member)])
        if station.startswith("usgs:") and not re.search(rf"(?<!\d){re.escape(number)}(?!\d)", said):
            continue
        column_name, label = _property(member)
        if not column_name:
            notes.append(f"{label or 'a property without a name'} is not taken for stage or discharge; left out")
            continue
        column = _column(member, column_name, label, notes, where)
        if column is not None and len(column.times):
            sensors.setdefault(column_name, []).append(Sensor(column, member.get(_id_key(member), str(len(sensors)))))
    columns = {key: choose_sensor(group, key, notes, "observation") for key, group in sensors.items()}
    if not columns:
        raise GaugeReplyUnfit(
            f"the file holds no stage, discharge, temperature or turbidity of {station}",
            _NEED,
            "give another file, or give the level with --level",
            where=where,
        )
    return assemble(station, name, columns, notes, retrieved_at)


def _column(member: Element, key: str, label: str, notes: list[str], where: str) -> Column | None:
    named = [_attribute(node, "code") or _attribute(node, "title") for node in _all(member, "uom")]
    unit = next(filter(None, named), "")
    factors = UNITS[key]
    if unit not in factors:
        notes.append(f"{label} comes in {unit!r}, which is not known here; left out")
        return None
    zone = next((_attribute(node, "zoneOffset") for node in _all(member, "defaultTimeZone")), "")
    zone = zone or next((_child_text(node, "zoneOffset") for node in _all(member, "defaultTimeZone")), "")
    default = Quality.PROVISIONAL
    for meta in _all(member, "defaultPointMetadata"):
        default = _quality(meta, default, label, notes)
    stamps, values, ranks = [], [], []
    empty = daily = 0
    for point in _all(member, "MeasurementTVP"):
        stamp, text = _child_text(point, "time"), _child_text(point, "value")
        if not stamp:
            empty += 1
            continue
        if len(stamp) == 10:
            stamp, daily = f"{stamp}T12:00:00Z", daily + 1
        elif not _ZONE.search(stamp):
            stamp += zone
        try:
            value = float(text)
        except ValueError:
            value = np.nan
        missing = not np.isfinite(value) or value in (-999999.0, -9999.0)
        quality = _quality(point, default, label, notes)
        stamps.append(stamp)
        values.append(np.nan if missing else value)
        ranks.append(rank(max(quality, Quality.MISSING, key=rank) if missing else quality))
    if empty:
        notes.append(f"{label}: {empty} of {empty + len(stamps)} points have no time; left out")
    if daily:
        notes.append(f"{label}: daily values, each placed at 12:00 UTC of its day")
    try:
        times = parse_stamps(stamps)
    except NoOffset as error:
        raise GaugeReplyUnfit(
            f"{label}, point {error.index + 1}: time {error.text!r} has {error.why}",
            "times with an offset, or a default zone of the series",
            "correct the file",
            where=where,
        ) from error
    return Column(times, np.array(values, np.float64) * factors[unit], np.array(ranks, np.int8))


def _property(member: Element) -> tuple[str, str]:
    node = next(iter(_all(member, "observedProperty")), None)
    if node is None:
        return "", ""
    words = f"{_attribute(node, 'title')} {_attribute(node, 'href')}"
    for pattern, column in VARIABLES:
        if re.search(pattern, words.lower()):
            return column, _attribute(node, "title") or words.strip()
    return "", words.strip()


def _quality(node: Element, default: Quality, label: str, notes: list[str]) -> Quality:
    """The worst of a node's qualifiers; one that is not known here makes an estimate, and a note says so."""
    found = []
    for child in _all(node, "qualifier") + _all(node, "quality"):
        texts = [_attribute(child, "href"), _attribute(child, "title"), *(text.strip() for text in child.itertext())]
        words = [re.split(r"[/#=?]", text)[-1].strip() for text in texts if text.strip()]
        known = next((_QUALITY[word.lower()] for word in words if word.lower() in _QUALITY), None)
        if known is None and words:
            known = Quality.ESTIMATED
            notes.append(f"{label}: qualifier {words[0]!r} is not known here; its rows are kept as estimated")
        if known is not None:
            found.append(known)
    return max(found, key=rank) if found else default


def _all(node: Element, name: str) -> list[Element]:
    return [child for child in node.iter() if local_name(child.tag) == name]


def _child_text(node: Element, name: str) -> str:
    return next(((child.text or "").strip() for child in node.iter() if local_name(child.tag) == name), "")


def _attribute(node: Element, name: str) -> str:
    return next((value for key, value in node.attrib.items() if local_name(key) == name), "")


def _attributes(node: Element) -> list[str]:
    return [value for child in node.iter() for value in child.attrib.values()]


def _id_key(node: Element) -> str:
    return next((key for key in node.attrib if local_name(key) == "id"), "id")
