"""Lay the bed under a swim and weigh it under all draws, in one compiled pass.

For a draw n and a moment t of the swim the height above the bed is linear in the unknowns,

    h[t, n] = h0[t] + sum_p G[p, t] s[p] d[p, n]                                                  (1)

with h0 the height in the median case, G the responses (finite differences of swims, see `search`), s the spreads
and d the deviations (see `draws`). Two heights are followed: the fly's, which decides the band time, and that of the
lowest node of line, leader or fly over the bed beneath it; either below zero is contact. Up to the first contact (1)
is the swim to first order in the unknowns; after it the free swim goes on below the bed, where a real line would lie
on it, so contact lasts longer here than it would: the hang chance errs upward. Beside the lowest node three places of
the line between it and its surface end are held against the bed, as if the sinking part hung straight: over a bank that
shelves towards the rod it is the line that lies on the bed first, not the fly. A rock between them is missed. The
shortlist is corrected by direct swims.

Band time counts over the spot's own water only: where the bed is at least half as deep as at the landing. Else a fly
towed through the shallows at the angler's feet, never far above the bed, would win everywhere.

The swim is fished out where in the median case the trailing end of the retrieve leaves the spot's water, sinks below
the hold band, or lays the line on the bed. The angler is told to lift the rod `lift_takes_s` before that: while it
comes up the line still lies where it did, so contact counts to where the swim is fished out and band time to the lift.
A rod lifts only what is near it: farther out than `lift_farthest_m` the fly must be retrieved through whatever lies
between.
"""

from __future__ import annotations

import numpy as np

from planner.advice.draws import ROWS
from planner.advice.records import constants
from planner.advice.swum import CHANNELS, RESPONSES, Ground, Tracks, Weighed
from planner.sink.compiled import compiled

__all__ = ["CHANNELS", "RESPONSES", "Ground", "Tracks", "Weighed", "geometry", "height_over_bed", "weigh"]

# Rows of the deviations that belong to the responses, in the order of RESPONSES; the sink rate has two.
_ROW = np.array([ROWS.index(name) for name in ("current", "drag_area", "lift", "boat", "sink_slower", "sink_faster")])
_CHANNEL = np.array([6 + 2 * RESPONSES.index(n) for n in ("current", "drag_area", "lift", "boat")] + [8, 8])
_COUNT, _OFFSET = ROWS.index("count"), ROWS.index("count_offset")
_CAST, _LEVEL = ROWS.index("cast"), ROWS.index("level")
_BED, _COSINE, _SINE = (ROWS.index(name) for name in ("bed_offset", "bed_cosine", "bed_sine"))
_CAST_STEP = 0.05
_PLACES = 4  # of the line between its surface end and its lowest node that are held against the bed


@compiled(fastmath=False)
def _bed(x, y, geo, depth, sd):  # type: ignore[no-untyped-def]
    """Depth and standard error of the bed at a place of the swim's frame."""
    down = x - geo[4]
    across = y - geo[5]
    east = down * geo[0] + across * geo[2]
    north = down * geo[1] + across * geo[3]
    ny, nx = depth.shape
    fx = min(max((east - geo[6]) / geo[7], 0.0), nx - 1.00001)
    fy = min(max((north - geo[8]) / geo[9], 0.0), ny - 1.00001)
    i, j = int(fx), int(fy)
    a, b = fx - i, fy - j
    w00, w01, w10, w11 = (1 - a) * (1 - b), a * (1 - b), (1 - a) * b, a * b
    return (
        w00 * depth[j, i] + w01 * depth[j, i + 1] + w10 * depth[j + 1, i] + w11 * depth[j + 1, i + 1],
        w00 * sd[j, i] + w01 * sd[j, i + 1] + w10 * sd[j + 1, i] + w11 * sd[j + 1, i + 1],
    )


@compiled(fastmath=False)
def height_over_bed(f, slope, c, moved, rise, low, geo, depth, sd, spread, wave, g):  # type: ignore[no-untyped-def]
    """Median height of the fly (low = 0) or lowest node (3) above the bed; fills the scaled responses g."""
    x, y = f[low + 1], f[low + 2]
    bed, error = _bed(x + moved, y, geo, depth, sd)
    further, _ = _bed(x * (1 + _CAST_STEP) + moved, y * (1 + _CAST_STEP), geo, depth, sd)
    side = 0 if low == 0 else 1
    for r in range(_ROW.shape[0]):
        g[_ROW[r]] = -f[_CHANNEL[r] + side] * spread[_ROW[r]]
    g[_COUNT] = -slope * c * spread[_COUNT]
    g[_OFFSET] = -slope * spread[_OFFSET]
    g[_CAST] = (further - bed) / _CAST_STEP * spread[_CAST]
    g[_LEVEL] = spread[_LEVEL]
    phase = (x + moved) * wave
    g[_BED] = error * spread[_BED]
    g[_COSINE] = error * spread[_COSINE] * np.cos(phase)
    g[_SINE] = error * spread[_SINE] * np.sin(phase)
    return bed + rise - f[low]


@compiled(fastmath=False)
def _clear(f, moved, rise, sunk, geo, depth, sd):  # type: ignore[no-untyped-def]
    """Least height of the line above the bed beneath it, and where: the share of the way from its surface end down."""
    x, y, z = f[4], f[5], f[3]
    bed, _ = _bed(x + moved, y, geo, depth, sd)
    least, where = bed + rise - z, 1.0
    away = np.hypot(x, y)
    reach = min(np.sqrt(max(sunk * sunk - z * z, 0.0)), away)
    if reach > 0.0:
        for k in range(1, _PLACES):
            share = k / _PLACES
            near = 1.0 - (1.0 - share) * reach / away
            bed, _ = _bed(x * near + moved, y * near, geo, depth, sd)
            if bed + rise - share * z < least:
                least, where = bed + rise - share * z, share
    return least, where


@compiled(fastmath=False)
def _lowest(f, e, slope, c, moved, rise, sunk, geo, depth, sd, spread, wave, g):  # type: ignore[no-untyped-def]
    """Median height of the place of the line that is nearest to the bed; fills the scaled responses g.

    A place part of the way up moves by that part of what the lowest node does.
    """
    _, where = _clear(f, moved, rise, sunk, geo, depth, sd)
    if where == 1.0:
        return height_over_bed(f, slope, c, moved, rise, 3, geo, depth, sd, spread, wave, g)
    away = np.hypot(f[4], f[5])
    near = 1.0 - (1.0 - where) * min(np.sqrt(max(sunk * sunk - f[3] * f[3], 0.0)), away) / away
    e[3], e[4], e[5] = where * f[3], near * f[4], near * f[5]
    for r in range(_CHANNEL.shape[0]):
        e[_CHANNEL[r] + 1] = where * f[_CHANNEL[r] + 1]
    return height_over_bed(e, where * slope, c, moved, rise, 3, geo, depth, sd, spread, wave, g)


@compiled(fastmath={"contract", "reassoc"})
def _advance(h0, low0, g, glow, dt, limit, dev, most, lo, hi, hl, ll, contact, touched, hung, band):  # type: ignore[no-untyped-def]
    """One sample of all draws."""
    P, N = dev.shape
    reach = np.float32(0.0)
    low_reach = np.float32(0.0)
    for p in range(P):
        reach += abs(g[p]) * most[p]
        low_reach += abs(glow[p]) * most[p]
    if h0 - reach > hi and h0 - reach > 0.0 and low0 - low_reach > 0.0:
        # no draw brings the fly down into the band or anything onto the bed
        for n in range(N):
            contact[n] = 0.0
        return
    for n in range(N):
        hl[n] = h0
        ll[n] = low0
    for p in range(P):
        a, b = g[p], glow[p]
        if a != 0.0 or b != 0.0:
            for n in range(N):
                hl[n] += a * dev[p, n]
                ll[n] += b * dev[p, n]
    one, zero = np.float32(1.0), np.float32(0.0)
    for n in range(N):
        on_bed = one if (ll[n] < zero or hl[n] < zero) else zero
        contact[n] = (contact[n] + dt) * on_bed
        touched[n] = max(touched[n], on_bed)
        hung[n] = max(hung[n], one if contact[n] > limit else zero)
        band[n] += dt * (one - hung[n]) * (one if (hl[n] >= lo and hl[n] <= hi) else zero)


@compiled(fastmath=False, nogil=True)
def _weigh(  # type: ignore[no-untyped-def]
    count, retrieve, duration, taut, sunk, knots, every, fed, wanted, rise, boat, spread, wave, dev, most, geo, depth,
    sd, holding, lo, hi, hang_s, lifted, farthest, takes_s, band, touch, hang, lift, swim, means, under, fate, span,
):  # fmt: skip
    L, F, Tc = count.shape
    C, S = retrieve.shape[2], retrieve.shape[3]
    P, N = dev.shape
    W = wanted.shape[0]
    one = np.float32(1.0)
    for v in range(L):
        f = np.zeros(F)
        e = np.zeros(F)
        g = np.zeros(P, np.float32)
        glow = np.zeros(P, np.float32)
        # two scratch rows, then contact, touched, hung and time in the band of each draw
        counted = np.zeros((6, N), np.float32)
        state = np.zeros((6, N), np.float32)
        answers = np.zeros(P)
        limit = np.float32(0.0) if fed else np.float32(hang_s)
        passed = 0
        k = 0
        for w in range(W):
            c = wanted[w]
            # the countdown is shared: go on from where the countdown before ended
            while passed < Tc and every * (passed + 0.5) <= c:
                for q in range(F):
                    f[q] = count[v, q, passed]
                moved = boat[v] * every * (passed + 1)
                h0 = height_over_bed(f, 0.0, c, moved, rise[v], 0, geo, depth, sd, spread[v], wave, g)
                low0 = _lowest(f, e, 0.0, c, moved, rise[v], sunk[v], geo, depth, sd, spread[v], wave, glow)
                _advance(
                    np.float32(h0), np.float32(low0), g, glow, np.float32(every), limit, dev, most,
                    lo, hi if h0 + f[0] >= holding[v] else lo - one,
                    counted[0], counted[1], counted[2], counted[3], counted[4], counted[5],
                )  # fmt: skip
                passed += 1
            if w < span[v, 0] or w >= span[v, 1]:
                continue
            for row in range(6):  # copied by hand: a whole array's copy brings numba's words for unequal shapes along,
                for n in range(N):  # a third of the wait for compilation
                    state[row, n] = counted[row, n]
            while k < C - 2 and knots[k + 1] < c:
                k += 1
            b = min(max((c - knots[k]) / (knots[k + 1] - knots[k]), 0.0), 1.0)
            width = knots[k + 1] - knots[k]
            dt = ((1 - b) * duration[v, k] + b * duration[v, k + 1]) / S
            tight = (1 - b) * taut[v, k] + b * taut[v, k + 1]
            # where the median case leaves the spot's water or the band for good on its lower side
            end = S
            for back in range(S):
                t = S - 1 - back
                for q in range(6):
                    f[q] = (1 - b) * retrieve[v, q, k, t] + b * retrieve[v, q, k + 1, t]
                moved = boat[v] * (c + (t + 0.5) * dt)
                bed, _ = _bed(f[1] + moved, f[2], geo, depth, sd)
                clear, _ = _clear(f, moved, rise[v], sunk[v], geo, depth, sd)
                water = bed + rise[v]
                if f[1] * f[1] + f[2] * f[2] > farthest * farthest:
                    break
                if water < holding[v] or water - f[0] < lo or clear < 0.0:
                    end = t
                else:
                    break
            if end == 0 or not lifted:
                end = S
            # while the rod comes up the line still lies where it did
            last = end
            if end < S:
                end = max(end - int(np.ceil(takes_s / dt)), 1)
            lift[v, w] = np.nan
            if end < S:
                x = (1 - b) * retrieve[v, 1, k, end] + b * retrieve[v, 1, k + 1, end]
                y = (1 - b) * retrieve[v, 2, k, end] + b * retrieve[v, 2, k + 1, end]
                lift[v, w] = np.hypot(x, y)
            for p in range(P):
                answers[p] = 0.0
            depths = 0.0
            sampled = 0
            beds = 0.0
            for t in range(last):
                for q in range(F):
                    f[q] = (1 - b) * retrieve[v, q, k, t] + b * retrieve[v, q, k + 1, t]
                moved = boat[v] * (c + (t + 0.5) * dt)
                slope = (retrieve[v, 0, k + 1, t] - retrieve[v, 0, k, t]) / width
                slope_low = (retrieve[v, 3, k + 1, t] - retrieve[v, 3, k, t]) / width
                h0 = height_over_bed(f, slope, c, moved, rise[v], 0, geo, depth, sd, spread[v], wave, g)
                water = h0 + f[0]
                low0 = _lowest(f, e, slope_low, c, moved, rise[v], sunk[v], geo, depth, sd, spread[v], wave, glow)
                slack = fed and (t + 0.5) / S < tight
                _advance(
                    np.float32(h0), np.float32(low0), g, glow, np.float32(dt),
                    np.float32(0.0) if slack else np.float32(hang_s), dev, most,
                    lo, hi if t < end and water >= holding[v] else lo - one,
                    state[0], state[1], state[2], state[3], state[4], state[5],
                )  # fmt: skip
                if t < end and means.shape[0] == L and (water >= holding[v] or (t == end - 1 and sampled == 0)):
                    sampled += 1
                    beds += water
                    depths += f[0]
                    for p in range(P):
                        answers[p] += g[p]
            s = 0.0
            a1 = 0.0
            a2 = 0.0
            for n in range(N):
                s += state[5, n]
                a1 += state[3, n]
                a2 += state[4, n]
            if fate.shape[0] == L:
                for n in range(N):
                    fate[v, w, n] = np.uint8(state[3, n] + state[4, n])
            if means.shape[0] == L:
                # the fly's mean depth is as linear as its height; the unknowns of bed and level do not move it
                sampled = max(sampled, 1)
                for n in range(N):
                    z = depths
                    for p in range(P):
                        if p not in (_LEVEL, _CAST, _BED, _COSINE, _SINE):
                            z -= answers[p] * dev[p, n]
                    means[v, w, n] = max(z, 0.0) / sampled
            band[v, w] = s / N
            touch[v, w] = a1 / N
            hang[v, w] = a2 / N
            swim[v, w] = c + end * dt
            under[v, w] = beds / max(sampled, 1)


def weigh(
    tracks: Tracks,
    ground: Ground,
    spread: np.ndarray,
    deviations: np.ndarray,
    countdown_s: np.ndarray,
    *,
    depths: bool = False,
    lifted: bool = True,
    fates: bool = False,
    span: np.ndarray | None = None,
) -> Weighed:
    """Expected band time, touch and hang chance of one rig fished one way, at L levels and W countdowns.

    Parameters
    ----------
    tracks : Tracks
        The free swims.
    ground : Ground
        The bed.
    spread : numpy.ndarray
        Spreads of the deviations at each level, shape (L, P), see `draws.spreads`.
    deviations : numpy.ndarray
        Shape (P, N), see `draws.deviations`.
    countdown_s : numpy.ndarray
        Countdowns to weigh, ascending, shape (W,) [s].
    depths : bool
        Whether the fly's mean depth under each draw is wanted.
    lifted : bool
        Whether the rod is lifted where the swim is fished out; else it stays low to the pick-up.
    fates : bool
        Whether what happened under each draw is wanted.
    span : numpy.ndarray of int, optional
        First and one past the last index of the countdowns wanted at each level, shape (L, 2); the rest stays zero.
    """
    L, W, N = tracks.count.shape[0], len(countdown_s), deviations.shape[1]
    band, touch, hang, lift, swim, under = (np.zeros((L, W)) for _ in range(6))
    means = np.zeros((L, W, N) if depths else (0, 0, 0))
    fate = np.zeros((L, W, N) if fates else (0, 0, 0), np.uint8)
    patch, c = ground.patch, constants()
    _weigh(
        np.ascontiguousarray(tracks.count, dtype=float),
        np.ascontiguousarray(tracks.retrieve, dtype=float),
        np.ascontiguousarray(tracks.duration_s, dtype=float),
        np.ascontiguousarray(tracks.taut, dtype=float),
        np.ascontiguousarray(tracks.sunk_m, dtype=float),
        np.ascontiguousarray(tracks.knots_s, dtype=float),
        float(tracks.every_s),
        bool(tracks.fed),
        np.ascontiguousarray(countdown_s, dtype=float),
        np.ascontiguousarray(ground.rise_m, dtype=float),
        np.ascontiguousarray(ground.boat_m_s, dtype=float),
        np.ascontiguousarray(spread, dtype=float),
        2 * np.pi / (4 * c["bed_error_length_m"]),
        np.ascontiguousarray(deviations, dtype=np.float32),
        np.abs(deviations).max(axis=1).astype(np.float32),
        geometry(ground),
        np.ascontiguousarray(patch.depth_m, dtype=float),
        np.ascontiguousarray(patch.sd_m, dtype=float),
        c["holding_share"] * np.ascontiguousarray(ground.landing_depth_m, dtype=float),
        np.float32(ground.hold_low_m),
        np.float32(ground.hold_high_m),
        float(c["hang_contact_s"]),
        bool(lifted),
        float(c["lift_farthest_m"]),
        float(c["lift_takes_s"]),
        band,
        touch,
        hang,
        lift,
        swim,
        means,
        under,
        fate,
        np.array([[0, W]] * L) if span is None else np.ascontiguousarray(span, dtype=np.int64),
    )
    return Weighed(band, touch, hang, lift, swim, means, under, fate)


def geometry(ground: Ground) -> np.ndarray:
    """How the swim's frame lies over the patch, as the compiled code takes it."""
    patch = ground.patch
    return np.array(
        [
            *ground.down,
            *ground.across,
            *ground.landing,
            patch.east_m[0],
            patch.east_m[1] - patch.east_m[0],
            patch.north_m[0],
            patch.north_m[1] - patch.north_m[0],
        ]
    )
