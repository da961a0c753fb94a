"""The advice from end to end: what `plumbrun plan` calls."""

from __future__ import annotations

import time
from collections.abc import Sequence

import numpy as np

from planner.advice.choose import advices_of, picks_of
from planner.advice.field import field_of
from planner.advice.kept import Shelf
from planner.advice.kit import ByLine, lines_to_rig, rods_to_rig
from planner.advice.learn import Learned, LoggedSwim, learn, with_learning
from planner.advice.records import Advice, AdviceReport, RodToRig, Settings, SpotAtLevels
from planner.advice.refine import refine_field
from planner.advice.screen import screen
from planner.advice.search import look, look_closely, name_variants
from planner.advice.store import SwimStore
from planner.advice.tables import Rig, SwimTables
from planner.advice.variants import with_leaders
from planner.advice.ways import require, side_by_side
from planner.errors import UsageMistake
from planner.river.records import Tackle
from planner.sink import fly_from_tackle, line_from_tackle

__all__ = ["advise", "advise_in_full", "learn_from", "rigs_of"]


def rigs_of(tackle: Tackle) -> tuple[list[Rig], tuple[str, ...]]:
    """All lines with all flies, and a sentence for each line or fly that had to be left out."""
    lines, flies, left = [], [], []
    for line in tackle.lines:
        try:
            lines.append(line_from_tackle(line, tackle))
        except UsageMistake as error:
            left.append(f"Left out: {error}")
    for fly in tackle.flies:
        try:
            flies.append(fly_from_tackle(fly))
        except UsageMistake as error:
            left.append(f"Left out: {error}")
    return [Rig(line, fly, line.name, fly.name) for line in lines for fly in flies], tuple(left)


def advise(spots: Sequence[SpotAtLevels], tackle: Tackle, settings: Settings | None = None) -> list[list[Advice]]:
    """Best line, fly, countdown and strip for each spot at each level.

    Parameters
    ----------
    spots : sequence of SpotAtLevels
        What the flow knows of each spot, see `gather.spot_at_levels`.
    tackle : Tackle
        The box.
    settings : Settings, optional
        Hang limit, strip paces, units of the sentences and more.

    Returns
    -------
    list of list of Advice
        Per spot and level.
    """
    return advise_in_full(spots, tackle, settings)[0]


def advise_in_full(
    spots: Sequence[SpotAtLevels],
    tackle: Tackle,
    settings: Settings | None = None,
    *,
    weights: Sequence[np.ndarray] | None = None,
    store: SwimStore | None = None,
    learned: Learned | None = None,
) -> tuple[list[list[Advice]], list[RodToRig], AdviceReport]:
    """`advise` with the day's rods and what it cost.

    Parameters
    ----------
    spots, tackle, settings
        As in `advise`.
    weights : sequence of numpy.ndarray, optional
        Likelihood of each level at each spot, for the rods (see `kit.likely_weights`); equal when not given.
    store : SwimStore, optional
        Where swims are kept; the user's cache when not given.
    learned : Learned, optional
        What the log says of the lines and spots, see `learn_from`.
    """
    settings = settings or Settings()
    rigs, left_out = rigs_of(tackle)
    if learned is not None:
        rigs = [learned.rig(rig) for rig in rigs]
        spots = [with_learning(spot, learned) for spot in spots]
    kept = SwimStore() if store is None else store
    tables, shelf = SwimTables(with_leaders(rigs), kept), Shelf(kept)
    began = time.perf_counter()
    made = [field_of(spot, settings) for spot in spots]
    for field in made:
        if field is not None:
            field.book = shelf.book(field.key)
    allowed = [[r for r, rig in enumerate(rigs) if not spot.river or rig.line.running == "floating"] for spot in spots]
    live = {k: field for k, field in enumerate(made) if field is not None and allowed[k]}
    screen([(field, allowed[k]) for k, field in live.items()], tables, settings)
    ways = {k: require(field, tables, settings) for k, field in live.items()}
    tables.require(need for _, needs in ways.values() for need in needs)
    seen = side_by_side(lambda k: look(live[k], tables, ways[k][0], settings), list(live))
    looked = dict(zip(live, seen, strict=True))
    tables.require(need for one in looked.values() for need in one.needs)
    named = side_by_side(lambda k: name_variants(live[k], tables, looked[k], settings), list(live))
    tables.require(need for needs in named for need in needs)
    weighed = side_by_side(lambda k: look_closely(live[k], tables, looked[k], settings), list(live))
    found = dict(zip(live, weighed, strict=True))
    searched = time.perf_counter()
    # the rods come from what each line can do; ties then go to the lines on them
    by_line = [
        [_at(found[k].by_line, live[k].levels, i) if k in live else {} for i in range(len(spot.levels))]
        for k, spot in enumerate(spots)
    ]
    rigged = lines_to_rig(by_line, weights, settings)

    def refined(k: int) -> int:
        return refine_field(live[k], tables, found[k], settings, picks_of(found[k], tables, settings, rigged))

    direct = sum(side_by_side(refined, list(live)))
    finished = time.perf_counter()
    shelf.save()

    def answered(k: int) -> list[Advice]:
        sinking = bool(rigs and not allowed[k])
        return advices_of(spots[k], live.get(k), found.get(k), tables, settings, rigged, left_out, sinking)

    advices = side_by_side(answered, range(len(spots)))
    report = AdviceReport(
        swims=tables.swims,
        direct_swims=direct,
        tables_from_disk=tables.from_disk,
        tables_solved=tables.solved,
        seconds_tables=tables.seconds,
        seconds_search=searched - began - tables.seconds,
        seconds_refine=finished - searched,
    )
    return advices, rods_to_rig(advices, weights, settings), report


def learn_from(
    swims: Sequence[LoggedSwim], tackle: Tackle, settings: Settings | None = None, store: SwimStore | None = None
) -> Learned:
    """What logged swims say of the box's lines and of the spots, see `planner.advice.learn`.

    Parameters
    ----------
    swims : sequence of LoggedSwim
        Entries of the log.
    tackle, settings, store
        As in `advise_in_full`.
    """
    if not swims:
        return Learned()
    rigs, _ = rigs_of(tackle)
    tables = SwimTables(rigs, SwimStore() if store is None else store)
    return learn(swims, rigs, tables, settings or Settings())


def _at(by_line: list[ByLine], levels: np.ndarray, i: int) -> ByLine:
    """What each line can do at level index i; nothing where the level cannot be answered."""
    row = np.flatnonzero(levels == i)
    return by_line[int(row[0])] if row.size else {}
