"""How sure each sounding is: its parts of uncertainty and their sum in quadrature."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.bed.surface import Grid
from planner.tables import constants

__all__ = ["Doubt", "bed_slopes", "doubts"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Doubt:
    """Standard deviations of the bed level at each sounding [m], shape (k,) each.

    Parameters
    ----------
    method : numpy.ndarray
        Reading of rod, line or sounder.
    draft : numpy.ndarray
        Depth of the transducer.
    stage : numpy.ndarray
        Reading of the gauge.
    time : numpy.ndarray
        Change of the water while the moment is in doubt, abs(dL/dt) times the standard deviation of the time.
    position : numpy.ndarray
        Error of the position times the slope of the bed.
    shift : numpy.ndarray
        From the gauge to the run: the level of the run at that discharge.
    """

    method: Floats
    draft: Floats
    stage: Floats
    time: Floats
    position: Floats
    shift: Floats

    @property
    def total(self) -> Floats:
        """Root of the sum of squares [m]."""
        parts = (self.method, self.draft, self.stage, self.time, self.position, self.shift)
        return np.sqrt(np.sum(np.square(parts), axis=0))

    @property
    def reading(self) -> Floats:
        """The total without the position, which the bed's slope makes local [m]."""
        parts = (self.method, self.draft, self.stage, self.time, self.shift)
        return np.sqrt(np.sum(np.square(parts), axis=0))

    def as_dict(self) -> dict[str, float]:
        """Root mean square of each part and of the total [m]."""
        names = ("method", "draft", "stage", "time", "position", "shift", "total")
        return {name: float(np.sqrt(np.mean(getattr(self, name) ** 2))) for name in names}


def bed_slopes(grid: Grid) -> Floats:
    """Steepness of a bed at the nodes of its grid, sqrt((dz/ds)² + (dz/dn)²) [1], shape of z."""
    across = np.gradient(grid.z, axis=1) / np.gradient(grid.n, axis=1)
    along = np.gradient(grid.z, grid.s, axis=0) if len(grid.s) > 1 else np.zeros_like(grid.z)
    return np.hypot(across, along)


def doubts(reduced: Any, grid: Grid, s: Floats, n: Floats, shift: Floats, relation: Any) -> Doubt:
    """Parts of the uncertainty of each sounding.

    Parameters
    ----------
    reduced : planner.flow.reduction.Reduced
        Soundings with their water and what is known of their making.
    grid : Grid
        A first bed, for its slopes.
    s, n : numpy.ndarray, shape (k,)
        Where they are, along and across [m].
    shift : numpy.ndarray, shape (k,)
        Standard deviation of the run's level at each [m].
    relation : LevelRelation, ControlRelation or None
        The run's level and discharge where it is known: then a doubtful moment counts by the run's own rise.
    """
    table = constants("flow")

    steep = Grid.bilinear(bed_slopes(grid), grid.cell(s, n))
    rise = np.abs(reduced.stage_rate)
    if relation is not None:
        per_level = max(relation.slopes(0.0)[0], 1e-6)
        own = np.abs(reduced.flow_rate) / per_level
        rise = np.where(np.isfinite(own), own, rise)
    return Doubt(
        method=reduced.sd,
        draft=reduced.draft_sd,
        stage=np.full(len(s), table["stage_sd_m"]),
        time=np.nan_to_num(rise) * reduced.time_sd,
        position=reduced.place_sd * steep,
        shift=shift,
    )
