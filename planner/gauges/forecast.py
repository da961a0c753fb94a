"""What an agency says beside its readings: its forecast and its flood categories."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

__all__ = ["FloodCategories", "Forecast"]


@dataclass(frozen=True)
class Forecast:
    """An agency's forecast for one gauge.

    Parameters
    ----------
    station : str
        ``service:station``.
    agency : str
        Who made it.
    issued : datetime or None
        When, UTC.
    times : np.ndarray
        UTC datetime64[s], ascending, unique, shape (n,).
    stage_m, discharge_m3s : np.ndarray
        Shape (n,); NaN unknown [m], [m³/s].
    notes : tuple of str
        What was left out.
    seen_times, seen_stage_m : np.ndarray
        The agency's own readings of the gauge that came with it, UTC datetime64[s] ascending and [m], shape (k,); they
        tell whether its zero is that of another service's readings.
    """

    station: str
    agency: str
    issued: datetime | None
    times: np.ndarray
    stage_m: np.ndarray
    discharge_m3s: np.ndarray
    notes: tuple[str, ...] = ()
    seen_times: np.ndarray = field(default_factory=lambda: np.empty(0, "datetime64[s]"))
    seen_stage_m: np.ndarray = field(default_factory=lambda: np.empty(0))

    def covers(self, start: np.datetime64, end: np.datetime64) -> bool:
        """Whether the forecast reaches from before `start` to after `end`."""
        return bool(len(self.times)) and self.times[0] <= start and self.times[-1] >= end


@dataclass(frozen=True)
class FloodCategories:
    """Levels at which an agency speaks of flooding; what it does not give is NaN and says nothing about danger.

    Parameters
    ----------
    station : str
        ``noaa:…``.
    usgs_station : str
        The same gauge at the US Geological Survey, empty when not given.
    stage_m, discharge_m3s : mapping
        ``action``, ``minor``, ``moderate``, ``major`` [m], [m³/s].
    seen_at, seen_stage_m : datetime or None, float
        The agency's own last reading of the gauge [m], which tells its zero; None and NaN not given.
    """

    station: str
    usgs_station: str
    stage_m: Mapping[str, float] = field(default_factory=dict)
    discharge_m3s: Mapping[str, float] = field(default_factory=dict)
    seen_at: datetime | None = None
    seen_stage_m: float = math.nan

    def known_stages(self) -> dict[str, float]:
        """Categories with a stage [m]."""
        return {name: value for name, value in self.stage_m.items() if math.isfinite(value)}
