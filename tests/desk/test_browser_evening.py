"""A whole evening as a new user has it: folder, gauge, runs and spots by hand, soundings, depth, plan, log, lesson."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser import launched
from tests.desk.browser import RECORDED_NOW, REPLY, ROOT, SLOW_MS, on_desk, running

pytestmark = pytest.mark.browser

RECORDED = ROOT / "examples" / "recorded" / "01541000"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """One running browser."""
    with launched() as found:
        yield found


def _shapes(name: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads((RECORDED / f"{name}.geojson").read_text())["features"]
    return found


def test_an_evening_from_nothing_to_what_the_log_taught(browser: Any, tmp_path: Path) -> None:
    """Without a folder: five questions, two runs and three spots by mouse and finger, soundings, depth, plan, page,
    a logged cast and its correction."""
    ring = _shapes("runs")[0]["geometry"]["coordinates"][0]
    half = len(ring) // 2
    bend = [ring[0], ring[half // 2], ring[half - 1], ring[half], ring[half + half // 2], ring[-2]]
    flow = _shapes("places")[2]["geometry"]["coordinates"]
    soundings = tmp_path / "evening.csv"
    rows = (RECORDED / "soundings.csv").read_text().splitlines()
    soundings.write_text("\n".join([*rows, "-78.677100,40.897000,-3.0,2018-06-01T10:00:00-04:00,rod"]) + "\n")

    with running(None, "--gauge-reply", str(REPLY), now=RECORDED_NOW, cwd=tmp_path) as (_, address), \
            on_desk(browser, address, has_touch=True) as desk:  # fmt: skip
        page = desk.page
        # five questions
        page.locator("#first-name").fill("Bend & Bar")
        page.locator("#first-gauge").fill("usgs:01541000")
        page.locator("#first-check").click()
        page.wait_for_function("() => /provisional/i.test(document.getElementById('first-near').textContent)")
        page.locator("#first-units").select_option("us")
        page.locator("#first-craft").select_option("raft")
        page.get_by_label("Latitude of the put-in").fill("40.8977706")
        page.get_by_label("Longitude of the put-in").fill("-78.6788199")
        page.locator("#first-go").click()
        page.locator("#tab-draw").wait_for()
        folder = tmp_path / "bend-bar"
        assert (folder / "river.toml").is_file()
        assert page.locator("#river-name").inner_text() == "Bend & Bar"

        # the flowline and the first run by mouse
        desk.see(-78.6771, 40.8970, 18)
        desk.tool("flowline")
        for lon, lat in flow[6:16:2]:
            desk.point(lon, lat)
        desk.finish()
        desk.saved()
        desk.tool("run")
        for lon, lat in bend:
            desk.point(lon, lat)
        desk.point(*bend[0])  # the first corner closes it
        desk.saved()
        page.locator("[data-member=name]").fill("Elder Bend")
        page.locator("[data-member=name]").press("Tab")
        page.locator("[data-member=banks]").select_option("both")
        page.get_by_text("Slope, bed, gauge and the rest").click()
        page.locator("[data-member=slope]").fill("0.00034")
        page.locator("[data-member=slope]").press("Tab")
        desk.saved()

        # the second run with a finger
        desk.see(-78.6757, 40.8964, 18)
        desk.tool("run", touch=True)
        for corner in ((-78.6763, 40.8966), (-78.6756, 40.8960), (-78.6752, 40.8962), (-78.6759, 40.8968)):
            desk.point(*corner, touch=True)
        desk.finish(touch=True)
        desk.saved()

        # three spots: two by mouse, one with a finger
        desk.see(-78.6771, 40.8970, 18)
        for touch, spot in ((False, _shapes("spots")[0]), (True, _shapes("spots")[1])):
            desk.tool("spot", touch=touch)
            for lon, lat in spot["geometry"]["coordinates"]:
                desk.point(lon, lat, touch=touch)
            desk.saved()
            desk.tool("pick")
        desk.tool("spot")
        desk.point(-78.6774, 40.8971)
        page.mouse.move(*desk.at(-78.6773, 40.8972))
        assert "°" in page.locator("#doing-size").inner_text()  # length and angle while it is drawn
        desk.point(-78.6773, 40.8972)
        desk.tool("pick")
        page.locator("[data-member=stance]").select_option("anchored")
        desk.saved()
        stored = json.loads((folder / "spots.geojson").read_text())["features"]
        assert len(stored) == 3
        assert {one["properties"]["run"] for one in stored} == {stored[0]["properties"]["run"]}
        assert len(json.loads((folder / "runs.geojson").read_text())["features"]) == 2

        # soundings: looked at first, then kept
        desk.tab("soundings")
        page.locator("#file-soundings").set_input_files(str(soundings))
        page.locator("#keep-soundings").wait_for()
        assert page.locator("[data-count=dropped]").inner_text() == "1"
        assert not (folder / "soundings.csv").exists()
        page.locator("#keep-soundings").click()
        page.wait_for_function(f"() => document.getElementById('sound-count').textContent === '{len(rows) - 1}'")

        # depth, with its letters, and the section under the pointer
        desk.tab("draw")
        page.locator('[data-thing="runs/run-1"]').click()
        desk.tab("water")
        page.locator("#water-run .legend").wait_for(timeout=SLOW_MS)
        page.mouse.move(*desk.at(*_shapes("spots")[0]["geometry"]["coordinates"][1]))
        page.locator("#section-says").wait_for()
        assert " ft deep" in page.locator("#section-says").inner_text()

        # the plan of the picked spot, then of the day, and its page
        desk.tab("draw")
        page.locator("[data-thing^='spots/']").first.click()
        page.locator("#spot-plan .plan-caution").wait_for(timeout=SLOW_MS)
        assert "Count down" in page.locator("#spot-plan").inner_text()
        desk.tab("plan")
        page.locator("#plan-day-go").click()
        page.locator("#open-page").wait_for(timeout=SLOW_MS)
        assert page.locator("#cautions-h").inner_text().startswith(("Caution", "No caution raised"))
        with page.context.expect_page() as opened:
            page.locator("#open-page").click()
        sheet = opened.value
        sheet.wait_for_load_state()
        assert sheet.locator("#spots tbody tr").count() == 3
        line = page.locator(".day-spots .rig-line").first.inner_text()
        fly = page.locator(".day-spots .rig-fly").first.inner_text()
        sheet.close()

        # the day after: what happened, and what was learned of it
        desk.tab("log")
        assert "the log is empty" in page.locator("#learned").inner_text()
        page.locator("#log-line").select_option(line)
        page.locator("#log-fly").select_option(fly)
        page.locator("#log-when").fill("2018-06-01T19:00-04:00")
        page.locator("#log-count").fill("6")
        page.get_by_label("touched", exact=True).check()
        page.locator("#log-go").click()
        page.locator("#learned-swims").wait_for(timeout=SLOW_MS)
        assert "1 cast logged" in page.locator("#learned-swims").inner_text()
        assert page.locator("#learned-spots tbody tr, #learned-lines tbody tr, #learned .finding").count() >= 1
        assert (folder / "log.csv").read_text().count("\n") == 2

        assert desk.outside == []
        assert desk.complaints == []
    shutil.rmtree(folder)
