"""The bed of a run: fitted to soundings, with the uncertainty that the soundings themselves show."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.bed.constants import constants
from planner.bed.frame import ChannelFrame
from planner.bed.outline import Edges
from planner.bed.section import Section
from planner.bed.weights import Weights, idw_weights, rbf_weights
from planner.errors import DataUnfit

__all__ = ["Bed", "BedError", "Grid", "Points", "block_error", "cross_validate", "fit_bed", "thin"]

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

    spread = np.sqrt(mean(sd**2)) * np.maximum(1.0 / np.sqrt(count), 0.5)
    return Points(mean(s), mean(n), mean(z), spread, mean(edge.astype(float)) > 0.5, cell)


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
        weights = _weights(self.points, np.column_stack((at.ravel() / self.stretch, off.ravel())), self.stretch)
        level = weights.apply(self.points.z)
        return level.reshape(at.shape), self.error.sd(weights.distance).reshape(at.shape)

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


def _weights(points: Points, places: Floats, stretch: float, keep: Any = None) -> Weights:
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


def _misses(points: Points, stretch: float, group: Any, queries: Any) -> tuple[Floats, Floats]:
    """Miss and distance at held-out points, each fitted without its group."""
    misses, distances = [], []
    for one in np.unique(group[queries]):
        held = queries[group[queries] == one]
        keep = group != one
        if keep.sum() < 1:
            continue
        places = np.column_stack((points.s[held] / stretch, points.n[held]))
        weights = _weights(points, places, stretch, keep)
        misses.append(weights.apply(points.z) - points.z[held])
        distances.append(weights.distance)
    if not misses:
        return np.empty(0), np.empty(0)
    return np.concatenate(misses), np.concatenate(distances)


def cross_validate(points: Points, stretch: float, blocks: int = 10, seed: int = 20260612) -> float:
    """Root mean square miss [m] with one block along the channel left out at a time; see `block_error`."""
    return block_error(points, stretch, blocks, seed).rmse


def block_error(points: Points, stretch: float, blocks: int = 10, seed: int = 20260612) -> BedError:
    """Error of the bed as its own soundings show it.

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
    return GridWeights(_weights(points, places, stretch), edges.s, n, edges.whole)


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
