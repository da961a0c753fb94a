"""The rods to rig."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from planner.advice.kit import fewest_lines, likely_weights, rods_to_rig
from planner.advice.records import Advice, Choice, Settings

WORTH = arrays(float, st.tuples(st.integers(1, 6), st.integers(1, 7)), elements=st.floats(0, 20))


@given(WORTH, st.integers(1, 3))
def test_no_other_set_of_the_same_size_serves_better(value, most):
    """The enumeration is exact."""
    chosen = fewest_lines(value, most, 0.02)
    if not chosen:
        assert value.max() == 0
        return
    worth = value[:, chosen].max(axis=1).sum()
    for group in combinations(range(value.shape[1]), len(chosen)):
        assert value[:, group].max(axis=1).sum() <= worth * (1 + 1e-9)


@given(WORTH, st.data())
def test_removing_a_line_left_ashore_changes_nothing(value, data):
    """A line that is not rigged has no say in which are."""
    chosen = fewest_lines(value, 3, 0.02)
    spare = [j for j in range(value.shape[1]) if j not in chosen]
    if not spare:
        return
    gone = data.draw(st.sampled_from(spare))
    again = fewest_lines(np.delete(value, gone, axis=1), 3, 0.02)
    assert tuple(j if j < gone else j + 1 for j in again) == chosen


def test_a_second_rod_is_rigged_only_when_it_earns_its_place():
    """A gain under the margin does not buy a rod."""
    assert fewest_lines(np.array([[10.0, 10.05], [10.0, 9.0]]), 3, 0.02) == (0,)
    assert fewest_lines(np.array([[10.0, 15.0], [10.0, 5.0]]), 3, 0.02) == (0, 1)


def _choice(line, fly, band):
    return Choice(line, fly, "held", 3, 5, 0.45, 3.0, (1.0, 1.2, 1.4), band, 0.1, 0.05, "")


def test_the_rods_name_the_flies_and_the_spots_they_serve():
    """Each rod carries the flies of the spots at which its line is best."""
    first = Advice("a", _choice("slow", "big", 9.0), None, by_line={"slow": (9.0, "big"), "quick": (2.0, "slim")})
    second = Advice("b", _choice("quick", "slim", 8.0), None, by_line={"slow": (1.0, "big"), "quick": (8.0, "slim")})
    rods = rods_to_rig([[first], [second]], None, Settings())
    assert [(rod.line, rod.flies, rod.spots) for rod in rods] == [
        ("slow", ("big",), ("a",)),
        ("quick", ("slim",), ("b",)),
    ]
    assert rods[0].lost_share == pytest.approx(0.0)


def test_the_kit_holds_the_fly_that_is_advised_on_the_rod_that_it_names():
    """A tie that the answer settles for one rod is not given to the other, and the planned fly comes along.

    The demo with heavy flies alone told a fly at two spots that was on none of its rod's lines.
    """
    worth = {"slow": (9.0, "big"), "quick": (9.2, "slim")}
    tied = Advice("a", replace(_choice("slow", "odd", 8.9), refined=True), None, by_line=worth, planned=True)
    big = Advice("b", _choice("slow", "big", 300.0), None, by_line={"slow": (300.0, "big"), "quick": (1.0, "slim")})
    slim = Advice("c", _choice("quick", "slim", 80.0), None, by_line={"slow": (1.0, "big"), "quick": (80.0, "slim")})
    rods = rods_to_rig([[tied], [big], [slim]], None, Settings())
    assert {rod.line: (set(rod.flies), set(rod.spots)) for rod in rods} == {
        "slow": ({"big", "odd"}, {"a", "b"}),
        "quick": ({"slim"}, {"c"}),
    }


def test_a_rod_does_not_name_a_spot_that_it_serves_at_levels_that_hardly_come():
    """A spot is named by the rods that fish it at likely levels; all seven were named for one rod of the demo."""
    usual = Advice("a", _choice("slow", "big", 9.0), None, by_line={"slow": (9.0, "big"), "quick": (8.0, "slim")})
    rare = Advice("a", _choice("quick", "slim", 9.0), None, by_line={"slow": (1.0, "big"), "quick": (9.0, "slim")})
    other = Advice("b", _choice("quick", "slim", 9.0), None, by_line={"slow": (1.0, "big"), "quick": (9.0, "slim")})
    weights = [np.array([0.999, 0.001]), np.array([1.0, 0.0])]
    rods = rods_to_rig([[usual, rare], [other, other]], weights, Settings())
    assert {rod.line: rod.spots for rod in rods} == {"slow": ("a",), "quick": ("b",)}


def test_one_rod_alone_says_what_it_loses():
    """With one rod allowed the loss is the share of band time left behind."""
    first = Advice("a", _choice("slow", "big", 9.0), None, by_line={"slow": (9.0, "big"), "quick": (1.0, "slim")})
    second = Advice("b", _choice("quick", "slim", 8.0), None, by_line={"slow": (1.0, "big"), "quick": (8.0, "slim")})
    (rod,) = rods_to_rig([[first], [second]], None, Settings(max_rods=1))
    assert rod.line == "slow"
    assert rod.lost_share == pytest.approx(1 - 10 / 17)


def test_no_rod_where_nothing_can_be_fished():
    """Without advice there is nothing to rig."""
    assert rods_to_rig([[Advice("a", None, None, "no soundings")]]) == []


def test_unlikely_levels_hardly_count():
    """The weights follow the expectation and sum to one, far away from it as well."""
    weights = likely_weights(np.array([1.0, 1.5, 2.0]), 1.5, 0.2)
    assert weights.sum() == pytest.approx(1.0)
    assert weights.argmax() == 1
    assert likely_weights(np.array([1.0, 2.0]), 50.0, 0.01).sum() == pytest.approx(1.0)
