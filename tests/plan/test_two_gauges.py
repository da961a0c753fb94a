"""A river with two gauges: what the second one reads is a reason for the whole day."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from planner.caution import Conditions, assess_beside, assess_river, hold_record, worst
from planner.files import plain
from planner.plan.ask import request
from planner.plan.compute import compute_plan
from planner.river import read_river
from tests.rivers import EXAMPLES, small_river

UPPER = "file:upper.csv"
LIMIT = """
[[threshold]]
input = "stage"
gauge = "file:upper.csv"
level = 3
at = 4.0
unit = "m"
text = "Closed at the upper gauge"
source = "made"
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo river whose last run has a gauge of its own, which reads 3 m more."""
    folder = small_river(EXAMPLES / "demo", tmp_path_factory.mktemp("two") / "river")
    head, *rows = (folder / "gauge.csv").read_text(encoding="utf-8").splitlines()
    cells = [row.split(",") for row in rows]
    higher = [",".join([cell[0], f"{float(cell[1]) + 3:.3f}" if cell[1] else "", *cell[2:]]) for cell in cells]
    (folder / "upper.csv").write_text("\n".join([head, *higher]) + "\n", encoding="utf-8")
    settings = (folder / "river.toml").read_text(encoding="utf-8")
    settings = settings.replace('gauges = ["file:gauge.csv"]', f'gauges = ["file:gauge.csv", "{UPPER}"]') + LIMIT
    (folder / "river.toml").write_text(settings, encoding="utf-8")
    drawn = json.loads((folder / "runs.geojson").read_text(encoding="utf-8"))
    drawn["features"][-1]["properties"]["gauge"] = UPPER
    (folder / "runs.geojson").write_text(json.dumps(drawn), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def plan(folder: Path) -> dict:
    """Its plan."""
    river = read_river(folder)
    return plain(compute_plan(river, request(river.timezone, now="2026-06-12T18:00-05:00"), "us"))


def test_a_limit_at_the_second_gauge_counts_for_the_day(plan: dict) -> None:
    """Regression: the day read heads-up, and the limit "not known", with its gauge 0.9 m above it on the same page."""
    assert plan["caution"]["level"] == 3
    first = plan["caution"]["reasons"][0]
    assert (first["rule"], first["where"], first["level"]) == ("F1.3", UPPER, 3)
    assert first["text"].startswith(f"{UPPER}: The gauge may reach 16.")
    assert not [r for r in plan["caution"]["reasons"] if r["rule"].startswith("F1") and r["level"] is None]


def test_no_hour_and_no_step_of_the_first_gauge_forgets_the_second(plan: dict) -> None:
    """Whatever the first gauge reads at the ramp, the river is closed at the second."""
    assert {hour["level"] for hour in plan["hours"]} == {3}
    assert {row["caution"]["level"] for row in plan["ladder"]} == {3}


def test_the_desk_says_the_same(folder: Path) -> None:
    """The caution that the desk shows before a whole plan looks at both gauges too."""
    from planner.desk.live import Live
    from planner.desk.waters import Waters

    river = read_river(folder)
    asked = request(river.timezone, now="2026-06-12T18:00-05:00")
    live = Live(Waters())
    try:
        assert live.day_caution(river, asked).level == 3
    finally:
        live.stop()


def test_another_gauge_says_under_its_name_what_is_its_own() -> None:
    """Level, rank and rise stand beside those of the first gauge; weather and daylight are not said twice."""
    calm = Conditions(data_age_min=10, quality="provisional", stage_m=1.0, observed_stage_m=1.0, rise_m_3h=0.0)
    flood = Conditions(
        data_age_min=10, quality="provisional", stage_m=4.0, observed_stage_m=4.0, action_stage_m=2.0,
        minor_stage_m=3.0, rise_m_3h=0.0, water_temp_c=8.0, thunder_chance=90.0, flood_alert="warning",
    )  # fmt: skip
    beside = assess_beside(flood, gauge="usgs:2")
    raised = {(r["rule"], r["where"]): r["level"] for r in beside.reasons if r["level"]}
    assert raised == {("F4", "usgs:2"): 3, ("F4o", "usgs:2"): 3, ("C1", "usgs:2"): 2, ("C2", "usgs:2"): 3}
    both = worst([assess_river(calm, gauge="usgs:1", elsewhere=["usgs:2"]), beside])
    assert both.level == 3
    assert [r["where"] for r in both.reasons if r["rule"] == "F4"] == ["usgs:2", ""]
    assert [r["level"] for r in both.reasons if r["rule"] == "S1"] == [None]


def test_cold_water_at_one_gauge_meets_high_water_at_the_other() -> None:
    """Regression: the first of two gauges had no thermometer, and cold with high water was not put together."""
    high = Conditions(data_age_min=10, quality="provisional", stage_m=2.5, action_stage_m=2.0, rise_m_3h=0.0)
    cold = Conditions(data_age_min=10, quality="provisional", water_temp_c=8.0, rise_m_3h=0.0)
    both = worst([assess_river(high, gauge="usgs:1"), assess_beside(cold, gauge="usgs:2")])
    assert "C2" in [reason["rule"] for reason in both.reasons if reason["level"]]
    assert both.level == 3


def test_limits_of_other_gauges_are_left_to_them() -> None:
    """Of limits at three gauges each assessment takes its own, under the number that the folder gives it."""
    limits = [
        {"input": "stage", "at_si": 1.0, "level": level, "side": "above", "gauge": gauge, "text": "", "source": "x"}
        for level, gauge in ((1, "usgs:1"), (2, "usgs:2"), (3, "usgs:3"))
    ]
    seen = Conditions(data_age_min=10, quality="provisional", stage_m=2.0, rise_m_3h=0.0)
    both = worst(
        [assess_river(seen, limits, gauge="usgs:1", elsewhere=["usgs:2"]), assess_beside(seen, limits, gauge="usgs:2")]
    )
    found = {r["rule"]: (r["where"], r["level"]) for r in both.reasons if r["rule"].startswith("F1")}
    assert found == {"F1.1": ("", 1), "F1.2": ("usgs:2", 2), "F1.3": ("", None)}


def test_what_a_gauge_raised_holds_when_it_falls_silent() -> None:
    """Regression: the cold that the second gauge had raised was gone with its thermometer; its flood was held."""
    first = assess_river(Conditions(data_age_min=10, quality="provisional", rise_m_3h=0.0), gauge="usgs:1")
    told = Conditions(
        data_age_min=10, quality="provisional", stage_m=4.0, minor_stage_m=3.0, rise_m_3h=0.0, water_temp_c=8.0
    )
    before = worst([first, assess_beside(told, gauge="usgs:2")]).as_dict()
    after = worst([first, assess_beside(Conditions(quality="missing"), gauge="usgs:2")]).as_dict()
    held = {(r["rule"], r["where"]): r["level"] for r in hold_record(before, after)["reasons"] if r["level"]}
    assert held[("F4", "usgs:2")] == 3
    assert held[("C1", "usgs:2")] == 2
    good = replace(told, stage_m=1.0, action_stage_m=2.0, water_temp_c=23.0)
    clear = worst([first, assess_beside(good, gauge="usgs:2")]).as_dict()
    assert not [r for r in hold_record(before, clear)["reasons"] if r["level"] and r["rule"] in ("F4", "C1", "C2")]
