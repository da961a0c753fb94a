"""Lay the bed under a spot: from what the flow knows to the patch and the frame that the weighing needs."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from planner.advice.canon import boat_ratio
from planner.advice.records import BedPatch, SpotAtLevels
from planner.advice.weigh import Ground

__all__ = ["boat_speeds", "filled", "ground_of", "settled", "stance_speeds"]

_MM = 3  # decimals of a metre


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
    worst = np.nanmax(sd) if np.isfinite(sd).any() else 0.3
    sd = np.where(np.isfinite(sd), sd, worst)
    return replace(patch, depth_m=np.round(depth, _MM), sd_m=np.round(sd, _MM))


def settled(spot: SpotAtLevels) -> SpotAtLevels:
    """A spot's bed and levels to the millimetre and its currents to three figures.

    Far finer than any of them is known, and so coarse that a level which comes again tomorrow comes with the same
    numbers: what was weighed for it serves again (see `kept`).
    """

    def figures(value: float) -> float:
        return float(f"{value:.3g}") if math.isfinite(value) else value

    levels = tuple(
        level
        if not level.depth_m > 0
        else replace(
            level,
            rise_m=round(level.rise_m, _MM),
            depth_m=round(level.depth_m, _MM),
            velocity_m_s=figures(level.velocity_m_s),
            velocity_low_m_s=figures(level.velocity_low_m_s),
            velocity_high_m_s=figures(level.velocity_high_m_s),
            boat_velocity_m_s=figures(level.boat_velocity_m_s),
            exponent_m=round(level.exponent_m, 2),
            level_sd_m=round(level.level_sd_m, _MM),
        )
        for level in spot.levels
    )
    return replace(spot, levels=levels, patch=replace(spot.patch, depth_m=np.round(spot.patch.depth_m, _MM)))


def stance_speeds(spot: SpotAtLevels, levels: np.ndarray) -> np.ndarray:
    """`boat_speeds` with the spot's own ratio, to 1 mm/s; the ratio, a median over the ladder, to two places [m/s]."""
    return np.round(boat_speeds(spot, round(boat_ratio(spot), 2), levels), 3)


def boat_speeds(spot: SpotAtLevels, ratio: float, levels: np.ndarray) -> np.ndarray:
    """Speed of the stance over ground at the levels of the given indices [m/s].

    Parameters
    ----------
    spot : SpotAtLevels
        The spot.
    ratio : float
        Boat speed over the surface current at the landing (`canon.boat_ratio`) [1].
    levels : numpy.ndarray of int
        Indices of the levels.
    """
    found = []
    for i in levels:
        level = spot.levels[i]
        speed = level.velocity_m_s if spot.river else 0.0
        found.append(ratio * speed * (1 + 1 / level.exponent_m) if speed > 0 else 0.0)
    return np.array(found)


def ground_of(spot: SpotAtLevels, patch: BedPatch, levels: np.ndarray, boat_m_s: np.ndarray) -> Ground:
    """The bed under a spot and the frame of its swims.

    The true cast and angle place the landing, whatever the canonical geometry in which the swim was solved.

    Parameters
    ----------
    spot : SpotAtLevels
        The spot.
    patch : BedPatch
        Its patch, `filled`.
    levels : numpy.ndarray of int
        Indices of the levels wanted.
    boat_m_s : numpy.ndarray
        Speed of the stance at these levels [m/s].
    """
    angle = math.radians(spot.angle_deg)
    return Ground(
        patch=patch,
        down=(spot.flow_east, spot.flow_north),
        across=(-spot.side * spot.flow_north, spot.side * spot.flow_east),
        landing=(spot.cast_m * math.cos(angle), spot.cast_m * math.sin(angle)),
        rise_m=np.array([spot.levels[i].rise_m for i in levels]),
        boat_m_s=boat_m_s,
        landing_depth_m=np.array([spot.levels[i].depth_m for i in levels]),
        hold_low_m=spot.hold_low_m,
        hold_high_m=spot.hold_high_m,
    )
