"""Which count reaches a depth: held to the single swims from each count."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from planner.errors import UsageMistake
from planner.sink import BedGrid, Cast, Current, Swim, swim
from planner.sink.fly import fly_from_class
from planner.sink.line import line_from_head
from planner.sink.reach import LONGEST, countdown_to_reach

LINE, FLY = line_from_head(7.9, 16e-3, 0.127), fly_from_class("low", "heavy")
CAST, WATER, BED = Cast(12.0, 60.0, 0.45, 7.0, "fed"), Current(0.5, 1.6), 1.6


@cache
def alone(count: float) -> Swim:
    """The single swim from a count, with the records that the search has."""
    return swim(LINE, FLY, replace(CAST, countdown_s=count), WATER, BED, every_s=0.2)


@pytest.mark.parametrize("wanted", [0.008, 0.3, 0.62, 1.0, 1.55])
def test_what_each_count_buys_is_what_its_swim_comes_to(wanted: float) -> None:
    """Depth at the first strip and in all, the least counts that reach and that touch: those of the swims alone."""
    found = countdown_to_reach(LINE, FLY, CAST, WATER, wanted, BED)
    assert found.depth_m == wanted
    assert np.array_equal(found.counts_s, np.arange(LONGEST["fed"] + 1))
    tried = range(13)
    assert found.start_depth_m[:13] == pytest.approx([alone(float(c)).depth_at_strip_start_m for c in tried], abs=1e-6)
    assert found.deepest_m[:13] == pytest.approx([alone(float(c)).max_depth_m for c in tried], abs=1e-6)
    assert found.in_swim_s == next(c for c in tried if alone(float(c)).max_depth_m >= wanted)
    assert found.touches_s == next(c for c in tried if alone(float(c)).touched)
    at = alone(12.0)
    falling = at.fly_depth_m[at.phase == 0]
    i = int(np.argmax(falling >= wanted))
    between = (wanted - falling[i - 1]) / (falling[i] - falling[i - 1])
    assert found.at_strip_s == pytest.approx(at.times_s[i - 1] + 0.2 * between, abs=1e-6)


def test_a_depth_that_the_fly_has_on_landing_takes_no_count() -> None:
    """Four millimetres are reached at once."""
    found = countdown_to_reach(LINE, FLY, CAST, WATER, 0.004, BED)
    assert (found.at_strip_s, found.in_swim_s) == (0.0, 0.0)


def test_a_line_cast_upstream_is_deepest_in_the_count_and_that_counts() -> None:
    """It sinks on slack line and is swept up as that comes tight: what it had in the count is its deepest.

    A depth that it just had is reached by the least count that had it.
    """
    cast, water = replace(CAST, mode="held", angle_deg=160.0), Current(0.9, 3.0)
    found = countdown_to_reach(LINE, FLY, cast, water, 0.5, None)
    tried = [0, 2, 5, 9, 14, 30]
    swims = [swim(LINE, FLY, replace(cast, countdown_s=float(c)), water, every_s=0.2) for c in tried]
    assert found.deepest_m[tried] == pytest.approx([it.max_depth_m for it in swims], abs=1e-6)
    assert swims[-1].max_depth_m > swims[-1].fly_depth_m[swims[-1].phase >= 1].max() + 0.1
    least = int(np.argmax(found.deepest_m == found.deepest_m.max()))
    just = countdown_to_reach(LINE, FLY, cast, water, float(found.deepest_m.max()), None)
    assert just.in_swim_s == least


@pytest.mark.parametrize("wanted", [0.0, -0.1, BED, 2.0])
def test_a_depth_that_is_none_or_on_the_bed_is_refused(wanted: float) -> None:
    """The depth asked for lies between surface and bed; the message says both."""
    with pytest.raises(UsageMistake, match=r"in 1\.60 m of water"):
        countdown_to_reach(LINE, FLY, CAST, WATER, wanted, BED)


def test_an_uneven_bed_is_touched_where_it_rises() -> None:
    """Over a bar between rod and landing a count touches that over the level bed does not; free, none does."""
    x = np.arange(-30.0, 31.0)
    bar = BedGrid(x, x, np.where(np.abs(np.hypot(x[None, :], x[:, None]) - 7.0) < 2.5, 0.5, BED))
    over_bar, level, free = (countdown_to_reach(LINE, FLY, CAST, WATER, 0.4, bed) for bed in (bar, BED, None))
    assert over_bar.touches_s < level.touches_s
    assert np.isnan(free.touches_s)
    assert free.deepest_m.max() > BED
