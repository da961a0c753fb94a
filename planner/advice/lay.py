"""Lay the bed under tracks of a swim: from the swim's frame to the ground, from the ground to depths."""

from __future__ import annotations

import math
from dataclasses import replace

import numba
import numpy as np

from planner.advice.records import BedPatch, SpotAtLevels

__all__ = ["bed_under", "filled", "to_ground"]


@numba.njit(parallel=True, cache=True, error_model="numpy")
def _bilinear(east, north, x0, dx, y0, dy, depth, sd, out_depth, out_sd):  # type: ignore[no-untyped-def]
    ny, nx = depth.shape
    for k in numba.prange(east.shape[0]):
        for t in range(east.shape[1]):
            fx = min(max((east[k, t] - x0) / dx, 0.0), nx - 1.000001)
            fy = min(max((north[k, t] - y0) / dy, 0.0), ny - 1.000001)
            i, j = int(fx), int(fy)
            a, b = fx - i, fy - j
            w00, w01, w10, w11 = (1 - a) * (1 - b), a * (1 - b), (1 - a) * b, a * b
            out_depth[k, t] = (
                w00 * depth[j, i] + w01 * depth[j, i + 1] + w10 * depth[j + 1, i] + w11 * depth[j + 1, i + 1]
            )
            out_sd[k, t] = w00 * sd[j, i] + w01 * sd[j, i + 1] + w10 * sd[j + 1, i] + w11 * sd[j + 1, i + 1]


def filled(patch: BedPatch) -> BedPatch:
    """A patch without NaN: a place with unknown bed takes the nearest known depth, with twice its standard error.

    Raises
    ------
    ValueError
        When no depth of the patch is known, or its grid is not regular.
    """
    from scipy.ndimage import distance_transform_edt

    for axis in (patch.east_m, patch.north_m):
        steps = np.diff(axis)
        if axis.size < 2 or steps.min() <= 0 or np.ptp(steps) > 1e-6 * steps.max():
            raise ValueError("a patch needs a regular ascending grid of at least two points a side")
    unknown = ~np.isfinite(patch.depth_m)
    if unknown.all():
        raise ValueError("no depth of the patch is known")
    depth, sd = patch.depth_m, np.where(np.isfinite(patch.sd_m), patch.sd_m, np.nan)
    if unknown.any():
        nearest = distance_transform_edt(unknown, return_distances=False, return_indices=True)
        depth = depth[tuple(nearest)]
        sd = np.where(unknown, 2 * sd[tuple(nearest)], sd)
    sd = np.where(np.isfinite(sd), sd, np.nanmax(sd, initial=0.1))
    return replace(patch, depth_m=depth, sd_m=sd)


def to_ground(spot: SpotAtLevels, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Offsets from the landing, east and north, of places given downstream and across from the rod tip [m].

    Parameters
    ----------
    spot : SpotAtLevels
        Gives the cast and the direction of the current. Its true cast and angle place the landing, whatever the
        geometry in which the swim was solved.
    x, y : numpy.ndarray
        Downstream and across (towards the landing's side) from the rod tip where it was at the landing [m].
    """
    angle = math.radians(spot.angle_deg)
    down = x - spot.cast_m * math.cos(angle)
    across = spot.side * (y - spot.cast_m * math.sin(angle))
    return down * spot.flow_east - across * spot.flow_north, down * spot.flow_north + across * spot.flow_east


def bed_under(patch: BedPatch, east: np.ndarray, north: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Depth of the bed at the patch's reference level and its standard error, bilinear; the patch's edge holds beyond.

    Parameters
    ----------
    patch : BedPatch
        Without NaN, see `filled`.
    east, north : numpy.ndarray
        Offsets from the landing, same shape [m].

    Returns
    -------
    tuple of numpy.ndarray
        Depth [m] and standard error [m], in the shape given.
    """
    shape = east.shape
    flat_e = np.ascontiguousarray(east, dtype=float).reshape(-1, shape[-1])
    flat_n = np.ascontiguousarray(north, dtype=float).reshape(-1, shape[-1])
    depth, sd = np.empty_like(flat_e), np.empty_like(flat_e)
    _bilinear(
        flat_e,
        flat_n,
        float(patch.east_m[0]),
        float(patch.east_m[1] - patch.east_m[0]),
        float(patch.north_m[0]),
        float(patch.north_m[1] - patch.north_m[0]),
        np.ascontiguousarray(patch.depth_m, dtype=float),
        np.ascontiguousarray(patch.sd_m, dtype=float),
        depth,
        sd,
    )
    return depth.reshape(shape), sd.reshape(shape)
