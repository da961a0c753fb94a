"""What else could be done at a spot, each checked by a direct swim: another class of line, or way to stand."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from planner.advice.draws import deviations, draw
from planner.advice.field import Field
from planner.advice.lay import boat_speeds
from planner.advice.reasons import HEAVIEST_IPS
from planner.advice.records import Settings, constants
from planner.advice.refine import corrected, direct_swim
from planner.advice.search import Candidate, Found, ground_rows
from planner.advice.tables import Rig
from planner.advice.weigh import Tracks, weigh
from planner.errors import PlumbrunError
from planner.sink import line_with_sink_factor
from planner.units import INCH

__all__ = ["Tip", "class_that_would", "tips_of"]

_GAIN, _GAIN_S = 1.25, 1.0
_FURTHER_UP_DEG, _NEVER_ABOVE_DEG = 30.0, 150.0


@dataclass(frozen=True)
class Tip:
    """Another way to fish the best rig at a spot, and the band time that its swim gives within the hang limit [s].

    `kind` is ``further_up`` (`angle_deg` is the new angle of the cast), ``drift`` or ``anchor``.
    """

    kind: str
    band_time_s: float
    angle_deg: float = math.nan


def _band_of(
    field: Field, row: int, rig: Rig, candidate: Candidate, at: int, tracks: Tracks, settings: Settings
) -> float:
    """Largest band time within the limit around a countdown, after one direct swim from it [s]; 0 when it fails."""
    seconds = float(candidate.seconds[at])
    try:
        path = direct_swim(field, row, rig, candidate, seconds, rough=True)
    except PlumbrunError:
        return 0.0
    moved = corrected(tracks, path, seconds)
    near = candidate.seconds[max(at - 4, 0) : at + 5]
    rows = deviations(draw(settings.draws // 2, settings.seed))
    found = weigh(moved, ground_rows(field.ground, [row]), field.spread(rig)[[row]], rows, near)
    inside = np.where(found.hang_chance <= settings.hang_limit + 1e-9, found.band_time_s, 0.0)
    return float(inside.max())


def class_that_would(
    field: Field, row: int, found: Found, rigs: list[Rig], settings: Settings
) -> tuple[int, float] | None:
    """The slowest class of head that fishes the band where nothing in the box does, and its band time [s].

    The rig that swims deepest gets heads of its own length and thickness that sink 1 in/s faster each time, up to the
    fastest class sold; each is swum on the spot's own cast and current and weighed like any other.

    Returns
    -------
    (int, float) or None
        Sink rate [in/s] and band time [s]; None when no class does.
    """
    candidates = found.candidates[row]
    deep = [(float(c.depth[:, 1].max()), n) for n, c in enumerate(candidates)]
    candidate = candidates[max(deep)[1]]
    rig = rigs[candidate.way.rig]
    at = int(np.argmax(candidate.depth[:, 1]))
    tracks = found.tracks(candidate.way, [row])
    first = max(math.floor(rig.line.sink_rate_m_s / INCH + 1e-6) + 1, 1)  # a floating line rises: its rate is negative
    for ips in range(first, HEAVIEST_IPS + 1):
        heavier = replace(rig, line=line_with_sink_factor(rig.line, ips * INCH / rig.line.sink_rate_m_s))
        band = _band_of(field, row, heavier, candidate, at, tracks, settings)
        if band >= constants()["least_band_s"]:
            return ips, band
    return None


def tips_of(
    field: Field, row: int, rig: Rig, candidate: Candidate, at: int, tracks: Tracks, settings: Settings
) -> tuple[Tip, ...]:
    """Other ways that give at least a quarter and a second more of band time, the best first.

    Each keeps the lie: the cast lands where it did, from farther downstream or from a boat that does the other thing.
    Leaders and mends are in the search.
    """
    spot, now = field.spot, float(candidate.band[at])
    if not spot.river or not spot.levels[int(field.levels[row])].velocity_m_s > 0:
        return ()
    tried: list[tuple[Tip, Field]] = []
    angle = spot.angle_deg + _FURTHER_UP_DEG
    if angle <= _NEVER_ABOVE_DEG:
        turned = replace(spot, angle_deg=angle)
        turn = math.radians(angle)
        landing = (spot.cast_m * math.cos(turn), spot.cast_m * math.sin(turn))
        uphill = replace(field, spot=turned, ground=replace(field.ground, landing=landing))
        tried.append((Tip("further_up", 0.0, angle), uphill))
    if spot.spot.stance in ("anchored", "drifting"):
        drift = spot.spot.stance == "anchored"
        stance = "drifting" if drift else "anchored"
        speed = boat_speeds(spot, constants()["boat_ratio"], field.levels) if drift else np.zeros(field.levels.size)
        other = replace(spot, spot=_Stance(stance))
        changed = replace(field, spot=other, ground=replace(field.ground, boat_m_s=speed))
        tried.append((Tip("drift" if drift else "anchor", 0.0), changed))
    tips = []
    for tip, changed in tried:
        band = _band_of(changed, row, rig, candidate, at, tracks, settings)
        if band >= _GAIN * now and band >= now + _GAIN_S:
            tips.append(replace(tip, band_time_s=band))
    return tuple(sorted(tips, key=lambda tip: -tip.band_time_s))


@dataclass(frozen=True)
class _Stance:
    """A stance for a swim that is only tried."""

    stance: str
    boat_speed_ratio: float = math.nan
    id: str = ""
    name: str = ""
