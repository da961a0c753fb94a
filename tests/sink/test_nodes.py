"""Sharing out nodes, splitting the link at the tip, and mends: lengths, weights and places that must be kept."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from planner.sink import Cast, Current
from planner.sink.batch import scenario_row, water_constants
from planner.sink.constants import constant
from planner.sink.line import Line
from planner.sink.nodes import PARTS, START_DEPTH, SUBMERGED, mend, share_out, split_tip, stiffness
from planner.sink.solver import COLUMNS, DIAMETER, DISPLACED, MASS, REST, SHARE
from tests.published.line_cases import SLIM

RHO = constant("water_density")


def shared(line: Line, cast_m: float, nodes: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Nodes of a line, with the lengths and numbers of its parts."""
    p = np.array(scenario_row(line, SLIM, Cast(cast_m), Current(0.5, 2.0)))
    st, lengths, counts = np.zeros((nodes + 8, COLUMNS)), np.zeros(PARTS), np.zeros(PARTS)
    free = share_out(p, nodes, RHO, st, lengths, counts)
    return st[:free], lengths, counts


@pytest.mark.parametrize(("cast", "nodes"), [(14.0, 20), (7.0, 8), (2.0, 6), (30.0, 40)])
@pytest.mark.parametrize("rear", [0.0, 3.0])
def test_all_line_out_is_shared_out_with_its_weight(head, cast, nodes, rear) -> None:
    """Lengths add up to the cast; mass and displaced water to those of leader, head, rear and running line out."""
    line = replace(head, rear_length_m=rear, rear_diameter_m=2e-3, rear_density_kg_m3=800.0, leader_length_m=1.5)
    st, _, counts = shared(line, cast, nodes)
    assert len(st) == counts.sum() == nodes
    assert st[:, REST].sum() == pytest.approx(cast)
    parts = (
        (line.leader_length_m, line.leader_diameter_m, line.leader_density_kg_m3),
        (line.head_length_m, line.head_diameter_m, line.head_density_kg_m3),
        (rear, 2e-3, 800.0),
        (math.inf, line.running_diameter_m, line.running_density_kg_m3),
    )
    left, mass, displaced = cast, 0.0, 0.0
    for length, diameter, density in parts:
        out = min(left, length)
        left -= out
        mass += out * density * math.pi * diameter**2 / 4.0
        displaced += out * RHO * math.pi * diameter**2 / 4.0
    assert (st[:, REST] * st[:, MASS]).sum() == pytest.approx(mass)
    assert (st[:, REST] * st[:, DISPLACED]).sum() == pytest.approx(displaced)
    assert st[0, DIAMETER] == pytest.approx(line.leader_diameter_m)


def test_links_are_as_even_as_their_number_allows_and_floating_ones_up_to_twice_as_long(head) -> None:
    """No part could give a node to another and leave the longest link shorter; floating parts count half."""
    line = replace(head, rear_length_m=3.0, rear_diameter_m=2e-3, rear_density_kg_m3=800.0, leader_length_m=1.5)
    _, lengths, counts = shared(line, 18.0, 17)
    worth = np.where(np.arange(PARTS) > 3, 0.5, 1.0)
    there = counts > 0
    longest = (lengths * worth)[there] / counts[there]
    with_one_less = (lengths * worth)[there] / np.maximum(counts[there] - 1, 1e-9)
    assert np.all(with_one_less >= longest.max() - 1e-12)


def a_link(chord: float, rest: float, tip_z: float = -0.5) -> tuple[np.ndarray, np.ndarray]:
    """A scenario and one node that hangs from the tip over a chord."""
    p = np.array(scenario_row(_line(), SLIM, Cast(14.0), Current(0.5, 2.0)))
    st = np.zeros((3, COLUMNS))
    st[0, :3] = chord * np.array([0.6, 0.0, 0.8]) + [0.0, 0.0, tip_z]
    st[0, 3:6] = 0.3, 0.1, 0.2
    st[0, REST] = rest
    return p, st


def _line() -> Line:
    from planner.sink.line import line_from_head

    return line_from_head(7.9, 16e-3, 0.127)


def test_a_long_link_at_the_tip_is_cut_in_two_on_its_chord_and_no_line_is_lost() -> None:
    """The new node lies one link's length up the chord, carries running line, and the slack stays at the tip."""
    p, st = a_link(2.0, 2.4)
    assert split_tip(p, RHO, st, 1, -0.5, 0.7) == 2
    assert st[0, REST] == pytest.approx(0.7)
    assert st[:2, REST].sum() == pytest.approx(2.4)
    assert np.linalg.norm(st[1, :3] - st[0, :3]) == pytest.approx(0.7)
    assert np.cross(st[1, :3] - st[0, :3], st[0, :3] - [0.0, 0.0, -0.5]) == pytest.approx(np.zeros(3), abs=1e-12)
    assert np.linalg.norm(st[1, :3] - [0.0, 0.0, -0.5]) == pytest.approx(1.3)
    assert st[1, 3:6] == pytest.approx([0.3, 0.1, 0.0])
    area = math.pi * _line().running_diameter_m ** 2 / 4.0
    assert st[1, MASS] == pytest.approx(_line().running_density_kg_m3 * area)
    assert st[1, DISPLACED] == pytest.approx(RHO * area)


@pytest.mark.parametrize(("chord", "cut"), [(1.04, False), (1.06, True)])
def test_a_link_is_cut_once_half_a_link_would_be_left(chord: float, cut: bool) -> None:
    """From one and a half links on there is a new node, and never more nodes than there is room for."""
    p, st = a_link(chord, chord)
    assert split_tip(p, RHO, st, 1, -0.5, 0.7) == (2 if cut else 1)
    p, st = a_link(5.0, 5.0)
    st[2] = st[0]
    assert split_tip(p, RHO, st, 3, -0.5, 0.7) == 3


def on_the_water(slack: float = 1.0) -> np.ndarray:
    """Twelve links of a metre, straight across on the water, the first three nodes sunk by 20 cm."""
    st = np.zeros((12, COLUMNS))
    st[:, 1] = np.arange(12, 0, -1.0)
    st[:, 2] = START_DEPTH
    st[:3, 2] = 0.2
    st[:, REST], st[:, SHARE] = 1.0, 1.0
    st[2, REST] = math.hypot(1.0, 0.2 - START_DEPTH)
    st[11, REST] *= slack
    return st


@pytest.mark.parametrize(("current", "boat", "slack"), [(0.8, 0.0, 1.0), (-0.4, 0.9, 1.0), (0.8, 0.0, 2.0)])
def test_a_mend_lays_the_floating_line_up_current_in_a_bow(current, boat, slack) -> None:
    """What is sunk stays; every link keeps its length; the bow is up-current, as high as asked; line is fed for it."""
    st = on_the_water(slack)
    before = st.copy()
    give = mend(st, 12, 0.0, current, boat, 0.15)
    assert st[:3] == pytest.approx(before[:3])
    links = np.linalg.norm(np.diff(st[:, :3], axis=0), axis=1)
    assert links[2:] == pytest.approx(before[2:11, REST], rel=1e-3)
    assert st[3:, 2] == pytest.approx(START_DEPTH)
    up = -math.copysign(1.0, current)
    chord = 10.0
    height = chord * max(0.15, min(math.sqrt(0.375 * (slack - 1.0) / chord), 0.35))
    assert np.all(up * st[3:, 0] > 0.0)
    assert np.max(up * st[3:, 0]) == pytest.approx(height, rel=0.03)
    # where the bow is highest lies half of the chord
    assert st[np.argmax(up * st[:, 0]), 1] == pytest.approx(chord / 2.0, abs=0.6)
    # set down on the water: it goes with the surface, seen from the tip
    assert st[3:, 3] == pytest.approx(current)
    assert np.all(st[3:, 4:6] == 0.0)
    # and the last link reaches the tip
    assert st[11, REST] == pytest.approx(before[11, REST] + give)
    assert st[11, REST] >= np.linalg.norm(st[11, :3]) - 1e-9
    assert give >= 0.0


def test_the_line_fed_for_a_mend_is_what_the_bow_is_longer_than_the_chord() -> None:
    """A parabola of 15 % is longer than its chord by 8/3 of its square, 6 %; the fed line is about that."""
    st = on_the_water()
    assert mend(st, 12, 0.0, 0.8, 0.0, 0.15) == pytest.approx(10.0 * 8.0 / 3.0 * 0.15**2, rel=0.15)


def crumpled(longer: float) -> np.ndarray:
    """The line of `on_the_water` with so many times its length on the same places: loose coils on the surface."""
    st = on_the_water()
    st[2:11, REST] *= longer
    return st


@pytest.mark.parametrize("longer", [1.2, 1.5, 2.5])
def test_the_bow_is_made_higher_until_loose_line_finds_room_on_it(longer: float) -> None:
    """From 0.15 or what the slack is worth, at most 0.35 of the chord, by fifths until the curve is 5 % longer."""
    st = crumpled(longer)
    total, chord = st[2:11, REST].sum(), 10.0
    mend(st, 12, 0.0, 0.8, 0.0, 0.15)

    def arc(height: float) -> float:
        """Length of a parabola of a height over the chord, in closed form."""
        part = 4.0 * height / chord
        return chord / 2.0 * (math.hypot(1.0, part) + math.asinh(part) / part)

    height = chord * max(0.15, min(math.sqrt(0.375 * ((total + 1.0) / chord - 1.0)), 0.35))
    while arc(height) <= 1.05 * total:
        height *= 1.2
    assert np.max(-st[3:, 0]) == pytest.approx(height, rel=0.08)
    # all of it between the sunk line and the tip, on the up-current side
    assert np.all((st[3:, 0] < 0.0) & (st[3:, 1] > 0.0) & (st[3:, 1] < chord))
    links = np.linalg.norm(np.diff(st[:, :3], axis=0), axis=1)
    assert links[2:] == pytest.approx(longer * on_the_water()[2:11, REST], rel=1e-3)


def test_loose_line_that_no_bow_can_hold_is_left_as_it_lies() -> None:
    """Ten times as long as the way to the tip."""
    st = crumpled(10.0)
    before = st.copy()
    assert mend(st, 12, 0.0, 0.8, 0.0, 0.15) == 0.0
    assert np.array_equal(st, before)


def test_what_cannot_be_mended_is_left_as_it_lies() -> None:
    """Line along the current, water that stands, a short line and one that is sunk up to the tip stay as they are."""
    along = on_the_water()
    along[:, [0, 1]] = along[:, [1, 0]]
    short = on_the_water()
    short[:, 1] *= 0.09
    sunk = on_the_water()
    sunk[:, 2] = SUBMERGED + 0.01
    for st, current in ((along, 0.8), (on_the_water(), 0.0), (short, 0.8), (sunk, 0.8)):
        before = st.copy()
        assert mend(st, 12, 0.0, current, 0.0, 0.15) == 0.0
        assert np.array_equal(st, before)


def test_links_are_stiff_enough_for_what_they_carry_and_no_softer_than_their_own() -> None:
    """Three hundred times the friction, drag and weight foreseen, or that of a jerk, or their own where it is more."""
    p = np.array(scenario_row(_line(), SLIM, Cast(14.0), Current(0.5, 2.0)))
    line, const = _line(), np.zeros(8)
    const[:7] = water_constants()
    area = math.pi * line.head_diameter_m**2 / 4.0
    for speed in (0.0, 1.0, 3.0):
        thickest = max(line.head_diameter_m, line.running_diameter_m)
        friction = 0.5 * RHO * speed**2 * math.pi * const[4] * thickest * 14.0
        weight = 9.80665 * (2e-3 + area * abs(line.head_density_kg_m3 - RHO) * line.head_length_m)
        carried = 300.0 * (friction + 0.5 * RHO * speed**2 * SLIM.towed_area_m2 + weight)
        jerk = 5e4 * speed**2 * area * line.head_density_kg_m3
        assert stiffness(p, const, 2e-3, speed) == pytest.approx(max(const[3], carried, jerk))
    const[3] = 1e6
    assert stiffness(p, const, 2e-3, 1.0) == 1e6
