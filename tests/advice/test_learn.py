"""Learning from the log: the update moves towards the truth, is reversible and does not depend on the order."""

import math

import numpy as np
import pytest

from planner.advice import Learned, LoggedSwim, advise_in_full, learn_from, with_learning
from planner.advice.learn import _FINE, _GRID, _REACH, _propagate
from planner.river.records import TackleFly

FLY = TackleFly("slim heavy", "low", math.nan, "heavy")


def _entry(asked, seconds, touched, hung=None, day="2026-06-01", **more):
    return LoggedSwim(asked, 0, "three", "slim heavy", seconds, touched, hung, "held", 0.45, day, **more)


def _learn(make, store, entries):
    return learn_from(entries, make.box(make.line("three", 3.0), flies=(FLY,)), make.quick, store)


def test_no_entry_teaches_nothing(make, store):
    """An empty log gives the prior back."""
    assert _learn(make, store, []) == Learned()


def test_touches_where_a_clean_swim_was_likely_make_the_bed_shallower_and_the_line_faster(make, store):
    """A touch at a short count says shallower or faster; a clean swim at a long count says deeper or slower."""
    asked = make.spot(depth=1.6, current=0.5)
    days = [f"2026-06-{day:02d}" for day in range(1, 5)]
    touched = _learn(make, store, [_entry(asked, 14.0, True, day=day) for day in days])
    clean = _learn(make, store, [_entry(asked, 22.0, False, False, day=day) for day in days])
    assert touched.spots["a"].mean < -0.01
    assert touched.lines["three"].mean > 0.005
    assert clean.spots["a"].mean > 0.01
    assert clean.lines["three"].mean < -0.005
    for learned in (touched, clean):
        for belief in (learned.spots["a"], learned.lines["three"]):
            assert belief.sd < belief.prior_sd
            assert belief.swims == len(days)


def test_ten_casts_of_one_day_say_less_than_ten_days(make, store):
    """Casts in a row share the current: what was wrong for one was so for all."""
    asked = make.spot(depth=1.6, current=0.5)
    row = _learn(make, store, [_entry(asked, 14.0, True) for _ in range(10)])
    days = _learn(make, store, [_entry(asked, 14.0, True, day=str(day)) for day in range(10)])
    assert row.spots["a"].swims == days.spots["a"].swims == 10
    assert days.spots["a"].mean < row.spots["a"].mean < 0
    assert days.spots["a"].sd < row.spots["a"].sd


def test_the_order_of_the_log_does_not_matter(make, store):
    """Expectation propagation runs until the factors stand."""
    asked = make.spot(depth=1.6, current=0.5)
    entries = [
        _entry(asked, s, t, day=str(n)) for n, (s, t) in enumerate([(14, True), (20, False), (18, True), (16, False)])
    ]
    forth, back = _learn(make, store, entries), _learn(make, store, entries[::-1])
    assert forth.spots["a"].mean == pytest.approx(back.spots["a"].mean, abs=1e-3)
    assert forth.lines["three"].sd == pytest.approx(back.lines["three"].sd, abs=1e-3)


def test_taking_rows_away_undoes_what_they_taught(make, store):
    """What is learned is a function of the rows that stand in the log."""
    asked = make.spot(depth=1.6, current=0.5)
    entries = [_entry(asked, 14.0, True, day="1"), _entry(asked, 20.0, False, day="2")]
    before = _learn(make, store, entries)
    _learn(make, store, [*entries, _entry(asked, 14.0, True, True, day="3")])
    assert _learn(make, store, entries) == before


def test_the_propagation_agrees_with_the_whole_grid():
    """One line fished at two spots: the exact posterior on a grid of three unknowns, summed out."""
    grid = np.linspace(-_REACH, _REACH, _GRID)
    theta, offset = np.meshgrid(grid, grid, indexing="ij")
    likely = [1 / (1 + np.exp(-(s * (theta - offset) + a))) for s, a in ((1.2, 0.3), (-1.0, 0.5), (1.5, -1.0))]
    factors = [("l", "a", likely[0]), ("l", "b", likely[1]), ("l", "a", likely[2])]
    lines, spots = _propagate(factors, {"l": 1.0}, {"a": 1.0, "b": 1.0})
    fine = np.linspace(-_REACH, _REACH, _FINE)
    tables = []
    for table in likely:
        across = np.array([np.interp(fine, grid, row) for row in table])
        tables.append(np.array([np.interp(fine, grid, column) for column in across.T]).T)
    prior = np.exp(-0.5 * fine**2)
    joint = prior[:, None, None] * prior[None, :, None] * prior[None, None, :]
    joint = joint * tables[0][:, :, None] * tables[1][:, None, :] * tables[2][:, :, None]
    for found, axes in ((lines["l"], (1, 2)), (spots["a"], (0, 2)), (spots["b"], (0, 1))):
        alone = joint.sum(axis=axes)
        alone /= alone.sum()
        mean = alone @ fine
        sd = math.sqrt(alone @ (fine - mean) ** 2)
        assert found[0] == pytest.approx(mean, abs=0.05)
        assert found[1] == pytest.approx(sd, rel=0.10)


def test_what_is_learned_moves_the_advice_and_not_the_soundings(make, store, monkeypatch):
    """A bed that was found shallower takes fewer seconds; the given patch is left alone."""
    # on the box's own leaders: what was learned may let another leader be tried for the first time
    monkeypatch.setattr("planner.advice.variants._LEADERS", ())
    box = make.box(make.line("three", 3.0), flies=(FLY,))
    asked = make.spot(depth=1.6, current=0.5)
    depths = asked.patch.depth_m.copy()
    learned = _learn(make, store, [_entry(asked, 14.0, True, True, day=str(day)) for day in range(6)])
    plain = advise_in_full([asked], box, make.quick, store=store)
    taught = advise_in_full([asked], box, make.quick, store=store, learned=learned)
    assert plain[0][0][0].best != taught[0][0][0].best
    assert taught[2].tables_solved == 0, "learning acts through the responses: no swim is solved anew"
    assert np.array_equal(asked.patch.depth_m, depths)
    assert float((with_learning(asked, learned).patch.depth_m - depths).max()) == pytest.approx(learned.spots["a"].mean)
    off = advise_in_full([asked], box, make.quick, store=store, learned=Learned())
    assert off[:2] == plain[:2]


def test_the_posterior_moves_towards_a_known_truth(make, store):
    """Entries made from a river whose bed and line are known: belief ends nearer to them than the prior was."""
    from planner.advice.advise import rigs_of
    from planner.sink import Cast, Current, line_with_sink_factor, swim

    box = make.box(make.line("three", 3.0), flies=(FLY,))
    rig = rigs_of(box)[0][0]
    true_bed, true_sink = -0.12, 0.10
    asked = make.spot(depth=1.6, current=0.5, sd=0.25)
    rng = np.random.default_rng(3)
    entries = []
    for day in range(24):
        seconds = float(rng.integers(10, 24))
        line = line_with_sink_factor(rig.line, math.exp(true_sink))
        current = Current(0.5 * math.exp(0.11 * rng.standard_normal()), 1.6, 6.0)
        path = swim(line, rig.fly, Cast(15.0, 45.0, 0.45, seconds, "held"), current, 1.6 + true_bed, nodes=12)
        entries.append(_entry(asked, seconds, path.touched, path.hang, day=str(day)))
    assert 3 < sum(entry.touched for entry in entries) < 24
    learned = _learn(make, store, entries)
    bed, line = learned.spots["a"], learned.lines["three"]
    away = math.hypot(true_bed / bed.prior_sd, true_sink / line.prior_sd)
    left = math.hypot((bed.mean - true_bed) / bed.prior_sd, (line.mean - true_sink) / line.prior_sd)
    assert left < 0.8 * away
    assert abs(bed.mean - true_bed) < 2.5 * bed.sd
