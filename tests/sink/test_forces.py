"""One body on a slack or a tight link: lift, friction of the bed and the surface film against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from planner.sink.constants import constant
from planner.sink.drag import cn_table
from planner.sink.solver import (
    BED,
    COLUMNS,
    CONTACT,
    CRAWL,
    DIAMETER,
    DISPLACED,
    MASS,
    REST,
    SHARE,
    SLOPE_X,
    SLOPE_Y,
    step,
)

STONE = (5e-3, 0.0, 0.0, 0.0, 0.0)  # a body without volume and without drag
RHO, G, MU = constant("water_density"), constant("gravity"), constant("bed_friction")
SUNK = STONE[0] * G / CONTACT  # so deep it sinks into the bed's spring


def run_body(
    place: tuple[float, float, float],
    rest: float,
    fly: tuple[float, float, float, float, float],
    *,
    seconds: float,
    dt: float = 0.005,
    line: tuple[float, float, float] = (1e-5, 0.0, 0.0),
    u: float = 0.0,
    tip_z: float = 0.0,
    bed: tuple[float, float, float] = (math.inf, 0.0, 0.0),
    bed_vx: float = 0.0,
    film: float = 0.0,
) -> tuple[np.ndarray, float, int]:
    """State, tension and touch of one body after some seconds; `line` is its diameter, mass and displaced mass."""
    st, work = np.zeros((1, COLUMNS)), np.zeros((1, COLUMNS))
    st[0, :3], st[0, REST], st[0, SHARE] = place, rest, 1.0
    st[0, DIAMETER], st[0, MASS], st[0, DISPLACED] = line
    const = np.array([RHO, constant("water_viscosity"), G, 500.0, 0.0, MU, bed_vx, film])
    tension, touched = 0.0, -1
    for _ in range(round(seconds / dt)):
        depth, slope_x, slope_y = bed
        st[0, BED] = depth + slope_x * st[0, 0] + slope_y * st[0, 1] if math.isfinite(depth) else math.inf
        st[0, SLOPE_X], st[0, SLOPE_Y] = slope_x, slope_y
        tension, touched, *_ = step(st, 1, work, dt, tip_z, np.full(3, u), 1.0, cn_table(0.0), np.array(fly), const)
    return st[0], tension, touched


@pytest.mark.parametrize("lift", [0.0, 3e-5, -2e-5])
@pytest.mark.parametrize("speed", [0.4, -0.7])
def test_a_body_on_a_thread_hangs_where_weight_drag_and_lift_say(lift: float, speed: float) -> None:
    """Steady in a stream the thread points along the sum of the forces and carries it."""
    mass, displaced, area = 3e-3, 1e-3, 1.2e-4
    st, tension, _ = run_body(
        (math.copysign(0.8, speed), 0.0, 1.0),
        1.0,
        (mass, displaced, area, area, lift),
        seconds=30.0,
        u=speed,
        tip_z=0.4,
    )
    drag = 0.5 * RHO * speed**2 * area
    down = (mass - displaced) * G - 0.5 * RHO * speed**2 * lift
    assert tension == pytest.approx(math.hypot(drag, down), rel=1e-3)
    assert math.atan2(st[2] - 0.4, abs(st[0])) == pytest.approx(math.atan2(down, drag), rel=1e-3)
    assert math.hypot(st[0], st[2] - 0.4) == pytest.approx(1.0 + tension / 500.0, rel=1e-3)


@pytest.mark.parametrize("way", [0.0, 40.0, 90.0, 200.0])
@pytest.mark.parametrize("steepness", [0.1, 0.25])
def test_on_a_slope_gentler_than_its_friction_a_body_only_creeps(way: float, steepness: float) -> None:
    """Friction grows evenly up to the crawl's speed: the body creeps down the slope at CRAWL s / (mu - s) along it.

    The bed falls away along `way`; friction acts on the push of the bed, weight times the slope's cosine.
    """
    assert steepness < MU
    c, s = math.cos(math.radians(way)), math.sin(math.radians(way))
    bed = (1.0, steepness * c, steepness * s)
    st, _, touched = run_body((0.0, 0.0, 0.995), 50.0, (5e-3, 1e-3, 0.0, 0.0, 0.0), seconds=8.0, bed=bed)
    along = CRAWL * steepness / (MU - steepness)
    assert touched == 0
    level = along / math.sqrt(1.0 + steepness**2)
    assert st[3:6] == pytest.approx([level * c, level * s, level * steepness], abs=0.03 * along)
    assert st[2] == pytest.approx(1.0 + steepness * (st[0] * c + st[1] * s), abs=5e-4)


def test_on_a_slope_steeper_than_its_friction_a_body_slides_off() -> None:
    """It gathers speed along the slope as g (sin - mu cos) says; a body without volume has no water to move with it."""
    steepness = 0.8
    slope = (1.0, steepness, 0.0)
    early, late = (run_body((0.0, 0.0, 0.999), 50.0, STONE, seconds=t, bed=slope)[0] for t in (1.5, 2.0))
    pull = G / math.sqrt(1.0 + steepness**2) * (steepness - MU)
    assert np.linalg.norm(late[3:6]) - np.linalg.norm(early[3:6]) == pytest.approx(0.5 * pull, rel=0.02)
    assert late[5] == pytest.approx(steepness * late[3], rel=0.01)


def test_the_bed_takes_a_body_along_that_rests_on_it() -> None:
    """Seen from a drifting boat the bed moves: a body let down on it gathers its speed at mu g, and keeps it."""
    speed, level = -0.8, (1.0, 0.0, 0.0)
    halfway = 0.5 * abs(speed) / (MU * G)
    early, _, _ = run_body((0.0, 0.0, 1.0 + SUNK), 90.0, STONE, seconds=halfway, bed=level, bed_vx=speed, dt=0.001)
    late, _, _ = run_body((0.0, 0.0, 1.0 + SUNK), 90.0, STONE, seconds=6.0, bed=level, bed_vx=speed)
    assert early[3] == pytest.approx(0.5 * speed, rel=0.08)  # a little less near the crawl's speed
    assert late[3] == pytest.approx(speed, rel=0.01)
    assert late[2] == pytest.approx(1.0 + SUNK, abs=1e-6)


@pytest.mark.parametrize(("share", "held"), [(0.9, True), (1.1, False)])
def test_the_film_holds_up_what_it_is_said_to_and_no_more(share: float, held: bool) -> None:
    """Floating line with a weight on it: up to the film's pull over its length it stays, beyond that it sinks."""
    film, half = 0.05, 0.5  # a link of a metre hands half of itself to its node
    line = (1e-3, 0.7e-3, 0.8e-3)
    buoyant = half * (line[2] - line[1])
    load = share * film * half / G + buoyant
    st, tension, _ = run_body(
        (-1.0, 0.0, 0.008), 1.001, (load, 0.0, 1e-3, 1e-3, 0.0), seconds=20.0, line=line, film=film, dt=0.01
    )
    if held:
        assert tension == 0.0
        assert 0.0 < st[2] < 0.01
    else:
        assert st[2] > 0.03
