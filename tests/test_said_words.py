"""Every command's output is read for words that promise too much, and what it writes for such words and for green."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from planner.cli import main
from planner.evening import DEMO_NOW, unpack_demo
from planner.page.cap import cautions_cap
from planner.page.ical import day_ical
from planner.river import read_river
from tests.caution.words import forbidden_in
from tests.rivers import REPLIES, small_river

ROOT = Path(__file__).parent.parent
_QUOTED = re.compile("“[^”]*”")
_CODE = re.compile(r"<(script|style)\b.*?</\1>", re.DOTALL | re.IGNORECASE)
_TAG = re.compile(r"<[^>]+>")


def own_words(text: str) -> list[str]:
    """Forbidden words in our own text: what is quoted from others is marked as such and exempt."""
    return forbidden_in(_QUOTED.sub("“”", text))


def run(*words: str, code: int | None = 0) -> str:
    """A command's whole output, stdout and stderr."""
    done = CliRunner().invoke(main, list(words))
    assert code is None or done.exit_code == code, done.output
    return done.output


@pytest.fixture(scope="module", params=["ordinary", "flood"])
def evening(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, str]:
    """A small demo river with wading spots, its plan, and what the command said."""
    base = tmp_path_factory.mktemp(request.param)
    whole, _ = unpack_demo(base / "demo", request.param)
    folder = small_river(whole, base / "river", spots=5)
    said = run("plan", str(folder), "--now", DEMO_NOW, "--out", str(base / "plan"))
    return folder, base / "plan", said


def texts(value: Any) -> list[str]:
    """Every text of a JSON value."""
    if isinstance(value, str):
        return [value]
    if isinstance(value, dict):
        return [text for item in value.values() for text in texts(item)]
    return [text for item in value for text in texts(item)] if isinstance(value, list) else []


def test_plan_says_and_writes_no_forbidden_word(evening: tuple[Path, Path, str]) -> None:
    """Terminal, plan.json, page, spreadsheet and GPS file of an ordinary day and of a flood."""
    _, out, said = evening
    assert not own_words(said)
    plan = json.loads((out / "plan.json").read_text(encoding="utf-8"))
    found = {text: own_words(text) for text in texts(plan) if own_words(text)}
    assert not found
    for name in ("spots.csv", "spots.gpx"):
        assert not own_words((out / name).read_text(encoding="utf-8")), name
    page = (out / "plan.html").read_text(encoding="utf-8")
    assert not own_words(_TAG.sub(" ", _CODE.sub(" ", page)))


def test_exports_for_others_hold_no_forbidden_word(evening: tuple[Path, Path, str]) -> None:
    """CAP message and calendar of the same plans."""
    folder, out, _ = evening
    plan, river = json.loads((out / "plan.json").read_text(encoding="utf-8")), read_river(folder)
    assert not own_words(cautions_cap(plan, river))
    assert not own_words(day_ical(plan, river))


def test_the_float_plan_command_holds_no_forbidden_word(evening: tuple[Path, Path, str]) -> None:
    """What it says and both papers."""
    folder, out, _ = evening
    assert not own_words(run("floatplan", str(folder), "--plan", str(out)))
    for path in (folder / "floatplan").iterdir():
        assert not own_words(_TAG.sub(" ", _CODE.sub(" ", path.read_text(encoding="utf-8")))), path.name


def test_the_watch_command_holds_no_forbidden_word(
    evening: tuple[Path, Path, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A night in which levels and answers change."""
    folder, out, _ = evening
    plan = json.loads((out / "plan.json").read_text(encoding="utf-8"))
    other = json.loads(json.dumps(plan))
    other["caution"]["level"] = 0 if plan["caution"]["level"] else 3
    for spot in other["spots"]:
        spot["best"] = None
    turns = [plan, other]
    monkeypatch.setattr(
        "planner.watch.watched_plan", lambda *_: lambda now: turns.pop(0) if len(turns) > 1 else turns[0]
    )
    said = run("watch", str(folder), "--now", DEMO_NOW, "--count", "2", code=None)
    assert said.count("\n") > 1
    assert not own_words(said)


def test_the_other_commands_hold_no_forbidden_word(evening: tuple[Path, Path, str]) -> None:
    """Gauge, check, flow and swim."""
    folder, _, _ = evening
    assert not own_words(run("check", str(folder)))
    runs = json.loads((folder / "runs.geojson").read_text(encoding="utf-8"))["features"]
    for feature in runs[:2]:
        assert not own_words(run("flow", str(folder), "--run", feature["properties"]["id"], "--now", DEMO_NOW))
    gauge = ("gauge", "usgs:01541000", "--gauge-reply", str(REPLIES["june"]), "--now", "2018-06-01T23:50-04:00")
    assert not own_words(run(*gauge))
    assert not own_words(run("swim"))


def test_commands_that_write_into_a_folder_hold_no_forbidden_word(
    evening: tuple[Path, Path, str], tmp_path: Path
) -> None:
    """Why, log and soundings, each as text and as JSON, on a copy of the folder."""
    folder = tmp_path / "river"
    shutil.copytree(evening[0], folder)
    spot = json.loads((folder / "spots.geojson").read_text(encoding="utf-8"))["features"][0]["properties"]["id"]
    for form in ((), ("--json",)):
        assert not own_words(run("why", str(folder), spot, "--now", DEMO_NOW, *form))
    entry = ("--spot", spot, "--line", "short head, class 5", "--fly", "slim minnow", "--countdown", "4")
    assert not own_words(run("log", str(folder), *entry, "--at", "2026-06-10T09:00-05:00", "--now", DEMO_NOW))
    soundings = (folder / "soundings.csv").read_text(encoding="utf-8").splitlines()
    (tmp_path / "more.csv").write_text("\n".join(soundings[:40]) + "\n", encoding="utf-8")
    said = run("soundings", str(folder), str(tmp_path / "more.csv"), "--dry-run", "--now", DEMO_NOW, code=None)
    assert said.strip()
    assert not own_words(said)


def test_commands_without_a_folder_hold_no_forbidden_word(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Roughness, calibrate, gauges and demo; the demo on a small river, for it says what plan says."""
    assert not own_words(run("roughness"))
    assert not own_words(
        run("roughness", "--class", "mountain-cobbles", "--radius", "3 ft", "--slope", "0.002", code=None)
    )
    for words in (("line",), ("fly",)):
        assert not own_words(run("calibrate", *words, code=None))
        assert not own_words(run("calibrate", *words, "--help"))
    assert not own_words(run("gauges", "near", "40.9,-78.7", code=None))

    def small(out: Path, day_kind: str = "ordinary") -> tuple[Path, str]:
        whole, now = unpack_demo(tmp_path / "whole", day_kind)
        return small_river(whole, out / "river", spots=2), now

    monkeypatch.setattr("planner.evening.unpack_demo", small)
    said = run("demo", "--day-kind", "rising", "--out", str(tmp_path / "demo"))
    assert "Page to take along" in said
    assert not own_words(said)


def test_the_fleet_command_holds_no_forbidden_word(evening: tuple[Path, Path, str], tmp_path: Path) -> None:
    """What it says and its index over one river that can be planned and one that cannot."""
    asked = ("fleet", str(evening[0]), str(tmp_path / "none"), "--now", DEMO_NOW, "--workers", "1")
    said = run(*asked, "--out", str(tmp_path / "fleet"), code=None)
    assert said.strip()
    assert not own_words(said)
    pages = list((tmp_path / "fleet").rglob("*.html"))
    assert pages
    for page in pages:
        assert not own_words(_TAG.sub(" ", _CODE.sub(" ", page.read_text(encoding="utf-8")))), page.name


_SAID_IN_JS = re.compile(r'"(?:[^"\\\n]|\\.)*"|`(?:[^`\\]|\\.)*`')


def test_scripts_of_page_and_desk_say_no_forbidden_word() -> None:
    """Every text of the scripts, and of the desk's modules, which only a browser shows."""
    read = 0
    for path in sorted((ROOT / "planner").rglob("*")):
        if path.suffix == ".js" or (path.suffix == ".py" and path.parent.name == "desk"):
            for said in _SAID_IN_JS.findall(path.read_text(encoding="utf-8")):
                assert not forbidden_in(said), (path.name, said)
                read += 1
    assert read > 500


def test_no_command_is_left_out() -> None:
    """Each command is run, or for the desk its texts are read, in this file."""
    here = Path(__file__).read_text(encoding="utf-8")
    for name in main.commands:
        assert f'run("{name}"' in here or f'("{name}", ' in here or name == "desk", name


def test_help_and_mistakes_hold_no_forbidden_word(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Help of every command, and what each says when called wrongly; what it writes stays out of the checkout."""
    monkeypatch.chdir(tmp_path)
    said = [run("--help")]
    for name in main.commands:
        said += [run(name, "--help"), run(name, str(tmp_path / "none"), code=None)]
    for text in said:
        assert not own_words(text), text


_NAMED = re.compile(
    r"""["':=,(\s](?:dark|light|pale|sea|spring|forest|lawn|yellow|medium)*green(?=\s*["';,)}])""", re.IGNORECASE
)
_HEX = re.compile(r"#([0-9a-fA-F]{2})([0-9a-fA-F]{2})([0-9a-fA-F]{2})\b")


def greens(text: str) -> list[str]:
    """Colours that read as go: by name where a value stands, or with green as their clear lead."""
    found = [match.group(0) for line in text.splitlines() for match in _NAMED.finditer(line) if "No hue" not in line]
    for match in _HEX.finditer(text):
        red, green, blue = (int(part, 16) for part in match.groups())
        if green > 60 and green > 1.15 * red and green > 1.15 * blue:
            found.append(match.group(0))
    return found


def test_greens_are_found_where_they_stand_and_prose_is_none() -> None:
    """The search is tried on what it must find and on what it must not."""
    assert greens("a{color: green;}") == [" green"]
    assert greens('fill="darkgreen"')
    assert greens("x = '#009E73'") == ["#009E73"]
    assert greens("the original's woods are green.") == []
    assert greens("#F0E442 #E69F00 #D55E00 #6baed6 #3182bd #756bb1") == []


def test_no_green_is_drawn() -> None:
    """No colour in what the package draws reads as go."""
    for path in sorted((ROOT / "planner").rglob("*")):
        if path.suffix in (".py", ".js", ".css", ".html"):
            found = greens(path.read_text(encoding="utf-8"))
            assert not found, (path.name, found)
