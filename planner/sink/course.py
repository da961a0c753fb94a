"""The course of one swim, compiled: landing, countdown, then the retrieve from one or several counts.

The countdown is simulated once; each count asked for starts its own retrieve from a copy of the state.
"""

from __future__ import annotations

import math

import numpy as np

from planner.sink.compiled import compiled
from planner.sink.solver import LINK_COLUMNS, STATE_COLUMNS, WORK_COLUMNS, step

__all__ = ["FLAG_COLUMNS", "RECORD_COLUMNS", "SCENARIO_FIELDS", "run_one"]

SCENARIO_FIELDS = (
    "running_diameter_m",  # 0
    "running_density_kg_m3",
    "rear_length_m",
    "rear_diameter_m",
    "rear_density_kg_m3",
    "head_length_m",  # 5
    "head_diameter_m",
    "head_density_kg_m3",
    "leader_length_m",
    "leader_diameter_m",
    "leader_density_kg_m3",  # 10
    "fly_mass_kg",
    "fly_volume_m3",
    "fly_towed_area_m2",
    "fly_broadside_area_m2",
    "fly_lift_area_m2",  # 15
    "cast_m",
    "angle_deg",
    "strip_m_s",
    "fed",
    "boat_speed_m_s",  # 20
    "tip_height_m",
    "pickup_m",
    "lift_at_m",
    "lift_height_m",
    "mean_m_s",  # 25
    "depth_m",
    "exponent_m",
    "bed_depth_m",
)
RECORD_COLUMNS = (
    "depth_m",
    "x_m",
    "y_m",
    "low_depth_m",
    "low_x_m",
    "low_y_m",
    "relative_m_s",
    "line_out_m",
    "tension_n",
    "phase",
)
FLAG_COLUMNS = (
    "touched",
    "touch_at_m",
    "hang",
    "fed_m",
    "max_speed_m_s",
    "max_tension_n",
    "highest_m",
    "deepest_m",
    "strip_start_s",
    "records",
)
U_CELLS = 64
SPARE = 24  # nodes that line fed during the countdown may add
# A node is given up to the tip when less line is left before it than this share of the next link; its line joins
# that link, so nothing jumps. A shorter link than this whips about the tip at large time steps.
GIVE_UP = 0.35
RAMP = 0.2  # the strip starts within this time [s]
PICKUP_RISE = 1.0  # speed of the rod tip in the pick-up [m/s]
PICKUP_TIME = 1.0  # of which this much is followed [s]
START_DEPTH = 0.005  # the line lands wetted [m]
# places in the vector of running values
CLOCK, NA, OUT, FED, CONTACT_TIME, TIP_Z, PHASE, PICK_CLOCK, SPEED, TENSION, TIP_TENSION = range(11)
RUNNING = 11


@compiled()
def _share(p: np.ndarray, nodes: int, rest: np.ndarray, link: np.ndarray) -> int:
    """Share the nodes out over leader, head, rear and running line; give the number of free nodes."""
    cast = p[16]
    lengths = np.zeros(4)
    left = cast
    order = np.array([8, 5, 2, -1])
    for part in range(4):
        length = left if order[part] < 0 else min(left, p[order[part]])
        lengths[part] = length
        left -= length
    weight = np.array([1.0, 1.0, 0.5, 0.5])
    counts = np.zeros(4, dtype=np.int64)
    total = 0.0
    present = 0
    for part in range(4):
        if lengths[part] > 1e-3:
            total += lengths[part] * weight[part]
            present += 1
            counts[part] = 1
    # the largest remainder: give each next node to the part with the longest weighted segment
    for _ in range(nodes - present):
        best = 0
        longest = -1.0
        for part in range(4):
            if counts[part] > 0:
                segment = lengths[part] * weight[part] / counts[part]
                if segment > longest:
                    longest = segment
                    best = part
        counts[best] += 1
    n = 0
    for part in range(4):
        for _ in range(counts[part]):
            rest[n] = lengths[part] / counts[part]
            _fill(p, part, link, n)
            n += 1
    return n


@compiled()
def _fill(p: np.ndarray, part: int, link: np.ndarray, j: int) -> None:
    if part == 0:
        d = p[9]
        density = p[10]
    elif part == 1:
        d = p[6]
        density = p[7]
    elif part == 2:
        d = p[3]
        density = p[4]
    else:
        d = p[0]
        density = p[1]
    area = math.pi * d * d / 4.0
    link[j, 0] = d
    link[j, 1] = density * area
    link[j, 2] = area  # times the water's density, by the caller


@compiled()
def _record(
    out: np.ndarray,
    t: int,
    st: np.ndarray,
    run: np.ndarray,
    u_table: np.ndarray,
    u_inv_dz: float,
) -> None:
    na = int(run[NA])
    low = 0
    for i in range(1, na):
        if st[i, 2] > st[low, 2]:
            low = i
    pos = min(max(st[0, 2] * u_inv_dz, 0.0), u_table.shape[0] - 1.000001)
    cell = int(pos)
    u = u_table[cell] + (pos - cell) * (u_table[cell + 1] - u_table[cell])
    out[t, 0] = st[0, 2]
    out[t, 1] = st[0, 0]
    out[t, 2] = st[0, 1]
    out[t, 3] = st[low, 2]
    out[t, 4] = st[low, 0]
    out[t, 5] = st[low, 1]
    out[t, 6] = math.sqrt((u - st[0, 3]) ** 2 + st[0, 4] ** 2 + st[0, 5] ** 2)
    if out.shape[1] > 7:
        out[t, 7] = run[OUT]
        out[t, 8] = run[TIP_TENSION]
        out[t, 9] = run[PHASE]


@compiled()
def _advance(
    steps: int,
    feed: float,
    strip: float,
    p: np.ndarray,
    st: np.ndarray,
    rest: np.ndarray,
    link: np.ndarray,
    run: np.ndarray,
    work: np.ndarray,
    dt: float,
    u_table: np.ndarray,
    u_inv_dz: float,
    cn: np.ndarray,
    fly: np.ndarray,
    const: np.ndarray,
    flags: np.ndarray,
    hang_tension: float,
    ds_run: float,
) -> bool:
    """Run some steps; True when the swim has ended."""
    bed = p[28]
    tip_low = -p[21]
    pickup = p[22]
    lift_at = p[23]
    for _ in range(steps):
        na = int(run[NA])
        run[CLOCK] += dt
        if feed > 0.0:
            chord = math.sqrt(st[na - 1, 0] ** 2 + st[na - 1, 1] ** 2 + (st[na - 1, 2] - run[TIP_Z]) ** 2)
            ahead = chord + dt * math.sqrt(st[na - 1, 3] ** 2 + st[na - 1, 4] ** 2 + st[na - 1, 5] ** 2)
            give = max(feed * dt, ahead - rest[na - 1])
            rest[na - 1] += give
            run[OUT] += give
            run[FED] += give
            if chord > 1.5 * ds_run and na < rest.shape[0]:
                # a new node of running line, on the chord; the slack stays at the tip
                part = ds_run / chord
                st[na, 0] = st[na - 1, 0] * (1.0 - part)
                st[na, 1] = st[na - 1, 1] * (1.0 - part)
                st[na, 2] = st[na - 1, 2] * (1.0 - part) + part * run[TIP_Z]
                st[na, 3] = st[na - 1, 3]
                st[na, 4] = st[na - 1, 4]
                st[na, 5] = 0.0
                rest[na] = rest[na - 1] - ds_run
                rest[na - 1] = ds_run
                _fill(p, 3, link, na)
                link[na, 2] *= const[0]
                na += 1
                run[NA] = na
        elif strip > 0.0 and run[OUT] > pickup:
            since = run[CLOCK] - flags[8]
            pull = strip * dt * min(1.0, since / RAMP)
            rest[na - 1] -= pull
            run[OUT] -= pull
            if lift_at > pickup and run[OUT] < lift_at:
                run[TIP_Z] = tip_low - p[24] * min(1.0, (lift_at - run[OUT]) / (lift_at - pickup))
                run[PHASE] = 2.0
            while na > 1 and rest[na - 1] < GIVE_UP * rest[na - 2]:
                na -= 1
                rest[na - 1] += rest[na]
            run[NA] = na
        elif run[PHASE] > 0.0 and run[OUT] <= pickup:
            run[PHASE] = 2.0
            run[PICK_CLOCK] += dt
            if run[PICK_CLOCK] > PICKUP_TIME:
                return True
            run[TIP_Z] -= PICKUP_RISE * dt
        tip, contact, at_fly = step(st, rest, link, na, work, dt, run[TIP_Z], u_table, u_inv_dz, cn, fly, const, bed)
        run[TIP_TENSION] = tip
        flags[5] = max(flags[5], tip)
        for i in range(na):
            speed = st[i, 3] ** 2 + st[i, 4] ** 2 + st[i, 5] ** 2
            if not speed < flags[4]:
                flags[4] = speed
            flags[6] = min(flags[6], st[i, 2])
            flags[7] = max(flags[7], st[i, 2])
        if contact >= 0:
            if flags[0] == 0.0:
                flags[0] = 1.0
                flags[1] = math.sqrt(st[contact, 0] ** 2 + st[contact, 1] ** 2)
            run[CONTACT_TIME] += dt
            if run[CONTACT_TIME] > 1.0 or (st[0, 2] > bed - 0.005 and at_fly < hang_tension):
                flags[2] = 1.0
        else:
            run[CONTACT_TIME] = 0.0
    return False


@compiled(nogil=True)
def run_one(
    p: np.ndarray,
    counts: np.ndarray,
    nodes: int,
    dt: float,
    stride: int,
    cn: np.ndarray,
    water: np.ndarray,
    down: np.ndarray,
    back: np.ndarray,
    flags: np.ndarray,
) -> None:
    """One scenario: the countdown recorded once, and a retrieve from each count.

    Parameters
    ----------
    p : array, shape (29,)
        The scenario, see `SCENARIO_FIELDS`.
    counts : array of int, shape (C,)
        Steps of each countdown, ascending.
    nodes : int
        Nodes at landing.
    dt : float
        Time step [s].
    stride : int
        Steps between two records.
    cn : array
        C_n over sqrt(Re).
    water : array, shape (7,)
        Water density, viscosity, gravity, EA, tangential drag, bed friction, tension under which a leader is slack.
    down : array, shape (Tc, K)
        Countdown records; the first is the landing.
    back : array, shape (C, T, K)
        Retrieve records; the first is the start of the strip; NaN after the pick-up.
    flags : array, shape (C, 10)
        See `FLAG_COLUMNS`.
    """
    capacity = nodes + SPARE if p[19] > 0.0 else nodes
    st = np.zeros((capacity, STATE_COLUMNS))
    rest = np.zeros(capacity)
    link = np.zeros((capacity, LINK_COLUMNS))
    work = np.zeros((capacity, WORK_COLUMNS))
    run = np.zeros(RUNNING)
    na = _share(p, nodes, rest, link)
    rho = water[0]
    for j in range(na):
        link[j, 2] *= rho
    fly = np.array([p[11], rho * p[12], p[13], p[14], p[15]])
    const = np.array([rho, water[1], water[2], water[3], water[4], water[5], -p[20]])
    # current relative to the tip
    u_table = np.empty(U_CELLS + 1)
    power = 1.0 / p[27]
    top = 0.98 * p[26]
    for i in range(U_CELLS + 1):
        u_table[i] = p[25] * (1.0 + power) * (1.0 - 0.98 * i / U_CELLS) ** power - p[20]
    u_inv_dz = U_CELLS / top
    # landing: straight, on the water, moving with it
    ca = math.cos(math.radians(p[17]))
    sa = math.sin(math.radians(p[17]))
    drop = p[21] + START_DEPTH
    while na > 1 and rest[na - 1] < max(1.05 * drop, GIVE_UP * rest[na - 2]):
        na -= 1
        rest[na - 1] += rest[na]
    flat = math.sqrt(max(rest[na - 1] ** 2 - drop * drop, 1e-4))
    for i in range(na - 1, -1, -1):
        st[i, 0] = flat * ca
        st[i, 1] = flat * sa
        st[i, 2] = START_DEPTH
        st[i, 3] = u_table[0]
        if i > 0:
            flat += rest[i - 1]
    run[NA] = na
    run[OUT] = p[16]
    run[TIP_Z] = -p[21]
    ds_run = max(0.5, p[16] / nodes)
    feed = 0.0
    if p[19] > 0.0:
        feed = max(abs(u_table[0]), 1e-9)
    base = np.zeros(flags.shape[1])
    base[1] = math.nan
    done = 0
    st2 = np.empty_like(st)
    rest2 = np.empty_like(rest)
    link2 = np.empty_like(link)
    run2 = np.empty_like(run)
    for c in range(counts.shape[0]):
        # two legs through one place in the code: compiling the step in twice would double the wait of a first run
        for leg in range(2):
            if leg == 0:
                s, r, ln, v, out, seen = st, rest, link, run, down, base
                k, last, fed, strip = done, counts[c], feed, 0.0
            else:
                st2[:] = st
                rest2[:] = rest
                link2[:] = link
                run2[:] = run
                seen = flags[c]
                seen[:] = base
                seen[3] = run[FED]
                seen[8] = run[CLOCK]
                run2[PHASE] = 1.0
                s, r, ln, v, out = st2, rest2, link2, run2, back[c]
                k, last, fed, strip = 0, (out.shape[0] - 1) * stride, 0.0, p[18]
            ended = False
            t = 0
            while not ended:
                if k % stride == 0:
                    t = k // stride
                    _record(out, t, s, v, u_table, u_inv_dz)
                if k >= last:
                    break
                some = min(stride - k % stride, last - k)
                ended = _advance(
                    some, fed, strip, p, s, r, ln, v, work, dt, u_table, u_inv_dz, cn, fly, const, seen, water[6],
                    ds_run,
                )  # fmt: skip
                k += some
            if leg == 0:
                done = k
            else:
                seen[9] = t + 1
                seen[4] = math.sqrt(seen[4])
                out[t + 1 :, :] = math.nan
