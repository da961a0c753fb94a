"""Sections with a shelf beside the channel: where to divide them, and what the parts convey together.

Water that spreads thinly over a bar or a flood plain adds wetted perimeter and hardly any area: taken as one section,
its hydraulic radius drops and the whole seems to convey less than the channel alone did. Divided by verticals, each
part conveys on its own and the sum never falls [Davidian1984].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from planner.bed.section import pieces
from planner.tables import constants

__all__ = ["Division", "conveyed", "divide"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Division:
    """Columns of a grid at which each station is divided.

    Parameters
    ----------
    right, left : numpy.ndarray of int, shape (k,)
        The right shelf runs from column 0 to `right`, the left one from `left` to the last; 0 and the last column
        where there is none.
    ease : tuple of float
        n of the channel over n of the right and of the left shelf [1].
    """

    right: npt.NDArray[np.intp]
    left: npt.NDArray[np.intp]
    ease: tuple[float, float] = (1.0, 1.0)

    def whole(self, columns: int) -> bool:
        """True when no station of so many columns is divided."""
        return not self.right.any() and bool((self.left == columns - 1).all())

    def part(self, columns: int) -> npt.NDArray[np.intp]:
        """0 right shelf, 1 channel, 2 left shelf for each piece between columns, shape (k, columns - 1)."""
        piece = np.arange(columns - 1)[None, :]
        return np.where(piece < self.right[:, None], 0, np.where(piece >= self.left[:, None], 2, 1))

    def factor(self, columns: int) -> Floats:
        """Ease of flow at each node, shape (k, columns): 1 in the channel and on its rim."""
        node = np.arange(columns)[None, :]
        right = np.where(node < self.right[:, None], self.ease[0], 1.0)
        return np.where(node > self.left[:, None], self.ease[1], right)


def _shelf(n: Floats, z: Floats) -> int:
    """Number of pieces of the shelf at the start of a half section that ends in its deepest place; 0 for none.

    The half section is told apart into two levels so that they explain most of its variance. A bank that slopes
    evenly has no more than three quarters explained by any two levels; a shelf with a channel beside it far more.
    """
    table = constants("flow")
    count = len(z)
    if count < 6:
        return 0
    split = np.arange(2, count - 1)
    total = np.cumsum(z)
    one = total[split - 1] / split
    two = (total[-1] - total[split - 1]) / (count - split)
    mean = total[-1] / count
    between = split * (one - mean) ** 2 + (count - split) * (two - mean) ** 2
    best = int(np.argmax(between))
    spread = float(((z - mean) ** 2).sum())
    if spread <= 0 or between[best] / spread < table["shelf_explained"]:
        return 0
    pieces_in = int(split[best])
    width = abs(float(n[pieces_in - 1] - n[0]))
    step = float(one[best] - two[best])
    if step < table["shelf_step_m"] or width < table["shelf_width"] * step:
        return 0
    return pieces_in - 1 if one[best] > two[best] else 0


def divide(n: Floats, z: Floats, whole: npt.NDArray[np.bool_], ease: tuple[float, float] = (1.0, 1.0)) -> Division:
    """Where each station of a grid is divided.

    Parameters
    ----------
    n, z : numpy.ndarray, shape (k, j)
        Places across and bed above the datum [m].
    whole : numpy.ndarray of bool, shape (k,)
        Stations that count.
    ease : tuple of float
        n of the channel over n of the shelves.

    Notes
    -----
    A side is divided when at least half of the stations show a shelf there, so that one odd sounding divides
    nothing. A shelf is wider than `shelf_width` times the step down to the channel (about the rule of a width over
    five times the depth) and the step is `shelf_step_m` or more.
    """
    stations, columns = z.shape
    right, left = np.zeros(stations, dtype=np.intp), np.full(stations, columns - 1)
    for i in range(stations):
        # the middle of the deep water: a flat bed has no deepest place
        deep = np.flatnonzero(z[i] <= z[i].min() + 0.25 * np.ptp(z[i]))
        deepest = int(deep[len(deep) // 2])
        right[i] = _shelf(n[i, : deepest + 1], z[i, : deepest + 1])
        left[i] = columns - 1 - _shelf(n[i, deepest:][::-1], z[i, deepest:][::-1])
    count = max(int(whole.sum()), 1)
    if (right[whole] > 0).sum() < 0.5 * count:
        right[:] = 0
    if (left[whole] < columns - 1).sum() < 0.5 * count:
        left[:] = columns - 1
    return Division(right, left, ease)


def conveyed(
    n: Floats, z: Floats, level: npt.ArrayLike, walls: tuple[bool, bool], division: Division
) -> tuple[Floats, Floats]:
    """What the mean section of a reach conveys at levels.

    Parameters
    ----------
    n, z : numpy.ndarray, shape (k, j)
        The stations that count.
    level : array_like, shape (m,)
        Levels of the water [m].
    walls : tuple of bool
        Whether the right and left rim is the water's edge.
    division : Division
        Of those stations.

    Returns
    -------
    carried : numpy.ndarray, shape (m,)
        Sum over the parts of ease A R^(2/3) (1) [m^(8/3)], A and P of each part averaged over the stations; the water
        between two parts is not wetted perimeter.
    area : numpy.ndarray, shape (m,)
        Mean area [m²].
    """
    at = np.asarray(level, dtype=float).reshape(-1)
    area, perimeter, _ = pieces(n[None], z[None], at[:, None])
    part = division.part(z.shape[1])
    sums = []
    for which in range(3):
        mask = (part == which)[None]
        sums.append([np.where(mask, values, 0.0).sum(axis=-1).mean(axis=1) for values in (area, perimeter)])
    shelves = (division.right > 0, division.left < z.shape[1] - 1)
    for side, wall, some, end in zip((0, 2), walls, shelves, (z[:, 0], z[:, -1]), strict=True):
        if wall:
            rise = np.clip(at[:, None] - end[None, :], 0.0, None)
            sums[side][1] = sums[side][1] + np.where(some, rise, 0.0).mean(axis=1)
            sums[1][1] = sums[1][1] + np.where(some, 0.0, rise).mean(axis=1)
    carried = np.zeros(len(at))
    for (a, p), ease in zip(sums, (division.ease[0], 1.0, division.ease[1]), strict=True):
        radius = np.divide(a, p, out=np.zeros_like(a), where=p > 0)
        carried += ease * a * radius ** (2.0 / 3.0)
    return carried, sums[0][0] + sums[1][0] + sums[2][0]
