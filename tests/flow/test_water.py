"""Slack water, eddies, drift time, roughness side by side, and the fall between gauge and run."""

import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from shapely.geometry import Polygon

from planner.cli import main
from planner.errors import UsageMistake
from planner.flow import survey_run
from planner.flow.roughness import composite_by_conveyance, outside
from planner.flow.roughness_help import Part, ways
from planner.flow.slack import lees
from tests.flow.world import FULL, HALF, LENGTH, World, gauge_stage

ROUGH = World()


@pytest.fixture(scope="module")
def flow():
    """The plain run."""
    run, river = ROUGH.river()
    return survey_run(run, river, ROUGH.series())


@pytest.fixture(scope="module")
def state(flow):
    """It, on the day of its first survey."""
    return flow.at(FULL, float(gauge_stage(FULL)))


def grid(count=81, columns=81):
    """Nodes of a channel 40 m wide and 80 m long."""
    s = np.linspace(0, 80, count)
    n = np.tile(np.linspace(-20, 20, columns), (count, 1))
    return n, s


def test_a_straight_bank_has_no_lee_and_a_spit_has_one_below_it():
    """Below a spit of 6 m the water turns for about 36 m; above it nothing does."""
    n, s = grid()
    dry = np.zeros(n.shape, dtype=bool)
    assert not lees(n, s, dry).any()
    dry[(s >= 20) & (s <= 24)] = False
    spit = (s[:, None] >= 20) & (s[:, None] <= 24) & (n > 14)
    width = lees(n, s, spit)
    assert not width[s < 20].any()
    behind = width[(s > 25) & (s < 58)]
    assert (behind[:, -1] > 0).all()
    assert not width[s > 62].any()
    assert width.max() == pytest.approx(6.0, abs=1.0)
    assert (np.diff(width[s > 25][:, -1]) <= 1e-9).all()


def test_an_island_throws_a_wedge():
    """Behind an island 8 m wide the wake narrows on both sides and is gone after about 24 m."""
    n, s = grid()
    island = (s[:, None] >= 20) & (s[:, None] <= 30) & (np.abs(n) <= 4)
    width = lees(n, s, island)
    middle = width[:, 40]
    assert (middle[(s > 31) & (s < 50)] > 0).all()
    assert not middle[s > 56].any()
    assert not width[s < 20].any()


def test_the_run_s_thread_is_current_and_its_shallow_rim_is_slack(flow, state):
    """Deep water runs, the last decimetres at the bank stand."""
    local = flow.local(state, *ROUGH.place([80.0, 80.0], [10.0, -HALF + 0.15]))
    assert local["water"].tolist() == ["current", "slack"]


def test_shallow_lees_are_stilled_and_deep_ones_turn():
    """Below the same step of the bank deep water holds an eddy and a film of water only slack."""
    run, river = ROUGH.river()
    corners = [
        (0, -HALF),
        (60, -HALF),
        (60, -HALF + 9),
        (80, -HALF + 9),
        (80, -HALF),
        (LENGTH, -HALF),
        (LENGTH, HALF),
        (0, HALF),
    ]
    shape = Polygon([tuple(float(v) for v in ROUGH.place(*c)) for c in corners])
    rows = river.soundings
    hole = Polygon(shape.exterior)
    import shapely

    keep = shapely.contains_xy(hole, rows["lon"].to_numpy(), rows["lat"].to_numpy())
    flow = survey_run(replace(run, polygon=shape), replace(river, soundings=rows[keep]), ROUGH.series())
    state = flow.at(FULL, float(gauge_stage(FULL)))
    n = np.linspace(-HALF + 0.3, -HALF + 4, 40)
    below = flow.local(state, *ROUGH.place(np.full(40, 92.0), n))
    deep, shallow = below["depth_m"] > 0.7, (below["depth_m"] > 0.05) & (below["depth_m"] < 0.2)
    assert deep.any()
    assert shallow.any()
    assert set(below["water"][deep]) == {"eddy"}
    assert set(below["water"][shallow]) == {"slack"}
    above = flow.local(state, *ROUGH.place([30.0], [-HALF + 4]))
    assert above["water"][0] == "current"


def test_surface_runs_faster_than_the_mean(flow, state):
    """The surface current is (m+1)/m times the mean at every point."""
    local = flow.local(state, *ROUGH.place([80.0, 90.0], [5.0, -5.0]))
    m = local["exponent_m"]
    assert local["surface_m_s"] == pytest.approx(local["velocity_m_s"] * (m + 1) / m)


def test_confidence_falls_with_the_distance_to_soundings(flow, state):
    """Among soundings the bed is sounded; far below the last of them it is guessed."""
    run, river = ROUGH.river()
    upper = river.soundings[river.soundings["lon"] < float(ROUGH.place(40.0, 0.0)[0])]
    half = survey_run(run, replace(river, soundings=upper), ROUGH.series())
    lon, lat = ROUGH.place([20.0, 155.0], [5.0, 5.0])
    local = half.local(half.at(FULL, float(gauge_stage(FULL))), lon, lat)
    order = ["sounded", "between", "guessed"]
    assert order.index(local["confidence"][0]) < order.index(local["confidence"][1])
    assert local["depth_sd_m"][1] > local["depth_sd_m"][0]


def test_equal_parts_compose_to_themselves_and_unequal_ones_between():
    """Two alike parts are one; parts of one depth and two roughnesses lie between the two."""
    assert composite_by_conveyance([0.04, 0.04], [20, 20], [10, 10]) == pytest.approx(0.04)
    mixed = composite_by_conveyance([0.03, 0.06], [20, 20], [10, 10])
    assert mixed == pytest.approx(2 / (1 / 0.03 + 1 / 0.06))
    with pytest.raises(UsageMistake):
        composite_by_conveyance([0.03], [20, 20], [10, 10])


def test_every_formula_names_the_bound_that_was_crossed():
    """Inside their data the formulas say nothing; outside they name the quantity and the range."""
    inside = {way.name: way.outside for way in ways(radius=1.0, slope=0.01, d84=0.2)}
    assert inside == {"Limerinos": (), "Bathurst": (), "Jarrett": ()}
    crossed = {way.name: way.outside for way in ways(radius=4.0, slope=0.0005, d84=0.2)}
    assert all("outside the data" in text for texts in crossed.values() for text in texts)
    assert len(crossed["Jarrett"]) == 2
    assert outside("bathurst", depth=1.0, d84=0.05)[0].startswith("d84")


def test_the_roughness_command_lists_and_computes():
    """Without options it explains and lists; with them it computes; a wrong name names the right ones."""
    listed = CliRunner().invoke(main, ["roughness"])
    assert listed.exit_code == 0
    assert "gravel_cobble" in listed.stdout
    words = ["--class", "gravel_cobble", "--radius", "3 ft", "--d84", "70 mm", "--slope", "0.004"]
    told = json.loads(CliRunner().invoke(main, ["roughness", *words, "--json"]).stdout)
    values = {way["name"]: way["n"] for way in told["ways"]}
    assert values["class"] == 0.04
    # 0.112878 x 0.9144^(1/6) / (1.16 + 2 log10(13.063)), by hand
    assert values["Limerinos"] == pytest.approx(0.03278, abs=2e-5)
    parts = CliRunner().invoke(main, ["roughness", "--part", "0.04,100 ft,4 ft", "--part", "0.04,100 ft,4 ft"])
    assert "n 0.040" in parts.stdout
    wrong = CliRunner().invoke(main, ["roughness", "--class", "lava"])
    assert wrong.exit_code == 2
    assert "gravel_cobble" in wrong.stderr
    assert len(ways(parts=[Part(0.03, 20, 10)])) == 3
