"""What the advice prefers."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from planner.advice.objective import countdown_window, prefer

CASES = st.lists(st.tuples(st.floats(0, 60), st.floats(0, 1)), min_size=1, max_size=30)


@given(CASES, st.floats(0, 1), st.floats(0, 1))
def test_a_looser_hang_limit_never_gives_less_band_time(cases, one, other):
    """More is allowed, so the best of it is no worse."""
    band, hang = np.array(cases).T
    tight, loose = sorted((one, other))
    a, b = prefer(band, hang, tight), prefer(band, hang, loose)
    assert a is None or band[b] >= band[a]


@given(CASES, st.floats(0, 1))
def test_the_choice_meets_the_limit_and_nothing_allowed_beats_it(cases, limit):
    """The best admissible swim is found."""
    band, hang = np.array(cases).T
    best = prefer(band, hang, limit)
    allowed = (hang <= limit + 1e-9) & (band > 0)
    assert (best is None) == (not allowed.any())
    if best is not None:
        assert allowed[best]
        assert band[best] == band[allowed].max()


def test_a_tie_goes_to_the_line_already_rigged():
    """One second in a hundred does not buy another rod, ten do."""
    band, hang, rigged = np.array([10.0, 9.9]), np.zeros(2), np.array([False, True])
    assert prefer(band, hang, 0.1, rigged) == 1
    assert prefer(np.array([10.0, 9.0]), hang, 0.1, rigged) == 0


@given(st.lists(st.tuples(st.floats(0.1, 60), st.floats(0, 1)), min_size=1, max_size=30), st.floats(0.0, 1.0))
def test_every_second_of_the_window_meets_the_limit_and_loses_little(cases, limit):
    """The window holds the best second, no bad one, and cannot be widened."""
    band, hang = np.array(cases).T
    seconds = np.arange(len(band), dtype=float)
    best = prefer(band, hang, limit)
    if best is None:
        return
    first, last = countdown_window(seconds, band, hang, best, limit)
    inside = (seconds >= first) & (seconds <= last)
    fit = (hang <= limit + 1e-9) & (band >= 0.9 * band[best])
    assert inside[best]
    assert fit[inside].all()
    for edge in (int(first) - 1, int(last) + 1):
        assert not (0 <= edge < len(band) and fit[edge])
