"""What field crews measured at a gauge: width, area, velocity, stage and discharge.

Reads ``channel-measurements`` and ``field-measurements`` of the USGS Water Data API v1 and the older RDB
tables. A measurement is of the section where the crew stood, not of the place where an angler stands.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from planner.errors import GaugeReplyUnfit
from planner.gauges.rdb import read_table
from planner.gauges.usgs_text import site_number
from planner.gauges.v1_pages import features
from planner.units import CFS, FOOT

__all__ = ["Measurement", "parse_measurements"]

_LENGTH = {"ft": FOOT, "m": 1.0}
_AREA = {"ft^2": FOOT**2, "m^2": 1.0}
_SPEED = {"ft/s": FOOT, "m/s": 1.0}
_FLOW = {"ft^3/s": CFS, "m^3/s": 1.0}
_NEED = "measurements of the US Geological Survey (channel- or field-measurements JSON, or RDB)"


@dataclass(frozen=True)
class Measurement:
    """One measurement; NaN where nothing was noted.

    Parameters
    ----------
    time : str
        ISO 8601 as the agency gives it; a date alone when it gives no time.
    stage_m, discharge_m3s, width_m, area_m2, velocity_m_s : float
        [m], [m³/s], [m], [m²], [m/s].
    rated : str
        The crew's own rating, such as ``Good``.
    kind : str
        How it was made, such as ``Wading``.
    """

    time: str
    stage_m: float = math.nan
    discharge_m3s: float = math.nan
    width_m: float = math.nan
    area_m2: float = math.nan
    velocity_m_s: float = math.nan
    rated: str = ""
    kind: str = ""

    def mean_depth_m(self) -> float:
        """Area over width [m]."""
        return self.area_m2 / self.width_m if self.width_m > 0 else math.nan


def parse_measurements(raw: bytes, station: str, where: str = "") -> tuple[Measurement, ...]:
    """Measurements in the order of time.

    Discharge and stage of one field visit, which ``field-measurements`` gives as two features, become one record.

    Raises
    ------
    GaugeReplyUnfit
        When the text is none of these forms, or holds none of the station.
    """
    number = site_number(station)
    where = where or "measurements"
    if bytes(raw[:50]).lstrip().startswith((b"{", b"[")):
        found = _from_json(raw, number, where)
    else:
        found = [_from_rdb(row) for row in read_table(raw, where).rows if row.get("site_no") == number]
    if not found:
        raise GaugeReplyUnfit(f"the reply holds no measurement of station {number}", _NEED, "check the station", where)
    return tuple(sorted(found, key=lambda one: one.time))


def _from_json(raw: bytes, number: str, where: str) -> list[Measurement]:
    rows = [row for row in features(raw, where)[0] if row.get("monitoring_location_id") == f"USGS-{number}"]
    found: dict[str, Measurement] = {}
    for i, row in enumerate(rows):
        visit = str(row.get("field_visit_id") or i)
        if "channel_flow" in row:
            found[f"{visit}/{row.get('channel_name')}/{row.get('id')}"] = Measurement(
                time=str(row.get("time")),
                discharge_m3s=_scaled(row["channel_flow"], row.get("channel_flow_unit"), _FLOW),
                width_m=_scaled(row.get("channel_width"), row.get("channel_width_unit"), _LENGTH),
                area_m2=_scaled(row.get("channel_area"), row.get("channel_area_unit"), _AREA),
                velocity_m_s=_scaled(row.get("channel_velocity"), row.get("channel_velocity_unit"), _SPEED),
                kind=str(row.get("measurement_type") or ""),
            )
            continue
        time = "T".join(filter(None, (str(row.get("time") or ""), str(row.get("time_of_day") or ""))))
        one = found.get(visit, Measurement(time=time))
        if row.get("parameter_code") == "00060":
            flow = _scaled(row.get("value"), row.get("unit_of_measure"), _FLOW)
            one = replace(one, discharge_m3s=flow, rated=str(row.get("measurement_rated") or ""))
        elif row.get("parameter_code") == "00065":
            one = replace(one, stage_m=_scaled(row.get("value"), row.get("unit_of_measure"), _LENGTH))
        found[visit] = one
    return list(found.values())


def _from_rdb(row: dict[str, str]) -> Measurement:
    return Measurement(
        time=row.get("measurement_dt", ""),
        stage_m=_number(row.get("gage_height_va")) * FOOT,
        discharge_m3s=_number(row.get("discharge_va")) * CFS,
        width_m=_number(row.get("chan_width")) * FOOT,
        area_m2=_number(row.get("chan_area")) * FOOT**2,
        velocity_m_s=_number(row.get("chan_velocity")) * FOOT,
        rated=row.get("measured_rating_diff", ""),
        kind=row.get("meas_type", ""),
    )


def _scaled(value: Any, unit: Any, units: dict[str, float]) -> float:
    return _number(value) * units.get(str(unit), math.nan)


def _number(text: Any) -> float:
    try:
        value = float(text)
    except (TypeError, ValueError):
        return math.nan
    return value if math.isfinite(value) and value != -999999.0 else math.nan
