"""The page over many rivers in a real browser: cautions first, offline, names as text, no green."""

from __future__ import annotations

import colorsys
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from planner.page.index import index_page
from tests.browser import DESKTOP, PHONE, opened
from tests.page.sample import NASTY

pytestmark = pytest.mark.browser

MADE = datetime(2026, 6, 12, 23, 0, tzinfo=UTC)
WORDS = {0: "no caution raised", 1: "heads-up", 2: "think again", 3: "stay off", None: "not assessed"}


def _row(name: str, level: int | None, **given: Any) -> dict[str, Any]:
    reasons = [] if not level else [f"The river is high for {name} [{level}]"] * level
    return {
        "name": name, "day": "2026-06-13", "timezone": "America/Chicago", "units": "us", "level": level,
        "label": WORDS[level], "reasons": reasons, "more_reasons": 0, "checks": 14, "assessed": 9, "gauge": "usgs:1",
        "stage_m": 1.2, "discharge_m3s": None, "quality": "provisional", "age_min": 25.0, "spots": 2, "answered": 1,
        "page": "rivers/a/plan.html", **given,
    }  # fmt: skip


ROWS = [_row("Zinc", 0), _row("Alder", None), _row("Moss", 1), _row("Birch", 3), _row("Ash", 3), _row("Elm", 2)]


@pytest.fixture(scope="module")
def index(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six rivers at all levels and two that failed, one with a name that is markup."""
    file = tmp_path_factory.mktemp("index") / "index.html"
    nasty = [_row(name, 2) for name in NASTY[:2]] if isinstance(NASTY, list | tuple) else [_row(str(NASTY), 2)]
    failed = [("<script>document.title='ran'</script>", "runs.geojson: <b>missing</b>"), ("Fir", "no reading")]
    file.write_text(index_page([*ROWS, *nasty], failed, MADE), encoding="utf-8")
    return file


def test_the_most_cautious_stand_first(browser: Any, index: Path) -> None:
    """Levels 3, 2, 1, then rivers that were not planned, then not assessed, then no caution raised; each by name."""
    with opened(browser, index) as found:
        heads = found.page.locator("h2").all_inner_texts()
        plain = [re.sub(r"\s+", " ", head).strip() for head in heads]
        assert [re.sub(r"^\D?(?=Caution|No caution|Not)", "", head) for head in plain] == [
            "Caution 3 of 3: stay off",
            "Caution 2 of 3: think again",
            "Caution 1 of 3: heads-up",
            "Not planned",
            "Caution not assessed",
            "No caution raised",
        ]
        names = found.page.locator("#level-3 + ul h3 a").all_inner_texts()
        assert names == ["Ash", "Birch"]


def test_the_index_asks_for_nothing_and_takes_names_as_text(browser: Any, index: Path) -> None:
    """One request, its own file; a name that is a script does not run."""
    with opened(browser, index) as found:
        assert [url.partition("#")[0] for url in found.requests] == [index.as_uri()]
        assert found.complaints == []
        assert found.page.title() == "8 of 10 rivers by caution" or found.page.title().endswith("by caution")
        assert found.page.locator("script").count() == 0


@pytest.mark.parametrize("size", [PHONE, DESKTOP])
def test_nothing_runs_over_the_screen_and_links_are_large_enough(
    browser: Any, index: Path, size: tuple[int, int]
) -> None:
    """No sideways scrolling, and every link is at least 44 px high."""
    with opened(browser, index, size) as found:
        assert found.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        heights = found.page.evaluate(
            "Array.from(document.querySelectorAll('a')).map(a => a.getBoundingClientRect().height)"
        )
        assert min(heights) >= 44


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_in_the_index_is_green(browser: Any, index: Path, scheme: str) -> None:
    """No computed colour has a green hue."""
    with opened(browser, index, color_scheme=scheme) as found:
        colours = found.page.evaluate(
            "Array.from(document.querySelectorAll('*')).flatMap(e => { const s = getComputedStyle(e);"
            " return [s.color, s.backgroundColor, s.borderTopColor, s.fill, s.stroke, s.outlineColor]; })"
        )
        for colour in set(colours):
            parts = [float(part) for part in re.findall(r"[\d.]+", colour)[:3]]
            if len(parts) == 3:
                hue, light, strong = colorsys.rgb_to_hls(*(part / 255 for part in parts))
                assert not (0.2 < hue < 0.48 and strong > 0.15 and 0.05 < light < 0.97), colour
