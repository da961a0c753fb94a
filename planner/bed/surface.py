"""The bed of a run: fitted to soundings, with the uncertainty that the soundings themselves show."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.bed.error import BedError, block_error
from planner.bed.frame import ChannelFrame
from planner.bed.outline import Edges
from planner.bed.points import Points, thin, weights_at
from planner.bed.section import Section
from planner.bed.weights import Weights
from planner.errors import DataUnfit
from planner.tables import constants

__all__ = ["Bed", "Grid", "GridWeights", "fit_bed", "grid_weights"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Grid:
    """Bed levels on lines that follow the run's edges.

    Parameters
    ----------
    s : numpy.ndarray, shape (k,)
        Stations [m], even.
    n : numpy.ndarray, shape (k, j)
        Places across at each station, right to left, even in each row [m].
    z, sd : numpy.ndarray, shape (k, j)
        Bed above the datum and its standard deviation [m].
    whole : numpy.ndarray of bool, shape (k,)
        Stations where the outline spans its usual width.
    """

    s: Floats
    n: Floats
    z: Floats
    sd: Floats
    whole: npt.NDArray[np.bool_]

    def cell(self, s: Floats, n: Floats) -> tuple[Any, Any, Floats, Floats]:
        """Cell and the parts along and across it of places, held at the grid's rim."""
        rows, columns = self.n.shape
        along = np.clip((s - self.s[0]) / (self.s[1] - self.s[0]), 0.0, rows - 1.0)
        i = np.minimum(along.astype(np.intp), rows - 2)
        f = along - i
        right = self.n[i, 0] * (1 - f) + self.n[i + 1, 0] * f
        left = self.n[i, -1] * (1 - f) + self.n[i + 1, -1] * f
        across = np.clip((n - right) / (left - right), 0.0, 1.0) * (columns - 1)
        j = np.minimum(across.astype(np.intp), columns - 2)
        return i, j, f, across - j

    @staticmethod
    def bilinear(field: Floats, where: tuple[Any, Any, Floats, Floats]) -> Floats:
        """A field of the grid at places that `cell` found."""
        i, j, f, g = where
        return (field[i, j] * (1 - g) + field[i, j + 1] * g) * (1 - f) + (
            field[i + 1, j] * (1 - g) + field[i + 1, j + 1] * g
        ) * f


@dataclass(frozen=True, eq=False)
class Bed:
    """The bed of a run.

    Parameters
    ----------
    frame : ChannelFrame
        Channel coordinates.
    points : Points
        Soundings and edge points it was fitted to.
    stretch : float
        a of (s/a, n).
    error : BedError
        What the soundings say about its error.
    grid : Grid or None
        Precomputed levels; None when no edges were given.
    walls : tuple of bool
        Whether the right and left rim of the grid is the water's edge.
    """

    frame: ChannelFrame
    points: Points
    stretch: float
    error: BedError
    grid: Grid | None = None
    walls: tuple[bool, bool] = (False, False)

    def z(self, s: npt.ArrayLike, n: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Bed above the datum and its standard deviation [m] at channel coordinates [m], from the soundings direct."""
        at, off = np.broadcast_arrays(np.asarray(s, dtype=float), np.asarray(n, dtype=float))
        weights = weights_at(self.points, np.column_stack((at.ravel() / self.stretch, off.ravel())), self.stretch)
        level = weights.apply(self.points.z)
        return level.reshape(at.shape), self.error.sd(weights.distance).reshape(at.shape)

    def nearest(self, places: Floats) -> Floats:
        """Distance [m] from scaled places (s/a, n), shape (k, 2), to the nearest sounding."""
        return np.asarray(self._tree.query(places)[0], dtype=float)

    @cached_property
    def _tree(self) -> Any:
        from scipy.spatial import cKDTree

        use = ~self.points.edge if (~self.points.edge).any() else np.ones(len(self.points.s), dtype=bool)
        return cKDTree(np.column_stack((self.points.s[use] / self.stretch, self.points.n[use])))

    def quick(self, s: Floats, n: Floats) -> tuple[Floats, Floats]:
        """As `z`, read off the grid and held at its rim."""
        grid = self._grid()
        where = grid.cell(s, n)
        return grid.bilinear(grid.z, where), grid.bilinear(grid.sd, where)

    def section(self, s: float) -> Section:
        """The cross section at s [m], held at the run's ends."""
        grid = self._grid()
        along = float(np.clip((s - grid.s[0]) / (grid.s[1] - grid.s[0]), 0.0, len(grid.s) - 1.0))
        i = min(int(along), len(grid.s) - 2)
        f = along - i
        n, z, sd = (a[i] * (1 - f) + a[i + 1] * f for a in (grid.n, grid.z, grid.sd))
        return Section(float(grid.s[i] + f * (grid.s[1] - grid.s[0])), n, z, sd, self.walls)

    def _grid(self) -> Grid:
        if self.grid is None:
            raise DataUnfit("a bed without edges", "the run's outline", "fit the bed with its edges")
        return self.grid


@dataclass(frozen=True, eq=False)
class GridWeights:
    """Weights of the soundings at the nodes of a grid, found once for all levels."""

    weights: Weights
    s: Floats
    n: Floats
    whole: npt.NDArray[np.bool_]

    def level(self, z: Floats) -> Floats:
        """Bed at the nodes from levels of the points [m], shape of n."""
        return self.weights.apply(z).reshape(self.n.shape)

    def grid(self, points: Points, error: BedError) -> Grid:
        """The grid of a bed with a known error."""
        sd = error.sd(self.weights.distance).reshape(self.n.shape)
        return Grid(self.s, self.n, self.level(points.z), sd, self.whole)


def grid_weights(points: Points, edges: Edges, stretch: float, columns: int) -> GridWeights:
    """Weights at `columns` places across every station of the edges."""
    across = np.linspace(0.0, 1.0, columns)
    n = edges.right[:, None] + across[None, :] * edges.width[:, None]
    s = np.broadcast_to(edges.s[:, None], n.shape)
    places = np.column_stack((s.ravel() / stretch, n.ravel()))
    return GridWeights(weights_at(points, places, stretch), edges.s, n, edges.whole)


def fit_bed(
    frame: ChannelFrame,
    s: npt.ArrayLike,
    n: npt.ArrayLike,
    z: npt.ArrayLike,
    sd: npt.ArrayLike = 0.08,
    edges: Edges | None = None,
    edge_points: tuple[Floats, Floats, Floats] | None = None,
    walls: tuple[bool, bool] = (False, False),
    stretch: float | None = None,
    columns: int = 33,
    cell_m: float = 0.05,
) -> Bed:
    """Fit a bed to soundings in channel coordinates.

    Parameters
    ----------
    frame : ChannelFrame
        Channel coordinates.
    s, n, z : array_like, shape (k,)
        Along, across, and bed above the datum [m].
    sd : array_like
        Standard deviation of z from the sounding itself [m].
    edges : Edges, optional
        The run's edges; with them a grid of `columns` places across is laid.
    edge_points : tuple of numpy.ndarray, optional
        s, n, z of points at the drawn water's edge [m].
    walls : tuple of bool
        Whether the right and left edge is the water's edge.
    stretch : float, optional
        a of (s/a, n); the table's value when not given.
    cell_m : float
        Points closer than about this (scaled) are merged [m].

    Raises
    ------
    DataUnfit
        When there is no sounding.
    """
    stretch = constants("flow")["anisotropy"] if stretch is None else stretch
    s, n, z = (np.asarray(v, dtype=float).ravel() for v in (s, n, z))
    spread = np.broadcast_to(np.asarray(sd, dtype=float), s.shape)
    if len(s) == 0:
        raise DataUnfit("no sounding", "at least one sounding in the run", "sound the run")
    edge = np.zeros(len(s), dtype=bool)
    if edge_points is not None:
        s, n, z = (np.concatenate(pair) for pair in zip((s, n, z), edge_points, strict=True))
        spread = np.concatenate((spread, np.full(len(edge_points[0]), constants("flow")["edge_sd_m"])))
        edge = np.arange(len(s)) >= len(edge)
    points = thin(s, n, z, spread, edge, stretch, cell_m)
    error = block_error(points, stretch)
    grid = grid_weights(points, edges, stretch, columns).grid(points, error) if edges is not None else None
    return Bed(frame, points, stretch, error, grid, walls)
