"""The whole demo plan, with its full tackle box: what the angler reads must hang together."""

from __future__ import annotations

from typing import Any

import pytest

from planner.evening import DEMO_NOW, plan_folder, unpack_demo


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The plan of the demo river's next day."""
    room = tmp_path_factory.mktemp("demo")
    folder, _ = unpack_demo(room)
    return plan_folder(folder, now=DEMO_NOW, out=room / "plan").plan


def _rows(plan: dict[str, Any], spot: str) -> list[dict[str, Any]]:
    return [row for step in plan["ladder"] for row in step["spots"] if row["id"] == spot]


def test_every_spot_of_the_demo_has_an_answer(plan: dict[str, Any]) -> None:
    """The demo's box reaches its spots at tomorrow's level."""
    assert [spot["id"] for spot in plan["spots"] if spot["best"] is None] == []


def test_no_answer_goes_missing_between_two_levels_that_have_one(plan: dict[str, Any]) -> None:
    """A level is not hopeless when 6 cm more and 6 cm less are well fished."""
    for spot in plan["spots"]:
        times = [row["band_time_s"] or 0.0 for row in _rows(plan, spot["id"])]
        for low, here, high in zip(times, times[1:], times[2:], strict=False):
            assert here > 0.0 or min(low, high) < 2.0, spot["id"]


def test_the_arrival_answer_is_worth_what_its_neighbours_on_the_ladder_are(plan: dict[str, Any]) -> None:
    """The answer solved directly is not far under the tables' on both sides of it."""
    for spot in plan["spots"]:
        rows = _rows(plan, spot["id"])
        stages = [step["stage_m"] for step in plan["ladder"]]
        above = next(i for i, stage in enumerate(stages) if stage >= spot["stage_m"])
        around = min(rows[above - 1]["band_time_s"] or 0.0, rows[above]["band_time_s"] or 0.0)
        assert spot["best"]["band_time_s"] > 0.5 * around - 1.0, spot["id"]


def test_the_rods_to_rig_carry_most_of_the_spots(plan: dict[str, Any]) -> None:
    """At most three rods, and no more than one spot's line is left at home."""
    rods = {rod["line"] for rod in plan["rods"]}
    assert 1 <= len(rods) <= 3
    assert sum(spot["best"]["line"] not in rods for spot in plan["spots"]) <= 1


def test_more_water_never_lowers_a_caution_nor_the_depth(plan: dict[str, Any]) -> None:
    """Along the ladder cautions and depths only rise."""
    levels = [step["caution"]["level"] or 0 for step in plan["ladder"]]
    assert levels == sorted(levels)
    for spot in plan["spots"]:
        depths = [row["depth_m"] for row in _rows(plan, spot["id"])]
        assert depths == sorted(depths)
