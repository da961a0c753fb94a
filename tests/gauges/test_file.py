"""Gauges that are files."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.errors import GaugeReplyUnfit, PlumbrunError
from planner.gauges import Quality, Series, file, open_series
from planner.units import CFS, FOOT

NOW = datetime(2026, 6, 13, tzinfo=UTC)
HEAD = "time,stage_m,discharge_m3s,temperature_c,qualifier\n"


def _open(folder: Path, text: str, **options: object) -> Series:
    (folder / "gauge.csv").write_text(text, encoding="utf-8")
    return open_series("file:gauge.csv", now=NOW, folder=folder, **options)  # type: ignore[arg-type]


def test_a_file_beside_the_river_is_a_gauge(tmp_path: Path) -> None:
    """Values, quality and time come as written; an empty cell is unknown."""
    series = _open(
        tmp_path,
        HEAD + "2026-06-12T17:00:00-05:00,1.20,35.5,,\n2026-06-12T18:00:00-05:00,1.21,,21.5,estimated\n",
    )
    last = series.last()
    assert series.station == "file:gauge.csv"
    assert last.time == datetime(2026, 6, 12, 23, tzinfo=UTC)
    assert (last.stage_m, last.temperature_c, last.quality) == (1.21, 21.5, Quality.ESTIMATED)
    assert last.discharge_m3s == 35.5  # the companion of an hour before
    assert series.quality.tolist() == ["provisional", "estimated"]


def test_feet_and_fahrenheit_are_converted(tmp_path: Path) -> None:
    """Columns that name US units come out in SI."""
    series = _open(tmp_path, "time,stage_ft,discharge_ft3s,temperature_f\n2026-06-12T17:00:00Z,2,100,68\n")
    assert series.stage_m[0] == pytest.approx(2 * FOOT)
    assert series.discharge_m3s[0] == pytest.approx(100 * CFS)
    assert series.temperature_c[0] == pytest.approx(20.0)


def test_the_missing_code_in_a_file_is_unknown_in_every_unit(tmp_path: Path) -> None:
    """-999999 in a Fahrenheit or feet column never becomes a temperature or a level."""
    series = _open(
        tmp_path, "time,stage_ft,temperature_f\n2026-06-12T16:00:00Z,2,70\n2026-06-12T17:00:00Z,-999999,-999999\n"
    )
    assert series.quality.tolist() == ["provisional", "missing"]
    assert np.isnan(series.stage_m[1])
    assert np.isnan(series.temperature_c[1])


def test_rows_after_the_plans_clock_are_left_out_aloud(tmp_path: Path) -> None:
    """A file that goes on is cut at the clock, and the notes say how many rows were later."""
    series = _open(tmp_path, "time,stage_m\n2026-06-12T17:00:00Z,1\n2026-06-13T01:00:00Z,2\n2026-06-13T02:00:00Z,3\n")
    assert len(series) == 1
    assert any(note.startswith("2 values are later") for note in series.notes)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "first line"),
        ("when,level\n1,2\n", "first line"),
        ("time,stage_m\n", "no row"),
        ("time,stage_m\n2026-06-12T17:00:00,1\n", "line 2, time '2026-06-12T17:00:00': no offset"),
        ("time,stage_m\nyesterday,1\n", "line 2, time 'yesterday'"),
        ("time,stage_m\n2026-06-12T17:00:00Z,1\n2026-06-12T18:00:00Z,high\n", "line 3, stage_m 'high'"),
        ("time,stage_m\n2026-06-12T17:00:00Z,inf\n", "line 2, stage_m 'inf'"),
        ("time,stage_m\n2026-06-12T17:00:00Z\n", "line 2 has 1 cells"),
        ("time,stage_m,qualifier\n2026-06-12T17:00:00Z,1,dubious\n", "qualifier 'dubious'"),
        ("time,stage_m,stage_ft\n2026-06-12T17:00:00Z,1,2\n", "two columns give stage_m"),
        ("time,stage_m\n2020-06-12T17:00:00Z,1\n", "run from 2020-06-12"),
    ],
)
def test_a_bad_file_is_named_with_line_and_value(tmp_path: Path, text: str, words: str) -> None:
    """The message says which line and value, and has exit code 4."""
    with pytest.raises(GaugeReplyUnfit) as caught:
        _open(tmp_path, text)
    assert words in str(caught.value)
    assert caught.value.exit_code == 4


def test_a_missing_file_says_so(tmp_path: Path) -> None:
    """A file that is not there is told as that."""
    with pytest.raises(GaugeReplyUnfit, match="could not be read"):
        open_series("file:none.csv", now=NOW, folder=tmp_path)


@given(st.text(max_size=200))
def test_no_text_makes_the_reader_fall_over(text: str) -> None:
    """Whatever a file holds, the answer is an error that a person can read."""
    with pytest.raises(PlumbrunError):
        file.parse(text.encode("utf-8", "surrogatepass"), "file:x.csv")


@given(st.lists(st.lists(st.sampled_from(["2026-06-12T17:00:00Z", "1", "", "nan", "x", "9e400", "-999999"]))))
def test_no_table_makes_the_reader_fall_over(rows: list[list[str]]) -> None:
    """With a right header any body gives rows or a readable error."""
    text = "time,stage_m,discharge_m3s\n" + "\n".join(",".join(row) for row in rows)
    try:
        series = file.parse(text.encode(), "file:x.csv")
    except PlumbrunError:
        return
    assert (np.diff(series.times).astype(int) > 0).all()
