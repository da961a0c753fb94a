"""How quickly 120 days of 15-minute stage and discharge become a series, beside the agency's own Python client.

Once for the legacy JSON, once for a page of the Water Data API v1 with the properties that `usgs_v1.get` asks for;
there the client's frame is taken before it types its columns, which favours it.

Both read the same bytes in one run, in turns; the client's parser is called on the JSON text as its own code does, with
no network and no HTTP in either.
"""

from __future__ import annotations

import json
import time
import warnings
from collections.abc import Callable, Sized
from datetime import UTC, datetime, timedelta, timezone

from planner.gauges import parse_iv_json

STATION = "01541000"


def made_reply(days: int = 120) -> bytes:
    """A reply in the service's form with stage and discharge every 15 minutes, ending in summer time."""
    zone = timezone(timedelta(hours=-4))
    first = datetime(2018, 6, 1, tzinfo=zone)
    stamps = [(first + timedelta(minutes=15 * i)).isoformat(timespec="milliseconds") for i in range(days * 96)]
    series = []
    for code, unit, middle in (("00060", "ft3/s", 900.0), ("00065", "ft", 6.0)):
        rows = [
            {
                "value": f"{middle * (1.0 + 0.3 * ((i * 7919) % 1000) / 1000.0):.2f}",
                "qualifiers": ["P"] if i % 50 else ["P", "e"],
                "dateTime": stamp,
            }
            for i, stamp in enumerate(stamps)
        ]
        series.append(
            {
                "sourceInfo": {
                    "siteName": "made for the benchmark",
                    "siteCode": [{"value": STATION, "network": "NWIS", "agencyCode": "USGS"}],
                },
                "variable": {
                    "variableCode": [{"value": code}],
                    "unit": {"unitCode": unit},
                    "options": {"option": [{"name": "Statistic", "optionCode": "00000"}]},
                    "noDataValue": -999999.0,
                },
                "values": [{"value": rows, "method": [{"methodDescription": "", "methodID": 1}]}],
                "name": f"USGS:{STATION}:{code}:00000",
            }
        )
    return json.dumps({"value": {"queryInfo": {}, "timeSeries": series}}, separators=(",", ":")).encode()


def made_page(days: int = 120) -> bytes:
    """A page of the collection continuous with stage and discharge every 15 minutes; one in fifty is estimated."""
    first = datetime(2026, 6, 1, tzinfo=UTC)
    features = []
    for code, unit, middle, series in (("00060", "ft^3/s", 900.0, "a" * 32), ("00065", "ft", 6.0, "b" * 32)):
        for i in range(days * 96):
            properties = {
                "time": (first + timedelta(minutes=15 * i)).isoformat(),
                "value": f"{middle * (1.0 + 0.3 * ((i * 7919) % 1000) / 1000.0):.2f}",
                "parameter_code": code,
                "statistic_id": "00011",
                "time_series_id": series,
                "approval_status": "Provisional",
                "qualifier": None if i % 50 else ["ESTIMATED"],
                "unit_of_measure": unit,
                "monitoring_location_id": f"USGS-{STATION}",
            }
            identifier = f"00000000-0000-0000-0000-{i:012d}"
            features.append({"type": "Feature", "properties": properties, "id": identifier, "geometry": None})
    return json.dumps({"type": "FeatureCollection", "features": features}, separators=(",", ":")).encode()


def compare(name: str, raw: bytes, ours: Callable[[bytes], Sized], theirs: Callable[[bytes], Sized]) -> None:
    """Run both in turns and print one line; processor time, so that other programs do not count."""
    spent: tuple[list[float], list[float]] = ([], [])
    for _ in range(15):
        for read, times in zip((ours, theirs), spent, strict=True):
            began = time.process_time()
            rows = len(read(raw))
            times.append(time.process_time() - began)
    a, b = min(spent[0]), min(spent[1])
    print(
        f"gauges, {name}: {len(raw) / 1e6:.1f} MB, {rows} values by the client: {1e3 * a:.1f} ms, "
        f"agency's client {1e3 * b:.1f} ms, ratio {b / a:.1f} [{datetime.now(UTC):%Y-%m-%d}]"
    )


def main() -> None:
    """Print one line for each service with both times and their ratio."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from dataretrieval import nwis

    raw = made_reply()
    ours, theirs = [], []
    for _ in range(15):
        began = time.perf_counter()
        series = parse_iv_json(raw, f"usgs:{STATION}")
        ours.append(time.perf_counter() - began)
        began = time.perf_counter()
        frame = nwis._read_json(json.loads(raw))
        theirs.append(time.perf_counter() - began)
    if len(series) != len(frame):
        raise SystemExit(f"the two parsers disagree: {len(series)} and {len(frame)} rows")
    a, b = min(ours), min(theirs)
    print(
        f"gauges: {len(raw) / 1e6:.1f} MB, {len(series)} rows: {1e3 * a:.1f} ms (best of {len(ours)}), "
        f"agency's client {1e3 * b:.1f} ms, ratio {b / a:.1f} [{datetime.now(UTC):%Y-%m-%d}]"
    )

    from dataretrieval.ogc import shaping

    from planner.gauges import usgs_v1

    compare(
        "v1",
        made_page(),
        lambda text: usgs_v1.parse(text, f"usgs:{STATION}"),
        lambda text: shaping._plain_feature_frame(json.loads(text)["features"], include_geometry=False),
    )


if __name__ == "__main__":
    main()
