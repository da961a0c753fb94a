"""Channel coordinates: s along the flowline, n across it.

Depth changes slowly along a river and fast across it, so the bed is interpolated in these coordinates and not in
east and north [Merwade2006].
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.errors import DataUnfit

__all__ = ["ChannelFrame"]

Floats = npt.NDArray[np.float64]

_REACH = 400.0  # length of the straight continuation at both ends, so that a run past the flowline has coordinates [m]


def _distinct(xy: Floats) -> Floats:
    keep = np.ones(len(xy), dtype=bool)
    keep[1:] = np.hypot(*np.diff(xy, axis=0).T) > 1e-6
    return xy[keep]


def _cut_corners(xy: Floats, times: int) -> Floats:
    """Chaikin's corner cutting, ends kept: a hand-drawn line without kinks."""
    for _ in range(times):
        if len(xy) < 3:
            return xy
        a, b = xy[:-1], xy[1:]
        inner = np.empty((2 * len(a), 2))
        inner[0::2] = 0.75 * a + 0.25 * b
        inner[1::2] = 0.25 * a + 0.75 * b
        xy = np.vstack((xy[:1], inner[1:-1], xy[-1:]))
    return xy


class ChannelFrame:
    """Curvilinear coordinates along a line drawn downstream.

    The line is freed of kinks, resampled evenly and given a continuous direction t(s); a point is
    p = c(s) + n N(s) (1), N being t turned left, so n is positive toward river left (looking downstream). `to_sn`
    inverts (1) by Newton's method, so that both ways agree.

    Parameters
    ----------
    flowline : array_like, shape (m, 2)
        Points east and north [m], in order downstream.

    Raises
    ------
    DataUnfit
        When there are fewer than two distinct points.

    Notes
    -----
    Valid where abs(n) is less than the radius of the bend; farther inside a bend two s share one point.

    Examples
    --------
    >>> frame = ChannelFrame([(0.0, 0.0), (100.0, 0.0)])
    >>> s, n = frame.to_sn(30.0, 5.0)
    >>> round(float(s), 6), round(float(n), 6)
    (30.0, 5.0)
    """

    def __init__(self, flowline: npt.ArrayLike) -> None:
        given = np.asarray(flowline, dtype=float)
        xy = _distinct(given[np.isfinite(given).all(axis=1)]) if given.ndim == 2 else np.empty((0, 2))
        if len(xy) < 2:
            raise DataUnfit(
                f"a flowline of {len(xy)} distinct point(s)",
                "a line of at least two points, drawn downstream",
                "draw the flowline through the run",
            )
        xy = _cut_corners(xy, 3)
        along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))))
        self.length = float(along[-1])
        step = float(np.clip(self.length / 400.0, 0.5, 5.0))
        count = max(int(np.ceil(self.length / step)), 2)
        s = np.linspace(0.0, self.length, count + 1)
        line = np.column_stack((np.interp(s, along, xy[:, 0]), np.interp(s, along, xy[:, 1])))
        first, last = line[1] - line[0], line[-1] - line[-2]
        first, last = first / np.hypot(*first), last / np.hypot(*last)
        pad = np.arange(5.0, _REACH + 1.0, 5.0)[:, None]
        line = np.vstack((line[0] - pad[::-1] * first, line, line[-1] + pad * last))
        self._line = line
        gaps = np.hypot(*np.diff(line, axis=0).T)
        self._s = np.concatenate(([0.0], np.cumsum(gaps))) - float(pad[-1, 0])
        self.length = float(self._s[-1] - pad[-1, 0])
        chord = np.diff(line, axis=0) / gaps[:, None]
        tangent = np.vstack((chord[:1], chord[:-1] + chord[1:], chord[-1:]))
        self._t = tangent / np.hypot(tangent[:, 0], tangent[:, 1])[:, None]

    @cached_property
    def _tree(self) -> Any:
        from scipy.spatial import cKDTree

        return cKDTree(self._line)

    def _centre(self, s: Floats) -> tuple[Floats, Floats]:
        return np.interp(s, self._s, self._line[:, 0]), np.interp(s, self._s, self._line[:, 1])

    def direction(self, s: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Unit vector downstream at s [m]: its parts east and north, shape of s."""
        at = np.asarray(s, dtype=float)
        tx, ty = np.interp(at, self._s, self._t[:, 0]), np.interp(at, self._s, self._t[:, 1])
        size = np.hypot(tx, ty)
        return tx / size, ty / size

    def to_xy(self, s: npt.ArrayLike, n: npt.ArrayLike) -> tuple[Floats, Floats]:
        """East and north [m] of points at s along and n across (left positive) [m], equation (1)."""
        at, off = np.broadcast_arrays(np.asarray(s, dtype=float), np.asarray(n, dtype=float))
        x, y = self._centre(at)
        tx, ty = self.direction(at)
        return x - off * ty, y + off * tx

    def to_sn(self, x: npt.ArrayLike, y: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Channel coordinates of points.

        Parameters
        ----------
        x, y : array_like, shape (...)
            East and north [m]; NaN gives NaN.

        Returns
        -------
        s, n : numpy.ndarray, shape (...)
            Along the flowline from its first point, and across it, river left positive [m].
        """
        px, py = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
        shape = px.shape
        px, py = px.ravel(), py.ravel()
        s, n = np.full(px.size, np.nan), np.full(px.size, np.nan)
        known = np.isfinite(px) & np.isfinite(py)
        if known.any():
            qx, qy = px[known], py[known]
            near = self._tree.query(np.column_stack((qx, qy)))[1]
            at = self._s[near]
            for _ in range(12):
                move, _ = self._newton(at, qx, qy)
                at = np.clip(at + move, self._s[0], self._s[-1])
                if np.abs(move).max() < 1e-9:
                    break
            s[known] = at
            n[known] = self._newton(at, qx, qy)[1]
        return s.reshape(shape), n.reshape(shape)

    def _newton(self, s: Floats, px: Floats, py: Floats) -> tuple[Floats, Floats]:
        """One step toward (p - c(s)) . t(s) = 0, at most a third of the bend's reach, and n at s."""
        cell = np.clip(np.searchsorted(self._s, s, side="right") - 1, 0, len(self._s) - 2)
        gap = self._s[cell + 1] - self._s[cell]
        part = (s - self._s[cell]) / gap
        chord = (self._line[cell + 1] - self._line[cell]) / gap[:, None]
        centre = self._line[cell] + (part * gap)[:, None] * chord
        bend = (self._t[cell + 1] - self._t[cell]) / gap[:, None]
        raw = self._t[cell] + (part * gap)[:, None] * bend
        size = np.hypot(raw[:, 0], raw[:, 1])
        tx, ty = raw[:, 0] / size, raw[:, 1] / size
        dx, dy = px - centre[:, 0], py - centre[:, 1]
        miss = dx * tx + dy * ty
        slope = -(chord[:, 0] * tx + chord[:, 1] * ty) + (dx * bend[:, 0] + dy * bend[:, 1]) / size
        slope = np.minimum(slope, -0.2)
        return np.clip(-miss / slope, -20.0, 20.0), dy * tx - dx * ty
