"""The panels beside the map: soundings by hand, tackle and its physics, settings, thresholds, edits of a lost desk."""

from __future__ import annotations

import json
import os
import signal
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser import launched
from tests.desk.browser import SLOW_MS, on_desk, running
from tests.desk.desks import demo_folder

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """One running browser."""
    with launched() as found:
        yield found


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The demo river, to be edited."""
    return demo_folder(tmp_path / "river")


def test_soundings_are_set_on_the_map_and_typed_as_a_table(browser: Any, folder: Path) -> None:
    """One sounding by a click and a lead-line table along a line are looked at, kept, and taken out again by Undo."""
    before = (folder / "soundings.csv").read_text().splitlines()
    with running(folder) as (_, address), on_desk(browser, address) as desk:
        page = desk.page
        desk.ready()
        desk.see(-90.8068, 43.2043, 19)
        desk.tool("sound")
        desk.point(-90.8068, 43.2043)
        single = page.locator("#sound-single")
        assert float(single.get_by_label("Longitude of the sounding").input_value()) == pytest.approx(
            -90.8068, abs=4e-6
        )
        single.get_by_label("Depth, ft").fill("7.5")
        single.get_by_label("Taken at").fill("2026-06-12T10:00-05:00")
        page.locator("#single-look").click()
        assert page.locator("[data-count=kept]").inner_text() == "1"
        page.locator("#keep-soundings").click()
        page.wait_for_function(f"() => document.getElementById('sound-count').textContent === '{len(before)}'")
        last = (folder / "soundings.csv").read_text().splitlines()[-1].split(",")
        assert float(last[2]) == pytest.approx(7.5 * 0.3048, abs=1e-3)

        table = page.locator("#sound-table")
        table.locator("summary").click()
        table.get_by_label("Soundings").select_option("taut")
        for end, (lat, lon) in (("first", ("43.2040", "-90.8064")), ("second", ("43.2045", "-90.8060"))):
            table.get_by_label(f"Latitude of the {end} end").fill(lat)
            table.get_by_label(f"Longitude of the {end} end").fill(lon)
        table.get_by_label("Taken at").fill("2026-06-12T11:00-05:00")
        table.get_by_label("Paste rows").fill("10, 3.5\n30, 6.2\n50, 8.0\nfar, deep")
        table.get_by_label("Paste rows").press("Tab")
        assert "1 pasted line was not numbers" in page.locator("#toast").inner_text()
        page.locator("#table-look").click()
        page.wait_for_function("() => document.querySelector('[data-count=kept]')?.textContent === '3'")
        page.locator("#keep-soundings").click()
        page.wait_for_function(f"() => document.getElementById('sound-count').textContent === '{len(before) + 3}'")
        page.locator("#back").click()
        page.wait_for_function(f"() => document.getElementById('sound-count').textContent === '{len(before)}'")
        assert len((folder / "soundings.csv").read_text().splitlines()) == len(before) + 1


def test_the_box_shows_what_a_label_means_and_is_saved(browser: Any, folder: Path) -> None:
    """A heavier label shows another diameter while typed; a renamed line keeps its place; a bucket's time goes in."""
    with running(folder) as (_, address), on_desk(browser, address) as desk:
        page = desk.page
        desk.ready()
        desk.tab("box")
        card = page.locator(".card").nth(3)
        card.locator("summary").click()
        figures = card.locator("[data-figures]")
        page.wait_for_function("() => /mm thick/.test(document.querySelector('[data-figures=\"line/3\"]').textContent)")
        now = "document.querySelector('[data-figures=\"line/3\"]').textContent"
        was = page.evaluate(now)
        card.get_by_label("Grains").fill("320")
        page.wait_for_function(f"was => {now} !== was", arg=was)
        assert "mm thick" in figures.inner_text()
        card.get_by_label("Name", exact=True).fill("heavy head")
        page.locator("#box-save").click()
        page.wait_for_function("() => document.getElementById('box-says').textContent === 'Saved.'")
        lines = tomllib.loads((folder / "tackle.toml").read_text())["line"]
        assert [line["name"] for line in lines].index("heavy head") == 3
        assert lines[3]["head_grains"] == 320
        assert "No maker is named" in (folder / "tackle.toml").read_text()  # comments stay

        bucket = page.locator("#calibration")
        bucket.locator("summary").click()
        bucket.get_by_label("Which").select_option("heavy head")
        bucket.get_by_label("It fell").fill("3 ft")
        bucket.get_by_label("Seconds of each try").fill("6.0 6.2 5.9")
        bucket.get_by_label("Length of the piece").fill("2 ft")
        page.locator("#calibrate-go").click()
        page.locator("#calibrate-says p").first.wait_for(timeout=SLOW_MS)
        assert page.locator("#calibrate-says .notice").count() == 0
        page.locator("#calibrate-take").click()
        page.locator("#box-save").click()
        desk.saved()
        page.wait_for_function("() => document.getElementById('box-says').textContent === 'Saved.'")
        assert tomllib.loads((folder / "tackle.toml").read_text())["line"][3]["sink_ips"] == pytest.approx(6.0, abs=0.2)


def test_settings_and_thresholds_are_saved_with_their_source(browser: Any, folder: Path) -> None:
    """The craft changes and comments stay; a threshold without a source is refused, with one it stands in the file."""
    with running(folder) as (_, address), on_desk(browser, address) as desk:
        page = desk.page
        desk.ready()
        desk.tab("settings")
        page.get_by_label("Craft").fill("raft")
        page.locator("#settings-save").click()
        desk.saved()
        assert tomllib.loads((folder / "river.toml").read_text())["craft"] == "raft"
        page.locator("#add-threshold").click()
        mine = page.locator("#thresholds fieldset").last
        mine.get_by_label("At", exact=True).fill("8")
        mine.get_by_label("What is said").fill("Rafts are asked to stay off")
        page.locator("#thresholds-save").click()
        assert "where it comes from" in page.locator("#thresholds-say").inner_text()
        assert len(tomllib.loads((folder / "river.toml").read_text())["threshold"]) == 2
        mine.get_by_label("Where it comes from").fill("notice board, May")
        page.locator("#thresholds-save").click()
        desk.saved()
        page.wait_for_function("() => document.querySelectorAll('#thresholds fieldset').length === 3")
        text = (folder / "river.toml").read_text()
        assert tomllib.loads(text)["threshold"][2] | {"side": "above"} == {
            "input": "stage", "level": 2, "at": 8, "unit": "ft", "side": "above", "text": "Rafts are asked to stay off",
            "source": "notice board, May",
        }  # fmt: skip
        assert "What the (invented) river authority posts" in text


def test_edits_of_a_desk_that_was_killed_are_saved_by_the_next(browser: Any, folder: Path) -> None:
    """Killed with an edit on the page, started again on the same port and opened: the edit is taken up and saved."""
    if sys.platform == "win32":
        pytest.skip("no such signal there")

    def name() -> str:
        features = json.loads((folder / "spots.geojson").read_text())["features"]
        return str(next(one for one in features if one["properties"]["id"] == "chute-seam")["properties"]["name"])

    with running(folder) as (process, address):
        port = address.partition("/?")[0].rpartition(":")[2]
        with on_desk(browser, address) as desk:
            page = desk.page
            desk.ready()
            page.locator('[data-thing="spots/chute-seam"]').click()
            os.kill(process.pid, signal.SIGKILL)
            process.wait()
            page.locator("[data-member=name]").fill("Named while it was gone")
            page.locator("[data-member=name]").press("Tab")
            words = "() => document.getElementById('saved').textContent.includes('1 edit kept here')"
            page.wait_for_function(words)
            assert name() == "Far seam"
            with running(folder, "--port", port) as (_, again):
                page.on("dialog", lambda dialog: dialog.accept())
                page.goto(again)
                desk.ready()
                page.wait_for_function("() => document.getElementById('saved').textContent.startsWith('saved')")
                assert name() == "Named while it was gone"
