"""The shared set of draws."""

from pathlib import Path

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


@pytest.fixture
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty cache, with nothing remembered in this process."""
    monkeypatch.setenv("PLUMBRUN_CACHE", str(tmp_path))
    draw.cache_clear()
    return tmp_path


def test_a_set_that_was_kept_is_the_one_that_was_made(own_cache: Path):
    """The second process reads the points of the first, to the last bit."""
    made = draw(32, 5).normal
    (kept,) = own_cache.glob("draws/*.npy")
    before = kept.stat().st_mtime_ns
    draw.cache_clear()
    assert np.array_equal(draw(32, 5).normal, made)
    assert kept.stat().st_mtime_ns == before


@pytest.mark.parametrize("damage", ["cut", "words", "another set", "pickle"])
def test_a_kept_set_that_is_spoilt_is_made_anew(own_cache: Path, damage: str):
    """A file that holds no such set changes nothing and is written again."""
    made = draw(32, 5).normal
    (kept,) = own_cache.glob("draws/*.npy")
    whole = kept.read_bytes()
    if damage == "cut":
        kept.write_bytes(whole[:-40])
    elif damage == "words":
        kept.write_bytes(b"not a set of points")
    elif damage == "another set":
        np.save(kept, np.random.default_rng(1).random((32, len(NAMES))))
    else:
        np.save(kept, np.array([{"a": 1}], dtype=object), allow_pickle=True)
    draw.cache_clear()
    assert np.array_equal(draw(32, 5).normal, made)
    assert kept.read_bytes() == whole


def test_a_set_that_cannot_be_kept_stops_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A file where the cache's folder should be: the points are made each time."""
    (tmp_path / "taken").write_text("", encoding="utf-8")
    monkeypatch.setenv("PLUMBRUN_CACHE", str(tmp_path / "taken"))
    draw.cache_clear()
    assert draw(32, 5).normal.shape == (len(NAMES), 32)


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
