"""What a folder holds reaches the terminal as text alone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from planner import explain
from planner.commands.day import why


def test_no_name_of_the_folder_sends_an_escape_sequence(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A spot's name with an escape sequence could clear the screen that holds the cautions; it is written as text."""

    def report(*_: Any, **__: Any) -> dict[str, Any]:
        return {}

    monkeypatch.setattr(explain, "why_report", report)
    monkeypatch.setattr(explain, "why_text", lambda _: "CAUTION 2 OF 3\nWhy: A\x1b[2J\x9b2J\x07 ledge")
    said = CliRunner().invoke(why, [str(tmp_path), "ledge"])
    assert said.exit_code == 0
    assert said.output == "CAUTION 2 OF 3\nWhy: A [2J 2J  ledge\n"
