"""The demo river is what its truth says, and its generator makes the same files again."""

from __future__ import annotations

import importlib.util
import json
import math
import sys
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import shapely

from planner import tables
from planner.river import LocalPlane, read_river

EXAMPLES = Path(__file__).parents[2] / "examples"
DEMO = EXAMPLES / "demo"


def _load(name: str) -> ModuleType:
    if str(EXAMPLES) not in sys.path:
        sys.path.append(str(EXAMPLES))  # the generators share invented.py
    spec = importlib.util.spec_from_file_location(name, EXAMPLES / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def maker() -> ModuleType:
    """The generator of the demo."""
    return _load("make_demo")


@pytest.fixture(scope="module")
def truth() -> dict:
    """What the demo was made from."""
    return json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))


def _same_but_for_last_digits(one: str, two: str) -> bool:
    """Texts alike where numbers may differ in the last written digit, as another processor may round."""
    import re

    number = re.compile(r"-?\d+\.\d+")
    if number.sub("#", one) != number.sub("#", two):
        return False
    pairs = zip(number.findall(one), number.findall(two), strict=True)
    return all(abs(float(a) - float(b)) <= 2 * 10.0 ** -len(a.split(".")[1]) for a, b in pairs)


def test_demo_files_come_out_of_the_generator_again(maker: ModuleType, tmp_path: Path) -> None:
    """The committed demo files are those that the seeded generator writes."""
    maker.write_demo(tmp_path)
    for path in tmp_path.iterdir():
        assert _same_but_for_last_digits(path.read_text(), (DEMO / path.name).read_text()), path.name


def test_recorded_folders_come_out_of_their_generator_again(maker: ModuleType, tmp_path: Path) -> None:
    """The committed recorded folders are those that the seeded generator writes."""
    recorded = _load("make_recorded")
    for case in recorded.CASES:
        recorded.write_case(case, tmp_path / case.station)
        for path in (tmp_path / case.station).iterdir():
            committed = EXAMPLES / "recorded" / case.station / path.name
            assert _same_but_for_last_digits(path.read_text(), committed.read_text()), path


def test_manning_and_continuity_agree_in_the_demo(truth: dict) -> None:
    """In each run Manning's equation at the mean section gives the discharge within a tenth."""
    for run in truth["runs"].values():
        manning = run["area_m2"] * run["hydraulic_radius_m"] ** (2 / 3) * math.sqrt(run["slope"]) / run["n"]
        assert manning == pytest.approx(truth["discharge_tomorrow_m3s"], rel=0.1)


def test_roughness_of_the_demo_lies_in_the_range_of_its_class(maker: ModuleType) -> None:
    """The true n of a run is within the table's range of the class that its file names."""
    classes = {row["class"]: row for row in tables.rows("roughness")}
    for reach in maker.REACHES:
        row = classes[maker.BEDS[reach.id]["bed"]]
        assert float(row["n_min"]) <= reach.manning_n <= float(row["n_max"])


def test_gauge_file_follows_the_rating_that_the_truth_names(truth: dict) -> None:
    """Stage and discharge of the file are one power law, to the digits written."""
    rows = np.genfromtxt(DEMO / "gauge.csv", delimiter=",", skip_header=1, usecols=(1, 2))
    rating = truth["rating"]
    assert np.allclose(rating["c"] * (rows[:, 0] - rating["e"]) ** rating["b"], rows[:, 1], rtol=2e-3)
    assert len(rows) == 60 * 96 + 1
    lines = (DEMO / "gauge.csv").read_text().splitlines()
    assert datetime.fromisoformat(lines[-1].split(",")[0]) == datetime.fromisoformat(truth["now"])


def test_surveys_were_made_at_other_levels_than_tomorrows(truth: dict) -> None:
    """Both sounding days differ from tomorrow by two to five decimetres at the gauge, one above and one below."""
    first = truth["stage_first_survey_m"] - truth["stage_tomorrow_m"]
    second = truth["stage_second_survey_m"] - truth["stage_tomorrow_m"]
    assert 0.2 <= first <= 0.5
    assert -0.5 <= second <= -0.2


def test_runs_of_the_demo_do_not_all_rise_as_the_gauge_does(truth: dict) -> None:
    """A planner that lifts every run by the gauge's rise is wrong here by a decimetre or more in one run at least."""
    gauge = truth["stage_first_survey_m"] - truth["stage_second_survey_m"]
    rises = [run["level_first_survey_m"] - run["level_second_survey_m"] for run in truth["runs"].values()]
    assert max(abs(rise - gauge) for rise in rises) > 0.1
    assert min(abs(rise - gauge) for rise in rises) < 0.2


def test_demo_spots_are_worth_a_choice_of_line(truth: dict) -> None:
    """Landings lie over 1.2 to 3.1 m of water that moves at 0.2 to 1.2 m/s, wading stances in 0.3 to 0.8 m."""
    river = read_river(DEMO)
    assert {spot.stance for spot in river.spots} == {"wading", "bank", "anchored", "drifting"}
    for spot in river.spots:
        if spot.run == "slough":
            continue
        true = truth["spots"][spot.id]
        assert 1.2 <= true["depth_m"] <= 3.1
        assert 0.2 <= true["velocity_m_s"] <= 1.2
        assert 9 <= true["cast_m"] <= 20
        if spot.stance == "wading":
            assert 0.3 <= true["stance_depth_m"] <= 0.8


def test_written_spots_have_the_cast_length_of_the_truth(truth: dict) -> None:
    """Lon and lat of a spot give back its cast in metres."""
    for spot in read_river(DEMO).spots:
        if spot.run != "slough":
            x, y = LocalPlane(*spot.stance_lonlat).to_xy(*spot.landing_lonlat)
            assert float(np.hypot(x, y)) == pytest.approx(truth["spots"][spot.id]["cast_m"], abs=0.03)


def test_flowline_of_the_demo_follows_the_channel(maker: ModuleType) -> None:
    """The drawn flowline stays within a metre of the true one and runs downstream."""
    invented = sys.modules["invented"]
    line = read_river(DEMO).flowline()
    assert line is not None
    x, y = maker.PLANE.to_xy(*np.transpose(line.geometry.coords))
    places = [invented.to_sn(float(a), float(b)) for a, b in zip(x, y, strict=True)]
    assert max(abs(n) for _, n in places) < 1.0
    assert all(second[0] > first[0] for first, second in pairwise(places))


def test_soundings_of_the_demo_are_depths_over_the_true_bed(maker: ModuleType, truth: dict) -> None:
    """Level minus depth minus draft is the true bed, within the reading's and the position's error."""
    invented = sys.modules["invented"]
    river = read_river(DEMO)
    for reach in maker.REACHES:
        errors = []
        polygon = next(run.polygon for run in river.runs if run.id == reach.id)
        for row in river.soundings.itertuples():
            if not polygon.contains(shapely.Point(row.lon, row.lat)):
                continue
            along, across = invented.to_sn(*map(float, maker.PLANE.to_xy(row.lon, row.lat)))
            level = reach.level(maker.discharge_at(row.taken_at.to_pydatetime()))
            errors.append(level - row.depth_m - row.draft_m - float(reach.bed_z(along, across)))
        assert len(errors) > 80
        assert abs(np.median(errors)) < 0.03
        assert np.percentile(np.abs(errors), 80) < 0.15
