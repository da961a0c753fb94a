"""The store of last good observations."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from planner.cache import cache_folder
from planner.gauges import parse_iv_json
from planner.gauges.store import Store
from tests.gauges import replies

DAY = datetime(2019, 1, 24, tzinfo=UTC)
WEEK = (DAY, DAY + timedelta(days=7))


def test_rows_come_back_as_they_were(tmp_path: Path) -> None:
    """Times, values, unknowns and qualities survive the disk exactly."""
    series = parse_iv_json(replies.ICE.read_bytes(), "usgs:01542500")
    assert Store(tmp_path).keep(series, *WEEK) == ()
    back = Store(tmp_path).load("usgs:01542500", *WEEK)
    assert back is not None
    np.testing.assert_array_equal(back.times, series.times)
    np.testing.assert_array_equal(back.discharge_m3s, series.discharge_m3s)
    np.testing.assert_array_equal(back.stage_m, series.stage_m)
    np.testing.assert_array_equal(back.quality, series.quality)
    assert back.notes == series.notes
    assert abs(back.retrieved_at - series.retrieved_at) < timedelta(milliseconds=1)


def test_a_later_reply_replaces_rows_and_keeps_older_ones(tmp_path: Path) -> None:
    """Rows of the same time take the newer value; rows outside the newer reply stay."""
    store = Store(tmp_path)
    old = parse_iv_json(replies.hourly_reply(["1", "2", "3"]), "usgs:01541000")
    new = parse_iv_json(replies.hourly_reply(["1", "7"]), "usgs:01541000")
    window = (datetime(2026, 6, 12, tzinfo=UTC), datetime(2026, 6, 13, tzinfo=UTC))
    store.keep(old, *window)
    store.keep(new, *window)
    back = store.load("usgs:01541000", *window)
    assert back is not None
    np.testing.assert_allclose(back.stage_m / 0.3048, [1, 7, 3])


def test_stations_do_not_mix(tmp_path: Path) -> None:
    """One station's rows never answer for another."""
    store = Store(tmp_path)
    store.keep(parse_iv_json(replies.ICE.read_bytes(), "usgs:01542500"), *WEEK)
    assert store.load("usgs:01541000", *WEEK) is None


@pytest.mark.parametrize("junk", [b"no database at all" * 100, b""], ids=["junk", "empty"])
def test_a_spoilt_store_is_begun_anew(tmp_path: Path, junk: bytes) -> None:
    """A file that is no store gives nothing, breaks nothing, and is replaced when there is something to keep."""
    store = Store(tmp_path)
    store.path.write_bytes(junk)
    assert store.load("usgs:01542500", *WEEK) is None
    assert store.fresh("usgs:01542500", *WEEK) is None
    series = parse_iv_json(replies.ICE.read_bytes(), "usgs:01542500")
    assert store.keep(series, *WEEK) == ()
    assert store.load("usgs:01542500", *WEEK) is not None


def test_a_store_in_use_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """While another run writes, nothing is deleted: the note says that nothing was kept, and the rows stay."""
    store = Store(tmp_path)
    series = parse_iv_json(replies.ICE.read_bytes(), "usgs:01542500")
    store.keep(series, *WEEK)
    real = sqlite3.connect
    monkeypatch.setattr(sqlite3, "connect", lambda path, timeout: real(path, timeout=0.01))
    other = real(store.path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    notes = store.keep(series, *WEEK)
    other.execute("ROLLBACK")
    other.close()
    assert "could not be stored" in notes[0]
    assert store.load("usgs:01542500", *WEEK) is not None


def test_a_store_that_cannot_be_made_is_a_note(tmp_path: Path) -> None:
    """A file where the folder should be stops no plan."""
    (tmp_path / "taken").write_text("")
    series = parse_iv_json(replies.ICE.read_bytes(), "usgs:01542500")
    assert "could not be stored" in Store(tmp_path / "taken").keep(series, *WEEK)[0]
    assert Store(tmp_path / "taken").load("usgs:01542500", *WEEK) is None


def test_the_folder_is_the_users_choice(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """PLUMBRUN_CACHE names the folder; without it the platform's cache folder is used."""
    monkeypatch.setenv("PLUMBRUN_CACHE", str(tmp_path / "mine"))
    assert cache_folder() == tmp_path / "mine"
    monkeypatch.delenv("PLUMBRUN_CACHE")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "platform"))
    assert "plumbrun" in str(cache_folder())


def _written(folder: Path) -> tuple[Store, bytes]:
    """A store that holds a week of readings and a reply."""
    store = Store(folder)
    store.keep(parse_iv_json(replies.ICE.read_bytes(), "usgs:01542500"), *WEEK)
    store.keep_document("usgs:01542500", "categories", b"{}")
    return store, store.path.read_bytes()


def test_damage_inside_a_store_breaks_nothing(tmp_path: Path) -> None:
    """Bytes changed anywhere among its pages: each question has an answer or none, and no error comes out."""
    store, whole = _written(tmp_path)
    chance = np.random.default_rng(11)
    lost = 0
    for _ in range(150):
        raw = np.frombuffer(whole, np.uint8).copy()
        at = int(chance.integers(0, len(raw)))
        size = int(chance.choice([1, 16, 300, 4096]))
        raw[at : at + size] = chance.integers(0, 256, len(raw[at : at + size]))
        store.path.write_bytes(raw.tobytes())
        back = store.load("usgs:01542500", *WEEK)
        lost += back is None
        store.fresh("usgs:01542500", *WEEK)
        store.document("usgs:01542500", "categories")
    assert 0 < lost < 150


def test_a_store_with_damaged_pages_is_begun_anew_by_the_next_reading(tmp_path: Path) -> None:
    """Damage does not stay for ever: what is kept after it is there again."""
    store, whole = _written(tmp_path)
    raw = bytearray(whole)
    raw[4096:] = b"\x55" * (len(raw) - 4096)
    store.path.write_bytes(bytes(raw))
    assert store.load("usgs:01542500", *WEEK) is None
    assert store.keep(parse_iv_json(replies.ICE.read_bytes(), "usgs:01542500"), *WEEK) == ()
    assert store.load("usgs:01542500", *WEEK) is not None


@pytest.mark.parametrize("column", ["retrieved_at", "notes"])
def test_a_value_of_another_kind_in_a_store_is_no_reading(tmp_path: Path, column: str) -> None:
    """Text where a time belongs, bytes where notes belong: the station counts as not stored."""
    store, _ = _written(tmp_path)
    with sqlite3.connect(store.path) as base:
        base.execute(f"UPDATE fetches SET {column} = x'ff00'")
        base.execute("UPDATE documents SET retrieved_at = 'noon'")
    base.close()
    assert store.load("usgs:01542500", *WEEK) is None
    assert store.fresh("usgs:01542500", *WEEK) is None
    assert store.document("usgs:01542500", "categories") is None
