"""What is written is what was meant, and what was not known stays."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.errors import NotWritten
from planner.river import Place, River, Run, Spot, Tackle, TackleFly, TackleLine, read_river, write_river
from planner.river.merge import same
from tests.river import small

EXAMPLES = Path(__file__).parents[2] / "examples"


def _copy(folder: Path, to: Path) -> Path:
    for path in folder.iterdir():
        if path.is_file():
            (to / path.name).write_bytes(path.read_bytes())
    return to


@pytest.mark.parametrize("name", ["demo", "recorded/01541000", "recorded/01542500"])
def test_river_written_unchanged_touches_no_file(name: str, tmp_path: Path) -> None:
    """Writing back what was read leaves every byte and does not even open a file for writing."""
    folder = _copy(EXAMPLES / name, tmp_path)
    before = {path.name: (path.read_bytes(), path.stat().st_mtime_ns) for path in folder.iterdir()}
    assert write_river(read_river(folder)) == []
    assert {path.name: (path.read_bytes(), path.stat().st_mtime_ns) for path in folder.iterdir()} == before


def test_changed_spot_leaves_the_other_spots_as_they_stand(tmp_path: Path) -> None:
    """Order, foreign members and coordinates of the untouched features stay, and the height of a position too."""
    content = small.parts()
    content["spots.geojson"][1]["geometry"]["coordinates"][0].append(212.5)
    content["spots.geojson"][1]["bbox"] = [0, 0, 1, 1]
    document = {"type": "FeatureCollection", "name": "mine", "features": content["spots.geojson"]}
    content["spots.geojson"] = json.dumps(document)
    river = read_river(small.write(tmp_path, content))
    moved = replace(river.spots[0], landing_lonlat=(-91.0006, 43.50005), note="moved")
    assert write_river(replace(river, spots=(moved, river.spots[1]))) == [tmp_path / "spots.geojson"]
    now = json.loads((tmp_path / "spots.geojson").read_text())
    assert now["name"] == "mine"
    assert now["features"][1] == document["features"][1]
    assert now["features"][0]["properties"] == {
        "id": "a",
        "run": "long",
        "stance": "wading",
        "tag": ["x", 1],
        "note": "moved",
    }
    assert now["features"][0]["geometry"]["coordinates"][1] == [-91.0006, 43.50005]


def test_comments_and_order_of_settings_stay(tmp_path: Path) -> None:
    """A changed craft changes one line of river.toml."""
    river = read_river(small.write(tmp_path))
    write_river(replace(river, craft="canoe"))
    assert (tmp_path / "river.toml").read_text() == small.SETTINGS.replace('"raft"', '"canoe"')


def test_key_new_to_the_settings_does_not_fall_into_a_table(tmp_path: Path) -> None:
    """A top-level key added to a file that ends in a table is still a top-level key."""
    river = read_river(small.write(tmp_path))
    write_river(replace(river, extra={"river_mile": 12}, bed={"n": 0.04}))
    again = read_river(tmp_path)
    assert again.extra == {"river_mile": 12}
    assert again.bed == {"n": 0.04}
    assert again.party == river.party


def test_a_threshold_that_changes_leaves_the_others_and_the_rest_of_the_settings(tmp_path: Path) -> None:
    """The level of a local limit is written in its own unit, and nothing that the reader fills in is added."""
    folder = _copy(EXAMPLES / "demo", tmp_path)
    before = (folder / "river.toml").read_text(encoding="utf-8")
    river = read_river(folder)
    first = {**river.thresholds[0], "level": 1}
    assert write_river(replace(river, thresholds=(first, *river.thresholds[1:]))) == [folder / "river.toml"]
    again = read_river(folder)
    assert [one["level"] for one in again.thresholds] == [1, *(one["level"] for one in river.thresholds[1:])]
    assert [one["at_si"] for one in again.thresholds] == [one["at_si"] for one in river.thresholds]
    after = (folder / "river.toml").read_text(encoding="utf-8")
    assert after.replace("level = 1", "level = 2").split() == before.split()
    write_river(replace(again, thresholds=()))
    assert read_river(folder).thresholds == ()
    assert "[[threshold]]" not in (folder / "river.toml").read_text(encoding="utf-8")


def test_line_taken_out_of_the_bag_leaves_the_comments_of_the_others(tmp_path: Path) -> None:
    """A line is added, the old one keeps its comment."""
    river = read_river(small.write(tmp_path))
    more = TackleLine("tip line", "WF-7-F/S", 35, 100, 6, 10)
    write_river(replace(river, tackle=replace(river.tackle, lines=(*river.tackle.lines, more), leader_m=1.0)))
    text = (tmp_path / "tackle.toml").read_text()
    assert "# from the label" in text
    assert text.index("[[line]]") < text.index("[[fly]]")
    again = read_river(tmp_path).tackle
    assert [line.name for line in again.lines] == ["sinking head", "tip line"]
    assert again.lines[1].tip_ft == 10
    assert again.leader_m == 1.0


def test_generic_tackle_is_never_written(tmp_path: Path) -> None:
    """What stands in for a missing file does not become the angler's own."""
    content = small.parts() | {"tackle.toml": None}
    river = read_river(small.write(tmp_path, content))
    write_river(replace(river, craft="canoe"))
    assert not (tmp_path / "tackle.toml").exists()


def test_changed_sounding_changes_its_own_fields_only(tmp_path: Path) -> None:
    """Depth in feet stays in feet, unknown columns stay, other rows stay to the byte."""
    content = small.parts()
    content["soundings.csv"] = content["soundings.csv"].replace("depth_m", "depth_ft")
    river = read_river(small.write(tmp_path, content))
    table = river.soundings.copy()
    table.loc[3, "depth_m"] = 3.048
    write_river(replace(river, soundings=table))
    before, after = content["soundings.csv"].splitlines(), (tmp_path / "soundings.csv").read_text().splitlines()
    assert [number for number, (one, two) in enumerate(zip(before, after, strict=True)) if one != two] == [4]
    assert after[4].split(",")[2:] == ["10.0", *before[4].split(",")[3:]]


def test_added_sounding_brings_the_columns_it_needs(tmp_path: Path) -> None:
    """A stage and a draft get columns of their own; old rows leave them empty or zero."""
    river = read_river(small.write(tmp_path))
    lon, lat = small.at(5, 5)
    new = {"lon": lon, "lat": lat, "depth_m": 2.5, "taken_at": pd.NaT, "stage_m": 1.25, "draft_m": 0.2, "line": 0}
    table = pd.concat([river.soundings, pd.DataFrame([new])], ignore_index=True)
    table["taken_at"] = pd.to_datetime(table["taken_at"], utc=True)
    write_river(replace(river, soundings=table))
    again = read_river(tmp_path).soundings
    assert len(again) == 14
    assert again.iloc[-1][["depth_m", "stage_m", "draft_m"]].tolist() == [2.5, 1.25, 0.2]
    assert again["crew"].iloc[0] == "two"
    assert again["stage_m"].isna().sum() == 13


def test_file_changed_by_someone_else_is_not_overwritten(tmp_path: Path) -> None:
    """A file that changed on the disk since the reading is left as it is, and so are all others."""
    river = read_river(small.write(tmp_path))
    (tmp_path / "spots.geojson").write_text('{"type": "FeatureCollection", "features": []}')
    with pytest.raises(NotWritten, match="changed after the river was read"):
        write_river(replace(river, craft="canoe", spots=river.spots[:1]))
    assert (tmp_path / "river.toml").read_text() == small.SETTINGS


def test_river_is_written_to_a_new_folder_whole(tmp_path: Path) -> None:
    """Every file of the river comes out in another folder and reads the same."""
    river = read_river(EXAMPLES / "recorded" / "01541000")
    write_river(river, tmp_path)
    again = read_river(tmp_path)
    assert _records(again) == _records(river)
    pd.testing.assert_frame_equal(again.soundings, river.soundings)


def test_missing_folder_is_said_and_nothing_is_made(tmp_path: Path) -> None:
    """The folder to write to must exist."""
    river = read_river(small.write(tmp_path))
    with pytest.raises(NotWritten):
        write_river(river, tmp_path / "nowhere")
    assert not (tmp_path / "nowhere").exists()


# ---- round trips of invented rivers ---------------------------------------------------------------------------

WORDS = st.text("ab01\"#,\\'[]é水.=", min_size=1, max_size=6)
NOTES = st.one_of(st.just(""), WORDS)
EXTRA = st.dictionaries(
    WORDS.map(lambda word: "x " + word),
    st.recursive(
        st.one_of(st.booleans(), st.integers(-9999, 9999), st.floats(-1e6, 1e6), WORDS),
        lambda inner: st.one_of(
            st.lists(inner, max_size=2), st.dictionaries(WORDS, inner, min_size=1, max_size=2)
        ),
        max_leaves=4,
    ),
    max_size=2,
)  # fmt: skip
UNKNOWN = st.just(float("nan"))
BEDS = st.one_of(
    st.just({}),
    st.sampled_from([{"class": "cobble"}, {"class": "gravel"}]),
    st.floats(0.02, 0.15).map(lambda n: {"n": n}),
    st.floats(2, 1500).map(lambda d84: {"d84_mm": d84}),
)
COUNTS = st.integers(0, 3)


@st.composite
def runs(draw: st.DrawFn, number: int, inherited: dict) -> Run:
    """A run in its own stretch of the river."""
    still = draw(st.booleans())
    west = 250.0 * number
    return Run(
        id=f"run {number}",
        name=draw(WORDS),
        gauge=draw(st.sampled_from(["usgs:01541000", "canada:05BJ004"])),
        polygon=shapely.Polygon(small.box(west, -20, west + draw(st.floats(40, 200)), 20)[0]),
        slope=draw(st.floats(1e-5, 0.02)) if not still else 0.0,
        bed=draw(BEDS) or dict(inherited),
        banks=draw(st.sampled_from(["both", "left", "right", "none"])),
        waterline_at=draw(st.none() | st.integers(0, 2**31).map(lambda s: datetime.fromtimestamp(s, UTC))),
        flow_share=draw(st.floats(0.02, 1) | UNKNOWN),
        area_ratio=draw(st.floats(0.5, 1.5)),
        lag_min=draw(st.floats(-60, 600) | UNKNOWN),
        still=still,
        hold_low_m=draw(st.floats(0, 0.3)),
        hold_high_m=draw(st.floats(0.4, 2)),
        note=draw(NOTES),
        extra=draw(EXTRA),
    )


@st.composite
def spots(draw: st.DrawFn, number: int, run: Run) -> Spot:
    """A cast inside its run."""
    west, _, _, _ = run.polygon.bounds
    stance = draw(st.sampled_from(["wading", "bank", "anchored", "drifting"]))
    start = (west + 1e-4, 43.5 + draw(st.floats(-5e-5, 5e-5)))
    return Spot(
        id=f"spot {number}",
        run=run.id,
        name=draw(WORDS),
        stance=stance,
        stance_lonlat=start,
        landing_lonlat=(start[0] + 1.2e-4, start[1] + draw(st.floats(-5e-5, 5e-5))),
        boat_speed_ratio=draw(st.floats(0, 1.2)) if stance == "drifting" else float("nan"),
        hold_low_m=draw(st.none() | st.floats(0, 0.3)),
        hold_high_m=draw(st.none() | st.floats(0.4, 2)),
        note=draw(NOTES),
        extra=draw(EXTRA),
    )


@st.composite
def tackles(draw: st.DrawFn) -> Tackle:
    """A bag with a few lines and flies."""
    lines = tuple(
        TackleLine(
            name=f"line {number}",
            code=draw(NOTES),
            head_ft=draw(st.floats(20, 60)),
            head_grains=draw(st.floats(40, 600)),
            sink_ips=draw(st.floats(0, 9)),
            tip_ft=draw(st.floats(3, 20) | UNKNOWN),
            running=draw(st.sampled_from(["floating", "sinking"])),
            rod_weight=draw(st.integers(1, 12).map(float) | UNKNOWN),
            diameter_mm=draw(st.floats(0.5, 3) | UNKNOWN),
            extra=draw(EXTRA),
        )
        for number in range(draw(st.integers(1, 3)))
    )
    flies = tuple(
        TackleFly(
            name=f"fly {number}",
            drag=draw(st.sampled_from(["high", "medium", "low"])),
            mass_g=draw(st.floats(0.02, 6)),
            weighting=draw(st.sampled_from(["", "none", "light", "heavy"])),
            length_mm=draw(st.floats(8, 250) | UNKNOWN),
            extra=draw(EXTRA),
        )
        for number in range(draw(st.integers(1, 2)))
    )
    return Tackle(
        lines=lines,
        flies=flies,
        leader_m=draw(st.floats(0.3, 5)),
        leader_diameter_mm=draw(st.floats(0.15, 0.8)),
        leader_material=draw(st.sampled_from(["nylon", "fluorocarbon"])),
        tippet_m=draw(st.floats(0, 2)),
        tippet_x=draw(st.integers(-3, 8).map(float) | UNKNOWN),
        tippet_material=draw(st.sampled_from(["nylon", "fluorocarbon"])),
        extra=draw(EXTRA),
    )


@st.composite
def changes(draw: st.DrawFn) -> dict[str, Any]:
    """Members to replace in a river."""
    bed = draw(BEDS)
    drawn = tuple(draw(runs(number, bed)) for number in range(draw(st.integers(1, 3))))
    cast = tuple(draw(spots(number, drawn[number % len(drawn)])) for number in range(draw(COUNTS)))
    where = st.tuples(st.floats(-91.002, -91.0), st.floats(43.499, 43.501))
    places = tuple(
        Place(f"place {n}", draw(WORDS), "hazard", shapely.Point(draw(where)), draw(WORDS), draw(NOTES), draw(EXTRA))
        for n in range(draw(COUNTS))
    )
    rows = draw(st.integers(0, 4))
    soundings = pd.DataFrame(
        {
            "lon": [draw(st.floats(-91.001, -91.0)) for _ in range(rows)],
            "lat": [draw(st.floats(43.4999, 43.5001)) for _ in range(rows)],
            "depth_m": [draw(st.floats(0, 10)) for _ in range(rows)],
            "taken_at": pd.to_datetime([draw(st.sampled_from([None, "2026-05-01T12:00:00Z"])) for _ in range(rows)]),
            "stage_m": [draw(st.floats(-3, 20) | UNKNOWN) for _ in range(rows)],
            "method": [draw(NOTES) for _ in range(rows)],
            "draft_m": [draw(st.floats(0, 1)) for _ in range(rows)],
            "note": [draw(NOTES) for _ in range(rows)],
            "line": [0] * rows,
            "crew": [draw(NOTES) for _ in range(rows)],
        }
    )
    soundings["taken_at"] = pd.to_datetime(soundings["taken_at"], utc=True)
    return {
        "name": draw(WORDS),
        "units": draw(st.sampled_from(["us", "metric"])),
        "gauges": ("usgs:01541000", "canada:05BJ004"),
        "slope": draw(st.floats(1e-5, 0.02) | UNKNOWN),
        "bed": bed,
        "craft": draw(NOTES),
        "party": draw(st.sampled_from([{}, {"adults": 3, "alone": False}, {"children": 1, "dog": "two"}])),
        "authority": draw(st.sampled_from([{}, {"name": "county", "phone": "555-0142"}])),
        "extra": draw(EXTRA),
        "runs": drawn,
        "spots": cast,
        "places": places,
        "soundings": soundings,
        "tackle": draw(tackles()),
    }


def _told(value: Any) -> str:
    """A value as text in which unknown equals unknown and the order of keys does not count."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key!r}: {_told(value[key])}" for key in sorted(value)) + "}"
    return "[" + ", ".join(map(_told, value)) + "]" if isinstance(value, list) else repr(value)


def _records(river: River) -> dict[str, Any]:
    def plain(record: Any) -> dict[str, Any]:
        members = dict(vars(record))
        for key in ("polygon", "geometry"):
            if key in members:
                members[key] = members[key].wkt
        return {key: _told(value) for key, value in members.items()}

    keys = ("name", "timezone", "units", "gauges", "slope", "bed", "craft", "party", "authority", "extra")
    return {
        **{key: _told(getattr(river, key)) for key in keys},
        "runs": [plain(run) for run in river.runs],
        "spots": [plain(spot) for spot in river.spots],
        "places": [plain(place) for place in river.places],
        "lines": [plain(line) for line in river.tackle.lines],
        "flies": [plain(fly) for fly in river.tackle.flies],
        "bag": plain(replace(river.tackle, lines=(), flies=(), generic=False)),
    }


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(changes(), changes())
def test_any_river_reads_back_as_it_was_written(
    tmp_path_factory: pytest.TempPathFactory, first: dict[str, Any], second: dict[str, Any]
) -> None:
    """Written over the small folder, then changed to something else again, every record comes back the same."""
    folder = small.write(tmp_path_factory.mktemp("river"))
    river = read_river(folder)
    for change in (first, second):
        meant = replace(river, **change)
        write_river(meant)
        river = read_river(folder)
        assert _records(river) == _records(meant)
        assert len(river.soundings) == len(meant.soundings)
        for name in ("lon", "lat", "depth_m", "taken_at", "stage_m", "method", "draft_m", "note"):
            for now, then in zip(river.soundings[name], meant.soundings[name], strict=True):
                assert same(now, then), name
        assert write_river(river) == []
