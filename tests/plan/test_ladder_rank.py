"""The flow of each step of the ladder is ranked among the date's past, not that of the day as expected."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from planner.files import plain
from planner.gauges.statistics import DayNormal
from planner.plan import readings
from planner.plan.ask import request
from planner.plan.compute import compute_plan
from planner.plan.readings import Beside, GaugeView
from planner.river import read_river
from tests.rivers import EXAMPLES, small_river

# Made: every day of the year has 40 to 60 m³/s in nine of ten years, so that the demo's 44 m³/s are an ordinary flow.
PERCENTILES = {5.0: 38.0, 10.0: 40.0, 25.0: 43.0, 50.0: 47.0, 75.0: 53.0, 90.0: 60.0, 95.0: 62.0}
NORMAL = DayNormal(40, PERCENTILES, 30.0, 66.0)
YEAR = {(month, day): NORMAL for month in range(1, 13) for day in range(1, 32)}


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> dict:
    """The demo's plan with a past of its flow."""
    river = read_river(small_river(EXAMPLES / "demo", tmp_path_factory.mktemp("rank") / "river"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(readings, "open_normals", lambda *_, **__: YEAR)
        return plain(compute_plan(river, request(river.timezone, now="2026-06-12T18:00-05:00"), "us"))


def ranked(row: dict, rule: str) -> int | None:
    """Level of a rule at a step; 0 when it raised nothing."""
    return next((reason["level"] for reason in row["caution"]["reasons"] if reason["rule"] == rule), 0)


def test_a_step_at_the_highest_flow_on_record_says_stay_off(plan: dict) -> None:
    """Regression: every step had the rank of the expected flow, so that a flood on the slider was an ordinary day."""
    steps = [(row["discharge_m3s"], ranked(row, "F3"), ranked(row, "F2")) for row in plan["ladder"]]
    assert max(flow for flow, _, _ in steps) > 66.0
    assert {f3 for flow, f3, _ in steps if flow > 66.0} == {3}
    assert {f2 for flow, _, f2 in steps if flow > 60.0} == {1}
    assert {f3 for flow, f3, _ in steps if flow < 45.0} == {0}
    assert not np.isnan(plan["gauges"][0]["percentile"]["season"])


def test_a_step_whose_flow_is_not_known_is_not_ranked() -> None:
    """A level without a relation to the flow says nothing of the date's past; the day's own rank does not stand in."""
    view = GaugeView("usgs:1", None, None, None, beside=Beside(normals=YEAR), day=date(2026, 6, 13))  # type: ignore[arg-type]
    assert view.rank(float("nan")) == {"percentile_season": None, "percentile_all_days": None}
    assert view.rank(47.0)["percentile_season"] == pytest.approx(50.0)
    assert GaugeView("usgs:1", None, None, None, beside=view.beside).rank(47.0)["percentile_season"] is None  # type: ignore[arg-type]
