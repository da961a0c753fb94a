"""A river folder from five answers, and the gauges to choose from, with recorded replies."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from planner.desk.desk import Clock
from planner.desk.new import folder_name, nearest_zone
from planner.river import read_river
from tests.desk.desks import NOW, ROOT, Caller

ANSWERS: dict[str, Any] = {
    "name": "Kettlemoor River", "gauge": "usgs:01541000", "units": "us", "craft": "drift boat",
    "put_in": [-90.81, 43.206],
}  # fmt: skip


@pytest.fixture
def bare(tmp_path: Path) -> Caller:
    """A desk without a folder."""
    return Caller(None, tmp_path, Clock(now=NOW))


def test_without_a_folder_only_the_questions_are_answered(bare: Caller) -> None:
    """The page is there; what needs a folder says that there is none yet."""
    reply = bare.ask("GET", "/api/river")
    assert reply.status_code == 422
    assert "five questions" in reply.get_json()["next_step"]
    bare.ask("GET", f"/?key={bare.guard.key}", Origin=None, Sec_Fetch_Site="none")
    assert bare.ask("GET", "/", Origin=None, Sec_Fetch_Site="none").status_code == 200


def test_five_answers_make_a_folder_that_can_be_read(bare: Caller, tmp_path: Path) -> None:
    """The folder holds what was answered, is laid on the desk, and the reader finds no error in it."""
    made = bare.post("/api/new", ANSWERS)
    river = read_river(tmp_path / "kettlemoor-river")
    assert (river.name, river.gauges, river.units, river.craft) == (
        "Kettlemoor River", ("usgs:01541000",), "us", "drift boat"
    )  # fmt: skip
    assert river.timezone == "America/Chicago"
    assert [place.kind for place in river.places] == ["put_in"]
    assert river.places[0].geometry.coords[0] == (-90.81, 43.206)
    assert made["folder_name"] == "kettlemoor-river"
    assert any("guess" in note for note in made["notes"])
    assert bare.get("/api/river")["version"] == made["version"]
    assert not [finding for finding in made["findings"] if finding["level"] == "error"]


def test_a_second_folder_is_not_made(bare: Caller, tmp_path: Path) -> None:
    """Once a folder lies on the desk the questions are closed; a folder that exists is not written into."""
    bare.post("/api/new", ANSWERS)
    assert bare.ask("POST", "/api/new", {**ANSWERS, "folder": "other"}).status_code == 422
    before = (tmp_path / "kettlemoor-river" / "river.toml").read_bytes()
    again = Caller(None, tmp_path)
    reply = again.ask("POST", "/api/new", {**ANSWERS, "name": "Kettlemoor  river"})
    assert reply.status_code == 422
    assert "there already" in reply.get_json()["given"]
    assert (tmp_path / "kettlemoor-river" / "river.toml").read_bytes() == before


@pytest.mark.parametrize(
    ("member", "value"),
    [
        ("name", ""), ("name", 5), ("name", "x" * 100), ("units", "furlongs"), ("put_in", None), ("put_in", [43.2]),
        ("put_in", [500_000, 4_700_000]), ("put_in", "here"), ("gauge", "01541000"), ("timezone", "Mars/Base"),
        ("craft", ["raft"]), ("folder", "../x"),
    ],
)  # fmt: skip
def test_an_answer_that_cannot_be_taken_makes_nothing(bare: Caller, tmp_path: Path, member: str, value: Any) -> None:
    """Each wrong answer is named, and no folder is begun."""
    reply = bare.ask("POST", "/api/new", {**ANSWERS, member: value})
    assert reply.status_code == 422
    assert reply.get_json()["where"] == member
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_cannot_be_written_to_is_said(tmp_path: Path) -> None:
    """A parent that is gone gives 507 with the reason, and no half folder."""
    bare = Caller(None, tmp_path / "gone")
    assert bare.ask("POST", "/api/new", ANSWERS).status_code == 507


def test_names_become_folder_names() -> None:
    """Any script and any sign gives letters, digits and hyphens."""
    assert folder_name("../../etc/passwd") == "etc-passwd"
    assert folder_name("川") == "river"
    assert folder_name("Él Río " + "x" * 100).startswith("el-rio-x")
    assert len(folder_name("x" * 500)) == 60


def test_the_nearest_zone_is_a_zone_of_the_place() -> None:
    """Towns far from any border get their own zone."""
    for lon, lat, zone in (
        (-87.6, 41.9, "America/Chicago"),
        (-0.1, 51.5, "Europe/London"),
        (2.3, 48.9, "Europe/Paris"),
    ):
        assert nearest_zone(lon, lat) == zone


def test_gauges_near_a_place_come_from_a_recorded_list(tmp_path: Path) -> None:
    """With recorded replies no service is asked: the first that is a station list is read, nearest first."""
    replies = ROOT / "data" / "gauges"
    readings = replies / "usgs_iv_01541000_2018-03_dst_start.json"
    bare = Caller(None, tmp_path, Clock((readings, replies / "usgs_ogc_v1_combined-metadata.json"), NOW))
    found = bare.get("/api/gauges/near?lon=-89.4&lat=43.2&within_km=60")["stations"]
    assert found[0]["id"] == "usgs:05427718"
    assert [row["distance_km"] for row in found] == sorted(row["distance_km"] for row in found)


def test_a_gauge_is_looked_at_before_it_is_chosen(tmp_path: Path) -> None:
    """Its last reading with its age, and the word that it is provisional; an unknown one is said."""
    reply = ROOT / "data" / "gauges" / "usgs_iv_01541000_2018-03_dst_start.json"
    bare = Caller(None, tmp_path, Clock((reply,), "2018-03-12T12:00:00Z"))
    seen = bare.get("/api/gauges/check?station=usgs:01541000")
    assert "provisional" in seen["reminder"]
    assert seen["discharge_m3s"] > 0
    assert seen["age_min"] >= 0
    assert bare.ask("GET", "/api/gauges/check?station=usgs:99999999").status_code == 422


@pytest.mark.parametrize("query", ["lon=x&lat=1", "lat=1", "lon=nan&lat=1", "lon=1&lat=1&service=nobody"])
def test_a_place_that_is_none_is_refused(bare: Caller, query: str) -> None:
    """Numbers that are none, and services that are not known."""
    assert bare.ask("GET", f"/api/gauges/near?{query}").status_code in (400, 422)
