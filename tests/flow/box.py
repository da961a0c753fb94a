"""A run made by hand, no survey needed: a straight channel of one section, its relation and gauge known in closed form.

The flume is 20 m wide, 100 m long and 2 m deep at level 0, upright at both rims. It lies along the map's east, so that
s and n are metres east and north of its middle line.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.optimize import brentq
from scipy.spatial import cKDTree
from shapely.geometry import Polygon

from planner.bed.error import BedError
from planner.bed.frame import ChannelFrame
from planner.bed.points import Points
from planner.bed.surface import Bed, Grid
from planner.flow.relation import conveyance_table
from planner.flow.runflow import RunFlow
from planner.river.ground import LocalPlane
from planner.river.records import Run

WIDTH, LENGTH, DEPTH, SLOPE, N, STAGE = 20.0, 100.0, 2.0, 0.001, 0.04, 1.5
PLANE = LocalPlane(-91.0, 43.5)


def area(level: float) -> float:
    """Of the flume at a level [m²]."""
    return WIDTH * (DEPTH + level)


def radius(level: float) -> float:
    """Hydraulic radius of the flume at a level [m]."""
    return area(level) / (WIDTH + 2 * (DEPTH + level))


def manning(level: float) -> float:
    """Mean current of the flume at a level by Manning's equation [m/s]."""
    return radius(level) ** (2 / 3) * math.sqrt(SLOPE) / N


def discharge(level: float) -> float:
    """Of the flume at a level by Manning's equation [m³/s]."""
    return area(level) * manning(level)


def level(q: float) -> float:
    """At which the flume carries a discharge [m]."""
    return float(brentq(lambda at: discharge(at) - q, -DEPTH + 1e-9, 6.0))


def steep(at: float) -> float:
    """d ln Q / dL of the flume [1/m]."""
    depth = DEPTH + at
    return 5 / 3 / depth - 2 / 3 * 2 / (WIDTH + 2 * depth)


FULL = discharge(0.0)


class Rating:
    """A gauge whose stage is a metre and a half over the level of the flume, known to 6 %, recorded up to stage 2 m."""

    rel_sd = 0.06

    def discharge(self, stage: Any) -> float:
        """At a stage [m³/s]."""
        return discharge(float(stage) - STAGE)

    def stage(self, q: float) -> float:
        """At a discharge [m]."""
        return STAGE + level(q)

    def extrapolated(self, stage: Any) -> bool:
        """Whether a stage is above the record."""
        return bool(stage > 2.0)


def grid(bed: Any = None, columns: int = 41, stations: int = 6) -> Grid:
    """Nodes of the flume, its bed a number or a function of n [m]; standard deviation 0.1 m."""
    n = np.tile(np.linspace(-WIDTH / 2, WIDTH / 2, columns), (stations, 1))
    z = np.full_like(n, -DEPTH) if bed is None else np.asarray(bed(n), dtype=float)
    return Grid(np.linspace(0, LENGTH, stations), n, z, np.full_like(n, 0.1), np.ones(stations, dtype=bool))


def flume(bed: Any = None, run: Any = None, nodes: Grid | None = None, **changes: Any) -> RunFlow:
    """The flume as a surveyed run: 4 blocks of soundings missed by 0.1 m; `run` changes its record."""
    corners = [(0, -WIDTH / 2), (LENGTH, -WIDTH / 2), (LENGTH, WIDTH / 2), (0, WIDTH / 2)]
    outline = Polygon([tuple(float(v) for v in PLANE.to_lonlat(*corner)) for corner in corners])
    nodes = nodes or grid(bed)
    s, n = (v.ravel() for v in np.meshgrid(np.linspace(5, 95, 10), np.linspace(-8, 8, 9)))
    points = Points(s, n, np.full(s.shape, -DEPTH), np.full(s.shape, 0.05), np.zeros(len(s), bool), np.arange(len(s)))
    error = BedError(0.1, 4, 90, 0.01, 0.001, 5.0, 0.01, 1.0)
    frame = ChannelFrame([(0.0, 0.0), (LENGTH, 0.0)])
    relation = conveyance_table(nodes, (True, True), count=400).calibrated(FULL, 0.0)
    made = RunFlow(
        run=Run("flume", "Flume", "file:gauge.csv", outline, slope=SLOPE, bed={"n": N}, banks="both", **(run or {})),
        plane=PLANE, frame=frame, polygon=Polygon(corners), bed=Bed(frame, points, 10.0, error, nodes, (True, True)),
        relation=relation, slope=SLOPE, bed_entry={"n": N}, spans=True, stage_ref=STAGE, discharge_ref=FULL,
        n_calibrated=N, rating=None, soundings=len(s), left_out=0, levels_sounded=(-0.5, 0.5), waterline=0.0,
        survey_limits=(), tree=cKDTree(np.column_stack((s, n))),
    )  # fmt: skip
    return but(made, **changes)


def but(flow: RunFlow, **changes: Any) -> RunFlow:
    """The run with changes, remembering nothing of what it was asked before."""
    return replace(flow, **({"grounds": {}, "shares": {}, "_patches": {}} | changes))


def local(flow: RunFlow, state: Any, s: Any, n: Any) -> dict[str, Any]:
    """Depth and current at channel coordinates of the flume [m], asked as for the first time."""
    return but(flow).local(state, *PLANE.to_lonlat(np.atleast_1d(s).astype(float), np.atleast_1d(n).astype(float)))
