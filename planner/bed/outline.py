"""A run's outline in channel coordinates: its edges along s, and a centreline where no flowline was drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.bed.frame import ChannelFrame
from planner.errors import DataUnfit

__all__ = ["Edges", "centreline", "flowline_near", "polygon_edges"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Edges:
    """Edges of a run along the channel.

    Parameters
    ----------
    s : numpy.ndarray, shape (k,)
        Stations, ascending [m].
    right, left : numpy.ndarray, shape (k,)
        n of the right and left edge [m], right < left; past the oblique ends of the outline the last full width.
    whole : numpy.ndarray of bool, shape (k,)
        True where the outline spans its usual width, False in its oblique ends.
    """

    s: Floats
    right: Floats
    left: Floats
    whole: npt.NDArray[np.bool_]

    @property
    def width(self) -> Floats:
        """Width at each station [m]."""
        return self.left - self.right


def _ring(polygon: Any, step: float) -> Floats:
    return np.asarray(polygon.exterior.segmentize(step).coords)[:, :2]


def polygon_edges(frame: ChannelFrame, polygon: Any, count: int) -> Edges:
    """Where the outline lies across the channel at even stations.

    Parameters
    ----------
    frame : ChannelFrame
        Channel coordinates.
    polygon : shapely Polygon
        Outline, east and north [m].
    count : int
        Number of stations, at least 3.

    Raises
    ------
    DataUnfit
        When the outline has no width across the flowline.

    Notes
    -----
    The ends of a drawn outline are often oblique to the flow, and a section there would be a part of the river.
    Stations from each end inward are continued with the nearest full width until the width reaches 0.8 of the
    median, over at most a quarter of the length (design choice).
    """
    minx, miny, maxx, maxy = polygon.bounds
    ring = _ring(polygon, max(np.hypot(maxx - minx, maxy - miny) / 300.0, 0.5))
    rs, rn = frame.to_sn(ring[:, 0], ring[:, 1])
    lo, hi = float(rs.min()), float(rs.max())
    if hi - lo < 1e-3:
        raise DataUnfit("an outline without length along the flowline", "a polygon around the run", "draw it again")
    inset = (hi - lo) * 0.5 / count
    s = np.linspace(lo + inset, hi - inset, count)
    a, b = rs[:-1], rs[1:]
    na, nb = rn[:-1], rn[1:]
    crossing = (np.minimum(a, b)[None, :] <= s[:, None]) & (np.maximum(a, b)[None, :] >= s[:, None])
    span = np.where(np.abs(b - a) < 1e-12, 1.0, b - a)
    at = na[None, :] + np.clip((s[:, None] - a[None, :]) / span[None, :], 0.0, 1.0) * (nb - na)[None, :]
    right = np.where(crossing, at, np.inf).min(axis=1)
    left = np.where(crossing, at, -np.inf).max(axis=1)
    width = left - right
    found = np.isfinite(width) & (width > 1e-3)
    if not found.any():
        raise DataUnfit("an outline without width across the flowline", "a polygon around the run", "draw it again")
    usual = float(np.median(width[found]))
    whole = found & (width >= 0.8 * usual)
    quarter = max(count // 4, 1)
    index = np.arange(count)
    inner = whole | (found & (index >= quarter) & (index < count - quarter))
    first, last = int(np.argmax(inner)), count - 1 - int(np.argmax(inner[::-1]))
    inner = found & (index >= first) & (index <= last)
    right = np.interp(s, s[inner], right[inner])
    left = np.interp(s, s[inner], left[inner])
    return Edges(s, right, left, inner)


def centreline(polygon: Any, toward: tuple[float, float] | None = None) -> Floats:
    """A line down the middle of an outline, for a run without a flowline.

    The ring is split at the middles of the short sides of its tightest rectangle, both halves are walked together,
    and the middle line is then refined four times by the middles of its own cross lines.

    Parameters
    ----------
    polygon : shapely Polygon
        Outline, east and north [m].
    toward : tuple of float, optional
        Vector east, north that points downstream as far as known; without it the line's direction means nothing.

    Returns
    -------
    numpy.ndarray, shape (m, 2)
        Points east and north [m].
    """
    from shapely.geometry import LineString

    box = np.asarray(polygon.minimum_rotated_rectangle.exterior.coords)[:4]
    sides = np.hypot(*(np.roll(box, -1, axis=0) - box).T)
    short = int(np.argmin(sides[:2]))
    ends = [(box[short] + box[(short + 1) % 4]) / 2, (box[(short + 2) % 4] + box[(short + 3) % 4]) / 2]
    ring = _ring(polygon, max(float(sides.max()) / 200.0, 0.2))[:-1]
    cut = [int(np.argmin(np.hypot(*(ring - end).T))) for end in ends]
    if cut[0] == cut[1]:
        line = np.array(ends)
    else:
        turned = np.roll(ring, -cut[0], axis=0)
        split = (cut[1] - cut[0]) % len(ring)
        one, two = turned[: split + 1], np.vstack((turned[split:], turned[:1]))[::-1]
        walk = np.linspace(0.0, 1.0, 41)
        line = np.mean(
            [[LineString(side).interpolate(t, normalized=True).coords[0] for t in walk] for side in (one, two)], axis=0
        )
        for _ in range(4):
            # a first line that ends in a corner of the outline bends there; the inner stations straighten it
            frame = ChannelFrame(line)
            edges = polygon_edges(frame, polygon, 41)
            inner = np.flatnonzero(edges.whole)[1:-1] if edges.whole.sum() > 6 else np.arange(41)
            x, y = frame.to_xy(edges.s[inner], ((edges.left + edges.right) / 2)[inner])
            line = np.column_stack((x, y))
    if toward is not None and float(np.dot(line[-1] - line[0], toward)) < 0:
        line = line[::-1]
    return np.asarray(line)


def flowline_near(flowline: npt.ArrayLike, polygon: Any) -> Floats | None:
    """The part of a long flowline that passes a run, or None when it does not cross the outline.

    Cutting it out keeps another limb of a meander from claiming the run's points.
    """
    from shapely.geometry import LineString
    from shapely.ops import substring

    xy = np.asarray(flowline, dtype=float)[:, :2]
    line = LineString(xy)
    if not line.intersects(polygon):
        return None
    inside = line.intersection(polygon)
    pieces = [g for g in getattr(inside, "geoms", [inside]) if g.length > 0] or [inside]
    points = np.vstack([np.asarray(piece.coords)[:, :2] for piece in pieces])
    along = [line.project(_point(p)) for p in points]
    minx, miny, maxx, maxy = polygon.bounds
    margin = 0.5 * float(np.hypot(maxx - minx, maxy - miny))
    part = substring(line, max(min(along) - margin, 0.0), min(max(along) + margin, line.length))
    return np.asarray(part.coords)[:, :2] if part.length > 0 else None


def _point(p: Floats) -> Any:
    from shapely.geometry import Point

    return Point(float(p[0]), float(p[1]))
