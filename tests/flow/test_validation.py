"""The current model against measured rivers; each test states the error it found."""

import csv
import json
import math
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from planner.flow import survey_run
from planner.flow.profile import speed_at_height
from planner.tables import constants
from tests.flow import measured

ROOT = Path(__file__).parents[2]
DATA = ROOT / "data" / "channels"


def rows(name):
    """Rows of a measurement."""
    with (DATA / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def verde():
    """Widths, depths and speeds of the Verde gauging [m], [m/s]."""
    x, d, v = (
        np.array([float(row[key] or 0) for row in rows("verde_river_2007-06-13_midsection.csv")]) * 0.3048
        for key in ("distance_ft", "depth_ft", "velocity_ft_s")
    )
    return np.diff(np.concatenate((x[:1], (x[1:] + x[:-1]) / 2, x[-1:]))), d, v


def long_legged():
    """Widths, depths and speeds of the Long-Legged gauging [m], [m/s]."""
    names = ("width_m", "depth_m", "panel_velocity_m_s")
    return tuple(np.array([float(row[n]) for row in rows("long_legged_river_2011_midsection.csv")]) for n in names)


def shared(width, depth, discharge):
    """Current at each vertical by unit discharge in proportion to h^(5/3)."""
    return discharge / np.sum(width * depth ** (5 / 3)) * depth ** (2 / 3)


def spread(width, depth, speed):
    """Flow-weighted spread of ln(measured / modelled), and the same with one speed for the whole section."""
    q = np.sum(width * depth * speed)
    use = (depth > 0) & (speed > 0)
    weight = (width * depth * speed)[use]
    model = np.log(speed[use] / shared(width, depth, q)[use])
    flat = np.log(speed[use] / (q / np.sum(width * depth)))
    return (float(np.sqrt(np.average(e**2, weights=weight))) for e in (model, flat))


@pytest.mark.parametrize(("river", "found"), [(verde, 0.219), (long_legged, 0.141)])
def test_lateral_share_by_local_depth_beats_one_speed_for_all(river, found):
    """Sharing by depth misses measured speeds by the stated spread, which is less than one mean speed does."""
    model, flat = spread(*river())
    assert model == pytest.approx(found, abs=0.002)
    assert model < 0.85 * flat


def test_the_spread_used_is_the_spread_found():
    """The table's lateral spread is the root mean square of both rivers', to two decimals."""
    both = [next(iter(spread(*river()))) for river in (verde, long_legged)]
    assert constants("flow")["lateral_ln_sd"] == pytest.approx(math.sqrt(np.mean(np.square(both))), abs=0.006)


def test_power_law_follows_a_profiler_crossing():
    """Where the Tanana is over 5 m deep one power law meets its mean profile within 6 %, worst at the surface dip."""
    table = rows("tanana_2022-08-19_velocity_bins.csv")
    depth, at, u = (
        np.array([float(r[k]) for r in table]) for k in ("depth_m", "bin_depth_m", "streamwise_velocity_m_s")
    )
    part = at / depth
    use = (depth > 5) & (part > 0.1) & (part < 0.9)
    cell = np.floor(part[use] * 10).astype(int)
    mean = np.array([u[use][cell == c].mean() for c in range(1, 9)])
    down = np.array([part[use][cell == c].mean() for c in range(1, 9)])
    slope, ln_surface = np.polyfit(np.log(1 - down), np.log(mean), 1)
    m = 1 / slope
    assert 3.5 <= m <= 7
    v = math.exp(ln_surface) * m / (m + 1)
    assert speed_at_height(v, 1.0, 1 - down, m) == pytest.approx(mean, rel=0.06)


@pytest.fixture(scope="module")
def demo():
    """The invented demo river, its record and the truth it was made from."""
    from planner.gauges import open_series
    from planner.river import read_river

    folder = ROOT / "examples" / "demo"
    river = read_river(folder)
    series = open_series(river.gauges[0], now=datetime(2026, 6, 12, 23, 0, tzinfo=UTC), folder=folder)
    return river, series, json.loads((folder / "truth.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", ["long-pool", "chute", "pockets"])
def test_demo_runs_are_found_again_from_their_soundings(demo, name):
    """Level, mean current, roughness and the bed of each invented run come back from 120 noisy soundings."""
    river, series, truth = demo
    known = truth["runs"][name]
    flow = survey_run(river.run(name), river, series)
    q = truth["discharge_tomorrow_m3s"]
    state = flow.at(q, truth["stage_tomorrow_m"])
    first = known["level_first_survey_m"]
    assert state.level_m + first == pytest.approx(known["level_tomorrow_m"], abs=0.04)
    assert state.area_m2 == pytest.approx(known["area_m2"], rel=0.05)
    assert state.velocity_used_m_s == pytest.approx(known["velocity_m_s"], rel=0.05)
    assert state.velocity_low_m_s < known["velocity_m_s"] < state.velocity_high_m_s
    assert flow.n_calibrated == pytest.approx(known["n"], rel=0.06)
    lon, lat, z = np.array(known["bed"]).T
    local = flow.local(state, lon, lat)
    miss = local["depth_m"] - (known["level_tomorrow_m"] - z)
    inside = np.isfinite(miss)
    assert inside.mean() > 0.95
    assert np.sqrt(np.mean(miss[inside] ** 2)) < 0.22
    covered = np.mean(np.abs(miss[inside]) < 1.2816 * local["depth_sd_m"][inside])
    assert covered > 0.7


@pytest.mark.parametrize(("which", "rms", "ln_sd"), [(0, 0.091, 0.219), (1, 0.213, 0.141)])
def test_currents_of_each_vertical_from_depths_and_discharge_alone(which, rms, ln_sd):
    """Both gaugings are predicted within the errors that docs/bed-and-flow.md states, better than by one speed."""
    one = list(measured.gaugings())[which]
    own, flat = one.misses(one.predicted()), one.misses(one.flat())
    assert own["rms"] == pytest.approx(rms, abs=0.003)
    assert own["ln_sd"] == pytest.approx(ln_sd, abs=0.002)
    assert own["ln_sd"] < 0.7 * flat["ln_sd"]
    assert np.sum(one.width * one.depth * one.predicted()) == pytest.approx(one.discharge)


def test_one_exponent_meets_a_rocky_river_s_profiles_and_the_seventh_power_does_not():
    """On fifteen two-point verticals m = 3.6 errs by 3 to 5 %, m = 7 by 8 to 13 %."""
    two = measured.two_point()
    assert two["fitted_m"] == pytest.approx(3.623, abs=0.01)
    assert two["fitted_rms_02"] < 0.035
    assert two["fitted_rms_08"] < 0.05
    assert two["seventh_rms_08"] > 0.1


def test_log_law_follows_the_profiler_crossing_too():
    """The log law meets the Tanana's mean profile within 5 %, and its mean within 2 % of the power law's."""
    river = measured.tanana()
    assert np.max(np.abs(river["log"] / river["mean"] - 1)) < 0.05
    assert river["log_mean"] == pytest.approx(river["power_mean"], rel=0.02)


def test_bed_between_soundings_of_a_real_reach():
    """The Lujan reach errs by no more than 0.47 m across a gap and 0.40 m from sixty points."""
    found = measured.lujan_errors(12)
    assert found["gap"] < 0.47
    assert found["sixty"] < 0.40


def test_manning_meets_verified_reaches():
    """On reaches whose n was verified Manning's velocity is within 15 % of the measured range."""
    for _, low, high, least, most in measured.barnes():
        assert high > 0.85 * least
        assert low < 1.15 * most
