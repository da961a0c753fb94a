"""Recorded replies by name, and small made ones in the same form."""

from __future__ import annotations

import json
from pathlib import Path

DATA = Path(__file__).parents[2] / "data" / "gauges"
ICE = DATA / "usgs_iv_01542500_2019-01_ice_missing.json"
BOWER = DATA / "usgs_iv_01541000_01570500_2018-06_mixed_interval_empty_series.json"
SPRING = DATA / "usgs_iv_01541000_2018-03_dst_start.json"
AUTUMN = DATA / "usgs_iv_01541000_2018-11_dst_end.json"
NOTHING = DATA / "usgs_iv_no_series.json"
TWO_SENSORS = DATA / "usgs_iv_444306122144600_2020-04_two_methods.json"
PEARL = DATA / "usgs_iv_02489500_02492000_2019-02_stage_and_navd88.json"
EXCERPT = DATA / "usgs_iv_01491000_01645000_2019-02_excerpt.json"
DAILY = DATA / "usgs_dv_03107698_2017-04_discontinued_duplicate_date.json"
RECORDED = (ICE, BOWER, SPRING, AUTUMN, TWO_SENSORS, PEARL, EXCERPT)


def row(time: str, value: str, *qualifiers: str) -> dict:
    """One value in the service's form."""
    return {"value": value, "qualifiers": list(qualifiers or ("P",)), "dateTime": time}


def entry(code: str, unit: str, *blocks: list[dict], site: str = "01541000", no_data: float = -999999.0) -> dict:
    """One time series; each block is one sensor, its method ids count from 1."""
    return {
        "sourceInfo": {"siteName": "made", "siteCode": [{"value": site, "network": "NWIS", "agencyCode": "USGS"}]},
        "variable": {"variableCode": [{"value": code}], "unit": {"unitCode": unit}, "noDataValue": no_data},
        "values": [
            {"value": block, "method": [{"methodID": i, "methodDescription": ""}]} for i, block in enumerate(blocks, 1)
        ],
    }


def reply(*entries: dict) -> bytes:
    """A whole reply."""
    return json.dumps({"name": "made", "value": {"queryInfo": {}, "timeSeries": list(entries)}}).encode()


def hourly_reply(values: list[str], code: str = "00065", unit: str = "ft", day: str = "2026-06-12") -> bytes:
    """A reply of one parameter, hourly from midnight of a day, UTC."""
    return reply(entry(code, unit, [row(f"{day}T{i:02d}:00:00.000+00:00", v) for i, v in enumerate(values)]))
