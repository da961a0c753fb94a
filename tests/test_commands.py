"""The commands as a user types them: what they print, what they write and how they end."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from planner.cli import main
from tests.rivers import EXAMPLES, REPLIES, small_river

JUNE = ["--now", "2018-06-01T23:50-04:00", "--gauge-reply", str(REPLIES["june"])]
ICE = ["--now", "2019-01-28T23:50-05:00", "--gauge-reply", str(REPLIES["ice"])]


def run(*words: str) -> Result:
    """Run the command in this process."""
    return CliRunner().invoke(main, list(words))


@pytest.fixture(scope="session")
def june_river(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small river on station 01541000."""
    return small_river(EXAMPLES / "recorded" / "01541000", tmp_path_factory.mktemp("june") / "river")


@pytest.fixture(scope="session")
def ice_river(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small river on station 01542500."""
    return small_river(EXAMPLES / "recorded" / "01542500", tmp_path_factory.mktemp("ice") / "river")


def written(out: Path) -> dict[str, Any]:
    """The plan that a command wrote."""
    return json.loads((out / "plan.json").read_text(encoding="utf-8"))


def test_a_real_reply_gives_a_plan(june_river: Path, tmp_path: Path) -> None:
    """The recorded reply of June 2018 ends in a page, plan.json and the exports."""
    done = run("plan", str(june_river), *JUNE, "--out", str(tmp_path))
    assert done.exit_code == 0, done.output
    assert {item.name for item in tmp_path.iterdir()} == {
        "cautions.cap.xml",
        "day.ics",
        "plan.html",
        "plan.json",
        "spots.csv",
        "spots.gpx",
    }
    plan = written(tmp_path)
    assert plan["format"] == "plumbrun-plan/1"
    assert plan["for_day"] == "2018-06-02"
    (gauge,) = plan["gauges"]
    assert gauge["id"] == "usgs:01541000"
    assert gauge["stage_m"] == pytest.approx(6.67 * 0.3048)
    assert gauge["discharge_m3s"] == pytest.approx(1090 * 0.3048**3)
    spot = plan["spots"][0]
    best = spot["best"]
    assert best["countdown_from_s"] <= best["countdown_to_s"]
    assert 0 <= best["hang_chance"] <= 0.10
    low, middle, high = best["fly_depth_m"]
    assert 0 <= low <= middle <= high <= spot["depth_high_m"]
    assert done.output.index("CAUTION") < done.output.index("spot")


CAUTION = "level label assessed checks reasons low_water"
KEYS = {
    "": "format river made_at for_day gauges expected caution runs spots ladder rods trip",
    "gauges": "id service stage_m discharge_m3s observed_at age_min quality trend_m_per_h",
    "expected": "time stage_m stage_low_m stage_high_m discharge_m3s basis",
    "runs": (
        "id name level_m area_m2 hydraulic_radius_m mean_depth_m max_depth_m slope n velocity_manning_m_s "
        "velocity_continuity_m_s velocity_used_m_s velocity_low_m_s velocity_high_m_s soundings bed_error_m "
        "limits caution"
    ),
    "spots": (
        "id run at stage_m depth_m depth_low_m depth_high_m velocity_m_s stance stance_depth_m stance_velocity_m_s "
        "cast_m angle_deg best none_because next_best caution"
    ),
}
BEST = (
    "line fly countdown_mode countdown_from_s countdown_to_s strip_m_s lift_rod_at_m fly_depth_m band_time_s "
    "touch_chance hang_chance leader_m why"
)


def test_the_plan_holds_the_keys_of_the_interface(june_river: Path, tmp_path: Path) -> None:
    """Every key that another program may read stands in plan.json, in every row."""
    run("plan", str(june_river), *JUNE, "--out", str(tmp_path))
    plan = written(tmp_path)
    for name, keys in KEYS.items():
        rows = [plan] if not name else plan[name]
        assert rows
        for row in rows:
            assert set(keys.split()) <= set(row), name
    for caution in [plan["caution"], *(row["caution"] for row in plan["runs"] + plan["spots"] + plan["ladder"])]:
        assert set(CAUTION.split()) <= set(caution)
        for reason in caution["reasons"]:
            assert {"rule", "level", "text", "value", "threshold", "source"} <= set(reason)
    for spot in plan["spots"]:
        assert set(BEST.split()) <= set(spot["best"] or dict.fromkeys(BEST.split()))
        assert (spot["best"] is None) == bool(spot["none_because"])


def test_the_ladder_holds_the_keys_of_the_interface(june_river: Path, tmp_path: Path) -> None:
    """Every key that another program may read is there on every step."""
    run("plan", str(june_river), *JUNE, "--out", str(tmp_path))
    plan = written(tmp_path)
    stages = [step["stage_m"] for step in plan["ladder"]]
    assert stages == sorted(stages)
    assert len(stages) <= 25
    middle = plan["spots"][0]["stage_m"]
    assert stages[0] <= middle - 0.5 + 1e-6
    assert stages[-1] >= middle + 0.5 - 1e-6
    for step in plan["ladder"]:
        assert {"gauge", "stage_m", "discharge_m3s", "caution", "runs", "spots"} <= set(step)
        assert {"id", "level_m", "mean_depth_m", "velocity_low_m_s", "velocity_high_m_s", "caution"} <= set(
            step["runs"][0]
        )
        names = (
            "id depth_m velocity_m_s line fly countdown_from_s countdown_to_s strip_m_s touch_chance hang_chance "
            "band_time_s caution"
        )
        assert set(names.split()) <= set(step["spots"][0])
    depths = [step["spots"][0]["depth_m"] for step in plan["ladder"]]
    assert depths == sorted(depths), "more water at the gauge is never less at the spot"
    levels = [step["caution"]["level"] or 0 for step in plan["ladder"]]
    assert levels == sorted(levels), "more water never lowers a caution"


def test_no_number_of_the_plan_is_nan(june_river: Path, tmp_path: Path) -> None:
    """Unknown is null in plan.json."""
    run("plan", str(june_river), *JUNE, "--out", str(tmp_path))
    text = (tmp_path / "plan.json").read_text(encoding="utf-8")
    assert "NaN" not in text
    assert "Infinity" not in text


def test_ice_stays_off_and_the_rest_is_not_assessed(ice_river: Path, tmp_path: Path) -> None:
    """The iced reply of January 2019 plans from the last good reading and says stay off."""
    done = run("plan", str(ice_river), *ICE, "--out", str(tmp_path))
    assert done.exit_code == 0, done.output
    plan = written(tmp_path)
    assert plan["caution"]["level"] == 3
    assert any("ice" in reason["text"] and reason["level"] == 3 for reason in plan["caution"]["reasons"])
    assert plan["caution"]["assessed"] < plan["caution"]["checks"]
    (gauge,) = plan["gauges"]
    assert gauge["quality"] == "ice"
    assert gauge["stage_m"] is None
    assert gauge["discharge_m3s"] > 0, "a missing code is no discharge"
    assert all(step["stage_m"] is None and step["discharge_m3s"] > 0 for step in plan["ladder"])
    for spot in plan["spots"]:
        assert (spot["best"], spot["velocity_low_m_s"], spot["depth_m"]) == (None, None, None)
        assert "reports ice" in spot["none_because"]
    for run_ in plan["runs"]:
        assert run_["velocity_low_m_s"] is None
        assert run_["velocity_used_m_s"] is None, "no range is no better than a narrow one"


def test_under_ice_a_level_of_the_users_own_still_answers(ice_river: Path, tmp_path: Path) -> None:
    """What the user states is taken at his word: depth and current of open water, and the caution of the ice stays."""
    done = run("plan", str(ice_river), *ICE, "--level", "4000 cfs", "--out", str(tmp_path))
    assert done.exit_code == 0, done.output
    plan = written(tmp_path)
    assert plan["caution"]["level"] == 3
    assert any(run_["velocity_used_m_s"] for run_ in plan["runs"])


def test_a_reply_without_series_ends_with_4(june_river: Path, tmp_path: Path) -> None:
    """Nothing to plan with: exit 4, a message with the next step, nothing written."""
    out = tmp_path / "plan"
    done = run("plan", str(june_river), *JUNE[:2], "--gauge-reply", str(REPLIES["empty"]), "--out", str(out))
    assert done.exit_code == 4
    assert "--level" in done.output
    assert not out.exists()


def test_a_level_of_ones_own_stands_in_for_an_empty_reply(june_river: Path, tmp_path: Path) -> None:
    """With --level the plan is made, rests on it and says so."""
    words = [*JUNE[:2], "--gauge-reply", str(REPLIES["empty"]), "--level", "6.7 ft", "--out", str(tmp_path)]
    done = run("plan", str(june_river), *words)
    assert done.exit_code == 0, done.output
    plan = written(tmp_path)
    assert any("the level you gave" in note for note in plan["gauges"][0]["notes"])
    assert plan["spots"][0]["stage_m"] == pytest.approx(6.7 * 0.3048)


@pytest.mark.parametrize("level", [[], ["--level", "6.7 ft"]], ids=["without a level", "with a level"])
def test_a_reply_of_another_station_is_refused(june_river: Path, tmp_path: Path, level: list[str]) -> None:
    """A wrong file is a mistake to be said, not to be planned around."""
    words = ["--now", "2019-01-28T23:50-05:00", "--gauge-reply", str(REPLIES["ice"]), *level]
    done = run("plan", str(june_river), *words, "--out", str(tmp_path / "plan"))
    assert done.exit_code == 4
    assert "01542500" in done.output
    assert "01541000" in done.output


def test_an_unreachable_gauge_without_a_stored_reading_ends_with_3(
    june_river: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No network and nothing stored: exit 3 and what to do."""

    def refuse(*_: object, **__: object) -> None:
        raise socket.gaierror("no such host")

    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    monkeypatch.setenv("PLUMBRUN_CACHE", str(tmp_path / "cache"))
    done = run("plan", str(june_river), "--out", str(tmp_path / "plan"))
    assert done.exit_code == 3
    assert "--gauge-reply" in done.output
    assert not (tmp_path / "plan").exists()


def test_gauge_shows_the_reading_and_its_age() -> None:
    """The gauge's level, flow, age and quality stand on one screen."""
    done = run("gauge", "usgs:01541000", *JUNE)
    assert done.exit_code == 0, done.output
    assert "6.67 ft" in done.output
    assert "provisional" in done.output
    report = json.loads(run("gauge", "usgs:01541000", *JUNE, "--json").stdout)
    assert {"id", "service", "stage_m", "discharge_m3s", "observed_at", "age_min", "quality", "trend_m_per_h"} <= set(
        report
    )
    assert len(report["series"]) == 96
    assert set(report["series"][0]) == {"time", "stage_m", "discharge_m3s", "quality"}


def test_check_of_the_examples_finds_nothing_to_mend() -> None:
    """The shipped river folders keep the rules."""
    for folder in (EXAMPLES / "demo", EXAMPLES / "recorded" / "01541000", EXAMPLES / "recorded" / "01542500"):
        done = run("check", str(folder))
        assert done.exit_code == 0, done.output
        assert ": 0 to mend" in done.output


def test_check_names_file_feature_and_next_step(june_river: Path, tmp_path: Path) -> None:
    """A spot drawn outside its run is found and said."""
    broken = small_river(EXAMPLES / "recorded" / "01541000", tmp_path / "river")
    path = broken / "spots.geojson"
    drawn = json.loads(path.read_text())
    drawn["features"][0]["geometry"]["coordinates"] = [[10.0, 50.0], [10.0001, 50.0]]
    path.write_text(json.dumps(drawn))
    done = run("check", str(broken))
    assert done.exit_code == 4
    assert "spots.geojson" in done.output
    assert "Next:" in done.output


def test_flow_gives_the_keys_of_a_run(june_river: Path) -> None:
    """One run at a level of one's own, as text and as JSON."""
    run_id = json.loads((june_river / "runs.geojson").read_text())["features"][0]["properties"]["id"]
    words = ["flow", str(june_river), "--run", run_id, *JUNE]
    report = json.loads(run(*words, "--level", "7.0 ft", "--json").stdout)
    keys = (
        "id name level_m area_m2 hydraulic_radius_m mean_depth_m max_depth_m slope n velocity_manning_m_s "
        "velocity_continuity_m_s velocity_used_m_s velocity_low_m_s velocity_high_m_s soundings bed_error_m limits "
        "caution"
    )
    assert set(keys.split()) <= set(report)
    assert report["velocity_low_m_s"] < report["velocity_used_m_s"] < report["velocity_high_m_s"]
    lower = json.loads(run(*words, "--level", "6.5 ft", "--json").stdout)
    assert lower["mean_depth_m"] < report["mean_depth_m"]
    assert "by Manning" in run(*words).output
    assert run("flow", str(june_river), "--run", "nowhere", *JUNE).exit_code == 2


def test_swim_gives_the_keys_of_a_swim() -> None:
    """One swim from options, as JSON and as text."""
    done = run("swim", "--depth", "8 ft", "--current", "3.5 ft/s", "--sink", "5", "--countdown", "3", "--json")
    report = json.loads(done.stdout)
    for key in ("times_s", "fly_depth_m", "fly_distance_m", "tension_n"):
        assert len(report[key]) == len(report["times_s"])
    assert report["max_depth_m"] >= report["mean_depth_retrieve_m"] > 0
    assert report["line"]["density_kg_m3"] > 1000
    assert isinstance(report["touched"], bool)
    assert "through the water" in run("swim").output


@pytest.mark.parametrize(
    "words",
    [
        ["swim", "--depth", "deep"],
        ["swim", "--grains", "-5"],
        ["swim", "--cast", "500 ft"],
        ["gauge", "nowhere:123"],
        ["plan", "no-such-folder"],
        ["plan", str(EXAMPLES / "demo"), "--day", "someday"],
    ],
    ids=lambda words: " ".join(words)[-30:],
)
def test_a_mistake_ends_in_a_message_and_no_traceback(words: list[str]) -> None:
    """Every mistake of a user has its message and its exit code."""
    done = run(*words)
    assert done.exit_code in (2, 4)
    assert "Traceback" not in done.output
    assert "mistake in the program" not in done.output


def test_python_dash_m_is_the_same_command() -> None:
    """`python -m planner` answers as `plumbrun` does."""
    done = subprocess.run([sys.executable, "-m", "planner", "--version"], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("plumbrun")


def test_json_goes_to_stdout_alone(june_river: Path, tmp_path: Path) -> None:
    """With --json a machine reads stdout and nothing else is on it."""
    done = run("plan", str(june_river), *JUNE, "--json", "--out", str(tmp_path))
    assert json.loads(done.stdout)["format"] == "plumbrun-plan/1"
    assert "plan.html" in done.stderr
