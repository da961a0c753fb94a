"""The records that go into the advice and come out of it; all frozen, SI, unknown is NaN."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np

from planner import tables

__all__ = [
    "Advice",
    "AdviceReport",
    "AtLevel",
    "BedPatch",
    "Choice",
    "RodToRig",
    "Settings",
    "SpotAtLevels",
    "constants",
]


def constants() -> MappingProxyType[str, float]:
    """Priors and choices of the advice, from ``planner/tables/advice.csv`` [SI]."""
    return tables.constants("advice")


@dataclass(frozen=True)
class Settings:
    """What the user may set about the advice.

    Parameters
    ----------
    hang_limit : float
        Largest hang chance allowed [1].
    strips_m_s : tuple of float
        Strip paces tried, means including pauses [m/s].
    modes : tuple of str
        Countdown modes tried, of ``held`` and ``fed``; with ``fed`` mends are tried on the best of them.
    shortlist : int
        Rigs kept per spot after the screening.
    draws : int
        Size of the quasi-Monte-Carlo set, a power of two.
    seed : int
        Seed of its scrambling.
    max_rods : int
        Rods the angler takes along.
    units : str
        ``us`` or ``metric``, for the sentences.
    """

    hang_limit: float = field(default_factory=lambda: constants()["hang_limit"])
    strips_m_s: tuple[float, ...] = field(
        default_factory=lambda: tuple(constants()[f"strip_{pace}_m_s"] for pace in ("slow", "normal", "fast"))
    )
    modes: tuple[str, ...] = ("held", "fed")
    shortlist: int = 8
    draws: int = 128
    seed: int = 20
    max_rods: int = 3
    units: str = "us"


@dataclass(frozen=True)
class BedPatch:
    """The water's depth around the landing when the surface stands at the reference level.

    Parameters
    ----------
    east_m, north_m : numpy.ndarray
        Ascending offsets from the landing, shapes (nx,) and (ny,) [m].
    depth_m : numpy.ndarray
        Depth, shape (ny, nx); negative on dry ground, NaN outside the run [m].
    sd_m : numpy.ndarray
        Its standard error, shape (ny, nx) [m].
    """

    east_m: np.ndarray
    north_m: np.ndarray
    depth_m: np.ndarray
    sd_m: np.ndarray


@dataclass(frozen=True)
class AtLevel:
    """A spot at one level of the ladder.

    Parameters
    ----------
    rise_m : float
        Level of the run's surface above that at which the patch's depths were taken [m].
    depth_m : float
        Depth of the profile of current the swim feels: that at the landing [m].
    velocity_m_s, velocity_low_m_s, velocity_high_m_s : float
        Depth-averaged current there, and its 10 and 90 % values; NaN unknown [m/s].
    exponent_m : float
        Exponent m of the power law u ~ h^(1/m) [1].
    level_sd_m : float
        Standard error of the run's level [m].
    boat_velocity_m_s : float
        Depth-averaged current at a drifting boat; NaN takes `velocity_m_s` [m/s].
    planned : bool
        Whether this is the level that is planned for: the finalists are solved directly on the true geometry, and the
        answer is told in full.
    near : bool
        Whether the river may well stand here instead: the finalists are solved directly too.
    step : int
        Which step of the ladder of round readings this is, counted so that the same reading has the same number
        tomorrow; its place among the levels when negative.
    limits : tuple of str
        What weakens the answer at this level, in words.
    """

    rise_m: float
    depth_m: float
    velocity_m_s: float
    velocity_low_m_s: float
    velocity_high_m_s: float
    exponent_m: float
    level_sd_m: float = 0.0
    boat_velocity_m_s: float = float("nan")
    planned: bool = False
    near: bool = False
    limits: tuple[str, ...] = ()
    step: int = -1


@dataclass(frozen=True)
class SpotAtLevels:
    """One spot with all that the advice needs to know of the river there.

    Parameters
    ----------
    spot : planner.river.Spot
        Its ``id``, ``stance`` and ``boat_speed_ratio`` are read.
    cast_m : float
        Horizontal distance from the rod tip to the landing [m].
    angle_deg : float
        Angle of the cast from straight downstream, 0 to 180 [deg].
    flow_east, flow_north : float
        Unit vector of the current at the landing [1].
    side : int
        +1 when the landing lies to the left of the current's line through the stance, else -1.
    patch : BedPatch
        Bed around the landing.
    levels : tuple of AtLevel
        The ladder's levels, ascending.
    river : bool
        False in a still run: there a sinking running line is allowed and the current is zero.
    hold_low_m, hold_high_m : float
        Hold band, heights above the bed [m].
    soundings : int
        Soundings behind the bed; none gives no advice.
    bed_known : float
        Standard deviation of the spot's depth offset over that of its prior: below 1 after logged swims [1].
    """

    spot: Any
    cast_m: float
    angle_deg: float
    flow_east: float
    flow_north: float
    side: int
    patch: BedPatch
    levels: tuple[AtLevel, ...]
    river: bool
    hold_low_m: float
    hold_high_m: float
    soundings: int
    bed_known: float = 1.0


@dataclass(frozen=True)
class Choice:
    """A line, a fly and how to fish them, with what the model expects of them.

    Chances are shares of the draws; `fly_depth_m` holds the 10, 50 and 90 % of the fly's mean depth in the
    retrieve below the surface [m]; distances are horizontal from the rod tip [m]; `bed_m` is the bed's mean depth under
    the retrieve [m]; `leader_m` is the length of the leader where it is not the box's own, else NaN [m]; `refined`
    tells whether it was solved directly; `seconds` holds count [s], band time [s], touch and hang chance [1] of each
    second weighed, at the level that is planned for.
    """

    line: str
    fly: str
    countdown_mode: str
    countdown_from_s: float
    countdown_to_s: float
    strip_m_s: float
    lift_rod_at_m: float
    fly_depth_m: tuple[float, float, float]
    band_time_s: float
    touch_chance: float
    hang_chance: float
    why: str
    countdown_best_s: float = float("nan")
    swim_s: float = float("nan")
    refined: bool = False
    bed_m: float = float("nan")
    leader_m: float = float("nan")
    seconds: tuple[tuple[float, float, float, float], ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """The choice in the shape of ``plan.json``; unknown is None."""
        names = (
            "line fly countdown_mode countdown_from_s countdown_to_s strip_m_s lift_rod_at_m band_time_s touch_chance "
            "hang_chance leader_m why"
        ).split()
        found = {name: getattr(self, name) for name in names}
        found["fly_depth_m"] = [_known(depth) for depth in self.fly_depth_m]
        return {name: _known(value) for name, value in found.items()}


def _known(value: Any) -> Any:
    if isinstance(value, float):
        return None if value != value else round(value, 4)
    return value


@dataclass(frozen=True)
class Advice:
    """The answer for one spot at one level.

    Parameters
    ----------
    spot : str
        The spot's id.
    best, next_best : Choice or None
        The best choice, and the best with another rig, or failing one with the same rig in another mode.
    none_because : str
        Why there is no best choice; empty when there is one.
    by_line : dict
        What each line is worth within the hang limit, on its own leader or another [s] (see `objective.worth`), and the
        fly that gives it, by the line's name.
    compromise : Choice or None
        Where the hang limit leaves nothing: the choice that hangs least.
    limits : tuple of str
        What weakens the answer, in words.
    sensitivity : tuple
        Of `planner.advice.sensitivity.Sensitivity`, the unknown that matters most first; at the level that is planned
        for, as are the next two.
    tips : tuple of str
        What else would give more, each checked by a swim.
    if_lower, if_higher : str
        What changes one step down or up.
    beyond_reach : bool
        Whether there is no answer because nothing in the box gets down to the band.
    reach_ends : tuple of (int, int) or None
        Index of the first higher level that is beyond the box's reach, and the slowest class of head that a swim says
        would do there [in/s], 0 when none would.
    planned : bool
        Whether this is the level that is planned for.
    """

    spot: str
    best: Choice | None
    next_best: Choice | None
    none_because: str = ""
    by_line: dict[str, tuple[float, str]] = field(default_factory=dict)
    compromise: Choice | None = None
    limits: tuple[str, ...] = ()
    sensitivity: tuple[Any, ...] = ()
    tips: tuple[str, ...] = ()
    if_lower: str = ""
    if_higher: str = ""
    beyond_reach: bool = False
    reach_ends: tuple[int, int] | None = None
    planned: bool = False


@dataclass(frozen=True)
class RodToRig:
    """One rod of the day: its line, the flies to carry for it, and the spots it serves."""

    line: str
    flies: tuple[str, ...]
    spots: tuple[str, ...]
    band_time_s: float
    lost_share: float

    def as_dict(self) -> dict[str, Any]:
        """The rod in the shape of ``plan.json``."""
        return {
            "line": self.line,
            "flies": list(self.flies),
            "spots": list(self.spots),
            "band_time_s": round(self.band_time_s, 2),
            "lost_share": round(self.lost_share, 4),
        }


@dataclass(frozen=True)
class AdviceReport:
    """What the advice cost: swims solved, tables taken from the disk, and wall time [s]."""

    swims: int
    direct_swims: int
    tables_from_disk: int
    tables_solved: int
    seconds_tables: float
    seconds_search: float
    seconds_refine: float

    def __str__(self) -> str:
        return (
            f"{self.swims + self.direct_swims} swims run ({self.direct_swims} direct), "
            f"{self.tables_from_disk} swim tables from the disk, {self.tables_solved} solved, "
            f"{self.seconds_tables + self.seconds_search + self.seconds_refine:.1f} s"
        )
