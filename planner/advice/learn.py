"""What logged swims say of a line's sink rate and a spot's depth: a Bayesian update with stated priors.

Unknowns are the ln of each line's sink rate against its label, theta, and the offset of each spot's bed against its
soundings, b (positive: deeper). Their priors are normal with mean 0; the standard deviation of theta is the line's own
(its label's tolerance), that of b the share of the bed's standard error that is common to the whole spot. What is
logged is whether a swim came through clean, touched or hung. With y the entries of one spot, line, fly and day, and x
all else that is uncertain (current, drag, lift, the count, the cast, the level, the bed's waves),

    p(y | theta, b) = mean over draws of x of  prod_i q(y_i | what swim i does under theta, b, x)        (1)

with q = 1 - e for the outcome that the draw gives and e for another (``log_slip``: a weed is taken for the bed). The
entries of a day share x, so ten casts in a row say little more than a few: the current that was too fast for one was
so for all. The posterior is approximated by independent normals, found by expectation propagation [Minka2001]: each
group's factor (1) on a grid of theta and b, its moments matched in turn until they stand. The order of the log does
not matter, and without rows the priors come back to the digit.

Nothing here edits a sounding or a label.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from planner.advice.draws import ROWS, deviations, draw
from planner.advice.field import Field, field_of, sunk, tracks_of, varied
from planner.advice.records import BedPatch, Settings, SpotAtLevels, constants
from planner.advice.search import ground_rows, track_rows
from planner.advice.tables import Need, Rig, SwimTables
from planner.advice.ways import normal_strip
from planner.advice.weigh import weigh

__all__ = ["Belief", "Learned", "LoggedSwim", "learn", "with_learning"]

_GRID, _FINE, _REACH = 11, 61, 3.0
_DRAWS = 64
_SWEEPS, _STANDS = 60, 1e-5


@dataclass(frozen=True)
class LoggedSwim:
    """One entry of the log, at one level of its spot.

    Parameters
    ----------
    asked : SpotAtLevels
        The spot at the levels of its entries.
    level : int
        Index of this entry's among them.
    line, fly : str
        Names as in the box.
    countdown_s : float
        Seconds counted [s].
    touched : bool
        Whether the bed was felt, a hang included.
    hung : bool or None
        Whether it hung; None not told.
    mode : str
        ``held``, ``fed`` or ``mended``; empty not told: the first two are taken as likely.
    strip_m_s : float
        Strip pace [m/s]; NaN takes the normal one.
    day : str
        Entries of one spot, line, fly and day share what is uncertain.
    """

    asked: SpotAtLevels
    level: int
    line: str
    fly: str
    countdown_s: float
    touched: bool
    hung: bool | None = None
    mode: str = ""
    strip_m_s: float = math.nan
    day: str = ""


@dataclass(frozen=True)
class Belief:
    """A normal belief and the number of logged swims behind it.

    Parameters
    ----------
    mean, sd : float
        Posterior: ln of the sink rate's factor [1], or depth offset [m].
    prior_sd : float
        Standard deviation before the log; the prior's mean is 0.
    swims : int
        Entries that had a say.
    """

    mean: float
    sd: float
    prior_sd: float
    swims: int

    @property
    def known(self) -> float:
        """Posterior over prior standard deviation [1]."""
        return self.sd / self.prior_sd if self.prior_sd > 0 else 1.0


@dataclass(frozen=True)
class Learned:
    """What the log taught: sink rate by line's name, depth offset by spot's id, and what it could not use."""

    lines: Mapping[str, Belief] = field(default_factory=dict)
    spots: Mapping[str, Belief] = field(default_factory=dict)
    swims: int = 0
    notes: tuple[str, ...] = ()

    def rig(self, rig: Rig) -> Rig:
        """A rig with what is learned of its line."""
        belief = self.lines.get(rig.line_name)
        return rig if belief is None else replace(rig, sink_shift=belief.mean, sink_known=belief.known)


def with_learning(asked: SpotAtLevels, learned: Learned) -> SpotAtLevels:
    """A spot over the bed that logged swims point to; its soundings stay as they are."""
    belief = learned.spots.get(asked.spot.id)
    if belief is None:
        return asked
    patch = asked.patch
    moved = BedPatch(patch.east_m, patch.north_m, patch.depth_m + belief.mean, patch.sd_m)
    return replace(asked, patch=moved, bed_known=belief.known)


def _line_sd(rig: Rig) -> float:
    return 0.5 * (rig.line.sink_sd_below + rig.line.sink_sd_above)


def _bed_sd(asked: SpotAtLevels) -> float:
    """Standard deviation of a spot's offset before the log [m]: the common share of the error at the landing."""
    patch = asked.patch
    j, i = int(np.argmin(np.abs(patch.north_m))), int(np.argmin(np.abs(patch.east_m)))
    sd = float(patch.sd_m[j, i])
    if not math.isfinite(sd):
        known = patch.sd_m[np.isfinite(patch.sd_m)]
        sd = float(np.median(known)) if known.size else 0.3
    return sd * math.sqrt(constants()["bed_offset_share"])


def learn(swims: Sequence[LoggedSwim], rigs: Sequence[Rig], tables: SwimTables, settings: Settings) -> Learned:
    """Update the lines' sink rates and the spots' depth offsets by the log.

    Parameters
    ----------
    swims : sequence of LoggedSwim
        Entries that can be used; the caller says which it left out.
    rigs : sequence of Rig
        Of the box, as `tables` holds them, without learning.
    tables : SwimTables
        Where swims are found or solved.
    settings : Settings
        Seed and strip paces.

    Returns
    -------
    Learned
        With a belief for each line and spot that has an entry.
    """
    groups: dict[tuple[str, str, str, str], list[LoggedSwim]] = {}
    notes = []
    for swim in swims:
        groups.setdefault((swim.asked.spot.id, swim.line, swim.fly, swim.day), []).append(swim)
    at = {(rig.line_name, rig.fly_name): r for r, rig in enumerate(rigs)}
    lines: dict[str, list[float]] = {}
    spots: dict[str, list[float]] = {}
    factors: list[tuple[str, str, np.ndarray]] = []
    for (spot, line, fly, _), members in groups.items():
        rig = at.get((line, fly))
        made = field_of(members[0].asked, settings)
        usable = [s for s in members if made is not None and s.level in made.levels]
        if rig is None or made is None or not usable:
            notes.append(f"{len(members)} logged at {spot} with {fly} on {line} could not be used.")
            continue
        if len(usable) < len(members):
            notes.append(f"{len(members) - len(usable)} logged at {spot} at a level with no known water.")
        line_sd, bed_sd = _line_sd(rigs[rig]), _bed_sd(members[0].asked)
        factors.append((line, spot, _factor(usable, made, rig, tables, settings, line_sd, bed_sd)))
        for known, key, sd in ((lines, line, line_sd), (spots, spot, bed_sd)):
            known.setdefault(key, [sd, 0.0])[1] += len(usable)
    theta, offset = _propagate(factors, {k: v[0] for k, v in lines.items()}, {k: v[0] for k, v in spots.items()})
    return Learned(
        {k: Belief(*theta[k], lines[k][0], int(lines[k][1])) for k in lines},
        {k: Belief(*offset[k], spots[k][0], int(spots[k][1])) for k in spots},
        int(sum(v[1] for v in spots.values())),
        tuple(notes),
    )


def _factor(
    swims: Sequence[LoggedSwim],
    made: Field,
    rig: int,
    tables: SwimTables,
    settings: Settings,
    line_sd: float,
    bed_sd: float,
) -> np.ndarray:
    """Equation (1) on the grid, shape (theta, b)."""
    steps = np.linspace(-_REACH, _REACH, _GRID)
    theta, offset = (part.ravel() for part in np.meshgrid(steps * line_sd, steps * bed_sd, indexing="ij"))
    rows = deviations(draw(_DRAWS, settings.seed))
    slip = constants()["log_slip"]
    product = np.ones((theta.size, _DRAWS))
    for swim in swims:
        strip = swim.strip_m_s if swim.strip_m_s == swim.strip_m_s else normal_strip(settings)
        longest = {mode: float(made.seconds(mode)[-1]) for mode in made.modes}
        told = "held" if swim.mode == "mended" else swim.mode  # the two differ by centimetres
        modes = [told] if told in made.modes else [m for m in made.modes if swim.countdown_s <= longest[m]]
        modes = modes or ["held"]
        row = int(np.flatnonzero(made.levels == swim.level)[0])
        tables.require(
            need
            for mode in modes
            for node in made.nodes
            for need in (
                Need(made.canon, rig, mode, strip, node),
                Need(made.canon, rig, mode, normal_strip(settings), made.centre),
                *(Need(made.canon, rig, mode, normal_strip(settings), made.centre, name) for name in varied(made)),
            )
        )
        spread = made.spread(tables.rigs[rig])[[row] * theta.size]
        spread[:, [ROWS.index(name) for name in ("sink_slower", "sink_faster", "bed_offset")]] = 0.0
        ground = ground_rows(made.ground, [row] * theta.size)
        ground = replace(ground, rise_m=ground.rise_m + offset)
        fits = np.zeros((theta.size, _DRAWS))
        for mode in modes:
            tracks = tracks_of(made, tables, rig, mode, strip, normal_strip(settings))
            tracks = track_rows(tracks, [row] * theta.size)
            tracks = replace(tracks, count=sunk(tracks.count, theta), retrieve=sunk(tracks.retrieve, theta))
            second = np.array([min(swim.countdown_s, longest[mode])])
            fate = weigh(tracks, ground, spread, rows, second, fates=True).fate[:, 0]
            fits += _as_logged(fate, swim) / len(modes)
        product *= slip + (1 - 2 * slip) * fits
    return product.mean(axis=1).reshape(_GRID, _GRID)


def _as_logged(fate: np.ndarray, swim: LoggedSwim) -> np.ndarray:
    if swim.hung:
        return fate == 2
    if not swim.touched:
        return fate == 0
    return fate >= 1 if swim.hung is None else fate == 1


def _moments(density: np.ndarray, at: np.ndarray) -> tuple[float, float]:
    share = density / density.sum()
    mean = float(share @ at)
    return mean, max(float(share @ (at - mean) ** 2), 1e-4)


def _propagate(
    factors: Sequence[tuple[str, str, np.ndarray]], line_sd: dict[str, float], spot_sd: dict[str, float]
) -> tuple[dict[str, tuple[float, float]], dict[str, tuple[float, float]]]:
    """Posterior mean and standard deviation of each unknown, in its own unit.

    Everything is scaled by the prior's standard deviation; a factor's part of an unknown is kept as precision and
    precision times mean.
    """
    fine = np.linspace(-_REACH, _REACH, _FINE)
    coarse = np.linspace(-_REACH, _REACH, _GRID)
    tables = []
    for _, _, values in factors:
        across = np.array([np.interp(fine, coarse, row) for row in values])
        tables.append(np.array([np.interp(fine, coarse, column) for column in across.T]).T)
    keys = [(("line", line), ("spot", spot)) for line, spot, _ in factors]
    site = np.zeros((len(factors), 2, 2))
    total = {("line", k): np.array([1.0, 0.0]) for k in line_sd} | {("spot", k): np.array([1.0, 0.0]) for k in spot_sd}
    for _ in range(_SWEEPS):
        most = 0.0
        for f, table in enumerate(tables):
            cavity = [total[key] - site[f, part] for part, key in enumerate(keys[f])]
            if any(c[0] <= 1e-6 for c in cavity):
                continue
            weight = [np.exp(-0.5 * c[0] * (fine - c[1] / c[0]) ** 2) for c in cavity]
            joint = weight[0][:, None] * weight[1][None, :] * table
            for part, key in enumerate(keys[f]):
                # both on the same grid, so that a factor which says nothing changes nothing
                mean, variance = _moments(joint.sum(axis=1 - part), fine)
                base, spread = _moments(weight[part], fine)
                precision = max(1 / variance - 1 / spread, 0.0)
                new = np.array([precision, (1 / spread + precision) * mean - base / spread])
                moved = 0.5 * (new - site[f, part])
                site[f, part] += moved
                total[key] = total[key] + moved
                most = max(most, float(np.abs(moved).max()))
        if most < _STANDS:
            break

    def own(kind: str, sds: dict[str, float]) -> dict[str, tuple[float, float]]:
        return {
            k: (sd * total[kind, k][1] / total[kind, k][0], sd / math.sqrt(total[kind, k][0])) for k, sd in sds.items()
        }

    return own("line", line_sd), own("spot", spot_sd)
