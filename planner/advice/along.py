"""One answer along the ladder: as few changes from step to step as the model's ties allow.

At each level several ways are the same for all that the model can tell (`tie_margin`). Taken one level at a time, the
best of them changes with the last digit, and an angler who moves the slider would be told another fly every two inches
of water. Of all choices within the margin at every level the ones that change least along the ladder are taken.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planner.advice.records import constants

__all__ = ["Option", "alike", "steadiest"]

# What a change costs the angler from one step to the next: another rod, fly or leader on it, another way with it.
_LINE, _FLY, _LEADER, _MODE, _STRIP = 8.0, 4.0, 3.0, 2.0, 1.0


@dataclass(frozen=True)
class Option:
    """A way that can be advised at a level.

    Parameters
    ----------
    index : int
        Its place among the level's candidates.
    line, fly, mode, strip_m_s : str, str, str, float
        What the angler would be told.
    worth_s : float
        What it gives within the hang limit, see `objective.worth` [s].
    rigged : bool
        Whether its line is on one of the day's rods.
    leader_m : float
        Length of its leader [m].
    """

    index: int
    line: str
    fly: str
    mode: str
    strip_m_s: float
    worth_s: float
    rigged: bool
    leader_m: float = 0.0


def alike(options: Sequence[Option]) -> list[Option]:
    """The options of a level within the margin of the best; only those on the day's rods where there are any.

    Examples
    --------
    >>> made = [Option(0, "a", "x", "held", 0.45, 10.0, False), Option(1, "b", "x", "held", 0.45, 9.8, True)]
    >>> [option.index for option in alike(made)]
    [1]
    """
    if not options:
        return []
    least = (1.0 - constants()["tie_margin"]) * max(option.worth_s for option in options)
    near = [option for option in options if option.worth_s >= least]
    return [option for option in near if option.rigged] or near


def _change(one: Option, other: Option) -> float:
    return (
        _LINE * (one.line != other.line)
        + _FLY * (one.fly != other.fly)
        + _LEADER * (one.leader_m != other.leader_m)
        + _MODE * (one.mode != other.mode)
        + _STRIP * (one.strip_m_s != other.strip_m_s)
    )


def steadiest(levels: Sequence[Sequence[Option]]) -> list[int | None]:
    """Index of the option to advise at each level: exactly the least change along the ladder, by dynamic programming.

    With c(a, b) the cost of changing from a to b and l(a) the share of band time that a loses to the best of its level,

        minimise  sum over levels of c(a[i-1], a[i]) + l(a[i]) ,   a[i] within the margin at i.      (1)

    As l is below the margin, it only settles what would change as often either way. A level with nothing to advise
    is passed over: the answer may stay the same across it.

    Parameters
    ----------
    levels : sequence of sequence of Option
        What can be advised at each level, ascending; empty where nothing can.

    Returns
    -------
    list of int or None
        `Option.index`; None where nothing can be advised.
    """
    near = [alike(options) for options in levels]
    live = [i for i, options in enumerate(near) if options]
    chosen: list[int | None] = [None] * len(levels)
    if not live:
        return chosen
    cost = _losses(near[live[0]])
    came: list[np.ndarray] = []
    for before, here in itertools.pairwise(live):
        step = np.array([[_change(a, b) for a in near[before]] for b in near[here]])
        total = step + cost
        came.append(total.argmin(axis=1))
        cost = total.min(axis=1) + _losses(near[here])
    at = int(cost.argmin())
    for k in range(len(live) - 1, -1, -1):
        chosen[live[k]] = near[live[k]][at].index
        if k:
            at = int(came[k - 1][at])
    return chosen


def _losses(options: Sequence[Option]) -> np.ndarray:
    """Share of band time lost to the best of a level."""
    band = np.array([option.worth_s for option in options])
    return 1.0 - band / band.max()
