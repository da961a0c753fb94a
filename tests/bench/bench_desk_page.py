"""From an edit to its picture in a real browser, at 10,000 soundings and 200 spots: the landing of one spot is dragged.

Prints one line for the plan beside the map and one for the drawing itself. Nothing fails on a clock; needs Chromium.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
sys.path.insert(0, str(ROOT))

from tests.bench.bench_desk import SOUNDINGS, SPOTS, large_river  # noqa: E402
from tests.browser import launched  # noqa: E402
from tests.desk.browser import SLOW_MS, on_desk, running  # noqa: E402

EDITS = 20
FRAME = """() => new Promise(done => { const began = performance.now(); map_desk.panBy([60, 0], {animate: false});
requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() - began))); })"""


def _line(name: str, numbers: list[float]) -> None:
    ordered = sorted(numbers)
    high = ordered[int(0.9 * (len(ordered) - 1))]
    print(f"{name}: median {statistics.median(ordered):.0f} ms, 9 of 10 within {high:.0f} ms ({len(ordered)} edits)")


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        river = large_river(Path(folder) / "river")
        with launched() as browser, running(river) as (_, address), on_desk(browser, address) as desk:
            page = desk.page
            desk.ready()
            page.evaluate("document.getElementById('snap').click()")
            page.locator('[data-thing="spots/s10"]').click()
            done = "() => document.getElementById('spot-plan')?.dataset.complete === 'true'"
            page.wait_for_function(done, timeout=SLOW_MS)
            for k in range(EDITS):
                box = page.locator("[data-handle='1']").bounding_box()
                x, y = box["x"] + 22, box["y"] + 22
                page.mouse.move(x, y)
                page.mouse.down()
                page.mouse.move(x + (6 if k % 2 else -6), y + (4 if k % 3 else -8), steps=3)
                page.mouse.up()
                page.wait_for_function("k => performance.getEntriesByName('edit to plan').length > k", arg=k)
                desk.saved()
                page.wait_for_timeout(150)
            took = page.evaluate("performance.getEntriesByName('edit to plan').map(one => one.duration)")
            what = f"edit to plan in sight, {SOUNDINGS:,} soundings, {SPOTS} spots"
            _line(what, took)
            _line("map moved and drawn again, same folder", [page.evaluate(FRAME) for _ in range(20)])


if __name__ == "__main__":
    main()
