"""An invented run with a known bed, a known law of flow and a gauge that rises otherwise than the run does."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from shapely.geometry import LineString, Polygon

from planner.gauges.series import Series
from planner.river.ground import LocalPlane
from planner.river.records import Place, River, Run, Tackle

PLANE = LocalPlane(-91.0, 43.5)
LENGTH, HALF, SLOPE, N = 160.0, 25.0, 0.0012, 0.036
T0 = np.datetime64("2026-05-01T00:00:00", "s")


def bed_level(s: Any, n: Any) -> np.ndarray:
    """Bed under the datum [m]: a bowl 2 m deep with a trough on river left and a slow swell downstream."""
    part = np.asarray(n) / HALF
    return -2.0 * (1 - part**2) ** 0.7 - 0.5 * np.exp(-(((part - 0.4) / 0.25) ** 2)) * (
        1 + 0.3 * np.sin(np.asarray(s) / 40)
    )


def truth(level: float) -> tuple[float, float, float]:
    """Area [m²], hydraulic radius [m] and discharge [m³/s] of the true bed with upright banks at the drawn edge."""
    n = np.linspace(-HALF, HALF, 801)
    s = np.linspace(0, LENGTH, 41)[:, None]
    z = np.where(np.abs(n) >= HALF - 1e-9, 0.0, bed_level(s, np.clip(n, -HALF + 1e-9, HALF - 1e-9)))
    depth = np.maximum(level - z, 0.0)
    area = np.trapezoid(depth, n, axis=1)
    wet = (depth[:, 1:] + depth[:, :-1]) > 0
    steps = np.hypot(np.diff(n), np.diff(np.minimum(z, level), axis=1))
    perimeter = np.where(wet, steps, 0.0).sum(axis=1) + 2 * max(level, 0.0)
    a, p = float(np.mean(area)), float(np.mean(perimeter))
    return a, a / p, a * (a / p) ** (2 / 3) * math.sqrt(SLOPE) / N


@cache
def level_at(discharge: float) -> float:
    """True level [m] at a discharge [m³/s]."""
    low, high = -1.5, 3.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if truth(middle)[2] < discharge else (low, middle)
    return (low + high) / 2


def gauge_stage(discharge: Any) -> np.ndarray:
    """Stage at the gauge [m]: a narrower place, so it rises more than the run does."""
    return 0.3 + (np.asarray(discharge) / 22.0) ** (1 / 1.7)


FULL = truth(0.0)[2]  # discharge that fills the drawn outline to its edge [m³/s]


@dataclass
class World:
    """What a test may change before it builds the river folder's records."""

    days: tuple[tuple[float, int], ...] = ((FULL, 240), (1.5 * FULL, 160))  # discharge [m³/s] and soundings on each day
    noise: float = 0.03
    seed: int = 5
    banks: str = "both"
    flow_share: float = math.nan
    slope: float = SLOPE
    bed: dict = field(default_factory=lambda: {"class": "winding_pools"})
    still: bool = False
    flowline: bool = True
    with_stage: bool = True
    with_discharge: bool = True
    dated: bool = True
    waterline: bool = True
    shift: tuple[float, float] = (0.0, 0.0)
    turn_deg: float = 0.0
    extra: dict = field(default_factory=dict)

    def place(self, s: Any, n: Any) -> tuple[np.ndarray, np.ndarray]:
        """Lon and lat of channel coordinates: downstream is east, turned and shifted as asked."""
        a = math.radians(self.turn_deg)
        x, y = np.asarray(s, dtype=float), np.asarray(n, dtype=float)
        return PLANE.to_lonlat(
            x * math.cos(a) - y * math.sin(a) + self.shift[0], x * math.sin(a) + y * math.cos(a) + self.shift[1]
        )

    def series(self) -> Series:
        """Ten days at each discharge in turn, hourly, the reference day's first, a ramp from one to the next."""
        flows = [q for q, _ in self.days] or [60.0]
        q = np.concatenate([np.full(240, one) for one in flows])
        if len(flows) > 1:
            for i in range(1, len(flows)):
                q[240 * i - 60 : 240 * i + 60] = np.linspace(flows[i - 1], flows[i], 120)
        nothing = np.full(len(q), np.nan)
        return Series(
            station="file:gauge.csv", service="file", name="Invented",
            times=T0 + np.arange(len(q)) * np.timedelta64(3600, "s"),
            stage_m=gauge_stage(q) if self.with_stage else nothing, discharge_m3s=q if self.with_discharge else nothing,
            temperature_c=nothing, turbidity_fnu=nothing, quality=np.full(len(q), "provisional"), notes=(),
            retrieved_at=datetime(2026, 6, 12, tzinfo=UTC),
        )  # fmt: skip

    def soundings(self) -> pd.DataFrame:
        """Soundings of all days with reading noise."""
        random = np.random.default_rng(self.seed)
        rows = []
        for i, (q, count) in enumerate(self.days):
            level = level_at(q) - level_at(self.days[0][0])
            s, n = random.uniform(2, LENGTH - 2, count), random.uniform(-HALF + 1, HALF - 1, count)
            depth = level - self.datum_bed(s, n) + random.normal(0, self.noise, count)
            lon, lat = self.place(s, n)
            moment = pd.Timestamp(T0 + np.timedelta64(int((240 * i + 110) * 3600), "s"), tz="UTC")
            for k in range(count):
                if depth[k] > 0.05:
                    rows.append(
                        (
                            lon[k],
                            lat[k],
                            depth[k],
                            moment if self.dated else pd.NaT,
                            np.nan,
                            "rod",
                            0.0,
                            "",
                            len(rows) + 2,
                        )
                    )
        frame = pd.DataFrame(
            rows, columns=["lon", "lat", "depth_m", "taken_at", "stage_m", "method", "draft_m", "note", "line"]
        )
        frame["taken_at"] = pd.to_datetime(frame["taken_at"], utc=True)
        return frame

    def datum_bed(self, s: Any, n: Any) -> np.ndarray:
        """True bed above the run's datum, level 0 being the first day's water."""
        return bed_level(s, n) - level_at(self.days[0][0])

    def river(self) -> tuple[Run, River]:
        """The records of a river folder with this one run."""
        corners = [(0, -HALF), (LENGTH, -HALF), (LENGTH, HALF), (0, HALF)]
        polygon = Polygon([tuple(float(v) for v in self.place(*c)) for c in corners])
        drawn = datetime(2026, 5, 5, tzinfo=UTC) if self.waterline else None
        run = Run(
            id="long", name="Long run", gauge="file:gauge.csv", polygon=polygon, slope=self.slope, bed=self.bed,
            banks=self.banks, waterline_at=drawn, flow_share=self.flow_share, still=self.still, extra=self.extra,
        )  # fmt: skip
        line = LineString([tuple(float(v) for v in self.place(s, 0.0)) for s in (-150.0, 60.0, LENGTH + 150.0)])
        places = (Place("f", "flowline", "flowline", line),) if self.flowline else ()
        river = River(
            folder=Path("nowhere"), name="Invented", timezone="America/Chicago", units="us", gauges=("file:gauge.csv",),
            runs=(run,), spots=(), places=places, soundings=self.soundings(),
            tackle=Tackle((), (), 1.0, 0.3, "nylon", 1.0, 3.0, "nylon"), log=pd.DataFrame(),
        )  # fmt: skip
        return run, river

    def but(self, **changes: Any) -> World:
        """The same world with changes."""
        return replace(self, **changes)
