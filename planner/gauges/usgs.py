"""Gauges of the US Geological Survey, ``usgs:``, by whichever of its services answers.

Order of preference: the Water Data API v1 first, because the agency keeps it; the legacy instantaneous values (JSON)
when that does not answer or holds nothing of the station, for as long as it lives (the agency has announced 2027).
``PLUMBRUN_USGS`` may name another order, such as ``iv`` or ``iv,v1``. Recorded replies of either service, of the older
WaterML 1.1 and of WaterML 2.0 are told apart by their content.
"""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.errors import GaugeReplyUnfit, SourceUnreachable, StationUnknown, UsageMistake
from planner.gauges import usgs_iv, usgs_v1, v1_pages, waterml1, waterml2
from planner.gauges.near import Nearby, box_around, place_of, time_of
from planner.gauges.series import Series
from planner.gauges.usgs_text import site_number

if TYPE_CHECKING:
    import requests

__all__ = ["ORDER", "SERVICE", "get", "get_stations", "parse", "read", "stations_in"]

SERVICE = "US Geological Survey"
ORDER = ("v1", "iv")
_MODULES = {"v1": usgs_v1, "iv": usgs_iv}
_MEASURES = {"00060": "flow", "00065": "level", "00010": "water temperature", "63680": "turbidity"}


def get(
    station: str, start: datetime, end: datetime, session: requests.Session | None = None, folder: Path | None = None
) -> bytes:
    """Ask the services in their order; the first reply that parses for this station is given back.

    Raises
    ------
    SourceUnreachable
        When none answers; each is named.
    StationUnknown
        When those that answer know no such station or hold nothing of it.
    """
    site_number(station)
    errors: list[SourceUnreachable | GaugeReplyUnfit] = []
    for name in _order():
        module = _MODULES[name]
        try:
            raw = module.get(station, start, end, session, folder)
            if not _plausible(raw):
                module.parse(raw, station)
            return raw
        except (SourceUnreachable, GaugeReplyUnfit) as error:
            errors.append(error)
    first = errors[0]
    given = "; ".join(dict.fromkeys(error.given for error in errors))
    if all(isinstance(error, StationUnknown) or _is_empty(error) for error in errors):
        if any(isinstance(error, StationUnknown) for error in errors):
            raise StationUnknown(given, first.need, "check the station, or give the level with --level")
        raise GaugeReplyUnfit(given, first.need, first.next_step, where=first.where)
    if any(isinstance(error, SourceUnreachable) for error in errors):
        last = next(error for error in errors if isinstance(error, SourceUnreachable))
        raise SourceUnreachable(given, last.need, last.next_step, where=last.where)
    raise GaugeReplyUnfit(given, first.need, first.next_step, where=first.where)


def read(path: Path) -> bytes:
    """A recorded reply."""
    return usgs_iv.read(path)


def parse(raw: bytes, station: str, where: str = "", retrieved_at: datetime | None = None) -> Series:
    """A reply of any of the agency's services as a `Series`, told apart by content.

    Raises
    ------
    GaugeReplyUnfit
        When it is none of them, or holds no value of the station.
    """
    start = bytes(raw[:3000]).lstrip(b"\xef\xbb\xbf \r\n\t")
    if start.startswith(b"<"):
        if b"waterml/2" in start:
            return waterml2.parse(raw, station, where, retrieved_at)
        if b"timeSeriesResponse" in start:
            return waterml1.parse(raw, station, where, retrieved_at)
    elif start.startswith((b"#", b"agency_cd")):
        raise GaugeReplyUnfit(
            "the reply is a table of statistics, ratings or measurements",
            "readings of the station",
            "give a reply of the instantaneous or continuous values as well",
            where=where,
        )
    elif b'"FeatureCollection"' in start or b'"features"' in start or start.startswith(b"["):
        return usgs_v1.parse(raw, station, where, retrieved_at)
    return usgs_iv.parse(raw, station, where, retrieved_at)


def _plausible(raw: bytes) -> bool:
    """Whether a long reply is whole and holds values by its look; a short one is parsed to know."""
    return len(raw) > 100_000 and raw.rstrip().endswith((b"]", b"}")) and b'"value"' in raw


def _order() -> tuple[str, ...]:
    given = tuple(part.strip() for part in os.environ.get("PLUMBRUN_USGS", ",".join(ORDER)).split(",") if part.strip())
    if not given or any(part not in _MODULES for part in given):
        raise UsageMistake(
            f"PLUMBRUN_USGS is {','.join(given)!r}", "v1 and iv in the order to ask them", "correct or unset it"
        )
    return given


def _is_empty(error: Exception) -> bool:
    return isinstance(error, GaugeReplyUnfit) and "holds" in error.given


def get_stations(lat: float, lon: float, within_km: float, session: requests.Session | None = None) -> list[bytes]:
    """Ask for the continuous records of streams around a point, one row for each."""
    box = box_around(lat, lon, within_km)
    query = {"bbox": box, "site_type_code": "ST", "data_type": "Continuous values", "limit": "10000"}
    return v1_pages.items("combined-metadata", query, session, "station list of usgs")


def stations_in(reply: Any) -> list[Nearby]:
    """Stations of a page, each as often as it has records; see `planner.gauges.near.parse_stations`."""
    out = []
    for feature in reply["features"]:
        row = feature["properties"]
        number = str(row["monitoring_location_id"] if "monitoring_location_id" in row else feature["id"])
        continuous = row.get("data_type", "Continuous values") == "Continuous values"
        word = _MEASURES.get(str(row.get("parameter_code", "")))
        measures = (word,) if word and continuous else ()
        latest = time_of(row.get("end")) if measures else None
        name = str(row.get("monitoring_location_name") or "")
        out.append(Nearby(f"usgs:{number.removeprefix('USGS-')}", name, *place_of(feature), measures, latest))
    return out
