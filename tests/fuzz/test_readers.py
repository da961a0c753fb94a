"""No input of any reader gives anything but an answer or the package's own error, at once and in bounded memory."""

from __future__ import annotations

import os
import random
import threading
import time
import tracemalloc
from collections.abc import Callable
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.bed.sources.intake import read_soundings
from planner.errors import PlumbrunError
from planner.gauges import canada, england, file, france, noaa, open_series, usgs
from planner.river import check_river
from tests.fuzz.mutate import scarred
from tests.fuzz.readers import READERS, kept, samples

QUICK = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
_CPU_S = 1.0  # of this thread, so that a busy machine fails no test


def answered(name: str, raw: bytes) -> None:
    """The reader answers or refuses in the package's own words, within a second of computing."""
    began = time.thread_time()
    try:
        READERS[name](raw)
    except PlumbrunError as refusal:
        said = refusal
    else:
        said = None
    assert said is None or (said.given and said.need and said.next_step)
    assert time.thread_time() - began < _CPU_S, f"{name} took {time.thread_time() - began:.1f} s over {len(raw)} bytes"


@pytest.mark.parametrize("name", READERS)
def test_inputs_that_once_broke_a_reader_are_answered(name: str) -> None:
    """Each kept input, each sound sample, nothing at all, and each sample cut at its middle."""
    for raw in samples(name)[:1]:
        with _quiet():
            READERS[name](raw)  # what is imported on first use is not the reader's time
    for path in kept(name):
        answered(name, path.read_bytes())
    for raw in samples(name):
        answered(name, raw)
        answered(name, raw[: len(raw) // 2])
    answered(name, b"")


class _quiet:  # noqa: N801
    """Let the package's own errors pass."""

    def __enter__(self) -> None:
        pass

    def __exit__(self, kind: Any, error: Any, trace: Any) -> bool:
        return isinstance(error, PlumbrunError)


@pytest.mark.parametrize("name", READERS)
def test_any_scar_in_a_sound_input_is_answered(name: str) -> None:
    """Bytes lost, doubled or overwritten, words and numbers put in place of others."""
    sound = samples(name)

    @QUICK
    @given(which=st.integers(0, len(sound) - 1), seed=st.integers(0, 2**32))
    def scar(which: int, seed: int) -> None:
        answered(name, scarred(sound[which], random.Random(seed)))

    scar()


@pytest.mark.parametrize("name", READERS)
def test_any_bytes_are_answered(name: str) -> None:
    """Bytes of no form at all."""

    @settings(QUICK, max_examples=8)
    @given(raw=st.binary(max_size=300))
    def any_bytes(raw: bytes) -> None:
        answered(name, raw)

    any_bytes()


_ENTITIES = (
    b'<?xml version="1.0"?><!DOCTYPE z [<!ENTITY a "aaaaaaaaaa">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + i, b"&%c;" % (97 + i) * 10) for i in range(12))
    + b"]><z>&m;</z>"
)
BOMBS = {
    "brackets": b"[" * 50_000,
    "objects": b'{"a":' * 50_000,
    "entities": _ENTITIES,
    "elements": b"<a>" * 50_000,
    "digits": b'{"value": ' + b"9" * 200_000 + b"}",
    "lines": b"\n" * 200_000,
    "commas": b"lon,lat,depth_m,taken_at\n" + b"," * 200_000,
    "quote": b'a,b\n"' + b"x" * 200_000,
    "zeros": bytes(200_000),
    "noise": random.Random(1).randbytes(200_000),
}


@cache
def _warm(name: str) -> None:
    """Read a sound sample once: what is imported on first use is not the bomb's memory."""
    for sample in samples(name)[:1]:
        with _quiet():
            READERS[name](sample)


@pytest.mark.parametrize("bomb", BOMBS)
@pytest.mark.parametrize("name", READERS)
def test_a_bomb_stays_small(name: str, bomb: str) -> None:
    """Nesting, entities that grow, endless numbers and noise take memory in proportion to their own size."""
    raw = BOMBS[bomb]
    _warm(name)
    tracemalloc.start()
    try:
        with _quiet():
            READERS[name](raw)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 30e6 + 150 * len(raw), f"{peak / 1e6:.0f} MB for {len(raw) / 1e6:.1f} MB"


def _series(path: Path) -> Any:
    return open_series(f"file:{path.name}", now=datetime(2026, 6, 12, tzinfo=UTC), folder=path.parent)


OPENERS: dict[str, Callable[[Path], Any]] = {
    "soundings": read_soundings,
    "gauge file": _series,
    **{module.__name__.rsplit(".", 1)[-1]: module.read for module in (usgs, noaa, canada, england, france, file)},
}


@pytest.mark.parametrize("kind", ["folder", "missing", "device", "fifo", "huge"])
@pytest.mark.parametrize("opener", OPENERS)
def test_what_is_no_ordinary_file_is_refused(opener: str, kind: str, tmp_path: Path) -> None:
    """A folder, a missing file, a device without end, a pipe that nobody writes to, and 300 GB: refused at once."""
    path = tmp_path / "given.csv"
    if kind == "folder":
        path.mkdir()
    elif kind == "device":
        path.symlink_to("/dev/urandom")
    elif kind == "fifo":
        os.mkfifo(path)
    elif kind == "huge":
        with path.open("wb") as stream:
            stream.truncate(300 * 10**9)  # holes: no disk is used
    ended = []

    def read() -> None:
        try:
            OPENERS[opener](path)
            ended.append("answered")
        except PlumbrunError:
            ended.append("refused")
        except BaseException as error:
            ended.append(repr(error))

    thread = threading.Thread(target=read, daemon=True)
    thread.start()
    thread.join(30)
    assert ended == ["refused"]


@pytest.mark.parametrize("kind", ["device", "fifo"])
@pytest.mark.parametrize("name", ["river.toml", "soundings.csv", "log.csv", "runs.geojson"])
def test_a_river_file_that_is_no_ordinary_file_is_a_finding(name: str, kind: str, tmp_path: Path) -> None:
    """A pipe or a device in place of a file is named, and nothing waits for it."""
    path = tmp_path / name
    if kind == "device":
        path.symlink_to("/dev/urandom")
    else:
        os.mkfifo(path)
    found: list[Any] = []
    thread = threading.Thread(target=lambda: found.extend(check_river(tmp_path)), daemon=True)
    thread.start()
    thread.join(30)
    assert any(one.file == name and one.level == "error" for one in found)
