"""The log, the card of a run, the hours to come, the background and the first screen, in a real browser."""

from __future__ import annotations

import csv
import io
import json
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from planner.page import build_page
from planner.page.logbook import trip_key
from planner.page.summary import summary
from planner.river.depths import LOG_COLUMNS, parse_log
from planner.river.values import Notebook
from tests.browser import DESKTOP, PHONE, opened
from tests.page.sample import sample

pytestmark = pytest.mark.browser

NODE_MODULES = Path(__file__).parents[1] / "browser" / "node_modules"


def _log(page: Any, spot: int, outcome: str, more: int = 0) -> None:
    page.locator(f"[data-open='{spot}']").click()
    for _ in range(more):
        page.locator("[data-count='1']").click()
    page.locator(f"[data-outcome={outcome}]").click()
    page.locator("#card-close").click()
    # the focus goes back to the spot's button after that, and the page moves to it
    page.wait_for_function("!document.querySelector('dialog[open]') && document.activeElement.matches('[data-open]')")


def test_a_logged_cast_survives_a_reload_and_becomes_a_row_of_the_log(
    browser: Any, small_page: Path, tmp_path: Path
) -> None:
    """Four outcomes are kept by the browser, saved as CSV and read back by the reader of log.csv without a finding."""
    plan, river = sample()
    with opened(browser, small_page, accept_downloads=True) as found:
        page = found.page
        for spot, (outcome, more) in enumerate((("clean", 0), ("touched", 2), ("hung", 0), ("caught", 0))):
            _log(page, spot, outcome, more)
        stored = page.evaluate("Object.keys(localStorage)")
        assert stored == [trip_key(plan, river)]
        page.reload()
        assert page.locator("#log-says").inner_text() == "4 casts logged, 4 not yet in a file."
        with page.expect_download() as waiting:
            page.locator("#log-save").click()
        assert waiting.value.suggested_filename == "log-2026-06-13.csv"
        waiting.value.save_as(tmp_path / "log.csv")
        assert page.locator("#log-says").inner_text() == "4 casts logged, all in a file."
        assert page.locator("#log-text").input_value() == (tmp_path / "log.csv").read_text(encoding="utf-8")
        assert found.complaints == []
    text = (tmp_path / "log.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert tuple(rows[0]) == (*LOG_COLUMNS, "hung", "countdown_mode", "strip_m_s")
    assert [row["spot"] for row in rows] == [f"spot-{k}" for k in (1, 2, 3, 4)]
    assert [row["touched"] for row in rows] == ["no", "yes", "yes", "no"]
    assert [row["hung"] for row in rows] == ["no", "no", "yes", "no"]
    assert [row["caught"] for row in rows] == ["0", "0", "0", "1"]
    best = plan["spots"][1]["best"]
    middle = (best["countdown_from_s"] + best["countdown_to_s"]) / 2
    assert float(rows[1]["countdown_s"]) == pytest.approx(middle + 2, abs=0.51)
    assert [rows[1]["line"], rows[1]["fly"], rows[1]["level"]] == [best["line"], best["fly"], "2.44 ft"]
    assert [rows[1]["countdown_mode"], float(rows[1]["strip_m_s"])] == ["fed", pytest.approx(best["strip_m_s"])]
    notes = Notebook()
    assert len(parse_log(text, notes)) == 4
    assert notes.findings == []


def test_a_cast_is_removed_alone_and_all_only_at_the_second_press(browser: Any, small_page: Path) -> None:
    """Remove takes one row; Remove all asks first and says how many are in no file."""
    with opened(browser, small_page) as found:
        page = found.page
        _log(page, 0, "clean")
        _log(page, 1, "caught")
        page.locator("#log-table tbody tr").first.get_by_role("button").click()
        assert page.locator("#log-table tbody tr").count() == 1
        assert "Boulder 1" in page.locator("#log-table tbody").inner_text()
        page.locator("#log-clear").click()
        assert page.locator("#log-clear").inner_text() == "Press again: 1 removed, 1 in no file"
        assert page.locator("#log-table tbody tr").count() == 1
        page.locator("#log-clear").click()
        assert not page.locator("#log-table").is_visible()
        assert page.evaluate("Object.values(localStorage)") == ["[]"]


def test_where_the_browser_keeps_nothing_the_page_says_so_and_asks_before_it_closes(
    browser: Any, small_page: Path
) -> None:
    """With storage refused the log still works, says that it will be lost, and leaving the page raises the question."""
    with opened(browser, small_page) as found:
        page = found.page
        page.add_init_script("Object.defineProperty(window, 'localStorage', { get() { throw new Error('refused'); } })")
        page.reload()
        _log(page, 0, "touched")
        assert "This browser keeps nothing: save the file" in page.locator("#log-says").inner_text()
        asked: list[str] = []
        page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.accept()))
        page.reload()
        assert asked == ["beforeunload"]
        assert page.locator("#log-says").inner_text().startswith("Nothing is logged yet")
        assert found.complaints == []


def test_a_stored_log_of_another_kind_does_not_stop_the_page(browser: Any, small_page: Path) -> None:
    """Whatever stands under the trip's name in the browser, the page opens and starts an empty log."""
    plan, river = sample()
    with opened(browser, small_page) as found:
        for junk in ("{", "[1, null, {}]", '"x"', '{"casts": 3}'):
            found.page.evaluate("([key, text]) => localStorage.setItem(key, text)", [trip_key(plan, river), junk])
            found.page.reload()
            assert found.page.locator("#log-says").inner_text().startswith("Nothing is logged yet")
            assert found.page.locator(".reading").inner_text() != ""
        assert found.complaints == []


def test_the_timer_stopped_by_hand_gives_its_seconds_to_the_log(browser: Any, small_page: Path) -> None:
    """A second press on the timer stops it, and the seconds counted stand ready for the log."""
    with opened(browser, small_page) as found:
        page = found.page
        page.clock.install(time="2026-06-12T18:00:00Z")
        page.reload()
        page.clock.pause_at("2026-06-12T19:00:00Z")
        page.locator("[data-open='0']").click()
        page.locator(".timer").click()
        page.clock.run_for(4100)
        page.locator(".timer").click()
        assert page.locator("#counted").inner_text() == "4 s"


def test_the_card_of_a_run_follows_the_level(browser: Any, small_page: Path) -> None:
    """It shows level, depth, current with range, the section and what the soundings are worth, and redraws them."""
    plan, _ = sample()
    run = plan["runs"][1]
    with opened(browser, small_page) as found:
        page = found.page
        page.locator("[data-open-run='1']").focus()
        page.keyboard.press("Enter")
        card = page.locator("#run-card")
        words = card.inner_text()
        assert f"{run['mean_depth_m'] / 0.3048:.1f} ft, class" in words
        low, high = (run[key] / 0.3048 for key in ("velocity_low_m_s", "velocity_high_m_s"))
        assert f"({low:.1f} to {high:.1f} ft/s)" in words
        assert "above the water of the day it was sounded" in words
        assert "134; a left-out one is missed by about 0.5 ft" in words
        ratio = run["velocity_manning_m_s"] / run["velocity_continuity_m_s"]
        assert f"the first is {ratio:.2f} times the second" in words
        assert run["limits"][0] in words
        deepest = (run["level_m"] - min(run["section"]["z_m"])) / 0.3048
        label = card.locator("svg.side").get_attribute("aria-label")
        assert f"deepest {deepest:.1f} ft" in label
        card.get_by_label("Gauge one step higher").click()
        card.get_by_label("Gauge one step higher").click()
        assert card.locator("svg.side").get_attribute("aria-label") != label
        card.get_by_role("button", name="Seam 2").click()
        assert page.locator("#card").is_visible()
        assert not card.is_visible()
        page.keyboard.press("Escape")
        page.wait_for_function("document.activeElement.dataset.open === '1'")  # a task after the card has closed


def test_the_set_level_is_drawn_across_the_hours_to_come(browser: Any, small_page: Path) -> None:
    """The mark on the drawing shows when a level is set, rises with it, and the table says the hours in words."""
    with opened(browser, small_page) as found:
        page = found.page
        where = "document.querySelector('.chart-now path').getBoundingClientRect().top"
        assert page.evaluate("getComputedStyle(document.querySelector('.chart-now')).visibility") == "hidden"
        tops = []
        for typed in ("2.30", "2.45"):
            page.locator(".typed input").fill(typed)
            page.keyboard.press("Enter")
            tops.append(page.evaluate(where))
        assert tops[1] < tops[0] - 3
        assert page.locator(".chart-now text").text_content() == "set 2.45 ft"
        page.locator(".hours summary").click()
        rows = page.locator(".hours tbody tr")
        assert rows.count() == 9
        assert rows.first.locator("td").all_inner_texts() == ["2.45 ft", "2.28 to 2.64 ft"]


@pytest.mark.parametrize("reasons", [1, 4])
def test_the_first_screen_of_a_phone_holds_caution_gauge_and_level(browser: Any, tmp_path: Path, reasons: int) -> None:
    """On 390 by 844 the caution, all its reasons of level 2 and 3, the gauge with its age and the slider are seen;
    where many reasons push the slider down, the bar at the foot of the screen has the level.
    """
    plan, river = sample()
    raised = [
        {
            "rule": f"W{k}",
            "level": 3 if k == 0 else 2,
            "text": "Gravel edge: the push of the water (depth × speed) may reach 6.8 ft²/s, over 6.5 ft²/s: dangerous "
            "for some adults. Do not step in.",
        }
        for k in range(reasons)
    ]
    plan["caution"].update(level=3, label="stay off", reasons=raised + plan["caution"]["reasons"])
    file = tmp_path / "reasons.html"
    file.write_text(build_page(plan, river, "us"), encoding="utf-8")
    with opened(browser, file) as found:
        page = found.page
        page.wait_for_timeout(150)
        shown = page.locator("#cautions [data-k=reasons] li")
        assert shown.count() == reasons

        def bottom(selector: str) -> float:
            box = page.locator(selector).first.bounding_box()
            return float(box["y"] + box["height"])

        limit = PHONE[1]
        assert bottom("#cautions-h") < limit
        assert bottom("#cautions [data-k=reasons]") < limit
        if reasons == 1:
            assert bottom(".gauge") < limit
            assert bottom("input[type=range]") < limit
            assert not page.locator("#dock").is_visible()
            page.locator("#spots").scroll_into_view_if_needed()
            page.wait_for_timeout(150)
        if not page.locator("#dock").is_visible():
            assert bottom("input[type=range]") < limit
        else:
            page.locator("[data-dock-step='1']").click()
            assert "2.50 ft" in page.locator("#dock").inner_text()
            assert page.locator(".reading").inner_text().startswith("2.50 ft")


def test_run_and_background_choices_move_the_map(browser: Any, small_page: Path) -> None:
    """Choosing a run zooms to it and shows its soundings; its swims go when the level is not the planned one."""
    with opened(browser, small_page) as found:
        page = found.page
        swims = "document.querySelectorAll('.leaflet-overlay-pane path[stroke=\"#5b1a8b\"]').length"
        assert page.evaluate(swims) >= 5
        wide = page.locator("#map_river .leaflet-control-scale-line").inner_text()
        page.locator("#go-to").select_option("1")
        assert page.locator("#map_river .leaflet-control-scale-line").inner_text() != wide
        assert page.locator(".dots canvas").count() == 1
        assert page.locator("#map_river .clock:not(.tucked)").count() >= 1
        page.locator("[data-step='1']").click()
        page.wait_for_timeout(200)  # out of sight the map follows when the slider rests
        assert page.evaluate(swims) == 0
        page.get_by_role("button", name="Back to the plan").click()
        page.wait_for_timeout(200)
        assert page.evaluate(swims) >= 5


NUMBERS = """Array.from(document.querySelectorAll('.spot-box:not(.in-run) .spot-number:not(.tucked)'))
  .map(n => n.getBoundingClientRect()).map(r => [r.left, r.top, r.right, r.bottom])"""


@pytest.mark.parametrize("size", [PHONE, DESKTOP])
def test_over_the_whole_river_no_two_numbers_lie_on_each_other(browser: Any, big_page: Path, size: Any) -> None:
    """Where casts would cover each other their numbers stand in the label of their run, which comes nearer on a tap."""
    with opened(browser, big_page, size, has_touch=True) as found:
        page = found.page
        boxes = page.evaluate(NUMBERS)
        for i, a in enumerate(boxes):
            for b in boxes[:i]:
                assert a[2] <= b[0] + 1 or b[2] <= a[0] + 1 or a[3] <= b[1] + 1 or b[3] <= a[1] + 1
        held = page.locator(".grouped .run-label:not(.tucked)")
        assert held.count() >= 5
        told = page.locator(".grouped .run-label:not(.tucked) .run-casts").all_inner_texts()
        assert all(told)
        wide = page.locator("#map_river .leaflet-control-scale-line").inner_text()
        page.locator(".map-part").scroll_into_view_if_needed()
        held.first.tap()
        assert page.locator("#map_river .leaflet-control-scale-line").inner_text() != wide
        assert page.locator("#go-to").input_value() != ""
        assert len(page.evaluate(NUMBERS)) >= 2


def _with_background(folder: Path, toml: str) -> Path:
    plan, river = sample()
    west, south = river.runs[0].polygon.bounds[:2]
    line = [[west - 0.001, south], [west + 0.004, south + 0.0005]]
    feature = {"type": "Feature", "properties": {}, "geometry": {"type": "LineString", "coordinates": line}}
    (folder / "banks.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    file = folder / "page.html"
    file.write_text(build_page(plan, replace(river, folder=folder, documents={"river.toml": toml}), "us"))
    return file


def test_a_drawing_of_the_users_own_lies_under_the_runs_with_no_request(browser: Any, tmp_path: Path) -> None:
    """The banks that river.toml names are drawn from the page itself, and the page says whose they are."""
    with opened(browser, _with_background(tmp_path, 'background = "banks.geojson"\n')) as found:
        assert found.page.locator(".leaflet-pane.under path").count() == 1
        assert "banks.geojson from the river folder" in found.page.locator(".map-part").inner_text()
        assert len(found.requests) == 1
        assert found.complaints == []


def test_a_map_from_the_network_is_asked_for_only_after_the_switch_and_remembered(browser: Any, tmp_path: Path) -> None:
    """Built with the option, the page still asks for nothing until the reader presses; then only the named host."""
    host = "https://basemap.nationalmap.gov/"
    with opened(browser, _with_background(tmp_path, "online_background = true\n")) as found:
        page = found.page
        page.wait_for_timeout(200)
        assert len(found.requests) == 1
        page.locator("#online").click()
        page.wait_for_timeout(400)
        asked = found.requests[1:]
        assert asked
        assert all(url.startswith(host) for url in asked)
        assert page.locator("#online").get_attribute("aria-pressed") == "true"
        page.reload()
        page.wait_for_timeout(300)
        assert page.locator("#online").get_attribute("aria-pressed") == "true"
        page.locator("#online").click()
        page.reload()
        assert page.locator("#online").get_attribute("aria-pressed") == "false"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_on_page_and_cards(browser: Any, nasty_page: Path, scheme: str) -> None:
    """The accessibility checker axe-core reports no serious or critical finding on the page and both cards."""
    source = NODE_MODULES / "axe-core" / "axe.min.js"
    if not source.is_file():
        words = "axe-core is not installed: npm ci --prefix tests/browser"
        if os.environ.get("CI"):
            pytest.fail(words)
        pytest.skip(words)
    run = """async () => { const found = await axe.run(document);
      return [['passes', found.passes.length]].concat(found.violations.map(v => [v.impact, v.id,
        v.nodes.slice(0, 3).map(n => n.html.slice(0, 160) + ' ' + n.failureSummary)])); }"""
    with opened(browser, nasty_page, color_scheme=scheme) as found:
        page = found.page
        page.evaluate(source.read_text(encoding="utf-8"))
        page.locator(".hours summary").click()
        found_there = page.evaluate(run)
        _log(page, 0, "clean")
        page.locator("[data-open='0']").click()
        found_there += page.evaluate(run)
        page.keyboard.press("Escape")
        page.locator("[data-open-run='0']").click()
        found_there += page.evaluate(run)
    assert [row for row in found_there if row[0] in ("serious", "critical")] == []
    assert min(row[1] for row in found_there if row[0] == "passes") > 20


def test_the_card_tells_what_else_is_known_at_the_planned_level(browser: Any, tmp_path: Path) -> None:
    """Tips, the steps beside it, what matters most and what the log taught stand on the card, and leave with the level.

    They were in plan.json and `why` alone, where no one looks on the water.
    """
    plan, river = sample()
    spot = plan["spots"][0]
    spot["tips"] = ["Cast further up: its swim gives 18 s in the band instead of 11 s."]
    spot["if_lower"], spot["if_higher"] = "The same rig: count 4 s, fed; 11 s in the band.", None
    spot["sensitivity"] = [
        {"unknown": "model's own error", "knowable": False, "height_sd_m": 0.3, "share": 0.6, "band_if_known_s": 9.0},
        {"unknown": "current", "knowable": True, "height_sd_m": 0.2, "share": 0.3, "band_if_known_s": 7.5},
    ]
    plan["learned"] = {"spots": [{"spot": spot["id"], "words": "Learned from 3 swims."}], "lines": []}
    path = tmp_path / "plan.html"
    path.write_text(build_page(plan, river, "us"), encoding="utf-8")
    with opened(browser, path) as found:
        found.page.locator("[data-open='0']").click()
        facts = found.page.locator("#card-body").inner_text()
        for said in (spot["tips"][0], spot["if_lower"], "The current: alone it moves", "Learned from 3 swims."):
            assert said in facts
        assert "One step higher" not in facts
        found.page.locator("[data-card-step='1']").first.click()
        assert spot["tips"][0] not in found.page.locator("#card-body").inner_text()
        assert found.complaints == []


def test_the_terminal_lists_the_tips() -> None:
    """A tip is read in the evening too."""
    plan, _ = sample()
    plan["spots"][1]["tips"] = ["Drift past it instead of anchoring: its swim gives 9 s instead of 5 s."]
    assert "  2: Drift past it instead of anchoring" in summary(plan, "us")
