"""One spot made ready for the search: its levels, nodes, bed and spreads, and its rigs' tracks at each level."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from planner.advice.canon import Canon, canon_of, count_knots, current_grid, path_nodes
from planner.advice.draws import ROWS, spreads
from planner.advice.kept import Book, hash_of
from planner.advice.lay import filled, ground_of, settled, stance_speeds
from planner.advice.records import AtLevel, BedPatch, Settings, SpotAtLevels, constants
from planner.advice.tables import EVERY_S, STEPS, Need, Rig, SwimTables, longest_count
from planner.advice.weigh import CHANNELS, RESPONSES, Ground, Tracks
from planner.flow.state import TEN_NINETY

__all__ = ["Field", "current_log_sd", "field_of", "screen_tracks", "sunk", "tracks_of", "unanswerable", "varied"]

_LONGEST_CAST_M = 60.0  # what a cast of the swim model may be at most
_SINK = 6 + 2 * RESPONSES.index("sink_rate")
_LEVEL = ROWS.index("level")
_BED_OFFSET = ROWS.index("bed_offset")
_NO_LESS_M = 0.05  # depths under this do not scale a response
# Stand-ins for the responses while screening, as shares of the depth: depth goes as sink rate over relative speed
# (the closed form of the critical angle [Pode1951]); the rest is the size seen in swims of a bulky fly.
_SCREEN = {"current": -0.9, "sink_rate": 0.9, "drag_area": -0.25, "lift": -2.0e4, "boat": 2.0}


@dataclass
class Field:
    """A spot at the levels that can be answered.

    Parameters
    ----------
    spot : SpotAtLevels
        As given.
    patch : BedPatch
        Without NaN.
    canon : Canon
        Canonical geometry.
    levels : numpy.ndarray of int
        Indices of the levels that can be answered.
    nodes : list of tuple
        Nodes of the grids that these levels need.
    weight, slope : numpy.ndarray
        Weights of the nodes at each level, and their slopes in ln current, shape (L, M).
    ground : Ground
        Bed and frame at these levels.
    modes : tuple of str
        Countdown modes that differ here.
    shortlist : list of int
        Rigs kept after the screening.
    screened : dict
        Best band time by rig at the screened levels, filled by the search.
    key : bytes
        Hash of bed, cast and hold band: what does not change with the level.
    row_keys : list of bytes
        Hash of that and of all that a level adds.
    book : Book
        What was weighed here before.
    shares : dict
        Responses by rig, mode and pace, filled by `tracks_of`.
    """

    spot: SpotAtLevels
    patch: BedPatch
    canon: Canon
    levels: np.ndarray
    nodes: list[tuple[int, int]]
    weight: np.ndarray
    slope: np.ndarray
    ground: Ground
    modes: tuple[str, ...]
    key: bytes = b""
    row_keys: list[bytes] = field(default_factory=list)
    book: Book = field(default_factory=Book)
    shortlist: list[int] = field(default_factory=list)
    screened: dict[int, np.ndarray] = field(default_factory=dict)
    shares: dict[tuple[int, str, float], tuple[dict[str, np.ndarray], dict[str, np.ndarray]]] = field(
        default_factory=dict
    )

    @property
    def centre(self) -> tuple[int, int]:
        """The node that matters most over the levels; at rest the only one."""
        return self.nodes[int(np.argmax(self.weight.sum(axis=0)))]

    @property
    def steps(self) -> np.ndarray:
        """Rows that are steps of the ladder; all when none is."""
        asked = np.array([self.spot.levels[i].planned for i in self.levels], dtype=bool)
        return np.flatnonzero(~asked) if not asked.all() else np.arange(self.levels.size)

    def current(self, i: int) -> float:
        """Depth-averaged current at level index i [m/s]."""
        return self.spot.levels[i].velocity_m_s if self.spot.river else 0.0

    def at_nodes(self, rows: list[int], nodes: list, times: int) -> Ground:
        """The ground at the nodes' own currents: the run's level goes with the logarithm of the current there.

        Parameters
        ----------
        rows, nodes : list
            The row of the levels that is nearest to each node, and the nodes.
        times : int
            How many times over, one after the other.
        """
        take = list(rows)
        ground, grid = self.ground, current_grid()
        steps = self.steps
        speed = np.array([self.current(int(i)) for i in self.levels])
        rise = ground.rise_m[take].astype(float)
        boat = ground.boat_m_s[take].astype(float)
        if speed[steps].min() > 0 and np.ptp(np.log(speed[steps])) > 0.02:
            slope, start = np.polyfit(np.log(speed[steps]), ground.rise_m[steps], 1)
            for k, node in enumerate(nodes):
                if grid[node[0]] > 0:
                    # to 2 cm and 1 cm/s, so that a ladder that has moved a little gives the same
                    rise[k] = round(50.0 * (start + slope * math.log(grid[node[0]]))) / 50.0
                    boat[k] = round(boat[k] * grid[node[0]] / speed[take[k]], 2)
        moved = rise - ground.rise_m[take]
        depth = np.maximum(ground.landing_depth_m[take] + moved, 0.3)
        return replace(
            ground,
            rise_m=np.tile(ground.rise_m[take] + (depth - ground.landing_depth_m[take]), times),
            boat_m_s=np.tile(boat, times),
            landing_depth_m=np.tile(depth, times),
        )

    def seconds(self, mode: str, step: int = 1) -> np.ndarray:
        """Whole-second countdowns of a mode, from 0 [s]."""
        return np.arange(0.0, longest_count(self.canon, mode) + 0.5, float(step))

    @cached_property
    def doubts(self) -> dict[int, tuple[float, float, float]]:
        """By level index: standard deviations of the ln of its current [1] and of its level [m], and its depth [m]."""
        found = {}
        for i in self.levels.tolist():
            level = self.spot.levels[i]
            level_sd = level.level_sd_m if level.level_sd_m == level.level_sd_m else 0.0
            found[i] = (current_log_sd(level) if self.spot.river else 0.0, level_sd, max(level.depth_m, 0.0))
        return found

    def spread(self, rig: Rig, levels: np.ndarray | None = None) -> np.ndarray:
        """Spreads of the deviations at the levels, shape (L, P)."""
        c = constants()
        asked = self.levels if levels is None else levels
        current_sd, level_sd, depth = np.array([self.doubts[int(i)] for i in asked]).T
        rows = spreads(
            current_log_sd=current_sd,
            level_sd_m=level_sd,
            sink_sd_below=rig.line.sink_sd_below * rig.sink_known,
            sink_sd_above=rig.line.sink_sd_above * rig.sink_known,
            lift_sd_m2=rig.fly.lift_band_m2 * c["lift_band_share"],
            boat=self.canon.boat_ratio != 0.0,
        )
        rows[:, _BED_OFFSET] *= self.spot.bed_known
        # what the tables and the straight responses miss of a direct swim acts like a level that is less known
        rows[:, _LEVEL] = np.hypot(rows[:, _LEVEL], c["model_sd_m"] + c["model_sd_share"] * depth)
        return rows


def current_log_sd(level: AtLevel) -> float:
    """Standard deviation of the ln of the current from its 10 and 90 % values; 0.15 where they are unknown [1].

    0.15 is the spread that the line physics notes advise for the speed relative to the water.
    """
    low, high = level.velocity_low_m_s, level.velocity_high_m_s
    if low > 0 and high > low:
        return math.log(high / low) / (2 * TEN_NINETY)
    return 0.15


def unanswerable(spot: SpotAtLevels, i: int) -> str:
    """Why there can be no advice at a level, or an empty word."""
    level = spot.levels[i]
    if spot.cast_m > _LONGEST_CAST_M:
        return "The cast is longer than 60 m (200 ft): no rod makes it. Correct the spot's stance or landing."
    if spot.soundings <= 0:
        return (
            "No sounding here can be used, so the bed is not known: sound the spot, or give the soundings that are "
            "there the gauge's stage of their moment."
        )
    if level.rise_m != level.rise_m:
        return (
            "The run's level at this reading is not known, so its soundings cannot be carried to it: a stage is needed."
        )
    if not np.isfinite(spot.patch.depth_m).any():
        return "No sounding is near enough, so the bed here is not known: sound the spot first."
    if level.depth_m != level.depth_m:
        return "The depth at the landing is not known: sound the spot first."
    if level.depth_m <= 0:
        return "The landing is dry at this level."
    if spot.river and level.velocity_m_s != level.velocity_m_s:
        return (
            "The current here is not known, and in moving water it decides the depth: give a slope, or a gauge with "
            "discharge, for this run."
        )
    if _comes_back_slack(spot, i):
        return (
            "The cast goes straight upstream and the current brings the line back faster than any strip takes it in: "
            "where it goes then cannot be computed. Cast at least 10° across."
        )
    return ""


def _comes_back_slack(spot: SpotAtLevels, i: int) -> bool:
    """Whether line comes at the rod along the cast faster than it can be stripped in.

    Swims from such casts fall together, and a second of the count decides between clear of the bed and on it: of those
    told to hang in 5 % two thirds did (docs/advice.md). A few degrees across, the current draws the line straight.
    """
    if not spot.river or spot.angle_deg < 180.0 - constants()["across_least_deg"]:
        return False
    boat = float(stance_speeds(spot, np.array([i]))[0])
    return spot.levels[i].velocity_m_s - boat > constants()["strip_fast_m_s"]


def field_of(spot: SpotAtLevels, settings: Settings) -> Field | None:
    """Make a spot ready; None when no level can be answered."""
    levels = np.array([i for i in range(len(spot.levels)) if not unanswerable(spot, i)], dtype=int)
    if levels.size == 0:
        return None
    spot = settled(spot)
    canon = canon_of(spot)
    nodes, weight, slope = path_nodes([spot.levels[i] for i in levels], still=not spot.river)
    patch = filled(spot.patch)
    ground = ground_of(spot, patch, levels, stance_speeds(spot, levels))
    # at rest nothing takes fed line away from the tip: fed and held are the same swim
    moving = bool(spot.river and any(spot.levels[i].velocity_m_s > 0 for i in levels))
    modes = tuple(mode for mode in settings.modes if mode == "held" or moving)
    made = Field(spot, patch, canon, levels, nodes, weight, slope, ground, modes)
    made.key, made.row_keys = _keys(made)
    return made


def _keys(made: Field) -> tuple[bytes, list[bytes]]:
    """Hashes of a spot's bed and cast, and of each of its levels; they hold all that a weighing there depends on."""
    ground, patch, canon, spot = made.ground, made.patch, made.canon, made.spot
    frame = np.array([*ground.down, *ground.across, *ground.landing, ground.hold_low_m, ground.hold_high_m])
    bed = (patch.east_m, patch.north_m, patch.depth_m, patch.sd_m)
    key = hash_of("spot", np.round(frame, 6), *bed, float(spot.bed_known), bool(spot.river))
    geometry = hash_of(key, repr(canon), repr(made.centre), repr(made.modes))
    rows = []
    for row, i in enumerate(made.levels):
        level = spot.levels[i]
        used = np.flatnonzero((made.weight[row] != 0.0) | (made.slope[row] != 0.0))
        nodes = np.array([(*made.nodes[m], made.weight[row, m], made.slope[row, m]) for m in used], dtype=float)
        numbers = (ground.rise_m[row], ground.boat_m_s[row], ground.landing_depth_m[row], level.depth_m)
        spread = (current_log_sd(level), level.level_sd_m)
        rows.append(hash_of(geometry, nodes, np.array([*numbers, *spread], dtype=float)))
    return key, rows


def varied(field: Field) -> tuple[str, ...]:
    """Unknowns whose responses need swims of their own at this spot."""
    return tuple(name for name in STEPS if name != "boat" or field.canon.boat_ratio != 0.0)


def tracks_of(
    field: Field,
    tables: SwimTables,
    rig: int,
    mode: str,
    strip_m_s: float,
    normal_m_s: float,
    rows: Sequence[int] | None = None,
) -> Tracks:
    """Tracks of a rig fished one way, at the levels of a field (at some of its rows), with their responses.

    The base is linear in ln current between nodes of the path; the response to the current is the slope of that. The
    other responses are finite differences at the centre node and the normal strip, as shares of the depth, at equal
    shares of the retrieve: a swim that is twice as deep is taken to answer twice as much to a change of sink rate,
    drag or lift.

    Raises
    ------
    KeyError
        When the tables were not required before.
    """
    weight, slope = (part if rows is None else part[list(rows)] for part in (field.weight, field.slope))
    used = np.flatnonzero((weight != 0.0).any(axis=0) | (slope != 0.0).any(axis=0))
    held = [tables.get(Need(field.canon, rig, mode, strip_m_s, field.nodes[m])) for m in used]
    weight, slope = weight[:, used], slope[:, used]
    shares, shift = _shares(field, tables, rig, mode, normal_m_s), tables.rigs[rig].sink_shift
    parts = []
    for part in (0, 1):
        base = _mixed(weight, [h[part] for h in held])
        steep = _mixed(slope, [h[part][::3] for h in held])
        parts.append(sunk(_with_responses(base, steep, shares[part]), shift))
    return Tracks(
        count=parts[0],
        retrieve=parts[1],
        duration_s=_mixed(weight, [h[2] for h in held]),
        taut=_mixed(weight, [h[3] for h in held]),
        knots_s=count_knots(longest_count(field.canon, mode)),
        every_s=EVERY_S,
        fed=mode != "held",
        sunk_m=np.full(weight.shape[0], _sunk(tables.rigs[rig])),
    )


def _sunk(rig: Rig) -> float:
    """Length of a rig's leader and of the part of its line that sinks [m]; 0 for a line that floats."""
    return rig.line.leader_length_m + rig.line.head_length_m if rig.line.sink_rate_m_s > 0.0 else 0.0


def _mixed(share: np.ndarray, parts: list[np.ndarray]) -> np.ndarray:
    """Sums of M arrays of one shape, each taken by its share at L levels, shape (L, ...); shares have shape (L, M)."""
    return (share @ np.stack(parts).reshape(len(parts), -1)).reshape(share.shape[0], *parts[0].shape)


def _shares(
    field: Field, tables: SwimTables, rig: int, mode: str, normal_m_s: float
) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """Responses of a rig in a mode as shares of the depth, in the countdown and the retrieve; computed once.

    On another leader a rig answers like on its own, and mended like held, from which it differs little.
    """
    like = tables.rigs[rig].like
    rig, mode = (rig if like is None else like), ("held" if mode == "mended" else mode)
    key = (rig, mode, normal_m_s)
    if key not in field.shares:
        base = tables.get(Need(field.canon, rig, mode, normal_m_s, field.centre))
        found: tuple[dict[str, np.ndarray], dict[str, np.ndarray]] = ({}, {})
        for name in varied(field):
            moved = tables.get(Need(field.canon, rig, mode, normal_m_s, field.centre, name))
            for part in (0, 1):
                change = moved[part][[0, 3]] - base[part][[0, 3]]
                found[part][name] = change / STEPS[name] / np.maximum(base[part][[0, 3]], _NO_LESS_M)
        field.shares[key] = found
    return field.shares[key]


def screen_tracks(field: Field, tables: SwimTables, ways: list[tuple[int, str, float]], nodes: list) -> Tracks:
    """Tracks at single nodes, one per way and level screened, with the stand-ins for the responses.

    Parameters
    ----------
    field, tables : Field, SwimTables
        The spot, and where the swims are.
    ways : list of tuple
        Rig, mode and strip pace [m/s]; all of one mode.
    nodes : list of tuple
        Of the field.
    """
    mode = ways[0][1]
    held = [tables.get(Need(field.canon, rig, mode, strip, node)) for rig, mode, strip in ways for node in nodes]
    count, retrieve = np.stack([h[0] for h in held]), np.stack([h[1] for h in held])
    moving = field.canon.boat_ratio != 0.0
    steep = _SCREEN["current"] * (1 - min(field.canon.boat_ratio, 1.0))
    shares = {n: np.array(s) for n, s in _SCREEN.items() if n != "current" and (n != "boat" or moving)}
    shift = np.repeat([tables.rigs[rig].sink_shift for rig, _, _ in ways], len(nodes))
    return Tracks(
        count=sunk(_with_responses(count, steep * count[:, [0, 3]], shares), shift),
        retrieve=sunk(_with_responses(retrieve, steep * retrieve[:, [0, 3]], shares), shift),
        duration_s=np.stack([h[2] for h in held]),
        taut=np.stack([h[3] for h in held]),
        knots_s=count_knots(longest_count(field.canon, mode)),
        every_s=EVERY_S,
        fed=mode != "held",
        sunk_m=np.repeat([_sunk(tables.rigs[rig]) for rig, _, _ in ways], len(nodes)),
    )


def sunk(tracks: np.ndarray, shift: np.ndarray | float) -> np.ndarray:
    """Tracks of lines whose sink rate is exp(shift) times that of the label, to first order.

    Parameters
    ----------
    tracks : numpy.ndarray
        With responses, shape (L, len(CHANNELS), ...) [m].
    shift : float or numpy.ndarray
        Of the ln of the sink rate, one for all or one a level [1].
    """
    part = np.broadcast_to(np.asarray(shift, dtype=float), tracks.shape[:1])
    if not part.any():
        return tracks
    found = tracks.copy()
    by = part.reshape(-1, *[1] * (tracks.ndim - 2))
    for depth, response in ((0, _SINK), (3, _SINK + 1)):
        found[:, depth] = np.maximum(tracks[:, depth] + by * tracks[:, response], 0.0)
    return found


def _with_responses(base: np.ndarray, current: np.ndarray, shares: dict[str, np.ndarray]) -> np.ndarray:
    found = np.zeros((base.shape[0], len(CHANNELS), *base.shape[2:]))
    found[:, :6] = base
    depth = base[:, [0, 3]]
    found[:, 6:8] = current
    for place, name in enumerate(RESPONSES):
        if name in shares:
            found[:, 6 + 2 * place : 8 + 2 * place] = shares[name] * depth
    return found
