"""What the best swim is: the one place where the advice says what it prefers, and why."""

from __future__ import annotations

import numpy as np

from planner.advice.records import constants

__all__ = ["countdown_window", "counts_for", "prefer", "worth"]


def prefer(
    band_time_s: np.ndarray,
    hang_chance: np.ndarray,
    hang_limit: float,
    rigged: np.ndarray | None = None,
) -> int | None:
    """Index of the swim to advise, or None when the limit leaves nothing.

    The fish hold in a band above the bed, so a swim is worth the seconds that its fly spends there, in expectation
    over all that is uncertain: a fly that would be perfect if the sounding were perfect is worth less than one that
    is nearly right over the whole range. Band time already falls to nothing once the fly hangs, but a hang also costs
    a fly, a leader and the fish of the run, which no seconds buy back: hence a limit rather than a price, which an
    angler can set without an exchange rate between seconds and flies. Touching is no fault in itself (a tick says
    that the fly is where it should be) and is only reported. Swims within the margin of the best are the same for all
    that the model can tell; among these one with a line already on a rod is taken, as each more rod costs time ashore.

    Parameters
    ----------
    band_time_s, hang_chance : numpy.ndarray
        Expected band time [s] and hang chance [1], shape (K,).
    hang_limit : float
        Largest hang chance allowed [1].
    rigged : numpy.ndarray of bool, optional
        Whether the swim's line is among the rods, shape (K,).
    """
    allowed = np.where(hang_chance <= hang_limit + 1e-9, band_time_s, 0.0)
    if allowed.size == 0:
        return None
    best = int(allowed.argmax())
    if not allowed[best] > 0.0:
        return None
    if rigged is not None and not rigged[best]:
        near = np.where(rigged & (allowed >= (1 - constants()["tie_margin"]) * allowed[best]), allowed, 0.0)
        if near.any():
            best = int(near.argmax())
    return best


def worth(band_time_s: float, *, own: bool) -> float:
    """What band time counts for when ways are compared; none below what is worth fishing [s].

    Tying on another leader costs minutes, and mends through every countdown an arm: such a way must give a stated
    share more (``variant_gain`` of ``planner/tables/advice.csv``) to be as good as one fished as the box holds it.

    Parameters
    ----------
    band_time_s : float
        Expected band time within the hang limit [s].
    own : bool
        Whether it is fished on the box's own leader and without mends.
    """
    return 0.0 if band_time_s < constants()["least_band_s"] else counts_for(own=own) * band_time_s


def counts_for(*, own: bool) -> float:
    """The share of its band time that a way counts for when ways or rods are compared [1], see `worth`."""
    return 1.0 if own else 1.0 / (1.0 + constants()["variant_gain"])


def countdown_window(
    countdown_s: np.ndarray, band_time_s: np.ndarray, hang_chance: np.ndarray, best: int, hang_limit: float
) -> tuple[float, float]:
    """Widest run of whole seconds around the best one in which each second is worth taking.

    Each second of the window meets the hang limit and loses less than a stated share of the best band time
    (``window_loss`` of ``planner/tables/advice.csv``), so that whatever second the angler counts to within the window
    the advice holds.

    Parameters
    ----------
    countdown_s : numpy.ndarray
        Consecutive whole seconds, ascending, shape (C,) [s].
    band_time_s, hang_chance : numpy.ndarray
        Of the swim at each countdown, shape (C,).
    best : int
        Index of the best countdown.
    hang_limit : float
        Largest hang chance allowed [1].

    Returns
    -------
    tuple of float
        First and last second of the window [s].

    Examples
    --------
    >>> import numpy as np
    >>> seconds = np.arange(6.0)
    >>> countdown_window(seconds, np.array([3, 7, 9.5, 10, 9.2, 4]), np.array([0, 0, 0, 0.05, 0.2, 0.5]), 3, 0.1)
    (2.0, 3.0)
    """
    fit = (hang_chance <= hang_limit + 1e-9) & (band_time_s >= (1 - constants()["window_loss"]) * band_time_s[best])
    first = last = best
    while first > 0 and fit[first - 1]:
        first -= 1
    while last < len(fit) - 1 and fit[last + 1]:
        last += 1
    return float(countdown_s[first]), float(countdown_s[last])
