"""What a swim refuses, how long it may last, and two of its figures by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from planner.errors import UsageMistake
from planner.sink import Cast, Current, free_swims, scenarios, swim
from planner.sink.batch import retrieve_seconds
from planner.sink.course import PICKUP_TIME, RAMP


@pytest.mark.parametrize(
    "changes",
    [
        {"film_n_m": -0.001},
        {"film_n_m": 0.147},
        {"bed_depth_m": 0.0},
        {"bed_depth_m": math.nan},
        {"nodes": 3},
        {"dt": 0.0},
        {"dt": -0.03},
        {"dt": 0.11, "every_s": 0.1},
    ],
)
def test_a_swim_refuses_what_no_water_or_step_can_be(head, slim, river, changes):
    """A film beyond twice the surface tension of water, a bed at the surface, few nodes, a step beyond a record."""
    with pytest.raises(UsageMistake):
        swim(head, slim, Cast(12.0, 60.0, 0.45, 2.0), river, **changes)


@pytest.mark.parametrize("changes", [{"nodes": 3}, {"dt": 0.0}, {"dt": 0.3, "every_s": 0.25}])
def test_a_batch_refuses_the_same(head, slim, river, changes):
    """Each of the three alone."""
    with pytest.raises(UsageMistake):
        free_swims(scenarios([(head, slim, Cast(12.0, 60.0, 0.45), river)]), [0.0], **changes)


def test_the_bounds_themselves_are_taken(head, slim, river):
    """Four nodes, a step as long as a record, the film that bounds."""
    path = swim(head, slim, Cast(12.0, 60.0, 0.45, 1.0), river, nodes=4, dt=0.05, every_s=0.05, film_n_m=0.146)
    assert path.max_depth_m > 0.0
    batch = free_swims(scenarios([(head, slim, Cast(12.0, 60.0, 0.45), river)]), [1.0], nodes=4, dt=0.05, every_s=0.05)
    assert batch.depth[0, 0, 0] > 0.0


def test_the_depth_at_the_first_strip_is_the_record_of_that_moment(head, slim, river):
    """Of the moment when the count ends, neither before nor after."""
    path = swim(head, slim, Cast(12.0, 60.0, 0.45, 3.0), river, every_s=0.2)
    at = int(np.argmax(path.phase >= 1))
    assert path.times_s[at] == pytest.approx(3.0)
    assert path.depth_at_strip_start_m == path.fly_depth_m[at]


def test_a_line_that_sinks_faster_than_it_is_drawn_hangs_at_most_its_own_length(head, slim):
    """The closed form beside a swim: the sunk part at the ratio of sink rate to speed, and straight down beyond."""
    path = swim(head, slim, Cast(12.0, 0.0, 0.06, 4.0), Current(0.0, 9.0))
    assert path.relative_speed_m_s < head.sink_rate_m_s
    assert path.sanity_depth_m == pytest.approx(min(head.head_length_m, 12.0 - head.leader_length_m))


@pytest.mark.parametrize("count", [0.0, 7.5])
def test_a_retrieve_lasts_as_long_as_its_line_takes_at_the_strip(head, slim, count):
    """Line out at the first strip less what the pick-up leaves, over the strip; by hand for each way of counting."""
    ends = RAMP + PICKUP_TIME

    def lasts(mode, mean=0.6, strip=0.45, boat=0.0):
        cast = Cast(15.0, 90.0, strip, mode=mode, boat_speed_m_s=boat, pickup_m=2.4, mend_every_s=2.5)
        return retrieve_seconds(scenarios([(head, slim, cast, Current(mean, 2.0, 6.0))]), count)

    assert lasts("held") == pytest.approx((15.0 - 2.4) / 0.45 + ends)
    # the surface runs 7/6 as fast as the mean of a sixth-power profile
    assert lasts("fed") == pytest.approx((15.0 - 2.4 + (1.1 * 0.7 + 0.2) * count) / 0.45 + ends)
    # from a boat that drifts faster than the surface, what is fed runs at the difference
    assert lasts("fed", boat=0.9) == pytest.approx((15.0 - 2.4 + (1.1 * 0.2 + 0.2) * count) / 0.45 + ends)
    assert lasts("mended") == pytest.approx((15.0 - 2.4 + 15.0 / 12.0 * (1.0 + count / 2.5)) / 0.45 + ends)
