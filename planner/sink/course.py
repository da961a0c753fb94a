"""The course of one swim, compiled: landing, countdown, then the retrieve from one or several counts.

The countdown is simulated once; each count asked for starts its own retrieve from a copy of the state.
"""

from __future__ import annotations

import math

import numpy as np

from planner.sink.columns import (
    ANGLE,
    AXIAL_STIFFNESS,
    BED_DEPTH,
    BED_SPEED,
    BOAT_SPEED,
    CAST,
    DEPTH,
    EXPONENT,
    FILM,
    FILM_HOLDS,
    FLAG_DEEPEST,
    FLAG_FED,
    FLAG_HANG,
    FLAG_HIGHEST,
    FLAG_MAX_SPEED,
    FLAG_MAX_STRETCH,
    FLAG_MAX_TENSION,
    FLAG_RECORDS,
    FLAG_STRIP_START,
    FLAG_TOUCH_AT,
    FLAG_TOUCHED,
    FLY_MASS,
    FLY_TOWED_AREA,
    FLY_VOLUME,
    LIFT_AT,
    LIFT_HEIGHT,
    MEAN,
    MEND_EVERY,
    MODE,
    PAUSE,
    PICKUP,
    PULL,
    SLACK_TENSION,
    STRIP,
    TIP_HEIGHT,
    WATER_DENSITY,
)
from planner.sink.compiled import compiled
from planner.sink.nodes import START_DEPTH, mend, share_out, split_tip, stiffness, surroundings
from planner.sink.solver import BED, COLUMNS, REST, SHARE, SLOPE_X, SLOPE_Y, step

__all__ = ["run_one", "scratch"]

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
    tip_low = -p[TIP_HEIGHT]
    pickup = p[PICKUP]
    lift_at = p[LIFT_AT]
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
            na = split_tip(p, const[WATER_DENSITY], st, na, run[TIP_Z], ds_run)
            run[NA] = na
        elif strip > 0.0 and run[OUT] > pickup:
            since = run[CLOCK] - flags[FLAG_STRIP_START]
            pull = strip * dt * min(1.0, since / RAMP)
            if p[PAUSE] > 0.0:
                at = (since - 0.5 * dt) % (p[PULL] + p[PAUSE])
                ramp = min(PULL_RAMP, 0.25 * p[PULL])
                most = strip * (p[PULL] + p[PAUSE]) / (p[PULL] - ramp)
                pull = dt * most * max(0.0, min(1.0, at / ramp, (p[PULL] - at) / ramp))
            st[na - 1, REST] -= pull
            run[OUT] -= pull
            if lift_at > pickup and run[OUT] < lift_at:
                lifted = tip_low - p[LIFT_HEIGHT] * min(1.0, (lift_at - run[OUT]) / (lift_at - pickup))
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
            run[MEND_AT] += p[MEND_EVERY]
            give = mend(st, na, run[TIP_Z], u_table[0], p[BOAT_SPEED], MEND_BOW)
            run[OUT] += give
            run[FED] += give
            na = split_tip(p, const[WATER_DENSITY], st, na, run[TIP_Z], ds_run)
            run[NA] = na
        if around:
            surroundings(st, na, p[BOAT_SPEED] * run[CLOCK], ground, across)
        tip, contact, at_fly, tightest = step(st, na, work, dt, run[TIP_Z], u_table, u_inv_dz, cn, fly, const)
        run[TIP_TENSION] = tip
        flags[FLAG_MAX_TENSION] = max(flags[FLAG_MAX_TENSION], tip)
        flags[FLAG_MAX_STRETCH] = max(flags[FLAG_MAX_STRETCH], tightest / const[AXIAL_STIFFNESS])
        for i in range(na):
            speed = st[i, 3] ** 2 + st[i, 4] ** 2 + st[i, 5] ** 2
            if not speed < flags[FLAG_MAX_SPEED]:
                flags[FLAG_MAX_SPEED] = speed
            flags[FLAG_HIGHEST] = min(flags[FLAG_HIGHEST], st[i, 2])
            flags[FLAG_DEEPEST] = max(flags[FLAG_DEEPEST], st[i, 2])
        if contact >= 0:
            if flags[FLAG_TOUCHED] == 0.0:
                flags[FLAG_TOUCHED] = 1.0
                flags[FLAG_TOUCH_AT] = math.sqrt(st[contact, 0] ** 2 + st[contact, 1] ** 2)
            run[CONTACT_TIME] += dt
            if run[CONTACT_TIME] > 1.0 or (st[0, 2] > st[0, BED] - 0.005 and at_fly < hang_tension):
                flags[FLAG_HANG] = 1.0
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
    rho = water[WATER_DENSITY]
    na = share_out(p, min(nodes, max(6, int(p[CAST] / SHORTEST))), rho, st, vectors[6], vectors[7])
    fly[0] = p[FLY_MASS]
    fly[1] = rho * p[FLY_VOLUME]
    for i in range(3):
        fly[2 + i] = p[FLY_TOWED_AREA + i]
    for i in range(6):
        const[i] = water[i]
    const[BED_SPEED] = -p[BOAT_SPEED]
    # current relative to the tip
    power = 1.0 / p[EXPONENT]
    top = 0.98 * p[DEPTH]
    for i in range(U_CELLS + 1):
        u_table[i] = p[MEAN] * (1.0 + power) * (1.0 - 0.98 * i / U_CELLS) ** power - p[BOAT_SPEED]
    u_inv_dz = U_CELLS / top
    const[FILM_HOLDS] = p[FILM]
    # fastest that the line can be pulled through the water
    speed = max(abs(u_table[0]), abs(u_table[U_CELLS])) + p[STRIP] * (1.0 + p[PAUSE] / max(p[PULL], 1e-9))
    const[AXIAL_STIFFNESS] = stiffness(p, const, abs(fly[0] - fly[1]), speed)
    # landing: straight, on the water, moving with it
    ca = math.cos(math.radians(p[ANGLE]))
    sa = math.sin(math.radians(p[ANGLE]))
    drop = p[TIP_HEIGHT] + START_DEPTH
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
        st[i, BED] = p[BED_DEPTH]
        st[i, SLOPE_X] = st[i, SLOPE_Y] = 0.0
        st[i, SHARE] = 1.0
    if ground.shape[0] > 1 or across.shape[0] > 1:
        surroundings(st, na, 0.0, ground, across)
        for i in range(na):
            st[i, 3] = st[i, SHARE] * (u_table[0] + p[BOAT_SPEED]) - p[BOAT_SPEED]
    for i in range(VECTOR):
        run[i] = 0.0
        base[i] = 0.0
    run[NA] = na
    run[OUT] = p[CAST]
    run[TIP_Z] = -p[TIP_HEIGHT]
    ds_run = max(0.5, p[CAST] / nodes)
    feed = 0.0
    if p[MODE] == 2.0:
        run[MEND_AT] = MEND_FIRST
    elif p[MODE] > 0.0:
        feed = max(abs(u_table[0]), 1e-9)
    base[FLAG_TOUCH_AT] = math.nan
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
                seen[FLAG_FED] = run[FED]
                seen[FLAG_STRIP_START] = run[CLOCK]
                run2[PHASE] = 1.0
                k, last, fed, strip = 0, (out.shape[0] - 1) * stride, 0.0, p[STRIP]
            ended = False
            t = 0
            while not ended:
                if k % stride == 0:
                    t = k // stride
                    _record(out, t, s, v, u_table, u_inv_dz, p[BOAT_SPEED])
                if k >= last:
                    break
                some = min(stride - k % stride, last - k)
                ended = _advance(
                    some, fed, strip, p, s, v, work, dt, u_table, u_inv_dz, cn, fly, const, seen, water[SLACK_TENSION],
                    ds_run, ground, across,
                )  # fmt: skip
                k += some
            if leg == 0:
                done = k
            else:
                seen[FLAG_RECORDS] = t + 1
                seen[FLAG_MAX_SPEED] = math.sqrt(seen[FLAG_MAX_SPEED])
                for late in range(t + 1, out.shape[0]):
                    for j in range(out.shape[1]):
                        out[late, j] = math.nan
