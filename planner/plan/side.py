"""The side view of a spot's chosen swim: fly and bed against the distance from the rod tip."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.advice import Choice, Learned, SpotAtLevels
from planner.advice.kept import Shelf, hash_of, page_key
from planner.advice.lay import settled, stance_speeds
from planner.errors import PlumbrunError

if TYPE_CHECKING:
    from planner.river import Tackle
    from planner.sink import Cast, Current, Swim

__all__ = ["chosen_swim", "short_view", "short_views", "side_view"]

_POINTS = 40
_CODE = Path(__file__).read_bytes()  # what was drawn by other code is drawn anew
# A step of the ladder: fewer points, and the coarser swim of the search (3 cm off the fine one at most on the demo).
_SHORT, _SHORT_NODES, _SHORT_STEP, _SHORT_EVERY = 16, 10, 0.04, 0.25


def chosen_swim(
    asked: SpotAtLevels, at: int, choice: Choice, tackle: Tackle, learned: Learned | None = None, *, short: bool = False
) -> Swim:
    """The swim of a choice at its middle countdown, over a free bed, on the spot's own geometry.

    Parameters
    ----------
    asked : SpotAtLevels
        The spot.
    at : int
        Index of the level.
    choice : Choice
        Line, fly and how to fish them.
    tackle : Tackle
        Where they come from.
    learned : Learned, optional
        Corrects the line's sink rate.
    short : bool
        With the search's fewer nodes and longer steps.
    """
    from planner.sink import fly_from_tackle, line_from_tackle, line_with_sink_factor, swim

    line = next(line for line in tackle.lines if line.name == choice.line)
    fly = next(fly for fly in tackle.flies if fly.name == choice.fly)
    cast, current = cast_of(asked, at, choice)
    made = line_from_tackle(line, tackle)
    if math.isfinite(choice.leader_m):
        made = replace(made, leader_length_m=choice.leader_m)
    belief = learned.lines.get(line.name) if learned is not None else None
    if belief is not None:
        made = line_with_sink_factor(made, math.exp(belief.mean))
    if short:
        return swim(made, fly_from_tackle(fly), cast, current, nodes=_SHORT_NODES, dt=_SHORT_STEP, every_s=_SHORT_EVERY)
    return swim(made, fly_from_tackle(fly), cast, current)


def cast_of(asked: SpotAtLevels, at: int, choice: Choice) -> tuple[Cast, Current]:
    """A choice as a cast into the spot's current at a level."""
    from planner.sink import Cast, Current

    level = asked.levels[at]
    still = not asked.river
    current = Current(
        0.0 if still else level.velocity_m_s,
        max(level.depth_m, 0.1),
        level.exponent_m if math.isfinite(level.exponent_m) else 7.0,
    )
    return (
        Cast(
            cast_m=asked.cast_m,
            angle_deg=asked.angle_deg,
            strip_m_s=choice.strip_m_s,
            countdown_s=choice.countdown_best_s,
            mode=choice.countdown_mode,
            stance=asked.spot.stance,
            boat_speed_m_s=_boat_speed(asked, at),
        ),
        current,
    )


def _boat_speed(asked: SpotAtLevels, at: int) -> float:
    if asked.spot.stance != "drifting" or not asked.river:
        return 0.0
    return float(stance_speeds(asked, np.array([at]))[0])


def side_view(
    asked: SpotAtLevels, at: int, choice: Choice, tackle: Tackle, learned: Learned | None = None
) -> dict[str, Any] | None:
    """`swim` of a spot in ``plan.json``: x_m from the rod tip, fly depth and bed depth, where the strip
    starts, and the way over the map in metres east and north of the landing.

    None when the swim cannot be solved on the spot's own geometry.
    """
    try:
        path = chosen_swim(asked, at, choice, tackle, learned)
    except PlumbrunError:
        return None
    east, north, bed = _way(asked, at, path)
    rows = np.unique(np.linspace(0, len(path.times_s) - 1, _POINTS).astype(int))
    started = int(np.argmax(path.phase[rows] >= 1)) if (path.phase[rows] >= 1).any() else len(rows) - 1
    depth = np.minimum(path.fly_depth_m, np.where(np.isfinite(bed), bed, np.inf))
    return {
        "x_m": np.round(path.fly_distance_m[rows], 2),
        "depth_m": np.round(depth[rows], 3),
        "bed_depth_m": np.round(bed[rows], 3),
        "strip_from": started,
        "east_m": np.round(east[rows], 1),
        "north_m": np.round(north[rows], 1),
    }


def short_view(
    asked: SpotAtLevels, at: int, choice: Choice, tackle: Tackle, learned: Learned | None = None
) -> dict[str, Any] | None:
    """The side view of a step of the ladder: `x_m`, `depth_m`, `bed_depth_m` and `strip_from`, at most 16 points.

    The points are those that the drawing needs most: landing, first strip, end, and then wherever the fly's way or the
    bed departs farthest from the straight line between its neighbours.
    """
    try:
        path = chosen_swim(asked, at, choice, tackle, learned, short=True)
    except PlumbrunError:
        return None
    _, _, bed = _way(asked, at, path)
    depth = np.minimum(path.fly_depth_m, np.where(np.isfinite(bed), bed, np.inf))
    stripped = path.phase >= 1
    first = int(np.argmax(stripped)) if stripped.any() else len(depth) - 1
    rows = _telling(np.column_stack((path.fly_distance_m, depth, bed)), first)
    return {
        "x_m": np.round(path.fly_distance_m[rows], 1),
        "depth_m": np.round(depth[rows], 2),
        "bed_depth_m": np.round(bed[rows], 2),
        "strip_from": int(np.searchsorted(rows, first)),
    }


def short_views(
    asked: SpotAtLevels,
    wanted: Sequence[tuple[int, Choice]],
    tackle: Tackle,
    learned: Learned | None,
    shelf: Shelf,
) -> list[dict[str, Any] | None]:
    """`short_view` of a spot at some levels with their choices; those of earlier plans are taken from the shelf."""
    asked = settled(asked)
    patch = asked.patch
    place = hash_of(
        _CODE, asked.cast_m, asked.angle_deg, asked.flow_east, asked.flow_north, asked.side, str(asked.spot.stance),
        patch.east_m, patch.north_m, patch.depth_m,
    )  # fmt: skip
    beliefs = {} if learned is None else learned.lines
    keys = []
    for at, choice in wanted:
        cast, current = cast_of(asked, at, choice)
        line = next(line for line in tackle.lines if line.name == choice.line)
        fly = next(fly for fly in tackle.flies if fly.name == choice.fly)
        box = (replace(tackle, lines=(line,), flies=(fly,)), beliefs.get(line.name), choice.leader_m)
        keys.append(page_key(place, hash_of(repr((box, cast, current, asked.levels[at].rise_m))), "side view"))

    def make(missing: list[int]) -> list[np.ndarray]:
        return [_packed(short_view(asked, *wanted[m], tackle, learned)) for m in missing]

    return [_unpacked(page) for page in shelf.book(place).take(keys, make)]


def _packed(view: dict[str, Any] | None) -> np.ndarray:
    """A view as an array of three columns: how many strips before, then distance, fly and bed of each point."""
    if view is None:
        return np.full((1, 3), np.nan)
    rows = np.column_stack([view[name] for name in ("x_m", "depth_m", "bed_depth_m")])
    return np.vstack([[view["strip_from"], 0.0, 0.0], rows])


def _unpacked(page: np.ndarray) -> dict[str, Any] | None:
    if not math.isfinite(page[0, 0]):
        return None
    x, depth, bed = page[1:].T
    return {"x_m": x, "depth_m": depth, "bed_depth_m": bed, "strip_from": int(page[0, 0])}


def _telling(lines: np.ndarray, first: int) -> np.ndarray:
    """Rows to keep of curves over a common index, shape (n, curves): ends, `first`, then the farthest off."""
    n = len(lines)
    scale = np.abs(np.nan_to_num(lines)).max(axis=0)
    shares = np.nan_to_num(lines / np.where(scale > 0, scale, 1.0))
    index, kept = np.arange(n), sorted({0, min(first, n - 1), n - 1})
    while len(kept) < min(_SHORT, n):
        between = np.column_stack([np.interp(index, kept, curve[kept]) for curve in shares.T])
        off = np.abs(shares - between).max(axis=1)
        worst = int(np.argmax(off))
        if off[worst] < 0.01:
            break
        kept = sorted({*kept, worst})
    return np.array(kept)


def _way(asked: SpotAtLevels, at: int, path: Swim) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The fly over the map, metres east and north of the landing, and the depth of the bed under it [m]."""
    level = asked.levels[at]
    to_landing = math.radians(asked.angle_deg)
    x = path.fly_x_m - asked.cast_m * math.cos(to_landing)
    y = path.fly_y_m - asked.cast_m * math.sin(to_landing)
    if asked.spot.stance == "drifting":
        x = x + _boat_speed(asked, at) * path.times_s
    left = (-asked.flow_north, asked.flow_east)
    east = x * asked.flow_east + y * asked.side * left[0]
    north = x * asked.flow_north + y * asked.side * left[1]
    return east, north, _bed_under(asked, east, north) + level.rise_m


def _bed_under(asked: SpotAtLevels, east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """Depth at the patch's level under points about the landing [m]; NaN outside the patch."""
    from scipy.interpolate import RegularGridInterpolator

    patch = asked.patch
    sample = RegularGridInterpolator(
        (patch.north_m, patch.east_m), patch.depth_m, bounds_error=False, fill_value=math.nan
    )
    return sample(np.column_stack((north, east)))
