"""What goes wrong around the program: disk, permission, clock, zone, cache, other processes, sudden death."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from planner.errors import NotWritten
from planner.files import sole_writer
from planner.gauges import Series, open_series
from planner.gauges.store import Store
from planner.plan.ask import request
from planner.river import read_river
from tests.dying_writes import NEW
from tests.mutation import ALONE, TARGETS
from tests.rivers import EXAMPLES, small_river

ROOT = Path(__file__).parent.parent
NOW = datetime(2026, 6, 12, 23, 0, tzinfo=UTC)
POINTS = ("mkstemp", "write", "flush", "fsync", "chmod", "replace", "end")
unix = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")


def _in_child(work: str, *words: str, limit_bytes: int = 0, nobody: bool = False) -> subprocess.CompletedProcess[str]:
    """Run lines of Python in a process of its own, with a limit on the size of files or without rights."""

    def prepare() -> None:
        if limit_bytes:
            import resource

            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, limit_bytes))

    drop = "import os; os.geteuid() or os.seteuid(65534)\n" if nobody else ""
    imports = "import sys; from pathlib import Path; from planner.files import write_whole\n"
    environment = os.environ | {"PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(
        [sys.executable, "-c", imports + drop + work, *words], cwd=ROOT, capture_output=True, text=True, check=False,
        preexec_fn=prepare, env=environment,
    )  # fmt: skip


@pytest.fixture
def open_room() -> Iterator[Path]:
    """A folder that any user may look into."""
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        yield Path(name)


@unix
def test_a_full_disk_keeps_the_old_file_and_leaves_no_litter(tmp_path: Path) -> None:
    """The system itself refuses the write half-way: the message says so, the file is the old one."""
    path = tmp_path / "plan.json"
    path.write_text("old", encoding="utf-8")
    done = _in_child("write_whole(Path(sys.argv[1]), 'x' * 300_000)", str(path), limit_bytes=100_000)
    assert "NotWritten" in done.stderr
    assert "could not be written" in done.stderr
    assert path.read_text(encoding="utf-8") == "old"
    assert [item.name for item in tmp_path.iterdir()] == ["plan.json"]


@unix
def test_a_full_disk_ends_a_command_with_words_and_the_log_as_it_was(tmp_path: Path) -> None:
    """`plumbrun log` on a full disk: exit code 1, no traceback, log.csv as before."""
    folder = small_river(EXAMPLES / "demo", tmp_path / "river")
    before = (folder / "log.csv").read_bytes()
    spot = read_river(folder).spots[0].id
    work = "from planner.cli import main; main(sys.argv[1:])"
    words = ["log", str(folder), "--spot", spot, "--clean", "--countdown", "5"]
    help_text = _in_child(work, "log", "--help").stdout
    if "--clean" not in help_text:
        words = ["log", str(folder), "--spot", spot, "--outcome", "clean", "--countdown", "5"]
    done = _in_child(work, *words, "--now", "2026-06-12T18:00-05:00", limit_bytes=16)
    assert done.returncode == 1, done.stderr
    assert "could not be written" in done.stderr
    assert "Traceback" not in done.stderr
    assert (folder / "log.csv").read_bytes() == before


@unix
def test_a_folder_without_permission_is_said(open_room: Path) -> None:
    """A user who may not write is told so; what is there stays."""
    folder = open_room / "river"
    folder.mkdir()
    (folder / "plan.json").write_text("old", encoding="utf-8")
    folder.chmod(0o555)
    done = _in_child("write_whole(Path(sys.argv[1]), 'new')", str(folder / "plan.json"), nobody=True)
    assert "Permission denied" in done.stderr
    assert "NotWritten" in done.stderr
    assert (folder / "plan.json").read_text(encoding="utf-8") == "old"


@pytest.fixture(scope="module")
def deaths(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, int]]:
    """A folder for each point of a write at which a process was killed, and the signal that ended it."""
    folder = tmp_path_factory.mktemp("deaths")
    for point in POINTS:
        (folder / point).mkdir()
        (folder / point / "soundings.csv").write_text("old", encoding="utf-8")
    words = [sys.executable, "-m", "tests.dying_writes", str(folder), *POINTS]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=True)
    return folder, {line.split()[0]: int(line.split()[1]) for line in done.stdout.splitlines()}


@unix
@pytest.mark.parametrize("point", POINTS)
def test_a_process_killed_at_any_point_of_a_write_leaves_the_old_file_or_the_new(
    deaths: tuple[Path, dict[str, int]], point: str
) -> None:
    """Never a half: the file is whole before the rename and whole after it."""
    folder, signals = deaths
    path = folder / point / "soundings.csv"
    assert signals[point] == (0 if point == "end" else signal.SIGKILL)
    assert path.read_text(encoding="utf-8") == (NEW if point == "end" else "old")
    left = [item.name for item in path.parent.iterdir() if item != path]
    assert all(name.startswith(".soundings.csv.") for name in left)


@unix
def test_two_processes_that_add_to_one_log_lose_nothing(tmp_path: Path) -> None:
    """Entries of both stand in the log, each once."""
    folder = small_river(EXAMPLES / "demo", tmp_path / "river")
    words = [sys.executable, "-m", "tests.writer_process", str(folder)]
    both = [subprocess.Popen([*words, name, "6"], cwd=ROOT) for name in ("a", "b")]
    assert [one.wait(120) for one in both] == [0, 0]
    notes = list(read_river(folder).log["note"])
    for name in ("a", "b"):
        assert [note for note in notes if str(note).startswith(f"{name}-")] == [f"{name}-{n}" for n in range(6)]


@unix
def test_a_folder_that_another_process_writes_to_is_waited_for_and_then_said(tmp_path: Path) -> None:
    """The second writer gives up with words; after the first has ended it goes on."""
    code = (
        "import sys, time; from planner.files import sole_writer\n"
        "with sole_writer(sys.argv[1]): print('held', flush=True); sys.stdin.read()"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)], cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert other.stdout is not None
    assert other.stdin is not None
    assert other.stdout.readline() == "held\n"
    with pytest.raises(NotWritten, match="another process"), sole_writer(tmp_path, patience_s=0.1):
        pass
    other.kill()
    other.wait()
    other.stdin.close()
    other.stdout.close()
    with sole_writer(tmp_path, patience_s=5.0):  # a lock dies with its process
        pass
    assert list(tmp_path.iterdir()) == []


def _series(station: str = "usgs:1", first: str = "2026-06-12T12:00") -> Series:
    times = np.datetime64(first, "s") + np.arange(8) * np.timedelta64(900, "s")
    column = np.full(8, np.nan)
    return Series(
        station, "usgs", "made", times, np.linspace(1.0, 1.2, 8), column, column, column,
        np.array(["provisional"] * 8), (), datetime.now(UTC),
    )  # fmt: skip


def test_a_clock_that_jumped_back_makes_no_stored_reading_fresh(tmp_path: Path) -> None:
    """A fetch stamped later than the clock is asked again instead of being trusted for ever."""
    from dataclasses import replace

    store = Store(tmp_path)
    end = datetime.now(UTC)
    start = end - timedelta(hours=1)
    store.keep(replace(_series(), retrieved_at=end + timedelta(days=2)), start, end)
    assert store.fresh("usgs:1", start, end) is None
    store.keep(replace(_series(first=f"{start:%Y-%m-%dT%H:%M}"), retrieved_at=end), start, end)
    assert store.fresh("usgs:1", start, end) is not None


def test_readings_later_than_the_clock_are_left_out_and_said() -> None:
    """A clock that is behind the gauge plans with what it can know, and says how many rows it left."""
    folder = EXAMPLES / "demo"
    late = open_series("file:gauge.csv", now=NOW, folder=folder)
    early = open_series("file:gauge.csv", now=NOW - timedelta(days=3), folder=folder)
    assert early.times[-1] < late.times[-1]
    assert any(re.search(r"\d+ values are later than the plan's clock", note) for note in early.notes)


@pytest.mark.parametrize(
    ("day", "hours"),
    [("2026-03-08", 7.0), ("2026-11-01", 9.0), ("2026-06-13", 8.0)],
    ids=["spring", "autumn", "summer"],
)
def test_a_window_over_a_change_of_the_clocks_has_the_hours_that_pass(day: str, hours: float) -> None:
    """From midnight to eight on the days when clocks change there are seven and nine hours."""
    now = datetime.fromisoformat(f"{day}T00:00:00+00:00") - timedelta(days=1)
    asked = request("America/Chicago", day=day, start="00:00", end="08:00", now=now)
    assert asked.end - asked.start == timedelta(hours=hours)


def test_the_zone_of_the_machine_changes_nothing() -> None:
    """The same request on a machine in Tokyo and in Chicago."""
    code = (
        "from planner.plan.ask import request; r = request('America/Chicago', now='2026-06-12T18:00', day='tomorrow');"
        "print(r.now, r.start, r.end, r.day)"
    )
    said = {
        subprocess.run(
            [sys.executable, "-c", code],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=True,
            env=os.environ | {"TZ": zone},
        ).stdout
        for zone in ("Asia/Tokyo", "America/Chicago", "UTC")
    }
    assert len(said) == 1


@unix
def test_two_processes_keep_readings_in_one_store(tmp_path: Path) -> None:
    """Observations of both are there, and the store is whole."""
    code = (
        "import sys; from tests.test_faults import _series; from planner.gauges.store import Store\n"
        "from datetime import UTC, datetime, timedelta; from pathlib import Path\n"
        "now = datetime(2026, 6, 13, tzinfo=UTC)\n"
        "notes = [Store(Path(sys.argv[1])).keep(_series(f'usgs:{sys.argv[2]}{n}'), now - timedelta(days=1), now)"
        " for n in range(12)]; sys.exit(any(notes))"
    )
    both = [subprocess.Popen([sys.executable, "-c", code, str(tmp_path), name], cwd=ROOT) for name in ("1", "2")]
    assert [one.wait(120) for one in both] == [0, 0]
    end = datetime(2026, 6, 13, tzinfo=UTC)
    for name in ("1", "2"):
        for number in range(12):
            assert Store(tmp_path).load(f"usgs:{name}{number}", end - timedelta(days=1), end) is not None


_KEEP = (
    "import sys; from tests.test_faults import _series; from planner.gauges.store import Store\n"
    "from datetime import UTC, datetime, timedelta; from pathlib import Path\n"
    "now = datetime(2026, 6, 13, tzinfo=UTC); store = Store(Path(sys.argv[1]))\n"
)
DAY = (datetime(2026, 6, 12, tzinfo=UTC), datetime(2026, 6, 13, tzinfo=UTC))


@unix
def test_a_full_disk_keeps_no_new_readings_and_loses_no_old_ones(tmp_path: Path) -> None:
    """The store answers with a note, holds what it held, and takes readings again when there is room."""
    store = Store(tmp_path)
    assert store.keep(_series("usgs:1"), *DAY) == ()
    size = store.path.stat().st_size
    work = _KEEP + "print([store.keep(_series(f'usgs:2{n:03}'), now - timedelta(days=1), now) for n in range(200)][-1])"
    done = _in_child(work, str(tmp_path), limit_bytes=size + 8192)
    assert done.returncode == 0, done.stderr
    assert "could not be stored for later" in done.stdout
    assert store.load("usgs:1", *DAY) is not None
    assert store.keep(_series("usgs:3"), *DAY) == ()
    assert store.load("usgs:3", *DAY) is not None


@unix
@pytest.mark.parametrize("moment", range(4))
def test_a_process_killed_while_it_keeps_readings_leaves_a_store_that_works(tmp_path: Path, moment: int) -> None:
    """Killed in the middle of a stream of writes: what was kept before is there, and the next reading is kept."""
    store = Store(tmp_path)
    store.keep(_series("usgs:1"), *DAY)
    work = _KEEP + "print('begun', flush=True)\nfor n in range(10**6): store.keep(_series(f'usgs:2{n}'), *[now] * 2)"
    other = subprocess.Popen([sys.executable, "-c", work, str(tmp_path)], cwd=ROOT, stdout=subprocess.PIPE, text=True)
    assert other.stdout is not None
    assert other.stdout.readline() == "begun\n"
    until = store.path.stat().st_size + 4096 * (1 + moment)
    while store.path.stat().st_size < until:  # so that the stroke falls among the writes, on any machine
        assert other.poll() is None
    other.kill()
    other.wait()
    other.stdout.close()
    assert store.load("usgs:1", *DAY) is not None
    assert store.load("usgs:20", *DAY) is not None
    assert store.keep(_series("usgs:3"), *DAY) == ()
    assert store.load("usgs:3", *DAY) is not None


def test_a_clock_that_jumped_ahead_clears_nothing() -> None:
    """Seen from the day after tomorrow this evening's calm reading is old, and the river is not assessed by it."""
    from planner.caution import assess_river, gather_conditions
    from planner.water import expect

    river = read_river(EXAMPLES / "demo")
    levels = []
    for now in (NOW, NOW + timedelta(days=2)):
        series = open_series("file:gauge.csv", now=now, folder=EXAMPLES / "demo")
        expected = expect(series, now, now + timedelta(hours=14), now + timedelta(hours=22))
        conditions = gather_conditions(river, expected, series, now)
        levels.append(assess_river(conditions))
    assert not any(check.blocks for check in levels[0].base)
    assert [check.level for check in levels[1].base if check.rule == "X1"] == [None]
    assert levels[1].level != 0


def test_each_fault_of_the_table_is_tested() -> None:
    """docs/faults.md names tests that exist."""
    text = (ROOT / "docs" / "faults.md").read_text(encoding="utf-8")
    named = re.findall(r"`(tests/[\w/]+\.py)::(test_\w+)`", text)
    assert len(named) > 15
    lost = [
        f"{file}::{test}" for file, test in named if f"def {test}(" not in (ROOT / file).read_text(encoding="utf-8")
    ]
    assert lost == []


def test_the_table_of_mutants_adds_up_and_names_what_can_be_run() -> None:
    """The sums above the table are those of its rows, and each row's module has its list of tests."""
    text = (ROOT / "docs" / "faults.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(\w+\.\w+)` \| (\d+) of (\d+) \| [^|]+ \| (\d+) \|(.*)\|$", text, re.MULTILINE)
    assert len(rows) > 15
    for module, tried, possible, killed, why in rows:
        assert int(killed) <= int(tried) <= int(possible), module
        assert f"planner.{module}" in TARGETS | ALONE
        assert bool(why.strip()) or killed == tried, f"{module}: what lives is not explained"
    sums = [sum(int(row[place]) for row in rows) for place in (1, 3)]
    assert f"{sums[0]} tried, {sums[1]} killed, {sums[0] - sums[1]} explained" in text


def test_every_module_of_flow_sink_and_caution_is_in_the_table_of_mutants() -> None:
    """A new one is tried before it can be forgotten; what only hands on the names of others has nothing to change."""
    paths = [path for name in ("flow", "sink", "caution") for path in (ROOT / "planner" / name).glob("*.py")]
    modules = {f"{path.parent.name}.{path.stem}" for path in paths if "def " in path.read_text(encoding="utf-8")}
    assert {f"planner.{module}" for module in modules} == set(TARGETS | ALONE)
    text = (ROOT / "docs" / "faults.md").read_text(encoding="utf-8")
    assert set(re.findall(r"^\| `(\w+\.\w+)` \| \d+ of \d+ \|", text, re.MULTILINE)) == modules
