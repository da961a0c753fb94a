"""Trouble of one instrument is not that of the others beside it."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from planner.caution import Conditions, assess_river
from planner.caution.gather import gather_conditions
from planner.gauges import Quality, Series
from planner.gauges.assemble import Column, assemble, join, rank
from planner.river import read_river
from planner.water import expect
from tests.rivers import EXAMPLES
from tests.water import made

FLOOD = {"action": 2.0, "minor": 2.5, "moderate": 3.0, "major": 3.5}
N, BAD = 2000, 40  # the last ten hours
TIMES = made.series(np.zeros(N)).times
LATE = np.arange(N) >= N - BAD


def column(values: np.ndarray, late: Quality = Quality.PROVISIONAL) -> Column:
    """Values of which the last hours are marked."""
    return Column(TIMES, values, np.where(LATE, rank(late), rank(Quality.PROVISIONAL)).astype(np.int8))


def gauge(stage: Column, discharge: Column, **more: Column) -> Series:
    """A gauge with these instruments."""
    return assemble("usgs:01541000", "made", {"stage_m": stage, "discharge_m3s": discharge, **more}, [])


def conditions(series: Series) -> Conditions:
    """As the plan takes them."""
    expected = expect(series, made.NOW, made.NOW, made.NOW + timedelta(hours=8))
    return gather_conditions(read_river(EXAMPLES / "demo"), expected, series, made.NOW, categories=FLOOD)


@pytest.mark.parametrize("value", [np.nan, 20.0])
def test_a_failed_flow_meter_hides_no_flood_of_the_stage(value: float) -> None:
    """Regression: with the discharge marked as equipment trouble the stage in major flood was passed over as well."""
    series = gauge(
        column(np.where(LATE, 4.0, 1.0)), column(np.where(LATE, value, 20.0), Quality.EQUIPMENT)
    )  # fmt: skip
    found = conditions(series)
    assert found.observed_stage_m == 4.0
    caution = assess_river(found)
    assert {r["rule"]: r["level"] for r in caution.reasons if r["level"]} == {"F4": 3, "F4o": 3}
    assert found.quality == "missing"  # half of the reading is: what it does not raise it does not clear
    assert any(r["rule"] == "X1" and r["level"] is None for r in caution.reasons)
    assert np.isnan(series.discharge_m3s[-1])
    assert any("discharge" in note and "missing" in note for note in series.notes)


def test_a_failed_stage_leaves_the_flow() -> None:
    """And the other way round."""
    series = gauge(column(np.full(N, 9.0), Quality.EQUIPMENT), column(np.full(N, 20.0)))
    assert np.isnan(series.stage_m[-1])
    assert series.discharge_m3s[-1] == 20.0
    assert series.quality[-1] == "missing"


def test_both_failed_is_equipment_trouble() -> None:
    """With no good one beside it the reading is left as it is, and marked."""
    series = gauge(column(np.full(N, 1.0), Quality.EQUIPMENT), column(np.full(N, 20.0), Quality.EQUIPMENT))
    assert series.quality[-1] == "equipment"
    assert series.stage_m[-1] == 1.0
    alone = assemble("usgs:01541000", "made", {"stage_m": column(np.full(N, 1.0), Quality.EQUIPMENT)}, [])
    assert alone.quality[-1] == "equipment"


def test_ice_on_the_flow_is_ice_on_the_river() -> None:
    """Ice backs the water up: the stage beside it is no better."""
    series = gauge(column(np.full(N, 1.0)), column(np.full(N, np.nan), Quality.ICE))
    assert series.quality[-1] == "ice"


def test_a_failed_thermometer_tells_no_temperature() -> None:
    """Regression: 22 °C of a sensor marked as failed stood for the water, and no cold was raised or missed."""
    series = gauge(
        column(np.full(N, 1.0)), column(np.full(N, 20.0)), temperature_c=column(np.full(N, 22.0), Quality.EQUIPMENT)
    )
    assert np.isnan(series.temperature_c[-BAD:]).all()
    assert series.quality[-1] == "provisional"
    assert series.temperature_c[0] == 22.0
    joined = join([series.rows(np.arange(N) < N // 2), series.rows(np.arange(N) >= N // 2)])
    np.testing.assert_array_equal(joined.temperature_c, series.temperature_c)


def test_a_failed_thermometer_is_no_failed_gauge() -> None:
    """Regression: a temperature of its own minute, marked as failed, made the whole reading equipment trouble."""
    own = Column(TIMES[-1:] + np.timedelta64(7, "m"), np.array([np.nan]), np.array([rank(Quality.EQUIPMENT)], np.int8))
    series = gauge(column(np.full(N, 1.0)), column(np.full(N, 20.0)), temperature_c=own)
    later = made.NOW + timedelta(minutes=10)
    assert str(expect(series, later, later, later + timedelta(hours=8)).quality) == "provisional"


def test_joining_keeps_a_good_thermometer_beside_a_failed_gauge() -> None:
    """The word of a row is that of stage and discharge; joined records do not hand it on to the temperature."""
    spoilt = column(np.full(N, 1.0), Quality.EQUIPMENT)
    series = gauge(spoilt, column(np.full(N, 20.0), Quality.EQUIPMENT), temperature_c=column(np.full(N, 15.0)))
    joined = join([series.rows(np.arange(N) < N - 4), series.rows(np.arange(N) >= N - 4)])
    assert joined.temperature_c[-1] == 15.0
    assert joined.quality[-1] == "equipment"
