"""One answer along the ladder."""

import itertools

from hypothesis import given
from hypothesis import strategies as st

from planner.advice.along import Option, alike, steadiest
from planner.advice.records import constants

OPTION = st.builds(
    Option,
    index=st.just(0),
    line=st.sampled_from("ab"),
    fly=st.sampled_from("xy"),
    mode=st.sampled_from(["held", "fed"]),
    strip_m_s=st.sampled_from([0.25, 0.45]),
    worth_s=st.floats(9.0, 10.0),
    rigged=st.booleans(),
)
LEVEL = st.lists(OPTION, max_size=4).map(
    lambda level: [Option(**{**option.__dict__, "index": n}) for n, option in enumerate(level)]
)


def _cost(levels, chosen):
    """Changes along a ladder as the angler counts them, and the share of band time lost."""
    taken = [level[i] for level, i in zip(levels, chosen, strict=True) if i is not None]
    best = [max(o.worth_s for o in alike(level)) for level in levels if level]
    lost = sum(1 - option.worth_s / top for option, top in zip(taken, best, strict=True))
    changes = sum(
        8 * (a.line != b.line) + 4 * (a.fly != b.fly) + 2 * (a.mode != b.mode) + (a.strip_m_s != b.strip_m_s)
        for a, b in itertools.pairwise(taken)
    )
    return changes + lost


@given(st.lists(LEVEL, min_size=1, max_size=5))
def test_no_other_choice_within_the_margin_changes_less(levels):
    """All combinations of the ties are tried."""
    chosen = steadiest(levels)
    assert [i is None for i in chosen] == [not level for level in levels]
    for level, i in zip(levels, chosen, strict=True):
        assert i is None or i in [option.index for option in alike(level)]
    every = itertools.product(*([option.index for option in alike(level)] or [None] for level in levels))
    least = min(_cost(levels, combination) for combination in every)
    assert abs(_cost(levels, chosen) - least) < 1e-9


@given(LEVEL)
def test_a_tie_loses_no_more_than_the_margin(level):
    """Whatever the rods, a tie is within the margin of the best."""
    for option in alike(level):
        assert option.worth_s >= (1 - constants()["tie_margin"]) * max(one.worth_s for one in level)


def test_a_better_way_by_more_than_the_margin_is_taken_though_it_changes():
    """Steadiness never costs more than the margin."""

    def level(one, other):
        return [Option(0, "a", "x", "held", 0.45, one, False), Option(1, "b", "y", "fed", 0.25, other, False)]

    assert steadiest([level(10, 8), level(9.5, 10), level(5, 10)]) == [0, 1, 1]
