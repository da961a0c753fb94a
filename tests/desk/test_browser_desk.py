"""The desk for every hand and eye, and what it does when things go wrong: keys, names, undo, conflict, loss, axe."""

from __future__ import annotations

import colorsys
import json
import os
import re
import signal
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser import DESKTOP, PHONE, TABLET, launched
from tests.desk.browser import ROOT, SLOW_MS, DeskPage, on_desk, running
from tests.desk.desks import contents, demo_folder

pytestmark = pytest.mark.browser

AXE = ROOT / "tests" / "browser" / "node_modules" / "axe-core" / "axe.min.js"
NASTY = "</script><img src=x onerror=\"document.title='ran'\">{{7*7}} ${8*8}"
DROP = """([name, text]) => { const data = new DataTransfer(); data.items.add(new File([text], name));
for (const kind of ['dragenter', 'dragover', 'drop']) document.dispatchEvent(
  new DragEvent(kind, {dataTransfer: data, bubbles: true, cancelable: true})); }"""
SAYS = "words => document.getElementById('saved').textContent.includes(words)"
BIDI = "\u202eנהר <b>x</b>"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """One running browser."""
    with launched() as found:
        yield found


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The demo river, to be edited."""
    return demo_folder(tmp_path / "river")


@pytest.fixture
def address(folder: Path) -> Iterator[str]:
    """A desk on it."""
    with running(folder) as (_, found):
        yield found


@pytest.fixture(scope="module")
def looked_at(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """One desk for all tests that only look, on the demo river, which none of them may change."""
    folder = demo_folder(tmp_path_factory.mktemp("looked-at") / "river")
    before = contents(folder)
    with running(folder) as (_, found):
        yield found
    assert contents(folder) == before


def _features(folder: Path, kind: str) -> dict[str, dict[str, Any]]:
    found = json.loads((folder / f"{kind}.geojson").read_text())["features"]
    return {one["properties"]["id"]: one for one in found}


def _open(desk: DeskPage, thing: str) -> None:
    desk.page.locator(f'[data-thing="{thing}"]').click()


def test_a_run_and_a_spot_are_drawn_by_keyboard_alone(browser: Any, address: str, folder: Path) -> None:
    """Tool by Enter, the run by typed coordinates, the spot by the cross on the map, a corner moved by arrow keys."""
    before = set(_features(folder, "runs")), set(_features(folder, "spots"))
    with on_desk(browser, address) as desk:
        page = desk.page
        desk.ready()
        page.locator("[data-tool=run]").focus()
        page.keyboard.press("Enter")
        for lat, lon in ((43.2010, -90.8040), (43.2010, -90.8032), (43.2005, -90.8032), (43.2005, -90.8040)):
            page.get_by_label("Latitude of the new point").focus()
            page.keyboard.type(f"{lat}, {lon}")
            page.keyboard.press("Tab")
            page.keyboard.press("Enter")  # in the second field: sets the point
        page.locator("#doing-finish").focus()
        page.keyboard.press("Enter")
        desk.saved()
        new = (set(_features(folder, "runs")) - before[0]).pop()
        ring = _features(folder, "runs")[new]["geometry"]["coordinates"][0]
        assert sorted(map(tuple, ring[:-1])) == [
            (-90.804, 43.2005), (-90.804, 43.201), (-90.8032, 43.2005), (-90.8032, 43.201),
        ]  # fmt: skip

        handle = page.locator("[data-handle='1']")
        handle.focus()
        for _ in range(4):
            page.keyboard.press("ArrowUp")  # half a metre each
        page.wait_for_function("() => document.getElementById('saved').dataset.state !== 'saved'")
        desk.saved()
        moved = _features(folder, "runs")[new]["geometry"]["coordinates"][0][1]
        assert moved[1] - ring[1][1] == pytest.approx(2.0 / 111_195, rel=0.01)
        assert page.evaluate("document.activeElement.dataset.handle") == "1"  # the focus stays with the point

        page.locator("#snap").focus()
        page.keyboard.press("Space")  # drawn where the cross is, not to the nearest cast
        page.locator("[data-tool=spot]").focus()
        page.keyboard.press("Enter")
        desk.see(-90.8065, 43.2042, 19)
        page.locator("#map_desk").focus()
        page.keyboard.press("Space")
        for _ in range(3):
            page.keyboard.press("Shift+ArrowRight")
        page.keyboard.press("Space")
        desk.saved()
        spots = _features(folder, "spots")
        (spot,) = set(spots) - before[1]
        stance, landing = spots[spot]["geometry"]["coordinates"]
        assert landing[0] > stance[0]
        assert landing[1] == pytest.approx(stance[1], abs=1e-6)
        assert desk.complaints == []


def test_a_cast_that_no_rod_makes_is_not_saved(browser: Any, address: str, folder: Path) -> None:
    """A landing far beyond a cast is refused with its length; the stance stays, and a nearer landing is taken."""
    before = set(_features(folder, "spots"))
    with on_desk(browser, address) as desk:
        desk.ready()
        desk.see(-90.8065, 43.2042, 17)
        desk.tool("spot")
        desk.point(-90.8065, 43.2042)
        desk.point(-90.8045, 43.2042)
        assert "is the most" in desk.page.locator("#toast").inner_text()
        assert set(_features(folder, "spots")) == before
        desk.point(-90.8063, 43.2042)
        desk.saved()
        assert len(_features(folder, "spots")) == len(before) + 1


def test_a_corner_is_dragged_by_mouse_and_by_touch(browser: Any, address: str, folder: Path) -> None:
    """A handle follows mouse and finger, gives one edit each, and its target is 44 px wide."""
    with on_desk(browser, address, has_touch=True) as desk:
        page = desk.page
        desk.ready()
        page.evaluate("document.getElementById('snap').click()")
        _open(desk, "spots/pool-ledge")
        was = _features(folder, "spots")["pool-ledge"]["geometry"]["coordinates"]
        handle = page.locator("[data-handle='1']")
        box = handle.bounding_box()
        assert min(box["width"], box["height"]) >= 44
        x, y = box["x"] + 22, box["y"] + 22
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + 20, y + 10, steps=4)
        assert re.search(r"\d+ ft, \d+°", page.locator("#pointer").inner_text())  # length and angle while it moves
        page.mouse.up()
        desk.saved()
        mouse = _features(folder, "spots")["pool-ledge"]["geometry"]["coordinates"]
        assert mouse[0] == was[0]
        assert mouse[1][0] > was[1][0]
        assert mouse[1][1] < was[1][1]

        finger = page.context.new_cdp_session(page)
        box = page.locator("[data-handle='0']").bounding_box()
        x, y = box["x"] + 22, box["y"] + 22

        def touch(kind: str, *points: tuple[float, float]) -> None:
            finger.send(
                "Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": a, "y": b} for a, b in points]}
            )

        touch("touchStart", (x, y))
        for k in range(1, 6):
            touch("touchMove", (x - 5 * k, y))
        touch("touchEnd")
        page.wait_for_function("() => document.querySelector('#forward') && !document.querySelector('#back').disabled")
        desk.saved()
        after = _features(folder, "spots")["pool-ledge"]["geometry"]["coordinates"]
        assert after[0][0] < mouse[0][0]
        assert after[1] == mouse[1]


def test_what_is_deleted_comes_back_and_steps_go_both_ways(browser: Any, address: str, folder: Path) -> None:
    """A run goes with its spots, Undo of the message brings both back, Ctrl+Z and Ctrl+Y step through the history."""
    whole = _features(folder, "runs"), _features(folder, "spots")
    with on_desk(browser, address) as desk:
        page = desk.page
        desk.ready()
        _open(desk, "runs/long-pool")
        page.locator("#delete-picked").click()
        page.get_by_role("button", name="Delete run and spots").click()
        page.locator("#toast").get_by_role("button", name="Undo").wait_for()
        desk.saved()
        assert "long-pool" not in _features(folder, "runs")
        assert all(one["properties"]["run"] != "long-pool" for one in _features(folder, "spots").values())
        page.locator("#toast").get_by_role("button", name="Undo").click()
        page.locator('[data-thing="runs/long-pool"]').wait_for()
        page.locator('[data-thing="spots/pool-ledge"]').wait_for()
        assert (_features(folder, "runs"), _features(folder, "spots")) == whole
        page.locator("#river-name").click()
        page.keyboard.press("Control+y")
        page.wait_for_function("() => !document.querySelector('[data-thing=\"spots/pool-ledge\"]')")
        page.keyboard.press("Control+z")
        page.locator('[data-thing="spots/pool-ledge"]').wait_for()
        assert (_features(folder, "runs"), _features(folder, "spots")) == whole


def test_a_run_is_split_and_its_spots_follow(browser: Any, address: str, folder: Path) -> None:
    """The part downstream gets a new id and the spots that land in it; area and banks are kept."""
    from shapely.geometry import shape

    before = shape(_features(folder, "runs")["long-pool"]["geometry"])
    with on_desk(browser, address) as desk:
        desk.ready()
        _open(desk, "runs/long-pool")
        desk.tool("split")
        desk.point(-90.8069, 43.2041)
        desk.point(-90.8060, 43.2048)
        desk.saved()
        desk.page.wait_for_function("() => document.querySelectorAll('[data-thing^=\"runs/\"]').length === 5")
        desk.saved()
        runs, spots = _features(folder, "runs"), _features(folder, "spots")
        (new,) = set(runs) - {"long-pool", "chute", "pockets", "slough"} - {
            one for one in runs if one.startswith("heron")
        }  # fmt: skip
        parts = shape(runs["long-pool"]["geometry"]), shape(runs[new]["geometry"])
        assert sum(part.area for part in parts) == pytest.approx(before.area, rel=1e-4)
        assert runs[new]["properties"]["banks"] == "both"
        assert spots["pool-ledge"]["properties"]["run"] == "long-pool"
        assert spots["pool-cutbank"]["properties"]["run"] == new


def test_the_water_edge_is_chosen_on_the_map(browser: Any, address: str, folder: Path) -> None:
    """A tap on an edge takes that bank away and gives it back; an edge across the flow is refused."""
    ring = _features(folder, "runs")["long-pool"]["geometry"]["coordinates"][0]
    edge = [(ring[5][k] + ring[6][k]) / 2 for k in (0, 1)]
    with on_desk(browser, address) as desk:
        page = desk.page
        desk.ready()
        _open(desk, "runs/long-pool")
        page.locator("#banks-tap").click()
        desk.see(*edge, zoom=20)
        desk.point(*edge)
        desk.saved()
        left = _features(folder, "runs")["long-pool"]["properties"]["banks"]
        assert left in ("left", "right")
        assert page.locator("[data-member=banks]").input_value() == left
        desk.point(*edge)
        page.wait_for_function("() => document.querySelector('[data-member=banks]').value === 'both'")
        desk.saved()
        assert _features(folder, "runs")["long-pool"]["properties"]["banks"] == "both"


def test_hostile_names_stay_text_everywhere(browser: Any, folder: Path) -> None:
    """Markup, script, template and right-to-left names in every file appear as they are typed and run nowhere."""
    for kind in ("runs", "spots", "places"):
        path = folder / f"{kind}.geojson"
        document = json.loads(path.read_text())
        for feature in document["features"]:
            feature["properties"] |= {"name": NASTY + feature["properties"]["id"], "note": NASTY, "own": NASTY}
        document["features"][0]["properties"]["name"] = BIDI
        path.write_text(json.dumps(document))
    toml = (folder / "river.toml").read_text()
    (folder / "river.toml").write_text(toml.replace('"Kettlemoor River"', json.dumps(NASTY)))
    box = (folder / "tackle.toml").read_text()
    (folder / "tackle.toml").write_text(box.replace('"26 ft head, 5 ips"', json.dumps(NASTY)))
    with running(folder) as (_, address), on_desk(browser, address) as desk:
        page = desk.page
        desk.ready()
        assert page.locator("#river-name").inner_text() == NASTY
        for tab in ("water", "plan", "box", "log", "settings", "soundings", "draw"):
            desk.tab(tab)
            page.wait_for_timeout(150)
        _open(desk, "spots/chute-seam")
        assert page.locator("#picked-h").inner_text() == NASTY + "chute-seam"
        page.locator("#spot-plan .rig, #spot-plan .hint").first.wait_for(timeout=SLOW_MS)
        at = {"type": "Point", "coordinates": [-90.8, 43.2]}
        text = json.dumps({"type": "Feature", "properties": {"name": NASTY}, "geometry": at})
        dropped = {"name": "x.geojson", "mimeType": "application/geo+json", "buffer": text.encode()}
        page.locator("#picked-done").click()
        page.locator("#file-shapes").set_input_files(dropped)
        page.locator("#take-all").wait_for()
        assert NASTY in page.locator(".brought").inner_text()
        page.locator("#take-all").click()
        desk.saved()
        assert "ran" not in page.title().replace(NASTY, "")
        assert page.evaluate("document.querySelectorAll('img:not(.leaflet-tile), b b, [onerror]').length") == 0
        assert desk.outside == []
        assert desk.complaints == []


def test_shapes_of_a_file_are_taken_one_by_one(browser: Any, address: str, folder: Path) -> None:
    """Of a GPX file that is dropped two features are taken as what the reader says they are, the third is left."""
    gpx = (
        '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">'
        '<wpt lat="43.2050" lon="-90.8090"><name>Old put-in</name></wpt>'
        '<wpt lat="43.2000" lon="-90.8010"><name>Sunken tree</name></wpt>'
        '<wpt lat="43.1990" lon="-90.8000"><name>Lunch</name></wpt></gpx>'
    )
    with on_desk(browser, address) as desk:
        page = desk.page
        desk.ready()
        page.evaluate(DROP, ["walk.gpx", gpx])
        page.get_by_label("Take Sunken tree as").select_option("hazard")
        page.get_by_label("Take Sunken tree", exact=True).click()
        desk.saved()
        page.get_by_label("Take Old put-in", exact=True).click()
        desk.saved()
        page.get_by_label("Leave Lunch out").click()
        assert page.locator(".brought").count() == 0
    kinds = {one["properties"]["name"]: one["properties"]["kind"] for one in _features(folder, "places").values()}
    assert kinds["Sunken tree"] == "hazard"
    assert kinds["Old put-in"] == "put_in"
    assert "Lunch" not in kinds


def test_a_change_elsewhere_is_shown_and_a_conflict_asks(browser: Any, address: str, folder: Path) -> None:
    """An editor's change of another spot comes in by itself; of the same spot, both are shown and the choice holds."""
    path = folder / "spots.geojson"

    def elsewhere(spot: str, name: str) -> None:
        document = json.loads(path.read_text())
        for feature in document["features"]:
            if feature["properties"]["id"] == spot:
                feature["properties"]["name"] = name
        path.write_text(json.dumps(document))

    with on_desk(browser, address) as desk:
        page = desk.page
        desk.ready()
        elsewhere("chute-edge", "Renamed in an editor")
        page.get_by_role("button", name="Renamed in an editor").wait_for()
        assert "Changed elsewhere" in page.locator("#toast").inner_text()

        for answer, stands in (("Keep the other", "Theirs"), ("Keep mine", "Mine")):
            _open(desk, "spots/chute-seam")
            # the watch for changes is held, as if both were made in the same second
            page.context.route("**/api/version", lambda route: route.abort())
            elsewhere("chute-seam", "Theirs")
            page.locator("[data-member=name]").fill("Mine")
            page.locator("[data-member=name]").press("Tab")
            page.locator("dialog[open]").wait_for()
            words = page.locator("dialog[open]").inner_text()
            assert "Mine" in words
            assert "Theirs" in words
            assert _features(folder, "spots")["chute-seam"]["properties"]["name"] == "Theirs"
            page.get_by_role("button", name=answer).click()
            desk.saved()
            page.context.unroute("**/api/version")
            assert _features(folder, "spots")["chute-seam"]["properties"]["name"] == stands
            page.locator("#picked-done").click()
            elsewhere("chute-seam", "Far seam")
            page.get_by_role("button", name="Far seam").wait_for()


def test_edits_survive_a_desk_that_does_not_answer(browser: Any, folder: Path) -> None:
    """With the desk halted an edit is kept and said so; when it goes on, the edit is saved; nothing was lost."""
    if sys.platform == "win32":
        pytest.skip("no way to halt a process there")
    with running(folder) as (process, address), on_desk(browser, address) as desk:
        page = desk.page
        desk.ready()
        _open(desk, "spots/chute-seam")
        page.context.route("**/api/**", lambda route: route.abort())
        page.locator("[data-member=name]").fill("Drawn without an answer")
        page.locator("[data-member=name]").press("Tab")
        page.wait_for_function(SAYS, arg="does not answer: 1 edit kept here")
        assert _features(folder, "spots")["chute-seam"]["properties"]["name"] == "Far seam"
        assert page.evaluate("Object.keys(localStorage).filter(k => k.startsWith('plumbrun-desk-unsaved')).length") == 1
        page.context.unroute("**/api/**")
        desk.saved()
        assert _features(folder, "spots")["chute-seam"]["properties"]["name"] == "Drawn without an answer"
        assert page.evaluate("Object.keys(localStorage).filter(k => k.startsWith('plumbrun-desk-unsaved')).length") == 0

        # killed: the page says so and keeps drawing
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        page.locator("[data-member=name]").fill("Kept")
        page.locator("[data-member=name]").press("Tab")
        page.wait_for_function(SAYS, arg="kept here")
        assert page.locator(".unsaved").count() >= 1


def test_a_folder_that_cannot_be_written_is_said(browser: Any, address: str) -> None:
    """A reply of a full disk is shown with its reason and what to do, the edit stays drawn, and goes when there is
    room."""
    full = {"given": "the disk is full", "need": "room for the file", "next_step": "free some room", "where": ""}
    with on_desk(browser, address) as desk:
        page = desk.page
        desk.ready()
        page.context.route("**/api/shapes/*", lambda route: route.fulfill(status=507, json=full))
        _open(desk, "spots/chute-seam")
        page.locator("[data-member=name]").fill("No room")
        page.locator("[data-member=name]").press("Tab")
        page.wait_for_function(SAYS, arg="not saved: the disk is full")
        assert "free some room" in page.locator("#alerts").inner_text()
        assert page.locator("#picked-h").inner_text() == "No room"
        page.context.unroute("**/api/shapes/*")
        page.get_by_role("button", name="Try again now").click()
        desk.saved()
        assert page.locator("#alerts").inner_text() == ""


def test_the_level_asked_changes_depth_plan_and_caution(browser: Any, looked_at: str) -> None:
    """A higher gauge gives deeper cells and another plan, the caution is asked anew, and the day is not assessed."""
    with on_desk(browser, looked_at) as desk:
        page = desk.page
        desk.ready()
        assert page.locator("#cautions-h .mark-text").inner_text().startswith(("Caution", "No caution raised"))
        _open(desk, "runs/long-pool")
        desk.tab("water")
        page.locator("#water-run .pairs").wait_for(timeout=SLOW_MS)
        low = page.locator("#water-run .pairs dd").first.inner_text()
        page.locator("#level-number").fill("9.5")
        page.locator("#level-number").press("Enter")
        page.wait_for_function("low => document.querySelector('#water-run .pairs dd').textContent !== low", arg=low)
        high = page.locator("#water-run .pairs dd").first.inner_text()
        assert float(high.split()[0]) > float(low.split()[0])
        desk.tab("draw")
        _open(desk, "spots/pool-ledge")
        page.locator("#spot-plan .plan-caution").wait_for(timeout=SLOW_MS)
        # 9.0 ft is a posted threshold of the demo river
        page.wait_for_function("() => /[23] of 3/.test(document.getElementById('cautions-h').textContent)")
        # what the day's own checks say stands there too, and how many could be made
        made = "() => / checks could be made/.test(document.getElementById('caution-checks').textContent)"
        page.wait_for_function(made)
        assert "what is seen at the water decide" in page.locator(".standing").inner_text()


@pytest.mark.parametrize("size", [PHONE, TABLET, DESKTOP, (320, 640)])
def test_nothing_runs_off_the_side_and_targets_are_wide(browser: Any, looked_at: str, size: tuple[int, int]) -> None:
    """At each size no sideways scroll, cautions are the first thing in the main part, every control is 44 px."""
    with on_desk(browser, looked_at, size, has_touch=True) as desk:
        page = desk.page
        desk.ready()
        _open(desk, "spots/pool-ledge")
        for tab in ("draw", "soundings", "water", "plan", "box", "log", "settings"):
            desk.tab(tab)
            page.wait_for_timeout(100)
            assert page.evaluate("document.documentElement.scrollWidth") <= size[0], tab
            small = page.evaluate(
                """() => [...document.querySelectorAll('button, input:not([type=checkbox], [type=radio], .hide),'
                + ' select, summary, textarea, .as-button, .leaflet-control-zoom a, .handle-box')]
                .filter(n => n.checkVisibility()).map(n => [n.getBoundingClientRect(), n.outerHTML.slice(0, 90)])
                .filter(([b]) => b.width && (b.height < 43.5 || b.width < 43.5)).map(([, h]) => h)"""
            )
            assert small == [], tab
        assert page.evaluate("document.querySelector('main').firstElementChild.id") == "cautions-h"
        page.evaluate("scrollTo(0, 0)")
        assert page.locator("#cautions-h").bounding_box()["y"] < 160


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(browser: Any, looked_at: str, scheme: str) -> None:
    """The accessibility checker finds no serious or critical fault on any panel, in either scheme."""
    if not AXE.is_file():
        words = "axe-core is not installed: npm ci --prefix tests/browser"
        pytest.fail(words) if os.environ.get("CI") else pytest.skip(words)
    with on_desk(browser, looked_at, DESKTOP, color_scheme=scheme, bypass_csp=True) as desk:
        page = desk.page
        desk.ready()
        page.evaluate(AXE.read_text())
        for tab in ("draw", "soundings", "water", "plan", "box", "log", "settings", "spot"):
            if tab == "spot":
                desk.tab("draw")
                _open(desk, "spots/pool-ledge")
            else:
                desk.tab(tab)
            page.wait_for_timeout(200)
            found = page.evaluate("async () => (await axe.run()).violations")
            serious = [
                (one["id"], node["html"][:120], node["failureSummary"][:200])
                for one in found
                if one["impact"] in ("serious", "critical")
                for node in one["nodes"][:3]
            ]
            assert serious == [], (tab, serious)


def test_nothing_drawn_is_green(browser: Any, looked_at: str) -> None:
    """No colour of any element or rule of the desk's own sheets has a green hue, in light, dark and forced colours."""
    for scheme, forced in (("light", "none"), ("dark", "none"), ("dark", "active")):
        with on_desk(browser, looked_at, color_scheme=scheme, forced_colors=forced) as desk:
            desk.ready()
            colours = desk.page.evaluate(
                """() => { const out = {};
                for (const n of document.querySelectorAll('*')) { const s = getComputedStyle(n);
                  for (const k of ['color', 'backgroundColor', 'borderTopColor', 'outlineColor', 'fill', 'stroke',
                    'accentColor', 'boxShadow']) for (const f of (s[k] || '').matchAll(/rgba?\\([^)]*\\)/g))
                    out[f[0]] = n.tagName + '.' + n.id + ' ' + k; }
                for (const sheet of document.styleSheets) if (/desk/.test(sheet.href))
                  for (const rule of sheet.cssRules) for (const f of rule.cssText.matchAll(/rgba?\\([^)]*\\)/g))
                    out[f[0]] = rule.cssText.slice(0, 70);
                return out; }"""
            )
        assert len(colours) > 8
        for colour, where in colours.items():
            numbers = [float(value) for value in re.findall(r"[\d.]+", colour)]
            if len(numbers) == 4 and numbers[3] == 0:
                continue
            hue, _, saturation = colorsys.rgb_to_hls(*(value / 255 for value in numbers[:3]))
            assert not (75 < 360 * hue < 165 and saturation > 0.08), f"{colour} in {where}"


def test_the_page_says_no_word_that_calls_water_fit(browser: Any, looked_at: str) -> None:
    """No text of the desk on any panel calls the water fit to use, but for the sentence that denies it."""
    with on_desk(browser, looked_at) as desk:
        page = desk.page
        desk.ready()
        words = []
        for tab in ("draw", "soundings", "water", "plan", "box", "log", "settings"):
            desk.tab(tab)
            words.append(page.locator("body").inner_text())
    text = " ".join(words).lower()
    assert not re.search(r"\bsafe\b|\bok\b|good to go|all clear|low risk|wadeable", text)
