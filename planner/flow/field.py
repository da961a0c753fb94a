"""Depth and current at points of a run: the bed below, the current shared across its sections."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from planner.bed.confidence import confidence
from planner.bed.surface import Bed, Grid
from planner.flow.profile import exponent_of
from planner.flow.state import TEN_NINETY, FlowState
from planner.tables import constants

if TYPE_CHECKING:
    from planner.flow.runflow import RunFlow

__all__ = ["bed_around", "factors", "ground_at", "local_at", "node_speeds"]

Floats = npt.NDArray[np.float64]

_FEW, _MOST_KEPT = 500, 2000
_RIM = 10.0  # how far outside the outline the bed at its rim is carried on [m]


def ease_of(flow: RunFlow, grid: Grid) -> Floats:
    """n of the channel over the local n at the nodes [1]; 1 where no shelf has its own."""
    return flow.ease if flow.ease is not None else np.ones_like(grid.z)


def factors(flow: RunFlow, grid: Grid, state: FlowState) -> Floats:
    """v / (ease h^(2/3)) at each station of the grid [m^(1/3)/s].

    Unit discharge is shared across a section by ease h^(5/3), local conveyance at a common slope (1), so
    v = Q ease h^(2/3) / integral of ease h^(5/3) dn (2). Where the outline does not span the flow, one factor serves
    the whole run instead of (2)'s own one at every section.
    """
    depth = np.maximum(state.level_m - grid.z, 0.0) if math.isfinite(state.level_m) else np.zeros_like(grid.z)
    power = depth ** (5.0 / 3.0) * ease_of(flow, grid)
    share = ((power[:, 1:] + power[:, :-1]) / 2 * np.diff(grid.n, axis=1)).sum(axis=1)
    carried = state.velocity_used_m_s * state.area_m2
    if not flow.spans:
        use = grid.whole if grid.whole.any() else np.ones_like(grid.whole)
        share = np.full_like(share, share[use].mean())
    return np.divide(carried, share, out=np.full_like(share, np.nan), where=share > 1e-9)


def node_speeds(flow: RunFlow, grid: Grid, state: FlowState) -> Floats:
    """Depth-averaged current at the nodes of the grid [m/s]; 0 on dry ground."""
    depth = np.maximum(state.level_m - grid.z, 0.0)
    return depth ** (2.0 / 3.0) * ease_of(flow, grid) * np.nan_to_num(factors(flow, grid, state))[:, None]


def ground_at(flow: RunFlow, bed: Bed, x: Floats, y: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """s, n, bed level and its standard deviation at local points [m]; the rim is carried on a little way outside."""
    import shapely

    s, n = flow.frame.to_sn(x, y)
    known = np.isfinite(s)
    z, sd = bed.quick(np.where(known, s, 0.0), np.where(known, n, 0.0))
    # a hole is ground that the grid knows; only beyond the outer ring is the bed carried on
    shell = _shell(flow.polygon)
    away = np.zeros(np.shape(x))
    outside = ~shapely.contains_xy(shell, x, y)
    if outside.any():
        away[outside] = shapely.distance(shell, shapely.points(x[outside], y[outside]))
    near = known & (away <= _RIM)
    return s, n, np.where(near, z, np.nan), np.where(near, np.hypot(sd, 0.15 * away), np.nan)


def bed_around(flow: RunFlow, bed: Bed, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Bed level and its standard deviation of `ground_at` for many points, most of them on land [m].

    Only those that can be known, not far outside the outline, are turned into channel coordinates.
    """
    import shapely

    z, sd = np.full(np.shape(x), np.nan), np.full(np.shape(x), np.nan)
    # the buffer's corners are cut, so it is drawn a little wide; what is too far is left out by `ground_at`
    near = np.asarray(shapely.contains_xy(_shell(flow.polygon).buffer(_RIM + 0.5), x, y))
    if near.any():
        _, _, z[near], sd[near] = ground_at(flow, bed, x[near], y[near])
    return z, sd


def _ground_again(flow: RunFlow, bed: Bed, x: Floats, y: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """`ground_at`, remembered for some points: spots are asked for at every step of the ladder and every hour."""
    if x.size > _FEW:
        return ground_at(flow, bed, x, y)
    key = x.tobytes() + y.tobytes()
    if key not in flow.grounds:
        if len(flow.grounds) >= _MOST_KEPT:
            flow.grounds.clear()
        flow.grounds[key] = ground_at(flow, bed, x, y)
    return flow.grounds[key]


def _shares_again(flow: RunFlow, grid: Grid, state: FlowState) -> tuple[Floats, Any]:
    """`factors` and the class of the water at the nodes, remembered: all spots of a run ask at the same levels."""
    from planner.flow.slack import water_nodes

    key = (state.level_m, state.velocity_used_m_s, state.area_m2, state.n)
    if key not in flow.shares:
        if len(flow.shares) >= _MOST_KEPT // 10:
            flow.shares.clear()
        known = math.isfinite(state.level_m) and math.isfinite(state.velocity_used_m_s)
        flow.shares[key] = (factors(flow, grid, state), water_nodes(flow, state, grid) if known else None)
    return flow.shares[key]


def _shell(polygon: Any) -> Any:
    from shapely.geometry import Polygon

    return Polygon(polygon.exterior) if polygon.interiors else polygon


def local_at(flow: RunFlow, state: FlowState, lon: npt.ArrayLike, lat: npt.ArrayLike) -> dict[str, Any]:
    """Depth and current at points; see `RunFlow.local`."""
    import shapely

    x, y = flow.plane.to_xy(np.atleast_1d(lon), np.atleast_1d(lat))
    inside = shapely.contains_xy(flow.polygon, x, y)
    if flow.bed is None or flow.bed.grid is None or flow.tree is None:
        names = (
            "depth_m", "depth_sd_m", "velocity_m_s", "velocity_low_m_s", "velocity_high_m_s", "surface_m_s",
            "exponent_m", "distance_to_sounding_m",
        )  # fmt: skip
        blank: dict[str, Any] = {name: np.full(x.shape, np.nan) for name in names}
        return blank | {"inside": inside, "confidence": np.full(x.shape, "guessed"), "water": np.full(x.shape, "")}
    bed, grid = flow.bed, flow.bed.grid
    s, n, z, sd = _ground_again(flow, bed, x, y)
    depth = state.level_m - z
    wet = np.maximum(np.nan_to_num(depth), 0.0)
    depth_sd = np.hypot(sd, state.level_sd_m)
    known = inside & np.isfinite(depth)
    n_used = flow.n_calibrated if math.isfinite(flow.n_calibrated) else state.n
    exponent = exponent_of(n_used, wet)
    if state.basis == "still":
        speed = np.where(wet > 0, 0.0, np.nan)
        low, high = speed, speed + state.velocity_high_m_s
        water = np.where(known, "slack", "")
    else:
        from planner.flow.slack import water_at

        ease = Grid.bilinear(ease_of(flow, grid), grid.cell(np.nan_to_num(s), np.nan_to_num(n)))
        shares, kinds = _shares_again(flow, grid, state)
        speed = wet ** (2.0 / 3.0) * ease * np.interp(s, grid.s, shares)
        part = np.clip(np.nan_to_num(depth_sd) / np.where(wet > 0.05, wet, 0.05), 0.0, 1.0)
        spread = np.sqrt(state.velocity_ln_sd**2 + constants("flow")["lateral_ln_sd"] ** 2 + (2.0 / 3.0 * part) ** 2)
        low, high = speed * np.exp(-TEN_NINETY * spread), speed * np.exp(TEN_NINETY * spread)
        water = np.where(known, water_at(grid, kinds, s, n), "")
    scaled = np.column_stack((s / bed.stretch, n))
    far = np.full(len(s), np.inf)
    far[np.isfinite(s)] = bed.nearest(scaled[np.isfinite(s)])
    return {
        "depth_m": depth,
        "depth_sd_m": depth_sd,
        "velocity_m_s": np.where(known, speed, np.nan),
        "velocity_low_m_s": np.where(known, low, np.nan),
        "velocity_high_m_s": np.where(known, high, np.nan),
        "surface_m_s": np.where(known, speed * (exponent + 1) / exponent, np.nan),
        "exponent_m": exponent,
        "distance_to_sounding_m": flow.tree.query(np.column_stack((x, y)))[0],
        "inside": inside,
        "confidence": confidence(sd, far, bed.error.tested),
        "water": water,
    }
