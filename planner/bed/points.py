"""Soundings and edge points in channel coordinates, merged where they repeat, and their weights anywhere."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.bed.weights import Weights, idw_weights, rbf_weights
from planner.tables import constants

__all__ = ["Points", "merged_sd", "thin", "weights_at"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Points:
    """Soundings and edge points in channel coordinates.

    Parameters
    ----------
    s, n : numpy.ndarray, shape (k,)
        Along and across [m].
    z : numpy.ndarray, shape (k,)
        Bed above the run's datum [m].
    sd : numpy.ndarray, shape (k,)
        Standard deviation of z from the sounding itself [m].
    edge : numpy.ndarray of bool, shape (k,)
        True for a point of the drawn water's edge, False for a sounding.
    cell : numpy.ndarray of int, shape (given,)
        For each point as given, the point here that it went into.
    """

    s: Floats
    n: Floats
    z: Floats
    sd: Floats
    edge: npt.NDArray[np.bool_]
    cell: npt.NDArray[np.intp]

    def with_levels(self, z: Floats) -> Points:
        """The same places with other levels of the points as given [m]."""
        count = np.bincount(self.cell, minlength=len(self.s))
        return replace(self, z=np.bincount(self.cell, weights=z, minlength=len(self.s)) / count)


def thin(s: Floats, n: Floats, z: Floats, sd: Floats, edge: Any, stretch: float, cell_m: float) -> Points:
    """Merge points that share a cell of (s/a, n): repeats would make the fit singular and many make it slow.

    Parameters
    ----------
    s, n, z, sd : numpy.ndarray, shape (k,)
        Points as given [m].
    edge : numpy.ndarray of bool, shape (k,)
        Edge points never merge with soundings.
    stretch : float
        a, how many times smoother the bed is along the channel.
    cell_m : float
        Side of a cell in scaled coordinates [m].

    Notes
    -----
    A merged point keeps the mean place and level. Its sd falls with the square root of its count, to no less than
    half: errors of one pass of a sounder are not independent.
    """
    column = np.floor((s / stretch - (s / stretch).min()) / cell_m).astype(np.int64)
    row = np.floor((n - n.min()) / cell_m).astype(np.int64)
    key = (column * (row.max() + 1) + row) * 2 + edge
    _, cell = np.unique(key, return_inverse=True)
    cell = cell.reshape(-1)
    count = np.bincount(cell).astype(float)

    def mean(values: Floats) -> Floats:
        return np.bincount(cell, weights=values) / count

    return Points(mean(s), mean(n), mean(z), merged_sd(sd, cell), mean(edge.astype(float)) > 0.5, cell)


def merged_sd(sd: Floats, cell: npt.NDArray[np.intp]) -> Floats:
    """Standard deviation of merged points [m] from those of the points as given; see `thin`."""
    count = np.bincount(cell).astype(float)
    return np.sqrt(np.bincount(cell, weights=sd**2) / count) * np.maximum(1.0 / np.sqrt(count), 0.5)


def weights_at(points: Points, places: Floats, stretch: float, keep: Any = None) -> Weights:
    """Weights of the points (all, or those of the mask `keep`) at scaled places."""
    constant = constants("flow")
    use = np.arange(len(points.s)) if keep is None else np.flatnonzero(keep)
    scaled = np.column_stack((points.s[use] / stretch, points.n[use]))
    if len(use) < constant["idw_below"]:
        weights = idw_weights(scaled, places)
    else:
        usual = float(np.median(points.sd))
        nugget = constant["smoothing_m"] * np.clip(points.sd[use] / usual if usual > 0 else 1.0, 0.3, 10.0) ** 2
        # few enough for one factorisation: all of them at once is quicker than many neighbourhoods, and seamless
        neighbors = len(use) if len(use) <= constant["whole_below"] else int(constant["neighbors"])
        weights = rbf_weights(scaled, places, neighbors, nugget)
    return Weights(use[weights.index], weights.weight, weights.distance, int(constant["neighbors"]))
