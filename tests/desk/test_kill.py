"""A desk killed in the middle of a thousand saves: every file is whole and at most the last edit is lost."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
import time
from pathlib import Path

from planner.desk.store import Store
from planner.river import check_river
from tests.desk.desks import ROOT, contents, demo_folder

# Saves number after number and says each once the store has answered; what was said is what the page believes saved.
_WRITER = """
import sys
from pathlib import Path
from planner.desk import features
from planner.desk.store import Store

store = Store(Path(sys.argv[1]))
first = int(sys.argv[2])
version = store.now().version
for number in range(first, first + 1000):
    names = {"runs.geojson": "runs", "spots.geojson": "spots"} if number % 3 == 0 else {"spots.geojson": "spots"}

    def change(now, then):
        made = {}
        for file, kind in names.items():
            one = next(iter(features.features_of(now[file], file)[1]))
            put = [{"properties": {"id": one, "note": f"edit {number}"}}]
            given = {"gauges": ("file:gauge.csv",), "slope": 1e-4, "bed": {}}
            made[file] = features.join(kind, now[file], now[file], True, put, [], given).text.encode()
        return made

    version = store.edit(version, f"edit {number}", change)[1].version
    print(number, flush=True)
"""


def _notes(folder: Path, kind: str) -> str:
    features = json.loads((folder / f"{kind}.geojson").read_text(encoding="utf-8"))["features"]
    return str(features[0]["properties"].get("note", ""))


def _number(note: str) -> int:
    return int(note.removeprefix("edit ") or -1)


def test_killed_in_the_middle_of_a_thousand_saves(tmp_path: Path) -> None:
    """Twelve times a writer of a thousand saves is killed at a moment of chance; whole files, the last edit at most."""
    folder = demo_folder(tmp_path / "river")
    chance = random.Random(10)
    untouched = {name for name in contents(folder) if name not in ("runs.geojson", "spots.geojson")}
    before = contents(folder)
    interrupted = saved = 0
    for round_number in range(12):
        first = 999 * round_number  # each round begins with an edit of both files
        writer = subprocess.Popen(
            [sys.executable, "-c", _WRITER, str(folder), str(first)], stdout=subprocess.PIPE, text=True, cwd=ROOT
        )
        assert writer.stdout is not None
        writer.stdout.readline()  # it has begun
        time.sleep(chance.uniform(0.01, 0.6))
        writer.kill()
        said = writer.stdout.read().split()
        writer.wait()
        writer.stdout.close()
        last = int(said[-1]) if said else first
        interrupted += last < first + 999
        saved += last - first + 1

        # as they lie there, before any desk looks: each file is whole
        spots, runs = _number(_notes(folder, "spots")), _number(_notes(folder, "runs"))
        assert last <= spots <= last + 1
        assert runs >= last - 2
        # the next desk finishes an edit of two files; then both tell of the same last third edit
        now = Store(folder).now()
        spots, runs = _number(_notes(folder, "spots")), _number(_notes(folder, "runs"))
        assert last <= spots <= last + 1
        assert runs == spots - spots % 3
        assert now.back > 0
        after = contents(folder)
        assert {name: after[name] for name in untouched} == {name: before[name] for name in untouched}
        assert not [finding for finding in check_river(folder) if finding.level == "error"]
    assert interrupted == 12
    assert saved > 24


def test_what_a_killed_writer_leaves_is_swept(tmp_path: Path) -> None:
    """A temporary file of a killed writer is no file of the river and is taken away by a later edit."""
    folder = demo_folder(tmp_path / "river")
    store = Store(folder)
    version = store.now().version
    left = folder / ".spots.geojson.abc12345"
    left.write_text("{", encoding="utf-8")
    os.utime(left, (0, 0))
    young = folder / ".log.csv.abc12345"
    young.write_text("x", encoding="utf-8")
    inside = folder / ".desk" / "contents" / ".0123.tmp"
    inside.write_text("{", encoding="utf-8")
    store.edit(version, "log", lambda now, then: {"log.csv": b"spot,time\n"})
    assert not left.exists()
    assert young.exists()  # a command may be writing it
    assert not inside.exists()
