"""The coarse pass: every way at some steps of the ladder and some seconds, to see which deserve a close look where."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from planner.advice.draws import deviations, draw
from planner.advice.field import Field
from planner.advice.kept import page_key
from planner.advice.records import Settings
from planner.advice.swum import Ground, Tracks
from planner.advice.tables import SwimTables
from planner.advice.ways import Way, way_key
from planner.advice.weigh import weigh

__all__ = ["Coarse", "TracksAt", "coarse", "finalists", "joined", "leading"]

_FIGURES = ("fit", "worth", "second", "strict", "early", "sure", "hoped", "wary")
TracksAt = Callable[[Way, Sequence[int]], Tracks]

_SLACK, _TIGHTER = 0.07, 0.6
_PRUNE_SHARE = 0.6
_BEHIND = 0.9  # of what must be beaten by a quarter: few draws tell no better
_SECONDS, _DRAWS, _STEPS = {"held": 3, "fed": 1, "mended": 3}, 64, 3
_FINALISTS, _BESIDES = 4, 3


@dataclass
class Coarse:
    """Every way at some levels and some seconds: the rows weighed, and by way and row what they gave.

    Parameters
    ----------
    rows : numpy.ndarray of int
        Rows of the field that were weighed, ascending, shape (C,).
    beside : list of list of int
        For each row of the field the columns whose finalists are looked at there.
    fit : numpy.ndarray
        Largest band time, less where the hang chance is near the limit, shape (ways, C) [s].
    worth : numpy.ndarray
        Largest band time for its hang chance, for where nothing is within the limit.
    second, strict, early : numpy.ndarray
        Countdown of the best with the limit softened, as it is, and tightened [s].
    sure, hoped, wary : numpy.ndarray
        Largest band time with the limit as it is, and as much looser and tighter as few draws can tell [s].
    """

    rows: np.ndarray
    beside: list[list[int]]
    fit: np.ndarray
    worth: np.ndarray
    second: np.ndarray
    strict: np.ndarray
    early: np.ndarray
    sure: np.ndarray
    hoped: np.ndarray
    wary: np.ndarray


def joined(one: Coarse, other: Coarse) -> Coarse:
    """Ways of one field that were weighed apart, one after the other."""
    parts = {name: np.concatenate([getattr(one, name), getattr(other, name)]) for name in _FIGURES}
    return Coarse(one.rows, one.beside, **parts)


def _laid_out(field: Field) -> tuple[np.ndarray, list[int], list[int], list[list[int]]]:
    """Rows to weigh coarsely, the columns weighed first and last, and for each row the columns on either side of it.

    Steps of the ladder stand between steps only, whatever lies between them, so that what they give is the same when
    the reading that is planned for moves. The rows where the plan answers come last.
    """
    steps = field.steps.tolist()
    numbers = [field.spot.levels[int(field.levels[row])].step for row in steps]
    numbers = [number if number >= 0 else k for k, number in enumerate(numbers)]
    anchors = sorted(
        {steps[0], steps[-1], *(row for row, number in zip(steps, numbers, strict=True) if number % _STEPS == 0)}
    )
    asked = [row for row in range(field.levels.size) if row not in steps]
    rows = np.array(sorted({*anchors, *asked}))
    column = {int(row): c for c, row in enumerate(rows)}
    beside = []
    for row in range(field.levels.size):
        after = next((a for a in anchors if a >= row), anchors[-1])
        before = next((a for a in reversed(anchors) if a <= row), anchors[0])
        beside.append(sorted({column[a] for a in (before, after, *([row] if row in asked else []))}))
    first = sorted({column[a] for a in (anchors[0], anchors[len(anchors) // 2], anchors[-1])})
    return rows, first, [column[row] for row in asked], beside


def coarse(
    field: Field,
    tables: SwimTables,
    ways: list[Way],
    tracks: TracksAt,
    ground: Callable[..., Ground],
    settings: Settings,
    beat: Coarse | None = None,
) -> Coarse:
    """Weigh all ways at the ends and the middle of the ladder, and the better ones between and where the plan answers.

    A way that comes nowhere near the best at any of the first levels is not weighed at every third step between, and
    one that comes nowhere near it on either side of where the plan answers is not weighed there.

    Parameters
    ----------
    field, tables, ways, settings : Field, SwimTables, list of Way, Settings
        As in `search.look`.
    tracks, ground : callable
        Tracks of a way, and the ground, at some rows.
    beat : Coarse, optional
        Of other ways at the same rows that these must beat: one that is behind the best of them at all of the first
        levels is not looked at between.
    """
    rows, first, asked, beside = _laid_out(field)
    rest = [c for c in range(rows.size) if c not in (*first, *asked)]
    dev = deviations(draw(_DRAWS, settings.seed))
    values = np.zeros((8, len(ways), rows.size))

    made_keys = [way_key(way, tables, settings, _DRAWS) for way in ways]

    def fill(w: int, columns: list[int]) -> None:
        way, key = ways[w], made_keys[w]

        def make(missing: list[int]) -> list[np.ndarray]:
            at = [int(rows[columns[m]]) for m in missing]
            seconds = field.seconds(way.mode, _SECONDS[way.mode])
            spread = field.spread(tables.rigs[way.rig], field.levels[at])
            found = weigh(tracks(way, at), ground(field.ground, at), spread, dev, seconds)
            return list(_sum_up(found.band_time_s, found.hang_chance, seconds, settings.hang_limit).T)

        keys = [page_key(field.row_keys[int(rows[c])], key, "coarse") for c in columns]
        values[:, w, columns] = np.array(field.book.take(keys, make)).T

    def fill_near(columns: list[int], known: list[int]) -> None:
        fit = values[0]
        least = _PRUNE_SHARE * fit[:, known].max(axis=0)
        if beat is not None:
            least = np.maximum(least, _BEHIND * beat.fit[:, known].max(axis=0))
        near = (fit[:, known] >= least).any(axis=1)
        for w in np.flatnonzero(near).tolist():
            fill(w, columns)
        share = np.array([np.interp(rows[columns], rows[known], one) for one in np.eye(len(known))])
        far = np.flatnonzero(~near)
        values[:, far[:, None], columns] = values[:, far[:, None], known] @ share

    for w in range(len(ways)):
        fill(w, first)
    if rest:
        fill_near(rest, first)
    for c in asked:
        fill_near([c], [k for k in beside[int(rows[c])] if k != c] or first)
    return Coarse(rows, beside, *values)


def _sum_up(band: np.ndarray, hang: np.ndarray, seconds: np.ndarray, limit: float) -> np.ndarray:
    """The eight figures of `Coarse` of one way, shape (8, L), from its band times and hang chances, shape (L, W)."""
    # softened by what few draws can tell, so that a way whose best second is near the limit is looked at closely
    over = (hang - limit) / _SLACK
    inside = band * (1.0 - 0.5 * np.clip(over, 0.0, 1.0)) * (over <= 1.0)
    price = band / (0.05 + hang)
    fit, worth = inside.max(axis=1), price.max(axis=1)
    at_price = np.where(worth > 0, price.argmax(axis=1), seconds.size - 1)  # nothing near: go deep
    second = seconds[np.where(fit > 0, inside.argmax(axis=1), at_price)]
    within = np.where(over <= 0.0, band, 0.0)
    sure = within.max(axis=1)
    hoped = np.where(over <= 1.0, band, 0.0).max(axis=1)
    strict = np.where(sure > 0, seconds[within.argmax(axis=1)], second)
    tight = np.where(over <= -_TIGHTER, band, 0.0)
    wary = tight.max(axis=1)
    early = np.where(wary > 0, seconds[tight.argmax(axis=1)], strict)
    return np.array([fit, worth, second, strict, early, sure, hoped, wary])


def finalists(ways: list[Way], found: Coarse, c: int) -> list[int]:
    """The best few ways at one level; one with another rig and one with the other mode are always among them.

    Few draws place a hang chance to within some hundredths: the best with the limit softened, with the limit as it is,
    and with a limit as much looser and tighter are all looked at.
    """
    order = np.lexsort((-found.worth[:, c], -found.fit[:, c])).tolist()
    chosen, first = order[:_FINALISTS], ways[order[0]]
    for values in (found.sure[:, c], found.hoped[:, c], found.wary[:, c]):
        best = np.argsort(-values, kind="stable")[:_BESIDES].tolist()
        chosen += [w for w in best if w not in chosen and values[w] > 0]
    for other in (
        next((w for w in order if ways[w].rig != first.rig), None),
        next((w for w in order if ways[w].rig == first.rig and ways[w].mode != first.mode), None),
    ):
        if other is not None and other not in chosen:
            chosen.append(other)
    return chosen


def leading(found: Coarse, c: int, most: int, beat: Coarse) -> list[int]:
    """The best ways at one level by any of the limits that `finalists` looks at, at most so many by each.

    None that is behind the best of the ways that it must beat, by the same limit.
    """
    chosen: list[int] = []
    for name in ("sure", "fit", "wary"):
        values, least = getattr(found, name)[:, c], _BEHIND * getattr(beat, name)[:, c].max()
        best = np.argsort(-values, kind="stable")[:most].tolist()
        chosen += [w for w in best if w not in chosen and values[w] > 0 and values[w] >= least]
    return chosen
