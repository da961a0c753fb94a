"""An invented channel whose bed, levels and currents are known exactly, for the folders of examples.

The channel is made in channel coordinates (s downstream along the flowline, n to the left of it). In each run the
water surface is a plane of the run's slope; its level L at discharge Q solves Manning's equation over the run's
sections, Q = √S / √mean(1/K²) with K = A R^(2/3) / n, so that continuity and Manning agree by construction.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cache

import numpy as np

BEND_M, BEND_RAD, LENGTH_M = 900.0, 0.5, 2400.0
READING_SD_M = 0.03
POSITION_SD_M = 0.5


def _flowline() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """A sine-generated meander running about south-east: s, x, y [m] and heading [rad], one metre apart."""
    s = np.arange(-60.0, LENGTH_M + 61.0)
    heading = -0.7 + BEND_RAD * np.sin(2 * np.pi * s / BEND_M)
    x = np.concatenate([[0.0], np.cumsum((np.cos(heading[1:]) + np.cos(heading[:-1])) / 2)])
    y = np.concatenate([[0.0], np.cumsum((np.sin(heading[1:]) + np.sin(heading[:-1])) / 2)])
    middle = np.searchsorted(s, LENGTH_M / 2)
    return s, x - x[middle], y - y[middle], heading


_S, _X, _Y, _HEADING = _flowline()


def curvature(s: np.ndarray | float) -> np.ndarray:
    """Curvature of the flowline [1/m], positive where it turns left."""
    return BEND_RAD * 2 * np.pi / BEND_M * np.cos(2 * np.pi * np.asarray(s, dtype=float) / BEND_M)


def to_xy(s: np.ndarray | float, n: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
    """East and north [m] of points s along and n left of the flowline."""
    heading = np.interp(s, _S, _HEADING)
    return (
        np.interp(s, _S, _X) - np.asarray(n) * np.sin(heading),
        np.interp(s, _S, _Y) + np.asarray(n) * np.cos(heading),
    )


def to_sn(x: float, y: float) -> tuple[float, float]:
    """Point in metres east and north as s along and n left of the flowline, at the nearest of its stations."""
    at = int(np.argmin(np.hypot(_X - x, _Y - y)))
    turn = _HEADING[at]
    ahead = (x - _X[at]) * np.cos(turn) + (y - _Y[at]) * np.sin(turn)
    return float(_S[at] + ahead), float(-(x - _X[at]) * np.sin(turn) + (y - _Y[at]) * np.cos(turn))


def cast_to(s: float, n: float, length: float, angle: float, side: int) -> tuple[float, float]:
    """Landing (s, n) of a cast: length [m], angle from straight downstream [degrees], side 1 left or -1 right."""
    x, y = to_xy(s, n)
    turn = float(np.interp(s, _S, _HEADING)) + side * np.radians(angle)
    return to_sn(float(x) + length * np.cos(turn), float(y) + length * np.sin(turn))


@dataclass(frozen=True)
class Reach:
    """One run of the invented river, its bed under a plane water surface at level 0."""

    id: str
    name: str
    s0: float
    s1: float
    width: float
    deepest: float
    manning_n: float
    slope: float
    boulders: int = 0
    seed: int = 0
    swell: float = 0.08
    ripple: list[tuple[float, float, float, float]] = field(default_factory=list, compare=False)
    rocks: list[tuple[float, float, float, float]] = field(default_factory=list, compare=False)

    def __post_init__(self) -> None:
        rng = np.random.default_rng(self.seed)
        for _ in range(7):
            self.ripple.append((rng.uniform(25, 90), rng.uniform(9, 30), rng.uniform(0, 6.28), 0.035))
        for _ in range(self.boulders):
            s, u = rng.uniform(self.s0 + 8, self.s1 - 8), rng.uniform(-0.6, 0.6)
            self.rocks.append((s, u * self.width / 2, rng.uniform(1.2, 2.4), rng.uniform(0.3, 0.65)))

    def bed_z(self, s: np.ndarray | float, n: np.ndarray | float) -> np.ndarray:
        """Bed height above the run's datum [m], negative under water at level 0; the banks rise on past it."""
        s, n = np.broadcast_arrays(np.asarray(s, dtype=float), np.asarray(n, dtype=float))
        middle = (s - self.s0) / (self.s1 - self.s0)
        deepest = self.deepest * (1 + self.swell * np.sin(np.pi * 2 * middle))
        u = n / (self.width / 2)
        thalweg = -0.45 * np.tanh(curvature(s) / 0.002)  # deep towards the outer bank of the bend
        t = np.where(u > thalweg, (u - thalweg) / (1 - thalweg), (thalweg - u) / (1 + thalweg))
        z = -deepest * (1 - t**2.3)
        inner = np.clip(1.2 - t, 0, 1)  # no ripples up the bank
        for length, across, phase, height in self.ripple:
            z = z + inner * height * np.cos(2 * np.pi * (s / length + n / across) + phase)
        for rock_s, rock_n, radius, height in self.rocks:
            z = z + height * np.exp(-((s - rock_s) ** 2 + (n - rock_n) ** 2) / radius**2)
        return z

    def sections(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Stations s, offsets n and bed z[s, n] of the run's sections, 4 m apart."""
        s = np.arange(self.s0 + 2, self.s1 - 1, 4.0)
        n = np.arange(-self.width * 0.8, self.width * 0.8 + 0.1, 0.25)
        return s, n, self.bed_z(s[:, None], n[None, :])

    def hydraulics(self, level: float) -> dict[str, np.ndarray]:
        """Area [m²], wetted perimeter [m], top width [m] and conveyance [m³/s] of each section at a level."""
        _, n, z = self.sections()
        depth = np.maximum(level - z, 0.0)
        step = n[1] - n[0]
        area = np.trapezoid(depth, dx=step, axis=1)
        wet = (depth[:, 1:] + depth[:, :-1]) > 0
        bank = np.hypot(np.diff(depth, axis=1), step)
        perimeter = np.sum(np.where(wet, bank, 0), axis=1)
        radius = area / perimeter
        return {
            "area": area,
            "perimeter": perimeter,
            "width": wet.sum(axis=1) * step,
            "conveyance": area * radius ** (2 / 3) / self.manning_n,
        }

    def discharge(self, level: float) -> float:
        """Discharge of the run at a level [m³/s]."""
        return float(np.sqrt(self.slope / np.mean(self.hydraulics(level)["conveyance"] ** -2.0)))

    def level(self, discharge: float) -> float:
        """Level of the run at a discharge [m], from levels 2 cm apart; right to about 0.1 mm."""
        levels, discharges = _relation(self)
        return float(np.interp(discharge ** (3 / 5), discharges ** (3 / 5), levels))

    def edges(self, s: np.ndarray | float, level: float) -> tuple[np.ndarray, np.ndarray]:
        """Offsets of the right and left water's edge at a level [m]."""
        n = np.arange(-self.width * 0.8, self.width * 0.8 + 0.01, 0.05)
        wet = self.bed_z(np.atleast_1d(s)[:, None], n[None, :]) < level
        return n[wet.argmax(axis=1)], n[len(n) - 1 - wet[:, ::-1].argmax(axis=1)]

    def current(self, s: float, n: float, discharge: float) -> float:
        """Depth-averaged current at a point [m/s]: unit discharge ∝ depth^(5/3), as much as the run carries."""
        level = self.level(discharge)
        offsets = np.arange(-self.width * 0.8, self.width * 0.8, 0.25)
        depth = np.maximum(level - self.bed_z(s, offsets), 0)
        here = max(level - float(self.bed_z(s, n)), 0.0)
        return float(discharge * here ** (2 / 3) / np.trapezoid(depth ** (5 / 3), dx=0.25))


@cache
def _relation(reach: Reach) -> tuple[np.ndarray, np.ndarray]:
    levels = np.arange(-0.6 * reach.deepest, 3.0, 0.02)
    return levels, np.array([reach.discharge(float(level)) for level in levels])


def feature(shape: str, coordinates: list, **properties: object) -> dict:
    """A GeoJSON feature."""
    return {"type": "Feature", "properties": properties, "geometry": {"type": shape, "coordinates": coordinates}}


def geojson(features: list[dict]) -> str:
    """A FeatureCollection with one feature a line, so that a change shows where it is."""
    lines = ",\n".join(json.dumps(feature, ensure_ascii=False) for feature in features)
    return '{"type": "FeatureCollection", "features": [\n' + lines + "\n]}\n"
