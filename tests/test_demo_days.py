"""Three demo evenings: what a newcomer reads first says what to do."""

from __future__ import annotations

import importlib.util
import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from planner.cli import main
from planner.errors import UsageMistake
from planner.evening import DEMO_NOW, plan_folder, unpack_demo
from tests.rivers import EXAMPLES, small_river

SCREEN = 24


def gauge_rows(folder: Path) -> list[str]:
    """Rows of the demo gauge."""
    return (folder / "gauge.csv").read_text(encoding="utf-8").splitlines()


@pytest.fixture(scope="module")
def screens(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[str]]:
    """The first screenful of each evening, for the demo with one wading spot and a short tackle box."""
    found = {}
    for kind in ("ordinary", "rising", "flood"):
        base = tmp_path_factory.mktemp(kind)
        whole, _ = unpack_demo(base / "demo", kind)
        small = small_river(whole, base / "river", spots=4)
        shutil.copy(whole / "gauge.csv", small / "gauge.csv")
        found[kind] = plan_folder(small, now=DEMO_NOW, out=base / "plan").summary.splitlines()[:SCREEN]
    return found


def test_the_files_are_those_that_the_script_writes(tmp_path: Path) -> None:
    """The evenings come out of their script, byte for byte."""
    spec = importlib.util.spec_from_file_location("make_demo_days", EXAMPLES / "make_demo_days.py")
    assert spec is not None
    assert spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    script.write_days(tmp_path)
    for kind in ("rising", "flood"):
        assert (tmp_path / f"{kind}.csv").read_bytes() == (EXAMPLES / "demo-days" / f"{kind}.csv").read_bytes()


@pytest.mark.parametrize("kind", ["rising", "flood"])
def test_another_evening_changes_the_last_two_days_and_nothing_else(tmp_path: Path, kind: str) -> None:
    """As many rows, the same times, the same past."""
    plain, _ = unpack_demo(tmp_path / "a")
    other, now = unpack_demo(tmp_path / "b", kind)
    a, b = gauge_rows(plain), gauge_rows(other)
    assert [row.split(",")[0] for row in a] == [row.split(",")[0] for row in b]
    changed = [i for i, (one, two) in enumerate(zip(a, b, strict=True)) if one != two]
    assert changed
    assert min(changed) >= len(a) - 193
    assert now == DEMO_NOW


def test_an_evening_that_is_none_is_refused(tmp_path: Path) -> None:
    """The message names the kinds there are."""
    with pytest.raises(UsageMistake, match="rising"):
        unpack_demo(tmp_path, "drought")
    assert CliRunner().invoke(main, ["demo", "--day-kind", "drought"]).exit_code == 2


def test_the_ordinary_evening_says_what_to_mind_and_where_the_day_turns(screens: dict[str, list[str]]) -> None:
    """Nothing asks to stay off; the first lines name a hazard, what to wear, and the level that turns the day."""
    first = screens["ordinary"]
    assert first[0].startswith(("CAUTION 1 OF 3", "CAUTION 2 OF 3"))
    said = " ".join(" ".join(first).split())
    assert "jacket on" in said
    assert "Look before you are upon it" in said
    assert "Stay off above" in said


def test_the_rising_evening_says_that_it_rises_and_to_wait(screens: dict[str, list[str]]) -> None:
    """The rise is in the first lines and lifts what the level raises."""
    said = " ".join(" ".join(screens["rising"]).split())
    assert screens["rising"][0].startswith("CAUTION 3 OF 3: STAY OFF")
    assert "The river is rising: one step higher." in said


def test_the_flood_evening_says_stay_off_and_that_the_river_is_closed(screens: dict[str, list[str]]) -> None:
    """The first three lines are enough."""
    said = " ".join(" ".join(screens["flood"][:3]).split())
    assert said.startswith("CAUTION 3 OF 3: STAY OFF")
    assert "The river is closed to all craft" in said


def test_the_evenings_are_written_for_the_same_plan_folder(tmp_path: Path) -> None:
    """A demo unpacked twice holds the evening asked for last."""
    unpack_demo(tmp_path, "flood")
    folder, _ = unpack_demo(tmp_path)
    assert gauge_rows(folder) == gauge_rows(EXAMPLES / "demo")
    assert json.loads((folder / "runs.geojson").read_text(encoding="utf-8"))["features"]
