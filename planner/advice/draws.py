"""One seeded quasi-Monte-Carlo set of what is uncertain, shared by all candidates so that differences are clean."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from planner.advice.records import constants

__all__ = ["NAMES", "Draws", "draw", "scales"]

NAMES = (
    "current",
    "sink_rate",
    "drag_area",
    "lift",
    "count",
    "boat",
    "cast",
    "level",
    "bed_offset",
    "bed_cosine",
    "bed_sine",
)


@dataclass(frozen=True)
class Draws:
    """Standard normal deviates of each unknown.

    Parameters
    ----------
    normal : numpy.ndarray
        Shape (len(NAMES), n) [1].
    """

    normal: np.ndarray

    def of(self, name: str) -> np.ndarray:
        """Deviates of one unknown, shape (n,) [1]."""
        return self.normal[NAMES.index(name)]


@lru_cache(maxsize=8)
def draw(n: int = 128, seed: int = 20) -> Draws:
    """Scrambled Sobol points turned into standard normal deviates.

    The set depends on nothing but its size and seed: not on the tackle, the spot or the level. Two candidates, two
    levels or two boxes of tackle are therefore compared under the same river, the same cast and the same count.
    Each row is shifted and scaled to mean 0 and standard deviation 1 exactly, so that a linear unknown keeps its
    median and spread whatever the size of the set.

    Parameters
    ----------
    n : int
        Size, a power of two of 8 or more.
    seed : int
        Seed of the scrambling [Owen1998].

    Returns
    -------
    Draws
    """
    from scipy.stats import norm, qmc

    if n < 8 or n & (n - 1):
        raise ValueError(f"draws must be a power of two of 8 or more, not {n}")
    points = qmc.Sobol(d=len(NAMES), scramble=True, rng=np.random.default_rng(seed)).random(n)
    normal = norm.ppf(np.clip(points, 0.5 / n / 8, 1 - 0.5 / n / 8)).T
    normal = (normal - normal.mean(axis=1, keepdims=True)) / normal.std(axis=1, keepdims=True)
    normal = np.ascontiguousarray(normal)
    normal.flags.writeable = False
    return Draws(normal)


def scales(draws: Draws, *, current_log_sd: float, level_sd_m: float, flagged: bool, drifting: bool) -> np.ndarray:
    """Deviations of the unknowns in the units of the responses of a swim.

    The responses are per unit of: ln of the current; ln of the sink rate; ln of the fly's drag area; lift area
    [m²]; ln of the countdown; boat speed ratio; ln of the cast; level [m]; and, for the bed, standard errors.

    Parameters
    ----------
    draws : Draws
        The shared set.
    current_log_sd : float
        Standard deviation of the ln of the current [1].
    level_sd_m : float
        Standard error of the level [m].
    flagged : bool
        Whether weight and sink rate of the line disagree: the lower side of the sink rate's spread is widened.
    drifting : bool
        Whether the stance moves with the current: only then is the boat speed ratio uncertain.

    Returns
    -------
    numpy.ndarray
        Shape (len(NAMES), n).
    """
    c = constants()
    sd = {
        "current": current_log_sd,
        "sink_rate": c["sink_rate_sd"],
        "drag_area": c["drag_area_log_sd"],
        "lift": c["lift_area_sd_m2"],
        "count": c["count_sd"],
        "boat": c["boat_ratio_sd"] if drifting else 0.0,
        "cast": c["cast_length_sd"],
        "level": level_sd_m,
        "bed_offset": c["bed_offset_share"] ** 0.5,
        "bed_cosine": (1 - c["bed_offset_share"]) ** 0.5,
        "bed_sine": (1 - c["bed_offset_share"]) ** 0.5,
    }
    found = draws.normal * np.array([sd[name] for name in NAMES])[:, None]
    if flagged:
        row = found[NAMES.index("sink_rate")]
        row[row < 0] *= c["sink_rate_flagged_factor"]
    return found
