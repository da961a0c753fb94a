"""Writing whole files, and records as JSON."""

from __future__ import annotations

import os
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest

from planner.errors import NotWritten
from planner.files import plain, write_whole


def test_a_failed_write_leaves_the_old_file_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the disk is full, the last good file stays and no litter is left."""
    path = tmp_path / "plan.json"
    write_whole(path, "old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(NotWritten, match="No space left"):
        write_whole(path, "new")
    assert path.read_text() == "old"
    assert [item.name for item in tmp_path.iterdir()] == ["plan.json"]


def test_a_missing_folder_is_said(tmp_path: Path) -> None:
    """The message names the file and what is needed."""
    with pytest.raises(NotWritten, match="a folder that exists"):
        write_whole(tmp_path / "nowhere" / "plan.json", "x")


def test_unknown_numbers_become_null_and_times_utc() -> None:
    """No NaN leaves the program, and every time is in UTC."""
    at = datetime(2026, 6, 13, 8, 0, tzinfo=timezone(timedelta(hours=-5)))
    times = np.array(["2026-06-13T13:00:00", "NaT"], dtype="datetime64[s]")
    assert plain({"a": np.array([1.0, np.nan]), "at": at, "t": times, "n": np.int64(3), "b": np.bool_(True)}) == {
        "a": [1.0, None],
        "at": "2026-06-13T13:00:00Z",
        "t": ["2026-06-13T13:00:00Z", None],
        "n": 3,
        "b": True,
    }
