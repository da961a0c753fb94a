"""Make `maps/demo-plan.png`: the demo plan on a phone, as the README shows it.

    python examples/make_picture.py

plans the demo day as `plumbrun demo` does and photographs the page in Debian's Chromium (`pip install -e ".[test]"`
brings the driver), with the clock set to the evening before. `--page plan.html` takes a page that is there already;
`--all FOLDER` writes every size and scheme instead, for a look at what changed.
"""

from __future__ import annotations

import argparse
import base64
import shutil
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

__all__ = ["main"]

ROOT = Path(__file__).resolve().parent.parent
EVENING = datetime(2026, 6, 12, 23, 20, tzinfo=UTC)
SIZES = {"phone": (390, 844), "tablet": (820, 1180), "desktop": (1440, 900)}
MOST_BYTES = 150_000
# three phones side by side; two dozen shades of each colour keep the file small and the letters clear
SHADES = " ".join(f"{k / 23:.4f}" for k in range(24))
SHEET = (
    "<svg width='0' height='0' style='position:absolute'><filter id='few' color-interpolation-filters='sRGB'>"
    f"<feComponentTransfer><feFuncR type='discrete' tableValues='{SHADES}'/><feFuncG type='discrete' "
    f"tableValues='{SHADES}'/><feFuncB type='discrete' tableValues='{SHADES}'/></feComponentTransfer></filter></svg>"
    "<main style='background:#dddddd;display:flex;gap:12px;padding:12px;width:max-content;filter:url(#few)'>{}</main>"
)
PHONE = "<img width=260 style='border:2px solid #14171c;border-radius:6px' src='data:image/png;base64,{}'>"


def _first(page: Any) -> None:
    page.evaluate("scrollTo(0, 0)")


def _map(page: Any) -> None:
    page.locator("#go-to").select_option("1")
    page.evaluate("document.querySelector('.legend').scrollIntoView()")


def _whole_map(page: Any) -> None:
    page.evaluate("document.querySelector('.map-part').scrollIntoView()")


def _hours(page: Any) -> None:
    page.evaluate("document.querySelector('.hours').scrollIntoView()")


def _spot(page: Any) -> None:
    page.locator("[data-open='5']").click()


def _spot_below(page: Any) -> None:
    _spot(page)
    page.evaluate("document.querySelector('#card .facts').scrollIntoView()")


def _run(page: Any) -> None:
    page.locator("[data-open-run='1']").click()


VIEWS = {
    "first": _first,
    "hours": _hours,
    "map": _whole_map,
    "run-on-map": _map,
    "spot": _spot,
    "spot-below": _spot_below,
    "run": _run,
}


def _shot(browser: Any, file: Path, view: str, size: str = "phone", scheme: str = "light") -> bytes:
    wide, high = SIZES[size]
    context = browser.new_context(viewport={"width": wide, "height": high}, color_scheme=scheme, offline=True)
    page = context.new_page()
    page.clock.set_fixed_time(EVENING)
    page.goto(file.as_uri())
    VIEWS[view](page)
    page.evaluate("document.activeElement.blur()")
    page.wait_for_timeout(300)
    taken: bytes = page.screenshot()
    context.close()
    return taken


def _sheet(browser: Any, file: Path) -> bytes:
    phones = [
        PHONE.format(base64.b64encode(_shot(browser, file, view)).decode()) for view in ("first", "run-on-map", "spot")
    ]
    page = browser.new_page(viewport={"width": 890, "height": 640})
    page.set_content(SHEET.format("".join(phones)))
    return bytes(page.locator("main").screenshot())


def main() -> int:
    """Write the picture, or all views."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--page", type=Path, help="a page that is there already")
    parser.add_argument("--all", type=Path, metavar="FOLDER", help="every view, size and scheme into a folder")
    given = parser.parse_args()
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder:
        file = given.page.resolve() if given.page else Path(folder) / "plan" / "plan.html"
        if not given.page:
            subprocess.run([sys.executable, "-m", "planner", "demo", "--out", folder], cwd=ROOT, check=True)
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            if given.all:
                given.all.mkdir(parents=True, exist_ok=True)
                for size in SIZES:
                    for scheme in ("light", "dark"):
                        for view in VIEWS:
                            taken = _shot(browser, file, view, size, scheme)
                            (given.all / f"{size}-{scheme}-{view}.png").write_bytes(taken)
            else:
                picture = _sheet(browser, file)
                if len(picture) > MOST_BYTES:
                    print(f"the picture has {len(picture)} bytes, more than {MOST_BYTES}", file=sys.stderr)
                    return 1
                (ROOT / "maps" / "demo-plan.png").write_bytes(picture)
                print(f"maps/demo-plan.png, {len(picture) / 1000:.0f} kB")
            browser.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
