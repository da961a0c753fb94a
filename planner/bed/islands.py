"""Islands: holes in a run's outline.

A hole can be drawn around nothing but dry ground, so its ring is the water's edge whatever `banks` says of the outer
edges, at the level of the moment the outline was drawn. Inside it the ground rises from that level.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from planner.bed.frame import ChannelFrame
from planner.tables import constants

__all__ = ["inland", "island_edge", "raised"]

Floats = npt.NDArray[np.float64]


def island_edge(frame: ChannelFrame, polygon: Any, step: float) -> tuple[Floats, Floats]:
    """Points along the rings of a polygon's holes, s and n [m]; empty without a hole.

    Parameters
    ----------
    frame : ChannelFrame
        Channel coordinates.
    polygon : shapely Polygon
        Outline, east and north [m].
    step : float
        Distance between points [m].
    """
    if not polygon.interiors:
        return np.empty(0), np.empty(0)
    rings = [np.asarray(ring.segmentize(step).coords)[:-1, :2] for ring in polygon.interiors]
    xy = np.vstack(rings)
    return frame.to_sn(xy[:, 0], xy[:, 1])


def inland(frame: ChannelFrame, polygon: Any, s: Floats, n: Floats) -> Floats:
    """Distance inside the holes of a polygon [m] at places along and across; 0 outside them, shape of n."""
    import shapely
    from shapely.geometry import Polygon

    along = np.broadcast_to(s.reshape(-1, *([1] * (n.ndim - s.ndim))), n.shape) if s.ndim < n.ndim else s
    away = np.zeros(n.shape)
    for ring in polygon.interiors:
        x, y = frame.to_xy(along, n)
        hole = Polygon(ring)
        within = shapely.contains_xy(hole, x, y)
        if within.any():
            away[within] = shapely.distance(ring, shapely.points(x[within], y[within]))
    return away


def raised(z: Floats, away: Floats, waterline: float) -> Floats:
    """Bed levels with the islands' ground in them [m]: at least the waterline plus `island_slope` times the way in."""
    if not away.any():
        return z
    return np.where(away > 0, np.maximum(z, waterline + constants("flow")["island_slope"] * away), z)
