"""One current from two independent estimates, where the run was not calibrated."""

from __future__ import annotations

import math

__all__ = ["weigh"]


def weigh(manning: float, continuity: float, by_manning: float, by_share: float) -> tuple[float, float, str, str]:
    """The inverse-variance mean of two estimates in log space, or the one there is with its range widened.

    Parameters
    ----------
    manning, continuity : float
        Current by Manning's equation and by discharge over area [m/s]; NaN unknown.
    by_manning, by_share : float
        Variance of the log of each.

    Returns
    -------
    current : float
        [m/s]; NaN when both are unknown.
    spread : float
        Standard deviation of its log. Two estimates that disagree by more than their own spread are given half
        their disagreement; a single one 1.5 times its own (design choices).
    basis : str
        ``both``, ``manning``, ``continuity`` or ``none``.
    limit : str
        A sentence for the page; empty when both were known.

    Examples
    --------
    >>> current, spread, basis, _ = weigh(1.0, 1.21, 0.04, 0.04)
    >>> round(current, 3), round(spread, 3), basis
    (1.1, 0.141, 'both')
    """
    one, two = math.isfinite(manning), math.isfinite(continuity)
    if one and two:
        sure, also = 1 / by_manning, 1 / by_share
        used = math.exp((math.log(manning) * sure + math.log(continuity) * also) / (sure + also))
        return used, math.sqrt(max(1 / (sure + also), math.log(manning / continuity) ** 2 / 4)), "both", ""
    if one:
        words = "The current rests on Manning's equation alone, so its range is wide."
        return manning, 1.5 * math.sqrt(by_manning), "manning", words
    if two:
        words = "The current rests on discharge over area alone, so its range is wide."
        return continuity, 1.5 * math.sqrt(by_share), "continuity", words
    words = "No current can be computed: give the run's slope and bed, or its discharge."
    return math.nan, math.nan, "none", words
