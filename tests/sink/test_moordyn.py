"""The solver beside MoorDyn, run here: tows, a pulsed strip, and the composite line swinging in a sheared current."""

from __future__ import annotations

import numpy as np
import pytest

from planner.sink import Cast, Current, swim
from planner.sink.line import line_from_head
from planner.units import FOOT, GRAIN, INCH
from tests.published.line_cases import FLIES, NO_FLY, SLIM, carrier
from tests.sink.moordyn_reference import follow, run_moordyn

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")

LINE = line_from_head(26 * FOOT, 200 * GRAIN, 5 * INCH, leader_m=4 * FOOT, leader_diameter_m=0.36e-3)
CAST_M = 14.63
PARTS = [
    (LINE.leader_length_m, LINE.leader_diameter_m, LINE.leader_density_kg_m3, 3),
    (LINE.head_length_m, LINE.head_diameter_m, LINE.head_density_kg_m3, 16),
    (
        CAST_M - LINE.head_length_m - LINE.leader_length_m,
        LINE.running_diameter_m,
        LINE.running_density_kg_m3,
        6,
    ),
]
FLY = (SLIM.mass_kg, SLIM.volume_m3, SLIM.towed_area_m2)


@pytest.mark.parametrize("speed", [0.3, 0.6, 1.0, 1.5])
@pytest.mark.parametrize("sink", [0.0762, 0.127, 0.178])
def test_a_tow_agrees_with_moordyn_at_once_and_in_the_end(tmp_path, sink, speed):
    """A 26 ft line let go in a uniform current: depth within 1 % in the end, and 8 mm on the way down to 4 m."""
    line = carrier(sink)
    current = Current(speed, 50.0, 1e9)
    part = (26 * FOOT, 1.2e-3, line.head_density_kg_m3, 20)
    theirs, _ = run_moordyn(tmp_path, [part], (1e-6, 1e-9, 0.0), current, 20.0, step_s=5e-4, straight=True)
    ours = swim(line, NO_FLY, Cast(26 * FOOT, 0.0, 0.0), current, nodes=20, cn=1.2, swing_s=20.0)
    depth = np.interp(theirs[:, 0], ours.times_s, ours.fly_depth_m)
    off = float(np.max(np.abs(depth - theirs[:, 3])))
    print(f"depth off by {1000 * off:.1f} mm at most, {100 * abs(depth[-1] / theirs[-1, 3] - 1):.2f} % in the end")
    assert off < 0.008
    assert depth[-1] == pytest.approx(theirs[-1, 3], rel=0.01)


@pytest.mark.parametrize("sink", [0.0762, 0.127, 0.178])
@pytest.mark.parametrize("fly", ["slim", "bulky"])
def test_a_tow_in_a_sheared_current_agrees_with_moordyn(tmp_path, sink, fly):
    """A 26 ft line with its fly, let go in a 1/7-power current 2.44 m deep: within 1 % at the end, 1 cm on the way."""
    line, body, current = carrier(sink), FLIES[fly], Current(1.067, 2.44)
    part = (26 * FOOT, 1.2e-3, line.head_density_kg_m3, 30)
    mass = (body.mass_kg, body.volume_m3, body.towed_area_m2)
    theirs, _ = run_moordyn(tmp_path, [part], mass, current, 20.0, step_s=4e-4, straight=True)
    ours = swim(line, body, Cast(26 * FOOT, 0.0, 0.0), current, nodes=30, cn=1.2, swing_s=20.0)
    depth = np.interp(theirs[:, 0], ours.times_s, ours.fly_depth_m)
    off = float(np.max(np.abs(depth - theirs[:, 3])))
    end, pull = depth[-1] / theirs[-1, 3] - 1.0, ours.tension_n[-1] / theirs[-1, 4] - 1.0
    print(f"{off * 1000:.1f} mm at most, end {100 * end:.2f} %, tension {100 * pull:.2f} %")
    assert off < 0.01
    assert abs(end) < 0.01
    assert abs(pull) < 0.05


@pytest.mark.parametrize("angle", [0.0, 90.0])
def test_the_composite_line_swings_as_in_moordyn(tmp_path, angle):
    """Running line, head, leader and fly in a sheared current, from the same places of all nodes, followed for 25 s.

    The fly's track is never 3 cm off, its depth never 2 % of the water it has sunk through, the tension never 5 %.
    """
    current = Current(1.067, 2.44)
    start: list[np.ndarray] = []
    theirs, _ = run_moordyn(tmp_path, PARTS, FLY, current, 25.0, step_s=4e-4, angle_deg=angle, start=start)
    ours = follow(start[0], PARTS, FLY, current, 25.0, dt=0.005)
    off = ours - theirs
    track = float(np.max(np.linalg.norm(off[:, 1:4], axis=1)))
    depth = float(np.max(np.abs(off[:, 3])) / np.max(theirs[:, 3]))
    settled = theirs[:, 0] > 2.0  # the jerk in which the slack of the start comes tight is over
    tension = float(np.max(np.abs(off[settled, 4] / theirs[settled, 4])))
    print(f"{angle:g} deg: track {100 * track:.1f} cm, depth {100 * depth:.1f} %, tension {100 * tension:.1f} %")
    assert track < 0.03
    assert depth < 0.02
    assert tension < 0.05
    assert ours[-1, 3] == pytest.approx(theirs[-1, 3], rel=0.005)


def test_the_composite_line_lands_and_swings_as_in_moordyn(tmp_path):
    """As landed, straight and at the swim's own step, the fly ends within half a percent of MoorDyn's depth.

    MoorDyn takes a straight start only with each segment as a line of its own, which bends otherwise at the nodes:
    the tracks of this swing come to 12 cm of each other, as MoorDyn's own do when its segments are halved (6 cm).
    """
    current = Current(1.067, 2.44)
    theirs, _ = run_moordyn(tmp_path, PARTS, FLY, current, 25.0, step_s=4e-4, angle_deg=90.0, straight=True)
    ours = swim(LINE, SLIM, Cast(CAST_M, 90.0, 0.0), current, nodes=25, cn=1.2, swing_s=25.5)
    path = [np.interp(theirs[:, 0], ours.times_s, v) for v in (ours.fly_x_m, ours.fly_y_m, ours.fly_depth_m)]
    off = np.stack(path, axis=1) - theirs[:, 1:4]
    assert np.max(np.abs(off[:, 2])) < 0.03
    assert np.max(np.linalg.norm(off, axis=1)) < 0.13
    assert path[2][-1] == pytest.approx(theirs[-1, 3], rel=0.015)


def _pulses(time: float) -> float:
    """Way of the rod tip: pulls of half a second at 0.9 m/s, and half a second of rest."""
    whole = int(time)
    return 0.9 * (0.5 * whole + min(time - whole, 0.5))


def test_a_pulsed_strip_goes_as_in_moordyn(tmp_path):
    """Pulled in jerks through slow water, depth is never 2 cm off MoorDyn's, and near that of the mean speed."""
    line, current = carrier(0.127), Current(0.2, 50.0, 1e9)
    parts = [(26 * FOOT, 1.2e-3, line.head_density_kg_m3, 20)]
    start: list[np.ndarray] = []
    theirs, _ = run_moordyn(tmp_path, parts, FLY, current, 20.0, step_s=4e-4, start=start, pull=_pulses, every_s=0.05)
    ours = follow(start[0], parts, FLY, current, 20.0, dt=0.01, pull=_pulses, every_s=0.05)
    steady = follow(start[0], parts, FLY, Current(0.65, 50.0, 1e9), 40.0, dt=0.02)
    off = float(np.max(np.abs(ours[:, 3] - theirs[:, 3])))
    late = ours[ours[:, 0] > 15.0, 3]
    print(f"off by {100 * off:.1f} cm at most; mean {late.mean():.3f} m, steady {steady[-1, 3]:.3f} m")
    assert off < 0.02
    assert float(late.mean()) == pytest.approx(steady[-1, 3], rel=0.04)
    assert np.ptp(late) > 0.02
