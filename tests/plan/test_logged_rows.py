"""Rows of the log that nothing is learned from: each is named with its line and the reason."""

from __future__ import annotations

import math
from types import SimpleNamespace

import pandas as pd
import pytest

from planner.plan.logged import logged_swims, row_level

SOUND = {
    "spot": "a", "line": "sink 3", "fly": "leech", "touched": "no", "hung": "", "countdown_s": "8", "caught": "0",
    "level": "", "time": "2026-06-12T18:00-05:00", "file_line": 2,
}  # fmt: skip
WATER = SimpleNamespace(view=SimpleNamespace(record=None, series=None))


def notes(*rows):
    """What is said of rows, none of which teaches anything."""
    river = SimpleNamespace(
        spots=(SimpleNamespace(id="a", run="r"),),
        tackle=SimpleNamespace(lines=(SimpleNamespace(name="sink 3"),), flies=(SimpleNamespace(name="leech"),)),
        log=pd.DataFrame([{**SOUND, **row} for row in rows]),
        timezone="America/Chicago",
    )
    swims, said = logged_swims(river, {"r": WATER})
    assert swims == []
    return said


@pytest.mark.parametrize(
    ("row", "because"),
    [
        ({"spot": "b"}, "name no spot of spots.geojson"),
        ({"line": "sink 9"}, "name a line or a fly that is not in the box"),
        ({"fly": "brick"}, "name a line or a fly that is not in the box"),
        ({"touched": "perhaps"}, "do not say whether the bed was touched"),
        ({"countdown_s": ""}, "give no seconds of countdown"),
        ({"countdown_s": "-1"}, "give no seconds of countdown"),
        ({"countdown_s": "601"}, "give no seconds of countdown"),
        ({"caught": "1"}, "ended with a fish before the swim was over"),
        ({}, "have no level, and the gauge's record does not reach back to their time"),
        ({"time": "yesterday"}, "have no level, and the gauge's record does not reach back to their time"),
        ({"level": "three feet"}, "have no level, and the gauge's record does not reach back to their time"),
    ],
)
def test_a_row_that_teaches_nothing_is_named_with_its_reason(row, because):
    """The line of the file and why it is left."""
    assert notes(row) == (f"log.csv, line 2: {because}; not learned from.",)


def test_rows_left_for_one_reason_are_said_in_one_sentence():
    """Ten rows of an unknown spot make one note with the first eight lines."""
    (said,) = notes(*({"spot": "b", "file_line": number} for number in range(2, 12)))
    assert said == "log.csv, lines 2, 3, 4, 5, 6, 7, 8, 9 and more: name no spot of spots.geojson; not learned from."


def test_a_level_written_in_the_row_counts_before_the_gauges_record():
    """3 ft and 850 ft³/s are read as they stand; a row without one has none where there is no record."""
    assert row_level({"level": "3 ft"}, WATER).stage_m == pytest.approx(0.9144)
    assert row_level({"level": "850 cfs"}, WATER).discharge_m3s == pytest.approx(24.0693, rel=1e-4)
    assert math.isnan(row_level({"level": "nan", "time": "2026-06-12T18:00-05:00"}, WATER).stage_m)
