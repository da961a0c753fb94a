"""The step of the solver knows no direction but down: all that is turned about the vertical goes the same, turned."""

from __future__ import annotations

import math

import numpy as np
import pytest

from planner.sink.batch import water_constants
from planner.sink.constants import constant
from planner.sink.drag import cn_table
from planner.sink.solver import BED, COLUMNS, DIAMETER, DISPLACED, MASS, REST, SHARE, SLOPE_X, SLOPE_Y, step

RHO = constant("water_density")
N = 8


def turn(degrees: float) -> np.ndarray:
    """Rotation about the vertical."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def swum(kind: str, degrees: float, mirrored: bool = False) -> tuple[np.ndarray, np.ndarray]:
    """Places and tensions of a line that was let go in still water with a push, all turned by some degrees."""
    rng = np.random.default_rng(11)
    about = turn(degrees)
    if mirrored:
        about = about @ np.diag([1.0, -1.0, 1.0])
    st, work = np.zeros((N, COLUMNS)), np.zeros((N, COLUMNS))
    places = np.stack([np.arange(N, 0, -1) * 0.9, 0.1 * rng.standard_normal(N), np.full(N, 0.5)], axis=1)
    if kind == "floating":
        places[:, 2] = 0.004
    st[:, :3] = places @ about.T
    st[:, 3:6] = 0.3 * rng.standard_normal((N, 3)) @ about.T
    ends = np.vstack([places, [0.0, 0.0, 0.0]])
    st[:, REST] = np.linalg.norm(np.diff(ends, axis=0), axis=1) * (1.02 if kind == "slack" else 1.0)
    density = 800.0 if kind == "floating" else 2200.0
    area = math.pi / 4.0 * 1.2e-3**2
    st[:, DIAMETER], st[:, MASS], st[:, DISPLACED] = 1.2e-3, density * area, RHO * area
    st[:, BED], st[:, SHARE] = np.inf, 1.0
    slope = np.array([0.2, 0.1, 0.0]) @ about.T
    const = np.append(water_constants()[:6], [0.0, 0.05 if kind == "floating" else 0.0])  # the bed's speed, the film
    const[3] = 2000.0  # stiffness of the links
    fly = np.array([1.5e-3, 0.5e-3, 1e-4, 3e-4, 4e-5])
    pull = []
    for _ in range(250):
        if kind == "bed":
            st[:, BED] = 0.6 + st[:, :3] @ slope
            st[:, SLOPE_X], st[:, SLOPE_Y] = slope[0], slope[1]
        pull.append(step(st, N, work, 0.02, -0.3, np.zeros(65), 1.0, cn_table(), fly, const)[0])
    return st[:, :3] @ about, np.array(pull)


@pytest.mark.parametrize("kind", ["free", "slack", "bed", "floating"])
def test_a_line_falls_the_same_whichever_way_it_lies(kind: str) -> None:
    """In still water, with slack, over a sloping bed and on the film: turned or in the mirror, the same to a micron."""
    places, pull = swum(kind, 0.0)
    assert np.all(np.isfinite(places))
    for degrees, mirrored in ((37.0, False), (90.0, False), (180.0, False), (-120.0, True)):
        turned, other = swum(kind, degrees, mirrored)
        assert turned == pytest.approx(places, abs=1e-6)
        assert other == pytest.approx(pull, abs=1e-5)
