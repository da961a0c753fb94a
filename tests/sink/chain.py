"""The solver's own step on a bare chain of nodes, for checks against closed forms."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from planner.sink.constants import constant
from planner.sink.drag import cn_table
from planner.sink.solver import BED, COLUMNS, DIAMETER, DISPLACED, MASS, REST, SHARE, step

__all__ = ["run_chain"]


def run_chain(
    places: np.ndarray,
    diameter: float,
    density: float,
    body: tuple[float, float, float],
    *,
    seconds: float,
    dt: float,
    u: float = 0.0,
    rho: float | None = None,
    cn: float = 1.2,
    ct: float = 0.0,
    stiff: float = 1000.0,
    moving: np.ndarray | None = None,
    see: Callable[[float, np.ndarray, float], None] | None = None,
) -> np.ndarray:
    """Nodes after some seconds in a uniform current.

    Parameters
    ----------
    places : array, shape (n + 1, 3)
        From the body to the held end, depth positive down [m].
    diameter, density : float
        Of the line [m], [kg/m³].
    body : tuple
        Mass [kg], displaced mass [kg], drag coefficient × area [m²] of the body at the free end.
    seconds, dt : float
        How long, and the step [s].
    u, rho, cn, ct, stiff : float
        Current [m/s], density of the water [kg/m³], drag coefficients, EA [N].
    moving : array, shape (n, 3), optional
        Velocities at the start [m/s].
    see : callable, optional
        Called after each step with the time, the nodes and the tension at the held end.
    """
    n = len(places) - 1
    rho = constant("water_density") if rho is None else rho
    area = np.pi / 4.0 * diameter**2
    st, work = np.zeros((n, COLUMNS)), np.zeros((n, COLUMNS))
    st[:, :3] = places[:-1] - [places[-1][0], places[-1][1], 0.0]
    if moving is not None:
        st[:, 3:6] = moving
    st[:, REST] = np.linalg.norm(np.diff(places, axis=0), axis=1)
    st[:, DIAMETER], st[:, MASS], st[:, DISPLACED] = diameter, density * area, rho * area
    st[:, BED], st[:, SHARE] = np.inf, 1.0
    fly = np.array([body[0], body[1], body[2], body[2], 0.0])
    const = np.array([rho, constant("water_viscosity"), constant("gravity"), stiff, ct, 0.0, 0.0, 0.0])
    table, current = cn_table(cn), np.full(65, u)
    for k in range(round(seconds / dt)):
        tension = step(st, n, work, dt, float(places[-1][2]), current, 1.0, table, fly, const)[0]
        if see is not None:
            see((k + 1) * dt, st, tension)
    return st
