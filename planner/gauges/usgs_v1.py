"""Water Data API v1 of the US Geological Survey, an OGC API: continuous, latest and daily values.

`get` asks ``continuous`` and follows every ``next`` link on the agency's own host, `parse` turns the pages, or a
recorded page, into a `Series`. A key from the environment (``PLUMBRUN_USGS_KEY``) raises the hourly quota; it is sent
as a header, to the host that was asked only. The agency keeps one call of ``continuous`` to three years.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.errors import GaugeReplyUnfit
from planner.gauges.assemble import Column, assemble, rank
from planner.gauges.recorded import read
from planner.gauges.sensors import Sensor, choose_sensor
from planner.gauges.series import Quality, Series
from planner.gauges.stamps import NoOffset, parse_stamps
from planner.gauges.usgs_text import floats, site_number
from planner.gauges.v1_pages import ADDRESS, SERVICE, features, items, odd
from planner.gauges.v1_rows import lift_rows
from planner.units import CFS, FOOT

if TYPE_CHECKING:
    import requests

__all__ = ["ADDRESS", "SERVICE", "VARIABLES", "get", "parse", "read"]


# parameter code -> (our column, {agency's unit: factor to SI}). Levels above a national datum (63160, 62615 and the
# like) have codes of their own and are never taken for stage.
VARIABLES: dict[str, tuple[str, dict[str, float]]] = {
    "00060": ("discharge_m3s", {"ft^3/s": CFS, "ft3/s": CFS, "m^3/s": 1.0}),
    "00065": ("stage_m", {"ft": FOOT, "m": 1.0}),
    "00010": ("temperature_c", {"degC": 1.0, "deg C": 1.0}),
    "63680": ("turbidity_fnu", {"_FNU": 1.0, "FNU": 1.0}),
}
# qualifier -> (quality of a row with a value, quality of one without); those not here are said and kept as estimated.
# Seen in recorded answers: ESTIMATED, ICE. The others are the older codes' meanings in words, from memory.
QUALIFIERS: dict[str, tuple[Quality, Quality]] = {
    "ESTIMATED": (Quality.ESTIMATED, Quality.MISSING),
    "REVISED": (Quality.PROVISIONAL, Quality.MISSING),
    "ICE": (Quality.ICE, Quality.ICE),
    "EQUIP": (Quality.EQUIPMENT, Quality.EQUIPMENT),
    "MAINT": (Quality.EQUIPMENT, Quality.EQUIPMENT),
    "FLOODDAMAGE": (Quality.EQUIPMENT, Quality.EQUIPMENT),
    "BACKWATER": (Quality.ESTIMATED, Quality.MISSING),
    "DISCONTINUED": (Quality.ESTIMATED, Quality.MISSING),
    "DRY": (Quality.ESTIMATED, Quality.MISSING),
    "ZEROFLOW": (Quality.ESTIMATED, Quality.MISSING),
}
# A word that begins so is taken for the one above, whatever follows: its form is not sure, and its meaning is grave.
_GRAVE = {"ICE": "ICE", "EQUIP": "EQUIP", "EQP": "EQUIP", "MAINT": "MAINT"}
_APPROVAL = {"approved": Quality.MEASURED, "provisional": Quality.PROVISIONAL}
_NO_DATA = -999999.0
_INSTANTANEOUS = "00011"
_PROPERTIES = "time,value,parameter_code,statistic_id,time_series_id,approval_status,qualifier,unit_of_measure"
_KEY = itemgetter("parameter_code", "unit_of_measure", "time_series_id", "statistic_id")
_ROW = itemgetter("time", "value", "approval_status", "qualifier")
_CALL = timedelta(days=3 * 365)


def get(
    station: str, start: datetime, end: datetime, session: requests.Session | None = None, folder: Path | None = None
) -> bytes:
    """Ask for stage, discharge, water temperature and turbidity of one station: all pages as one JSON array.

    Raises
    ------
    SourceUnreachable
        When the service does not answer, a page fails, or a ``next`` link leads to another host.
    GaugeReplyUnfit
        When an answer is no JSON.
    """
    from planner.gauges.transport import iso_z

    number = site_number(station)
    bodies: list[bytes] = []
    begin = start
    while begin < end:
        finish = min(begin + _CALL, end)
        query = {
            "monitoring_location_id": f"USGS-{number}",
            "parameter_code": ",".join(VARIABLES),
            "time": f"{iso_z(begin)}/{iso_z(finish)}",
            "limit": "50000",
            "skipGeometry": "true",
            "properties": f"{_PROPERTIES},monitoring_location_id",
        }
        bodies += items("continuous", query, session, f"station {number} of the {SERVICE}")
        begin = finish
    return b"[" + b",".join(bodies) + b"]"


def parse(raw: bytes, station: str, where: str = "", retrieved_at: datetime | None = None) -> Series:
    """Pages of ``continuous`` or ``latest-continuous`` as a `Series` of one station.

    Rows are keyed on time series and time. Only instantaneous series (statistic 00011, or none given) are taken; where
    one parameter has several, `planner.gauges.sensors.choose_sensor` decides. A recorded page whose ``next`` page is
    not in the file is read as far as it goes, and the notes say so.

    Raises
    ------
    GaugeReplyUnfit
        When the text is not the service's JSON, holds other stations only, or no row for this one.
    """
    number = site_number(station)
    where = where or f"reply of the {SERVICE}"
    lifted = lift_rows(bytes(raw)) if bytes(raw).rstrip().endswith((b"}", b"]")) else None
    found, more = features(raw, where) if lifted is None else (lifted[0], b'"next"' in raw and raw[:1] != b"[")
    notes: list[str] = ["the reply is one page of several; the pages after it are not in the file"] if more else []
    own = f"USGS-{number}"
    mine = [entry for entry in found if entry.get("monitoring_location_id", own) == own]
    blocks = [block for block in (lifted[1] if lifted else []) if block[0][5] in ("", own)]
    if not mine and not blocks:
        names = [str(e.get("monitoring_location_id", "")) for e in found]
        names += [block[0][5] for block in (lifted[1] if lifted else [])]
        others = ", ".join(dict.fromkeys(names))
        given = f"the reply holds {others} and not station {number}" if names else "the reply holds no feature at all"
        raise GaugeReplyUnfit(
            given,
            f"values of station {number}",
            "check the station in river.toml, give the right reply with --gauge-reply, or give the level with --level",
            where=where,
        )
    parts: dict[tuple[Any, ...], list[Column]] = {}
    for key, rows in _grouped(mine, where) if mine else []:
        factor = _factor(key, notes)
        if factor is not None:
            parts.setdefault(key, []).append(_column(rows, factor, notes, key[0], where))
    for (code, unit, series_id, statistic, approval, _), times, values in blocks:
        key = (code, unit, series_id, statistic)
        factor = _factor(key, notes)
        if factor is not None:
            present, absent = _ranks(("", approval), notes, code)
            coded = values == _NO_DATA
            ranks = np.where(coded, absent, present).astype(np.int8)
            parts.setdefault(key, []).append(Column(times, np.where(coded, np.nan, values) * factor, ranks))
    sensors: dict[str, list[Sensor]] = {}
    for key, group in parts.items():
        sensors.setdefault(VARIABLES[key[0]][0], []).append(Sensor(_joined(group), str(key[2])))
    columns = {key: choose_sensor(group, key, notes, "time series") for key, group in sensors.items()}
    if not columns:
        raise GaugeReplyUnfit(
            f"the reply holds no instantaneous stage, discharge, temperature or turbidity of station {number}",
            f"values of station {number}",
            "choose another gauge for the run, or give the level with --level",
            where=where,
        )
    notes += [
        f"{label} is not in the reply"
        for key, label in (("stage_m", "stage"), ("discharge_m3s", "discharge"))
        if key not in columns
    ]
    return assemble(station, "", columns, notes, retrieved_at)


def _factor(key: tuple[Any, ...], notes: list[str]) -> float | None:
    """Factor to SI of a series, None when it is not taken; what is left out is said."""
    code, unit, _, statistic = key
    if statistic not in (_INSTANTANEOUS, None):
        notes.append(f"parameter {code}: a series of statistic {statistic} is no instantaneous one; left out")
        return None
    if code not in VARIABLES:
        return None
    factors = VARIABLES[code][1]
    if unit not in factors:
        notes.append(f"parameter {code} comes in {unit!r}, which is not known here; left out")
        return None
    return factors[unit]


def _joined(columns: list[Column]) -> Column:
    if len(columns) == 1:
        return columns[0]
    times = np.concatenate([column.times for column in columns])
    order = np.argsort(times, kind="stable")
    values = np.concatenate([column.values for column in columns])
    return Column(times[order], values[order], np.concatenate([column.ranks for column in columns])[order])


def _grouped(entries: list[dict[str, Any]], where: str) -> list[tuple[tuple[Any, ...], list[tuple[Any, ...]]]]:
    """Rows of (time, value, approval, qualifier) by parameter, unit, time series and statistic; long replies are whole
    columns, so this goes by column and not by feature.
    """
    try:
        keys = list(map(_KEY, entries))
        number = {key: i for i, key in enumerate(dict.fromkeys(keys))}
        fields = list(map(_ROW, entries))
    except KeyError:
        try:
            keys = [_KEY(entry) for entry in entries]
            number = {key: i for i, key in enumerate(dict.fromkeys(keys))}
            fields = [(e["time"], e["value"], e.get("approval_status"), e.get("qualifier")) for e in entries]
        except (KeyError, TypeError) as error:
            raise odd(f"a feature without {error}", where) from error
    except TypeError as error:
        raise odd("a feature with another form", where) from error
    if len(number) == 1:
        return [(keys[0], fields)]
    groups: dict[Any, list[tuple[Any, ...]]] = {key: [] for key in number}
    for key, row in zip(keys, fields, strict=True):
        groups[key].append(row)
    return list(groups.items())


def _column(rows: list[tuple[Any, ...]], factor: float, notes: list[str], code: str, where: str) -> Column:
    stamps, texts, approvals, flags = zip(*rows, strict=True)
    try:
        times = parse_stamps(list(stamps))
    except TypeError as error:
        raise odd("time", where) from error
    except NoOffset as error:
        raise GaugeReplyUnfit(
            f"parameter {code}: time {error.text!r} has {error.why}",
            "continuous values, each time with its offset from UTC (daily values have none)",
            "give a reply of the collection continuous",
            where=where,
        ) from error
    raw = floats(texts, notes, code)
    coded = (raw == _NO_DATA) | ~np.isfinite(raw)
    words = [",".join(map(str, flag)) if isinstance(flag, list) else str(flag or "") for flag in flags]
    kinds = list(zip(words, approvals, strict=True))
    number = {kind: i for i, kind in enumerate(dict.fromkeys(kinds))}
    pairs = np.array([_ranks((word, str(approval or "")), notes, code) for word, approval in number], np.int8)
    kind = np.fromiter(map(number.__getitem__, kinds), np.intp, len(kinds))
    ranks = np.where(coded, pairs[kind, 1], pairs[kind, 0]).astype(np.int8)
    return Column(times, np.where(coded, np.nan, raw) * factor, ranks)


def _ranks(key: tuple[str, str], notes: list[str], code: str) -> tuple[int, int]:
    words, approval = key
    present = [rank(_APPROVAL.get(approval.lower(), Quality.PROVISIONAL))]
    absent = [rank(Quality.MISSING)]
    for word in filter(None, (part.strip().upper() for part in words.split(","))):
        plain = "".join(filter(str.isalnum, word))
        grave = next((name for start, name in _GRAVE.items() if plain.startswith(start)), plain)
        known = QUALIFIERS.get(grave)
        if known is None:
            notes.append(f"parameter {code}: qualifier {word!r} is not known here; its rows are kept as estimated")
            known = (Quality.ESTIMATED, Quality.MISSING)
        present.append(rank(known[0]))
        absent.append(rank(known[1]))
    return max(present), max(absent)
