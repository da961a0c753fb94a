"""What the water is in a run at any level of the gauge: cells of depth, speed and confidence, and sections."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.plan.ask import AskedLevel, Request
from planner.plan.ice import ICED, iced
from planner.plan.waters import GaugeLevel, RunWater, as_run_record
from planner.services import marks_ice

if TYPE_CHECKING:
    from datetime import datetime

    from planner.river import LocalPlane, River

__all__ = ["MOST_CELLS", "cells_of", "level_at", "request_at", "section_of"]

MOST_CELLS = 3_000
_STEPS_M = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 8.0, 10.0, 15.0, 20.0, 30.0, 50.0)


def request_at(now: datetime, level: AskedLevel | None, replies: tuple[Any, ...]) -> Request:
    """A request for the water now, or at a level of the user's own."""
    return Request(now, now, now + timedelta(hours=1), now.date(), level, replies)


def level_at(water: RunWater, level: AskedLevel | None) -> GaugeLevel:
    """The level asked, or the gauge's last reading; unknown under ice."""
    if level is not None:
        return GaugeLevel(level.stage_m, level.discharge_m3s)
    if iced(water.view):
        return GaugeLevel(math.nan, math.nan)
    last = water.view.expected.last
    return GaugeLevel(last.stage_m, last.discharge_m3s)


def cells_of(river: River, water: RunWater, level: AskedLevel | None, now: datetime) -> dict[str, Any]:
    """Depth, speed and confidence on a square lattice over a run.

    Parameters
    ----------
    river : River
        The folder.
    water : RunWater
        The run with its gauge.
    level : AskedLevel or None
        Of the gauge; its last reading when None.
    now : datetime
        The clock.

    Returns
    -------
    dict
        ``caution`` and ``reminder`` first, then ``level``, ``step_m``, ``cells`` [lon, lat, depth_m, depth_sd_m,
        velocity_m_s, confidence] of the wet places, ``state`` (a run of ``plan.json``), ``soundings``, ``limits``.
    """
    import shapely

    from planner.caution import assess_run, standing_words
    from planner.caution.records import Conditions

    at = level_at(water, level)
    state = water.at(at)
    flow, expected = water.flow, water.view.expected
    conditions = Conditions(
        data_age_min=None if level is not None else expected.age_min,
        level_given=level is not None,
        quality=str(expected.quality),
        rise_m_3h=expected.rise_m_3h,
        ice_unmarked=water.view.series is None or not marks_ice(water.view.station),
    )
    caution = assess_run(conditions, where=water.run.name or water.run.id).as_dict()
    cells: list[list[Any]] = []
    step = next((s for s in _STEPS_M if flow.polygon.area / s**2 <= MOST_CELLS), _STEPS_M[-1])
    if flow.bed is not None and math.isfinite(state.level_m):
        west, south, east, north = flow.polygon.bounds
        x, y = (part.ravel() for part in np.meshgrid(np.arange(west + step / 2, east, step),
                                                     np.arange(south + step / 2, north, step)))  # fmt: skip
        inside = shapely.contains_xy(flow.polygon, x, y)
        lon, lat = flow.plane.to_lonlat(x[inside], y[inside])
        here = flow.local(state, lon, lat)
        wet = here["depth_m"] > 0
        columns = [
            np.round(lon[wet], 7).tolist(), np.round(lat[wet], 7).tolist(), np.round(here["depth_m"][wet], 3).tolist(),
            np.round(here["depth_sd_m"][wet], 3).tolist(), np.round(here["velocity_m_s"][wet], 3).tolist(),
            here["confidence"][wet].tolist(),
        ]  # fmt: skip
        cells = [list(row) for row in zip(*columns, strict=True)]
    return {
        "caution": caution,
        "reminder": standing_words(),
        "level": {"stage_m": state.stage_m, "discharge_m3s": at.discharge_m3s, "given": level is not None},
        "step_m": step,
        "cells": cells,
        "state": as_run_record(water, state, caution),
        "soundings": flow.soundings,
        "limits": [*_ice(water), *state.limits, *water.notes, *water.view.notes],
    }


def _ice(water: RunWater) -> tuple[str, ...]:
    return (ICED,) if iced(water.view) else ()


def section_of(water: RunWater, lon: float, lat: float, level: AskedLevel | None) -> dict[str, Any]:
    """The section of a run through a point, looking downstream from river left to right.

    Parameters
    ----------
    water : RunWater
        The run with its gauge.
    lon, lat : float
        The point [degrees].
    level : AskedLevel or None
        Of the gauge; its last reading when None.

    Returns
    -------
    dict
        ``n_m`` (from the middle, river right negative), ``z_m`` and ``sd_m`` of the bed, ``level_m`` of the water,
        ``hold`` (the run's band above the bed), ``depth_m``, ``velocity`` and ``confidence`` at each place, ``at_n_m``
        of the point, ``at`` (lon, lat of the section's two ends), ``limits``.
    """
    at = level_at(water, level)
    state = water.at(at)
    flow = water.flow
    section = flow.section(lon=lon, lat=lat)
    hold = [water.run.hold_low_m, water.run.hold_high_m]
    if section is None or flow.bed is None:
        return {"n_m": [], "z_m": [], "sd_m": [], "level_m": None, "hold": hold, "depth_m": [], "velocity": [],
                "confidence": [], "at_n_m": None, "at": [], "limits": [*_ice(water), *state.limits]}  # fmt: skip
    x, y = flow.frame.to_xy(np.full(len(section.n), section.s), section.n)
    here = flow.local(state, *flow.plane.to_lonlat(x, y))
    _, n = flow.frame.to_sn(*flow.plane.to_xy(lon, lat))
    return {
        "n_m": np.round(section.n, 3),
        "z_m": np.round(section.z, 3),
        "sd_m": np.round(section.sd, 3),
        "level_m": state.level_m,
        "hold": hold,
        "depth_m": np.round(np.maximum(state.level_m - section.z, 0.0), 3),
        "velocity": np.round(here["velocity_m_s"], 3),
        "confidence": here["confidence"].tolist(),
        "at_n_m": round(float(np.ravel(n)[0]), 3),
        "at": _ends(flow.plane, x, y),
        "limits": [*_ice(water), *state.limits],
    }


def _ends(plane: LocalPlane, x: np.ndarray, y: np.ndarray) -> list[list[float]]:
    lon, lat = plane.to_lonlat(x[[0, -1]], y[[0, -1]])
    return [[round(float(one), 7), round(float(two), 7)] for one, two in zip(lon, lat, strict=True)]
