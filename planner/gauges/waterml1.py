"""WaterML 1.1, the XML of the US Geological Survey's older instantaneous values service."""

from __future__ import annotations

from datetime import datetime
from xml.etree.ElementTree import Element

import numpy as np

from planner.errors import GaugeReplyUnfit
from planner.gauges import usgs_iv
from planner.gauges.assemble import Column, assemble
from planner.gauges.sensors import Sensor, choose_sensor
from planner.gauges.series import Series
from planner.gauges.stamps import NoOffset, parse_stamps
from planner.gauges.usgs_text import floats, site_number
from planner.gauges.xml_text import local_name, root_of
from planner.units import CFS

__all__ = ["SERVICE", "VARIABLES", "parse"]

SERVICE = "US Geological Survey, instantaneous values as WaterML 1.1"
_NEED = "WaterML 1.1 of the instantaneous values service"

# parameter code -> (our column, {unit code: factor to SI}); the XML writes cfs where the JSON writes ft3/s
VARIABLES = {
    code: (column, {**factors, "cfs": CFS} if column == "discharge_m3s" else dict(factors))
    for code, (column, factors) in usgs_iv.VARIABLES.items()
}


def parse(raw: bytes, station: str, where: str = "", retrieved_at: datetime | None = None) -> Series:
    """WaterML 1.1 as a `Series` of one station.

    Each time stamp carries its own offset, which is trusted; the site's daylight-saving attribute is not, because it
    can be wrong.

    Raises
    ------
    GaugeReplyUnfit
        When the text is no such XML, or holds no value of the station.
    """
    number = site_number(station)
    where = where or f"reply of the {SERVICE}"
    root = root_of(raw, where, _NEED)
    if local_name(root.tag) != "timeSeriesResponse":
        raise GaugeReplyUnfit(
            f"the reply is XML of the kind {local_name(root.tag)!r}", _NEED, "correct it", where=where
        )
    notes: list[str] = []
    sensors: dict[str, list[Sensor]] = {}
    name, others = "", []
    for entry in _all(root, "timeSeries"):
        code = _text(entry, "siteCode")
        if code != number:
            others.append(code)
            continue
        name = _text(entry, "siteName") or name
        parameter, unit = _text(entry, "variableCode"), _text(entry, "unitCode")
        if parameter not in VARIABLES:
            continue
        key, factors = VARIABLES[parameter]
        if unit not in factors:
            notes.append(f"parameter {parameter} comes in {unit!r}, which is not known here; left out")
            continue
        no_data = _no_data(_text(entry, "noDataValue"), notes, parameter)
        for block in _all(entry, "values"):
            column = _column(block, factors[unit], no_data, notes, parameter, where)
            if len(column.times):
                method = next((node.get("methodID", "0") for node in _all(block, "method")), "0")
                sensors.setdefault(key, []).append(Sensor(column, method))
    columns = {key: choose_sensor(group, key, notes, "method") for key, group in sensors.items()}
    if not columns:
        held = f"{', '.join(dict.fromkeys(others))} and not" if others and not name else "no value of"
        raise GaugeReplyUnfit(
            f"the reply holds {held} station {number}",
            f"values of station {number}",
            "give the right reply, or give the level with --level",
            where=where,
        )
    return assemble(station, name, columns, notes, retrieved_at)


def _no_data(text: str, notes: list[str], code: str) -> float:
    """The value that stands for none; the service's usual one where the reply names no number."""
    try:
        return float(text or "-999999")
    except ValueError:
        notes.append(f"parameter {code}: {text[:40]!r} is named as the value for no data, -999999 is taken")
        return -999999.0


def _column(block: Element, factor: float, no_data: float, notes: list[str], code: str, where: str) -> Column:
    nodes = list(_all(block, "value"))
    stamps = [_attribute(node, "dateTime") for node in nodes]
    try:
        times = parse_stamps(stamps)
    except NoOffset as error:
        raise GaugeReplyUnfit(
            f"parameter {code}, value {error.index + 1}: time {error.text!r} has {error.why}",
            "instantaneous values, each time with its offset from UTC",
            "give a reply of the instantaneous values service",
            where=where,
        ) from error
    values = floats([(node.text or "").strip() for node in nodes], notes, code)
    coded = (values == no_data) | (values == -999999.0) | ~np.isfinite(values)
    flags = [",".join(_attribute(node, "qualifiers").replace(",", " ").split()) for node in nodes]
    pairs = {flag: usgs_iv.rank_pair(flag, notes, code) for flag in dict.fromkeys(flags)}
    ranks = np.array([pairs[flag][int(bad)] for flag, bad in zip(flags, coded, strict=True)], np.int8)
    return Column(times, np.where(coded, np.nan, values) * factor, ranks)


def _all(node: Element, name: str) -> list[Element]:
    return [child for child in node.iter() if local_name(child.tag) == name]


def _text(node: Element, name: str) -> str:
    return next(((child.text or "").strip() for child in node.iter() if local_name(child.tag) == name), "")


def _attribute(node: Element, name: str) -> str:
    return next((value for key, value in node.attrib.items() if local_name(key) == name), "")
