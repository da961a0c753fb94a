"""Every reader of bytes that come from outside, by name, and sound samples to begin from."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from functools import cache, partial
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from planner.bed.sources.columns import parse_lead_line, parse_table
from planner.bed.sources.intake import parse_soundings_file
from planner.bed.sources.nmea import parse_nmea
from planner.bed.sources.shapes import parse_geojson, parse_gpx
from planner.gauges import (
    canada,
    england,
    file,
    france,
    measurements,
    near,
    noaa,
    ratings,
    statistics,
    usgs,
    usgs_v1,
    waterml1,
    waterml2,
)
from planner.river.reader import FILES, parse_river
from planner.river.values import Notebook
from planner.weather import canada as canada_weather
from planner.weather import england as flood_alerts
from planner.weather import us_nws

__all__ = ["CORPUS", "READERS", "ROOT", "kept", "samples"]

ROOT = Path(__file__).parents[2]
CORPUS = Path(__file__).parent / "corpus"
DATA = ROOT / "data" / "gauges"
DEMO = ROOT / "examples" / "demo"
AT = datetime(2026, 6, 12, 23, 0, tzinfo=UTC)
ZONE = ZoneInfo("America/Chicago")


def _river(name: str) -> Callable[[bytes], Any]:
    """The river folder of the demo with one file replaced; findings, never an exception."""

    def read(raw: bytes) -> Any:
        texts = dict(_demo())
        try:
            texts[name] = raw.decode("utf-8")
        except UnicodeDecodeError:
            return None  # told by get_texts, which tests/river/test_fuzz.py covers
        return parse_river(texts, DEMO, Notebook())

    return read


@cache
def _demo() -> dict[str, str]:
    texts = {name: (DEMO / name).read_text(encoding="utf-8") for name in FILES}
    texts["soundings.csv"] = "\n".join(texts["soundings.csv"].splitlines()[:6]) + "\n"
    return texts


def _text(read: Callable[..., Any], **options: Any) -> Callable[[bytes], Any]:
    return lambda raw: read(raw.decode("utf-8", errors="replace"), "given", **options)


def _series(module: Any, station: str) -> Callable[[bytes], Any]:
    return partial(_parsed, module, station)


def _parsed(module: Any, station: str, raw: bytes) -> Any:
    return module.parse(raw, station, retrieved_at=AT)


READERS: dict[str, Callable[[bytes], Any]] = {
    **{f"folder_{name.replace('.', '_')}": _river(name) for name in FILES},
    "soundings_table": _text(parse_table, unit=1.0, zone=ZONE),
    "soundings_lead_line": _text(parse_lead_line, unit=1.0, zone=ZONE),
    "soundings_nmea": _text(parse_nmea),
    "soundings_of_any_kind": lambda raw: parse_soundings_file(raw, "given.csv", unit=1.0, zone=ZONE, transducer_m=0.2),
    "soundings_gpx": lambda raw: parse_gpx(raw, "given", 1.0),
    "soundings_geojson": lambda raw: parse_geojson(raw, "given", 1.0),
    "gauge_usgs": _series(usgs, "usgs:01541000"),
    "gauge_usgs_v1": _series(usgs_v1, "usgs:12210700"),
    "gauge_waterml1": _series(waterml1, "usgs:01117800"),
    "gauge_waterml2": _series(waterml2, "file:a.xml"),
    "gauge_noaa": _series(noaa, "noaa:NRKW1"),
    "gauge_noaa_forecast": lambda raw: noaa.parse_forecast(raw, "noaa:NRKW1"),
    "gauge_noaa_categories": noaa.parse_categories,
    "gauge_canada": _series(canada, "canada:08MF005"),
    "gauge_england": _series(england, "england:690140"),
    "gauge_france": _series(france, "france:B720000001"),
    "gauge_file": _series(file, "file:gauge.csv"),
    "gauge_rating": lambda raw: ratings.parse(raw, "usgs:01541303"),
    "gauge_statistics": lambda raw: statistics.parse(raw, "usgs:01491000"),
    "gauge_statistics_v0": lambda raw: statistics.parse(raw, "usgs:12451000"),
    "gauge_measurements": lambda raw: measurements.parse_measurements(raw, "usgs:01541200"),
    "gauges_near_usgs": lambda raw: near.parse_stations(raw, "usgs"),
    "gauges_near_england": lambda raw: near.parse_stations(raw, "england"),
    "gauges_near_france": lambda raw: near.parse_stations(raw, "france"),
    "gauges_near_canada": lambda raw: near.parse_stations(raw, "canada"),
    "gauges_near_noaa": lambda raw: near.parse_stations(raw, "noaa"),
    "weather_point": us_nws.parse_point,
    "weather_grid": us_nws.parse_grid,
    "weather_alerts": us_nws.parse_alerts,
    "weather_canada_towns": lambda raw: canada_weather.parse_towns(raw, -78.0, 44.0),
    "weather_canada_alerts": canada_weather.parse_alerts,
    "weather_flood_alerts": flood_alerts.parse_alerts,
}

_SAMPLES: dict[str, tuple[str, ...]] = {
    "gauge_usgs": ("usgs_iv_*.json", "usgs_iv_*.xml", "usgs_ogc_v1_continuous*.json", "usgs_dv_waterml20*.xml"),
    "gauge_usgs_v1": ("usgs_ogc_v1_*.json",),
    "gauge_waterml1": ("usgs_iv_waterml11*.xml",),
    "gauge_waterml2": ("usgs_dv_waterml20*.xml",),
    "gauge_noaa": ("nwps_*.json",),
    "gauge_noaa_forecast": ("nwps_*.json",),
    "gauge_noaa_categories": ("nwps_*.json",),
    "gauge_canada": ("ca_*",),
    "gauge_england": ("ea_*.json",),
    "gauge_france": ("hubeau_*.json",),
    "gauge_rating": ("usgs_*rating*",),
    "gauge_statistics": ("usgs_daily_stats*",),
    "gauge_statistics_v0": ("usgs_statistics*",),
    "gauge_measurements": ("usgs_measurements*", "usgs_ogc_v1_field*", "usgs_ogc_v1_channel*"),
    "gauges_near_usgs": ("usgs_ogc_v1_monitoring*", "usgs_ogc_v1_*metadata*"),
    "gauges_near_england": ("ea_station*.json",),
    "gauges_near_france": ("hubeau_v2_stations*",),
    "gauges_near_canada": ("ca_geomet*",),
    "gauges_near_noaa": ("nwps_gauge*",),
}
_WRITTEN: dict[str, bytes] = {
    "soundings_table": b"lon,lat,depth_ft,taken_at,stage_ft\n-90.8,43.2,4.5,2026-05-30T08:40-05:00,3.1\n",
    "soundings_lead_line": b"from_lon,from_lat,to_lon,to_lat,distance_m,depth_m,taken_at\n"
    b"-90.8,43.2,-90.801,43.2,3.0,1.2,2026-05-30T08:40-05:00\n",
    "soundings_nmea": b"$GPRMC,123519,A,4312.000,N,09048.000,W,000.5,054.7,300526,,*1C\r\n$SDDPT,2.4,0.3*5B\r\n"
    b"$GPGGA,123520,4312.001,N,09048.001,W,1,08,0.9,200,M,-33,M,,*47\r\n$SDDBT,7.8,f,2.4,M,1.3,F*0D\r\n",
    "soundings_gpx": b'<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
    b'<trk><trkseg><trkpt lat="43.2" lon="-90.8"><time>2026-05-30T13:40:00Z</time><extensions><depth>1.4</depth>'
    b"</extensions></trkpt></trkseg></trk></gpx>",
    "soundings_geojson": b'{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"Point",'
    b'"coordinates":[-90.8,43.2]},"properties":{"depth_m":1.4,"taken_at":"2026-05-30T13:40:00Z"}}]}',
    "soundings_of_any_kind": b"\xef\xbb\xbf# made by hand\nlon,lat,depth,taken_at\n-90.8,43.2,4.5,2026-05-30 08:40\n",
    "gauge_file": b"time,stage_ft,discharge_cfs\n2026-06-12T17:00-05:00,3.2,850\n2026-06-12T17:15-05:00,3.2,851\n",
    "weather_point": b'{"properties":{"forecastGridData":"https://api.weather.gov/gridpoints/ARX/60,40"}}',
    "weather_grid": b'{"properties":{"updateTime":"2026-06-12T22:00:00+00:00","temperature":{"uom":"wmoUnit:degC",'
    b'"values":[{"validTime":"2026-06-12T22:00:00+00:00/PT3H","value":21.1}]},"probabilityOfThunder":{"values":'
    b'[{"validTime":"2026-06-12T22:00:00+00:00/PT6H","value":15}]},"windSpeed":{"uom":"wmoUnit:km_h-1","values":[]}}}',
    "weather_alerts": b'{"type":"FeatureCollection","features":[{"id":"a","type":"Feature","properties":{"event":'
    b'"Flood Watch","severity":"Severe","onset":"2026-06-12T22:00:00+00:00","ends":"2026-06-13T22:00:00+00:00",'
    b'"headline":"x","senderName":"y","description":"z"}}]}',
    "weather_canada_towns": b'{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"Point",'
    b'"coordinates":[-78.0,44.0]},"properties":{"name":{"en":"x"},"lastUpdated":"2026-06-12T20:00:00Z",'
    b'"hourlyForecastGroup":{"hourlyForecasts":[]}}}]}',
    "weather_canada_alerts": b'{"type":"FeatureCollection","features":[{"type":"Feature","geometry":null,"properties":'
    b'{"alert_name_en":"rainfall warning","expiration_datetime":"2026-06-13T20:00:00Z"}}]}',
    "weather_flood_alerts": b'{"items":[{"severityLevel":2,"severity":"Flood warning","description":"x",'
    b'"timeMessageChanged":"2026-06-12T20:00:00","floodArea":{"riverOrSea":"y"}}]}',
}
_LARGEST = 60_000


def samples(name: str) -> list[bytes]:
    """Sound inputs of a reader, the small ones among the recorded replies."""
    if name.startswith("folder_"):
        file = next(file for file in FILES if name == f"folder_{file.replace('.', '_')}")
        return [_demo()[file].encode("utf-8")]
    found = [_WRITTEN[name]] if name in _WRITTEN else []
    for pattern in _SAMPLES.get(name, ()):
        found += [_short(p) for p in sorted(DATA.glob(pattern)) if p.suffix == ".rdb" or p.stat().st_size <= _LARGEST]
    return found


def _short(path: Path) -> bytes:
    """A file, or the first lines of a long table."""
    raw = path.read_bytes()
    return raw if len(raw) <= _LARGEST else b"".join(raw.splitlines(keepends=True)[:120])


def kept(name: str) -> list[Path]:
    """Inputs that once broke a reader, or that led a fuzzer to new code."""
    folder = CORPUS / name
    return sorted(path for path in folder.iterdir() if path.is_file()) if folder.is_dir() else []
