"""The level of a run at a discharge: Manning's equation on the run's own sections."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from planner.bed.section import Wetted, wetted
from planner.bed.surface import Grid

__all__ = ["LevelRelation", "conveyance_table", "reach_wetted"]

Floats = npt.NDArray[np.float64]


def reach_wetted(grid: Grid, level: npt.ArrayLike, walls: tuple[bool, bool]) -> Wetted:
    """Mean area [m²], wetted perimeter [m] and top width [m] of a run's whole sections at levels [m], shape as given.

    The water surface is parallel to the run's datum, so that one level holds for all sections.
    """
    at = np.asarray(level, dtype=float)
    use = grid.whole if grid.whole.any() else np.ones(len(grid.s), dtype=bool)
    flat = wetted(grid.n[use][None], grid.z[use][None], at.reshape(-1, 1), walls)
    area, perimeter, top = (v.mean(axis=1).reshape(at.shape) for v in (flat.area, flat.perimeter, flat.top_width))
    return Wetted(area, perimeter, top)


@dataclass(frozen=True, eq=False)
class LevelRelation:
    """Level and discharge of a run, Q = K A R^(2/3) (1), K = sqrt(S)/n.

    Parameters
    ----------
    levels : numpy.ndarray, shape (k,)
        Levels above the datum, ascending [m].
    carried : numpy.ndarray, shape (k,)
        A R^(2/3) there [m^(8/3)], never falling: where water spreads over a flat the radius drops and (1) would
        have two levels for one discharge, so the greatest value so far is kept.
    area : numpy.ndarray, shape (k,)
        Area there [m²].
    constant : float
        K [m^(1/3)/s]; NaN until calibrated.
    """

    levels: Floats
    carried: Floats
    area: Floats
    constant: float = float("nan")

    def calibrated(self, discharge: float, level: float) -> LevelRelation:
        """The relation that passes through a known discharge [m³/s] at a level [m]."""
        carried = float(self._carried(level))
        return LevelRelation(self.levels, self.carried, self.area, discharge / carried if carried > 0 else float("nan"))

    def discharge(self, level: npt.ArrayLike) -> Floats:
        """Discharge [m³/s] at levels [m]."""
        return self.constant * self._carried(level)

    def _carried(self, level: npt.ArrayLike) -> Floats:
        # A R^(2/3) is near a power 5/3 of the depth: its 0.6th power is nearly straight between the table's levels
        return np.interp(np.asarray(level, dtype=float), self.levels, self.carried**0.6) ** (1 / 0.6)

    def level(self, discharge: npt.ArrayLike) -> Floats:
        """Level [m] at discharges [m³/s]; NaN where not positive or beyond the table."""
        wanted = np.asarray(discharge, dtype=float) / self.constant
        start = max(int(np.searchsorted(self.carried, 0.0, side="right")) - 1, 0)
        carried, levels = self.carried[start:], self.levels[start:]
        rising = np.concatenate(([True], np.diff(carried) > 0))
        good = (wanted > 0) & (wanted <= carried[-1])
        found = np.interp(np.where(good, wanted, 1.0) ** 0.6, carried[rising] ** 0.6, levels[rising])
        return np.where(good, found, np.nan)

    def slopes(self, level: float) -> tuple[float, float]:
        """d ln Q / dL and d ln A / dL [1/m] at a level [m]."""
        step = 0.05
        at = np.array([level - step, level + step])
        carried = np.maximum(self._carried(at), 1e-9)
        area = np.maximum(np.interp(at, self.levels, self.area), 1e-9)
        return float(np.log(carried[1] / carried[0]) / (2 * step)), float(np.log(area[1] / area[0]) / (2 * step))


def conveyance_table(grid: Grid, walls: tuple[bool, bool], count: int = 120, above: float = 4.0) -> LevelRelation:
    """The relation of a bed, not yet calibrated.

    Parameters
    ----------
    grid : Grid
        The bed.
    walls : tuple of bool
        Whether its right and left rim is the water's edge.
    count : int
        Number of levels in the table.
    above : float
        How far the table reaches above the datum [m].
    """
    low = float(grid.z.min())
    levels = low + (max(above, low + 1.0) - low) * np.linspace(0.0, 1.0, count) ** 1.2
    water = reach_wetted(grid, levels, walls)
    radius = np.where(water.perimeter > 0, water.area / np.where(water.perimeter > 0, water.perimeter, 1.0), 0.0)
    return LevelRelation(levels, np.maximum.accumulate(water.area * radius ** (2.0 / 3.0)), water.area)
