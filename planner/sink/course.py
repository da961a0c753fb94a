"""The course of one swim, compiled: landing, countdown, then the retrieve from one or several counts.

The countdown is simulated once; each count asked for starts its own retrieve from a copy of the state.
"""

from __future__ import annotations

import math

import numpy as np

from planner.sink.compiled import compiled
from planner.sink.nodes import START_DEPTH, mend, share_out, split_tip, stiffness, surroundings
from planner.sink.solver import BED, COLUMNS, REST, SHARE, SLOPE_X, SLOPE_Y, step

__all__ = ["FLAG_COLUMNS", "RECORD_COLUMNS", "SCENARIO_FIELDS", "run_one", "scratch"]

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
    "fed",  # 0 held, 1 fed, 2 mended
    "boat_speed_m_s",  # 20
    "tip_height_m",
    "pickup_m",
    "lift_at_m",
    "lift_height_m",
    "mean_m_s",  # 25
    "depth_m",
    "exponent_m",
    "bed_depth_m",
    "front_length_m",
    "front_diameter_m",  # 30
    "front_density_kg_m3",
    "middle_length_m",
    "middle_diameter_m",
    "middle_density_kg_m3",
    "pull_s",  # 35
    "pause_s",
    "mend_every_s",
    "film_n_m",
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
    "height_m",
    "clearance_m",
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
    "max_stretch",
)
U_CELLS = 64
SPARE = 24  # nodes that line fed during the countdown may add
# A node is given up to the tip when less line is left before it than this share of the next link; its line joins
# that link, so nothing jumps. A shorter link than this whips about the tip at large time steps.
GIVE_UP = 0.35
RAMP = 0.2  # the strip starts within this time [s]
PICKUP_RISE = 1.0  # speed of the rod tip in the pick-up [m/s]
PICKUP_TIME = 1.0  # of which this much is followed [s]
SHORTEST = 0.15  # a short cast has fewer nodes than asked for, its segments are not shorter than this [m]
PULL_RAMP = 0.1  # a single pull starts and ends within this time [s]
MEND_FIRST = 1.0  # the first mend follows the landing so late [s]
MEND_BOW = 0.15  # height of a mend's bow over its chord, where the chord lies across
# places in the vector of running values
CLOCK, NA, OUT, FED, CONTACT_TIME, TIP_Z, PHASE, PICK_CLOCK, MEND_AT, TIP_TENSION = range(10)
RUNNING = 10
VECTOR = U_CELLS + 1


def scratch(nodes: int) -> tuple[np.ndarray, np.ndarray]:
    """Scratch of `run_one` for swims of this many nodes at landing; one for each thread."""
    return np.zeros((3, nodes + SPARE, COLUMNS)), np.zeros((8, VECTOR))


@compiled()
def _record(
    out: np.ndarray,
    t: int,
    st: np.ndarray,
    run: np.ndarray,
    u_table: np.ndarray,
    u_inv_dz: float,
    boat: float,
) -> None:
    na = int(run[NA])
    low = 0
    for i in range(1, na):
        if st[i, 2] > st[low, 2]:
            low = i
    pos = min(max(st[0, 2] * u_inv_dz, 0.0), u_table.shape[0] - 1.000001)
    cell = int(pos)
    u = u_table[cell] + (pos - cell) * (u_table[cell + 1] - u_table[cell])
    u += (st[0, SHARE] - 1.0) * (u + boat)
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
        out[t, 10] = st[0, BED] - st[0, 2]
        least = math.inf
        for i in range(na):
            least = min(least, st[i, BED] - st[i, 2])
        out[t, 11] = least


@compiled()
def _advance(
    steps: int,
    feed: float,
    strip: float,
    p: np.ndarray,
    st: np.ndarray,
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
    ground: np.ndarray,
    across: np.ndarray,
) -> bool:
    """Run some steps; True when the swim has ended."""
    around = ground.shape[0] > 1 or across.shape[0] > 1
    tip_low = -p[21]
    pickup = p[22]
    lift_at = p[23]
    for _ in range(steps):
        na = int(run[NA])
        run[CLOCK] += dt
        if feed > 0.0:
            chord = math.sqrt(st[na - 1, 0] ** 2 + st[na - 1, 1] ** 2 + (st[na - 1, 2] - run[TIP_Z]) ** 2)
            ahead = chord + dt * math.sqrt(st[na - 1, 3] ** 2 + st[na - 1, 4] ** 2 + st[na - 1, 5] ** 2)
            give = max(feed * dt, ahead - st[na - 1, REST])
            st[na - 1, REST] += give
            run[OUT] += give
            run[FED] += give
            na = split_tip(p, const[0], st, na, run[TIP_Z], ds_run)
            run[NA] = na
        elif strip > 0.0 and run[OUT] > pickup:
            since = run[CLOCK] - flags[8]
            pull = strip * dt * min(1.0, since / RAMP)
            if p[36] > 0.0:
                at = (since - 0.5 * dt) % (p[35] + p[36])
                ramp = min(PULL_RAMP, 0.25 * p[35])
                most = strip * (p[35] + p[36]) / (p[35] - ramp)
                pull = dt * most * max(0.0, min(1.0, at / ramp, (p[35] - at) / ramp))
            st[na - 1, REST] -= pull
            run[OUT] -= pull
            if lift_at > pickup and run[OUT] < lift_at:
                lifted = tip_low - p[24] * min(1.0, (lift_at - run[OUT]) / (lift_at - pickup))
                run[TIP_Z] = max(lifted, run[TIP_Z] - PICKUP_RISE * dt)
                run[PHASE] = 2.0
            while na > 1 and st[na - 1, REST] < GIVE_UP * st[na - 2, REST]:
                na -= 1
                st[na - 1, REST] += st[na, REST]
            run[NA] = na
        elif run[PHASE] > 0.0 and run[OUT] <= pickup:
            run[PHASE] = 2.0
            run[PICK_CLOCK] += dt
            if run[PICK_CLOCK] > PICKUP_TIME:
                return True
            run[TIP_Z] -= PICKUP_RISE * dt
        elif run[MEND_AT] > 0.0 and run[PHASE] == 0.0 and run[CLOCK] >= run[MEND_AT]:
            run[MEND_AT] += p[37]
            give = mend(st, na, run[TIP_Z], u_table[0], p[20], MEND_BOW)
            run[OUT] += give
            run[FED] += give
            na = split_tip(p, const[0], st, na, run[TIP_Z], ds_run)
            run[NA] = na
        if around:
            surroundings(st, na, p[20] * run[CLOCK], ground, across)
        tip, contact, at_fly, tightest = step(st, na, work, dt, run[TIP_Z], u_table, u_inv_dz, cn, fly, const)
        run[TIP_TENSION] = tip
        flags[5] = max(flags[5], tip)
        flags[10] = max(flags[10], tightest / const[3])
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
            if run[CONTACT_TIME] > 1.0 or (st[0, 2] > st[0, BED] - 0.005 and at_fly < hang_tension):
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
    space: np.ndarray,
    vectors: np.ndarray,
    ground: np.ndarray,
    across: np.ndarray,
) -> None:
    """One scenario: the countdown recorded once, and a retrieve from each count.

    Parameters
    ----------
    p : array, shape (39,)
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
    flags : array, shape (C, 11)
        See `FLAG_COLUMNS`.
    space : array, shape (3, n, 14)
        Scratch for at least as many nodes as the swim may have, from `scratch`.
    vectors : array, shape (8, 65)
        Scratch.
    ground, across : array
        Bed over x and y, and shares of the current over y, see `nodes.surroundings`; of length 1 for a level bed and
        a current that is the same across.
    """
    # explicit loops and given scratch: slices and allocations here would double the wait for compilation
    st = space[0]
    st2 = space[1]
    work = space[2]
    u_table = vectors[0]
    fly = vectors[1]
    const = vectors[2]
    run = vectors[3]
    run2 = vectors[4]
    base = vectors[5]
    rho = water[0]
    na = share_out(p, min(nodes, max(6, int(p[16] / SHORTEST))), rho, st, vectors[6], vectors[7])
    fly[0] = p[11]
    fly[1] = rho * p[12]
    for i in range(3):
        fly[2 + i] = p[13 + i]
    for i in range(6):
        const[i] = water[i]
    const[6] = -p[20]
    # current relative to the tip
    power = 1.0 / p[27]
    top = 0.98 * p[26]
    for i in range(U_CELLS + 1):
        u_table[i] = p[25] * (1.0 + power) * (1.0 - 0.98 * i / U_CELLS) ** power - p[20]
    u_inv_dz = U_CELLS / top
    const[7] = p[38]
    # fastest that the line can be pulled through the water
    speed = max(abs(u_table[0]), abs(u_table[U_CELLS])) + p[18] * (1.0 + p[36] / max(p[35], 1e-9))
    const[3] = stiffness(p, const, abs(fly[0] - fly[1]), speed)
    # landing: straight, on the water, moving with it
    ca = math.cos(math.radians(p[17]))
    sa = math.sin(math.radians(p[17]))
    drop = p[21] + START_DEPTH
    while na > 1 and st[na - 1, REST] < max(1.05 * drop, GIVE_UP * st[na - 2, REST]):
        na -= 1
        st[na - 1, REST] += st[na, REST]
    flat = math.sqrt(max(st[na - 1, REST] ** 2 - drop * drop, 1e-4))
    for i in range(na - 1, -1, -1):
        st[i, 0] = flat * ca
        st[i, 1] = flat * sa
        st[i, 2] = START_DEPTH
        st[i, 3] = u_table[0]
        st[i, 4] = 0.0
        st[i, 5] = 0.0
        if i > 0:
            flat += st[i - 1, REST]
    for i in range(st.shape[0]):
        st[i, BED] = p[28]
        st[i, SLOPE_X] = st[i, SLOPE_Y] = 0.0
        st[i, SHARE] = 1.0
    if ground.shape[0] > 1 or across.shape[0] > 1:
        surroundings(st, na, 0.0, ground, across)
        for i in range(na):
            st[i, 3] = st[i, SHARE] * (u_table[0] + p[20]) - p[20]
    for i in range(VECTOR):
        run[i] = 0.0
        base[i] = 0.0
    run[NA] = na
    run[OUT] = p[16]
    run[TIP_Z] = -p[21]
    ds_run = max(0.5, p[16] / nodes)
    feed = 0.0
    if p[19] == 2.0:
        run[MEND_AT] = MEND_FIRST
    elif p[19] > 0.0:
        feed = max(abs(u_table[0]), 1e-9)
    base[1] = math.nan
    done = 0
    for c in range(counts.shape[0]):
        # two legs through one place in the code: compiling the step in twice would double the wait of a first run
        for leg in range(2):
            s, v, out, seen = st, run, down, base
            k, last, fed, strip = done, counts[c], feed, 0.0
            if leg == 1:
                s, v, out, seen = st2, run2, back[c], flags[c]
                for i in range(st.shape[0]):
                    for j in range(COLUMNS):
                        st2[i, j] = st[i, j]
                for i in range(RUNNING):
                    run2[i] = run[i]
                for i in range(flags.shape[1]):
                    seen[i] = base[i]
                seen[3] = run[FED]
                seen[8] = run[CLOCK]
                run2[PHASE] = 1.0
                k, last, fed, strip = 0, (out.shape[0] - 1) * stride, 0.0, p[18]
            ended = False
            t = 0
            while not ended:
                if k % stride == 0:
                    t = k // stride
                    _record(out, t, s, v, u_table, u_inv_dz, p[20])
                if k >= last:
                    break
                some = min(stride - k % stride, last - k)
                ended = _advance(
                    some, fed, strip, p, s, v, work, dt, u_table, u_inv_dz, cn, fly, const, seen, water[6],
                    ds_run, ground, across,
                )  # fmt: skip
                k += some
            if leg == 0:
                done = k
            else:
                seen[9] = t + 1
                seen[4] = math.sqrt(seen[4])
                for late in range(t + 1, out.shape[0]):
                    for j in range(out.shape[1]):
                        out[late, j] = math.nan
