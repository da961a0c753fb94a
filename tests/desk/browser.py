"""The desk in a real browser: a desk in a process of its own, every request but to it refused and kept."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parent.parent.parent
DEMO_NOW = "2026-06-12T18:00:00-05:00"
REPLY = ROOT / "data" / "gauges" / "usgs_iv_01541000_01570500_2018-06_mixed_interval_empty_series.json"
RECORDED_NOW = "2018-06-01T23:50-04:00"
SLOW_MS = 90_000  # the solver is compiled when the first spot is asked

# A question's answer arrives a task after its button: two frames later "saved" is no longer that of what was before.
SETTLED = "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(done))))"
SAVED = "() => document.getElementById('saved').dataset.state === 'saved'"


@contextmanager
def running(folder: Path | None, *options: str, now: str = DEMO_NOW, cwd: Path | None = None) -> Iterator[Any]:
    """A desk as the command opens it: (process, address)."""
    command = [sys.executable, "-m", "planner", "desk", *([str(folder)] if folder else []), "--no-browser"]
    process = subprocess.Popen(
        [*command, "--now", now, *options], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, cwd=cwd,
        env={**os.environ, "PYTHONUNBUFFERED": "1", "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    try:
        assert process.stdout is not None
        found = re.search(r"http://\S+", process.stdout.readline())
        assert found is not None
        yield process, found.group(0)
    finally:
        process.kill()
        process.wait()
        if process.stdout is not None:
            process.stdout.close()


@dataclass
class DeskPage:
    """A page of the desk that is open, with what it asked outside and complained of."""

    page: Any
    outside: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def ready(self) -> None:
        """Wait until the folder is read."""
        self.page.wait_for_function("() => document.documentElement.dataset.ready === 'true'", timeout=SLOW_MS)

    def saved(self) -> None:
        """Wait until the desk says that all is saved; what was pressed last is taken first, also behind a question."""
        self.page.evaluate(SETTLED)
        self.page.wait_for_function(SAVED, timeout=30_000)

    def see(self, lon: float, lat: float, zoom: float = 18) -> None:
        """Bring a place into the middle of the map."""
        self.page.evaluate("([lon, lat, z]) => map_desk.setView([lat, lon], z, {animate: false})", [lon, lat, zoom])

    def at(self, lon: float, lat: float) -> tuple[float, float]:
        """Where a place is on the screen [px]; the map is brought into sight first."""
        self.page.locator("#map-frame").scroll_into_view_if_needed()
        x, y = self.page.evaluate(
            """([lon, lat]) => { const p = map_desk.latLngToContainerPoint([lat, lon]),
            b = document.getElementById('map_desk').getBoundingClientRect(); return [b.x + p.x, b.y + p.y]; }""",
            [lon, lat],
        )
        return x, y

    def tool(self, name: str, touch: bool = False) -> None:
        """Choose a tool."""
        button = self.page.locator(f"[data-tool={name}]")
        if touch:
            button.tap()
        else:
            button.click()

    def point(self, lon: float, lat: float, touch: bool = False) -> None:
        """Set a point with the mouse or a finger."""
        x, y = self.at(lon, lat)
        if touch:
            self.page.touchscreen.tap(x, y)
        else:
            self.page.mouse.move(x, y)
            self.page.mouse.click(x, y)

    def finish(self, touch: bool = False) -> None:
        """Press Finish."""
        button = self.page.locator("#doing-finish")
        if touch:
            button.tap()
        else:
            button.click()

    def tab(self, name: str) -> None:
        """Open a panel."""
        self.page.locator(f"#tab-{name}").click()

    def river(self) -> dict[str, Any]:
        """What the desk holds, asked by the page itself."""
        found: dict[str, Any] = self.page.evaluate(
            """async () => (await fetch('/api/river', {headers: {'X-Desk-Token':
            document.querySelector('meta[name=desk-token]').content}})).json()"""
        )
        return found


@contextmanager
def on_desk(browser: Any, address: str, size: tuple[int, int] = (1280, 860), **options: Any) -> Iterator[DeskPage]:
    """Open the desk's address; anything that is not the desk is refused and kept."""
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, **options)
    found = DeskPage(context.new_page())
    base = address.partition("/?")[0]

    def answer(route: Any) -> None:
        if route.request.url.startswith((base + "/", "data:", "blob:")):
            route.continue_()
        else:
            found.outside.append(route.request.url)
            route.abort()

    context.route("**/*", answer)
    found.page.on("console", lambda message: found.complaints.append(message.text))
    found.page.on("pageerror", lambda error: found.complaints.append(str(error)))
    found.page.set_default_timeout(30_000)
    found.page.set_default_navigation_timeout(SLOW_MS)
    try:
        found.page.goto(address)
        yield found
    finally:
        context.close()
