"""Soundings dropped in, typed or clicked: a preview that writes nothing, then the rows themselves."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.desk.desks import NOW, Caller, contents, demo_folder

WHEN = "2026-04-25T09:20:00-05:00"
HERE = {"lon": -90.80735, "lat": 43.20470}


@pytest.fixture
def desk(tmp_path: Path) -> Caller:
    """A desk on a copy of the demo river."""
    return Caller(demo_folder(tmp_path / "river"))


def _apply(desk: Caller, preview: dict[str, Any]) -> dict[str, Any]:
    version = desk.get("/api/version")["version"]
    return dict(desk.post("/api/soundings/apply", {"preview": preview["preview"], "version": version}))


def test_a_preview_writes_nothing_and_says_what_is_dropped(desk: Caller) -> None:
    """Of a table with a zero depth, an unreadable one and a good row the good one is kept, the others are named."""
    before = contents(desk.desk.folder)
    rows = [f"-90.80735,43.20470,1.60,{WHEN}", f"-90.80736,43.20471,deep,{WHEN}", "0,0,1.5," + WHEN]
    raw = ("lon,lat,depth_m,taken_at\n" + "\n".join(rows) + "\n").encode()
    shown = desk.post("/api/soundings/preview?name=mine.csv", raw)
    assert shown["format"] == "CSV"
    assert shown["seen"] == 3
    assert shown["kept"] == 1
    assert sum(drop["count"] for drop in shown["dropped"]) == 2
    assert all(drop["why"] and drop["line"] for drop in shown["dropped"])
    assert shown["points"] == [[-90.80735, 43.2047, 1.6, "2026-04-25T14:20:00Z", None]]
    assert contents(desk.desk.folder) == before


def test_applying_adds_the_rows_below_and_can_be_undone(desk: Caller) -> None:
    """The file's own lines keep every byte, the new row stands below, and a step back takes it away."""
    path = desk.desk.folder / "soundings.csv"
    before = path.read_bytes()
    shown = desk.post("/api/soundings/preview", {"rows": [{**HERE, "depth": 5, "unit": "ft", "taken_at": WHEN}]})
    done = _apply(desk, shown)
    assert done["added"] == 1
    after = path.read_bytes()
    assert after.startswith(before)
    assert b"1.524" in after.removeprefix(before)
    desk.post("/api/history/back", {"version": done["version"]})
    assert path.read_bytes() == before


def test_the_same_rows_are_not_taken_twice(desk: Caller) -> None:
    """A preview applied twice, or a file dropped in again, adds nothing more."""
    shown = desk.post("/api/soundings/preview", {"rows": [{**HERE, "depth": 1.5, "taken_at": WHEN}]})
    assert _apply(desk, shown)["added"] == 1
    assert _apply(desk, shown)["added"] == 0
    again = desk.post("/api/soundings/preview", (desk.desk.folder / "soundings.csv").read_bytes())
    assert again["kept"] == 0
    assert again["already_there"] > 400


def test_rows_of_somebody_else_stay(desk: Caller) -> None:
    """A row that another program appended between preview and applying is kept."""
    shown = desk.post("/api/soundings/preview", {"rows": [{**HERE, "depth": 1.5, "taken_at": WHEN}]})
    version = desk.get("/api/version")["version"]
    path = desk.desk.folder / "soundings.csv"
    header = path.read_text(encoding="utf-8").splitlines()[0].split(",")
    cells = {"lon": "-90.80740", "lat": "43.20475", "depth_m": "1.11", "depth_ft": "3.64", "taken_at": WHEN}
    theirs = ",".join(cells.get(name, "") for name in header)
    with path.open("a", encoding="utf-8") as stream:
        stream.write(theirs + "\n")
    desk.post("/api/soundings/apply", {"preview": shown["preview"], "version": version})
    lines = path.read_text(encoding="utf-8").splitlines()
    assert theirs in lines
    assert lines[-1] != theirs


def test_a_typed_lead_line_lies_along_its_tape(desk: Caller) -> None:
    """Distances from the first end of a taut line become places on it."""
    ends = {"from_lon": -90.8073, "from_lat": 43.2045, "to_lon": -90.8071, "to_lat": 43.2047}
    rows = [{**ends, "distance": d, "depth": 1.0 + d / 10, "unit": "m", "taken_at": WHEN} for d in (0, 5, 10)]
    shown = desk.post("/api/soundings/preview", {"rows": rows})
    assert shown["format"] == "lead-line table"
    assert [point[2] for point in shown["points"]] == [1.0, 1.5, 2.0]
    first, middle, last = ((point[0], point[1]) for point in shown["points"])
    assert first == pytest.approx((-90.8073, 43.2045), abs=1e-6)
    assert middle == pytest.approx(((first[0] + last[0]) / 2, (first[1] + last[1]) / 2), abs=1e-7)


def test_a_missing_unit_is_asked_for(desk: Caller) -> None:
    """Depths without a unit are not guessed: the preview asks, and with the answer it is made."""
    raw = f"lon,lat,depth,taken_at\n-90.80735,43.20470,5,{WHEN}\n".encode()
    shown = desk.post("/api/soundings/preview?name=x.csv", raw)
    assert shown["preview"] is None
    assert shown["needs"] == ["depth_unit"]
    assert "--" not in shown["dropped"][0]["why"]
    told = desk.post("/api/soundings/preview?name=x.csv&depth_unit=ft", raw)
    assert told["points"][0][2] == pytest.approx(1.524)
    assert told["needs"] == []


def test_a_heading_that_is_not_there_is_asked_for(desk: Caller) -> None:
    """When a column is not found the preview asks which column is which."""
    raw = f"lon,lat,depth_m,taken_at\n-90.80735,43.20470,1.5,{WHEN}\n".encode()
    assert desk.post("/api/soundings/preview?columns=lon%3DEasting", raw)["needs"] == ["columns"]


def test_a_track_asks_how_deep_the_transducer_hangs(desk: Caller) -> None:
    """A sounder's track is taken and says that the transducer's depth would make it better."""
    inside = "<time>2026-04-25T14:20:00Z</time><extensions><depth>1.5</depth></extensions>"
    point = f'<trkpt lat="43.20470" lon="-90.80735">{inside}</trkpt>'
    raw = f"<gpx><trk><trkseg>{point}</trkseg></trk></gpx>".encode()
    assert desk.post("/api/soundings/preview?name=x.gpx", raw)["needs"] == ["transducer_depth"]
    told = desk.post("/api/soundings/preview?name=x.gpx&transducer_depth=0.5%20ft", raw)
    assert told["needs"] == []


@pytest.mark.parametrize(
    ("query", "status"),
    [("depth_unit=mile", 422), ("zone=Mars/Base", 422), ("transducer_depth=9%20m", 422)],
)
def test_an_answer_that_cannot_be_is_refused(desk: Caller, query: str, status: int) -> None:
    """A unit, zone, transducer or column that is none is named."""
    raw = f"lon,lat,depth,taken_at\n-90.80735,43.20470,5,{WHEN}\n".encode()
    assert desk.ask("POST", f"/api/soundings/preview?{query}", raw).status_code == status


def test_an_unknown_preview_is_refused(desk: Caller) -> None:
    """A preview that is no longer held asks for the file again, and nothing is written."""
    before = contents(desk.desk.folder)
    version = desk.get("/api/version")["version"]
    for name in ("none", None, 5):
        assert desk.ask("POST", "/api/soundings/apply", {"preview": name, "version": version}).status_code == 422
    assert contents(desk.desk.folder) == before


def test_a_sounding_of_tomorrow_is_not_kept(desk: Caller) -> None:
    """A time after the clock is dropped with its reason."""
    rows = [{**HERE, "depth": 1.5, "taken_at": "2027-01-01T00:00:00Z"}]
    shown = desk.post("/api/soundings/preview", {"rows": rows})
    assert NOW < "2027"
    assert shown["kept"] == 0
    assert shown["dropped"]
