"""The pages of docs/ that hold examples and names are held to the code."""

from __future__ import annotations

import csv
import doctest
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PAGES = sorted((ROOT / "docs").glob("*.md"))


def test_the_page_for_python_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every example of docs/python.md gives what it says."""
    monkeypatch.chdir(ROOT)
    failed, tried = doctest.testfile(str(ROOT / "docs" / "python.md"), module_relative=False)
    assert tried > 20
    assert failed == 0


def test_the_method_cites_what_is_in_the_reference_list() -> None:
    """Every author-year key of docs/method.md has its full reference."""
    with (ROOT / "planner" / "tables" / "references.csv").open(encoding="utf-8", newline="") as stream:
        known = {row["key"] for row in csv.DictReader(stream)}
    text = (ROOT / "docs" / "method.md").read_text(encoding="utf-8")
    cited = set(re.findall(r"\b((?:[A-Z][A-Za-z]*)+(?:1[89]|20)\d\d[a-z]?|SIR\d+|FD\d+|NWS[a-z]+)\b", text))
    assert len(cited) > 20
    assert cited - known == set()


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_links_between_pages_lead_somewhere(page: Path) -> None:
    """Each relative link names a file."""
    for target in re.findall(r"\]\(([^)#:]+)\)", page.read_text(encoding="utf-8")):
        assert (page.parent / target).exists(), target


def test_files_that_the_page_for_contributors_names_are_there() -> None:
    """A how-to that names a file or folder leads to one."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = re.findall(r"`((?:planner|tests|data|docs)/[\w./-]*)`", text)
    assert len(named) > 30
    assert not [name for name in named if not (ROOT / name).exists()]
