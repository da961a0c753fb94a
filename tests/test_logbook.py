"""`plumbrun log`: one entry by options or questions, files of the page, nothing twice, nothing lost."""

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from planner.cli import main
from planner.river import read_river

DEMO = Path(__file__).parent.parent / "examples" / "demo"
LINE, FLY = "26 ft head, 5 ips", "slim minnow"


@pytest.fixture
def folder(tmp_path):
    """A copy of the demo river."""
    return Path(shutil.copytree(DEMO, tmp_path / "river"))


def _log(*arguments, given=None):
    return CliRunner().invoke(main, ["log", *map(str, arguments)], input=given)


def test_an_entry_from_options_stands_at_the_end_of_the_log(folder):
    """What is typed is what is read back; older rows keep their fields."""
    before = (folder / "log.csv").read_text(encoding="utf-8").splitlines()
    made = _log(
        folder, "--spot", "pool-ledge", "--line", LINE, "--fly", FLY, "--countdown", 9, "--mode", "fed",
        "--outcome", "hung", "--at", "2026-06-11T09:00", "--level", "6.2 ft", "--strip", "1.5 ft/s",
    )  # fmt: skip
    assert made.exit_code == 0, made.output
    assert made.stdout.startswith("1 added")
    after = (folder / "log.csv").read_text(encoding="utf-8").splitlines()
    assert [row.startswith(old) for row, old in zip(after[1:], before[1:], strict=False)] == [True, True]
    row = read_river(folder).log.iloc[-1]
    found = [row[name] for name in ("spot", "line", "fly", "countdown_s", "touched", "hung", "countdown_mode", "level")]
    assert found == ["pool-ledge", LINE, FLY, "9", "yes", "yes", "fed", "6.2 ft"]
    assert row["time"] == "2026-06-11T09:00:00-05:00"
    assert float(row["strip_m_s"]) == pytest.approx(0.4572, abs=1e-3)


def test_a_file_of_the_page_is_taken_once(folder, tmp_path):
    """Reading the same file again adds nothing."""
    page = tmp_path / "log-2026-06-13.csv"
    page.write_text(
        "spot,time,level,line,fly,countdown_s,touched,caught,note,hung\n"
        f'chute-seam,2026-06-13T10:00:00-05:00,6.1 ft,"{LINE}",{FLY},7,yes,0,level as planned,no\n'
        f'chute-seam,2026-06-13T10:05:00-05:00,6.1 ft,"{LINE}",{FLY},5,no,1,level as planned,no\n',
        encoding="utf-8",
    )
    assert _log(folder, page).stdout.startswith("2 added, 0 there already; log.csv holds 4.")
    kept = (folder / "log.csv").read_text(encoding="utf-8")
    assert _log(folder, page).stdout.startswith("0 added, 2 there already")
    assert (folder / "log.csv").read_text(encoding="utf-8") == kept


def test_an_entry_by_questions(folder):
    """Without options the command asks; numbers choose."""
    made = _log(folder, "--now", "2026-06-13T12:00-05:00", given="3\n4\n1\n6\n1\n1.5 ft/s\n2\n0\n\n\nticked\n")
    assert made.exit_code == 0, made.output
    river = read_river(folder)
    row = river.log.iloc[-1]
    assert row["spot"] == river.spots[2].id
    assert row["line"] == river.tackle.lines[3].name
    assert (row["countdown_s"], row["touched"], row["hung"], row["note"]) == ("6", "yes", "no", "ticked")
    assert float(row["strip_m_s"]) == pytest.approx(0.457, abs=1e-3)  # not asked once: another pace is another swim
    assert "2026-06-13T12:00-05:00" in made.output  # the river's own clock


def test_an_entry_that_teaches_nothing_says_so_at_once(folder):
    """Without line, fly or seconds no plan learns; the next plan was promised to all the same."""
    made = _log(folder, "--spot", "pool-ledge", "--line", LINE)
    assert "1 of them without countdown, fly: no plan learns from it." in made.stdout
    assert "The next plan learns" not in made.stdout
    made = _log(folder, "--spot", "pool-ledge", "--line", LINE, "--fly", FLY, "--countdown", 0)
    assert "The next plan learns" in made.stdout
    assert "no plan" not in made.stdout


def test_a_folder_without_a_log_gets_one(folder):
    """The first entry makes the file."""
    (folder / "log.csv").unlink()
    assert _log(folder, "--spot", "pool-ledge", "--countdown", 3).exit_code == 0
    assert len(read_river(folder).log) == 1


@pytest.mark.parametrize(
    "wrong",
    [["--spot", "nowhere"], ["--spot", "pool-ledge", "--line", "none"], ["--spot", "pool-ledge", "--level", "x"]],
)
def test_what_is_not_in_the_folder_is_refused_and_nothing_written(folder, wrong):
    """The message names what is known."""
    before = (folder / "log.csv").read_bytes()
    made = _log(folder, *wrong)
    assert made.exit_code in (2, 4)
    assert "Needed" in made.stderr
    assert (folder / "log.csv").read_bytes() == before


def test_a_file_that_is_no_log_is_refused(folder, tmp_path):
    """A file without spot and time adds nothing."""
    wrong = tmp_path / "other.csv"
    wrong.write_text("a,b\n1,2\n", encoding="utf-8")
    before = (folder / "log.csv").read_bytes()
    made = _log(folder, wrong)
    assert made.exit_code == 4
    assert "spot" in made.stderr
    assert (folder / "log.csv").read_bytes() == before
