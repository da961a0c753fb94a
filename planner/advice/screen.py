"""The screening: rank all rigs of the box at a spot's lowest, middle and highest node, and keep a shortlist."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from planner.advice.draws import deviations, draw
from planner.advice.field import Field, screen_tracks
from planner.advice.kept import hash_of, page_key
from planner.advice.records import Settings
from planner.advice.tables import Need, SwimTables
from planner.advice.ways import Way, normal_strip, side_by_side, way_key
from planner.advice.weigh import weigh

__all__ = ["node_worth", "screen"]

_SECONDS, _DRAWS = 4, 16
_SLACK = 0.2  # what so few draws and stand-ins can tell of a hang chance
_KEEP_SHARE = 0.12
_MODE = "held"  # the order of rigs in depth is the same fed; half the swims


def screen(jobs: Sequence[tuple[Field, list[int]]], tables: SwimTables, settings: Settings) -> None:
    """Rank all rigs of each field, and fill its `screened` and `shortlist`.

    Rigs are ranked at one pace in one mode, with stand-ins for the responses; which is best depends on both, so the
    list is long: a rig that gives an eighth of the best there may be the best at another pace.

    Parameters
    ----------
    jobs : sequence of (Field, list of int)
        Spots, and the rigs that may be used there.
    tables : SwimTables
        Gives the swims.
    settings : Settings
        Paces, hang limit and length of the list.
    """
    needs = [
        Need(field.canon, rig, _MODE, strip, node)
        for field, allowed in jobs
        for strip in _strips(field, settings)
        for rig in allowed
        for node in _nodes(field)
    ]
    tables.require(needs)
    side_by_side(lambda job: _rank(job[0], job[1], tables, settings), jobs)


def _nodes(field: Field) -> list[tuple[int, int]]:
    """The nodes screened: their own currents and depths, which the gauge does not move."""
    return [field.nodes[k] for k in sorted({0, len(field.nodes) // 2, len(field.nodes) - 1})]


def _strips(field: Field, settings: Settings) -> tuple[float, ...]:
    """The normal pace; all where the boat moves with the water, so that the strip makes the speed."""
    return settings.strips_m_s if field.canon.boat_ratio != 0.0 else (normal_strip(settings),)


def node_worth(
    field: Field, ways: list[Way], nodes: list[tuple[int, int]], tables: SwimTables, settings: Settings, draws: int
) -> np.ndarray:
    """Largest band time near the limit, and of all, of ways of one mode, shape (2, ways, nodes) [s].

    Weighed at nodes of current and depth themselves, with stand-ins for the responses.

    Parameters
    ----------
    field, tables, settings : Field, SwimTables, Settings
        As in `screen`; the swims of the ways at the nodes were required before.
    ways : list of Way
        Ways of one countdown mode.
    nodes : list of (int, int)
        Of the field.
    draws : int
        How many draws tell of the hang chance, a power of two.
    """
    steps, mode = field.steps, ways[0].mode
    rows = [int(steps[np.argmax(field.weight[steps, field.nodes.index(node)])]) for node in nodes]
    ground = field.at_nodes(rows, nodes, 1)
    there = [
        hash_of(field.key, field.row_keys[row], repr(node), ground.rise_m[k], ground.boat_m_s[k])
        for k, (row, node) in enumerate(zip(rows, nodes, strict=True))
    ]
    made_keys = [way_key(way, tables, settings, draws) for way in ways]
    keys = [page_key(one, key, "screen") for key in made_keys for one in there]

    def make(missing: list[int]) -> list[np.ndarray]:
        again = sorted({i // len(nodes) for i in missing})
        asked = [(ways[w].rig, ways[w].mode, ways[w].strip_m_s) for w in again]
        dev = deviations(draw(draws, settings.seed))
        # one job for the compiled pass: the ways stand beside each other as more levels
        spread = np.concatenate([field.spread(tables.rigs[rig], field.levels[rows]) for rig, _, _ in asked])
        tracks = screen_tracks(field, tables, asked, nodes)
        under = field.at_nodes(rows, nodes, len(asked))
        found = weigh(tracks, under, spread, dev, field.seconds(mode, _SECONDS if mode == _MODE else 1))
        # few draws and a stand-in: a way near the limit stays in
        over = (found.hang_chance - settings.hang_limit) / _SLACK
        inside = found.band_time_s * (1.0 - np.clip(over, 0.0, 1.0))
        both = np.stack([inside.max(axis=1), found.band_time_s.max(axis=1)], axis=1)
        place = {w: k for k, w in enumerate(again)}
        return [both[place[i // len(nodes)] * len(nodes) + i % len(nodes)] for i in missing]

    found = np.array(field.book.take(keys, make)).reshape(len(ways), len(nodes), 2)
    return np.moveaxis(found, 2, 0)


def _rank(field: Field, allowed: list[int], tables: SwimTables, settings: Settings) -> None:
    paces = [
        node_worth(field, [Way(rig, _MODE, strip) for rig in allowed], _nodes(field), tables, settings, _DRAWS)
        for strip in dict.fromkeys(_strips(field, settings))
    ]
    field.screened = dict(zip(allowed, np.max([best for best, _ in paces], axis=0), strict=True))
    raw = np.max([best + 0.01 * reach for best, reach in paces], axis=0)
    top = raw.max(axis=0)
    score = dict(zip(allowed, (raw / np.maximum(top, 1e-9)).max(axis=1).tolist(), strict=True))
    ranked = sorted(score, key=lambda rig: (-score[rig], rig))
    if not top.any():  # nothing comes near the band: the heaviest rigs say so
        sink = {rig: tables.rigs[rig].line.sink_rate_m_s for rig in allowed}
        ranked = sorted(allowed, key=lambda rig: (-sink[rig], -tables.rigs[rig].fly.wet_weight_n, rig))
    kept = [rig for i, rig in enumerate(ranked) if i < 3 or score[rig] >= _KEEP_SHARE]
    # where the boat moves with the water the strip makes the speed, and the order changes with it: a longer list
    field.shortlist = kept[: settings.shortlist + (2 if field.canon.boat_ratio != 0.0 else 0)]
