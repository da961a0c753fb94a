"""What every swim must keep to, and how depth answers to what the angler changes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.errors import UsageMistake
from planner.sink import Cast, Current, line_with_sink_factor, swim
from planner.sink.constants import constant
from planner.sink.drag import wet_weight
from planner.sink.fly import Fly, fly_from_class
from planner.sink.line import line_from_head
from planner.units import FOOT, GRAIN, INCH
from tests.published.line_cases import BULKY, SLIM, carrier
from tests.sink.closed import broadside_drop, drogue_tension, towed_line_depth, towed_line_with_fly_depth


def quick(line, fly, cast, current, bed=None):
    """A swim at the screening resolution."""
    return swim(line, fly, cast, current, bed, nodes=12, dt=0.04)


@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(
    ips=st.sampled_from([0.0, 0.5, 1.5, 3.0, 5.0, 7.0]),
    tip=st.booleans(),
    running=st.sampled_from(["floating", "sinking"]),
    drag=st.sampled_from(["low", "medium", "high"]),
    weighting=st.sampled_from(["none", "light", "heavy"]),
    mean=st.floats(0.0, 2.0),
    depth=st.floats(0.3, 6.0),
    ratio=st.sampled_from([0.0, 0.0, 0.8, 1.0]),
    cast_m=st.floats(6.0, 22.0),
    angle=st.floats(0.0, 180.0),
    strip=st.sampled_from([0.0, 0.2, 0.45, 0.9]),
    count=st.sampled_from([0.0, 2.0, 9.0]),
    mode=st.sampled_from(["held", "fed"]),
    bedded=st.booleans(),
)
def test_no_swim_leaves_its_bounds(
    ips, tip, running, drag, weighting, mean, depth, ratio, cast_m, angle, strip, count, mode, bedded
):
    """Tension finite and not negative, speeds under 6 m/s (checked inside), surface and bed never crossed by 1 cm."""
    line = line_from_head(
        3.0 if tip else 7.9, (100 if tip else 200) * GRAIN, ips * INCH, rear_m=5.0 if tip else 0.0, running=running
    )
    boat = ratio * mean * 8.0 / 7.0
    cast = Cast(cast_m, angle, strip, count, mode, "drifting" if ratio else "anchored", boat)
    path = swim(line, fly_from_class(drag, weighting), cast, Current(mean, depth), depth if bedded else None)
    assert np.all(np.isfinite(path.tension_n))
    assert np.all((path.tension_n >= 0.0) & (path.tension_n < 50.0))
    assert np.all(np.isfinite(path.fly_depth_m))
    assert np.all(path.fly_depth_m[path.phase < 2] > -0.01)
    if bedded:
        assert np.max(path.low_depth_m) < depth + 0.01
    assert np.all(np.diff(path.times_s) > 0.0)
    steps = np.hypot(np.diff(path.fly_x_m), np.diff(path.fly_y_m)) / np.diff(path.times_s)
    assert np.all(steps < 6.0)
    # the fly is never further than the line that is out, 4 % of stretch in a jerk allowed
    reach = np.sqrt(path.fly_distance_m**2 + path.fly_depth_m**2)
    assert np.all(reach[path.phase < 2] < 1.04 * path.line_out_m[path.phase < 2] + 0.05)


@pytest.mark.parametrize("mode", ["held", "fed"])
def test_a_longer_count_is_never_shallower_at_the_first_strip(head, bulky, river, mode):
    """Depth at strip start rises with each second of the countdown, from a drifting boat as well."""
    for boat in (0.0, 0.8 * 1.22):
        depths = [
            quick(
                head, bulky, Cast(15, 60, 0.45, float(count), mode, boat_speed_m_s=boat), river
            ).depth_at_strip_start_m
            for count in range(7)
        ]
        assert np.all(np.diff(depths) > 0.0)


def test_a_faster_sinking_line_swims_deeper(head, bulky, slim, river):
    """Mean depth rises with the sink rate, for both flies."""
    for fly in (bulky, slim):
        depths = [
            quick(line_with_sink_factor(head, factor), fly, Cast(15, 45, 0.45, 3.0), river).mean_depth_retrieve_m
            for factor in (0.5, 0.75, 1.0, 1.25)
        ]
        assert np.all(np.diff(depths) > 0.0)


def test_a_heavier_fly_swims_deeper_and_a_bulkier_one_shallower(head, river):
    """Mean depth rises with weight and falls with drag area."""
    cast = Cast(15, 45, 0.45, 3.0)
    weights = [
        quick(head, replace(SLIM, mass_kg=mass), cast, river).mean_depth_retrieve_m for mass in (4e-4, 1e-3, 2e-3)
    ]
    areas = [
        quick(head, replace(SLIM, towed_area_m2=area, broadside_area_m2=area), cast, river).mean_depth_retrieve_m
        for area in (1e-4, 2e-4, 4e-4)
    ]
    assert np.all(np.diff(weights) > 0.0)
    assert np.all(np.diff(areas) < 0.0)


def test_a_faster_current_carries_it_shallower_from_a_fixed_stance(head, slim):
    """Mean depth falls as the current grows."""
    depths = [
        quick(head, slim, Cast(15, 45, 0.45, 3.0), Current(mean, 3.0)).mean_depth_retrieve_m
        for mean in (0.2, 0.4, 0.8, 1.2)
    ]
    assert np.all(np.diff(depths) < 0.0)


def test_a_boat_that_drifts_lets_the_fly_swim_far_deeper(head, bulky, river):
    """Drifting with the current at least doubles the depth, as the fly's speed through the water falls."""
    anchored = quick(head, bulky, Cast(14.63, 90, 0.457, 3.0), river)
    drifting = quick(head, bulky, Cast(14.63, 90, 0.457, 3.0, boat_speed_m_s=1.067), river)
    assert drifting.mean_depth_retrieve_m > 2.0 * anchored.mean_depth_retrieve_m
    assert drifting.relative_speed_m_s < 0.5 * anchored.relative_speed_m_s


def test_fed_line_is_out_in_the_end_and_taken_in_before_the_fly_moves(head, slim, river):
    """The line out grows by what was fed, without tension, and the retrieve lasts longer by its length."""
    held = swim(head, slim, Cast(15, 30, 0.45, 4.0, "held"), river)
    fed = swim(head, slim, Cast(15, 30, 0.45, 4.0, "fed"), river)
    assert held.fed_m == 0.0
    assert fed.fed_m == pytest.approx(4.0 * float(river.at(0.0)), rel=0.02)
    assert fed.line_out_m[fed.phase == 1][0] == pytest.approx(15.0 + fed.fed_m)
    assert np.max(fed.tension_n[fed.phase == 0]) < 0.02
    assert fed.depth_at_strip_start_m > held.depth_at_strip_start_m
    longer = fed.times_s[-1] - held.times_s[-1]
    assert longer == pytest.approx(fed.fed_m / 0.45, abs=0.3)
    # cast upstream, line fed as fast as the water runs lies slack: the first seconds of the strip take that in
    up = swim(head, slim, Cast(15, 150, 0.45, 4.0, "fed"), river)
    start = up.times_s[up.phase == 1][0]
    early = (up.times_s > start) & (up.times_s < start + 1.0)
    assert np.max(up.tension_n[early]) < 0.02


def test_line_fed_in_still_water_is_what_sinks_away_from_the_tip(head, slim):
    """None at once, as the cast lies straight to the tip; then so much that the tip's height does not hold the fly."""
    depths = []
    for height in (0.3, 0.6, 1.0, 2.0, 3.0):
        path = swim(head, slim, Cast(12.0, 60.0, 0.45, 6.0, "fed", tip_height_m=height), Current(0.0, 8.0))
        assert path.line_out_m[1] == pytest.approx(12.0, abs=0.05)
        assert path.fed_m > 0.5
        depths.append(path.depth_at_strip_start_m)
    assert depths == pytest.approx([depths[0]] * len(depths), rel=0.03)


def test_depth_does_not_depend_on_diameter_in_a_steady_tow():
    """Lines of one sink rate, 0.6 and 1.8 mm thick, tow at the critical angle's depth within half a percent."""
    nothing = Fly("none", 1e-6, 1e-9, 1e-9, 1e-9)
    for diameter in (0.6e-3, 1.8e-3):
        path = swim(
            carrier(0.127, diameter), nothing, Cast(26 * FOOT, 0, 0, 0), Current(0.8, 50, 1e9), nodes=20, dt=0.04,
            cn=1.2, swing_s=80.0,
        )  # fmt: skip
        assert path.fly_depth_m[-1] == pytest.approx(towed_line_depth(26 * FOOT, 0.127, 0.8), rel=5e-3)


@pytest.mark.parametrize(("fly", "speed"), [(SLIM, 0.457), (SLIM, 1.6), (BULKY, 1.0)])
def test_a_towed_line_and_fly_agree_with_the_quadrature(fly, speed):
    """Sinking line with a fly in a uniform stream: within half a percent of the steady solution."""
    rho = constant("water_density")
    path = swim(
        carrier(0.0762),
        fly,
        Cast(26 * FOOT, 0, 0, 0),
        Current(speed, 50, 1e9),
        nodes=40,
        dt=0.04,
        cn=1.2,
        swing_s=120.0,
    )
    expected = towed_line_with_fly_depth(
        0.0762, fly.mass_kg, fly.volume_m3, fly.towed_area_m2, speed, 26 * FOOT, 1.2e-3, 1.2,
        constant("tangential_drag"), rho,
    )  # fmt: skip
    assert path.fly_depth_m[-1] == pytest.approx(expected, rel=5e-3)


def test_a_neutral_line_behind_a_drogue_is_straight_and_its_tension_the_sum_of_drags():
    """The tension at the tip is the fly's drag and the line's friction; a hair of weight keeps the fly wetted."""
    rho = constant("water_density")
    drogue = Fly("drogue", 1.03e-3, 1e-3 / rho, 1e-4, 1e-4)
    path = swim(carrier(0.0), drogue, Cast(26 * FOOT, 0, 0, 0), Current(1.0, 50, 1e9), nodes=40, cn=1.2, swing_s=60.0)
    expected = drogue_tension(26 * FOOT, 1e-4, 1.0, 1.2e-3, constant("tangential_drag"))
    assert path.tension_n[-1] == pytest.approx(expected, rel=0.02)


def test_a_level_line_let_go_falls_as_the_closed_form_says():
    """Fed in still water, a line without fly falls broadside from rest; within 2 cm at any moment of 8 s."""
    line = carrier(0.127)
    density = constant("water_density") + wet_weight(1.2e-3, line.head_density_kg_m3) / wet_weight(
        1.2e-3, constant("water_density") + 1.0
    )
    path = swim(
        line, Fly("none", 1e-6, 1e-9, 1e-9, 1e-9), Cast(26 * FOOT, 0, 0.3, 8.0, "fed"), Current(0.0, 50.0), nodes=20,
        dt=0.01, cn=1.2,
    )  # fmt: skip
    sinking = path.phase == 0
    expected = [broadside_drop(t, 0.127, 1.2e-3, density) for t in path.times_s[sinking]]
    assert np.max(np.abs(path.fly_depth_m[sinking] - 0.005 - expected)) < 0.02


def test_steps_and_nodes_are_fine_enough(head, slim, bulky, river):
    """Halving step or doubling nodes moves the mean depth of the full resolution by less than 1 %.

    The screening resolution (10 nodes, 40 ms) stays within 6 % or 3 cm of the full one, fed countdown included.
    """
    for fly in (slim, bulky):
        for cast in (Cast(14.6, 45, 0.457, 3.0), Cast(14.6, 90, 0.457, 3.0, "fed", boat_speed_m_s=0.9)):
            full = swim(head, fly, cast, river).mean_depth_retrieve_m
            assert swim(head, fly, cast, river, dt=0.01).mean_depth_retrieve_m == pytest.approx(full, rel=0.01)
            assert swim(head, fly, cast, river, nodes=60).mean_depth_retrieve_m == pytest.approx(full, rel=0.01)
            coarse = swim(head, fly, cast, river, nodes=10, dt=0.04).mean_depth_retrieve_m
            assert coarse == pytest.approx(full, rel=0.06, abs=0.03)


def test_the_sanity_line_stands_beside_the_swim(head, river):
    """The closed form, sunk length times sink rate over relative speed, is within a factor 2 of the swim's depth."""
    path = swim(head, SLIM, Cast(14.63, 0.0, 0.457, 3.0), river)
    expected = head.head_length_m * head.sink_rate_m_s / path.relative_speed_m_s
    assert path.sanity_depth_m == pytest.approx(expected)
    assert 0.5 < path.mean_depth_retrieve_m / path.sanity_depth_m < 2.0


def test_a_heavy_fly_let_down_on_the_bed_hangs_and_says_where(head, slim):
    """In slack water a long count puts the fly on the bed, a touch and a hang, near the landing."""
    path = swim(head, slim, Cast(15, 30, 0.3, 20.0, "fed"), Current(0.1, 1.0), 1.0)
    assert path.touched
    assert path.hang
    assert 10.0 < path.touch_at_m < 18.0
    free = swim(head, slim, Cast(15, 30, 0.3, 20.0, "fed"), Current(0.1, 1.0))
    assert not free.touched
    assert math.isnan(free.touch_at_m)
    assert free.max_depth_m > 1.0


def test_until_it_touches_a_swim_does_not_know_the_bed(head, slim):
    """With the bed below its deepest node a swim is the free swim to the millimetre."""
    current, cast = Current(0.8, 2.5), Cast(14, 60, 0.45, 2.0)
    free = swim(head, slim, cast, current)
    bedded = swim(head, slim, cast, current, float(np.max(free.low_depth_m)) + 0.05)
    assert np.allclose(free.fly_depth_m, bedded.fly_depth_m, atol=1e-3)


def test_lifting_the_rod_tip_near_the_end_brings_the_fly_up(head, slim):
    """From where the tip rises on, the fly is shallower than with the tip low, and never before."""
    low = swim(head, slim, Cast(15, 45, 0.3, 3.0), Current(0.3, 3.0))
    lifted = swim(head, slim, Cast(15, 45, 0.3, 3.0, lift_at_m=7.0), Current(0.3, 3.0))
    before = low.line_out_m > 7.1
    after = (low.line_out_m < 5.0) & (low.phase == 1)
    assert np.allclose(low.fly_depth_m[before], lifted.fly_depth_m[: before.sum()], atol=1e-6)
    shallower = np.interp(low.times_s[after], lifted.times_s, lifted.fly_depth_m)
    assert np.all(shallower < low.fly_depth_m[after] - 0.1)
    assert set(lifted.phase) == {0, 1, 2}


def test_mirror_image_casts_swim_mirror_images(head, slim, river):
    """A cast to the left swims as one to the right."""
    right = swim(head, slim, Cast(14, 60, 0.45, 2.0), river)
    left = swim(head, slim, Cast(14, -60, 0.45, 2.0), river)
    assert np.allclose(right.fly_depth_m, left.fly_depth_m, atol=1e-6)
    assert np.allclose(right.fly_y_m, -left.fly_y_m, atol=1e-6)


def test_only_the_speed_relative_to_the_boat_counts():
    """In a uniform current, drifting with it is casting in still water."""
    line, fly = line_from_head(26 * FOOT, 200 * GRAIN, 5 * INCH), fly_from_class("medium", "light")
    still = swim(line, fly, Cast(14, 60, 0.45, 3.0), Current(0.0, 5.0, 1e9))
    drifting = swim(line, fly, Cast(14, 60, 0.45, 3.0, boat_speed_m_s=1.0), Current(1.0, 5.0, 1e9))
    assert np.allclose(still.fly_depth_m, drifting.fly_depth_m, atol=1e-6)


@pytest.mark.parametrize(
    "wrong",
    [{"cast_m": 0.2}, {"strip_m_s": -1.0}, {"countdown_s": math.nan}, {"mode": "loose"}, {"stance": "flying"}],
)
def test_a_cast_that_cannot_be_is_refused(wrong):
    """Values out of range are refused, naming them."""
    with pytest.raises(UsageMistake):
        Cast(**({"cast_m": 12.0} | wrong))


def test_a_current_that_cannot_be_is_refused():
    """Unknown speed, no depth or an exponent below 1 are refused."""
    for values in ((math.nan, 1.0, 7.0), (1.0, 0.0, 7.0), (1.0, 1.0, 0.5), (9.0, 1.0, 7.0)):
        with pytest.raises(UsageMistake):
            Current(*values)


def test_the_profile_carries_its_mean():
    """The power law integrates to its depth-averaged speed, but for the lowest two percent held up."""
    current = Current(0.8, 2.0, 5.0)
    depths = (np.arange(20000) + 0.5) / 20000 * 2.0
    assert float(np.mean(current.at(depths))) == pytest.approx(0.8, rel=0.003)
    assert current.at(5.0) == current.at(1.98)
