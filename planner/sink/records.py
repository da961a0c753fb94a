"""The records of the sink model: the current, the cast and the swim."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from planner.errors import UsageMistake
from planner.sink.constants import constant

if TYPE_CHECKING:
    from planner.sink.line import Line

__all__ = ["MODES", "Cast", "Current", "Swim"]

NEAR_BED = 0.02
MODES = ("held", "fed", "mended")


@dataclass(frozen=True)
class Current:
    """A sheared current by the power law: ``u(z) = V (m+1)/m (1 - z/H)^(1/m)`` (1), z the depth.

    Nearer the bed than 2 % of the depth, and below it (a free bed), the value at 2 % stands.

    Parameters
    ----------
    mean_m_s : float
        Depth-averaged speed V [m/s].
    depth_m : float
        Depth H that the profile belongs to [m].
    exponent_m : float
        m of the exponent 1/m [1]; infinity gives a uniform current.
    across_y_m, across_share : tuple of float
        Where the current is known across the run: places across from the rod tip, rising [m], and the current there
        over that of the profile [1], interpolated; beyond the ends the end's value stands. Empty: the same everywhere.
    """

    mean_m_s: float
    depth_m: float
    exponent_m: float = 7.0
    across_y_m: tuple[float, ...] = ()
    across_share: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if not (
            math.isfinite(self.mean_m_s)
            and abs(self.mean_m_s) <= 5.0
            and math.isfinite(self.depth_m)
            and self.depth_m > 0.0
            and self.exponent_m >= 1.0
        ):
            raise UsageMistake(
                f"a current of {self.mean_m_s} m/s in {self.depth_m} m of water, exponent 1/{self.exponent_m}",
                "a speed up to 5 m/s, a depth above zero and m of at least 1",
                "correct the current or the depth",
            )
        places, shares = np.asarray(self.across_y_m, dtype=float), np.asarray(self.across_share, dtype=float)
        if not (
            places.shape == shares.shape
            and places.size != 1
            and np.all(np.isfinite(places))
            and np.all(np.diff(places) > 0.0)
            and np.all((shares >= -1.0) & (shares <= 5.0))
        ):
            raise UsageMistake(
                f"current across at {self.across_y_m} m, shares {self.across_share}",
                "as many rising places as shares, two at least, and shares of -1 to 5",
                "correct what is known across the run",
            )

    def at(self, depth_m: float | np.ndarray) -> np.ndarray:
        """Speed of the water at a depth [m/s].

        Examples
        --------
        >>> [round(float(u), 3) for u in Current(1.0, 2.0, 7.0).at(np.array([0.0, 1.0, 2.5]))]
        [1.143, 1.035, 0.654]
        """
        relative = np.clip(np.asarray(depth_m, dtype=float) / self.depth_m, 0.0, 1.0 - NEAR_BED)
        power = 1.0 / self.exponent_m
        return self.mean_m_s * (1.0 + power) * (1.0 - relative) ** power


@dataclass(frozen=True)
class Cast:
    """One cast and how it is fished.

    Parameters
    ----------
    cast_m : float
        Line out from the rod tip to the fly when it lands [m].
    angle_deg : float
        Direction of the cast: 0 straight downstream, 90 across, 180 upstream [degrees].
    strip_m_s : float
        Line speed of the retrieve, pauses included [m/s]; 0 leaves the line to swing.
    countdown_s : float
        Seconds from landing to the first strip [s].
    mode : str
        ``held``: the line's length is kept; ``fed``: slack is supplied at the tip without tension, as fast as the
        surface water runs past it, and retrieved before the fly moves; ``mended``: held, but one second after the
        landing and every `mend_every_s` from then on the line still on the surface is laid up-current in a bow, and
        as much line fed as the bow takes.
    stance : str
        ``wading``, ``bank``, ``anchored`` or ``drifting``.
    boat_speed_m_s : float
        Speed of the rod tip over ground, downstream [m/s]; 0 unless drifting.
    tip_height_m : float
        Height of the rod tip above the water [m].
    pickup_m : float
        Line out at which the line is picked up [m].
    lift_at_m : float
        Line out at which the rod tip starts to rise [m]; NaN leaves it low until the pick-up.
    lift_height_m : float
        How far the rod tip rises from there to the pick-up [m].
    pull_s, pause_s : float
        Length of one pull and of the pause after it [s]; the mean speed stays `strip_m_s`. No pause: a steady strip.
    mend_every_s : float
        Time between mends, when mended [s].
    """

    cast_m: float
    angle_deg: float = 90.0
    strip_m_s: float = 0.45
    countdown_s: float = 0.0
    mode: str = "held"
    stance: str = "wading"
    boat_speed_m_s: float = 0.0
    tip_height_m: float = 0.0
    pickup_m: float = constant("pickup_length")
    lift_at_m: float = math.nan
    lift_height_m: float = 1.5
    pull_s: float = 0.0
    pause_s: float = 0.0
    mend_every_s: float = constant("mend_every")

    def __post_init__(self) -> None:
        wrong = [
            text
            for bad, text in (
                (not 1.0 <= self.cast_m <= 60.0, f"a cast of {self.cast_m:g} m (1 to 60 m)"),
                (not -360.0 <= self.angle_deg <= 360.0, f"an angle of {self.angle_deg:g} degrees"),
                (not 0.0 <= self.strip_m_s <= 3.0, f"a strip of {self.strip_m_s:g} m/s (0 to 3 m/s)"),
                (not 0.0 <= self.countdown_s <= 600.0, f"a countdown of {self.countdown_s} s (0 to 600 s)"),
                (self.mode not in MODES, f"countdown mode {self.mode!r} (held, fed or mended)"),
                (
                    self.stance not in ("wading", "bank", "anchored", "drifting"),
                    f"stance {self.stance!r} (wading, bank, anchored or drifting)",
                ),
                (not abs(self.boat_speed_m_s) <= 5.0, f"a boat speed of {self.boat_speed_m_s:g} m/s"),
                (not 0.0 <= self.tip_height_m <= 4.0, f"a rod tip {self.tip_height_m} m above the water (0 to 4 m)"),
                (not self.pickup_m >= 0.5, f"a pick-up with {self.pickup_m} m of line out (at least 0.5 m)"),
                (not 0.0 <= self.lift_height_m <= 4.0, f"a lift of {self.lift_height_m} m (0 to 4 m)"),
                (not 0.0 <= self.pause_s <= 20.0, f"a pause of {self.pause_s} s (0 to 20 s)"),
                (
                    self.pause_s > 0.0 and not 0.1 <= self.pull_s <= 20.0,
                    f"a pull of {self.pull_s} s before a pause (0.1 to 20 s)",
                ),
                (
                    self.pause_s > 0.0 and self.strip_m_s * (1.0 + self.pause_s / max(self.pull_s, 0.1)) > 4.5,
                    f"pulls of {self.strip_m_s * (1.0 + self.pause_s / max(self.pull_s, 0.1)):.1f} m/s (up to 4.5 m/s)",
                ),
                (not 0.5 <= self.mend_every_s <= 60.0, f"a mend every {self.mend_every_s} s (0.5 to 60 s)"),
            )
            if bad
        ]
        if wrong:
            raise UsageMistake("; ".join(wrong), "values within the ranges named", "correct the cast")


@dataclass(frozen=True)
class Swim:
    """The whole path of the fly from landing to pick-up; arrays have shape (T,).

    Attributes
    ----------
    times_s : array
        Time since landing [s].
    fly_depth_m, fly_x_m, fly_y_m : array
        Depth of the fly, and its place downstream and across from the rod tip [m].
    fly_distance_m : array
        Horizontal distance of the fly from the rod tip [m].
    tension_n : array
        Tension of the line at the rod tip, from end-of-step lengths [N].
    phase : array of int
        0 countdown, 1 retrieve, 2 lift.
    low_depth_m : array
        Depth of the deepest node of line or fly [m].
    line_out_m : array
        Line outside the rod tip [m].
    depth_at_strip_start_m, mean_depth_retrieve_m, max_depth_m : float
        Depth of the fly at the first strip; mean in the retrieve; largest of the swim [m].
    touched : bool
        Whether any node or the fly touched the bed; False with a free bed.
    touch_at_m : float
        Horizontal distance from the rod tip of the first touch [m]; NaN when none.
    hang : bool
        Contact in slack, or for longer than one second.
    relative_speed_m_s : float
        Mean speed of the fly through the water in the retrieve [m/s].
    sanity_depth_m : float
        Closed form beside the swim: sunk length × sink rate / relative speed [m].
    fed_m : float
        Line fed during the countdown [m].
    line : Line
        The line with its diameter and density.
    height_m, clearance_m : array
        Height of the fly, and of the node nearest to the bed, above it [m]; infinite over a free bed.
    fly_speed_m_s : array
        Speed of the fly through the water [m/s].
    stretch : float
        Largest stretch of any link below the one at the rod tip [1].
    low_distance_m : array
        Horizontal distance of the deepest node from the rod tip [m].
    """

    times_s: np.ndarray
    fly_depth_m: np.ndarray
    fly_x_m: np.ndarray
    fly_y_m: np.ndarray
    fly_distance_m: np.ndarray
    tension_n: np.ndarray
    phase: np.ndarray
    low_depth_m: np.ndarray
    line_out_m: np.ndarray
    depth_at_strip_start_m: float
    mean_depth_retrieve_m: float
    max_depth_m: float
    touched: bool
    touch_at_m: float
    hang: bool
    relative_speed_m_s: float
    sanity_depth_m: float
    fed_m: float
    line: Line
    height_m: np.ndarray
    clearance_m: np.ndarray
    fly_speed_m_s: np.ndarray
    stretch: float
    low_distance_m: np.ndarray

    @property
    def line_diameter_m(self) -> float:
        """Diameter of the sinking part of the line [m]."""
        return self.line.head_diameter_m

    @property
    def line_density_kg_m3(self) -> float:
        """Density of the sinking part of the line [kg/m³]."""
        return self.line.head_density_kg_m3
