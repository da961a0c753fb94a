"""What a sound river folder reads as."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path

import pytest

from planner.errors import RiverFolderUnfit, UsageMistake
from planner.river import check_river, generic_tackle, read_river
from tests.river import small

EXAMPLES = Path(__file__).parents[2] / "examples"


def test_sound_folder_has_no_error_and_no_warning(tmp_path: Path) -> None:
    """Nothing is said of the small folder but that its banks are not the water's edge."""
    findings = check_river(small.write(tmp_path))
    assert {finding.level for finding in findings} == {"note"}
    assert all("banks" in finding.given for finding in findings)


@pytest.mark.parametrize("name", ["demo", "recorded/01541000", "recorded/01542500"])
def test_example_folders_read_without_error_or_warning(name: str) -> None:
    """The folders that a newcomer starts from are sound."""
    river = read_river(EXAMPLES / name)
    assert [finding for finding in river.findings if finding.level != "note"] == []
    assert len(river.soundings) >= 50
    assert river.flowline() is not None


def test_defaults_of_the_river_reach_runs_that_give_none(tmp_path: Path) -> None:
    """Slope and gauge come from river.toml where a run leaves them out."""
    river = read_river(small.write(tmp_path))
    assert [run.slope for run in river.runs] == [0.0008, 0.0008]
    assert [run.gauge for run in river.runs] == ["usgs:01541000"] * 2
    assert river.runs[0].bed == {"class": "gravel_cobble"}
    assert (river.runs[0].hold_low_m, river.runs[0].hold_high_m) == (0.15, 0.60)
    assert (river.runs[0].banks, river.runs[0].area_ratio) == ("none", 1.0)
    assert math.isnan(river.runs[0].flow_share)
    assert river.units == "us"


def test_unknown_members_and_columns_are_kept(tmp_path: Path) -> None:
    """What the reader does not know is handed on."""
    river = read_river(small.write(tmp_path))
    assert river.runs[0].extra == {"colour": "old"}
    assert river.spots[0].extra == {"tag": ["x", 1]}
    assert list(river.soundings["crew"][:2]) == ["two", "two"]


def test_times_come_in_utc_and_lines_count_from_the_header(tmp_path: Path) -> None:
    """The first sounding stands on line 2 and its local time is turned to UTC."""
    table = read_river(small.write(tmp_path)).soundings
    assert table["taken_at"][0] == datetime(2026, 5, 9, 14, 10, tzinfo=UTC)
    assert list(table["line"][:3]) == [2, 3, 4]


def test_feet_columns_are_read_as_feet(tmp_path: Path) -> None:
    """depth_ft and stage_ft come out in metres."""
    content = small.parts()
    lon, lat = small.at(0, 0)
    content["soundings.csv"] = f"lon,lat,depth_ft,stage_ft\n{lon},{lat},10,2.5\n"
    table = read_river(small.write(tmp_path, content)).soundings
    assert table["depth_m"][0] == pytest.approx(3.048)
    assert table["stage_m"][0] == pytest.approx(0.762)


def test_thresholds_keep_their_words_and_gain_the_value_in_si(tmp_path: Path) -> None:
    """A threshold in cubic feet per second is comparable with a reading in cubic metres per second."""
    content = small.parts()
    content["river.toml"] += (
        '[[threshold]]\ninput = "discharge"\nlevel = 3\nat = 3000\nunit = "cfs"\ntext = "closed"\nsource = "board"\n'
        '[[threshold]]\ninput = "water_temperature"\nlevel = 1\nat = 50\nunit = "°F"\nside = "below"\n'
        'text = "cold"\nsource = "board"\n'
    )
    flow, cold = read_river(small.write(tmp_path, content)).thresholds
    assert flow["at_si"] == pytest.approx(84.950539776)  # 3000 ft³/s, exact by definition of the foot
    assert (flow["side"], flow["gauge"], flow["text"]) == ("above", "usgs:01541000", "closed")
    assert cold["at_si"] == pytest.approx(10.0)


def test_generic_classes_stand_in_for_a_missing_tackle_file(tmp_path: Path) -> None:
    """Without tackle.toml there are lines and flies to advise, and the river says that they are generic."""
    content = small.parts() | {"tackle.toml": None}
    river = read_river(small.write(tmp_path, content))
    assert river.tackle.generic
    assert river.tackle == generic_tackle()
    assert len(river.tackle.lines) >= 5
    assert {fly.drag for fly in river.tackle.flies} == {"high", "medium", "low"}


def test_still_water_does_not_inherit_the_rivers_slope(tmp_path: Path) -> None:
    """A backwater's own slope is zero unless it says otherwise."""
    content = small.parts()
    content["runs.geojson"][1]["properties"]["still"] = True
    assert [run.slope for run in read_river(small.write(tmp_path, content)).runs] == [0.0008, 0.0]


def test_byte_order_mark_is_taken(tmp_path: Path) -> None:
    """Files saved with a byte-order mark read as without."""
    content = small.parts()
    small.write(tmp_path, content)
    for path in tmp_path.iterdir():
        path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert len(read_river(tmp_path).soundings) == 13


def test_error_carries_every_finding_and_its_exit_code(tmp_path: Path) -> None:
    """The exception says the first error, counts the rest and holds all of them."""
    content = small.parts()
    content["runs.geojson"][0]["properties"]["slope"] = 1.5
    content["spots.geojson"][0]["properties"]["stance"] = "floating"
    with pytest.raises(RiverFolderUnfit) as caught:
        read_river(small.write(tmp_path, content))
    assert caught.value.exit_code == 4
    assert sum(finding.level == "error" for finding in caught.value.findings) == 2
    assert "runs.geojson, feature 1 (long)" in str(caught.value)
    assert "1 more" in str(caught.value)


def test_asking_for_a_run_that_is_not_there_names_those_that_are(tmp_path: Path) -> None:
    """The message lists the known ids."""
    with pytest.raises(UsageMistake, match="long, short"):
        read_river(small.write(tmp_path)).run("lung")


def test_long_file_gives_the_same_rows_as_its_start(tmp_path: Path) -> None:
    """A long file gives the same rows as its short start."""
    content = small.parts()
    rows = content["soundings.csv"].splitlines()
    content["soundings.csv"] = "\n".join([rows[0], *(rows[1:13] * 500)])
    table = read_river(small.write(tmp_path, content)).soundings
    assert len(table) == 6000
    assert list(table["depth_m"][:12]) == list(table["depth_m"][-12:])
    assert table["line"].iloc[-1] == 6001
