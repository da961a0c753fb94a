"""The fitted bed, its weights and its error."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import RBFInterpolator

from planner.bed import ChannelFrame, block_error, fit_bed, idw_weights, polygon_edges, rbf_weights, thin

DATA = Path(__file__).parents[2] / "data" / "channels"


@pytest.mark.parametrize("neighbors", [20, 500])
@pytest.mark.parametrize("smoothing", [0.0, 0.1])
def test_weights_give_what_scipy_gives(neighbors, smoothing):
    """Weights found once agree with scipy's own interpolator to rounding."""
    random = np.random.default_rng(3)
    points, places = random.uniform(0, 20, (120, 2)), random.uniform(0, 20, (60, 2))
    values = random.normal(size=120)
    weights = rbf_weights(points, places, neighbors, smoothing)
    mine = (weights.weight * values[weights.index]).sum(axis=1)
    scipy = RBFInterpolator(points, values, neighbors=min(neighbors, 120), kernel="linear", smoothing=smoothing)(places)
    assert mine == pytest.approx(scipy, abs=1e-10)
    assert weights.weight.sum(axis=1) == pytest.approx(np.ones(60))


def test_bed_stays_between_its_soundings():
    """No level of the bed is above the highest or below the lowest sounding used, even far outside them."""
    random = np.random.default_rng(4)
    s, n, z = random.uniform(0, 100, 60), random.uniform(-20, 20, 60), random.normal(-2, 1, 60)
    bed = fit_bed(ChannelFrame([(0, 0), (100, 0)]), s, n, z)
    level, _ = bed.z(random.uniform(-200, 300, 400), random.uniform(-60, 60, 400))
    assert level.min() >= z.min()
    assert level.max() <= z.max()


@settings(max_examples=15, deadline=None)
@given(lift=st.floats(-50, 50), count=st.integers(2, 40))
def test_lifting_every_sounding_lifts_the_bed(lift, count):
    """The bed has no preferred level."""
    random = np.random.default_rng(count)
    s, n, z = random.uniform(0, 100, count), random.uniform(-20, 20, count), random.normal(-2, 1, count)
    frame = ChannelFrame([(0, 0), (100, 0)])
    one, two = (fit_bed(frame, s, n, z + d).z([20.0, 80.0], [5.0, -5.0]) for d in (0.0, lift))
    assert two[0] - one[0] == pytest.approx([lift, lift], abs=1e-6)
    assert two[1] == pytest.approx(one[1], rel=1e-4, abs=1e-6)


def test_few_soundings_use_inverse_distance():
    """With fewer than ten soundings a sounding's own place keeps its level and halfway is the mean."""
    bed = fit_bed(ChannelFrame([(0, 0), (100, 0)]), [0.0, 100.0], [0.0, 0.0], [-1.0, -3.0])
    level, _ = bed.z([0.0, 50.0, 100.0], [0.0, 0.0, 0.0])
    assert level == pytest.approx([-1.0, -2.0, -3.0], abs=0.01)
    assert idw_weights(np.array([[0.0, 0.0]]), np.array([[9.0, 9.0]])).weight == pytest.approx(np.ones((1, 1)))


def test_a_repeated_sounding_does_not_break_the_fit():
    """The same place sounded fifty times counts as one place with its mean."""
    s, n = np.repeat([10.0, 30.0, 60.0], 50), np.repeat([0.0, 5.0, -5.0], 50)
    z = np.repeat([-1.0, -2.0, -3.0], 50) + np.tile([0.1, -0.1], 75)
    bed = fit_bed(ChannelFrame([(0, 0), (100, 0)]), s, n, z)
    assert len(bed.points.s) == 3
    assert bed.points.z == pytest.approx([-1.0, -2.0, -3.0])


def test_uncertainty_grows_away_from_soundings():
    """A run sounded in its upper half only is less sure of its lower half, the farther the less."""
    random = np.random.default_rng(6)
    s, n = random.uniform(0, 100, 200), random.uniform(-20, 20, 200)
    z = -2 + np.cos(n / 8) * np.sin(s / 30) + random.normal(0, 0.05, 200)
    bed = fit_bed(ChannelFrame([(0, 0), (400, 0)]), s, n, z)
    _, sd = bed.z([50.0, 130.0, 200.0, 300.0], [0.0] * 4)
    assert sd[0] < sd[1] < sd[2] <= sd[3]
    assert sd[3] > 0.5 * z.std()


def test_stated_error_covers_a_bed_that_is_known():
    """On a known bed, 80 of 100 places lie within 10 and 90 % of the stated spread, give or take twelve."""
    random = np.random.default_rng(8)

    def bed_at(s, n):
        return -2 + 0.6 * np.cos(n / 6) * np.sin(s / 25) + 0.2 * np.sin(s / 9 + n / 3)

    s, n = random.uniform(0, 300, 150), random.uniform(-20, 20, 150)
    bed = fit_bed(ChannelFrame([(0, 0), (300, 0)]), s, n, bed_at(s, n) + random.normal(0, 0.05, 150), sd=0.05)
    where = random.uniform(5, 295, 2000), random.uniform(-19, 19, 2000)
    level, sd = bed.z(*where)
    inside = float(np.mean(np.abs(level - bed_at(*where)) < 1.2816 * sd))
    assert 0.68 < inside < 0.95


def test_grid_agrees_with_the_bed_itself():
    """Reading the grid costs no more than a few centimetres against interpolating direct."""
    from shapely.geometry import Polygon

    random = np.random.default_rng(9)
    frame = ChannelFrame([(-50, 0), (200, 0)])
    s, n = random.uniform(50, 200, 300), random.uniform(-20, 20, 300)
    z = -2 + 0.5 * np.cos(n / 8) * np.sin(s / 30)
    edges = polygon_edges(frame, Polygon([(0, -20), (150, -20), (150, 20), (0, 20)]), 48)
    bed = fit_bed(frame, s, n, z, edges=edges)
    where = random.uniform(55, 195, 300), random.uniform(-19, 19, 300)
    miss = bed.quick(*where)[0] - bed.z(*where)[0]
    assert np.sqrt(np.mean(miss**2)) < 0.03
    assert bed.section(100.0).n[0] == pytest.approx(-20.0, abs=1e-6)


def test_meandering_reach_is_filled_across_gaps_within_the_target():
    """On the Lujan reach, whole blocks left out are filled within 0.47 m, and half the error of plain coordinates."""
    lines = json.loads((DATA / "lujan_channel_sections.geojson").read_text())["features"]
    lines.sort(key=lambda f: f["properties"]["s"])
    middle = np.array([np.mean(f["geometry"]["coordinates"], axis=0)[:2] for f in lines])
    places = json.loads((DATA / "lujan_bed_points.geojson").read_text())["features"]
    x, y = np.array([f["geometry"]["coordinates"][:2] for f in places]).T
    z = np.array([f["properties"]["z"] for f in places])
    s, n = ChannelFrame(middle).to_sn(x, y)
    sure = np.full(len(z), 0.08)
    none = np.zeros(len(z), dtype=bool)
    along = block_error(thin(s, n, z, sure, none, 10.0, 0.05), 10.0)
    assert along.held_out == 170
    assert along.rmse <= 0.47
    # the same blocks in plain coordinates: s kept for the blocks, places in x and y
    order = np.argsort(s)
    group = np.empty(len(s), dtype=int)
    group[order] = (np.arange(len(s)) * 10) // len(s)
    plain = np.column_stack((x, y))
    miss = []
    for block in range(10):
        keep, held = group != block, group == block
        weights = rbf_weights(plain[keep], plain[held], 50, 0.1)
        miss.append(weights.apply(z[keep]) - z[held])
    assert np.sqrt(np.mean(np.concatenate(miss) ** 2)) > 1.3 * along.rmse
