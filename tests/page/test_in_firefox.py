"""The basics of the page in a second engine: Firefox ESR, no network."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.firefox import firefox

pytestmark = pytest.mark.browser


def test_firefox_reads_moves_opens_logs_and_asks_for_nothing(small_page: Path, tmp_path: Path) -> None:
    """In Firefox the slider changes the answers, cards of spot and run open, a logged cast survives a reload, and the
    page loads nothing and is refused nothing by its own policy.
    """
    with firefox(tmp_path) as found:
        found.open(small_page)
        found.run(
            "window.refused = []; "
            "document.addEventListener('securitypolicyviolation', e => window.refused.push(e.violatedDirective));"
        )
        assert found.text("#cautions-h") == "Caution 1 of 3: heads-up"
        assert found.run("return document.querySelector('input[type=range]').getBoundingClientRect().bottom") < 844
        found.press("input[type=range]", "End")
        assert found.text(".reading").startswith("3.75 ft")
        assert found.text("#cautions-h") == "Caution 3 of 3: stay off"
        found.run("document.querySelector('[data-open=\"2\"]').click()")
        assert "Shelf 3" in found.text("#card-h")
        assert found.run("return document.querySelectorAll('#card svg.side').length") == 1
        found.click("[data-outcome=hung]")
        assert found.text("#card-log-says").startswith("Hung at")
        found.press("#card-h", "Escape")
        found.run("document.querySelector('[data-open-run=\"0\"]').click()")
        assert found.run("return document.querySelectorAll('#run-card svg.side').length") == 1
        assert found.run("return window.refused") == []
        found.open(small_page)
        assert "1 cast logged" in found.text("#log-says")
        assert found.run("return document.documentElement.scrollWidth <= window.innerWidth")
        assert found.run("return performance.getEntriesByType('resource').map(e => e.name)") == []
        assert found.run("return document.querySelectorAll('.leaflet-overlay-pane path[fill^=\"#\"]').length") >= 3
