"""Other leaders, and mends: ways that are searched for the rigs that fish best as they come out of the box."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from planner.advice.coarse import Coarse
from planner.advice.field import Field
from planner.advice.tables import Need, Rig
from planner.advice.ways import Way

__all__ = ["is_own", "needs_of", "variants_of", "with_leaders"]

_LEADERS, _LEADER_M = (0.5, 2.0), (0.4, 4.0)
_LONGER, _SHORTER, _MENDED = 6, 2, 1  # of so many of the best rigs


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


def variants_of(field: Field, ways: Sequence[Way], found: Coarse, rigs: Sequence[Rig]) -> list[Way]:
    """Ways with another leader, or with mends through the countdown, of the rigs that do best along the ladder.

    Each is tried in the mode and pace in which its rig does best on its own leader; the best rig's longer leader in
    its other mode too. A longer leader can make the best of a rig that is behind on its own: more of them are tried.
    A shorter one and mends shift a rig by centimetres. Only steps of the ladder are asked, so that the ways stay when
    the gauge moves.

    Parameters
    ----------
    field : Field
        The spot.
    ways, found : sequence of Way, Coarse
        The box's own ways, weighed coarsely.
    rigs : sequence of Rig
        From `with_leaders`.
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
    made = []
    for place, rig in enumerate(sorted(best, key=lambda rig: best[rig], reverse=True)[:_LONGER]):
        way, own = ways[-best[rig][2]], rigs[rig].line.leader_length_m
        if place < _MENDED and "fed" in field.modes:
            made.append(replace(way, mode="mended"))
        for other, one in enumerate(rigs):
            if one.like == rig and (place < _SHORTER or one.line.leader_length_m > own):
                made.append(replace(way, rig=other))
                if place == 0 and one.line.leader_length_m > own:
                    made += [replace(way, rig=other, mode=mode) for mode in field.modes if mode != way.mode]
    return made


def needs_of(field: Field, ways: Sequence[Way]) -> list[Need]:
    """The swims that variants need; their responses are those of the rigs that they vary."""
    return [Need(field.canon, way.rig, way.mode, way.strip_m_s, node) for way in ways for node in field.nodes]
