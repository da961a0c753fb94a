"""Flood categories above another zero than the gauge's are none of this gauge's."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from planner.gauges import noaa
from planner.gauges.series import Series
from planner.plan.readings import look_beside
from planner.units import FOOT
from tests.gauges import replies
from tests.water import made

GAUGE = replies.DATA / "nwps_gauge_NRKW1_2026-10_excerpt.json"
STAGEFLOW = replies.DATA / "nwps_stageflow_NRKW1_2026-10-07_excerpt.json"
NOW = datetime(2026, 10, 7, 21, tzinfo=UTC)
STATION = "usgs:12210700"


def gauge(stage_ft: float) -> Series:
    """A record of a day at this stage."""
    return made.series(np.full(96, stage_ft * FOOT), end=NOW, station=STATION)


def reading(folder: Path, stage_ft: float, valid: str) -> Path:
    """The recorded gauge reply with a status that reads this stage."""
    reply = json.loads(GAUGE.read_bytes())
    seen = {"primary": stage_ft, "primaryUnit": "ft", "secondary": -999, "secondaryUnit": "kcfs", "validTime": valid}
    reply["status"] = {"observed": seen}
    path = folder / "gauge.json"
    path.write_text(json.dumps(reply), encoding="utf-8")
    return path


@pytest.mark.parametrize(("stage_ft", "used"), [(138.0, True), (137.0, True), (8.0, False), (268.0, False)])
def test_categories_are_held_against_the_agencys_own_readings(stage_ft: float, used: bool) -> None:
    """Regression: limits 40 m above what the gauge can read, or of the wrong gauge, read as held and not reached."""
    beside = look_beside(STATION, NOW, (GAUGE, STAGEFLOW), "noaa:NRKW1", False, None, gauge(stage_ft))
    assert bool(beside.categories) is used
    assert (not beside.notes) is used
    if not used:
        assert "The flood categories of noaa:NRKW1 are not used" in beside.notes[0]
        assert STATION in beside.notes[0]


def test_a_status_alone_tells_the_zero(tmp_path: Path) -> None:
    """Without a forecast the reading in the gauge's own reply is compared, at its own time."""
    at = reading(tmp_path, 138.0, "2026-10-07T12:00:00Z")
    assert look_beside(STATION, NOW, (at,), "noaa:NRKW1", False, None, gauge(138.2)).categories
    assert not look_beside(STATION, NOW, (at,), "noaa:NRKW1", False, None, gauge(8.0)).categories
    before = reading(tmp_path, 138.0, "2026-09-07T12:00:00Z")
    assert look_beside(STATION, NOW, (before,), "noaa:NRKW1", False, None, gauge(8.0)).categories


@pytest.mark.parametrize("valid", ["", "0001-01-01T00:00:00Z", "yesterday"])
def test_a_status_that_cannot_be_read_leaves_the_categories(tmp_path: Path, valid: str) -> None:
    """What is odd beside them takes no category away."""
    found = noaa.parse_categories(reading(tmp_path, 138.0, valid).read_bytes())
    assert found is not None
    assert found.seen_at is None
    assert math.isnan(found.seen_stage_m)
    assert len(found.known_stages()) == 4
    whole = noaa.parse_categories(reading(tmp_path, 138.0, "2026-10-07T12:00:00Z").read_bytes())
    assert whole is not None
    assert whole.seen_at == NOW - timedelta(hours=9)
    assert whole.seen_stage_m == pytest.approx(138.0 * FOOT)
