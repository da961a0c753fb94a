"""Other leaders, and mends: ways that are searched for the rigs that fish best as they come out of the box."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from planner.advice.coarse import Coarse
from planner.advice.field import Field
from planner.advice.records import Settings
from planner.advice.screen import node_worth
from planner.advice.tables import Need, Rig, SwimTables
from planner.advice.ways import Way

__all__ = ["is_own", "needs_of", "trials_of", "variants_of", "with_leaders"]

_LEADERS, _LEADER_M = (0.5, 2.0), (0.4, 4.0)
_SURE, _SHORTER, _MENDED = 3, 2, 1  # of so many of the best rigs
_TRIED = 2  # longer leaders more, of the rigs behind those that a trial says gain the most
_TRIAL_DRAWS = 64


def with_leaders(rigs: Sequence[Rig]) -> list[Rig]:
    """The rigs, and after them each on a leader of half and of twice the box's length, where that can be cast."""
    more = []
    for k, rig in enumerate(rigs):
        for factor in _LEADERS:
            length = factor * rig.line.leader_length_m
            if _LEADER_M[0] <= length <= _LEADER_M[1]:
                more.append(replace(rig, line=replace(rig.line, leader_length_m=length), like=k))
    return [*rigs, *more]


def is_own(way: Way, rigs: Sequence[Rig]) -> bool:
    """Whether a way is fished as the box holds it: on its own leader, and without mends."""
    return rigs[way.rig].like is None and way.mode != "mended"


def _ranked(field: Field, ways: Sequence[Way], found: Coarse) -> list[Way]:
    """The best way of each rig, the rigs that do best along the ladder first.

    Only steps of the ladder are asked, so that the ways stay when the gauge moves.
    """
    steps = [c for c, row in enumerate(found.rows.tolist()) if row in set(field.steps.tolist())]
    fit, worth = found.fit[:, steps], found.worth[:, steps]
    top, most = fit.max(axis=0), worth.max(axis=0)
    share = np.where(top > 0, fit / np.maximum(top, 1e-9), worth / np.maximum(most, 1e-9))
    total = share.sum(axis=1)
    # a rig counts for the levels at which it leads, and by its sum where it leads nowhere
    leads = np.bincount(share.argmax(axis=0), minlength=len(ways)).astype(float)
    best: dict[int, tuple[float, float, int]] = {}
    for w, way in enumerate(ways):
        best[way.rig] = max(best.get(way.rig, (-1.0, -1.0, 0)), (float(leads[w]), float(total[w]), -w))
    return [ways[-best[rig][2]] for rig in sorted(best, key=lambda rig: best[rig], reverse=True)]


def _led(way: Way, rigs: Sequence[Rig], *, longer: bool) -> list[Way]:
    """A way on the other leaders of its rig that are longer, or shorter, than its own."""
    own = rigs[way.rig].line.leader_length_m
    return [
        replace(way, rig=other)
        for other, one in enumerate(rigs)
        if one.like == way.rig and (one.line.leader_length_m > own) == longer
    ]


def trials_of(field: Field, ways: Sequence[Way], found: Coarse, rigs: Sequence[Rig]) -> tuple[list[Way], list[Need]]:
    """Longer leaders of the rigs behind the best, and their swims at the one node of current that matters most.

    A longer leader can make the best of a rig that is far behind on its own, which nothing in its own swims tells:
    one swim at one current does, and costs less than all that the ladder needs.
    """
    behind = _ranked(field, ways, found)[_SURE:]
    tried = [led for way in behind for led in _led(way, rigs, longer=True)]
    return tried, [Need(field.canon, way.rig, way.mode, way.strip_m_s, field.centre) for way in tried]


def variants_of(
    field: Field, ways: Sequence[Way], found: Coarse, trials: Sequence[Way], tables: SwimTables, settings: Settings
) -> list[Way]:
    """Ways with another leader, or with mends through the countdown, of the rigs that may win with them.

    Each is tried in the mode and pace in which its rig does best on its own leader; the best rig's longer leader in
    its other mode too. Longer leaders are those of the rigs that do best along the ladder, and of the ones behind them
    those that a trial says give the most. A shorter one and mends shift a rig by centimetres.

    Parameters
    ----------
    field : Field
        The spot.
    ways, found : sequence of Way, Coarse
        The box's own ways, weighed coarsely.
    trials : sequence of Way
        From `trials_of`, whose swims were required.
    tables, settings : SwimTables, Settings
        As in `search.look`.
    """
    rigs, made = tables.rigs, []
    for place, way in enumerate(_ranked(field, ways, found)[:_SURE]):
        if place < _MENDED and "fed" in field.modes:
            made.append(replace(way, mode="mended"))
        if place < _SHORTER:
            made += _led(way, rigs, longer=False)
        for led in _led(way, rigs, longer=True):
            made.append(led)
            if place == 0:
                made += [replace(led, mode=mode) for mode in field.modes if mode != way.mode]
    gives: dict[Way, float] = {}
    for mode in dict.fromkeys(way.mode for way in trials):
        some = [way for way in trials if way.mode == mode]
        near = node_worth(field, some, [field.centre], tables, settings, _TRIAL_DRAWS)[0, :, 0]
        gives.update(zip(some, near.tolist(), strict=True))
    return made + sorted(gives, key=lambda way: -gives[way])[:_TRIED]


def needs_of(field: Field, ways: Sequence[Way]) -> list[Need]:
    """The swims that variants need; their responses are those of the rigs that they vary."""
    return [Need(field.canon, way.rig, way.mode, way.strip_m_s, node) for way in ways for node in field.nodes]
