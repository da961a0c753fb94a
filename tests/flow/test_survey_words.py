"""What the days of survey say, sentence by sentence, for days made by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from planner.flow.days import DaySeen, SurveyDay, SurveyFit
from planner.flow.doubt import Doubt
from planner.flow.survey_words import survey_record, survey_words
from tests.flow import box


def surveyed(**changes):
    """A flume sounded on three days, the last on ground of its own."""
    days = (
        SurveyDay(DaySeen("2026-05-05", 40, 20.0, 1.5, 0.0, 0.0, True), 0.01, -0.01),
        SurveyDay(DaySeen("2026-05-15", 30, 35.0, 1.9, 0.42, 0.03), 0.40, 0.02),
        SurveyDay(DaySeen("2026-05-25", 9, 50.0, 2.2, math.nan, math.nan), 0.7, math.nan),
    )
    fit = SurveyFit(days, 0.1, 0.0, 0.2, 0.036, 0.031, 0.042, 0.0012, 0.0009, 0.0016)
    return box.flume(**({"fit": fit} | changes))


def test_each_day_is_told_by_what_is_known_of_it():
    """The reference as level 0, the second with its level seen and by the relation, the third without one."""
    lines = survey_words(survey_record(surveyed()), "metric")
    assert lines == [
        "survey 2026-05-05: 40 soundings at 20.0 m³/s, the reference: its water is level 0",
        "survey 2026-05-15: 30 soundings at 35.0 m³/s, level seen 0.42 m ± 0.03 m, by the relation 0.40 m",
        "survey 2026-05-25: 9 soundings at 50.0 m³/s, no ground shared with the reference",
        "n 0.036 (0.031 to 0.042) and slope 0.00120 (0.00090 to 0.00160) after the survey: depth and discharge tell "
        "only the root of the slope over n, what was known before shares it out",
    ]


def test_what_is_not_known_is_not_told():
    """No relation, no n: as NaN in a record just made, as null in one that was read from a file."""
    for unknown in (math.nan, None):
        record = survey_record(surveyed())
        record["days"][1]["fitted_m"] = record["n"] = record["days"][2]["level_m"] = unknown
        lines = survey_words(record, "metric")
        assert lines[1].endswith("± 0.03 m")
        assert lines[2].endswith("no ground shared with the reference")
        assert len(lines) == 3


@pytest.mark.parametrize(("units", "total"), [("metric", "0.13 m"), ("us", "0.43 ft")])
def test_a_sounding_s_doubt_is_told_by_its_parts(units, total):
    """Each part once, the total before them: 3, 4 and 12 cm make 13."""
    parts = (np.full(5, value) for value in (0.03, 0.04, 0.12, 0.0, 0.0, 0.0))
    last = survey_words(survey_record(surveyed(doubt=Doubt(*parts))), units)[-1]
    assert last.startswith(f"a sounding is sure to {total}: method ")
    assert "total" not in last
    assert [part.split(" ")[0] for part in last.split(": ")[1].split(", ")] == [
        *("method", "draft", "stage", "time", "position", "shift")
    ]
    assert survey_record(surveyed())["sounding_sd_m"] == {}
