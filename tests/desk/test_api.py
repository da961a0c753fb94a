"""Settings, thresholds, tackle, log and sight of the water, as the page asks for them."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from planner.river import read_river
from planner.river.settings import parse_settings
from planner.river.values import Notebook
from tests.desk.desks import ROOT, Caller, contents, demo_folder


@pytest.fixture
def desk(tmp_path: Path) -> Caller:
    """A desk on a copy of the demo river."""
    return Caller(demo_folder(tmp_path / "river"))


@pytest.fixture(scope="module")
def seeing(tmp_path_factory: pytest.TempPathFactory) -> Caller:
    """A desk whose surveys stay in memory from test to test; nothing here writes to it."""
    return Caller(demo_folder(tmp_path_factory.mktemp("seeing") / "river"))


def _version(desk: Caller) -> str:
    return str(desk.get("/api/version")["version"])


def _text(desk: Caller, name: str) -> str:
    return (desk.desk.folder / name).read_text(encoding="utf-8")


# river.toml


def test_a_setting_changes_its_line_and_keeps_every_comment(desk: Caller) -> None:
    """The craft is changed in its place; comments, order and the other tables stay."""
    before = _text(desk, "river.toml").splitlines()
    desk.put("/api/settings", {"version": _version(desk), "set": {"craft": "raft", "party": {"adults": 3}}})
    after = _text(desk, "river.toml").splitlines()
    changed = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    assert changed == [('craft = "drift boat"', 'craft = "raft"'), ("adults = 2", "adults = 3")]


def test_a_member_is_taken_away_with_null_and_unknown_ones_are_kept(desk: Caller) -> None:
    """Null deletes, and what the desk does not know stays as it was written."""
    path = desk.desk.folder / "river.toml"
    path.write_text("my_own = { a = 1 } # mine\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    desk.put("/api/settings", {"version": _version(desk), "set": {"craft": None}})
    text = _text(desk, "river.toml")
    assert "craft" not in text.split("[party]")[0]
    assert text.startswith("my_own = { a = 1 } # mine\n")


def test_a_setting_that_breaks_a_rule_is_refused(desk: Caller) -> None:
    """A zone that is none, and a gauge without a service: refused with the reason, nothing written."""
    before = contents(desk.desk.folder)
    for put in ({"timezone": "Mars/Base"}, {"gauges": ["01541000"]}, {"units": "furlongs"}, {"name": ""}):
        reply = desk.ask("PUT", "/api/settings", {"version": _version(desk), "set": put})
        assert reply.status_code == 422, put
        assert reply.get_json()["where"].startswith("river.toml")
    assert contents(desk.desk.folder) == before


def test_settings_changed_on_both_sides(desk: Caller) -> None:
    """Different members of two windows both stand; the same member is refused with both values."""
    version = _version(desk)
    desk.put("/api/settings", {"version": version, "set": {"craft": "raft"}})
    desk.put("/api/settings", {"version": version, "set": {"party": {"children": 1}}})
    reply = desk.ask("PUT", "/api/settings", {"version": version, "set": {"craft": "canoe"}})
    assert reply.status_code == 409
    assert (reply.get_json()["mine"], reply.get_json()["theirs"]) == ({"craft": "canoe"}, {"craft": "raft"})
    river = read_river(desk.desk.folder)
    assert (river.craft, river.party["children"]) == ("raft", 1)


def test_local_thresholds_are_set_as_a_list(desk: Caller) -> None:
    """One more threshold is read back as the folder's reader understands it; the others keep their words."""
    given = desk.get("/api/river")["settings"]["threshold"]
    new = {
        "input": "water_temperature",
        "level": 2,
        "at": 50,
        "unit": "degF",
        "side": "below",
        "text": "Cold",
        "source": "x",
    }
    desk.put("/api/thresholds", {"version": _version(desk), "set": [*given, new]})
    river = read_river(desk.desk.folder)
    assert len(river.thresholds) == len(given) + 1
    assert river.thresholds[-1]["at_si"] == pytest.approx(10.0)
    assert river.thresholds[0]["text"] == given[0]["text"]
    bad = {**new, "input": "mood"}
    assert desk.ask("PUT", "/api/thresholds", {"version": _version(desk), "set": [bad]}).status_code == 422


# tackle.toml


def test_a_line_is_edited_by_its_name_and_keeps_its_comment(desk: Caller) -> None:
    """Members that are not given stay, a renamed line says what it was, and comments stay."""
    lines = desk.get("/api/river")["tackle"]["lines"]
    put = [{"name": line["name"]} for line in lines]
    put[0] |= {"was": lines[0]["name"], "name": "my tip", "sink_ips": 7}
    desk.put("/api/tackle", {"version": _version(desk), "set": {"line": put, "leader": {"length_m": 1.5}}})
    text = _text(desk, "tackle.toml")
    assert "# of the tip alone" in text
    box = read_river(desk.desk.folder).tackle
    assert (box.lines[0].name, box.lines[0].sink_ips, box.lines[0].head_grains) == (
        "my tip",
        7,
        lines[0]["head_grains"],
    )
    assert len(box.lines) == len(lines)
    assert box.leader_m == 1.5


def test_a_box_is_begun_where_there_is_none(desk: Caller) -> None:
    """The first own line makes the file; until then the generic classes stand in."""
    (desk.desk.folder / "tackle.toml").unlink()
    assert desk.get("/api/river")["tackle"]["generic"] is True
    line = {"name": "sinker", "head_ft": 26, "head_grains": 200, "sink_ips": 5}
    desk.put("/api/tackle", {"version": _version(desk), "set": {"line": [line]}})
    assert [one.name for one in read_river(desk.desk.folder).tackle.lines] == ["sinker"]


def test_a_line_changed_on_both_sides_is_refused(desk: Caller) -> None:
    """An entry is a thing of its own: another window's line stays, the same line is refused."""
    version = _version(desk)
    names = [line["name"] for line in desk.get("/api/river")["tackle"]["lines"]]

    def put(which: int, ips: float) -> dict[str, Any]:
        lines = [{"name": name} | ({"sink_ips": ips} if k == which else {}) for k, name in enumerate(names)]
        return {"version": version, "set": {"line": lines}}

    desk.put("/api/tackle", put(1, 2.0))
    desk.put("/api/tackle", put(2, 4.0))
    assert desk.ask("PUT", "/api/tackle", put(1, 3.0)).status_code == 409
    box = read_river(desk.desk.folder).tackle
    assert (box.lines[1].sink_ips, box.lines[2].sink_ips) == (2.0, 4.0)


def test_the_box_says_what_its_labels_imply(seeing: Caller) -> None:
    """Diameter, density and sink rate are those of the line that swims; weight and rate that disagree are flagged."""
    from planner.sink import line_from_tackle

    tackle = read_river(seeing.desk.folder).tackle
    shown = seeing.get("/api/tackle/physics")
    for entry, line in zip(shown["lines"], tackle.lines, strict=True):
        made = line_from_tackle(line, tackle)
        assert entry["diameter_mm"] == pytest.approx(1000 * made.head_diameter_m)
        assert entry["density_kg_m3"] == pytest.approx(made.head_density_kg_m3)
        assert entry["flags"] == list(made.flags)
    odd = {"line": {"head_ft": 30, "head_grains": 60, "sink_ips": 9}}
    assert seeing.post("/api/tackle/physics", odd)["lines"][0]["flags"]
    lacking = seeing.post("/api/tackle/physics", {"line": {"head_ft": 30}})
    assert lacking["findings"] or "unfit" in lacking["lines"][0]


def test_a_timed_fall_gives_a_sink_rate(seeing: Caller) -> None:
    """A piece of line timed over a fall gives what the command gives; a missing time is asked for."""
    asked = {"kind": "line", "fell": "3 ft", "times": [7.1, 7.3], "length": "3 ft"}
    found = seeing.post("/api/calibrate", asked)
    from planner.sink.bucket import line_report

    direct = line_report(length="3 ft", fell="3 ft", times=["7.1", "7.3"])
    assert found["sink_m_s"] == pytest.approx(direct["sink_m_s"])
    assert found["toml"] == direct["toml"]
    assert "sinks" in found["sentences"][0]
    assert seeing.ask("POST", "/api/calibrate", {**asked, "times": []}).status_code == 422
    assert seeing.ask("POST", "/api/calibrate", {"kind": "rod"}).status_code == 422


# the log


def test_an_entry_and_the_rows_of_the_page_reach_the_log(desk: Caller) -> None:
    """One entry by hand, rows as the page exports them, and the same rows again, which are not taken twice."""
    before = _text(desk, "log.csv")
    river = desk.get("/api/river")
    spot, line = river["spots"]["features"][0]["properties"]["id"], river["tackle"]["lines"][0]["name"]
    entry = {"spot": spot, "outcome": "touched", "countdown": 7, "line": line, "note": "a tick"}
    assert desk.post("/api/log", {"version": river["version"], "entry": entry})["added"] == 1
    rows = [{"spot": spot, "time": "2026-06-12T15:00:00-05:00", "line": line, "countdown_s": "9", "touched": "no"}]
    assert desk.post("/api/log", {"version": _version(desk), "rows": rows})["added"] == 1
    again = desk.post("/api/log", {"version": _version(desk), "rows": rows})
    assert (again["added"], again["already_there"]) == (0, 1)
    kept = [line.split(",")[:5] for line in _text(desk, "log.csv").splitlines()[1:3]]
    assert kept == [line.split(",")[:5] for line in before.splitlines()[1:3]]
    assert [row["note"] for row in desk.get("/api/river")["log"]][-2] == "a tick"


def test_an_entry_that_cannot_be_is_refused(desk: Caller) -> None:
    """A spot or line that is not in the folder, and a countdown that is no number, are named."""
    before = contents(desk.desk.folder)
    spot = desk.get("/api/river")["spots"]["features"][0]["properties"]["id"]
    for entry in ({"spot": "nowhere", "outcome": "clean"}, {"spot": spot, "outcome": "fine"},
                  {"spot": spot, "outcome": "clean", "line": "none"}, {"spot": spot}, {"evil": 1}):  # fmt: skip
        reply = desk.ask("POST", "/api/log", {"version": _version(desk), "entry": entry})
        assert reply.status_code == 422, entry
    assert contents(desk.desk.folder) == before


# the water


def test_cells_agree_with_the_flow_that_the_plan_uses(seeing: Caller) -> None:
    """Depth and speed of a cell are those of the run's own computation there, at the level asked."""
    import numpy as np

    from planner.plan.ask import request
    from planner.plan.readings import read_gauges
    from planner.plan.waters import GaugeLevel, run_water
    from planner.units import FOOT
    from tests.desk.desks import NOW

    shown = seeing.get("/api/see/run/chute?level=3%20ft")
    river = read_river(seeing.desk.folder)
    view = next(
        iter(read_gauges(river, request(river.timezone, now=NOW, day="today", start="18:00", end="23:00")).values())
    )
    water = run_water(river.run("chute"), river, view)
    state = water.at(GaugeLevel(3 * FOOT, float("nan")))
    lon, lat, depth, _, speed, _ = (np.array(column) for column in zip(*shown["cells"][::97], strict=True))
    here = water.flow.local(state, lon.astype(float), lat.astype(float))
    assert np.allclose(here["depth_m"], depth.astype(float), atol=2e-3)
    assert np.allclose(here["velocity_m_s"], speed.astype(float), atol=2e-3)
    assert shown["level"]["stage_m"] == pytest.approx(3 * FOOT)
    assert {cell[5] for cell in shown["cells"]} <= {"sounded", "between", "guessed"}
    assert "decide" in shown["reminder"]
    assert shown["caution"]["label"]


def test_more_water_is_deeper_and_wider(seeing: Caller) -> None:
    """At a higher level of the gauge more cells are wet and the section's water stands higher."""
    low, high = (seeing.get(f"/api/see/run/chute?level={level}%20ft") for level in (2, 4))
    assert len(high["cells"]) >= len(low["cells"])
    assert high["state"]["mean_depth_m"] > low["state"]["mean_depth_m"]
    lon, lat = low["cells"][len(low["cells"]) // 2][:2]
    sections = [seeing.get(f"/api/see/section/chute?lon={lon}&lat={lat}&level={level}%20ft") for level in (2, 4)]
    assert sections[1]["level_m"] > sections[0]["level_m"]
    assert sections[0]["z_m"] == sections[1]["z_m"]
    assert len(sections[0]["n_m"]) == len(sections[0]["velocity"]) == len(sections[0]["confidence"])
    assert sections[0]["n_m"][0] <= sections[0]["at_n_m"] <= sections[0]["n_m"][-1]
    assert len(sections[0]["at"]) == 2


@pytest.mark.parametrize("level", ["deep", "3", "-5 cfs", "900 ft", "3 kg"])
def test_a_level_that_is_none_is_refused(seeing: Caller, level: str) -> None:
    """A number without a unit, a negative flow or a weight is no reading of a gauge."""
    assert seeing.ask("GET", f"/api/see/run/chute?level={level}").status_code == 422


def test_a_run_without_soundings_says_so(desk: Caller) -> None:
    """No soundings: no cells, no section, and the reason among the limits."""
    (desk.desk.folder / "soundings.csv").unlink()
    shown = desk.get("/api/see/run/chute")
    assert shown["cells"] == []
    assert any("sounding" in limit for limit in shown["limits"])
    assert desk.get("/api/see/section/chute?lon=-90.8&lat=43.2")["n_m"] == []


def test_the_days_caution_is_that_of_the_plan(seeing: Caller) -> None:
    """Without a plan the day's caution is the plan's own, level and reasons."""
    import time

    quick = seeing.get("/api/caution?day=tomorrow")
    seeing.post("/api/plan/day", {})
    for _ in range(1200):
        found = seeing.get("/api/plan/day")
        if found["state"] != "running":
            break
        time.sleep(0.25)
    assert found["state"] == "done", found["error"]
    whole = found["plan"]["caution"]
    assert quick["caution"]["level"] == whole["level"]
    assert [reason["rule"] for reason in quick["caution"]["reasons"]] == [reason["rule"] for reason in whole["reasons"]]
    seeing.client.set_cookie(seeing.guard.cookie, seeing.guard.key, domain="127.0.0.1")
    page = seeing.ask("GET", "/plan.html")
    assert page.status_code == 200
    assert page.data.startswith(b"<!DOCTYPE html>")


def test_a_plan_that_cannot_be_made_says_why(desk: Caller) -> None:
    """A day that is over is refused at once; a folder with an error is refused with its finding."""
    assert desk.ask("POST", "/api/plan/day", {"day": "2020-01-01"}).status_code == 422
    assert desk.ask("POST", "/api/plan/day", {"from": "18:00", "to": "08:00"}).status_code == 422
    (desk.desk.folder / "runs.geojson").write_text("{", encoding="utf-8")
    reply = desk.ask("POST", "/api/plan/day", {})
    assert reply.status_code == 422
    assert reply.get_json()["where"].startswith("runs.geojson")


# the command


def test_the_command_says_what_it_needs(tmp_path: Path) -> None:
    """A folder that is not there and a clock that cannot be read end with a message and the exit code."""
    for arguments in ([str(tmp_path / "gone")], ["--now", "yesterday"]):
        done = subprocess.run(
            [sys.executable, "-m", "planner", "desk", "--no-browser", *arguments],
            capture_output=True,
            check=False,
            text=True,
            cwd=ROOT,
        )
        assert done.returncode == 2, arguments
        assert "Needed:" in done.stderr
        assert "Traceback" not in done.stderr


def test_an_interrupt_closes_the_desk_in_order(tmp_path: Path) -> None:
    """Ctrl-C ends the process by itself, with the word that every edit is in the folder."""
    import os
    import signal

    # a shell's background jobs ignore interrupts, and so does what they start; a desk in front of a user does not
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        process = subprocess.Popen(
            [sys.executable, "-m", "planner", "desk", "--no-browser"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=tmp_path,
            env={**os.environ, "PYTHONUNBUFFERED": "1", "PYTHONPATH": str(ROOT)},
        )
    finally:
        signal.signal(signal.SIGINT, before)
    assert process.stdout is not None
    assert "http://127.0.0.1:" in process.stdout.readline()
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=60)
    assert process.returncode == 0
    assert "every edit is in the folder" in said
    assert "Traceback" not in said


def test_the_settings_of_the_demo_are_read_as_they_stand(seeing: Caller) -> None:
    """What the page is told of river.toml is the file itself, unknown members included."""
    notes = Notebook()
    parsed = parse_settings((seeing.desk.folder / "river.toml").read_text(encoding="utf-8"), notes, seeing.desk.folder)
    shown = seeing.get("/api/river")["settings"]
    assert parsed is not None
    assert shown["name"] == parsed["name"]
    assert len(shown["threshold"]) == len(parsed["thresholds"])
    json.dumps(shown)
