"""Percentiles of discharge by day of the year: the USGS statistics service (JSON) and its older RDB table."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from planner.errors import GaugeReplyUnfit
from planner.gauges.rdb import read_table
from planner.gauges.usgs_text import site_number
from planner.units import CFS

if TYPE_CHECKING:
    import requests

__all__ = ["ADDRESS", "DayNormal", "get", "parse"]

ADDRESS = "https://api.waterdata.usgs.gov/statistics/v0/observationNormals"
_COLUMNS = {f"p{p:02d}_va": float(p) for p in (5, 10, 20, 25, 50, 75, 80, 90, 95)}
_UNITS = {"ft^3/s": CFS, "ft3/s": CFS, "m^3/s": 1.0}
_DAILY_MEAN = "00003"
_NEED = "statistics by day of the year (observationNormals JSON, or the older RDB table)"


@dataclass(frozen=True)
class DayNormal:
    """Daily mean discharge of one calendar day over the years.

    Parameters
    ----------
    years : int
        How many values.
    percentiles : mapping
        Percentile (0 to 100) to discharge [m³/s]; only those given.
    lowest, highest : float
        Extremes [m³/s]; NaN unknown.
    """

    years: int
    percentiles: Mapping[float, float]
    lowest: float
    highest: float


def get(station: str, session: requests.Session | None = None) -> bytes:
    """Ask for the normals of every day of the year: all pages as one JSON array."""
    import orjson

    from planner.gauges.transport import ask

    number = site_number(station)
    address = os.environ.get("PLUMBRUN_USGS_STATISTICS", ADDRESS)
    key = os.environ.get("PLUMBRUN_USGS_KEY", "")
    query = {
        "monitoring_location_id": f"USGS-{number}",
        "parameter_code": "00060",
        "normal_type": "DOY",
        "start_date": "01-01",
        "end_date": "12-31",
    }
    what = f"statistics of station {number} of the US Geological Survey"
    pages: list[bytes] = []
    token = ""
    for _ in range(100):
        more = {**query, "next_token": token} if token else query
        body = ask(address, more, session=session, what=what, headers={"X-Api-Key": key} if key else {}).body
        pages.append(body)
        try:
            reply = orjson.loads(body)
        except orjson.JSONDecodeError as error:
            raise GaugeReplyUnfit("a page of the statistics is no whole JSON text", _NEED, "ask again later") from error
        token = str(reply.get("next") or "") if isinstance(reply, dict) else ""
        if not token:
            return b"[" + b",".join(pages) + b"]"
    raise GaugeReplyUnfit("the pages of the statistics do not end", _NEED, "report that the service has changed")


def parse(raw: bytes, station: str, where: str = "") -> dict[tuple[int, int], DayNormal]:
    """Normals of a station's discharge by (month, day).

    Of the daily means alone: the service also ranks each day's highest and lowest value. Of several series of daily
    means the one with most years on the day is taken.

    Raises
    ------
    GaugeReplyUnfit
        When the text is none of the two forms, or holds nothing of the station's discharge.
    """
    number = site_number(station)
    where = where or "statistics"
    start = bytes(raw[:200]).lstrip()
    found = _from_json(raw, number, where) if start.startswith((b"{", b"[")) else _from_rdb(raw, number, where)
    if not found:
        raise GaugeReplyUnfit(
            f"the reply holds no statistics of discharge of station {number}", _NEED, "check it", where
        )
    return found


def _from_rdb(raw: bytes, number: str, where: str) -> dict[tuple[int, int], DayNormal]:
    table = read_table(raw, where)
    if not {"site_no", "parameter_cd", "month_nu", "day_nu", "count_nu"} <= set(table.header):
        raise GaugeReplyUnfit(f"the columns are {', '.join(table.header[:6])}", _NEED, "check the file", where)
    found: dict[tuple[int, int], DayNormal] = {}
    for row in table.rows:
        if row["site_no"] != number or row["parameter_cd"] != "00060":
            continue
        percentiles = {p: _number(row.get(name, "")) * CFS for name, p in _COLUMNS.items()}
        day = (int(row["month_nu"]), int(row["day_nu"]))
        normal = DayNormal(
            int(row["count_nu"]),
            {p: value for p, value in percentiles.items() if math.isfinite(value)},
            _number(row.get("min_va", "")) * CFS,
            _number(row.get("max_va", "")) * CFS,
        )
        # several series of one station: the one with most years
        if day not in found or normal.years > found[day].years:
            found[day] = normal
    return found


def _from_json(raw: bytes, number: str, where: str) -> dict[tuple[int, int], DayNormal]:
    import orjson

    try:
        reply = orjson.loads(raw)
        pages = reply if isinstance(reply, list) else [reply]
        series = [
            data
            for page in pages
            for feature in page["features"]
            if feature["properties"]["monitoring_location_id"] == f"USGS-{number}"
            for data in feature["properties"]["data"]
            if data["parameter_code"] == "00060" and data.get("parent_statistic_id") in (_DAILY_MEAN, None)
        ]
        raws: dict[tuple[str, int, int], dict[str, Any]] = {}
        for i, data in enumerate(series):
            factor = _UNITS[data["unit_of_measure"]]
            name = str(data.get("parent_time_series_id") or i)
            for value in data["values"]:
                if value.get("time_of_year_type") != "day_of_year":
                    continue
                month, day = value["time_of_year"].split("-")
                entry = raws.setdefault((name, int(month), int(day)), {"years": 0, "p": {}})
                entry["years"] = max(entry["years"], int(value.get("sample_count") or 0))
                if value["computation"] == "percentile":
                    pairs = zip(value["percentiles"], value["values"], strict=True)
                    entry["p"] |= {float(p): _number(q) * factor for p, q in pairs}
                else:
                    entry[value["computation"]] = _number(value["value"]) * factor
    except (orjson.JSONDecodeError, KeyError, TypeError, ValueError, AttributeError) as error:
        raise GaugeReplyUnfit(
            f"the statistics are not in their form ({error})", _NEED, "record them again", where
        ) from error
    found: dict[tuple[int, int], DayNormal] = {}
    for (_, *date), entry in raws.items():
        day = (date[0], date[1])
        if day not in found or entry["years"] > found[day].years:
            found[day] = DayNormal(
                entry["years"],
                {p: q for p, q in sorted(entry["p"].items()) if math.isfinite(q)},
                entry.get("minimum", math.nan),
                entry.get("maximum", math.nan),
            )
    return found


def _number(text: Any) -> float:
    try:
        value = float(text)
    except (TypeError, ValueError):
        return math.nan
    return value if math.isfinite(value) and value != -999999.0 else math.nan
