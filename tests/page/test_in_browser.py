"""The page in a real browser: no network, keyboard, cautions first, no green, names as text, print."""

from __future__ import annotations

import re
import statistics
from pathlib import Path
from typing import Any

import pytest

from planner.page import build_page
from tests.browser import DESKTOP, PHONE, TABLET, opened
from tests.page.sample import NASTY, sample, sample_plan

pytestmark = pytest.mark.browser

FILLS = """Array.from(document.querySelectorAll('.leaflet-overlay-pane path[fill^="#"]'))
  .map(p => p.getAttribute('fill'))"""

READ_ROW = """i => Object.fromEntries(Array.from(document.querySelectorAll(`#spots tr[data-spot="${i}"] [data-k]`))
  .map(cell => [cell.dataset.k, cell.textContent.trim()]))"""


def _row(page: Any, spot: int) -> dict[str, str]:
    found: dict[str, str] = page.evaluate(READ_ROW, spot)
    return found


def _caution(page: Any) -> str:
    return str(page.locator("#cautions-h .mark-text").inner_text())


def test_the_page_asks_for_nothing_and_raises_no_complaint(browser: Any, small_page: Path) -> None:
    """Opened from the disk and used, the page makes one request (itself) and the console stays empty."""
    with opened(browser, small_page) as found:
        found.page.locator("[data-open]").first.click()
        found.page.keyboard.press("Escape")
        found.page.locator(".leaflet-control-zoom-in").click()
        found.page.wait_for_timeout(400)
        assert [url.partition("#")[0] for url in found.requests] == [small_page.as_uri()]
        assert found.complaints == []


def test_the_policy_refuses_a_script_that_the_page_does_not_name(
    browser: Any, small_page: Path, tmp_path: Path
) -> None:
    """A script element smuggled into the file does not run."""
    bad = tmp_path / "bad.html"
    text = small_page.read_text(encoding="utf-8").replace("<main>", "<main><script>document.title='ran'</script>", 1)
    bad.write_text(text, encoding="utf-8")
    with opened(browser, bad) as found:
        assert found.page.title() != "ran"
        assert any("Content Security Policy" in words for words in found.complaints)


@pytest.mark.parametrize("size", [PHONE, TABLET, DESKTOP])
def test_cautions_stand_first_and_in_sight(browser: Any, small_page: Path, size: tuple[int, int]) -> None:
    """The caution is the first text read, ahead of river, level, map and spots, and on the first screen with the
    slider."""
    with opened(browser, small_page, size) as found:
        page = found.page
        read = page.locator("main").inner_text().strip()
        assert read.startswith("Caution 1 of 3: heads-up")
        tops = {
            key: page.locator(selector).bounding_box()["y"]
            for key, selector in {
                "caution": "#cautions-h",
                "standing": "#cautions .standing",
                "river": "h1",
                "slider": "input[type=range]",
                "map": "#map_river",
                "spots": "#spots",
            }.items()
        }
        assert list(tops.values()) == sorted(tops.values())
        assert tops["slider"] < size[1]


def test_the_slider_moved_by_keyboard_changes_every_answer(browser: Any, small_page: Path) -> None:
    """Arrow keys on the slider change reading, caution, spots, runs, colours and the drawn labels."""
    with opened(browser, small_page) as found:
        page = found.page
        slider = page.locator("input[type=range]")
        slider.focus()
        before = {
            "rows": [_row(page, i) for i in range(6)],
            "runs": page.locator("#runs").text_content(),
            "caution": _caution(page),
            "fills": page.evaluate(FILLS),
            "labels": page.locator("#map_river .run-number").all_inner_texts(),
        }
        page.keyboard.press("End")
        page.wait_for_timeout(200)  # out of sight the map follows when the slider rests
        assert page.locator(".reading").inner_text().startswith("3.75 ft")
        assert slider.get_attribute("aria-valuetext") == "3.75 ft"
        after = [_row(page, i) for i in range(6)]
        for old, new in zip(before["rows"], after, strict=True):
            assert {key for key in ("count", "depth", "speed") if old[key] != new[key]} == {"count", "depth", "speed"}
        assert page.locator("#runs").text_content() != before["runs"]
        assert _caution(page) == "Caution 3 of 3: stay off" != before["caution"]
        fills = page.evaluate(FILLS)
        assert len(fills) == len(before["fills"])
        assert fills != before["fills"]
        assert page.locator("#map_river .run-number").all_inner_texts() != before["labels"]
        page.keyboard.press("ArrowLeft")
        assert page.locator(".reading").inner_text().startswith("3.50 ft")
        page.wait_for_timeout(500)
        assert page.locator("#answer").inner_text().startswith("At 3.50 ft: Caution 3 of 3: stay off.")


def test_back_to_the_plan_brings_the_sheet_back_word_for_word(browser: Any, small_page: Path) -> None:
    """The planned answers painted by the script are those that stand in the HTML."""
    with opened(browser, small_page, java_script_enabled=False) as bare:
        bare.page.evaluate("for (const n of document.querySelectorAll('.needs-script')) n.remove()")
        written = bare.page.locator("#spots tbody, #runs tbody").all_text_contents()
    with opened(browser, small_page) as found:
        page = found.page
        page.evaluate("for (const n of document.querySelectorAll('.needs-script')) n.remove()")
        assert page.locator("#spots tbody, #runs tbody").all_text_contents() == written
    with opened(browser, small_page) as found:
        page = found.page
        planned = page.locator("#spots").text_content()
        page.locator("[data-step='1']").click()
        assert page.locator("#spots").text_content() != planned
        page.get_by_role("button", name="Back to the plan").click()
        assert page.locator("#spots").text_content() == planned


def _type(page: Any, words: str) -> None:
    page.wait_for_function("!document.querySelector('dialog[open]')")
    field = page.locator(".typed input")
    field.fill(words)
    field.press("Enter")  # not the page's keyboard: a card that has just closed gives the focus to its button


@pytest.mark.parametrize(
    ("typed", "shown"), [("12,500", "12,500 ft³/s"), ("1,250", "1,250 ft³/s"), ("850,4", "850 ft³/s")]
)
def test_a_comma_that_parts_thousands_is_no_decimal_one(browser: Any, tmp_path: Path, typed: str, shown: str) -> None:
    """12,500 ft³/s, as the page itself writes it, is a flood and not twelve and a half."""
    plan, river = sample(runs=2, spots=3, levels=5)
    for k, step in enumerate(plan["ladder"]):
        step.update(stage_m=None, discharge_m3s=(800 + 300 * k) * 0.3048**3)
    file = tmp_path / "discharge.html"
    file.write_text(build_page(plan, river, "us"), encoding="utf-8")
    with opened(browser, file) as found:
        _type(found.page, typed)
        assert found.page.locator("[data-k=reading]").inner_text() == shown


def test_between_two_steps_the_countdown_is_the_lower_and_the_caution_the_higher(
    browser: Any, small_page: Path
) -> None:
    """A typed reading between 2.50 and 2.75 ft takes depth and count from 2.50 and the caution from 2.75."""
    ladder = {round(step["stage_m"] / 0.3048, 2): step for step in sample_plan()["ladder"]}
    assert ladder[2.5]["caution"]["level"] < ladder[2.75]["caution"]["level"]
    with opened(browser, small_page) as found:
        _type(found.page, "2.60")
        row, lower = _row(found.page, 0), ladder[2.5]["spots"][0]
        assert row["depth"] == f"{lower['depth_m'] / 0.3048:.1f} ft"
        window = f"{lower['countdown_from_s']:.0f} to {lower['countdown_to_s']:.0f} s"
        assert row["count"] == f"{window} {lower['countdown_mode']}"
        assert _caution(found.page).startswith(f"Caution {ladder[2.75]['caution']['level']}")
        assert "between two steps" in found.page.locator(".reading").inner_text()
        _type(found.page, "2.5")
        assert _caution(found.page).startswith(f"Caution {ladder[2.5]['caution']['level']}")


@pytest.mark.parametrize(("typed", "end", "words"), [("9", 12, "above the highest"), ("0.1", 0, "below the lowest")])
def test_outside_the_ladder_the_slider_stays_at_its_end_and_no_answer_looks_valid(
    browser: Any, small_page: Path, typed: str, end: int, words: str
) -> None:
    """Beyond the ladder no count, line, depth or current is given, each row says why, and nothing reads none raised."""
    with opened(browser, small_page) as found:
        _type(found.page, typed)
        beyond = found.page.locator("[data-k=beyond]")
        assert beyond.is_visible()
        assert words in beyond.inner_text()
        assert found.page.locator("input[type=range]").input_value() == str(end)
        for spot in range(6):
            row = _row(found.page, spot)
            assert (row["count"], row["fly"], row["strip"], row["touch"]) == ("–", "–", "–", "–")
            assert (row["depth"], row["speed"]) == ("unknown", "unknown")
            assert row["line"].startswith(f"No answer: your reading is {words} level worked out")
        assert "none raised" not in found.page.locator("main").inner_text()
        found.page.wait_for_timeout(200)
        assert set(found.page.evaluate(FILLS)) == {"#e6e6e6"}
        found.page.locator("[data-open='0']").click()
        assert found.page.locator("#card .timer").count() == 0
        assert "No answer" in found.page.locator("#card-body").inner_text()
        found.page.keyboard.press("Escape")
        _type(found.page, "about two")
        assert "Type the reading as a number" in beyond.inner_text()
        assert found.page.locator(".typed input").get_attribute("aria-invalid") == "true"


def test_a_check_that_the_step_could_not_make_keeps_the_level_of_the_plan(browser: Any, tmp_path: Path) -> None:
    """Ice raised by the plan stays at a lower gauge level whose row could not assess ice."""
    from planner.page import build_page
    from tests.page.sample import sample

    plan, river = sample()
    ice = {
        "rule": "ice",
        "level": 3,
        "text": "Ice at the gauge.",
        "value": True,
        "threshold": None,
        "source": "invented",
    }
    plan["caution"]["reasons"].insert(0, ice)
    plan["caution"].update(level=3, label="stay off")
    for step in plan["ladder"]:
        step["caution"]["reasons"].append({**ice, "level": None, "text": "Not assessed: ice."})
    file = tmp_path / "ice.html"
    file.write_text(build_page(plan, river, "us"), encoding="utf-8")
    with opened(browser, file) as found:
        found.page.locator("input[type=range]").focus()
        found.page.keyboard.press("Home")
        assert _caution(found.page) == "Caution 3 of 3: stay off"
        assert "Ice at the gauge." in found.page.locator("#cautions [data-k=reasons]").inner_text()


def test_what_is_not_assessed_never_reads_as_none_raised(browser: Any, tmp_path: Path) -> None:
    """Regression: beside a step, or a plan, with nothing raised one that could not be assessed was not shown."""
    from planner.page import build_page
    from tests.page.sample import sample

    plan, river = sample()
    nothing = {"level": 0, "label": "no caution raised", "reasons": []}
    plan["caution"].update(nothing)
    for number, step in enumerate(plan["ladder"]):
        unknown = {"level": None, "label": "not assessed", "reasons": []} if number % 2 else nothing
        for caution in (step["caution"], *(place["caution"] for place in (*step["runs"], *step["spots"]))):
            caution.update(unknown)
    file = tmp_path / "unknown.html"
    file.write_text(build_page(plan, river, "us"), encoding="utf-8")
    feet = [step["stage_m"] / 0.3048 for step in plan["ladder"]]
    with opened(browser, file) as found:
        for typed in (feet[1], (feet[0] + feet[1]) / 2, (feet[1] + feet[2]) / 2):
            _type(found.page, f"{typed:.2f}")
            assert _caution(found.page) == "Caution not assessed", typed
        _type(found.page, f"{feet[2]:.2f}")
        assert _caution(found.page) == "No caution raised"


def test_a_spot_opens_by_keyboard_and_its_card_follows_the_level(browser: Any, small_page: Path) -> None:
    """Enter on a row's button opens the card, its + button moves the level, Escape gives the focus back."""
    with opened(browser, small_page) as found:
        page = found.page
        page.locator("[data-open='2']").focus()
        page.keyboard.press("Enter")
        card = page.locator("#card")
        assert card.is_visible()
        assert page.evaluate("document.activeElement.id") == "card-h"
        assert "Shelf 3" in card.inner_text()
        assert card.locator("svg.side").get_attribute("aria-label").startswith("Side view. The fly swims down to")
        planned_view = card.locator("svg.side").inner_html()
        row = _row(page, 2)
        assert f"{card.locator('.big-number').inner_text()} held" == row["count"]
        size = float(card.locator(".big-number").evaluate("n => parseFloat(getComputedStyle(n).fontSize)"))
        assert size >= 54
        card.get_by_label("Gauge one step higher").click()
        card.get_by_label("Gauge one step higher").click()
        after = _row(page, 2)
        assert after["depth"] != row["depth"]
        assert after["depth"] in card.inner_text()
        drawn = card.locator("svg.side")
        assert drawn.get_attribute("aria-label").startswith("Side view. The fly swims down to")
        assert drawn.inner_html() != planned_view
        # the deepest of the drawing's way is that of the plan's swim at this step, to a share of its depth
        step = sample_plan()["ladder"][int(page.locator("input[type=range]").input_value())]["spots"][2]["swim"]
        deepest = float(re.search(r"down to ([\d.]+) ft", drawn.get_attribute("aria-label")).group(1)) * 0.3048
        assert deepest == pytest.approx(max(step["depth_m"]), abs=0.04)
        page.keyboard.press("Escape")
        assert not card.is_visible()
        page.wait_for_function("document.activeElement.dataset.open === '2'")  # a task after the card has closed


def test_a_spot_opens_from_the_map_by_keyboard(browser: Any, small_page: Path) -> None:
    """A spot on the map takes focus and Enter, and says which it is."""
    with opened(browser, small_page, DESKTOP) as found:
        marker = found.page.get_by_role("button", name="Open spot 4 Slot 4")
        marker.focus()
        found.page.keyboard.press("Enter")
        assert "Slot 4" in found.page.locator("#card-h").inner_text()


def test_a_spot_without_an_answer_says_why(browser: Any, small_page: Path) -> None:
    """At the top of the ladder the fast spot reads why there is no line, in its row and on its card."""
    with opened(browser, small_page) as found:
        page = found.page
        page.locator("input[type=range]").focus()
        page.keyboard.press("End")
        assert _row(page, 3)["line"].startswith("Nothing in your box")
        page.locator("[data-open='3']").click()
        assert "Nothing in your box" in page.locator("#card-body").inner_text()
        assert page.locator("#card .timer").count() == 0


def test_the_count_runs_and_stops(browser: Any, small_page: Path) -> None:
    """The countdown button counts down the window's first second and says when to strip."""
    with opened(browser, small_page) as found:
        page = found.page
        page.clock.install(time="2026-06-12T18:00:00Z")
        page.reload()
        page.clock.pause_at("2026-06-12T19:00:00Z")
        page.locator("[data-open='0']").click()
        page.locator(".timer").click()
        assert "Counting 6 seconds" in page.locator(".timer-says").inner_text()
        page.clock.run_for(2000)
        assert page.locator(".timer").inner_text() == "4"
        page.clock.run_for(4200)
        assert page.locator(".timer").inner_text() == "Strip"
        assert page.locator(".timer-says").inner_text() == "Strip now."
        page.clock.run_for(4000)
        assert "passed" in page.locator(".timer-says").inner_text()


def test_without_scripts_the_sheet_still_reads(browser: Any, small_page: Path) -> None:
    """With scripts off the table, the drawing and the warning are there and no dead control is."""
    with opened(browser, small_page, java_script_enabled=False) as found:
        page = found.page
        assert page.locator("#spots tbody tr").count() == 6
        assert "6 to 9 s" in page.locator("#spots").inner_text()
        assert page.locator("svg.sketch").is_visible()
        assert "Scripts are off" in page.locator("#level").inner_text()
        assert not page.locator("input[type=range]").is_visible()
        assert not page.locator("#map_river").is_visible()
        assert page.locator("[data-open]:visible").count() == 0


def test_names_that_are_markup_are_shown_as_text(browser: Any, nasty_page: Path) -> None:
    """Tags, script ends and template braces in names are read as they were typed and run nowhere."""
    with opened(browser, nasty_page) as found:
        page = found.page
        assert page.locator("h1").inner_text() == NASTY[0]
        seen = page.locator("#spots").text_content()
        assert all(name in seen for name in NASTY[:3])
        page.locator("[data-open='1']").click()
        assert NASTY[1] in page.locator("#card-h").inner_text()
        assert page.locator("img").count() == 0
        assert page.title().startswith(NASTY[0])
        assert found.requests == [nasty_page.as_uri()]
        assert found.complaints == []


def test_the_print_fits_one_sheet(browser: Any, small_page: Path) -> None:
    """Printed on Letter and on A4, six spots with cautions, drawing and table take one page."""
    with opened(browser, small_page, DESKTOP) as found:
        for paper in ("Letter", "A4"):
            sheet = found.page.pdf(format=paper, print_background=False)
            assert len(re.findall(rb"/Type\s*/Page\b(?!s)", sheet)) == 1
        found.page.emulate_media(media="print")
        assert found.page.locator("svg.sketch").is_visible()
        assert not found.page.locator("#map_river").is_visible()
        assert found.page.locator("#cautions").is_visible()


def test_the_print_shows_the_level_that_is_set(browser: Any, small_page: Path) -> None:
    """After the slider has moved the printed sheet says for which level its answers are."""
    with opened(browser, small_page) as found:
        page = found.page
        _type(page, "3.00")
        page.emulate_media(media="print")
        assert "At 3.00 ft" in page.locator("#spots caption").inner_text()


STEPS = """rounds => { const range = document.querySelector('input[type=range]'), out = [];
  for (let round = 0; round < rounds; round += 1) for (let i = 0; i < 25; i += 1) {
    range.value = i; const began = performance.now();
    range.dispatchEvent(new Event('input')); document.body.getBoundingClientRect();
    out.push(performance.now() - began); } return out; }"""


def test_forty_and_two_hundred_spots_stay_usable(browser: Any, big_page: Path, huge_page: Path, capsys: Any) -> None:
    """Forty spots fit 900 kB, two hundred grow no faster than their number, and both answer, open, print no complaint;
    step times are measured and printed, not judged.
    """
    sizes = []
    for file, spots, rounds in ((big_page, 40, 3), (huge_page, 200, 1)):
        with opened(browser, file) as found:
            page = found.page
            took = page.evaluate(STEPS, rounds)
            paint = page.evaluate(
                "performance.getEntriesByName('first-contentful-paint').map(e => e.startTime)[0] ?? null"
            )
            assert page.locator("#spots tbody tr").count() == spots
            page.locator(f"[data-open='{spots - 1}']").click()
            assert _row(page, spots - 1)["count"].startswith(page.locator("#card .big-number").inner_text())
            assert found.complaints == []
        sizes.append(file.stat().st_size)
        with capsys.disabled():
            print(
                f"\npage for {spots} spots x 25 levels: {sizes[-1] / 1000:.0f} kB, "
                f"slider step median {statistics.median(took):.1f} ms, "
                f"longest {max(took):.1f} ms, first paint {paint} ms"
            )
    assert sizes[0] <= 900_000
    assert sizes[1] <= 5 * sizes[0]
