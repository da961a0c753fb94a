"""The solver against closed forms: falling, towed, hanging, swinging, and how its error falls with step and nodes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from planner.sink import Cast, Current, swim
from planner.sink.constants import constant
from planner.sink.drag import wet_weight
from tests.published.line_cases import NO_FLY, SLIM, carrier
from tests.sink.chain import run_chain
from tests.sink.closed import critical_angle, neutral_line_depth, towed_line_with_fly_depth

G = 9.80665
RHO = constant("water_density")


def straight(length: float, n: int, angle: float = 0.0, top: float = 1.0) -> np.ndarray:
    """Nodes on a straight line, `angle` below the horizontal, the held end at depth `top`."""
    along = np.linspace(length, 0.0, n + 1)
    return np.stack([along * math.cos(angle), np.zeros(n + 1), top + along * math.sin(angle)], axis=1)


@pytest.mark.parametrize("sink", [0.0381, 0.0762, 0.127, 0.1778])
def test_a_level_line_reaches_its_terminal_velocity(sink):
    """The middle of a long level line let fall goes at the rate it was made for, within half a percent."""
    line = carrier(sink)
    speeds = []

    def see(time, st, _):
        if 0.4 < time <= 0.5:
            speeds.append(st[20, 5])

    run_chain(straight(12.0, 40), 1.2e-3, line.head_density_kg_m3, (1e-6, 1e-6, 0.0), seconds=0.5, dt=0.002, see=see)
    print(f"{np.mean(speeds):.5f} m/s, closed form {sink} m/s")
    assert np.mean(speeds) == pytest.approx(sink, rel=5e-3)


@pytest.mark.parametrize("speed", [0.3, 0.6, 1.0, 1.5])
@pytest.mark.parametrize("sink", [0.0762, 0.127, 0.1524, 0.1778])
def test_a_towed_line_hangs_at_the_critical_angle(sink, speed):
    """A free-ended heavy line settles straight at Pode's angle: within 1 %, every link of it."""
    line = carrier(sink)
    start = straight(8.0, 16, 0.9 * critical_angle(sink, speed), top=0.5)
    st = run_chain(start, 1.2e-3, line.head_density_kg_m3, (1e-6, 1e-6, 0.0), seconds=60.0, dt=0.04, u=speed, ct=0.01)
    ends = np.vstack([st[:, :3], [0.0, 0.0, 0.5]])
    links = np.diff(ends, axis=0)
    angles = np.arctan2(-links[:, 2], -links[:, 0])
    off = np.max(np.abs(angles / critical_angle(sink, speed) - 1.0))
    print(f"angle {math.degrees(angles.mean()):.3f} deg, worst link {100 * off:.3f} % off")
    assert off < 0.01


def test_a_slack_line_hangs_in_a_catenary():
    """Between two held ends in still water the line takes the catenary's shape, within 0.5 % of its sag."""
    span, length, n = 4.0, 5.0, 40
    line = carrier(0.127)
    along = np.linspace(0.0, 1.0, n + 1)
    places = np.stack([span * (1 - along), 0 * along, 0 * along], axis=1)
    bow = np.stack([0 * along, 0 * along, np.sin(np.pi * along)], axis=1)

    def too_long(height: float) -> float:
        return np.linalg.norm(np.diff(places * [1, 1, 0] + height * bow, axis=0), axis=1).sum() - length

    places = places * [1, 1, 0] + brentq(too_long, 0.1, 4.0) * bow + [0.0, 0.0, 1.0]
    # a body of a thousand tonnes that weighs nothing in the water is an anchor
    st = run_chain(places, 1.2e-3, line.head_density_kg_m3, (1e6, 1e6, 0.0), seconds=80.0, dt=0.02)
    a = brentq(lambda a: 2 * a * math.sinh(span / (2 * a)) - length, 0.2, 50.0)
    x = st[:, 0]
    shape = 1.0 + a * (math.cosh(span / (2 * a)) - np.cosh((x - span / 2) / a))
    sag = a * (math.cosh(span / (2 * a)) - 1.0)
    off = float(np.max(np.abs(st[:, 2] - shape)))
    print(f"sag {sag:.4f} m, worst node {1000 * off:.2f} mm off ({100 * off / sag:.2f} %)")
    assert off < 0.005 * sag


def _period(length: float, n: int, density: float, body: float, diameter: float, first: np.ndarray) -> float:
    """Period of a small swing of a hanging chain in vacuum [s], from its crossings of the plumb line."""
    along = np.linspace(length, 0.0, n + 1)
    places = np.stack([np.append(first, 0.0), np.zeros(n + 1), 1.0 + along], axis=1)
    crossings: list[float] = []
    before = [1.0, 0.0]

    def see(time, st, _):
        now = st[0, 0]
        if before[0] * now < 0.0:
            crossings.append(time - (time - before[1]) * abs(now) / (abs(now) + abs(before[0])))
        before[:] = [now, time]

    run_chain(places, diameter, density, (body, 0.0, 0.0), seconds=12.0, dt=5e-4, rho=1e-9, stiff=5000.0, see=see)
    return 2.0 * float(np.mean(np.diff(crossings)))


def test_a_weight_on_a_light_line_swings_as_a_pendulum():
    """With the water taken out, a weight on a massless line has the period 2 pi sqrt(L/g), within 0.5 %."""
    length = 2.0
    period = _period(length, 4, 1.0, 0.05, 0.2e-3, 0.04 * np.linspace(1.0, 0.25, 4))
    expected = 2 * math.pi * math.sqrt(length / G)
    print(f"{period:.4f} s, closed form {expected:.4f} s")
    assert period == pytest.approx(expected, rel=5e-3)


def test_a_hanging_chain_swings_in_its_first_mode():
    """A uniform chain in vacuum: T1 = (4 pi / 2.4048) sqrt(L/g), within 1 %."""
    from scipy.special import j0

    length, n = 7.92, 40
    height = np.linspace(0.0, length, n + 1)[:-1]  # from the free end up
    shape = j0(2.4048 * np.sqrt(height / length))
    period = _period(length, n, 2500.0, 1e-9, 1.2e-3, 0.05 * shape)
    expected = 4 * math.pi / 2.4048 * math.sqrt(length / G)
    print(f"{period:.4f} s, closed form {expected:.4f} s")
    assert period == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize(("weight", "area", "speed"), [(0.0123, 1e-4, 0.6), (0.0283, 1.2e-4, 0.6), (0.0123, 1e-4, 1.5)])
def test_a_fly_on_a_weightless_line_hangs_where_the_closed_form_says(weight, area, speed):
    """End body on a line without weight and without friction along it: depth within 1 %.

    The line bends within T/R of the fly, 8 to 14 cm, so it takes short links.
    """
    mass = weight / G + 0.35e-3
    expected = neutral_line_depth(weight, area, speed, 7.92, 1.2e-3, 1.2, RHO)
    start = straight(7.92, 120, math.asin(expected / 7.92), top=0.05)
    st = run_chain(start, 1.2e-3, RHO, (mass, 0.35e-3, area), seconds=150.0, dt=0.05, u=speed, stiff=100.0)
    depth = st[0, 2] - 0.05
    print(f"{depth:.4f} m, closed form {expected:.4f} m")
    assert depth == pytest.approx(expected, rel=0.01)


def test_the_error_falls_with_the_step():
    """A line let go in current, fly's depth after 4 s: the error falls at least in proportion to the step.

    The order comes down to 1, that of the implicit scheme, from above.
    """
    line = carrier(0.127)
    body = (SLIM.mass_kg, SLIM.volume_m3 * RHO, SLIM.towed_area_m2)

    def depth(dt):
        start = straight(7.92, 12, 0.0, top=0.5)
        return run_chain(start, 1.2e-3, line.head_density_kg_m3, body, seconds=4.0, dt=dt, u=0.8, ct=0.01)[0, 2]

    steps = [0.04, 0.02, 0.01, 0.005]
    truth = depth(0.00025)
    errors = [abs(depth(dt) - truth) for dt in steps]
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    print(
        "step " + ", ".join(f"{1000 * dt:g} ms {1000 * error:.2f} mm" for dt, error in zip(steps, errors, strict=True))
    )
    print(f"orders {np.round(orders, 2)}")
    assert np.all(orders > 0.85)
    assert orders[-1] < 1.5
    assert errors[1] < 0.01


def test_the_error_falls_with_the_nodes():
    """A bent towed line with its fly: the error of the steady depth falls with the nodes, order 0.8 and rising.

    The link at the fly carries half of its drag there by its own direction alone, which is of first order.
    """
    expected = towed_line_with_fly_depth(
        0.0762, SLIM.mass_kg, SLIM.volume_m3, SLIM.towed_area_m2, 0.8, 7.92, 1.2e-3, 1.2, 0.01, RHO
    )
    line = carrier(0.0762)
    body = (SLIM.mass_kg, SLIM.volume_m3 * RHO, SLIM.towed_area_m2)
    counts, errors = [4, 8, 16, 32], []
    for n in counts:
        start = straight(7.92, n, math.asin(expected / 7.92), top=0.5)
        st = run_chain(start, 1.2e-3, line.head_density_kg_m3, body, seconds=100.0, dt=0.05, u=0.8, ct=0.01, stiff=2e4)
        errors.append(abs(st[0, 2] - 0.5 - expected))
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    print("nodes " + ", ".join(f"{n}: {1000 * error:.2f} mm" for n, error in zip(counts, errors, strict=True)))
    print(f"orders {np.round(orders, 2)}")
    assert np.all(orders > 0.75)
    assert np.all(np.diff(orders) > 0.0)
    assert errors[-1] < 5e-3 * expected


def test_the_same_swim_twice_is_the_same_to_the_last_bit(head, slim, river):
    """Nothing in the solver depends on what ran before."""
    one, two = (swim(head, slim, Cast(14.0, 60.0, 0.45, 3.0, "fed"), river) for _ in range(2))
    assert one.fly_depth_m.tobytes() == two.fly_depth_m.tobytes()
    assert one.tension_n.tobytes() == two.tension_n.tobytes()


@pytest.mark.parametrize("current", [0.0, 0.05, 1.0, 4.0])
@pytest.mark.parametrize("depth", [0.1, 1.0, 30.0])
@pytest.mark.parametrize("cast", [1.0, 12.0, 40.0])
def test_extreme_water_and_casts_give_an_answer(head, slim, bulky, current, depth, cast):
    """No current to 4 m/s, 0.1 to 30 m deep, 1 to 40 m of line: finite, unstretched, between surface and bed."""
    for fly, angle, mode in ((slim, 45.0, "held"), (bulky, 150.0, "fed")):
        path = swim(head, fly, Cast(cast, angle, 0.45, 2.0, mode), Current(current, depth), depth, every_s=0.25)
        assert np.all(np.isfinite(path.fly_depth_m))
        assert path.stretch <= 0.005
        assert np.max(path.low_depth_m) < depth + 0.02
        assert np.min(path.fly_depth_m[path.phase < 2]) > -0.05


def test_water_beyond_the_range_is_refused():
    """Faster than 5 m/s, no depth, or a cast longer than 60 m end in a message that names the range."""
    from planner.errors import UsageMistake

    with pytest.raises(UsageMistake, match="5 m/s"):
        Current(5.5, 2.0)
    with pytest.raises(UsageMistake, match="above zero"):
        swim(carrier(0.127), NO_FLY, Cast(12.0), Current(1.0, 2.0), 0.0)
    with pytest.raises(UsageMistake, match="1 to 60 m"):
        Cast(80.0)


def test_weight_and_rate_of_the_carrier_are_as_set():
    """The check line weighs what its terminal velocity asks for."""
    line = carrier(0.127)
    assert wet_weight(1.2e-3, line.head_density_kg_m3) == pytest.approx(0.5 * RHO * 1.2 * 1.2e-3 * 0.127**2)


def test_a_seeded_sweep_of_random_swims_finds_nothing_wrong():
    """1,500 random swims over the whole range: all finite, none refused, stretched by 0.5 % or flung.

    Seed 7 holds a line coming tight in 2.8 m/s that was left stretched by 0.7 % once.
    """
    from tests.bench.sweep_swims import CHUNK, around, check, draw

    rng = np.random.default_rng(7)
    found = check(draw(CHUNK, rng), (0.0, 3.0), *around(rng)) + check(draw(CHUNK, rng), (0.0, 3.0), *around(rng))
    found += check(draw(CHUNK, rng), (0.0, 3.0), *around(rng))
    print(dict(found))
    assert found["swims"] == 6 * CHUNK
    assert not any(found[kind] for kind in ("refused", "not finite", "stretched", "negative tension", "flung"))
