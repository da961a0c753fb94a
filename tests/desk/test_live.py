"""One spot's answer at once: from what is in memory, the same as the plan's own, and nothing asked twice."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest

from planner.desk import live as living
from planner.desk.waters import run_key
from planner.river import read_river
from tests.desk.desks import NOW, Caller, demo_folder


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Caller:
    """A desk whose gauges, surveys and swims stay in memory from test to test."""
    return Caller(demo_folder(tmp_path_factory.mktemp("live") / "river"))


def _first(desk: Caller) -> dict[str, Any]:
    return dict(desk.get("/api/river")["spots"]["features"][0])


def _moved(feature: dict[str, Any], metres: float) -> dict[str, Any]:
    stance, landing = feature["geometry"]["coordinates"]
    return {
        **feature,
        "geometry": {"type": "LineString", "coordinates": [stance, [landing[0] + metres / 81_200, landing[1]]]},
    }


def test_cautions_come_first_in_an_answer(desk: Caller) -> None:
    """The day's caution, the reminder of who decides, then the spot with its own caution."""
    answer = desk.ask("POST", "/api/plan/spot", {"spot": _first(desk)})
    assert answer.status_code == 200
    assert answer.text.startswith('{"caution":')
    body = answer.get_json()
    assert list(body)[:3] == ["caution", "reminder", "spot"]
    assert body["caution"]["checks"] > 5
    assert "licensed guides" in body["reminder"]
    assert body["spot"]["caution"]["label"]
    assert body["spot"]["caution"]["level"] is None or body["caution"]["level"] >= body["spot"]["caution"]["level"]


def test_the_whole_answer_is_that_of_the_plan(desk: Caller) -> None:
    """After a whole plan the same spot at the same hour gets the plan's line, fly and countdown, or one as good."""
    desk.post("/api/plan/day", {})
    for _ in range(2400):
        plan = desk.get("/api/plan/day")
        if plan["state"] != "running":
            break
        time.sleep(0.25)
    assert plan["state"] == "done", plan["error"]
    for record in plan["plan"]["spots"][:3]:
        own = desk.post("/api/plan/spot", {"spot": record["id"], "whole": True})
        assert own["complete"] is True
        assert own["arrival"] == "of the last whole plan"
        assert own["spot"]["at"] == record["at"]
        for name in ("cast_m", "angle_deg"):
            assert own["spot"][name] == pytest.approx(record[name], rel=1e-9), name
        # the plan's answers are for the hours of its first lay-out, which differ by at most a centimetre of stage
        assert own["spot"]["stage_m"] == pytest.approx(record["stage_m"], abs=0.0101)
        assert own["spot"]["depth_m"] == pytest.approx(record["depth_m"], abs=0.02)
        assert own["spot"]["velocity_m_s"] == pytest.approx(record["velocity_m_s"], rel=0.03)
        mine, planned = own["spot"]["best"], record["best"]
        assert (mine is None) == (planned is None)
        if mine is not None:  # the plan prefers lines that are rigged for other spots too
            assert mine["band_time_s"] >= 0.85 * planned["band_time_s"]
    for record in plan["plan"]["spots"]:  # held at the plan's own hours, to the slow end of the trip
        own = desk.post("/api/plan/spot", {"spot": record["id"]})["spot"]["caution"]
        assert own["level"] == record["caution"]["level"]
        held, planned = (
            {r["rule"]: r["value"] for r in one["reasons"] if r["rule"] in ("W1", "W2", "W3")}
            for one in (own, record["caution"])
        )
        assert held == pytest.approx(planned, rel=1e-6)


def test_a_spot_that_is_being_drawn_needs_no_saving(desk: Caller) -> None:
    """A feature that is not in the folder is answered where it is drawn, and the folder stays as it was."""
    version = desk.get("/api/version")["version"]
    new = _moved(_first(desk), 3.0)
    new["properties"] = {**new["properties"], "id": "drawn-just-now"}
    answer = desk.post("/api/plan/spot", {"spot": new})
    assert answer["spot"]["id"] == "drawn-just-now"
    assert answer["spot"]["depth_m"] > 0
    assert desk.get("/api/version")["version"] == version


def test_a_run_is_surveyed_once_for_many_edits_of_its_spots(desk: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    """Dragging a landing ten times asks no survey anew."""
    spot = _first(desk)
    desk.post("/api/plan/spot", {"spot": spot})

    def survey(*_: object) -> None:
        raise AssertionError("a run was surveyed again")

    monkeypatch.setattr("planner.desk.waters.survey_run", survey)
    for step in range(10):
        assert desk.post("/api/plan/spot", {"spot": _moved(spot, 0.3 * step)})["spot"]


def test_the_level_asked_changes_the_water(desk: Caller) -> None:
    """What if the gauge reads more: deeper and at the stage that was asked."""
    spot = _first(desk)
    low, high = (desk.post("/api/plan/spot", {"spot": spot, "level": level})["spot"] for level in ("2.0 ft", "4.0 ft"))
    assert high["depth_m"] > low["depth_m"]
    assert (low["stage_m"], high["stage_m"]) == pytest.approx((2 * 0.3048, 4 * 0.3048), abs=1e-6)


def test_an_answer_is_kept_until_something_it_rests_on_changes(desk: Caller) -> None:
    """The same question is answered from memory; another place, day or level is another question."""
    spot = _first(desk)
    whole = desk.post("/api/plan/spot", {"spot": spot, "whole": True})
    began = time.process_time()
    assert desk.post("/api/plan/spot", {"spot": spot})["complete"] is True
    assert time.process_time() - began < 2.0
    assert desk.post("/api/plan/spot", {"spot": spot}) == whole
    assert desk.post("/api/plan/spot", {"spot": _moved(spot, 0.5)})["complete"] is False
    assert desk.post("/api/plan/spot", {"spot": spot, "level": "3.3 ft"})["complete"] is False


def test_the_whole_box_waits_for_a_pause(desk: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    """While edits come quickly only the last one's whole answer is worked out."""
    asked: list[float] = []
    live = desk.desk.live
    monkeypatch.setattr(live, "_later", lambda question: asked.append(question.spot.landing_lonlat[0]))
    monkeypatch.setattr(living, "_QUIET_S", 0.4)
    spot = _first(desk)
    steps = [_moved(spot, 0.21 * step) for step in range(1, 4)]
    timers = []
    for one in steps:
        desk.post("/api/plan/spot", {"spot": one})
        timers.append(live._timer)
    assert all(timer is not None for timer in timers)
    timers[-1].join(10)
    # a slow machine may pause longer than the wait between two edits; the last is asked in any case, and last
    assert asked[-1] == steps[-1]["geometry"]["coordinates"][1][0]
    assert len(asked) <= 3


def test_a_wait_that_a_newer_edit_ends_gets_the_quick_answer(desk: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who waits for the whole box while the spot is dragged on is answered, not left with an error."""
    from concurrent.futures import Future

    gone: Future[None] = Future()
    gone.cancel()
    monkeypatch.setattr(desk.desk.live, "_later", lambda question: gone)
    answer = desk.post("/api/plan/spot", {"spot": _moved(_first(desk), 0.77), "whole": True})
    assert answer["complete"] is False


def test_a_quick_answer_looks_at_few_rigs() -> None:
    """The rigs of the last answer first, then those that differ most; never more than two lines and two flies."""
    from tests.desk.desks import DEMO

    tackle = read_river(DEMO).tackle
    fresh = living.quick_tackle(tackle, [])
    ips = [line.sink_ips for line in tackle.lines]
    assert {line.sink_ips for line in fresh.lines} == {max(ips), min(ips)}
    best = [(tackle.lines[2].name, tackle.flies[3].name), (tackle.lines[1].name, tackle.flies[0].name)]
    again = living.quick_tackle(tackle, best)
    assert [line.name for line in again.lines] == [best[0][0], best[1][0]]
    assert [fly.name for fly in again.flies] == [best[0][1]]
    assert len(fresh.flies) == 2


def test_a_survey_depends_on_what_lies_in_its_run_only(tmp_path: Path) -> None:
    """A sounding in one run, a name or a spot leaves the other runs' surveys; the flowline renews all."""
    from planner.plan.ask import request
    from planner.plan.readings import read_gauges

    folder = demo_folder(tmp_path / "river")

    def keys() -> dict[str, str]:
        river = read_river(folder)
        view = next(iter(read_gauges(river, request(river.timezone, now=NOW)).values()))
        return {run.id: run_key(run, river, view) for run in river.runs}

    before = keys()
    assert keys() == before
    runs = (folder / "runs.geojson").read_text(encoding="utf-8")
    (folder / "runs.geojson").write_text(runs.replace("The Long Pool", "Another name"), encoding="utf-8")
    assert keys() == before
    path = folder / "soundings.csv"
    rows = path.read_text(encoding="utf-8").splitlines()
    cells = rows[1].split(",")
    header = rows[0].split(",")
    depth = next(k for k, name in enumerate(header) if name.startswith("depth"))
    cells[depth] = str(float(cells[depth]) + 0.01)
    path.write_text("\n".join([rows[0], ",".join(cells), *rows[2:]]) + "\n", encoding="utf-8")
    changed = keys()
    assert [name for name in before if before[name] != changed[name]] == ["long-pool"]
    places = (folder / "places.geojson").read_text(encoding="utf-8")
    assert '"flowline"' in places
    head, tail = places.split('"flowline"', 1)
    at = tail.index("[[") + 2
    moved = tail[:at] + "-90.81" + tail[tail.index(",", at) :]
    (folder / "places.geojson").write_text(head + '"flowline"' + moved, encoding="utf-8")
    assert all(changed[name] != value for name, value in keys().items())


def test_a_spot_without_its_run_is_said(desk: Caller) -> None:
    """A spot that names no run of the folder, and an id that is none, are refused in words."""
    spot = _first(desk)
    lost = {**spot, "properties": {**spot["properties"], "run": "nowhere"}}
    assert desk.ask("POST", "/api/plan/spot", {"spot": lost}).status_code == 422
    assert "one of" in desk.ask("POST", "/api/plan/spot", {"spot": "none"}).get_json()["need"]


def test_without_a_reading_the_answer_waits_for_a_level(tmp_path: Path) -> None:
    """A gauge that gives nothing is said; with a level of the user's own the spot is answered."""
    folder = demo_folder(tmp_path / "river")
    text = (folder / "river.toml").read_text(encoding="utf-8").replace('gauges = ["file:gauge.csv"]', "gauges = []")
    (folder / "river.toml").write_text(text, encoding="utf-8")
    runs = (folder / "runs.geojson").read_text(encoding="utf-8").replace('"gauge": "file:gauge.csv", ', "")
    (folder / "runs.geojson").write_text(runs, encoding="utf-8")
    desk = Caller(folder)
    spot = _first(desk)
    without = desk.ask("POST", "/api/plan/spot", {"spot": spot})
    assert without.status_code == 422
    assert "gauge" in without.get_json()["given"]
    answered = desk.post("/api/plan/spot", {"spot": spot, "level": "2.5 ft"})
    assert answered["caution"]["level"] is None or answered["caution"]["level"] >= 0
    assert any(reason["level"] is None for reason in answered["caution"]["reasons"])
