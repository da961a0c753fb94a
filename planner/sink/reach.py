"""Which countdown reaches a depth: one countdown followed to its end, and a retrieve from each second of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from planner.errors import UsageMistake
from planner.sink.batch import scenarios
from planner.sink.bedgrid import BedGrid
from planner.sink.fly import Fly
from planner.sink.line import Line
from planner.sink.many import swim_many
from planner.sink.records import Cast, Current

__all__ = ["LONGEST", "Reach", "countdown_to_reach"]

LONGEST = {"held": 120, "fed": 45, "mended": 45}  # longest count that is tried [s]


@dataclass(frozen=True)
class Reach:
    """What a count buys, for one line, fly, cast and water.

    Attributes
    ----------
    depth_m : float
        The depth asked for [m].
    at_strip_s : float
        Count after which the fly is that deep at the first strip [s]; NaN when none of those tried.
    in_swim_s : float
        Least whole count with which it gets that deep at any moment of the swim, the retrieve included [s]; NaN when
        none.
    counts_s, start_depth_m, deepest_m : array, shape (C,)
        The counts tried [s], depth at the first strip and in the whole swim from each [m].
    touches_s : float
        Least whole count with which line or fly touches the bed [s]; NaN when none.
    """

    depth_m: float
    at_strip_s: float
    in_swim_s: float
    counts_s: np.ndarray
    start_depth_m: np.ndarray
    deepest_m: np.ndarray
    touches_s: float


def countdown_to_reach(
    line: Line, fly: Fly, cast: Cast, current: Current, depth_m: float, bed: float | BedGrid | None = None
) -> Reach:
    """The countdowns with which the fly gets to a depth, at the first strip and in the swim.

    Parameters
    ----------
    line, fly, cast, current : Line, Fly, Cast, Current
        As `swim`; the cast's own countdown is not read.
    depth_m : float
        Depth of the fly asked for [m].
    bed : float or BedGrid, optional
        As `swim`.

    Raises
    ------
    UsageMistake
        When the depth is not above zero, or below a level bed.

    Examples
    --------
    >>> from planner.sink.fly import fly_from_class
    >>> from planner.sink.line import line_from_head
    >>> line = line_from_head(26 * 0.3048, 250 * 64.79891e-6, 5 * 0.0254)
    >>> found = countdown_to_reach(line, fly_from_class("low", "heavy"), Cast(14.0, 60.0), Current(0.5, 3.0), 1.2, 3.0)
    >>> round(found.at_strip_s, 1), found.in_swim_s
    (9.3, 0.0)
    """
    level = math.inf if bed is None or isinstance(bed, BedGrid) else float(bed)
    if not 0.0 < depth_m < level:
        raise UsageMistake(
            f"a depth of {depth_m:.2f} m to reach in {level:.2f} m of water",
            "a depth between surface and bed",
            "correct it",
        )
    counts = np.arange(LONGEST[cast.mode] + 1, dtype=float)
    batch = scenarios([(line, fly, replace(cast, countdown_s=0.0), current)])
    batch["bed_depth_m"] = level
    swims = swim_many(
        batch, counts, bed=bed if isinstance(bed, BedGrid) else None, current=current, nodes=30, dt=0.02, every_s=0.2
    )
    start = swims.depth[0, :, 0]
    down = swims.count_depth[0]
    before = np.maximum.accumulate(down)[np.minimum((counts / 0.2).astype(int), down.size - 1)]
    deepest = np.fmax(np.nanmax(swims.depth[0], axis=1), before)
    reached = np.flatnonzero(down >= depth_m)
    at_strip = math.nan
    if reached.size:
        i = int(reached[0])
        at_strip = 0.2 * i
        if i > 0:
            at_strip -= 0.2 * float(down[i] - depth_m) / max(float(down[i] - down[i - 1]), 1e-9)
    enough, touching = np.flatnonzero(deepest >= depth_m), np.flatnonzero(swims.touched[0])
    return Reach(
        depth_m,
        at_strip,
        float(counts[enough[0]]) if enough.size else math.nan,
        counts,
        start,
        deepest,
        float(counts[touching[0]]) if touching.size else math.nan,
    )
