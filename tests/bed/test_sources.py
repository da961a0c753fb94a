"""Files of soundings as devices and people write them, and what is judged unfit in them."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pynmeagps import NMEAReader

from planner.bed.sources.columns import parse_lead_line, parse_table
from planner.bed.sources.nmea import checksum, parse_nmea
from planner.bed.sources.shapes import parse_geojson, parse_gpx
from planner.errors import DataUnfit, PlumbrunError
from planner.river.ground import LocalPlane

ZONE = ZoneInfo("America/Chicago")


def sentence(body: str) -> str:
    """A sentence with its checksum."""
    return f"${body}*{checksum(body):02X}"


def rmc(clock: str, lon: float, lat: float, day: str = "250426", status: str = "A") -> str:
    """A position with date."""

    def of(value: float, width: int) -> str:
        whole = int(abs(value))
        return f"{whole:0{width}d}{(abs(value) - whole) * 60:07.4f}"

    north, east = "N" if lat >= 0 else "S", "E" if lon >= 0 else "W"
    return sentence(f"GPRMC,{clock},{status},{of(lat, 2)},{north},{of(lon, 3)},{east},2.0,90.0,{day},,")


def why(batch: object) -> dict[str, int]:
    """Drops by reason."""
    return {drop.reason: drop.count for drop in batch.drops}


def test_columns_are_found_by_their_usual_headings() -> None:
    """Headings with spaces, capitals and a unit in brackets are understood, feet become metres."""
    text = "Longitude,Latitude,Depth (ft),Time,Fish\n-91.0,43.5,10,2026-05-01T10:00:00-05:00,two\n"
    found = parse_table(text, "a.csv")
    assert found.depth_m == pytest.approx([3.048])
    assert found.taken_at[0] == np.datetime64("2026-05-01T15:00:00", "ms")
    assert list(found.extra) == ["Fish"]
    assert found.extra["Fish"][0] == "two"


def test_headings_of_any_name_can_be_mapped() -> None:
    """What no rule guesses is named by the user, unit included."""
    text = "E;N;Sonar1\n-91.0;43.5;2,5\n"
    found = parse_table(text, "a.csv", {"lon": "E", "lat": "N", "depth_ft": "Sonar1"})
    assert found.depth_m == pytest.approx([2.5 * 0.3048])


def test_a_depth_without_a_unit_is_asked_for() -> None:
    """A column called depth is not taken for metres in silence."""
    with pytest.raises(DataUnfit, match="feet or metres"):
        parse_table("lon,lat,depth\n-91,43.5,2\n", "a.csv")


def test_times_without_an_offset_are_read_in_the_zone_and_said() -> None:
    """A bare local time is the river's own, and the reader says so."""
    found = parse_table("lon,lat,depth_m,date,time\n-91,43.5,2,2026-05-01,10:00\n", "a.csv", zone=ZONE)
    assert found.taken_at[0] == np.datetime64("2026-05-01T15:00:00", "ms")
    assert any("America/Chicago" in note for note in found.notes)


def test_rows_that_cannot_be_read_are_counted_with_their_line() -> None:
    """One bad cell costs one row, and the first line of each kind is named."""
    text = "lon,lat,depth_m,taken_at\n-91,43.5,2,\n-91,43.5,deep,\n-91,43.5,,\n-91,43.5,2,yesterday\n1,2\n"
    found = parse_table(text, "a.csv")
    assert len(found) == 1
    assert found.seen == 5
    assert sum(why(found).values()) == 4
    assert {drop.first for drop in found.drops} == {"line 3", "line 4", "line 5", "line 6"}


def test_a_taut_line_is_walked_from_its_first_end() -> None:
    """Ten feet along a line due east is 3.048 m east of its bank; the ends are typed once."""
    plane = LocalPlane(-91.0, 43.5)
    lon, lat = (float(v) for v in plane.to_lonlat(50.0, 0.0))
    text = (
        "from_lon,from_lat,to_lon,to_lat,distance_ft,depth_ft,taken_at,stage_ft\n"
        f"-91.0,43.5,{lon!r},{lat!r},0,0,2026-05-01T10:00-05:00,3.2\n,,,,10,4.5\n,,,,20,6,2026-05-01T10:20-05:00\n"
    )
    found = parse_lead_line(text, "paper.csv")
    x, y = plane.to_xy(found.lon, found.lat)
    assert x == pytest.approx([0, 3.048, 6.096], abs=1e-3)
    assert y == pytest.approx([0, 0, 0], abs=1e-2)
    assert found.depth_m == pytest.approx([0, 4.5 * 0.3048, 6 * 0.3048])
    assert found.stage_m == pytest.approx([3.2 * 0.3048] * 3)
    assert np.diff(found.taken_at).astype("timedelta64[m]").astype(int).tolist() == [0, 20]
    assert set(found.method) == {"lead line"}
    assert set(found.extra["position_sd_m"]) == {"0.5"}


def test_a_taut_line_longer_than_its_ends_allow_is_said() -> None:
    """A tape read past the far bank means that an end or a reading is wrong."""
    text = "from_lon,from_lat,to_lon,to_lat,distance_m,depth_m\n-91,43.5,-90.9995,43.5,60,1\n"
    assert any("60.0 m long" in note for note in parse_lead_line(text, "p.csv").notes)


def test_a_log_pairs_each_depth_with_the_fix_before_it() -> None:
    """Depths take the last position and time, the transducer from DPT's offset, the temperature from MTW."""
    text = "\n".join(
        [
            rmc("150000.00", -90.5, 43.25), sentence("SDDPT,2.4,0.3"), sentence("SDDBT,7.9,f,2.4,M,1.3,F"),
            sentence("YXMTW,14.5,C"), rmc("150001.00", -90.49, 43.25), sentence("SDDPT,2.6,0.3"),
        ]
    )  # fmt: skip
    found = parse_nmea(text, "log.nmea")
    assert found.depth_m == pytest.approx([2.4, 2.6])
    assert found.draft_m == pytest.approx([0.3, 0.3])
    assert found.lon == pytest.approx([-90.5, -90.49], abs=1e-6)
    assert found.lat == pytest.approx([43.25, 43.25], abs=1e-6)
    assert found.taken_at.tolist() == [datetime(2026, 4, 25, 15, 0, i) for i in (0, 1)]
    assert list(found.extra["water_c"]) == ["", "14.5"]
    assert why(found) == {"the same ping told by a second sentence": 1}


def test_a_wrong_checksum_is_not_read() -> None:
    """A flipped digit drops its sentence; the next depth keeps the fix before."""
    bad = sentence("SDDPT,2.4,0.3").replace("2.4", "9.4")
    found = parse_nmea("\n".join([rmc("150000", -90.5, 43.25), bad, sentence("SDDPT,2.5,0.3")]), "log")
    assert found.depth_m == pytest.approx([2.5])
    assert why(found)["a sentence with a wrong checksum"] == 1


def test_without_a_valid_fix_no_depth_is_taken() -> None:
    """A void position takes the fix away, also one that was good before."""
    lines = [rmc("150000", -90.5, 43.25), rmc("150001", -90.5, 43.25, status="V"), sentence("SDDPT,2.4,0.3")]
    found = parse_nmea("\n".join(lines), "log")
    assert len(found) == 0
    assert why(found) == {"no valid position before it": 1}


def test_a_negative_offset_is_not_a_draft() -> None:
    """DPT's negative offset runs to the keel; the surface is then asked for, and a given depth is used."""
    text = "\n".join([rmc("150000", -90.5, 43.25), sentence("SDDPT,2.4,-0.2")])
    found = parse_nmea(text, "log")
    assert found.draft_m == pytest.approx([0.0])
    assert any("--transducer-depth" in note for note in found.notes)
    assert parse_nmea(text, "log", 0.25).draft_m == pytest.approx([0.25])


def test_midnight_is_passed_without_a_new_date() -> None:
    """GGA has no date: after 23:59:59 comes the next day."""
    gga = sentence("GPGGA,000001.00,4315.0000,N,09030.0000,W,1,8,1.0,200,M,-30,M,,")
    text = "\n".join([rmc("235959.00", -90.5, 43.25), sentence("SDDPT,2.4,0.3"), gga, sentence("SDDPT,2.5,0.3")])
    found = parse_nmea(text, "log")
    assert np.diff(found.taken_at).astype("timedelta64[s]").astype(int).tolist() == [2]


def test_feet_and_metres_of_one_sentence_must_agree() -> None:
    """A DBT whose feet and metres tell two depths is not believed."""
    text = "\n".join([rmc("150000", -90.5, 43.25), sentence("SDDBT,2.4,f,2.4,M,1.3,F"), sentence("SDDBT,7.9,f,,M,,F")])
    found = parse_nmea(text, "log")
    assert found.depth_m == pytest.approx([7.9 * 0.3048])
    assert why(found) == {"feet, metres and fathoms of the sentence disagree": 1}


@settings(max_examples=40, deadline=None)
@given(
    lon=st.floats(-179.9, 179.9), lat=st.floats(-89.9, 89.9), depth=st.floats(0.1, 90),
    clock=st.times(min_value=datetime(2020, 1, 1, 0, 0, 1).time()),
)  # fmt: skip
def test_the_log_reader_agrees_with_an_independent_one(lon: float, lat: float, depth: float, clock: object) -> None:
    """Position, moment and depth are those that another library reads from the same sentences."""
    lines = [rmc(f"{clock:%H%M%S}.{clock.microsecond // 10000:02d}", lon, lat), sentence(f"SDDPT,{depth:.2f},0.4")]
    found = parse_nmea("\n".join(lines), "log")
    fix, deep = (NMEAReader.parse(line + "\r\n") for line in lines)
    assert found.lon[0] == pytest.approx(fix.lon, abs=1e-6)
    assert found.lat[0] == pytest.approx(fix.lat, abs=1e-6)
    assert found.depth_m[0] == pytest.approx(deep.depth)
    assert found.draft_m[0] == pytest.approx(deep.offset)
    moment = datetime.combine(fix.date, fix.time)
    assert abs(found.taken_at[0].item() - moment).total_seconds() < 0.02


GPX = """<?xml version="1.0"?>
<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1" xmlns:e="urn:points:1">
<wpt lat="43.25" lon="-90.5"><name>ledge</name><extensions><e:Depth>1.5</e:Depth></extensions></wpt>
<trk><trkseg>
<trkpt lat="43.26" lon="-90.51"><time>2026-05-01T15:00:00Z</time><extensions>
<e:point><e:wtemp>14</e:wtemp><e:depth>2.5</e:depth></e:point></extensions></trkpt>
<trkpt lat="43.26" lon="-90.52"><time>2026-05-01T15:00:01Z</time></trkpt>
</trkseg></trk></gpx>"""


def test_gpx_depths_come_from_the_extensions() -> None:
    """Waypoints and track points with a depth are taken with time, name and temperature; the rest are counted."""
    found = parse_gpx(GPX.encode(), "t.gpx", transducer_m=0.2)
    assert found.depth_m == pytest.approx([1.5, 2.5])
    assert found.draft_m == pytest.approx([0.0, 0.2])
    assert list(found.note) == ["ledge", ""]
    assert np.isnat(found.taken_at[0])
    assert found.taken_at[1] == np.datetime64("2026-05-01T15:00:00", "ms")
    assert list(found.extra["water_c"]) == ["", "14"]
    assert why(found) == {"a point without a depth": 1}


@pytest.mark.parametrize(
    "head",
    [
        '<!DOCTYPE gpx [<!ENTITY a "x">]>',
        '<!DOCTYPE gpx SYSTEM "file:///etc/hostname">',
        '<!DOCTYPE gpx [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>',
    ],
)
@pytest.mark.parametrize("coding", ["utf-8", "utf-16"])
def test_gpx_that_declares_entities_is_refused(head: str, coding: str) -> None:
    """A document type is refused in any encoding before anything of it is expanded."""
    text = GPX.replace('<?xml version="1.0"?>', f'<?xml version="1.0" encoding="{coding}"?>{head}')
    with pytest.raises(DataUnfit, match="document type or an entity"):
        parse_gpx(text.encode(coding), "t.gpx")


def test_broken_xml_names_its_line() -> None:
    """A file cut short says where it ends."""
    with pytest.raises(DataUnfit, match="line"):
        parse_gpx(GPX[:400].encode(), "t.gpx")


def test_geojson_points_are_read_with_their_unit() -> None:
    """Depth in feet or metres by name; what is no sounding is counted."""

    def point(lon: float, **properties: object) -> dict:
        return {"type": "Feature", "geometry": {"type": "Point", "coordinates": [lon, 43.5]}, "properties": properties}

    features = [
        point(-91, depth_ft=10, taken_at="2026-05-01T10:00:00-05:00", bottom="gravel"), point(-91.1, depth_m=2),
        point(-91.2), {"type": "Feature", "geometry": None, "properties": {}}, point(-91, depth_m=2, time="noon"),
    ]  # fmt: skip
    found = parse_geojson(json.dumps({"type": "FeatureCollection", "features": features}).encode(), "p.geojson")
    assert found.depth_m == pytest.approx([3.048, 2.0])
    assert list(found.extra["bottom"]) == ["gravel", ""]
    assert sum(why(found).values()) == 3


READERS = [
    lambda raw: parse_table(raw.decode("utf-8", "replace"), "x", unit=1.0, zone=ZONE),
    lambda raw: parse_lead_line(raw.decode("utf-8", "replace"), "x", unit=1.0, zone=ZONE),
    lambda raw: parse_nmea(raw.decode("utf-8", "replace"), "x"),
    lambda raw: parse_gpx(raw, "x"),
    lambda raw: parse_geojson(raw, "x"),
]
SEEDS = [
    b"lon,lat,depth_m,time\n-91,43.5,2,2026-05-01T10:00Z\n",
    b"from_lon,from_lat,to_lon,to_lat,distance_m,depth_m\n-91,43.5,-90.99,43.5,4,1\n,,,,5,2\n",
    ("\n".join([rmc("150000", -90.5, 43.25), sentence("SDDPT,2.4,0.3"), sentence("SDDBT,7.9,f,2.4,M,1.3,F")])).encode(),
    GPX.encode(),
    b'{"features":[{"type":"Feature","geometry":{"type":"Point","coordinates":[1,2]},"properties":{"depth_m":1}}]}',
]


@pytest.mark.parametrize("reader", range(5))
@settings(max_examples=120, deadline=None)
@given(data=st.data())
def test_spoiled_files_end_in_a_message_or_in_finite_soundings(reader: int, data: st.DataObject) -> None:
    """Whatever bytes are changed, cut or added, a reader gives finite soundings or an error meant for the user."""
    raw = bytearray(SEEDS[reader])
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(raw)))
        raw[at : at + data.draw(st.integers(0, 4))] = data.draw(st.binary(max_size=6))
    try:
        found = READERS[reader](bytes(raw))
    except PlumbrunError:
        return
    assert np.isfinite(found.depth_m).all()
    assert np.isfinite(found.lon).all()
    assert np.isfinite(found.lat).all()
    assert np.isfinite(found.draft_m).all()


def test_each_depth_of_a_long_log_has_its_own_second() -> None:
    """Eight minutes of a log give one sounding a second, the last with the last fix and time."""
    lines = []
    for i in range(500):
        lines += [
            rmc(f"15{i // 60:02d}{i % 60:02d}.00", -90.5 + i * 1e-5, 43.25),
            sentence(f"SDDPT,{2 + i % 5 / 10},0.3"),
        ]
    found = parse_nmea("\n".join(lines), "log")
    assert len(found) == 500
    assert math.isclose(float(np.ptp(found.lon)), 499e-5, rel_tol=1e-3)
    assert found.taken_at[-1].item().replace(tzinfo=UTC) == datetime(2026, 4, 25, 15, 8, 19, tzinfo=UTC)


def test_a_folder_is_no_place_for_a_log(tmp_path: Path) -> None:
    """A name that is no file ends in a message."""
    from planner.bed.sources import read_soundings

    with pytest.raises(DataUnfit, match="cannot be read"):
        read_soundings(tmp_path / "none.csv")
    (tmp_path / "photo.csv").write_bytes(b"\x89PNG\x00\x00")
    with pytest.raises(DataUnfit, match="not text"):
        read_soundings(tmp_path / "photo.csv")
