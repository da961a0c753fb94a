"""Band time, touch and hang of many swims under many draws, in one compiled pass.

For a candidate k, a draw n and a moment t the height above the bed is linear in the unknowns,

    h[k, t, n] = h0[k, t] + sum_p G[p, k, t] d[p, n]                                              (1)

with h0 the height in the median case, G the responses (finite differences of swims, see `tables`) and d the
deviations (see `draws`). Two heights are followed: the fly's, which decides the band time, and that of the lowest
node of line, leader or fly, which decides contact. Up to the first contact (1) is the swim itself to first order in
the unknowns; after it the free swim goes on below the bed, where a real line would lie on it, so that contact lasts
longer here than it would: the hang chance errs upward. The shortlist is corrected by direct swims with the bed.
"""

from __future__ import annotations

import numba
import numpy as np

__all__ = ["in_band_gaussian", "weigh"]


@numba.njit(parallel=True, cache=True, fastmath=False, error_model="numpy")
def _weigh(h0, low0, g, glow, step, slack, dev, which, hold_low, hold_high, hang_s, band, touch, hang, swims):  # type: ignore[no-untyped-def]
    K, T = h0.shape
    P, N = dev.shape[1], dev.shape[2]
    for k in numba.prange(K):
        d = dev[which[k]]
        contact = np.zeros(N, np.float32)
        hung = np.zeros(N, np.float32)
        touched = np.zeros(N, np.float32)
        time = np.zeros(N, np.float32)
        h = np.empty(N, np.float32)
        low = np.empty(N, np.float32)
        limit = np.float32(0.0)
        for t in range(T):
            dt = step[k, t]
            if dt <= 0.0:
                continue
            h[:] = h0[k, t]
            low[:] = low0[k, t]
            for p in range(P):
                a = g[k, t, p]
                b = glow[k, t, p]
                for n in range(N):
                    h[n] += a * d[p, n]
                    low[n] += b * d[p, n]
            limit = np.float32(0.0) if slack[k, t] else hang_s
            for n in range(N):
                on_bed = np.float32(1.0) if low[n] < 0.0 else np.float32(0.0)
                contact[n] = (contact[n] + dt) * on_bed
                touched[n] = max(touched[n], on_bed)
                hung[n] = max(hung[n], np.float32(1.0) if contact[n] > limit else np.float32(0.0))
                within = np.float32(1.0) if (h[n] >= hold_low[k] and h[n] <= hold_high[k]) else np.float32(0.0)
                time[n] += dt * within * (np.float32(1.0) - hung[n])
        s = 0.0
        a1 = 0.0
        a2 = 0.0
        for n in range(N):
            s += time[n]
            a1 += touched[n]
            a2 += hung[n]
        band[k] = s / N
        touch[k] = a1 / N
        hang[k] = a2 / N
        if swims.shape[0] == K:
            for n in range(N):
                swims[k, n] = time[n]


def weigh(
    height: np.ndarray,
    low_height: np.ndarray,
    response: np.ndarray,
    low_response: np.ndarray,
    step_s: np.ndarray,
    slack: np.ndarray,
    deviations: np.ndarray,
    which: np.ndarray,
    hold_low_m: np.ndarray,
    hold_high_m: np.ndarray,
    hang_contact_s: float,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Expected band time, touch chance and hang chance of K swims.

    Parameters
    ----------
    height, low_height : numpy.ndarray
        Heights above the bed of the fly and of the lowest node in the median case, shape (K, T) [m].
    response, low_response : numpy.ndarray
        Their responses to the unknowns, shape (K, T, P).
    step_s : numpy.ndarray
        Time that each sample stands for, zero past the swim's end, shape (K, T) [s].
    slack : numpy.ndarray of bool
        Whether the line is slack then: contact hangs at once, shape (K, T).
    deviations : numpy.ndarray
        Deviations of the unknowns, shape (Q, P, N).
    which : numpy.ndarray of int
        The set of deviations that each swim takes, shape (K,).
    hold_low_m, hold_high_m : numpy.ndarray
        Hold band of each swim, shape (K,) [m].
    hang_contact_s : float
        Contact longer than this hangs [s].

    Returns
    -------
    tuple of numpy.ndarray
        Band time [s], touch chance and hang chance [1], shape (K,).
    """

    def single(a: np.ndarray) -> np.ndarray:
        return np.ascontiguousarray(a, dtype=np.float32)

    K = height.shape[0]
    band, touch, hang = np.zeros(K), np.zeros(K), np.zeros(K)
    _weigh(
        single(height),
        single(low_height),
        single(response),
        single(low_response),
        single(step_s),
        np.ascontiguousarray(slack, dtype=np.bool_),
        single(deviations),
        np.ascontiguousarray(which, dtype=np.int64),
        single(hold_low_m),
        single(hold_high_m),
        np.float32(hang_contact_s),
        band,
        touch,
        hang,
        np.zeros((0, 0), np.float32),
    )
    return band, touch, hang


def in_band_gaussian(height: np.ndarray, sd: np.ndarray, hold_low_m: float, hold_high_m: float) -> np.ndarray:
    """Probability that a normal height lies in the hold band; the screening's stand-in for the draws [1]."""
    from scipy.special import ndtr

    spread = np.maximum(sd, 1e-6)
    return ndtr((hold_high_m - height) / spread) - ndtr((hold_low_m - height) / spread)
