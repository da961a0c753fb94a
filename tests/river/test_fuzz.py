"""No content of a river folder gives anything but findings, a river, or the package's own error."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.errors import PlumbrunError, RiverFolderUnfit
from planner.river import River, check_river, read_river, write_river
from planner.river.reader import FILES
from planner.river.records import Finding
from planner.river.values import instant
from tests.river import small

QUICK = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
NAMES = st.sampled_from(list(FILES))
NUMBERS = st.one_of(
    st.integers(-(10**20), 10**20),
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from([0, -0.0, 1e308, -1e308, 91, 181, 5e-324]),
)
VALUES = st.recursive(
    st.none() | st.booleans() | NUMBERS | st.text(max_size=6) | st.sampled_from(["usgs:1", "Polygon", "a", "\x00"]),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(st.text(max_size=4), inner, max_size=3)
    ),
    max_leaves=6,
)  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One folder that the cases overwrite."""
    return tmp_path_factory.mktemp("fuzz")


def _read(folder: Path, content: dict[str, Any]) -> River | None:
    """Read a folder of some content; the checker and the reader must agree on whether it is fit."""
    for name in FILES:
        (folder / name).unlink(missing_ok=True)
    small.write(folder, content)
    findings = check_river(folder)
    assert all(isinstance(finding, Finding) and finding.need and finding.next_step for finding in findings)
    errors = [finding for finding in findings if finding.level == "error"]
    if errors:
        with pytest.raises(RiverFolderUnfit):
            read_river(folder)
        return None
    return read_river(folder)


@QUICK
@given(name=NAMES, raw=st.binary(max_size=200))
def test_any_bytes_in_any_file_are_answered(folder: Path, name: str, raw: bytes) -> None:
    """Random bytes in place of a file."""
    _read(folder, small.parts() | {name: raw})


@QUICK
@given(name=NAMES, data=st.data())
def test_any_cut_or_scar_in_a_file_is_answered(folder: Path, name: str, data: st.DataObject) -> None:
    """A sound file cut short, or with some bytes overwritten."""
    small.write(folder)
    raw = bytearray((folder / name).read_bytes())
    place = data.draw(st.integers(0, len(raw)))
    if data.draw(st.booleans()):
        del raw[place:]
    else:
        raw[place : place + data.draw(st.integers(0, 6))] = data.draw(st.binary(max_size=6))
    _read(folder, small.parts() | {name: bytes(raw)})


def _places(value: Any, path: tuple = ()) -> list[tuple]:
    """Every place in a JSON value."""
    found = [path]
    if isinstance(value, dict):
        for key, part in value.items():
            found += _places(part, (*path, key))
    elif isinstance(value, list):
        for number, part in enumerate(value):
            found += _places(part, (*path, number))
    return found


@QUICK
@given(name=st.sampled_from(["runs.geojson", "spots.geojson", "places.geojson"]), data=st.data())
def test_any_value_anywhere_in_a_geojson_file_is_answered(folder: Path, name: str, data: st.DataObject) -> None:
    """One member or position replaced by any JSON value; what is read can be written."""
    document: Any = {"type": "FeatureCollection", "features": small.parts()[name]}
    path = data.draw(st.sampled_from(_places(document)))
    value = data.draw(VALUES)
    if not path:
        document = value
    else:
        target = document
        for key in path[:-1]:
            target = target[key]
        target[path[-1]] = value
    river = _read(folder, small.parts() | {name: json.dumps(document)})
    if river is not None:
        assert write_river(river) == []


MEMBERS = (
    "id name gauge slope bed n d84_mm banks waterline_at flow_share area_ratio lag_min still hold_low_m hold_high_m "
    "note run stance boat_speed_ratio kind hazard_kind"
).split()


@QUICK
@given(
    name=st.sampled_from(["runs.geojson", "spots.geojson", "places.geojson"]),
    members=st.dictionaries(st.sampled_from(MEMBERS), VALUES, min_size=1, max_size=3),
)
def test_any_value_of_a_known_member_is_answered(folder: Path, name: str, members: dict[str, Any]) -> None:
    """Known members of a feature given any JSON value."""
    features = small.parts()[name]
    features[0]["properties"].update(members)
    river = _read(folder, small.parts() | {name: json.dumps({"type": "FeatureCollection", "features": features})})
    if river is not None:
        assert write_river(river) == []


TOML = st.one_of(
    st.sampled_from(
        ["nan", "inf", "true", "[]", "{}", '""', "-1", "1e400", "1979-05-27T07:32:00Z", "07:32:00", "0x1F"]
    ),
    st.integers(-(10**25), 10**25).map(str),
    st.text(max_size=5).map(json.dumps),
    st.lists(st.integers(0, 3), max_size=3).map(str),
    st.just('{level = 1, at = "x"}'),
)
KEYS = (
    "name timezone units gauges slope bed n d84_mm craft party threshold authority line fly leader tippet other"
).split()
TABLE_KEYS = (
    "name code head_ft head_grains sink_ips tip_ft running rod_weight diameter_mm drag mass_g weighting length_mm "
    "length_m length_ft material x input level at unit side gauge text source adults children footing alone"
).split()


@QUICK
@given(
    name=st.sampled_from(["river.toml", "tackle.toml"]),
    top=st.dictionaries(st.sampled_from(KEYS), TOML, max_size=4),
    table=st.sampled_from(["[party]", "[[threshold]]", "[[line]]", "[[fly]]", "[leader]", "[tippet]", "[authority]"]),
    inside=st.dictionaries(st.sampled_from(TABLE_KEYS), TOML, max_size=6),
)
def test_any_value_of_a_known_toml_key_is_answered(
    folder: Path, name: str, top: dict[str, str], table: str, inside: dict[str, str]
) -> None:
    """Known keys and tables given any TOML value; what is read can be written."""
    lines = [f"{key} = {value}" for key, value in top.items()]
    lines += [table, *(f"{key} = {value}" for key, value in inside.items())]
    river = _read(folder, small.parts() | {name: "\n".join(lines) + "\n"})
    if river is not None:
        assert write_river(river) == []


CELLS = st.one_of(
    st.sampled_from(
        ["", " ", "nan", "inf", "-inf", "1e999", "1_0", "١", "0x1", "-0", "2026-05-09", "24:00", "9" * 400]
    ),
    st.text(max_size=8),
    NUMBERS.map(str),
)
COLUMNS = st.lists(
    st.sampled_from([*"lon lat depth_m depth_ft taken_at stage_m stage_ft method draft_m note crew line".split(), ""]),
    max_size=8,
)


@QUICK
@given(header=COLUMNS, rows=st.lists(st.lists(CELLS, max_size=8), max_size=4), name=st.sampled_from(["s", "l"]))
def test_any_cells_under_any_columns_are_answered(
    folder: Path, header: list[str], rows: list[list[str]], name: str
) -> None:
    """Soundings and log of arbitrary columns and cells, quoted as CSV asks or not at all."""
    text = "\n".join(",".join(row) for row in [header, *rows])
    river = _read(folder, small.parts() | {"soundings.csv" if name == "s" else "log.csv": text})
    if river is not None:
        assert write_river(river) == []


@QUICK
@given(cells=st.lists(CELLS, min_size=6, max_size=6))
def test_any_cell_in_a_sound_row_is_answered(folder: Path, cells: list[str]) -> None:
    """Each field of one row in turn replaced by any cell."""
    import csv
    import io

    content = small.parts()
    rows = list(csv.reader(io.StringIO(content["soundings.csv"])))
    out = io.StringIO()
    table = csv.writer(out)
    for number, row in enumerate(rows):
        if 1 <= number <= 6:
            row[number - 1] = cells[number - 1]
        table.writerow(row)
    _read(folder, content | {"soundings.csv": out.getvalue()})


@given(st.text(max_size=30) | st.from_regex(r"\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d)?([+-]\d\d:\d\d|Z)?", fullmatch=True))
def test_any_text_is_a_moment_with_offset_or_none(text: str) -> None:
    """A moment is always aware; a text without offset is never one."""
    moment = instant(text)
    assert moment is None or moment.utcoffset() is not None


def test_deeply_nested_files_are_answered(folder: Path) -> None:
    """Nesting beyond any sense is an error with a place, not a crash of the reader."""
    for name, raw in (
        ("runs.geojson", "[" * 100_000),
        ("runs.geojson", '{"type":"FeatureCollection","features":' + "[" * 900 + "]" * 900 + "}"),
        ("river.toml", "a = " + "[" * 5_000),
    ):
        assert _read(folder, small.parts() | {name: raw}) is None


def test_folder_in_place_of_a_file_is_answered(tmp_path: Path) -> None:
    """A folder named like a file is said to be unreadable."""
    small.write(tmp_path, small.parts() | {"soundings.csv": None})
    (tmp_path / "soundings.csv").mkdir()
    with pytest.raises(PlumbrunError, match=r"soundings\.csv"):
        read_river(tmp_path)
