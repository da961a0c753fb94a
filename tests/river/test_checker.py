"""Each way to spoil a river folder is found, named where it is, and comes with what to do."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from planner.errors import RiverFolderUnfit
from planner.river import check_river, read_river
from planner.river.records import Finding
from planner.river.settings import gauge_problem
from tests.river import small

Content = dict[str, Any]


def _text(name: str, old: str, new: str) -> Callable[[Content], None]:
    def spoil(content: Content) -> None:
        assert old in content[name]
        content[name] = content[name].replace(old, new, 1)

    return spoil


def _append(name: str, text: str) -> Callable[[Content], None]:
    return lambda content: content.update({name: content[name] + text})


def _set(name: str, number: int, **members: Any) -> Callable[[Content], None]:
    return lambda content: content[name][number]["properties"].update(members)


def _draw(name: str, number: int, shape: str, coordinates: Any) -> Callable[[Content], None]:
    return lambda content: content[name][number].update({"geometry": {"type": shape, "coordinates": coordinates}})


def _whole(name: str, value: Any) -> Callable[[Content], None]:
    return lambda content: content.update({name: value})


def _row(text: str, east: float = 0.0) -> Callable[[Content], None]:
    lon, lat = small.at(east, 0)
    return _append("soundings.csv", text.format(lon=lon, lat=lat) + "\n")


def _turn(value: Any) -> Any:
    """Coordinates with lon and lat swapped."""
    if isinstance(value, list) and value and isinstance(value[0], float):
        return [value[1], value[0]]
    return [_turn(part) for part in value]


def _swap(name: str) -> Callable[[Content], None]:
    def spoil(content: Content) -> None:
        for item in content[name]:
            item["geometry"]["coordinates"] = _turn(item["geometry"]["coordinates"])

    return spoil


BOW = [[small.at(0, -25), small.at(80, 25), small.at(80, -25), small.at(0, 25), small.at(0, -25)]]
METRES = [[[500_000.0, 4_800_000.0], [500_100.0, 4_800_000.0], [500_100.0, 4_800_050.0], [500_000.0, 4_800_000.0]]]

# what is spoilt -> (how, level, file, where it is said to be, what is said to be given)
SPOILS: dict[str, tuple[Callable[[Content], None], str, str, str, str]] = {
    "self-crossing ring": (_draw("runs.geojson", 0, "Polygon", BOW), "error", "runs.geojson", "(long)", "Self-inter"),
    "open ring": (
        lambda c: c["runs.geojson"][0]["geometry"]["coordinates"][0].pop(),
        "error",
        "runs.geojson",
        "feature 1 (long)",
        "ring 1 is open",
    ),
    "two-point ring": (
        _draw("runs.geojson", 0, "Polygon", [[small.at(0, 0), small.at(5, 0), small.at(0, 0)]]),
        "error",
        "runs.geojson",
        "(long)",
        "3 positions",
    ),
    "crossing runs": (
        _draw("runs.geojson", 1, "Polygon", small.box(60, -25, 300, 25)),
        "error",
        "runs.geojson",
        "long and short",
        "m² lie in both",
    ),
    "MultiPolygon": (
        _draw("runs.geojson", 0, "MultiPolygon", [small.box(0, 0, 50, 20)]),
        "error",
        "runs.geojson",
        "(long)",
        "geometry type 'MultiPolygon'",
    ),
    "landing outside its run": (
        _draw("spots.geojson", 0, "LineString", [small.at(-50, 32), small.at(-45, 47)]),
        "error",
        "spots.geojson",
        "spot a",
        "the landing lies 22 m outside run long",
    ),
    "wading stance outside its run": (
        _draw("spots.geojson", 0, "LineString", [small.at(-50, -32), small.at(-45, -20)]),
        "warning",
        "spots.geojson",
        "spot a",
        "the stance lies 7 m outside run long",
    ),
    "spot of an unknown run": (_set("spots.geojson", 0, run="wide"), "error", "spots.geojson", "spot a", "run 'wide'"),
    "three-point spot": (
        _draw("spots.geojson", 0, "LineString", [small.at(-50, 0), small.at(-45, 5), small.at(-40, 9)]),
        "error",
        "spots.geojson",
        "feature 1 (a)",
        "3 points",
    ),
    "spot as a point": (
        _draw("spots.geojson", 0, "Point", small.at(0, 0)),
        "error",
        "spots.geojson",
        "(a)",
        "geometry type 'Point'",
    ),
    "cast of no length": (
        _draw("spots.geojson", 0, "LineString", [small.at(0, 0), small.at(0, 0)]),
        "error",
        "spots.geojson",
        "(a)",
        "all coincide",
    ),
    "unknown stance": (
        _set("spots.geojson", 0, stance="swimming"),
        "error",
        "spots.geojson",
        "(a)",
        "stance = 'swimming'",
    ),
    "boat speed of a wader": (
        _set("spots.geojson", 0, boat_speed_ratio=0.8),
        "warning",
        "spots.geojson",
        "(a)",
        "with stance wading",
    ),
    "long cast": (
        _draw("spots.geojson", 0, "LineString", [small.at(-50, -10), small.at(-20, 10)]),
        "warning",
        "spots.geojson",
        "spot a",
        "the cast's length = 36",
    ),
    "doubled run id": (_set("runs.geojson", 1, id="long"), "error", "runs.geojson", "feature 2 (long)", "feature 1"),
    "doubled spot id": (_set("spots.geojson", 1, id="a"), "error", "spots.geojson", "feature 2 (a)", "was taken"),
    "missing id": (_set("runs.geojson", 0, id=None), "error", "runs.geojson", "feature 1", "id = None"),
    "projected coordinates": (
        _draw("runs.geojson", 0, "Polygon", METRES),
        "error",
        "runs.geojson",
        "(long)",
        "most likely projected metres",
    ),
    "latitude beyond 90": (_swap("runs.geojson"), "error", "runs.geojson", "(long)", "most likely swapped"),
    "swapped sounding": (
        _append("soundings.csv", "43.5,-91.0,1.2,2026-05-09T10:00-05:00,rod,\n"),
        "error",
        "soundings.csv",
        "line 15",
        "most likely swapped",
    ),
    "feet taken for metres": (
        _row("{lon},{lat},40,2026-05-09T10:00-05:00,rod,"),
        "error",
        "soundings.csv",
        "line 15",
        "depth = 40 m",
    ),
    "deep but possible": (
        _row("{lon},{lat},14,2026-05-09T10:00-05:00,rod,"),
        "warning",
        "soundings.csv",
        "line 15",
        "depth = 14 m is unusual",
    ),
    "negative depth": (
        _row("{lon},{lat},-1.2,2026-05-09T10:00-05:00,rod,"),
        "error",
        "soundings.csv",
        "line 15",
        "is negative",
    ),
    "depth that is no number": (
        _row("{lon},{lat},deep,2026-05-09T10:00-05:00,rod,"),
        "error",
        "soundings.csv",
        "line 15",
        "depth_m = 'deep'",
    ),
    "grouped digits": (
        _row("{lon},{lat},1_2,2026-05-09T10:00-05:00,rod,"),
        "error",
        "soundings.csv",
        "line 15",
        "depth_m = '1_2'",
    ),
    "infinite depth": (
        _row("{lon},{lat},inf,2026-05-09T10:00-05:00,rod,"),
        "error",
        "soundings.csv",
        "line 15",
        "depth_m = 'inf'",
    ),
    "too few fields": (_row("{lon},{lat},1.2"), "error", "soundings.csv", "line 15", "3 fields under 6 columns"),
    "undated sounding without stage": (
        _row("{lon},{lat},1.2,,rod,"),
        "warning",
        "soundings.csv",
        "lines 15",
        "1 of 14 soundings",
    ),
    "time without offset": (
        _row("{lon},{lat},1.2,2026-05-09T10:00,rod,"),
        "error",
        "soundings.csv",
        "line 15",
        "taken_at = '2026-05-09T10:00'",
    ),
    "sounding twice": (
        lambda c: c.update({"soundings.csv": c["soundings.csv"] + c["soundings.csv"].splitlines()[1] + "\n"}),
        "warning",
        "soundings.csv",
        "",
        "1 soundings stand twice",
    ),
    "sounding far off": (
        _row("{lon},{lat},1.2,2026-05-09T10:00-05:00,rod,", east=2000),
        "warning",
        "soundings.csv",
        "",
        "1 of 14 soundings lie more than 50 m",
    ),
    "run without sounding": (
        lambda c: c.update({"soundings.csv": "\n".join(c["soundings.csv"].splitlines()[:-1]) + "\n"}),
        "warning",
        "soundings.csv",
        "short",
        "no sounding lies in run short",
    ),
    "no depth column": (
        _text("soundings.csv", "depth_m", "deep"),
        "error",
        "soundings.csv",
        "header",
        "no column depth_m or depth_ft",
    ),
    "both depth columns": (
        _text("soundings.csv", "method", "depth_ft"),
        "error",
        "soundings.csv",
        "header",
        "both depth_m and depth_ft",
    ),
    "doubled column": (
        _text("soundings.csv", "method", "lon"),
        "error",
        "soundings.csv",
        "header",
        "column lon stands twice",
    ),
    "semicolons": (
        _whole("soundings.csv", "lon;lat;depth_m\n-91;43,5;1,2\n"),
        "error",
        "soundings.csv",
        "line 1",
        "'lon;lat;depth_m'",
    ),
    "empty soundings": (_whole("soundings.csv", ""), "error", "soundings.csv", "", "the file is empty"),
    "unknown gauge service": (
        _text("river.toml", "usgs:", "nowhere:"),
        "error",
        "river.toml",
        "gauges",
        "'nowhere:01541000' has no known service",
    ),
    "gauge of a run not listed": (
        _set("runs.geojson", 0, gauge="usgs:99999999"),
        "error",
        "runs.geojson",
        "(long)",
        "'usgs:99999999' is not in river.toml",
    ),
    "gauge file missing": (
        _text("river.toml", "usgs:01541000", "file:gauge.csv"),
        "error",
        "river.toml",
        "gauges",
        "there is no such file",
    ),
    "gauge file outside": (
        _text("river.toml", "usgs:01541000", "file:../gauge.csv"),
        "error",
        "river.toml",
        "gauges",
        "leaves the river folder",
    ),
    "no gauge": (
        _text("river.toml", '["usgs:01541000"]', "[]"),
        "warning",
        "river.toml",
        "gauges",
        "no gauge is named",
    ),
    "unknown timezone": (
        _text("river.toml", "America/Chicago", "America/Shicago"),
        "error",
        "river.toml",
        "timezone",
        "'America/Shicago' is unknown",
    ),
    "missing timezone": (
        _text("river.toml", 'timezone = "America/Chicago"', ""),
        "error",
        "river.toml",
        "timezone",
        "timezone is missing",
    ),
    "river in another zone": (
        _text("river.toml", "America/Chicago", "Europe/Paris"),
        "warning",
        "runs.geojson",
        "long",
        "from the principal town of Europe/Paris",
    ),
    "bad TOML": (
        _text("river.toml", 'craft = "raft"', "craft = raft"),
        "error",
        "river.toml",
        "line 6",
        "not valid TOML",
    ),
    "bad tackle TOML": (_append("tackle.toml", "[[fly]\n"), "error", "tackle.toml", "line 12", "not valid TOML"),
    "bad JSON": (
        _whole("places.geojson", '{"type": "FeatureCollection",\n"features": [}\n'),
        "error",
        "places.geojson",
        "line 2",
        "not valid JSON",
    ),
    "no collection": (_whole("spots.geojson", '{"type": "Feature"}'), "error", "spots.geojson", "", "'Feature'"),
    "not UTF-8": (_whole("log.csv", b"spot,time\n\xff\xfe,\n"), "error", "log.csv", "line 2", "byte 0xff is not UTF-8"),
    "slope of a percentage": (_set("runs.geojson", 0, slope=0.8), "error", "runs.geojson", "(long)", "slope = 0.8"),
    "steep slope": (_set("runs.geojson", 0, slope=0.03), "warning", "runs.geojson", "(long)", "slope = 0.03"),
    "slope upwards": (_set("runs.geojson", 0, slope=-0.001), "error", "runs.geojson", "(long)", "slope = -0.001"),
    "slope in words": (_set("runs.geojson", 0, slope="steep"), "error", "runs.geojson", "(long)", "is no number"),
    "share over one": (_set("runs.geojson", 0, flow_share=40), "error", "runs.geojson", "(long)", "flow_share = 40"),
    "hold band upside down": (
        _set("runs.geojson", 0, hold_low_m=0.8),
        "error",
        "runs.geojson",
        "(long)",
        "the hold band is 0.8 to 0.6 m",
    ),
    "spot's band against the run's": (
        _set("spots.geojson", 0, hold_high_m=0.1),
        "error",
        "spots.geojson",
        "(a)",
        "the hold band is 0.15 to 0.1 m",
    ),
    "unknown bed": (_set("runs.geojson", 0, bed="jelly"), "error", "runs.geojson", "run long", "bed class 'jelly'"),
    "bed given twice": (_set("runs.geojson", 0, n=0.04), "warning", "runs.geojson", "(long)", "given 2 times"),
    "unknown banks": (_set("runs.geojson", 0, banks="top"), "error", "runs.geojson", "(long)", "banks = 'top'"),
    "banks without a moment": (
        _set("runs.geojson", 0, banks="both"),
        "warning",
        "runs.geojson",
        "run long",
        "waterline_at is missing",
    ),
    "still in words": (_set("runs.geojson", 0, still="yes"), "error", "runs.geojson", "(long)", "still = 'yes'"),
    "flowline upstream": (
        _draw("places.geojson", 2, "LineString", [small.at(340, 0), small.at(-150, 0)]),
        "error",
        "places.geojson",
        "flow",
        "before the put-in",
    ),
    "flowline beside the run": (
        _draw("places.geojson", 2, "LineString", [small.at(-150, 90), small.at(340, 90)]),
        "warning",
        "places.geojson",
        "flow",
        "does not pass run long",
    ),
    "no flowline": (lambda c: c["places.geojson"].pop(), "warning", "places.geojson", "", "no flowline"),
    "hazard without kind": (
        lambda c: c["places.geojson"].append(small.feature("Point", small.at(0, 0), id="h", kind="hazard")),
        "warning",
        "places.geojson",
        "(h)",
        "without hazard_kind",
    ),
    "unknown place kind": (_set("places.geojson", 0, kind="bar"), "error", "places.geojson", "(in)", "kind = 'bar'"),
    "place far away": (
        _draw("places.geojson", 0, "Point", [-80.0, 43.5]),
        "error",
        "places.geojson",
        "in",
        "km from the first run",
    ),
    "line without grains": (
        _text("tackle.toml", "head_grains = 200", ""),
        "error",
        "tackle.toml",
        "line 1 (sinking head)",
        "head_grains is missing",
    ),
    "tip longer than head": (
        _text("tackle.toml", "head_grains", "tip_ft = 28\nhead_grains"),
        "error",
        "tackle.toml",
        "line 1",
        "tip_ft 28 exceeds head_ft 26",
    ),
    "sink rate in feet": (
        _text("tackle.toml", "sink_ips = 3", "sink_ips = 36"),
        "error",
        "tackle.toml",
        "line 1",
        "= 36",
    ),
    "fly without weight": (
        _text("tackle.toml", 'weighting = "light"', ""),
        "error",
        "tackle.toml",
        "fly 1 (slim)",
        "neither mass_g nor weighting",
    ),
    "threshold without source": (
        _append("river.toml", '[[threshold]]\ninput = "stage"\nlevel = 2\nat = 5\nunit = "ft"\ntext = "x"\n'),
        "error",
        "river.toml",
        "threshold 1",
        "source is missing",
    ),
    "threshold of another kind of unit": (
        _append(
            "river.toml", '[[threshold]]\ninput = "stage"\nlevel = 2\nat = 5\nunit = "cfs"\ntext = "x"\nsource = "y"\n'
        ),
        "error",
        "river.toml",
        "threshold 1",
        "is of another kind",
    ),
    "party of minus one": (
        _text("river.toml", "adults = 2", "adults = -1"),
        "error",
        "river.toml",
        "party",
        "adults = -1",
    ),
    "logged spot unknown": (
        _append("log.csv", "gone,2026-05-09T10:30:00-05:00,\n"),
        "warning",
        "log.csv",
        "line 3",
        "spot 'gone'",
    ),
    "missing runs": (_whole("runs.geojson", None), "error", "runs.geojson", "", "the file is missing"),
    "missing spots": (_whole("spots.geojson", None), "warning", "spots.geojson", "", "the file is missing"),
    "missing settings": (_whole("river.toml", None), "error", "river.toml", "", "the file is missing"),
}


@pytest.mark.parametrize("name", SPOILS)
def test_spoilt_folder_is_found(name: str, tmp_path: Path) -> None:
    """The finding names file and place, what was given, what is needed and what to do; an error stops the reading."""
    spoil, level, file, where, given = SPOILS[name]
    content = small.parts()
    spoil(content)
    findings = check_river(small.write(tmp_path, content))
    fitting = [
        finding
        for finding in findings
        if (finding.level, finding.file) == (level, file) and where in finding.where and given in finding.given
    ]
    assert fitting, "\n".join(map(str, findings))
    assert all(finding.need and finding.next_step for finding in findings)
    if any(finding.level == "error" for finding in findings):
        with pytest.raises(RiverFolderUnfit):
            read_river(tmp_path)
    else:
        assert fitting[0] in read_river(tmp_path).findings


def test_folder_of_parts_all_swapped_is_told_by_its_time_zone(tmp_path: Path) -> None:
    """Where lon and lat are both within 90 degrees only the time zone can tell that they are swapped."""
    content = small.parts()
    content["river.toml"] = content["river.toml"].replace("America/Chicago", "America/New_York")

    def east(value: Any) -> Any:
        if isinstance(value, list) and value and isinstance(value[0], float):
            return [value[1], value[0] + 15.0]
        return [east(part) for part in value]

    for name in ("runs.geojson", "spots.geojson", "places.geojson"):
        for item in content[name]:
            item["geometry"]["coordinates"] = east(item["geometry"]["coordinates"])
    findings = check_river(small.write(tmp_path, content | {"soundings.csv": None}))
    told = [finding for finding in findings if "swapped" in finding.given]
    assert {finding.file for finding in told} == {"runs.geojson", "spots.geojson", "places.geojson"}
    assert {finding.level for finding in told} == {"error"}


def test_one_swapped_file_is_told_by_the_runs(tmp_path: Path) -> None:
    """A single place with lon and lat swapped within range lies far from the runs and near them when swapped back."""
    content = small.parts()
    for name in ("runs.geojson", "spots.geojson", "places.geojson"):
        for item in content[name]:
            item["geometry"]["coordinates"] = _shift(item["geometry"]["coordinates"], 85.0)
    content["river.toml"] = content["river.toml"].replace("America/Chicago", "UTC")
    content["places.geojson"][0]["geometry"]["coordinates"].reverse()
    findings = check_river(small.write(tmp_path, content | {"soundings.csv": None}))
    assert [(f.file, f.where) for f in findings if "swapped" in f.given] == [("places.geojson", "in")]


def _shift(value: Any, lon: float) -> Any:
    if isinstance(value, list) and value and isinstance(value[0], float):
        return [value[0] + lon, value[1]]
    return [_shift(part, lon) for part in value]


@pytest.mark.parametrize(
    ("name", "level"),
    [("urn:ogc:def:crs:OGC:1.3:CRS84", "note"), ("urn:ogc:def:crs:EPSG::4326", "note"), ("EPSG:26915", "error")],
)
def test_crs_member_other_than_wgs84_is_an_error(name: str, level: str, tmp_path: Path) -> None:
    """RFC 7946 knows no crs member: the old names of WGS 84 are noted, any other system is refused."""
    import json

    content = small.parts()
    crs = {"type": "name", "properties": {"name": name}}
    content["runs.geojson"] = json.dumps({"type": "FeatureCollection", "crs": crs, "features": content["runs.geojson"]})
    findings = check_river(small.write(tmp_path, content))
    assert [finding.level for finding in findings if finding.where == "crs"] == [level]


def test_same_mistake_in_many_rows_is_counted_not_repeated(tmp_path: Path) -> None:
    """A thousand bad rows give a dozen findings and one that counts the rest."""
    content = small.parts()
    content["soundings.csv"] += "0,0,bad,2026-05-09T10:00-05:00,rod,\n" * 1000
    findings = check_river(small.write(tmp_path, content))
    bad = [finding for finding in findings if "depth_m" in finding.given]
    assert len(bad) == 13
    assert "988 more of this kind" in bad[-1].given


def test_errors_come_before_warnings_before_notes(tmp_path: Path) -> None:
    """Whoever reads the first line reads what matters most."""
    content = small.parts() | {"log.csv": None, "spots.geojson": None}
    content["runs.geojson"][1]["properties"]["slope"] = 9
    levels = [finding.level for finding in check_river(small.write(tmp_path, content))]
    assert levels == sorted(levels, key=["error", "warning", "note"].index)
    assert set(levels) == {"error", "warning", "note"}


def test_finding_reads_as_one_sentence_each_for_given_need_and_next_step() -> None:
    """The plain text names level, file and place first."""
    finding = Finding("error", "runs.geojson", "feature 2 (bend)", "ring 1 is open", "a closed ring", "close it")
    assert (
        str(finding) == "error: runs.geojson, feature 2 (bend): ring 1 is open. Needed: a closed ring. Next: close it."
    )


@pytest.mark.parametrize("folder", ["not there", "a file"])
def test_folder_that_is_none_is_said(folder: str, tmp_path: Path) -> None:
    """A missing folder or a file in its place is an error, not a traceback."""
    (tmp_path / "a file").write_text("x")
    with pytest.raises(RiverFolderUnfit, match="the folder"):
        read_river(tmp_path / folder)


def test_gauge_file_by_a_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    """A link does not smuggle a file from elsewhere into the plan."""
    (tmp_path / "elsewhere.csv").write_text("time,stage_m\n")
    inside = tmp_path / "river"
    inside.mkdir()
    (inside / "gauge.csv").symlink_to(tmp_path / "elsewhere.csv")
    problem = gauge_problem("file:gauge.csv", inside)
    assert problem is not None
    assert "leads out of the river folder" in problem[0]
    (inside / "own.csv").write_text("time,stage_m\n")
    assert gauge_problem("file:own.csv", inside) is None


@pytest.mark.parametrize("gauge", ["file:/etc/hosts", "file:a/../../b.csv", "file:", "usgs", "usgs:", 7, "usgs:../x"])
def test_station_id_that_is_none_is_refused(gauge: Any) -> None:
    """A station id is service:station and a file stays inside the folder."""
    assert gauge_problem(gauge, None) is not None
