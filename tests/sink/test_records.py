"""Casts and currents at the ends of what is taken: the ends are, and what lies beyond is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest

from planner.errors import UsageMistake
from planner.sink import Cast, Current

A_HAIR = 1e-6


@pytest.mark.parametrize(
    ("what", "low", "high"),
    [
        ("cast_m", 1.0, 60.0),
        ("angle_deg", -360.0, 360.0),
        ("strip_m_s", 0.0, 3.0),
        ("countdown_s", 0.0, 600.0),
        ("boat_speed_m_s", -5.0, 5.0),
        ("tip_height_m", 0.0, 4.0),
        ("pickup_m", 0.5, math.inf),
        ("lift_height_m", 0.0, 4.0),
        ("mend_every_s", 0.5, 60.0),
    ],
)
def test_a_cast_at_the_ends_of_a_range_is_taken_and_beyond_them_refused(what: str, low: float, high: float) -> None:
    """Each end is a cast that can be; a hair beyond it is none, nor is an unknown value."""
    for value in (low, high):
        assert getattr(Cast(**({"cast_m": 12.0} | {what: value})), what) == value
    for value in (low - A_HAIR, high + A_HAIR, math.nan):
        if value != high:
            with pytest.raises(UsageMistake):
                Cast(**({"cast_m": 12.0} | {what: value}))


@pytest.mark.parametrize(
    ("pull", "pause", "strip", "taken"),
    [
        (0.1, 0.1, 0.45, True),
        (0.1 - A_HAIR, 0.1, 0.45, False),
        (20.0, 20.0, 0.45, True),
        (20.0 + A_HAIR, 20.0, 0.45, False),
        (20.0, 20.0 + A_HAIR, 0.45, False),
        (20.0, -A_HAIR, 0.45, False),
        (0.0, 0.0, 3.0, True),  # a steady strip has no pulls whose length or speed could be wrong
        (0.0, 0.0, 0.45, True),
        (0.5, 1.5, 1.125, True),  # the line is pulled at four times the mean, 4.5 m/s
        (0.5, 1.5, 1.126, False),
        (0.5, 4.0, 0.5, True),  # nine times 0.5 m/s
        (0.5, 4.0, 0.501, False),
        (2.0, 2.0, 2.0, True),  # long pulls, twice the mean
    ],
)
def test_pulls_are_as_long_and_as_fast_as_a_hand_can(pull: float, pause: float, strip: float, taken: bool) -> None:
    """A pull before a pause lasts 0.1 to 20 s and, with the mean kept, goes at 4.5 m/s at most."""

    def made() -> Cast:
        return Cast(12.0, strip_m_s=strip, pull_s=pull, pause_s=pause)

    if taken:
        assert made().pause_s == pause
        return
    with pytest.raises(UsageMistake, match=r"pull|pause"):
        made()


def test_a_refusal_names_the_speed_of_the_pulls() -> None:
    """Pulls of a quarter of the time at 2 m/s in the mean go at 8 m/s, and the message says so."""
    with pytest.raises(UsageMistake, match=r"pulls of 8\.0 m/s"):
        Cast(12.0, strip_m_s=2.0, pull_s=0.5, pause_s=1.5)


@pytest.mark.parametrize(
    ("given", "taken"),
    [
        ((5.0, 2.0, 7.0), True),
        ((-5.0, 2.0, 7.0), True),
        ((5.0 + A_HAIR, 2.0, 7.0), False),
        ((1.0, A_HAIR, 7.0), True),
        ((1.0, 0.0, 7.0), False),
        ((1.0, math.inf, 7.0), False),
        ((math.inf, 2.0, 7.0), False),
        ((1.0, 2.0, 1.0), True),  # speed falls evenly to the bed
        ((1.0, 2.0, 1.0 - A_HAIR), False),
        ((1.0, 2.0, math.nan), False),
        ((1.0, 2.0, math.inf), True),  # uniform
    ],
)
def test_a_current_at_the_ends_of_what_is_taken(given: tuple[float, float, float], taken: bool) -> None:
    """Up to 5 m/s either way, any known depth above zero, exponents from 1 on."""
    if taken:
        assert Current(*given).mean_m_s == given[0]
        return
    with pytest.raises(UsageMistake):
        Current(*given)


@pytest.mark.parametrize(
    ("places", "shares", "taken"),
    [
        ((-1.0, 1.0), (-1.0, 5.0), True),
        ((-1.0, 1.0), (-1.0 - A_HAIR, 1.0), False),
        ((-1.0, 1.0), (1.0, 5.0 + A_HAIR), False),
        ((-1.0, 1.0), (1.0, math.nan), False),
        ((1.0, 1.0), (1.0, 1.0), False),
        ((1.0, -1.0), (1.0, 1.0), False),
        ((-math.inf, 1.0), (1.0, 1.0), False),
        ((0.0,), (1.0,), False),
        ((0.0, 1.0), (1.0, 1.0, 1.0), False),
        ((), (), True),
    ],
)
def test_what_is_known_of_the_current_across_is_whole_or_refused(
    places: tuple[float, ...], shares: tuple[float, ...], taken: bool
) -> None:
    """As many rising places as shares, two at least or none, and shares of -1 to 5."""
    if taken:
        assert Current(1.0, 2.0, 7.0, places, shares).across_share == shares
        return
    with pytest.raises(UsageMistake, match="across"):
        Current(1.0, 2.0, 7.0, places, shares)


def test_an_even_shear_and_a_uniform_current_are_what_their_exponents_say() -> None:
    """With m of 1 the speed falls in a straight line from twice the mean; with m infinite it is the mean throughout."""
    depths = np.array([0.0, 0.5, 1.0, 1.5])
    assert Current(1.0, 2.0, 1.0).at(depths) == pytest.approx(2.0 * (1.0 - depths / 2.0))
    assert Current(1.0, 2.0, math.inf).at(depths) == pytest.approx(np.ones(4))
