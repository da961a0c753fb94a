"""The shared set of draws."""

import numpy as np
import pytest

from planner.advice.draws import NAMES, ROWS, deviations, draw, spreads


def test_each_unknown_has_mean_zero_and_spread_one():
    """Every row of the set is centred and scaled."""
    normal = draw(64, 3).normal
    assert normal.shape == (len(NAMES), 64)
    assert np.abs(normal.mean(axis=1)).max() < 1e-12
    assert np.abs(normal.std(axis=1) - 1).max() < 1e-12


def test_unknowns_are_not_correlated():
    """No two rows move together, else one unknown would stand in for another."""
    correlation = np.corrcoef(draw(128, 20).normal) - np.eye(len(NAMES))
    assert np.abs(correlation).max() < 0.2


def test_the_set_is_the_same_each_time_and_another_with_another_seed():
    """A seed fixes the set."""
    assert np.array_equal(draw(32, 1).normal, draw(32, 1).normal)
    assert not np.array_equal(draw(32, 1).normal, draw(32, 2).normal)


COMMON = {"current_log_sd": 0.1, "level_sd_m": 0.1, "lift_sd_m2": 1e-5}


def test_the_two_sides_of_the_sink_rate_have_their_own_spreads():
    """A line whose weight and sink rate disagree varies more to the slow side, and no draw is lost or doubled."""
    draws = draw(64, 20)
    rows = deviations(draws)
    slower, faster = rows[ROWS.index("sink_slower")], rows[ROWS.index("sink_faster")]
    assert np.allclose(slower + faster, draws.of("sink_rate"))
    assert not (slower * faster).any()
    sd = spreads(sink_sd_below=0.3, sink_sd_above=0.08, boat=False, **COMMON)
    total = sd[ROWS.index("sink_slower")] * slower + sd[ROWS.index("sink_faster")] * faster
    assert total.min() < -2 * total.max()


def test_the_boat_is_certain_when_it_stands():
    """The boat speed ratio varies for a drifting stance only."""
    standing = spreads(sink_sd_below=0.1, sink_sd_above=0.1, boat=False, **COMMON)
    moving = spreads(sink_sd_below=0.1, sink_sd_above=0.1, boat=True, **COMMON)
    assert standing[ROWS.index("boat")] == 0.0
    assert moving[ROWS.index("boat")] > 0.0


def test_the_bed_error_keeps_its_variance_anywhere_along_the_channel():
    """Offset, cosine and sine parts add up to one standard error at each place."""
    names = ("bed_offset", "bed_cosine", "bed_sine")
    rows = deviations(draw(128, 20))[[ROWS.index(name) for name in names]]
    sd = spreads(sink_sd_below=0.1, sink_sd_above=0.1, boat=False, **COMMON)[[ROWS.index(name) for name in names]]
    for phase in np.linspace(0, 6, 13):
        error = (np.array([1, np.cos(phase), np.sin(phase)]) * sd) @ rows
        assert error.std() == pytest.approx(1.0, abs=0.1)  # a set of 128 has chance correlations up to 0.2


def test_a_set_that_is_no_power_of_two_is_refused():
    """Sobol points are balanced in powers of two only."""
    with pytest.raises(ValueError, match="power of two"):
        draw(100, 20)
