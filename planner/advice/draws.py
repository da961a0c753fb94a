"""One seeded quasi-Monte-Carlo set of what is uncertain, shared by all candidates so that differences are clean."""

from __future__ import annotations

import contextlib
import io
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from planner.advice.records import constants
from planner.cache import cache_folder
from planner.errors import NotWritten
from planner.files import write_whole

__all__ = ["NAMES", "ROWS", "Draws", "deviations", "draw", "spreads"]

NAMES = (
    "current",
    "sink_rate",
    "drag_area",
    "lift",
    "count",
    "count_offset",
    "boat",
    "cast",
    "level",
    "bed_offset",
    "bed_cosine",
    "bed_sine",
)
ROWS = (*(name for name in NAMES if name != "sink_rate"), "sink_slower", "sink_faster")


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
    from scipy.special import ndtri

    if n < 8 or n & (n - 1):
        raise ValueError(f"draws must be a power of two of 8 or more, not {n}")
    normal = ndtri(np.clip(_points(n, seed), 0.5 / n / 8, 1 - 0.5 / n / 8)).T
    normal = (normal - normal.mean(axis=1, keepdims=True)) / normal.std(axis=1, keepdims=True)
    normal = np.ascontiguousarray(normal)
    normal.flags.writeable = False
    return Draws(normal)


def _points(n: int, seed: int) -> np.ndarray:
    """Scrambled Sobol points, shape (n, len(NAMES)), made once and kept: to import scipy's statistics takes 0.4 s."""
    import scipy

    path = cache_folder() / "draws" / f"sobol {len(NAMES)} x {n} seed {seed} scipy {scipy.__version__}.npy"
    with contextlib.suppress(Exception):  # none, or a broken file of any kind
        points = np.load(path, allow_pickle=False)
        # each column of such a set has one point in each of n equal parts: a file that does not is another's
        if points.shape == (n, len(NAMES)) and np.array_equal(
            np.sort(np.floor(points * n), axis=0), np.tile(np.arange(n)[:, None], len(NAMES))
        ):
            return points
    from scipy.stats import qmc

    points = qmc.Sobol(d=len(NAMES), scramble=True, rng=np.random.default_rng(seed)).random(n)
    stream = io.BytesIO()
    np.save(stream, points)
    with contextlib.suppress(OSError, NotWritten):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, stream.getvalue())
    return points


def deviations(draws: Draws) -> np.ndarray:
    """The rows that responses are multiplied with: as `NAMES`, the sink rate's split into its two sides.

    A line whose weight and sink rate disagree may sink slower than its label rather than faster. Splitting the row
    keeps a swim's height linear in the rows while the two sides have spreads of their own.

    Returns
    -------
    numpy.ndarray
        Shape (len(ROWS), n) [1].
    """
    sink = draws.of("sink_rate")
    found = {name: draws.of(name) for name in NAMES}
    found["sink_slower"], found["sink_faster"] = np.minimum(sink, 0.0), np.maximum(sink, 0.0)
    return np.array([found[name] for name in ROWS])


def spreads(
    *,
    current_log_sd: float | np.ndarray,
    level_sd_m: float | np.ndarray,
    sink_sd_below: float,
    sink_sd_above: float,
    lift_sd_m2: float,
    boat: bool,
) -> np.ndarray:
    """Standard deviations of the rows of `deviations`, in the units of the responses of a swim.

    Parameters
    ----------
    current_log_sd : float or numpy.ndarray
        Of the ln of the current, for one level or shape (L,) [1].
    level_sd_m : float or numpy.ndarray
        Of the run's level, likewise [m].
    sink_sd_below, sink_sd_above : float
        Of the ln of the line's sink rate, on its two sides [1].
    lift_sd_m2 : float
        Of the fly's lift area [m²].
    boat : bool
        Whether the stance moves with the current: only then is the boat speed ratio uncertain.

    Returns
    -------
    numpy.ndarray
        Shape (len(ROWS),) or (L, len(ROWS)). The bed's rows are in standard errors of the bed.
    """
    c = constants()
    sd: dict[str, float | np.ndarray] = {
        "current": current_log_sd,
        "sink_slower": sink_sd_below,
        "sink_faster": sink_sd_above,
        "drag_area": c["drag_area_log_sd"],
        "lift": lift_sd_m2,
        "count": c["count_sd"],
        "count_offset": c["count_offset_sd_s"],
        "boat": c["boat_ratio_sd"] if boat else 0.0,
        "cast": c["cast_length_sd"],
        "level": level_sd_m,
        "bed_offset": c["bed_offset_share"] ** 0.5,
        "bed_cosine": (1 - c["bed_offset_share"]) ** 0.5,
        "bed_sine": (1 - c["bed_offset_share"]) ** 0.5,
    }
    found = np.empty((*np.shape(current_log_sd), len(ROWS)))
    for column, name in enumerate(ROWS):
        found[..., column] = sd[name]
    return found
