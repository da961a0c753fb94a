"""An uneven bed, a current that differs across, and batches over them: what must come out whatever the numbers."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from planner.errors import UsageMistake
from planner.sink import BedGrid, Cast, Current, scenarios, swim, swim_many
from planner.sink.bedgrid import across_table, bed_by_distance
from planner.sink.nodes import START_DEPTH, surroundings
from planner.sink.solver import BED, COLUMNS, SHARE, SLOPE_X, SLOPE_Y

X, Y = np.arange(-4.0, 7.0, 2.0), np.arange(-3.0, 4.0, 1.0)
NONE = np.zeros(1)


def under(places: np.ndarray, bed: BedGrid, moved: float = 0.0) -> np.ndarray:
    """Depth and slopes of the bed under places, as the solver meets them."""
    st = np.zeros((len(places), COLUMNS))
    st[:, :2] = places
    surroundings(st, len(places), moved, bed.packed(), NONE)
    return st[:, [BED, SLOPE_X, SLOPE_Y]]


def test_an_even_slope_is_met_as_it_is_and_ends_level_at_the_grids_edges() -> None:
    """On a plane depth and slopes are the plane's between all places; beyond an edge the edge's depth stands."""
    bed = BedGrid(X, Y, 2.0 + 0.1 * X[None, :] - 0.05 * Y[:, None])
    places = np.random.default_rng(3).uniform([-3.9, -2.9], [5.9, 2.9], (50, 2))
    expected = np.stack([2.0 + places @ [0.1, -0.05], np.full(50, 0.1), np.full(50, -0.05)], axis=1)
    assert under(places, bed) == pytest.approx(expected)
    beyond = under(np.array([[9.0, 1.0], [-9.0, 1.0], [1.0, 9.0], [1.0, -9.0]]), bed)
    assert beyond[:, 0] == pytest.approx([2.55, 1.55, 1.95, 2.25], abs=1e-5)
    assert beyond[:, 1] == pytest.approx([0.0, 0.0, 0.1, 0.1])
    assert beyond[:, 2] == pytest.approx([-0.05, -0.05, 0.0, 0.0])


def test_a_twisted_bed_is_interpolated_in_both_directions() -> None:
    """Depth that goes with x times y has slopes y and x times as much; at each place of the grid it is as given."""
    bed = BedGrid(X, Y, 3.0 + 0.02 * X[None, :] * Y[:, None])
    x, y = np.random.default_rng(4).uniform([-3.9, -2.9], [5.9, 2.9], (50, 2)).T
    assert under(np.stack([x, y], axis=1), bed) == pytest.approx(
        np.stack([3.0 + 0.02 * x * y, 0.02 * y, 0.02 * x], axis=1)
    )
    rough = BedGrid(X, Y, np.random.default_rng(5).uniform(1.0, 3.0, (Y.size, X.size)))
    grid = np.stack([values.ravel() for values in np.meshgrid(X, Y)], axis=1)
    assert under(grid, rough)[:, 0] == pytest.approx(rough.depth_m.ravel(), abs=1e-5)


def test_a_boat_meets_the_bed_that_lies_ahead_of_it() -> None:
    """After a way of 2 m the same place from the boat lies over the bed 2 m further down."""
    bed = BedGrid(X, Y, 2.0 + 0.1 * X[None, :] + 0.0 * Y[:, None])
    assert under(np.array([[1.0, 0.5]]), bed, moved=2.0)[0, 0] == pytest.approx(2.3)


def test_the_share_of_the_current_is_the_one_at_the_place_across() -> None:
    """Between the places given it is interpolated, beyond the ends the ends' values stand."""
    current = Current(1.0, 2.0, 7.0, (-4.0, 0.0, 4.0), (0.2, 1.0, 0.6))
    st = np.zeros((5, COLUMNS))
    st[:, 1] = [-9.0, -2.0, 0.0, 1.0, 9.0]
    surroundings(st, 5, 0.0, NONE, across_table(current))
    assert st[:, SHARE] == pytest.approx([0.2, 0.6, 1.0, 0.9, 0.6], abs=1e-5)


@pytest.mark.parametrize("spoilt", ["uneven", "falling", "one", "shape", "unknown"])
def test_a_bed_that_is_no_even_grid_is_refused(spoilt: str) -> None:
    """Places evenly spaced and rising, and a depth for each, or words that say so."""
    x, depth = X.copy(), np.ones((Y.size, X.size))
    if spoilt == "uneven":
        x[-1] += 1e-4
    elif spoilt == "falling":
        x = x[::-1]
    elif spoilt == "one":
        x, depth = x[:1], depth[:, :1]
    elif spoilt == "shape":
        depth = depth[:-1]
    else:
        depth[2, 3] = math.nan
    with pytest.raises(UsageMistake, match=r"evenly spaced|depths of shape"):
        BedGrid(x, Y, depth)


def test_the_smallest_grid_and_one_with_rounded_places_are_beds() -> None:
    """Two places each way make a bed; places uneven by a millionth of the grid's width are even."""
    assert BedGrid(X[:2], Y[:2], np.ones((2, 2))).packed().size == 10
    rounded = X + 5e-6 * np.array([0.0, 0.0, 1.0, 0.0, 0.0, 0.0])
    assert BedGrid(rounded, Y, np.ones((Y.size, X.size))).packed()[2] == pytest.approx(0.5)


def test_a_bed_by_distance_is_round_and_reaches_as_far_as_asked() -> None:
    """The same depth at the same distance in every direction, laid out to the reach and not a place more."""
    bed = bed_by_distance(np.array([0.0, 8.0]), np.array([1.0, 3.0]), 10.2, spacing_m=0.5)
    assert bed.x_m[-1] == -bed.x_m[0] == bed.y_m[-1] == 10.5
    assert np.diff(bed.x_m) == pytest.approx(0.5)
    middle = bed.x_m.size // 2
    assert bed.x_m[middle] == 0.0
    assert bed.depth_m[middle, middle] == 1.0
    for row, column in ((0, 8), (8, 0), (0, -8), (-8, 0)):
        assert bed.depth_m[middle + row, middle + column] == pytest.approx(2.0)
    assert bed.depth_m[middle + 6, middle + 8] == pytest.approx(1.0 + 2.0 * 5.0 / 8.0)
    assert bed.depth_m[0, 0] == 3.0


def test_a_level_grid_is_the_level_bed(head, slim) -> None:
    """Laid out as a grid the level bed gives the same swim, its touch included."""
    cast, current = Cast(12.0, 40.0, 0.3, 8.0, "fed"), Current(0.3, 1.2)
    places = np.array([-30.0, 30.0])
    one = swim(head, slim, cast, current, 1.2)
    two = swim(head, slim, cast, current, BedGrid(places, places, np.full((2, 2), 1.2)))
    assert one.touched
    assert np.allclose(one.fly_depth_m, two.fly_depth_m, atol=1e-6)
    assert one.touch_at_m == pytest.approx(two.touch_at_m)


def test_a_bed_and_a_current_in_the_mirror_swim_in_the_mirror(head, slim) -> None:
    """Bed, current across and cast turned left to right: the same depths on the other side."""
    places = np.linspace(-30.0, 30.0, 31)
    depth = np.broadcast_to(1.4 + 0.03 * places[:, None], (31, 31))
    one = swim(
        head, slim, Cast(12.0, 60.0, 0.45, 4.0), Current(0.6, 1.4, 7.0, (-10.0, 10.0), (0.5, 1.5)),
        BedGrid(places, places, depth),
    )  # fmt: skip
    two = swim(
        head, slim, Cast(12.0, -60.0, 0.45, 4.0), Current(0.6, 1.4, 7.0, (-10.0, 10.0), (1.5, 0.5)),
        BedGrid(places, places, depth[::-1]),
    )  # fmt: skip
    assert np.allclose(one.fly_depth_m, two.fly_depth_m, atol=1e-4)
    assert np.allclose(one.fly_y_m, -two.fly_y_m, atol=1e-3)


@pytest.mark.parametrize("boat", [0.0, 0.5])
def test_the_same_share_everywhere_is_so_much_more_current(head, slim, boat) -> None:
    """Four fifths of 1 m/s all across swim as 0.8 m/s, from a boat over ground as well.

    Within a millimetre: the links are as stiff as the speed of the profile asks, which is another.
    """
    cast = Cast(12.0, 60.0, 0.45, 3.0, boat_speed_m_s=boat)
    shared = swim(head, slim, cast, Current(1.0, 3.0, 7.0, (-5.0, 5.0), (0.8, 0.8)))
    plain = swim(head, slim, cast, Current(0.8, 3.0, 7.0))
    assert np.allclose(shared.fly_depth_m, plain.fly_depth_m, atol=1e-3)
    assert shared.relative_speed_m_s == pytest.approx(plain.relative_speed_m_s, rel=2e-3)


ROWS = ((12.0, 60.0, 1.5), (9.0, 30.0, 0.9))
COUNTS = (0.0, 2.0, 5.0)
BAND = (0.2, 0.8)


@pytest.mark.parametrize("uneven", [False, True])
def test_many_swims_are_each_swim_alone_with_its_heights_touch_and_time_in_the_band(head, slim, uneven) -> None:
    """Depth, heights, tension and touch are the single swim's; seconds in the band are its records there."""
    places = np.linspace(-30.0, 30.0, 61)
    grid = BedGrid(places, places, np.broadcast_to(1.0 + 0.02 * np.abs(places), (61, 61)))
    across = Current(0.5, 1.5, 7.0, (-5.0, 5.0), (0.7, 1.2))
    water = across if uneven else Current(0.5, 1.5)
    casts = [Cast(cast, angle, 0.4, 0.0) for cast, angle, _ in ROWS]
    batch = scenarios([(head, slim, cast, water) for cast in casts])
    batch["bed_depth_m"] = [bed for _, _, bed in ROWS]
    around = {"bed": grid, "current": across} if uneven else {}
    many = swim_many(batch, COUNTS, hold_band_m=BAND, nodes=14, dt=0.05, every_s=0.25, **around)
    assert many.countdowns_s == pytest.approx(COUNTS)
    assert many.times_s == pytest.approx(0.25 * np.arange(many.depth.shape[2]))
    for b, (cast, (_, _, level)) in enumerate(zip(casts, ROWS, strict=True)):
        for c, count in enumerate(COUNTS):
            alone = swim(
                head, slim, replace(cast, countdown_s=count), water, grid if uneven else level, nodes=14, dt=0.05,
                every_s=0.25,
            )  # fmt: skip
            start = int(np.argmax(alone.phase >= 1))
            n = alone.times_s.size - start
            assert np.all(np.isnan(many.depth[b, c, n:]))
            for name, whole in (
                ("depth", alone.fly_depth_m), ("distance", alone.fly_distance_m), ("tension", alone.tension_n),
                ("height", alone.height_m), ("clearance", alone.clearance_m),
            ):  # fmt: skip
                assert np.allclose(getattr(many, name)[b, c, :n], whole[start:], atol=1e-9), name
            assert np.allclose(many.count_depth[b, :start], alone.fly_depth_m[:start], atol=1e-9)
            assert np.allclose(many.count_height[b, :start], alone.height_m[:start], atol=1e-9)
            assert (many.touched[b, c], many.hang[b, c]) == (alone.touched, alone.hang)
            assert many.touch_at_m[b, c] == pytest.approx(alone.touch_at_m, nan_ok=True)
            assert many.stretch[b, c] == pytest.approx(alone.stretch)
            held = (alone.height_m >= BAND[0]) & (alone.height_m <= BAND[1])
            assert many.band_time_s[b, c] == pytest.approx(0.25 * held.sum())
    assert 0.0 < many.band_time_s.min() < many.band_time_s.max()


def test_over_a_free_bed_heights_are_infinite_and_no_second_counts(head, slim) -> None:
    """Without a bed nothing is near it; all time is in a band from nothing to infinity."""
    batch = scenarios([(head, slim, Cast(10.0), Current(0.4, 2.0))])
    without_end = swim_many(batch, [1.0], hold_band_m=(0.0, math.inf))
    swum = np.isfinite(without_end.depth[0, 0]).sum() + 4  # and four quarters of a second of the countdown
    assert without_end.band_time_s[0, 0] == 0.25 * swum
    many = swim_many(batch, [1.0])
    assert np.all(many.count_height == math.inf)
    assert many.band_time_s[0, 0] == 0.0
    assert many.fed_m[0, 0] == 0.0
    assert not many.touched.any()


@pytest.mark.parametrize("count", [0.0, 2.0])
def test_a_height_at_the_end_of_the_band_counts_and_counts_once(head, slim, count) -> None:
    """The landing is the one moment at its height: it counts in a band that begins there or ends there."""
    batch = scenarios([(head, slim, Cast(10.0), Current(0.4, 1.5))])
    batch["bed_depth_m"] = 1.5
    landing = 1.5 - START_DEPTH
    begins = swim_many(batch, [count], hold_band_m=(landing, 1.5)).band_time_s[0, 0]
    ends = swim_many(batch, [count], hold_band_m=(0.0, landing)).band_time_s[0, 0]
    below = swim_many(batch, [count], hold_band_m=(0.0, landing - 1e-9)).band_time_s[0, 0]
    assert begins == 0.25
    assert ends == below + 0.25


@pytest.mark.parametrize(("band", "taken"), [((0.0, 0.5), True), ((-0.1, 0.5), False), ((0.5, 0.5), False)])
def test_a_hold_band_rises_from_the_bed_or_is_refused(head, slim, band, taken) -> None:
    """From the bed itself on is a band; below it, or without height, is none."""
    batch = scenarios([(head, slim, Cast(10.0), Current(0.4, 2.0))])
    if taken:
        assert swim_many(batch, [0.0], hold_band_m=band).band_time_s.shape == (1, 1)
        return
    with pytest.raises(UsageMistake, match="hold band"):
        swim_many(batch, [0.0], hold_band_m=band)
