"""How far a place of the bed is to be trusted: sounded, between soundings, or guessed."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from planner.tables import constants

__all__ = ["CONFIDENCE", "confidence"]

CONFIDENCE = ("sounded", "between", "guessed")


def confidence(sd: npt.ArrayLike, distance: npt.ArrayLike, tested: float) -> npt.NDArray[Any]:
    """Class of each place.

    Parameters
    ----------
    sd : array_like
        Standard deviation of the bed [m]; NaN unknown.
    distance : array_like
        Distance to the nearest sounding, scaled as the bed's error is [m].
    tested : float
        Scaled distance up to which soundings were held out and found again [m].

    Returns
    -------
    numpy.ndarray of str
        ``sounded`` where the sd is at most `confident_sd_m` of the table, ``guessed`` where it is `guess_sd_m` or
        more, unknown, or farther from a sounding than any that was tested, ``between`` else.

    Examples
    --------
    >>> confidence([0.1, 0.3, 0.1], [1.0, 1.0, 50.0], 20.0).tolist()
    ['sounded', 'between', 'guessed']
    """
    table = constants("flow")
    spread, far = np.asarray(sd, dtype=float), np.asarray(distance, dtype=float)
    sounded = spread <= table["confident_sd_m"]
    guessed = ~(spread < table["guess_sd_m"]) | ~(far <= max(tested, 0.0))
    return np.where(guessed, CONFIDENCE[2], np.where(sounded, CONFIDENCE[0], CONFIDENCE[1]))
