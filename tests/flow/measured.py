"""The model beside measured rivers, as tables: what the tests assert and what docs/bed-and-flow.md shows.

Run it as a script to write that page anew.
"""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from planner.bed import ChannelFrame, block_error
from planner.bed.points import thin, weights_at
from planner.flow.manning import manning_velocity
from planner.flow.profile import speed_at_height
from tests.flow.log_law import log_law, log_law_mean

ROOT = Path(__file__).parents[2]
DATA = ROOT / "data" / "channels"
TEN_NINETY = 1.2815515655446004

# [2: a public test file quoting the source] reach, n, R [m], slopes, measured V [m/s]
BARNES = (
    ("Columbia River at Vernita WA", 0.024, 7.97, (0.000192,), (2.49, 2.64)),
    ("Beaver Kill at Cooks Falls NY", 0.033, 2.09, (0.00233, 0.00442), (2.78, 2.96)),
)


def rows(name: str) -> list[dict[str, str]]:
    """Rows of a measurement."""
    with (DATA / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


@dataclass(frozen=True)
class Gauging:
    """A discharge measurement: widths, depths [m] and measured currents [m/s] of its verticals, edges left out."""

    name: str
    width: np.ndarray
    depth: np.ndarray
    speed: np.ndarray

    @property
    def discharge(self) -> float:
        """Sum of the panels [m³/s]."""
        return float(np.sum(self.width * self.depth * self.speed))

    def predicted(self) -> np.ndarray:
        """Current of each vertical from depths and total discharge alone: unit discharge by h^(5/3) [m/s]."""
        return self.discharge / np.sum(self.width * self.depth ** (5 / 3)) * self.depth ** (2 / 3)

    def flat(self) -> np.ndarray:
        """The same with one speed for the whole section [m/s]."""
        return np.full(len(self.depth), self.discharge / np.sum(self.width * self.depth))

    def misses(self, model: np.ndarray) -> dict[str, float]:
        """Root mean square miss [m/s], plain and weighted by flow, and the flow-weighted spread of its log."""
        weight = self.width * self.depth * self.speed
        use = self.speed > 0
        ln = np.log(self.speed[use] / model[use])
        return {
            "rms": float(np.sqrt(np.mean((self.speed - model) ** 2))),
            "rms_flow": float(np.sqrt(np.average((self.speed - model) ** 2, weights=weight))),
            "ln_sd": float(np.sqrt(np.average(ln**2, weights=weight[use]))),
            "share": float(np.average(np.abs(ln) < TEN_NINETY * 0.18, weights=weight[use])),
        }


def gaugings() -> Iterator[Gauging]:
    """The two gaugings with speeds at every vertical."""
    x, d, v = (
        np.array([float(row[key] or 0) for row in rows("verde_river_2007-06-13_midsection.csv")]) * 0.3048
        for key in ("distance_ft", "depth_ft", "velocity_ft_s")
    )
    width = np.diff(np.concatenate((x[:1], (x[1:] + x[:-1]) / 2, x[-1:])))
    use = d > 0
    yield Gauging("Verde River, 13 June 2007", width[use], d[use], v[use])
    names = ("width_m", "depth_m", "panel_velocity_m_s")
    table = rows("long_legged_river_2011_midsection.csv")
    yield Gauging("Long-Legged River, 2011", *(np.array([float(row[n]) for row in table]) for n in names))


def two_point() -> dict[str, float]:
    """The profile of the fifteen two-point verticals of the Long-Legged River against one exponent for all."""
    table = [row for row in rows("long_legged_river_2011_midsection.csv") if row["v_0.2d_m_s"]]
    two, eight = (np.array([float(row[f"v_{part}d_m_s"]) for row in table]) for part in ("0.2", "0.8"))
    mean = (two + eight) / 2
    found: dict[str, float] = {}
    for name, m in (("fitted", math.log(4) / math.log(float(np.median(two / eight)))), ("seventh", 7.0)):
        top, low = (speed_at_height(1.0, 1.0, part, m) for part in (0.8, 0.2))
        scale = mean / ((top + low) / 2)
        found[f"{name}_m"] = m
        found[f"{name}_rms_02"] = float(np.sqrt(np.mean((scale * top / two - 1) ** 2)))
        found[f"{name}_rms_08"] = float(np.sqrt(np.mean((scale * low / eight - 1) ** 2)))
    return found


def tanana() -> dict[str, object]:
    """The mean profile of the Tanana crossing where it is over 5 m deep, with a power and a log law through it."""
    table = rows("tanana_2022-08-19_velocity_bins.csv")
    depth, at, u = (
        np.array([float(r[k]) for r in table]) for k in ("depth_m", "bin_depth_m", "streamwise_velocity_m_s")
    )
    part = at / depth
    use = (depth > 5) & (part > 0.1) & (part < 0.9)
    cell = np.floor(part[use] * 10).astype(int)
    mean = np.array([u[use][cell == c].mean() for c in range(1, 9)])
    down = np.array([part[use][cell == c].mean() for c in range(1, 9)])
    slope, ln_surface = np.polyfit(np.log(1 - down), np.log(mean), 1)
    m = float(1 / slope)
    power = speed_at_height(math.exp(ln_surface) * m / (m + 1), 1.0, 1 - down, m)
    per_e, level = np.polyfit(np.log(1 - down), mean, 1)
    shear = float(per_e * 0.41)
    ks = 30.0 * math.exp(-float(level) / float(per_e))
    logarithm = log_law(1 - down, shear, ks)
    return {
        "down": down, "mean": mean, "power": power, "log": logarithm, "m": m, "shear": shear, "ks_share": ks,
        "power_mean": math.exp(ln_surface) * m / (m + 1), "log_mean": log_law_mean(1.0, shear, ks),
    }  # fmt: skip


def lujan() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """s, n and level [m] of the reach's bed points."""
    lines = json.loads((DATA / "lujan_channel_sections.geojson").read_text(encoding="utf-8"))["features"]
    lines.sort(key=lambda f: f["properties"]["s"])
    middle = np.array([np.mean(f["geometry"]["coordinates"], axis=0)[:2] for f in lines])
    places = json.loads((DATA / "lujan_bed_points.geojson").read_text(encoding="utf-8"))["features"]
    x, y = np.array([f["geometry"]["coordinates"][:2] for f in places]).T
    return (*ChannelFrame(middle).to_sn(x, y), np.array([f["properties"]["z"] for f in places]))


def lujan_errors(repeats: int = 40, stretch: float = 10.0) -> dict[str, float]:
    """Root mean square miss [m] with a block of ten left out, and from 60 random points, mean and sd of the repeats."""
    s, n, z = lujan()
    sure, none = np.full(len(z), 0.08), np.zeros(len(z), dtype=bool)
    points = thin(s, n, z, sure, none, stretch, 0.001)
    places = np.column_stack((points.s / stretch, points.n))
    misses = []
    for seed in range(repeats):
        keep = np.zeros(len(points.s), dtype=bool)
        keep[np.random.default_rng(seed).choice(len(keep), 60, replace=False)] = True
        found = weights_at(points, places[~keep], stretch, keep).apply(points.z)
        misses.append(float(np.sqrt(np.mean((found - points.z[~keep]) ** 2))))
    gap = block_error(points, stretch)
    return {
        "gap": gap.rmse,
        "gap_of_eight": block_error(points, stretch, 8).rmse,
        "sixty": float(np.mean(misses)),
        "sixty_sd": float(np.std(misses)),
        "spread": float(z.std()),
    }


def barnes() -> list[tuple[str, float, float, float, float]]:
    """Reach, Manning's least and greatest velocity over its slopes, measured least and greatest [m/s]."""
    found = []
    for name, n, radius, slopes, measured in BARNES:
        v = [float(manning_velocity(radius, slope, n)) for slope in slopes]
        found.append((name, min(v), max(v), *measured))
    return found
