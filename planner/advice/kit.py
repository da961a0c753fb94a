"""The rods to rig for the day: the few lines that lose the least band time over the trip."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from planner.advice.records import Advice, RodToRig, Settings, constants

__all__ = ["fewest_lines", "likely_weights", "lines_to_rig", "rods_to_rig"]

ByLine = dict[str, tuple[float, str]]
_LIKELY = 0.05  # a fly or a spot with less of what its rod, or it, is worth is at levels that hardly come


def likely_weights(stage_m: np.ndarray, median_m: float, sd_m: float) -> np.ndarray:
    """Weights of a ladder's levels: the normal density of the expectation, summing to one [1].

    Parameters
    ----------
    stage_m : numpy.ndarray
        The ladder's levels, shape (L,); stages [m] or any other measure in which the expectation is given.
    median_m, sd_m : float
        Median and standard deviation of the expected level in the same measure.
    """
    z = (np.asarray(stage_m, dtype=float) - median_m) / max(sd_m, 1e-6)
    weight = np.exp(-0.5 * np.minimum(z * z - np.min(z * z), 1400.0))
    return weight / weight.sum()


def fewest_lines(value: np.ndarray, most: int, margin: float) -> tuple[int, ...]:
    """Columns whose row-wise maximum loses the least, exactly, by enumeration.

    With v[i, j] the worth of line j in case i (already weighted), the loss of a set S is

        1 - sum_i max_{j in S} v[i, j] / sum_i max_j v[i, j].                                      (1)

    The smallest set within `margin` of the best set of `most` lines is taken; among sets of equal size and equal loss
    the one that comes first in the box. A line outside the chosen set can be removed without changing the choice.

    Parameters
    ----------
    value : numpy.ndarray
        Worth of each line in each case, shape (cases, lines); 0 where the line has no admissible swim.
    most : int
        Largest size of the set.
    margin : float
        Share of the worth that one rod fewer may cost [1].
    """
    usable = [j for j in range(value.shape[1]) if value[:, j].max(initial=0.0) > 0.0]
    if not usable:
        return ()
    best_of_size: list[tuple[float, tuple[int, ...]]] = []
    for size in range(1, min(most, len(usable)) + 1):
        top = -1.0
        chosen: tuple[int, ...] = ()
        for group in combinations(usable, size):
            worth = float(value[:, group].max(axis=1).sum())
            if worth > top * (1 + 1e-12):
                top, chosen = worth, group
        best_of_size.append((top, chosen))
    goal = best_of_size[-1][0] * (1 - margin)
    return next(chosen for worth, chosen in best_of_size if worth >= goal)


def rods_to_rig(
    advices: Sequence[Sequence[Advice]],
    weights: Sequence[np.ndarray] | None = None,
    settings: Settings | None = None,
) -> list[RodToRig]:
    """The rods which lose the least band time over the spots and the levels that are likely.

    Parameters
    ----------
    advices : sequence of sequence of Advice
        Per spot and level, as `advise` gives them.
    weights : sequence of numpy.ndarray, optional
        Likelihood of each level at each spot (see `likely_weights`); equal when not given.
    settings : Settings, optional
        `max_rods` is read.

    Returns
    -------
    list of RodToRig
        In the order of the band time they serve; empty when no line has an admissible swim. `lost_share` is what the
        whole set loses against the best line everywhere [1].
    """
    settings = settings or Settings()
    lines, value, rows = _worth([[advice.by_line for advice in spot] for spot in advices], weights)
    chosen = fewest_lines(value, settings.max_rods, constants()["rod_margin"]) if rows else ()
    if not chosen:
        return []
    lost = 1 - value[:, chosen].max(axis=1).sum() / value.max(axis=1).sum()
    serves = np.array(chosen)[np.argmax(value[:, chosen], axis=1)]
    flies: dict[int, dict[str, float]] = {j: {} for j in chosen}
    spots: dict[int, dict[str, float]] = {j: {} for j in chosen}
    planned: set[tuple[int, str]] = set()  # rod, and fly or spot, of the answers that were planned for
    for i, (k, m) in enumerate(rows):
        advice = advices[k][m]
        if advice.best is None:
            continue
        # what is advised is fished with the rod that it names, where that is one of the day's
        j = lines.index(advice.best.line) if advice.best.line in lines else -1
        j = j if j in chosen else int(serves[i])
        worth = float(value[i, j])
        if worth <= 0:
            continue
        fly = advice.best.fly if advice.best.line == lines[j] else advice.by_line[lines[j]][1]
        flies[j][fly] = flies[j].get(fly, 0.0) + worth
        spots[j][advice.spot] = spots[j].get(advice.spot, 0.0) + worth
        if advice.planned:
            planned |= {(j, fly), (j, advice.spot)}
    total = {spot: sum(spots[j].get(spot, 0.0) for j in chosen) for spot in {s for j in chosen for s in spots[j]}}
    rods = []
    for j in chosen:
        served = sum(flies[j].values())
        carried = sorted(flies[j].items(), key=lambda item: -item[1])
        rods.append(
            RodToRig(
                lines[j],
                tuple(fly for fly, worth in carried if worth >= _LIKELY * served or (j, fly) in planned),
                tuple(s for s, worth in spots[j].items() if worth >= _LIKELY * total[s] or (j, s) in planned),
                served,
                float(max(lost, 0.0)),
            )
        )
    return sorted(rods, key=lambda rod: -rod.band_time_s)


def lines_to_rig(
    by_line: Sequence[Sequence[ByLine]], weights: Sequence[np.ndarray] | None, settings: Settings
) -> set[str]:
    """Names of the lines to rig, from what each line can do at each spot and level."""
    lines, value, rows = _worth(by_line, weights)
    return {lines[j] for j in fewest_lines(value, settings.max_rods, constants()["rod_margin"])} if rows else set()


def _worth(
    by_line: Sequence[Sequence[ByLine]], weights: Sequence[np.ndarray] | None
) -> tuple[list[str], np.ndarray, list[tuple[int, int]]]:
    """Lines, weighted band time of each in each case, and the spot and level of each case."""
    lines = sorted({name for spot in by_line for case in spot for name in case})
    value, rows = [], []
    for k, spot in enumerate(by_line):
        share = np.full(len(spot), 1 / max(len(spot), 1)) if weights is None else np.asarray(weights[k], dtype=float)
        for m, (case, weight) in enumerate(zip(spot, share, strict=True)):
            if case and weight > 0:
                value.append([weight * case[name][0] if name in case else 0.0 for name in lines])
                rows.append((k, m))
    return lines, np.array(value).reshape(len(rows), len(lines)), rows
