"""How long the boat takes down the river: the current on the flowline, its slow side, and the wind."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from planner.trip.route import Route, setting

if TYPE_CHECKING:
    from planner.flow import RunFlow
    from planner.flow.state import FlowState

__all__ = ["DriftThread", "Reach", "default_slow", "drift_thread", "leg_seconds", "reaches"]


@dataclass(frozen=True)
class DriftThread:
    """The current that a boat meets on the flowline through one run, piece by piece.

    Parameters
    ----------
    edges : tuple of float
        Stations of the pieces' ends along the flowline [m], ascending, one more than there are pieces.
    usual, slow : tuple of float
        Surface speed of each piece at the median, and on the slow side (10 %, without the surface's lead) [m/s];
        NaN unknown.
    """

    edges: tuple[float, ...]
    usual: tuple[float, ...]
    slow: tuple[float, ...]


@dataclass(frozen=True)
class Reach:
    """A piece of river with one speed: stations of its ends [m], usual and slow speed over ground [m/s]."""

    upper: float
    lower: float
    usual: float
    slow: float


def drift_thread(route: Route, run_id: str, flow: RunFlow, state: FlowState, every: float = 10.0) -> DriftThread | None:
    """Sample the velocity field of a run along the flowline.

    Parameters
    ----------
    route : Route
        With its flowline.
    run_id : str
        The run.
    flow : RunFlow
        Its bed and current.
    state : FlowState
        The run at the reading to plan with.
    every : float
        Length of a piece at most [m].

    Returns
    -------
    DriftThread or None
        None without a flowline, or where no piece of it lies on soundings.

    Notes
    -----
    The boat moves with the surface, (1 + 1/m) times the depth-averaged current of the power law; its slow side takes
    the 10 % of the depth-averaged current and no such lead.
    """
    import numpy as np

    from planner.flow import surface_speed

    if not route.path or run_id not in route.runs:
        return None
    upper, lower = route.runs[run_id]
    if not (math.isfinite(upper) and lower > upper):
        return None
    edges = np.linspace(upper, lower, max(math.ceil((lower - upper) / every), 1) + 1)
    places = np.array([route.at((a + b) / 2) for a, b in itertools.pairwise(edges)])
    here = flow.local(state, places[:, 0], places[:, 1])
    inside = np.asarray(here["inside"], dtype=bool)
    mean = np.where(inside, here["velocity_m_s"], np.nan)
    slow = np.where(inside, here["velocity_low_m_s"], np.nan)
    usual = surface_speed(mean, np.asarray(here["exponent_m"], dtype=float))
    slow = np.fmin(np.where(np.isfinite(slow), slow, mean), usual)
    if not np.isfinite(usual).any():
        return None
    return DriftThread(tuple(edges.tolist()), tuple(usual.tolist()), tuple(slow.tolist()))


def _over_ground(speed: float, against: float) -> float:
    """Speed on the slow side with wind up the river; a rower still makes a little way."""
    return max(speed - setting("leeway") * max(against, 0.0), setting("least_drift"))


def reaches(route: Route, flows: Mapping[str, Any] | None, against: float = 0.0) -> list[Reach]:
    """Every piece of river whose current is known.

    Parameters
    ----------
    route : Route
        Stations of the runs.
    flows : mapping, optional
        Run id to a `DriftThread`, to its current [m/s], or to anything with `velocity_used_m_s`.
    against : float
        Wind up the river [m/s]; NaN unknown counts as none.

    Returns
    -------
    list of Reach
        Still or unknown pieces are left out: there the default holds.
    """
    wind = against if math.isfinite(against) else 0.0
    share = setting("slow_share")
    found = []
    for run, flow in (flows or {}).items():
        if run not in route.runs:
            continue
        if isinstance(flow, DriftThread):
            for (a, b), usual, slow in zip(itertools.pairwise(flow.edges), flow.usual, flow.slow, strict=True):
                if math.isfinite(usual) and usual > 0:
                    low = slow if math.isfinite(slow) and slow > 0 else usual * share
                    found.append(Reach(a, b, usual, _over_ground(low, wind)))
            continue
        value = getattr(flow, "velocity_used_m_s", flow)
        if value is not None and math.isfinite(float(value)) and float(value) > 0:
            upper, lower = route.runs[run]
            found.append(Reach(upper, lower, float(value), _over_ground(float(value) * share, wind)))
    return found


def default_slow(against: float = 0.0) -> float:
    """Slow side of the speed where no run tells the current [m/s]."""
    return _over_ground(setting("drift_speed") * setting("slow_share"), against if math.isfinite(against) else 0.0)


def leg_seconds(upper: float, lower: float, pieces: Sequence[Reach], default: float, slow: bool = False) -> float:
    """Time to drift from one station to a lower one.

    Parameters
    ----------
    upper, lower : float
        Stations [m].
    pieces : sequence of Reach
        Where the current is known; where they overlap the slower speed counts.
    default : float
        Speed elsewhere [m/s].
    slow : bool
        Take the slow side.

    Returns
    -------
    float
        Seconds; 0 where a station is unknown or lies upstream.

    Examples
    --------
    >>> leg_seconds(0, 100, [Reach(20, 60, 0.5, 0.25)], 1.0), leg_seconds(0, 100, [Reach(20, 60, 0.5, 0.25)], 1.0, True)
    (140.0, 220.0)
    """
    if not (math.isfinite(upper) and math.isfinite(lower)) or lower <= upper:
        return 0.0
    near = [piece for piece in pieces if piece.upper < lower and piece.lower > upper]
    cuts = {upper, lower}
    for piece in near:
        cuts |= {max(piece.upper, upper), min(piece.lower, lower)}
    total = 0.0
    for a, b in itertools.pairwise(sorted(cuts)):
        middle = (a + b) / 2
        speeds = [piece.slow if slow else piece.usual for piece in near if piece.upper <= middle <= piece.lower]
        total += (b - a) / (min(speeds) if speeds else default)
    return total
