"""The level of a run at a discharge: Manning's equation on the run's own sections, or the riffle that holds it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from planner.bed.section import Wetted, wetted
from planner.bed.surface import Grid
from planner.flow.division import Division, conveyed

__all__ = ["ControlRelation", "LevelRelation", "conveyance_table", "reach_wetted"]

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
    """Level and discharge of a run by Manning's equation, Q = K (Q/Q0)^g C(L) (1), K = sqrt(S)/n.

    C = sum of ease A R^(2/3) is the section factor of the handbooks [Chow1959], summed over the parts of a divided
    section; conveyance, in their words, is C/n. K is neither of the two: it holds what the section does not tell.

    Parameters
    ----------
    levels : numpy.ndarray, shape (k,)
        Levels above the datum, ascending [m].
    carried : numpy.ndarray, shape (k,)
        Section factor C there [m^(8/3)], never falling.
    area : numpy.ndarray, shape (k,)
        Area there [m²].
    constant : float
        K [m^(1/3)/s]; NaN until calibrated.
    drift : float
        g, change of ln K with ln Q [1]; 0 until two days of survey show another.
    pivot : float
        Q0 [m³/s]; needed where g is not 0.
    drift_sd : float
        Standard deviation of g; NaN takes the table's.
    """

    levels: Floats
    carried: Floats
    area: Floats
    constant: float = float("nan")
    drift: float = 0.0
    pivot: float = float("nan")
    drift_sd: float = float("nan")

    def calibrated(self, discharge: float, level: float) -> LevelRelation:
        """The relation that passes through a known discharge [m³/s] at a level [m], g = 0."""
        carried = float(self.conveyance(level))
        constant = discharge / carried if carried > 0 else float("nan")
        return LevelRelation(self.levels, self.carried, self.area, constant)

    def fitted(self, constant: float, drift: float, pivot: float, drift_sd: float) -> LevelRelation:
        """The relation with a constant and drift found from several days."""
        return replace(self, constant=constant, drift=drift, pivot=pivot, drift_sd=drift_sd)

    def discharge(self, level: npt.ArrayLike) -> Floats:
        """Discharge [m³/s] at levels [m]."""
        plain = self.constant * self.conveyance(level)
        if self.drift == 0.0:
            return plain
        return self.pivot * (plain / self.pivot) ** (1.0 / (1.0 - self.drift))

    def conveyance(self, level: npt.ArrayLike) -> Floats:
        """Section factor C [m^(8/3)] at levels [m]: the conveyance at n = 1."""
        # A R^(2/3) is near a power 5/3 of the depth: its 0.6th power is nearly straight between the table's levels
        return np.interp(np.asarray(level, dtype=float), self.levels, self.carried**0.6) ** (1 / 0.6)

    def level(self, discharge: npt.ArrayLike) -> Floats:
        """Level [m] at discharges [m³/s]; NaN where not positive or beyond the table."""
        q = np.asarray(discharge, dtype=float)
        if self.drift != 0.0:
            known = q > 0
            q = np.where(known, self.pivot * (np.where(known, q, 1.0) / self.pivot) ** (1.0 - self.drift), np.nan)
        wanted = q / self.constant
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
        carried = np.maximum(self.conveyance(at), 1e-9)
        area = np.maximum(np.interp(at, self.levels, self.area), 1e-9)
        steep = float(np.log(carried[1] / carried[0]) / (2 * step)) / (1.0 - self.drift)
        return steep, float(np.log(area[1] / area[0]) / (2 * step))


@dataclass(frozen=True, eq=False)
class ControlRelation:
    """Level and discharge of a run whose water is held by a riffle or weir below it, Q = c (L - e)^p (1) [WMO2010].

    Parameters
    ----------
    levels, area : numpy.ndarray, shape (k,)
        Levels above the datum, ascending [m], and the run's area there [m²].
    constant : float
        c [m^(3-p)/s].
    lip : float
        e, the level at which nothing flows over the control any more [m].
    power : float
        p.
    drift_sd : float
        Standard deviation of the change of ln c with ln Q [1].
    """

    levels: Floats
    area: Floats
    constant: float
    lip: float
    power: float
    drift_sd: float = float("nan")

    def discharge(self, level: npt.ArrayLike) -> Floats:
        """Discharge [m³/s] at levels [m]; 0 at and below the lip."""
        return self.constant * np.maximum(np.asarray(level, dtype=float) - self.lip, 0.0) ** self.power

    def level(self, discharge: npt.ArrayLike) -> Floats:
        """Level [m] at discharges [m³/s]; NaN where not positive or above the table's levels."""
        q = np.asarray(discharge, dtype=float)
        good = q > 0
        found = self.lip + (np.where(good, q, 1.0) / self.constant) ** (1.0 / self.power)
        return np.where(good & (found <= self.levels[-1]), found, np.nan)

    def slopes(self, level: float) -> tuple[float, float]:
        """d ln Q / dL and d ln A / dL [1/m] at a level [m]."""
        area = np.maximum(np.interp([level - 0.05, level + 0.05], self.levels, self.area), 1e-9)
        return self.power / max(level - self.lip, 0.02), float(np.log(area[1] / area[0]) / 0.1)


def conveyance_table(
    grid: Grid,
    walls: tuple[bool, bool],
    count: int = 120,
    above: float = 4.0,
    division: Division | None = None,
) -> LevelRelation:
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
    division : Division, optional
        Of the grid's stations into channel and shelves; one part when not given.
    """
    low = float(grid.z.min())
    levels = low + (max(above, low + 1.0) - low) * np.linspace(0.0, 1.0, count) ** 1.2
    if division is not None and not division.whole(grid.n.shape[1]):
        use = grid.whole if grid.whole.any() else np.ones(len(grid.s), dtype=bool)
        part = Division(division.right[use], division.left[use], division.ease)
        carried, area = conveyed(grid.n[use], grid.z[use], levels, walls, part)
        return LevelRelation(levels, np.maximum.accumulate(carried), area)
    water = reach_wetted(grid, levels, walls)
    radius = np.where(water.perimeter > 0, water.area / np.where(water.perimeter > 0, water.perimeter, 1.0), 0.0)
    # where water spreads over a small flat the radius drops and (1) would have two levels for one discharge
    return LevelRelation(levels, np.maximum.accumulate(water.area * radius ** (2.0 / 3.0)), water.area)
