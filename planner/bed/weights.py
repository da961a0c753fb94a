"""Interpolation weights: the level of the bed at a place is a weighted mean of levels at soundings.

Radial basis functions are linear in the data, so the weights of a place are found once and serve every level of
the water that the soundings are carried to.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

__all__ = ["Weights", "idw_weights", "rbf_weights"]

Floats = npt.NDArray[np.float64]
_CHUNK = 256


@dataclass(frozen=True)
class Weights:
    """Weights of k soundings at each of m places.

    Parameters
    ----------
    index : numpy.ndarray of int, shape (m, k)
        The soundings used, nearest first.
    weight : numpy.ndarray, shape (m, k)
        Their weights; each row sums to 1.
    distance : numpy.ndarray, shape (m,)
        Distance to the nearest sounding in scaled coordinates [m].
    local : int
        How many of the nearest bound the value.
    """

    index: npt.NDArray[np.intp]
    weight: Floats
    distance: Floats
    local: int = 50

    def apply(self, values: Floats) -> Floats:
        """Values [any unit] at the places, kept between the least and greatest of the nearest soundings; shape (m,)."""
        near = values[self.index]
        local = near[:, : self.local]
        return np.clip((self.weight * near).sum(axis=1), local.min(axis=1), local.max(axis=1))


def _neighbors(tree: Any, places: Floats, k: int) -> tuple[Floats, npt.NDArray[np.intp]]:
    distance, index = tree.query(places, k=k)
    return distance.reshape(len(places), k), index.reshape(len(places), k)


def rbf_weights(
    points: Floats, places: Floats, neighbors: int = 50, smoothing: float | Floats = 0.0, tree: Any = None
) -> Weights:
    """Weights of the linear radial basis function with a constant, from the nearest soundings.

    Parameters
    ----------
    points : numpy.ndarray, shape (n, 2)
        Soundings in scaled channel coordinates (s/a, n) [m], n at least 2.
    places : numpy.ndarray, shape (m, 2)
        Where the bed is wanted, same coordinates.
    neighbors : int
        Nearest soundings used.
    smoothing : float or numpy.ndarray, shape (n,)
        Added to the diagonal [m]; in kriging words the nugget over the slope of a linear variogram.
    tree : scipy.spatial.cKDTree, optional
        Of `points`, when the caller has one.

    Notes
    -----
    The interpolant f(x) = sum c_i phi(|x - x_i|) + d with phi(r) = -r (1) gives the same values as
    ``scipy.interpolate.RBFInterpolator(kernel="linear", degree=0)``. Solved here for the weights w of the data,
    [[Phi + lambda I, 1], [1', 0]] [w; mu] = [phi(x); 1] (2), the dual of (1).
    """
    from scipy.spatial import cKDTree

    tree = cKDTree(points) if tree is None else tree
    k = min(neighbors, len(points))
    distance, index = _neighbors(tree, places, k)
    nugget = np.broadcast_to(np.asarray(smoothing, dtype=float), (len(points),))
    weight = np.empty((len(places), k))
    if k == len(points):
        # every place uses every sounding: one factorisation serves all
        system = _system(points[None], nugget[None])[0]
        load = np.ones((k + 1, len(places)))
        load[:k] = -np.hypot(points[:, 0, None] - places[None, :, 0], points[:, 1, None] - places[None, :, 1])
        everything = np.linalg.solve(system, load)[:k].T
        weight = np.take_along_axis(everything, index, axis=1)
    else:
        for start in range(0, len(places), _CHUNK):
            part = slice(start, start + _CHUNK)
            near = index[part]
            load = np.ones((len(near), k + 1, 1))
            load[:, :k, 0] = -distance[part]
            weight[part] = np.linalg.solve(_system(points[near], nugget[near]), load)[:, :k, 0]
    return Weights(index, weight, distance[:, 0])


def _system(points: Floats, nugget: Floats) -> Floats:
    """Left side of equation (2) for a batch of neighbourhoods, shape (b, k + 1, k + 1)."""
    count, k = points.shape[:2]
    x, y = points[..., 0], points[..., 1]
    system = np.ones((count, k + 1, k + 1))
    # hypot guards against overflow that metres cannot reach, and costs four times as much as this
    system[:, :k, :k] = -np.sqrt((x[:, :, None] - x[:, None, :]) ** 2 + (y[:, :, None] - y[:, None, :]) ** 2)
    diagonal = np.arange(k)
    system[:, diagonal, diagonal] += nugget
    system[:, k, k] = 0.0
    return system


def idw_weights(points: Floats, places: Floats, power: float = 2.0, tree: Any = None) -> Weights:
    """Weights by inverse distance, for a handful of soundings; arguments and result as in `rbf_weights`."""
    from scipy.spatial import cKDTree

    tree = cKDTree(points) if tree is None else tree
    distance, index = _neighbors(tree, places, min(len(points), 12))
    raw = 1.0 / np.maximum(distance, 0.05) ** power
    return Weights(index, raw / raw.sum(axis=1, keepdims=True), distance[:, 0])
