"""Which unknown matters most at a spot: its part in the doubt of the fly's height, and what knowing it would give."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from planner.advice.draws import ROWS, deviations, draw
from planner.advice.field import Field
from planner.advice.records import Settings, constants
from planner.advice.search import Candidate, ground_rows, track_rows
from planner.advice.swum import Ground
from planner.advice.tables import Rig
from planner.advice.weigh import Tracks, geometry, height_over_bed, weigh

__all__ = ["UNKNOWNS", "Sensitivity", "sensitivity_of", "variances"]

# What tables and straight responses miss acts like a level that is less known (see `field.Field.spread`); a reader is
# told of it by its own name, for no staff gauge makes it smaller.
MODEL = "model's own error"

# What a reader calls an unknown, the rows of the deviations that belong to it, and the unit of its spread.
UNKNOWNS: dict[str, tuple[tuple[str, ...], str]] = {
    "bed": (("bed_offset", "bed_cosine", "bed_sine"), "m"),
    "current": (("current",), "1"),
    "level": (("level",), "m"),
    MODEL: (("level",), "m"),
    "line's sink rate": (("sink_slower", "sink_faster"), "1"),
    "fly's drag": (("drag_area",), "1"),
    "fly's lift": (("lift",), "m2"),
    "count": (("count", "count_offset"), "s"),
    "length of the cast": (("cast",), "1"),
    "boat's speed": (("boat",), "1"),
}


_LEVEL = ROWS.index("level")


@dataclass(frozen=True)
class Sensitivity:
    """One unknown's part at one spot.

    Parameters
    ----------
    unknown : str
        A key of `UNKNOWNS`.
    sd, unit : float, str
        Its standard deviation, in its unit; ``1`` is a share of the value [1].
    height_m : float
        Standard deviation that it alone gives the fly's height in the retrieve [m].
    share : float
        Its share of the variance of that height [1].
    band_if_known_s, hang_if_known : float
        Largest band time within the hang limit, and hang chance at the advised count, were it known to be at its
        median [s], [1].
    """

    unknown: str
    sd: float
    unit: str
    height_m: float
    share: float
    band_if_known_s: float
    hang_if_known: float

    def as_dict(self) -> dict[str, Any]:
        """In the shape of ``plan.json``."""
        return {
            "unknown": self.unknown,
            "knowable": self.unknown != MODEL,  # no one can look up what the model misses
            "sd": round(self.sd, 6),
            "unit": self.unit,
            "height_sd_m": round(self.height_m, 4),
            "share": round(self.share, 4),
            "band_if_known_s": round(self.band_if_known_s, 3),
            "hang_if_known": round(self.hang_if_known, 4),
        }


def variances(field: Field, row: int, rig: Rig, countdown_s: float, tracks: Tracks) -> dict[str, float]:
    """Variance that each unknown alone gives the fly's height in the retrieve after a countdown [m²].

    Parameters
    ----------
    field, row, rig : Field, int, Rig
        The spot, the row of its levels, the rig.
    countdown_s : float
        The countdown [s].
    tracks : Tracks
        Of this level alone.
    """
    scaled = heights(tracks, ground_rows(field.ground, [row]), field.spread(rig)[[row]], countdown_s)
    squares = dict(zip(ROWS, (scaled**2).mean(axis=0).tolist(), strict=True))
    squares["sink_slower"], squares["sink_faster"] = squares["sink_slower"] / 2, squares["sink_faster"] / 2
    # what moves the fly or the bed by a length is told by cosine and sine together
    parts = {name: sum(squares[r] for r in rows) for name, (rows, _) in UNKNOWNS.items()}
    level = field.doubts[int(field.levels[row])][1] ** 2
    parts[MODEL] = max(parts[MODEL] - level, 0.0)
    parts["level"] = level
    return parts


def sensitivity_of(
    field: Field, row: int, rig: Rig, candidate: Candidate, at: int, tracks: Tracks, settings: Settings
) -> tuple[Sensitivity, ...]:
    """The unknowns of a candidate at a level, the one that matters most first.

    The fly's height is linear in the unknowns (equation 1 of `planner.advice.weigh`), so their variances add and
    the shares are exact within the model.

    Parameters
    ----------
    field, row : Field, int
        The spot and the row of its levels.
    rig : Rig
        Of the candidate.
    candidate, at : Candidate, int
        How it is fished, and the index of the countdown.
    tracks : Tracks
        Of this level alone.
    settings : Settings
        Draws, seed, hang limit.
    """
    spread = field.spread(rig)[[row]]
    ground = ground_rows(field.ground, [row])
    parts = variances(field, row, rig, float(candidate.seconds[at]), tracks)
    total = max(sum(parts.values()), 1e-12)
    names = [name for name in UNKNOWNS if parts[name] > 0]
    if not names:
        return ()
    each = np.repeat(spread, len(names), axis=0)
    for k, name in enumerate(names):
        each[k, [ROWS.index(r) for r in UNKNOWNS[name][0]]] = 0.0
        if name in ("level", MODEL):  # they share a row: knowing one leaves the other
            each[k, _LEVEL] = math.sqrt(parts["level" if name == MODEL else MODEL])
    near = slice(max(at - 3, 0), at + 4)
    seconds = candidate.seconds[near]
    known = weigh(
        track_rows(tracks, [0] * len(names)),
        ground_rows(ground, [0] * len(names)),
        each,
        deviations(draw(settings.draws, settings.seed)),
        seconds,
    )
    inside = np.where(known.hang_chance <= settings.hang_limit + 1e-9, known.band_time_s, 0.0).max(axis=1)
    here = at - near.start
    found = [
        Sensitivity(
            name,
            _sd(name, spread[0], float(np.sqrt(parts[name])), float(candidate.seconds[at])),
            UNKNOWNS[name][1],
            float(np.sqrt(parts[name])),
            float(parts[name] / total),
            float(inside[k]),
            float(known.hang_chance[k, here]),
        )
        for k, name in enumerate(names)
    ]
    return tuple(sorted(found, key=lambda one: -one.share))


def _sd(name: str, spread: np.ndarray, height_m: float, seconds: float) -> float:
    """Standard deviation of an unknown in its own unit; bed, level and model move the height by as much as they do."""
    rows = dict(zip(ROWS, spread, strict=True))
    if name in ("bed", "level", MODEL):
        return height_m
    if name == "count":
        return float(np.hypot(rows["count"] * seconds, constants()["count_offset_sd_s"]))
    if name == "line's sink rate":
        return float(np.sqrt((rows["sink_slower"] ** 2 + rows["sink_faster"] ** 2) / 2))
    return float(rows[UNKNOWNS[name][0][0]])


def heights(tracks: Tracks, ground: Ground, spread: np.ndarray, countdown_s: float) -> np.ndarray:
    """Responses of the fly's height in the retrieve, times the spreads, at one level after one countdown.

    Parameters
    ----------
    tracks, ground : Tracks, Ground
        Of one level.
    spread : numpy.ndarray
        Shape (1, P).
    countdown_s : float
        The countdown [s].

    Returns
    -------
    numpy.ndarray
        Over the spot's own water, shape (T, P) [m].
    """
    knots, patch, c = tracks.knots_s, ground.patch, constants()
    k = int(np.clip(np.searchsorted(knots, countdown_s) - 1, 0, len(knots) - 2))
    b = float(np.clip((countdown_s - knots[k]) / (knots[k + 1] - knots[k]), 0.0, 1.0))
    track = (1 - b) * tracks.retrieve[0, :, k] + b * tracks.retrieve[0, :, k + 1]
    slope = (tracks.retrieve[0, 0, k + 1] - tracks.retrieve[0, 0, k]) / (knots[k + 1] - knots[k])
    duration = (1 - b) * tracks.duration_s[0, k] + b * tracks.duration_s[0, k + 1]
    geo = geometry(ground)
    depth, sd = np.ascontiguousarray(patch.depth_m, dtype=float), np.ascontiguousarray(patch.sd_m, dtype=float)
    row, wave = np.ascontiguousarray(spread[0], dtype=float), 2 * np.pi / (4 * c["bed_error_length_m"])
    S, least = track.shape[1], c["holding_share"] * ground.landing_depth_m[0]
    rise, boat = float(ground.rise_m[0]), float(ground.boat_m_s[0])
    found, every = [], []
    for t in range(S):
        g = np.zeros(len(ROWS), np.float32)
        f = np.ascontiguousarray(track[:, t])
        moved = boat * (countdown_s + (t + 0.5) * duration / S)
        h = height_over_bed(f, float(slope[t]), countdown_s, moved, rise, 0, geo, depth, sd, row, wave, g)
        every.append(g)
        if h + f[0] >= least:
            found.append(g)
    return np.array(found or every, dtype=float)
