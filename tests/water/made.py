"""Made records with a known answer."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from planner.gauges import Quality, Series
from planner.gauges.series import to_datetime64

NOW = datetime(2026, 6, 12, 23, 0, tzinfo=UTC)


def series(
    stage: np.ndarray | None = None,
    discharge: np.ndarray | None = None,
    step_min: int = 15,
    end: datetime = NOW,
    quality: np.ndarray | None = None,
    station: str = "usgs:01541000",
) -> Series:
    """A record that ends at `end`, one value each `step_min` minutes."""
    n = len(stage if stage is not None else discharge)  # type: ignore[arg-type]
    times = to_datetime64(end) - np.arange(n - 1, -1, -1) * np.timedelta64(60 * step_min, "s")
    nan = np.full(n, np.nan)
    return Series(
        station=station,
        service="usgs",
        name="made",
        times=times.astype("datetime64[s]"),
        stage_m=nan if stage is None else np.asarray(stage, float),
        discharge_m3s=nan if discharge is None else np.asarray(discharge, float),
        temperature_c=nan.copy(),
        turbidity_fnu=nan.copy(),
        quality=np.full(n, str(Quality.PROVISIONAL)) if quality is None else np.asarray(quality),
        notes=(),
        retrieved_at=NOW,
    )


def window(lead_h: float = 10, hours: float = 8) -> tuple[datetime, datetime]:
    """Start and end of a window after NOW."""
    return NOW + timedelta(hours=lead_h), NOW + timedelta(hours=lead_h + hours)


def power(discharge: np.ndarray, a: float = 12.0, e: float = 0.35, b: float = 1.8) -> np.ndarray:
    """Stage of a known rating Q = a (h - e)^b."""
    return e + (np.asarray(discharge) / a) ** (1.0 / b)


def recession(days: float = 40, q0: float = 80.0, k: float = 0.94, step_min: int = 15) -> np.ndarray:
    """Discharge that falls by the constant K per day for so many days."""
    return q0 * k ** (np.arange(int(days * 1440 / step_min)) * step_min / 1440.0)


def storms(seed: int = 3, days: int = 60, step_min: int = 15) -> np.ndarray:
    """Discharge of a linear store fed by a storm every week or so: sharp rises and exponential falls."""
    random = np.random.default_rng(seed)
    n = days * 1440 // step_min
    inflow = np.zeros(n)
    for at in np.cumsum(random.exponential(7 * 1440 / step_min, 20)).astype(int):
        if at + 24 < n:
            inflow[at : at + 24] += random.gamma(2.0, 2.0)
    decay = 0.93 ** (step_min / 1440.0)
    q = np.empty(n)
    store = 12.0
    for i in range(n):
        store = store * decay + inflow[i]
        q[i] = 4.0 + store
    return q
