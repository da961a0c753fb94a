"""The shared set of draws."""

import numpy as np
import pytest

from planner.advice.draws import NAMES, draw, scales


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


def test_a_flagged_line_may_sink_slower_but_not_faster():
    """The sink rate's spread is widened on its lower side only."""
    draws = draw(64, 20)
    common = {"current_log_sd": 0.1, "level_sd_m": 0.1, "drifting": False}
    plain, flagged = scales(draws, flagged=False, **common), scales(draws, flagged=True, **common)
    row = NAMES.index("sink_rate")
    slower = plain[row] < 0
    assert np.allclose(flagged[row, ~slower], plain[row, ~slower])
    assert (flagged[row, slower] < 2 * plain[row, slower]).all()
    assert np.array_equal(np.delete(flagged, row, axis=0), np.delete(plain, row, axis=0))


def test_the_boat_is_certain_when_it_stands():
    """The boat speed ratio varies for a drifting stance only."""
    common = {"current_log_sd": 0.1, "level_sd_m": 0.1, "flagged": False}
    row = NAMES.index("boat")
    assert not scales(draw(16, 20), drifting=False, **common)[row].any()
    assert scales(draw(16, 20), drifting=True, **common)[row].any()


def test_the_bed_error_keeps_its_variance_anywhere_along_the_channel():
    """Offset, cosine and sine parts add up to one standard error at each place."""
    deviations = scales(draw(128, 20), current_log_sd=0.1, level_sd_m=0.1, flagged=False, drifting=False)
    rows = [NAMES.index(name) for name in ("bed_offset", "bed_cosine", "bed_sine")]
    for phase in np.linspace(0, 6, 13):
        error = np.array([1, np.cos(phase), np.sin(phase)]) @ deviations[rows]
        assert error.std() == pytest.approx(1.0, abs=0.1)  # a set of 128 has chance correlations up to 0.2


def test_a_set_that_is_no_power_of_two_is_refused():
    """Sobol points are balanced in powers of two only."""
    with pytest.raises(ValueError, match="power of two"):
        draw(100, 20)
