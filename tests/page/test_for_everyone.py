"""The page for every eye and hand: colours, contrast, sizes, structure, focus, keyboard, touch, right to left."""

from __future__ import annotations

import colorsys
import re
from pathlib import Path
from typing import Any

import pytest

from planner.page import build_page
from tests.browser import DESKTOP, PHONE, TABLET, opened
from tests.page.sample import sample

pytestmark = pytest.mark.browser

HUES = """() => {
  const out = {};
  const keys = ['color', 'backgroundColor', 'borderTopColor', 'borderBottomColor', 'borderLeftColor',
    'borderRightColor', 'outlineColor', 'fill', 'stroke', 'accentColor', 'textDecorationColor', 'caretColor',
    'boxShadow',
    'backgroundImage'];
  const nodes = [...document.querySelectorAll('*')];
  for (const node of nodes) for (const pseudo of [null, '::before', '::after']) {
    const style = getComputedStyle(node, pseudo);
    for (const key of keys) {
      const name = node.className.baseVal ?? node.className;
      for (const found of (style[key] || '').matchAll(/rgba?\\([^)]*\\)/g)) out[found[0]] = name + ' ' + key;
    }
  }
  for (const sheet of document.styleSheets) for (const rule of sheet.cssRules)
    for (const found of rule.cssText.matchAll(/rgba?\\([^)]*\\)/g)) out[found[0]] = 'rule ' + rule.cssText.slice(0, 80);
  return out;
}"""


@pytest.mark.parametrize(("scheme", "forced"), [("light", "none"), ("dark", "none"), ("dark", "active")])
def test_nothing_drawn_is_green(browser: Any, small_page: Path, scheme: str, forced: str) -> None:
    """No computed colour of any element, nor any colour of a style rule, has a green hue, forced colours included."""
    with opened(browser, small_page, color_scheme=scheme, forced_colors=forced) as found:
        page = found.page
        page.locator("[data-open='0']").click()
        colours = page.evaluate(HUES)
        page.keyboard.press("Escape")
        page.locator("[data-by=speed]").click()
        colours.update(page.evaluate(HUES))
    assert len(colours) > 20
    for colour, where in colours.items():
        numbers = [float(value) for value in re.findall(r"[\d.]+", colour)]
        if len(numbers) == 4 and numbers[3] == 0:
            continue
        hue, _, saturation = colorsys.rgb_to_hls(*(value / 255 for value in numbers[:3]))
        assert not (75 < 360 * hue < 165 and saturation > 0.08), f"{colour} in {where}"


CONTRAST = """() => {
  const parse = c => c.match(/[\\d.]+/g).map(Number);
  const light = c => { const f = v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
    return 0.2126 * f(c[0]) + 0.7152 * f(c[1]) + 0.0722 * f(c[2]); };
  const behind = node => { for (let n = node; n; n = n.parentElement) {
    const c = parse(getComputedStyle(n).backgroundColor);
    if (c.length < 4 || c[3] > 0.99) return c; } return [255, 255, 255]; };
  const out = [];
  for (const node of document.querySelectorAll('body *')) {
    if (node.closest('svg') || !node.checkVisibility() || node.disabled) continue;
    if (![...node.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
    const a = light(parse(getComputedStyle(node).color)), b = light(behind(node));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    out.push([ratio, node.tagName + '.' + node.className + ' ' + node.textContent.slice(0, 30)]);
  }
  return out.sort((x, y) => x[0] - y[0]);
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_has_contrast_of_four_and_a_half(browser: Any, small_page: Path, scheme: str) -> None:
    """Each piece of text, on the page, the map and the card, stands out 4.5 to 1 from what is behind it."""
    with opened(browser, small_page, color_scheme=scheme) as found:
        plain = found.page.evaluate(CONTRAST)
        found.page.locator("[data-open='0']").click()
        worst = sorted(plain + found.page.evaluate(CONTRAST))
    assert len(worst) > 150
    assert worst[0][0] >= 4.5, worst[:4]


@pytest.mark.parametrize("size", [PHONE, TABLET, DESKTOP, (320, 640)])
def test_nothing_runs_off_the_side_and_targets_are_wide(browser: Any, small_page: Path, size: tuple[int, int]) -> None:
    """At each size (320 px is a phone at 200 %) the page does not scroll sideways and each control is 44 px."""
    with opened(browser, small_page, size) as found:
        page = found.page
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
        small = page.evaluate(
            """() => [...document.querySelectorAll('button, input, summary, .leaflet-control-zoom a, .spot-box')]
            .filter(n => n.checkVisibility()).map(n => [n.getBoundingClientRect(), n.outerHTML.slice(0, 70)])
            .filter(([b]) => b.height < 43.5 || b.width < 43.5).map(([, h]) => h)"""
        )
        assert small == []


def test_structure_names_its_parts(browser: Any, small_page: Path) -> None:
    """One h1, a main part, named sections, captions on tables and a name on every control."""
    with opened(browser, small_page) as found:
        page = found.page
        assert page.locator("h1").count() == 1
        assert page.locator("main").count() == 1
        assert page.evaluate("document.documentElement.lang") == "en"
        assert page.evaluate(
            "[...document.querySelectorAll('section')]"
            ".every(s => document.getElementById(s.getAttribute('aria-labelledby')))"
        )
        assert page.evaluate(
            "[...document.querySelectorAll('table')].every(t => t.caption && t.caption.textContent.trim())"
        )
        nameless = page.evaluate(
            """() => [...document.querySelectorAll('button, input, a')].filter(n => !(n.textContent.trim()
            || n.getAttribute('aria-label') || (n.labels && n.labels.length))).map(n => n.outerHTML)"""
        )
        assert nameless == []
        assert page.locator("#answer[aria-live=polite]").count() == 1


def test_every_control_is_reached_by_the_tab_key(browser: Any, small_page: Path) -> None:
    """Going through the page by Tab alone, each control in sight gets the focus once and none holds it."""
    count = """() => [...document.querySelectorAll('a[href], button, input, select, summary, textarea, [tabindex="0"]')]
      .filter(n => n.checkVisibility() && !n.disabled).map((n, i) => (n.dataset.tried = i, i)).length"""
    with opened(browser, small_page) as found:
        page = found.page
        controls = page.evaluate(count)
        assert controls > 25
        reached = []
        for _ in range(controls + 12):
            page.keyboard.press("Tab")
            reached.append(page.evaluate("document.activeElement.dataset.tried ?? null"))
        assert {int(one) for one in reached if one is not None} == set(range(controls))


def test_a_finger_works_every_kind_of_control(browser: Any, small_page: Path) -> None:
    """With touch alone the level moves, a spot opens from the map, the count starts, a cast is logged, a run opens."""
    with opened(browser, small_page, has_touch=True, is_mobile=True) as found:
        page = found.page
        page.locator("[data-step='1']").tap()
        assert page.locator(".reading").inner_text().startswith("2.50 ft")
        page.locator("[data-by=speed]").tap()
        assert page.locator("[data-by=speed]").get_attribute("aria-pressed") == "true"
        page.locator("#go-to").select_option("0")
        page.locator("#map_river [role=button]").first.tap()
        assert "Boulder 1" in page.locator("#card-h").inner_text()
        page.locator(".timer").tap()
        assert page.locator(".timer-says").inner_text().startswith("Counting")
        page.locator("[data-outcome=caught]").tap()
        assert "1 cast logged" in page.locator("#card-log-says").inner_text()
        page.locator("#card-close").tap()
        page.locator("[data-open-run='0']").tap()
        assert page.locator("#run-card").is_visible()


@pytest.mark.parametrize("size", [PHONE, (320, 640)])
def test_the_longest_count_is_seen_whole_on_a_phone(browser: Any, small_page: Path, size: tuple[int, int]) -> None:
    """`11 to 12 s mended` in large type wraps in its half of the row; what is cut off there is the mode."""
    with opened(browser, small_page, size) as found:
        ran_off = found.page.evaluate(
            """() => [...document.querySelectorAll('#spots [data-k=count]')].map(cell => {
            cell.textContent = '11 to 12 s mended';
            return [cell.scrollWidth, cell.clientWidth]; }).filter(([all, seen]) => all > seen)"""
        )
        assert not ran_off


def test_names_written_from_right_to_left_stay_in_their_place(browser: Any, tmp_path: Path) -> None:
    """A Hebrew or Arabic name keeps its number before it, turns no neighbour around and does not widen the page."""
    names = ("נהר (7)", "خط 12 المجرى", "\u202eabc")
    plan, river = sample(names=names)
    file = tmp_path / "right.html"
    file.write_text(build_page(plan, river, "us"), encoding="utf-8")
    with opened(browser, file) as found:
        page = found.page
        rows = page.evaluate(
            """() => [...document.querySelectorAll('#spots tbody th')].map(th => ['.number', 'bdi', '.at']
            .map(s => th.querySelector(s).getBoundingClientRect().left))"""
        )
        assert all(number < name < at for number, name, at in rows)
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
        page.locator("[data-open='1']").click()
        left, right = (page.locator(f"#card-h {part}").bounding_box()["x"] for part in (".number", "bdi"))
        assert left < right


def test_focus_is_seen(browser: Any, small_page: Path) -> None:
    """Whatever the Tab key reaches shows an outline of at least 3 px."""
    with opened(browser, small_page) as found:
        reached = set()
        for _ in range(24):
            found.page.keyboard.press("Tab")
            tag, width, style = found.page.evaluate(
                "(() => { const n = document.activeElement, s = getComputedStyle(n);"
                " return [n.tagName, parseFloat(s.outlineWidth), s.outlineStyle]; })()"
            )
            reached.add(tag)
            assert style != "none", tag
            assert width >= 3, tag
    assert {"A", "INPUT", "BUTTON", "SUMMARY"} <= reached


def test_forced_colours_keep_the_signs(browser: Any, small_page: Path) -> None:
    """In forced colours the caution's sign keeps its own fill and the buttons keep a border."""
    with opened(browser, small_page, forced_colors="active") as found:
        page = found.page
        assert page.locator("#cautions-h .sign").evaluate("n => getComputedStyle(n).forcedColorAdjust") == "none"
        assert page.locator("[data-step='1']").evaluate("n => parseFloat(getComputedStyle(n).borderTopWidth)") >= 1
