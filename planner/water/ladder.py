"""The levels for which the page holds an answer, round in the unit that the angler reads at the gauge."""

from __future__ import annotations

import math

import numpy as np

from planner.units import value_in
from planner.water.expect import Expected
from planner.water.rating import Rating
from planner.water.rules import rule

__all__ = ["ladder"]

_STEPS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0)


def ladder(expected: Expected, rating: Rating | None, units: str) -> tuple[np.ndarray, np.ndarray]:
    """Stages and discharges of the ladder, ascending, at most 25 steps.

    It spans the 5 to 95 % expectation over the window and at least 0.5 m either way of the median, on round values of
    the user's unit. With no stage it is keyed on discharge: at least a factor of two either way, values of two figures.
    The discharge that goes with a stage follows the rating, moved so that it passes through the last reading, in whole
    steps of that shift, and is given to three figures: a rating is not worth more, and a step that comes again with
    the next reading comes with the same discharge.

    Parameters
    ----------
    expected : Expected
        Of the gauge.
    rating : Rating or None
        Of the gauge.
    units : str
        ``us`` or ``metric``.

    Returns
    -------
    stages_m, discharges : np.ndarray
        [m], [m³/s], shape (k,), k <= 25; NaN where one is unknown. Both empty when nothing is known.
    """
    if expected.keyed_on == "stage" and np.isfinite(expected.stage_m).any():
        stages = _stage_steps(expected, units)
        return stages, _discharges(stages, expected, rating)
    if np.isfinite(expected.discharge_m3s).any() and np.nanmax(expected.discharge_m3s) > 0:
        discharges = _discharge_steps(expected, units)
        return np.full(len(discharges), np.nan), discharges
    return np.empty(0), np.empty(0)


def _stage_steps(expected: Expected, units: str) -> np.ndarray:
    middle = expected.stage_m
    half = rule("ladder_half")
    low = min(_least(expected.stage_p05_m), _least(middle) - half)
    high = max(_most(expected.stage_p95_m), _most(middle) + half)
    unit = 1.0 / value_in(1.0, "level", units)
    most = int(rule("ladder_steps"))
    for step in _STEPS:
        first, last = math.floor(low / unit / step + 1e-9), math.ceil(high / unit / step - 1e-9)
        if last - first + 1 <= most:
            break
    return np.arange(first, last + 1) * step * unit


def _discharges(stages: np.ndarray, expected: Expected, rating: Rating | None) -> np.ndarray:
    if rating is None:
        return np.full(len(stages), np.nan)
    q = rating.discharge(stages)
    here = float(rating.discharge(expected.last.stage_m))
    # the station's shift of the day: a rating fitted on weeks does not pass through this hour's pair
    ratio = expected.last.discharge_m3s / here if here > 0 else math.nan
    if math.isfinite(ratio) and 0.5 < ratio < 2.0:
        step = rule("ladder_shift_step")
        q = q * math.exp(step * round(math.log(ratio) / step))
    return np.array([float(f"{value:.3g}") for value in q])


def _discharge_steps(expected: Expected, units: str) -> np.ndarray:
    factor = rule("ladder_factor")
    middle = expected.discharge_m3s[expected.discharge_m3s > 0]
    unit = 1.0 / value_in(1.0, "discharge", units)
    low = min(_least(expected.discharge_p05_m3s), float(middle.min()) / factor) / unit
    high = max(_most(expected.discharge_p95_m3s), float(middle.max()) * factor) / unit
    low = max(low, high * 1e-3)
    most = int(rule("ladder_steps"))
    raw = np.geomspace(low, high, most)
    digits = 10.0 ** (np.floor(np.log10(raw)) - 1.0)
    rounded = np.round(raw / digits) * digits
    rounded[0] = math.floor(raw[0] / digits[0] + 1e-9) * digits[0]
    rounded[-1] = math.ceil(raw[-1] / digits[-1] - 1e-9) * digits[-1]
    return np.unique(np.round(rounded, 12)) * unit


def _least(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(known.min()) if len(known) else math.inf


def _most(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(known.max()) if len(known) else -math.inf
