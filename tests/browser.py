"""A real browser for the tests: Debian's Chromium, with every request off the page blocked and kept.

Without the browser a test fails on CI (where the variable CI is set) and is skipped elsewhere.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

__all__ = ["Opened", "browser_path", "launched", "opened"]

PHONE, TABLET, DESKTOP = (390, 844), (820, 1180), (1440, 900)


@dataclass
class Opened:
    """A page that is open, with all that it asked for and complained of."""

    page: Any
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


def browser_path() -> str:
    """Where Chromium is; skips or fails the test when it is missing."""
    found = shutil.which("chromium")
    if found:
        return found
    words = "Chromium is not installed (Debian package: chromium)"
    if os.environ.get("CI"):
        pytest.fail(words)
    pytest.skip(words)


@contextmanager
def launched() -> Iterator[Any]:
    """A running browser."""
    path = browser_path()
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def opened(browser: Any, file: Path, size: tuple[int, int] = PHONE, **options: Any) -> Iterator[Opened]:
    """Open a file in a fresh context: offline, requests recorded and all but the file itself refused."""
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, offline=True, **options)
    found = Opened(context.new_page())
    own = file.as_uri()

    def answer(route: Any) -> None:
        found.requests.append(route.request.url)
        if route.request.url.partition("#")[0] == own:
            route.continue_()
        else:
            route.abort()

    context.route("**/*", answer)
    found.page.on("console", lambda message: found.complaints.append(message.text))
    found.page.on("pageerror", lambda error: found.complaints.append(str(error)))
    try:
        found.page.goto(own)
        yield found
    finally:
        context.close()
