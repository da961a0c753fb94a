"""An uneven bed under a swim, and the current across the run, as the solver reads them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.errors import UsageMistake
from planner.sink.records import Current

__all__ = ["BedGrid", "across_table", "bed_by_distance"]

_ACROSS_CELLS = 64


@dataclass(frozen=True, eq=False)
class BedGrid:
    """Depth of the bed over places about the foot of the rod tip, as it stood at the landing.

    Between the places the depth is interpolated in both directions; beyond the edges the edge's depth stands. A boat
    drifts over it.

    Parameters
    ----------
    x_m, y_m : array, shape (nx,), (ny,)
        Places downstream and across, evenly spaced and rising, two at least of each [m].
    depth_m : array, shape (ny, nx)
        Depth below the water's surface [m]; zero or less is dry ground.
    """

    x_m: np.ndarray
    y_m: np.ndarray
    depth_m: np.ndarray

    def __post_init__(self) -> None:
        x, y, depth = (np.asarray(values, dtype=float) for values in (self.x_m, self.y_m, self.depth_m))
        for values in (x, y):
            step = np.diff(values)
            if values.ndim != 1 or values.size < 2 or not step[0] > 0.0 or np.ptp(step) > 1e-6 * step[0] * values.size:
                raise UsageMistake(
                    "a bed whose places are not evenly spaced",
                    "two or more even, rising places each way",
                    "lay the bed out on a grid",
                )
        if depth.shape != (y.size, x.size) or not np.all(np.isfinite(depth)):
            raise UsageMistake(
                f"depths of shape {depth.shape} on {y.size} by {x.size} places",
                "one known depth for each place",
                "fill the gaps from the nearest depths",
            )

    def packed(self) -> np.ndarray:
        """One vector of x0, y0, 1/dx, 1/dy, nx, ny and the depths, as `nodes.surroundings` reads it."""
        x, y = np.asarray(self.x_m, dtype=float), np.asarray(self.y_m, dtype=float)
        spacing = [(v[-1] - v[0]) / (v.size - 1) for v in (x, y)]
        head = [x[0], y[0], 1.0 / spacing[0], 1.0 / spacing[1], x.size, y.size]
        return np.concatenate([head, np.asarray(self.depth_m, dtype=float).ravel()])


def bed_by_distance(distance_m: np.ndarray, depth_m: np.ndarray, reach_m: float, spacing_m: float = 0.5) -> BedGrid:
    """A bed that depends on the distance from the rod tip alone.

    Parameters
    ----------
    distance_m, depth_m : array, shape (n,)
        Rising distances and the depths there [m]; beyond the ends the end's depth stands.
    reach_m : float
        How far the bed is laid out [m].
    spacing_m : float
        Between its places [m].

    Examples
    --------
    >>> bed = bed_by_distance(np.array([0.0, 10.0]), np.array([1.0, 3.0]), 20.0)
    >>> float(bed.depth_m[40, 50])
    2.0
    """
    half = np.arange(int(np.ceil(reach_m / spacing_m)) + 1) * spacing_m
    places = np.concatenate([-half[:0:-1], half])
    far = np.hypot(places[None, :], places[:, None])
    return BedGrid(places, places, np.interp(far, distance_m, depth_m))


def across_table(current: Current) -> np.ndarray:
    """Vector of y0, 1/dy and the shares of the current over places across, as `nodes.surroundings` reads it."""
    places = np.linspace(current.across_y_m[0], current.across_y_m[-1], _ACROSS_CELLS + 1)
    shares = np.interp(places, current.across_y_m, current.across_share)
    return np.concatenate([[places[0], _ACROSS_CELLS / (places[-1] - places[0])], shares])
