"""Under ice no output tells level, depth, current or count from the gauge: not the plan alone."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from click.testing import CliRunner

from planner.cli import main
from planner.evening import flow_report, flow_text
from planner.explain import why_report, why_text
from planner.plan.ice import ICED
from tests.desk.desks import NOW, Caller
from tests.rivers import EXAMPLES, small_river


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo river, whose gauge has reported ice for ten hours."""
    folder = small_river(EXAMPLES / "demo", tmp_path_factory.mktemp("iced") / "river")
    rows = (folder / "gauge.csv").read_text(encoding="utf-8").splitlines()
    rows[-40:] = [row.rpartition(",")[0] + ",ice" for row in rows[-40:]]
    (folder / "gauge.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def desk(folder: Path) -> Caller:
    """A desk on it."""
    return Caller(folder)


def test_a_run_by_itself_is_not_read_from_an_iced_gauge(folder: Path) -> None:
    """Regression: `plumbrun flow` told depth and current of the water that the ice had backed up."""
    report = flow_report(folder, "chute", now=NOW)
    assert math.isnan(report["velocity_used_m_s"])
    assert math.isnan(report["max_depth_m"])
    assert report["caution"]["level"] == 3
    said = flow_text(report, folder, "us")
    assert ICED in said
    assert "current             unknown" in said
    stated = flow_report(folder, "chute", level="6.2 ft", now=NOW)
    assert stated["velocity_used_m_s"] > 0


def test_a_run_is_not_drawn_from_an_iced_gauge(folder: Path, tmp_path: Path) -> None:
    """The drawing says why it is not made, and is made at a stated level."""
    asked = ["flow", str(folder), "--run", "chute", "--now", NOW, "--svg", str(tmp_path / "run.svg")]
    refused = CliRunner().invoke(main, asked)
    assert refused.exit_code == 4
    assert "reports ice" in refused.stderr
    assert not (tmp_path / "run.svg").exists()
    assert CliRunner().invoke(main, [*asked, "--level", "6.2 ft"]).exit_code == 0


def test_the_chain_of_a_spot_ends_at_the_iced_gauge(folder: Path) -> None:
    """Regression: `plumbrun why` went on from there to a line, a fly and seconds to count."""
    report = why_report(folder, "pool-ledge", now=NOW)
    assert [step["title"] for step in report["chain"]] == ["The gauge", "No answer"]
    said = why_text(report, "us")
    assert ICED in " ".join(said.split())
    assert "count" not in said.lower()
    assert "One step" not in said
    assert report["spot"]["tips"] == []


def test_the_desk_shows_no_water_under_ice(desk: Caller) -> None:
    """Cells, section and a spot's answer are none at the reading, and there at a level of one's own."""
    seen = desk.get("/api/see/run/long-pool")
    assert seen["cells"] == []
    assert seen["state"]["velocity_used_m_s"] is None
    assert seen["limits"][0] == ICED
    there = desk.get("/api/see/run/long-pool?level=6%20ft")
    assert there["cells"]
    assert ICED not in there["limits"]
    lon, lat = there["cells"][0][:2]
    section = desk.get(f"/api/see/section/long-pool?lon={lon}&lat={lat}")
    assert section["level_m"] is None
    assert section["limits"][0] == ICED
    spot = desk.post("/api/plan/spot", {"spot": "pool-ledge"})["spot"]
    assert spot["best"] is None
    assert spot["depth_m"] is None
    assert spot["none_because"] == ICED
