"""Cross sections: area, wetted perimeter, hydraulic radius and top width at any level of the water."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["Section", "Wetted", "pieces", "wetted"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Wetted:
    """What water of a level wets.

    Parameters
    ----------
    area, perimeter, top_width : numpy.ndarray
        Area [m²], wetted perimeter [m] and width of the water surface [m].
    """

    area: Floats
    perimeter: Floats
    top_width: Floats

    @property
    def radius(self) -> Floats:
        """Hydraulic radius A/P [m]; NaN where dry."""
        return np.divide(self.area, self.perimeter, out=np.full_like(self.area, np.nan), where=self.perimeter > 0)

    @property
    def mean_depth(self) -> Floats:
        """Mean depth A/T [m]; NaN where dry."""
        return np.divide(self.area, self.top_width, out=np.full_like(self.area, np.nan), where=self.top_width > 0)


def pieces(n: Floats, z: Floats, level: npt.ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Area [m²], wetted perimeter [m] and width [m] of each straight piece of beds; arguments as in `wetted`.

    Returns
    -------
    area, perimeter, width : numpy.ndarray, shape (..., k - 1)
        Exact for a straight piece; one that pierces the surface counts for its wet part.
    """
    depth = np.asarray(level, dtype=float)[..., None] - z
    one, two = depth[..., :-1], depth[..., 1:]
    width = np.diff(n, axis=-1)
    deep, shallow = np.maximum(one, two), np.minimum(one, two)
    fall = deep - shallow
    part = np.where(shallow >= 0, 1.0, np.clip(deep, 0.0, None) / np.where(fall > 0, fall, 1.0))
    part = np.where(deep > 0, part, 0.0)
    mean = np.where(shallow >= 0, (one + two) / 2, np.clip(deep, 0.0, None) / 2)
    return mean * part * width, np.hypot(width, fall) * part, part * width


def wetted(n: Floats, z: Floats, level: npt.ArrayLike, walls: tuple[bool, bool] = (False, False)) -> Wetted:
    """Area, wetted perimeter and top width of beds made of straight pieces.

    Parameters
    ----------
    n : numpy.ndarray, shape (..., k)
        Places across, ascending [m].
    z : numpy.ndarray, shape (..., k)
        Bed there [m].
    level : array_like, broadcast against (...)
        Level of the water, same datum as z [m].
    walls : tuple of bool
        Whether the first and the last place is the water's edge, where water above the bed stands against a
        vertical bank that counts as wetted. Where it is not, the water goes on and nothing is added.

    Notes
    -----
    Exact for a piecewise straight bed, see `pieces`.
    """
    area, perimeter, width = (part.sum(axis=-1) for part in pieces(n, z, level))
    at = np.asarray(level, dtype=float)
    for wall, end in zip(walls, (z[..., 0], z[..., -1]), strict=True):
        if wall:
            perimeter = perimeter + np.clip(at - end, 0.0, None)
    return Wetted(area, perimeter, width)


@dataclass(frozen=True)
class Section:
    """A cross section of a run.

    Parameters
    ----------
    s : float
        Where along the channel [m].
    n : numpy.ndarray, shape (k,)
        Places across, right to left, river left positive [m].
    z : numpy.ndarray, shape (k,)
        Bed there, above the run's datum [m].
    sd : numpy.ndarray, shape (k,)
        Its standard deviation [m].
    walls : tuple of bool
        Whether the right and left end is the water's edge.

    Examples
    --------
    >>> import numpy as np
    >>> box = Section(0.0, np.array([0.0, 20.0]), np.array([-1.0, -1.0]), np.zeros(2), (True, True))
    >>> w = box.at(0.0)
    >>> float(w.area), float(w.perimeter), float(w.top_width)
    (20.0, 22.0, 20.0)
    """

    s: float
    n: Floats
    z: Floats
    sd: Floats
    walls: tuple[bool, bool] = (False, False)

    def at(self, level: npt.ArrayLike) -> Wetted:
        """What water at one or several levels [m] wets; arrays of the shape of `level`."""
        at = np.asarray(level, dtype=float)
        return wetted(self.n, self.z, at, self.walls)
