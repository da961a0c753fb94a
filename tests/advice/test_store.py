"""The swim store on disk."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from planner.advice import store as store_module
from planner.advice.store import FIELDS, Block, SwimStore, key_of, packed, unpacked


def _block(n=3, seed=1):
    rng = np.random.default_rng(seed)
    count = packed(rng.uniform(0, 5, (n, len(FIELDS), 8)))
    retrieve = packed(rng.uniform(0, 20, (n, len(FIELDS), 4, 6)))
    return Block(count, retrieve, rng.uniform(5, 60, (n, 4)), rng.uniform(0, 1, (n, 4)))


INDEX = {"one": 0, "two": 1, "three": 2}


def test_what_was_written_is_read_back(tmp_path):
    """Tracks come back as they were given, to the last digit."""
    block = _block()
    SwimStore(tmp_path).write("g", INDEX, block)
    index, again = SwimStore(tmp_path).read("g")
    assert index == INDEX
    for name in ("count", "retrieve", "duration", "taut"):
        assert np.array_equal(getattr(again, name), getattr(block, name)), name


def test_rounding_keeps_millimetres_of_depth_and_centimetres_of_place():
    """Half a unit is the most that is lost."""
    tracks = np.random.default_rng(2).uniform(0, 30, (4, len(FIELDS), 9))
    lost = np.abs(np.array([unpacked(one) for one in packed(tracks)]) - tracks).max(axis=(0, 2))
    assert (lost[[0, 3]] <= 0.0005 + 1e-12).all()
    assert (lost[[1, 2, 4, 5]] <= 0.005 + 1e-12).all()


@pytest.mark.parametrize("spoil", ["cut", "empty", "other", "flipped", "folder"])
def test_a_spoilt_file_is_the_same_as_none(tmp_path, spoil):
    """No broken file raises or gives swims."""
    store = SwimStore(tmp_path)
    store.write("g", INDEX, _block())
    path = tmp_path / "g.npz"
    raw = path.read_bytes()
    if spoil == "cut":
        path.write_bytes(raw[: len(raw) // 2])
    elif spoil == "empty":
        path.write_bytes(b"")
    elif spoil == "other":
        path.write_bytes(b"not an archive at all")
    elif spoil == "flipped":
        middle = raw.index(b"retrieve.npy") + 400
        path.write_bytes(raw[:middle] + bytes([raw[middle] ^ 0xFF]) + raw[middle + 1 :])
    else:
        path.unlink()
        path.mkdir()
    assert store.read("g") is None


def test_swims_of_another_model_are_not_used(tmp_path, monkeypatch):
    """A changed solver solves its own swims."""
    SwimStore(tmp_path).write("g", INDEX, _block())
    monkeypatch.setattr(store_module, "model_digest", lambda: "another")
    assert SwimStore(tmp_path).read("g") is None


def test_a_folder_that_cannot_be_written_to_stops_nothing(tmp_path):
    """The store is a convenience."""
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    SwimStore(blocked / "swims").write("g", INDEX, _block())
    assert SwimStore(blocked / "swims").read("g") is None


def test_the_environment_names_the_folder(tmp_path, monkeypatch):
    """PLUMBRUN_CACHE wins."""
    monkeypatch.setenv("PLUMBRUN_CACHE", str(tmp_path))
    assert SwimStore().folder == tmp_path / "swims"


def test_a_key_holds_every_number():
    """The smallest change of an input gives another key."""
    assert key_of("held", 0.45) == key_of("held", 0.45)
    assert key_of("held", 0.45) != key_of("held", np.nextafter(0.45, 1))


_WRITER = """
import sys
from pathlib import Path
from planner.advice.store import SwimStore
from tests.advice.test_store import _block

name, folder = sys.argv[1], Path(sys.argv[2])
store, index = SwimStore(folder), {}
print("ready", flush=True)
sys.stdin.readline()
for k in range(25):
    index[f"{name} {k}"] = k
    store.write("g", index, _block(k + 1, seed=ord(name)))
"""


def test_two_processes_that_solve_the_same_water_keep_each_others_swims(tmp_path):
    """What either has solved is in the file at the end, as it was solved; so is what a third wrote before."""
    SwimStore(tmp_path).write("g", INDEX, _block())
    root = Path(__file__).parents[2]
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", _WRITER, name, str(tmp_path)],
            cwd=root,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for name in "ab"
    ]
    assert [writer.stdout.readline() for writer in writers] == ["ready\n"] * 2
    for writer in writers:
        writer.stdin.write("go\n")
        writer.stdin.flush()
    for writer in writers:
        writer.communicate()
    assert [writer.returncode for writer in writers] == [0, 0]
    index, block = SwimStore(tmp_path).read("g")
    assert set(index) == {*INDEX, *(f"{name} {k}" for name in "ab" for k in range(25))}
    for name in "ab":
        rows = [index[f"{name} {k}"] for k in range(25)]
        for k, row in enumerate(rows):  # rows are drawn one after the other: longer blocks begin alike
            assert np.array_equal(block.count[row], _block(25, seed=ord(name)).count[k])
    assert np.array_equal(block.retrieve[[index[key] for key in INDEX]], _block().retrieve)


def test_swims_of_another_shape_give_way(tmp_path):
    """A geometry whose tracks have another length than before begins anew."""
    SwimStore(tmp_path).write("g", INDEX, _block())
    longer = _block(2, seed=3)
    longer = Block(np.concatenate([longer.count] * 2, axis=2), longer.retrieve, longer.duration, longer.taut)
    SwimStore(tmp_path).write("g", {"four": 0, "five": 1}, longer)
    index, block = SwimStore(tmp_path).read("g")
    assert index == {"four": 0, "five": 1}
    assert np.array_equal(block.count, longer.count)


def test_of_too_many_swims_the_last_are_kept(tmp_path, monkeypatch):
    """The file is bounded, and a writer's own swims stay before those of others."""
    monkeypatch.setattr(store_module, "_MOST_ENTRIES", 4)
    SwimStore(tmp_path).write("g", INDEX, _block())
    SwimStore(tmp_path).write("g", {"four": 0, "five": 1}, _block(2, seed=3))
    index, block = SwimStore(tmp_path).read("g")
    assert index == {"two": 0, "three": 1, "four": 2, "five": 3}
    assert np.array_equal(block.duration[:2], _block().duration[1:])
    assert np.array_equal(block.duration[2:], _block(2, seed=3).duration)
