"""Batches of swims over a free bed, as the advice uses them."""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from planner.errors import UsageMistake
from planner.sink import Cast, Current, free_swims, scenarios, swim
from planner.sink.batch import SCENARIO, check_bounds
from planner.sink.columns import FLAG_COLUMNS


def _some(head, slim, bulky, river):
    return scenarios(
        [
            (head, slim, Cast(14.0, 45.0, 0.45), river),
            (head, bulky, Cast(14.0, 90.0, 0.3, mode="fed", boat_speed_m_s=0.9), river),
            (head, slim, Cast(9.0, 120.0, 0.8), Current(0.4, 3.0)),
        ]
    )


def test_a_batch_swims_as_each_swim_alone(head, slim, bulky, river):
    """Each scenario and countdown of a batch is the single swim of the same nodes and steps."""
    batch = free_swims(_some(head, slim, bulky, river), [0.0, 1.0, 4.0], nodes=12, dt=0.05)
    for b, (fly, current, cast) in enumerate(
        (
            (slim, river, {"cast_m": 14.0, "angle_deg": 45.0, "strip_m_s": 0.45}),
            (bulky, river, {"cast_m": 14.0, "angle_deg": 90.0, "strip_m_s": 0.3, "mode": "fed", "boat_speed_m_s": 0.9}),
            (slim, Current(0.4, 3.0), {"cast_m": 9.0, "angle_deg": 120.0, "strip_m_s": 0.8}),
        )
    ):
        for c, count in enumerate((0.0, 1.0, 4.0)):
            alone = swim(head, fly, Cast(**cast, countdown_s=count), current, nodes=12, dt=0.05, every_s=0.25)
            start = np.argmax(alone.phase >= 1)
            ends = batch.ends[b, c]
            assert ends == alone.times_s.size - start
            assert np.allclose(batch.depth[b, c, :ends], alone.fly_depth_m[start:], atol=1e-9)
            assert np.allclose(batch.distance[b, c, :ends], alone.fly_distance_m[start:], atol=1e-9)
            assert np.all(np.isnan(batch.depth[b, c, ends:]))
            if start:
                assert np.allclose(batch.count_depth[b, :start], alone.fly_depth_m[:start], atol=1e-9)


def test_each_record_has_its_moment(head, slim, bulky, river):
    """A quarter of a second apart from the first strip on, as many as the longest retrieve has."""
    batch = free_swims(_some(head, slim, bulky, river), [0.0, 2.0], every_s=0.25)
    assert batch.times_s.shape == batch.depth.shape[2:]
    assert batch.times_s[[0, 1]] == pytest.approx([0.0, 0.25])
    assert batch.times_s[batch.ends.max() - 1] == pytest.approx(0.25 * (batch.ends.max() - 1))


def test_the_deepest_node_is_never_above_the_fly(head, slim, bulky, river):
    """The low node is the fly or deeper."""
    batch = free_swims(_some(head, slim, bulky, river), [0.0, 5.0])
    seen = np.isfinite(batch.depth)
    assert np.all(batch.low_depth[seen] >= batch.depth[seen] - 1e-12)
    assert np.all(batch.count_low_depth >= batch.count_depth - 1e-12)


def test_two_callers_at_once_get_what_each_gets_alone(head, slim, bulky, river):
    """Batches run from several threads at a time do not disturb each other."""
    batch = _some(head, slim, bulky, river)
    alone = free_swims(batch, [1.0]).depth
    with ThreadPoolExecutor(3) as pool:
        together = list(pool.map(lambda _: free_swims(batch, [1.0]).depth, range(3)))
    for depth in together:
        assert np.array_equal(depth, alone, equal_nan=True)


def test_fields_of_a_batch_can_be_drawn_from_their_spread(head, slim, bulky, river):
    """More drag area, written into the array, swims shallower; the array given is not changed."""
    batch = _some(head, slim, bulky, river)
    more = batch.copy()
    more["fly_towed_area_m2"] *= 1.5
    keep = more.copy()
    assert batch.dtype == SCENARIO
    assert np.all(
        np.nanmean(free_swims(more, [2.0]).depth, axis=2) < np.nanmean(free_swims(batch, [2.0]).depth, axis=2)
    )
    assert more.tobytes() == keep.tobytes()


def test_a_jerk_beyond_bounds_is_run_again_finer_and_not_thrown_away(head, bulky):
    """Slack casts upstream in fast water, at the screening step, all come back within bounds.

    The one straight upstream in 3 m/s at 1.2 m/s of strip is beyond them at that step.
    """
    rows = [
        (head, bulky, Cast(14.0, angle, strip, mode=mode), Current(mean, 2.0))
        for angle in (120.0, 150.0, 180.0)
        for strip in (0.2, 0.75, 1.2)
        for mode in ("held", "fed")
        for mean in (1.0, 1.8, 3.0)
    ]
    batch = free_swims(scenarios(rows), [0.0, 3.0, 8.0], dt=0.05)
    assert np.all(np.isfinite(batch.depth[:, :, 0]))


def test_what_is_run_again_finer_keeps_its_moments_and_leaves_the_others_alone(head, bulky):
    """Records of the swim beyond bounds are those of a batch at half the step; the one beside it is as before."""
    jerk = head, bulky, Cast(14.0, 180.0, 1.2), Current(3.0, 2.0)
    calm = head, bulky, Cast(14.0, 45.0, 0.45), Current(0.6, 2.0)
    both = free_swims(scenarios([jerk, calm]), [0.0, 3.0], dt=0.05)
    halved = free_swims(scenarios([jerk]), [0.0, 3.0], dt=0.025)
    alone = free_swims(scenarios([calm]), [0.0, 3.0], dt=0.05)
    for name in ("depth", "x", "low_depth", "distance", "count_depth", "count_x", "fed_m", "ends"):
        mixed, finer, plain = (getattr(one, name) for one in (both, halved, alone))
        assert np.array_equal(mixed[0][..., : finer.shape[-1]], finer[0], equal_nan=True), name
        assert np.array_equal(mixed[1][..., : plain.shape[-1]], plain[0][..., : mixed.shape[-1]], equal_nan=True), name


def test_the_countdown_is_the_same_whichever_counts_are_asked_for_on_the_way(head, slim, bulky, river):
    """Counts that fall between two records change neither the records nor the swims from other counts."""
    batch = _some(head, slim, bulky, river)
    many, one = free_swims(batch, [0.57, 1.36, 2.93]), free_swims(batch, [2.93])
    for name in ("count_depth", "count_x", "count_y", "count_low_depth"):
        assert np.array_equal(getattr(many, name), getattr(one, name)), name
    assert np.array_equal(many.depth[:, 2], one.depth[:, 0], equal_nan=True)


def test_speeds_and_tensions_beyond_bounds_are_refused():
    """The check names how many swims left the bounds."""
    flags = np.zeros((2, 1, len(FLAG_COLUMNS)))
    check_bounds(flags)
    flags[1, 0, FLAG_COLUMNS.index("max_speed_m_s")] = np.nan
    with pytest.raises(Exception, match="1 of 2 swims"):
        check_bounds(flags)


@pytest.mark.parametrize("counts", [[], [3.0, 1.0], [-1.0]])
def test_countdowns_must_ascend(head, slim, bulky, river, counts):
    """An empty, falling or negative list of countdowns is refused."""
    with pytest.raises(UsageMistake):
        free_swims(_some(head, slim, bulky, river), counts)


def test_the_package_works_where_nothing_can_be_written(tmp_path):
    """With no folder for machine code a function is compiled in memory and gives the same."""
    code = (
        "import numba.core.caching as c\n"
        "c.CacheImpl._locator_classes = []\n"
        "from planner.sink.compiled import compiled\n"
        "twice = compiled()(lambda x: 2.0 * x)\n"
        "assert twice(1.5) == 3.0\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
