"""What happens to the nodes besides the step, compiled: sharing them out, new ones, mends, the bed under them."""

from __future__ import annotations

import math

import numpy as np

from planner.sink.columns import (
    AXIAL_STIFFNESS,
    CAST,
    FLY_TOWED_AREA,
    FRONT_LENGTH,
    GRAVITY,
    HEAD_DENSITY,
    HEAD_DIAMETER,
    HEAD_LENGTH,
    LEADER_LENGTH,
    MIDDLE_LENGTH,
    REAR_LENGTH,
    RUNNING_DIAMETER,
    TANGENTIAL_DRAG,
    WATER_DENSITY,
)
from planner.sink.compiled import compiled
from planner.sink.solver import BED, DIAMETER, DISPLACED, MASS, REST, SHARE, SLOPE_X, SLOPE_Y

__all__ = ["PARTS", "START_DEPTH", "fill", "mend", "share_out", "split_tip", "stiffness", "surroundings"]

START_DEPTH = 0.005  # line laid on the water is wetted so deep [m]
# links carry this many times the tension foreseen, and this times m' V² in a jerk, so that they stretch under 0.5 %
STIFFNESS, JERK_STIFFNESS = 300.0, 5e4
SUBMERGED = 0.03  # a node deeper than this is not moved by a mend [m]
# from the fly: leader, front and middle step of the head, the head's back (or all of it), its floating rear, running
PARTS = 6


@compiled()
def _place(part: int) -> int:
    """Where a part's length, diameter and density begin in the scenario; the running line has no length there."""
    if part == 0:
        return LEADER_LENGTH
    if part == 1:
        return FRONT_LENGTH
    if part == 2:
        return MIDDLE_LENGTH
    if part == 3:
        return HEAD_LENGTH
    if part == 4:
        return REAR_LENGTH
    return -1


@compiled()
def share_out(p: np.ndarray, nodes: int, rho: float, st: np.ndarray, lengths: np.ndarray, counts: np.ndarray) -> int:
    """Share the nodes out over the parts of the line from the fly on; give the number of free nodes."""
    left = p[CAST]
    total = 0
    for part in range(PARTS):
        length = left
        if part < PARTS - 1:
            length = min(left, p[_place(part)])
        left -= length
        lengths[part] = length
        counts[part] = 0.0
        if length > 1e-3:
            counts[part] = 1.0
            total += 1
    # each next node goes to the part with the longest segment; floating parts may have segments twice as long
    for _ in range(nodes - total):
        best = 0
        longest = -1.0
        for part in range(PARTS):
            if counts[part] > 0:
                segment = lengths[part] / counts[part]
                if part > 3:
                    segment *= 0.5
                if segment > longest:
                    longest = segment
                    best = part
        counts[best] += 1.0
    n = 0
    for part in range(PARTS):
        for _ in range(int(counts[part])):
            st[n, REST] = lengths[part] / counts[part]
            fill(p, part, rho, st, n)
            n += 1
    return n


@compiled()
def fill(p: np.ndarray, part: int, rho: float, st: np.ndarray, j: int) -> None:
    """Give link j the diameter and masses of a part, see `PARTS`."""
    place = _place(part) + 1
    d = p[place]
    area = math.pi * d * d / 4.0
    st[j, DIAMETER] = d
    st[j, MASS] = p[place + 1] * area
    st[j, DISPLACED] = rho * area


@compiled()
def stiffness(p: np.ndarray, const: np.ndarray, heft: float, speed: float) -> float:
    """Stiffness of the links [N], from the friction along the line, drag and weight of the fly, weight of the head.

    ``const`` is that of the step, ``heft`` the fly's mass less the water's it displaces [kg], ``speed`` the fastest
    through the water [m/s].
    """
    rho = const[WATER_DENSITY]
    g = const[GRAVITY]
    quarter = 0.25 * math.pi * p[HEAD_DIAMETER] * p[HEAD_DIAMETER]
    thick = max(p[RUNNING_DIAMETER], p[HEAD_DIAMETER])
    drag = 0.5 * rho * speed * speed * (math.pi * const[TANGENTIAL_DRAG] * thick * p[CAST] + p[FLY_TOWED_AREA])
    weight = heft * g + quarter * abs(p[HEAD_DENSITY] - rho) * g * min(p[HEAD_LENGTH], p[CAST])
    jerk = JERK_STIFFNESS * speed * speed * quarter * p[HEAD_DENSITY]
    return max(const[AXIAL_STIFFNESS], STIFFNESS * (drag + weight), jerk)


@compiled()
def split_tip(p: np.ndarray, rho: float, st: np.ndarray, na: int, tip_z: float, ds: float) -> int:
    """Set a new node of running line on the chord of a long link at the tip; the slack stays at the tip."""
    last = na - 1
    chord = math.sqrt(st[last, 0] ** 2 + st[last, 1] ** 2 + (st[last, 2] - tip_z) ** 2)
    if chord <= 1.5 * ds or na >= st.shape[0]:
        return na
    part = ds / chord
    for j in range(st.shape[1]):
        st[na, j] = st[last, j]
    st[na, 0] *= 1.0 - part
    st[na, 1] *= 1.0 - part
    st[na, 2] = st[last, 2] * (1.0 - part) + part * tip_z
    st[na, 5] = 0.0
    st[na, REST] = st[last, REST] - ds
    st[last, REST] = ds
    fill(p, PARTS - 1, rho, st, na)
    return na + 1


@compiled()
def surroundings(st: np.ndarray, na: int, moved: float, ground: np.ndarray, across: np.ndarray) -> None:
    """Depth and slopes of the bed under each node, and the share of the current at its place across.

    ``ground`` holds x0, y0, 1/dx, 1/dy, nx, ny and then the depths, row by row in y; ``across`` holds y0, 1/dy and
    then the shares. Beyond their edges the edge's values stand. ``moved`` is the way of a boat since the landing.
    """
    for i in range(na):
        if ground.shape[0] > 1:
            nx = int(ground[4])
            ny = int(ground[5])
            u = (st[i, 0] + moved - ground[0]) * ground[2]
            v = (st[i, 1] - ground[1]) * ground[3]
            du = ground[2] if 0.0 < u < nx - 1 else 0.0
            dv = ground[3] if 0.0 < v < ny - 1 else 0.0
            u = min(max(u, 0.0), nx - 1.000001)
            v = min(max(v, 0.0), ny - 1.000001)
            k = 6 + int(v) * nx + int(u)
            u -= int(u)
            v -= int(v)
            low = ground[k] + u * (ground[k + 1] - ground[k])
            high = ground[k + nx] + u * (ground[k + nx + 1] - ground[k + nx])
            st[i, BED] = low + v * (high - low)
            st[i, SLOPE_X] = du * ((1.0 - v) * (ground[k + 1] - ground[k]) + v * (ground[k + nx + 1] - ground[k + nx]))
            st[i, SLOPE_Y] = dv * (high - low)
        if across.shape[0] > 1:
            v = min(max((st[i, 1] - across[0]) * across[1], 0.0), across.shape[0] - 3.000001)
            k = 2 + int(v)
            st[i, SHARE] = across[k] + (v - int(v)) * (across[k + 1] - across[k])


@compiled()
def mend(st: np.ndarray, na: int, tip_z: float, u_surface: float, boat: float, bow: float) -> float:
    """Lay the line that is still on the surface up-current in a bow; give the line that had to be fed for it.

    From the rod tip down to the first submerged node, which is not moved, nor what lies beyond it, the nodes are set
    on a parabola whose height is `bow` of the chord where the chord lies across the current, and more where slack is
    there for it. Every link keeps its length.
    """
    s = na - 1
    while s > 0 and st[s, 2] < SUBMERGED:
        s -= 1
    sx = st[s, 0]
    sy = st[s, 1]
    chord = math.sqrt(sx * sx + sy * sy)
    if s == na - 1 or chord < 1.0 or u_surface == 0.0:
        return 0.0
    ex = -sx / chord
    ey = -sy / chord
    side = abs(ey)  # of a chord along the current there is no up-current side
    if side < 0.1:
        return 0.0
    up = -1.0 if u_surface > 0.0 else 1.0
    nx = up * ey * ey / side
    ny = -up * ex * ey / side
    total = 0.0
    for i in range(s, na - 1):
        total += st[i, REST]
    free = max((total + st[na - 1, REST]) / chord - 1.0, 0.0)
    height = chord * max(bow * side, min(math.sqrt(0.375 * free), 0.35))
    for _ in range(12):  # all links but the one at the tip must find room on the curve
        arc = 0.0
        for j in range(16):
            slope = 4.0 * height * (1.0 - (j + 0.5) / 8.0)
            arc += math.sqrt(chord * chord + slope * slope) / 16.0
        if arc > 1.05 * total:
            break
        height *= 1.2
    else:
        return 0.0
    q = 0.0
    for i in range(s + 1, na):
        rest = st[i - 1, REST]
        if i == s + 1:
            drop = st[s, 2] - START_DEPTH
            rest = math.sqrt(max(rest * rest - drop * drop, 1e-4))
        slope = 4.0 * height * (1.0 - 2.0 * q)
        dq = rest / math.sqrt(chord * chord + slope * slope)
        slope = 4.0 * height * (1.0 - 2.0 * q - dq)
        q += rest / math.sqrt(chord * chord + slope * slope)
        rise = 4.0 * height * q * (1.0 - q)
        dx = sx + ex * chord * q + nx * rise - st[i - 1, 0]
        dy = sy + ey * chord * q + ny * rise - st[i - 1, 1]
        scale = rest / math.sqrt(dx * dx + dy * dy)
        st[i, 0] = st[i - 1, 0] + dx * scale
        st[i, 1] = st[i - 1, 1] + dy * scale
        st[i, 2] = START_DEPTH
        st[i, 3] = st[i, SHARE] * (u_surface + boat) - boat
        st[i, 4] = 0.0
        st[i, 5] = 0.0
    last = na - 1
    span = math.sqrt(st[last, 0] ** 2 + st[last, 1] ** 2 + (st[last, 2] - tip_z) ** 2)
    give = max(0.0, 1.002 * span - st[last, REST])
    st[last, REST] += give
    return give
