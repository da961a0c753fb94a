"""How far a fitted bed misses, as its own soundings show it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.bed.points import Points, weights_at
from planner.tables import constants

__all__ = ["BedError", "block_error"]

Floats = npt.NDArray[np.float64]


_FOUND: dict[tuple, BedError] = {}
_MOST_KEPT = 64


@dataclass(frozen=True)
class BedError:
    """How far the fitted bed misses soundings that were held out.

    Parameters
    ----------
    rmse : float
        Root mean square miss with a whole block of the run left out [m]; NaN when it cannot be found.
    blocks, held_out : int
        Number of blocks and of held-out soundings.
    near, per_m : float
        Variance of a miss close to a sounding [m²] and its growth per scaled metre of distance [m²/m].
    tested : float
        Scaled distance up to which held-out soundings were found [m].
    beyond : float
        Growth of the variance past that, to the spread of the bed over half its width [m²/m].
    most : float
        Greatest variance that the bed can have: 1.5 times that of the soundings' levels [m²].
    """

    rmse: float
    blocks: int
    held_out: int
    near: float
    per_m: float
    tested: float
    beyond: float
    most: float

    def sd(self, distance: npt.ArrayLike) -> Floats:
        """Standard deviation [m] at a scaled distance [m] from the nearest sounding."""
        far = np.asarray(distance, dtype=float)
        variance = self.near + self.per_m * far + self.beyond * np.maximum(far - self.tested, 0.0)
        return np.sqrt(np.minimum(variance, self.most))


def _misses(points: Points, stretch: float, group: Any, queries: Any) -> tuple[Floats, Floats]:
    """Miss and distance at held-out points, each fitted without its group."""
    misses, distances = [], []
    for one in np.unique(group[queries]):
        held = queries[group[queries] == one]
        keep = group != one
        if keep.sum() < 1:
            continue
        places = np.column_stack((points.s[held] / stretch, points.n[held]))
        weights = weights_at(points, places, stretch, keep)
        misses.append(weights.apply(points.z) - points.z[held])
        distances.append(weights.distance)
    if not misses:
        return np.empty(0), np.empty(0)
    return np.concatenate(misses), np.concatenate(distances)


def block_error(points: Points, stretch: float, blocks: int = 10, seed: int = 20260612) -> BedError:
    """Error of the bed as its own soundings show it; the same soundings are not fitted twice in one process.

    Whole blocks along the channel are left out in turn, which shows the error far from soundings; then every tenth
    sounding, which shows it near them. The variance of a miss is taken as a + b D (1) with D the scaled distance to
    the nearest sounding left, fitted to both with a, b not negative.

    Parameters
    ----------
    points : Points
        Soundings and edge points; edge points are never held out.
    stretch : float
        a of (s/a, n).
    blocks : int
        Blocks of equal count along the channel; fewer when there are fewer than four soundings to a block.
    seed : int
        Of the choice of held-out points when there are too many.
    """
    parts = (points.s, points.n, points.z, points.sd, points.edge, points.cell)
    key = (*(np.ascontiguousarray(part).tobytes() for part in parts), stretch, blocks, seed)
    if key not in _FOUND:
        while len(_FOUND) >= _MOST_KEPT:
            _FOUND.pop(next(iter(_FOUND)), None)
        _FOUND[key] = _block_error(points, stretch, blocks, seed)
    return _FOUND[key]


def _block_error(points: Points, stretch: float, blocks: int, seed: int) -> BedError:
    sounding = np.flatnonzero(~points.edge)
    count = len(sounding)
    z = points.z[sounding]
    spread = float(np.var(z)) if count > 1 else 1.0
    own = float(np.mean(points.sd[sounding] ** 2))
    most = max(spread, own, 0.25**2) * 1.5
    beyond = max(spread, 0.25**2) / max(float(np.ptp(points.n)) / 2, 1.0)
    if count < 4:
        # too few to test: between them anything up to the spread of a river bed
        return BedError(float("nan"), 0, 0, max(own, 0.05**2), 0.1, 0.0, beyond, max(most, 0.5**2))
    random = np.random.default_rng(seed)
    cap = int(constants("flow")["held_out_most"])
    blocks = int(np.clip(count // 4, 2, blocks))
    group = np.full(len(points.s), -1)
    order = np.argsort(points.s[sounding], kind="stable")
    group[sounding[order]] = (np.arange(count) * blocks) // count
    chosen = random.choice(sounding, cap, replace=False) if count > cap else sounding
    miss, far = _misses(points, stretch, group, np.sort(chosen))
    scatter = np.full(len(points.s), -1)
    scatter[sounding] = random.permutation(count) % min(10, count)
    some = random.choice(sounding, cap // 5, replace=False) if count > cap // 5 else sounding
    close, near = _misses(points, stretch, scatter, np.sort(some))
    level, growth = _grown(np.concatenate((miss, close)), np.concatenate((far, near)), own)
    tested = float(np.quantile(far, 0.95))
    return BedError(float(np.sqrt(np.mean(miss**2))), blocks, len(miss), level, growth, tested, beyond, most)


def _grown(miss: Floats, distance: Floats, own: float) -> tuple[float, float]:
    """a and b of equation (1) of `block_error`, from means over bins of distance; a at least the reading error."""
    cuts = np.unique(np.quantile(distance, np.linspace(0, 1, 9)))
    cell = np.clip(np.searchsorted(cuts, distance, side="right") - 1, 0, max(len(cuts) - 2, 0))
    count = np.bincount(cell).astype(float)
    held = count > 0
    square = np.bincount(cell, weights=miss**2)[held] / count[held]
    far = np.bincount(cell, weights=distance)[held] / count[held]
    weight = count[held]
    mean_far, mean_square = np.average(far, weights=weight), np.average(square, weights=weight)
    swing = np.average((far - mean_far) ** 2, weights=weight)
    growth = float(np.average((far - mean_far) * (square - mean_square), weights=weight) / swing) if swing > 0 else 0.0
    growth = max(growth, 0.0)
    level = float(mean_square - growth * mean_far)
    if level < own:
        level = own
        growth = max(float(np.average((square - own) * far, weights=weight) / np.average(far**2, weights=weight)), 0.0)
    return level, growth
