"""Runs held from below, against a riffle and a box whose levels are known in closed form."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from planner.flow.control import Mark, control_asked, control_relation, held_from_below, marks_of, misread
from planner.flow.days import DaySeen
from planner.tables import constants
from tests.flow import box
from tests.flow.test_reduction import record

RULES = constants("flow")
TABLE = box.flume().relation
LIP, POWER = 0.6, RULES["control_power"]


def pool(q, power=POWER):
    """Level of a pool held 0.6 m over its riffle's lip at the flume's first discharge [m]."""
    return LIP * (q / box.FULL) ** (1 / power) - LIP


def day(q, level, sd=0.02, reference=False):
    """A day of survey as seen."""
    return DaySeen("a day", 50, q, math.nan, level, sd, reference)


def run(**extra):
    """The flume's record with properties."""
    return replace(box.flume().run, extra=extra)


@pytest.mark.parametrize(
    ("extra", "asked", "depth"),
    [
        ({}, False, math.nan),
        ({"control": " Downstream "}, True, math.nan),
        ({"control": "downstream", "control_depth_m": "0.6"}, True, 0.6),
        ({"control": "upstream", "control_depth_m": 0.5}, False, 0.5),
        ({"control_depth_m": 0.0}, False, math.nan),
        ({"control_depth_m": None}, False, math.nan),
        ({"control_depth_m": "knee"}, False, math.nan),
    ],
)
def test_what_the_user_says_of_a_control_is_read_as_meant(extra, asked, depth):
    """The word in any case; a depth that is a positive number, else unknown."""
    got = control_asked(run(**extra))
    assert got[0] == asked
    assert got[1] == pytest.approx(depth, nan_ok=True)


def test_a_mark_has_the_discharge_of_its_entry_stage_or_moment():
    """What is given wins; a stage goes through the pairs; a moment through the record, as late as the run is."""
    pairs = SimpleNamespace(discharge=lambda stage: 10.0 * stage)
    moment = "2026-05-03T02:00:00Z"  # hour 50: 20 e m³/s and 6 m
    entries = [
        {"level_m": 1.0, "discharge_m3s": 7.0, "taken_at": moment},
        {"level_m": 2.0, "stage_m": 1.5},
        {"level_m": 3.0, "taken_at": moment},
    ]
    found = marks_of(run(levels=entries), record(), pairs)
    assert [mark.level for mark in found] == [1.0, 2.0, 3.0]
    assert [mark.discharge for mark in found] == pytest.approx([7.0, 15.0, 20 * math.e])
    late = replace(run(levels=entries[2:]), lag_min=60.0)
    assert marks_of(late, record(), None)[0].discharge == pytest.approx(20 * math.exp(0.98), rel=1e-6)
    share = replace(run(levels=entries[:1]), flow_share=0.3)
    assert marks_of(share, None, None) == (Mark(1.0, pytest.approx(2.1)),)
    bare = record(flow=False)
    own = [{"level_m": 3.0, "taken_at": moment}, {"level_m": 4.0, "taken_at": moment, "stage_m": 2.0}]
    assert [mark.discharge for mark in marks_of(run(levels=own), bare, pairs)] == pytest.approx([60.0, 20.0])
    assert marks_of(run(levels=own), bare, None) == ()


@pytest.mark.parametrize(
    "entry",
    [{}, {"level_m": "high"}, {"level_m": 1.0}, {"level_m": 1.0, "discharge_m3s": 0.0}, {"level_m": math.inf}, "high"],
)
def test_a_mark_that_cannot_be_used_is_passed_over_and_counted(entry):
    """One without a level, or of no discharge, is left out; the rest stay; and how many were is said."""
    entries = [entry, {"level_m": 1.0, "discharge_m3s": 0.5}]
    found = marks_of(run(levels=entries), None, None)
    assert [mark.discharge for mark in found] == [0.5]
    assert misread(run(levels=entries), found)[0].startswith("1 of the run's levels")
    assert misread(run(levels=entries[1:]), found) == []


def test_levels_that_are_no_list_are_one_that_was_not_read():
    """A figure in place of a list is named as unusable; no levels at all are nothing to say."""
    assert marks_of(run(levels=3.0), None, None) == ()
    assert misread(run(levels=3.0), ())[0].startswith("1 of the run's levels")
    assert misread(run(), ()) == []
    assert misread(run(control="downstream", control_depth_m=0.4), ()) == []


# whether levels depart from normal depth


def error(q, sd=0.02):
    """Standard deviation of a departure at a discharge [m], by hand: the level's, and by slope gauge's and drift's."""
    by_flow = math.hypot(1.5 * RULES["day_discharge_sd"], RULES["conveyance_drift"] * abs(math.log(q / box.FULL)))
    return math.hypot(sd, by_flow / box.steep(box.level(q)))


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("part", [0.5, 2.0])
def test_a_departure_counts_from_two_and_a_half_standard_deviations(part, sign):
    """A tenth less than that does not, a tenth more does, upward and downward alike."""
    q = part * box.FULL
    bound = 2.5 * error(q)
    assert bound > RULES["control_least_m"]
    for share, held in ((0.97, False), (1.03, True)):
        seen = day(q, box.level(q) + sign * share * bound)
        got, said = held_from_below(TABLE, (seen,), (), box.FULL)
        assert got == held
        assert said.startswith(f"from {box.FULL:.3g} to {q:.3g} m³/s the level moved") == held


def test_a_departure_counts_from_eight_centimetres_where_all_is_sure():
    """At a discharge close to the first the levels are sure to 2 cm, and less than 8 cm is nothing."""
    q = 1.15 * box.FULL
    assert 2.5 * error(q, 0.001) > RULES["control_least_m"]  # the gauge's own error is the larger here
    steep = replace(TABLE, carried=TABLE.carried**3, constant=box.FULL / float(TABLE.conveyance(0.0)) ** 3)
    level = float(steep.level(q))
    for share, held in ((0.97, False), (1.03, True)):
        seen = day(q, level + share * RULES["control_least_m"], 0.001)
        assert held_from_below(steep, (seen,), (), box.FULL)[0] == held


def test_days_that_teach_nothing_show_no_control():
    """The reference itself, a day of no known level or discharge, one of nearly the same, one beyond the table."""
    close = box.FULL * math.exp(0.09)
    for seen in (
        day(0.5 * box.FULL, 3.0, reference=True),
        day(0.5 * box.FULL, math.nan),
        day(math.nan, 3.0),
        day(0.0, 3.0),
        day(close, 3.0),
        day(1e5, 3.0),
    ):
        assert held_from_below(TABLE, (seen,), (), box.FULL) == (False, "")
    assert held_from_below(TABLE, (day(box.FULL * math.exp(0.11), 3.0),), (), box.FULL)[0]


def test_two_marks_show_a_control_by_their_difference():
    """Whatever their zero and order: from the least to the greatest discharge the level rose too much, or not."""
    low, high = 0.5 * box.FULL, 2.0 * box.FULL
    rise = box.level(high) - box.level(low)
    middle = Mark(7.0 + box.level(box.FULL), box.FULL)
    for extra, held in ((0.0, False), (1.5, True), (-1.5, True)):
        marks = (Mark(7.0 + box.level(high) + extra, high), middle, Mark(7.0 + box.level(low), low))
        got, said = held_from_below(TABLE, (), marks, box.FULL)
        assert got == held
        if held:
            assert f"moved {rise + extra:+.2f} m, normal depth {rise:+.2f} m" in said
    assert held_from_below(TABLE, (), (Mark(99.0, high),), box.FULL) == (False, "")


def test_the_clearest_departure_is_the_one_told():
    """Of two the one that is more standard deviations off."""
    one, two = (day(part * box.FULL, box.level(part * box.FULL) + off) for part, off in ((0.5, 1.9), (2.0, 0.9)))
    ratios = [1.9 / error(one.discharge), 0.9 / error(two.discharge)]
    assert ratios[0] > ratios[1]
    for order in ((one, two), (two, one)):
        held, said = held_from_below(TABLE, order, (), box.FULL)
        assert held
        assert f"to {one.discharge:.3g}" in said


# the control's own relation


def test_a_depth_over_the_lip_alone_gives_the_relation():
    """Q = Q0 (1 + L / 0.6)^1.67: level 0 at the first discharge, nothing at the lip."""
    got = control_relation(TABLE, (), (), box.FULL, LIP)
    assert (got.lip, got.power, got.drift_sd) == (-LIP, POWER, RULES["conveyance_drift"])
    assert float(got.discharge(0.0)) == pytest.approx(box.FULL)
    assert float(got.level(0.4 * box.FULL)) == pytest.approx(pool(0.4 * box.FULL))


@pytest.mark.parametrize("power", [POWER, 1.9])
def test_levels_made_by_a_riffle_give_it_back(power):
    """From days, from marks of any zero and from both, with level 0 kept at the first discharge."""
    flows = box.FULL * np.array([0.15, 0.4, 2.0])
    days = tuple(day(q, pool(q, power), 0.002) for q in flows)
    marks = tuple(Mark(5.0 + pool(q, power), q) for q in flows)
    for seen, read in ((days, ()), ((), marks), (days, marks)):
        got = control_relation(TABLE, seen, read, box.FULL, math.nan)
        assert float(got.level(box.FULL)) == pytest.approx(0.0, abs=1e-9)
        at = box.FULL * np.array([0.2, 0.7, 1.5])
        assert got.level(at) == pytest.approx([pool(q, power) for q in at], abs=0.015)


def test_one_level_leaves_the_power_as_expected():
    """A single day fits any power, so the one expected of a riffle is kept, to a step of the grid."""
    q = 0.4 * box.FULL
    got = control_relation(TABLE, (day(q, pool(q)),), (), box.FULL, math.nan)
    assert got.power == pytest.approx(POWER, abs=0.03)
    assert float(got.level(q)) == pytest.approx(pool(q), abs=1e-6)
    assert got.lip == pytest.approx(-LIP, abs=0.02)


@pytest.mark.parametrize(
    ("seen", "marks"),
    [
        ((), ()),
        ((), (Mark(1.0, 0.4 * box.FULL),)),
        ((day(box.FULL, 0.0, reference=True),), ()),
        ((day(0.4 * box.FULL, math.nan),), ()),
        ((day(math.nan, -0.3),), ()),
        ((day(0.0, -0.3),), ()),
        ((day(1.05 * box.FULL, 0.05),), ()),
        ((day(0.4 * box.FULL, 0.3),), ()),
    ],
)
def test_nothing_tells_how_a_pool_rises(seen, marks):
    """No second level, one mark alone, a day nearly the same, or one that is higher with less water: no relation."""
    assert control_relation(TABLE, seen, marks, box.FULL, math.nan) is None


@pytest.mark.parametrize("reference", [math.nan, 0.0])
def test_a_pool_without_a_first_discharge_has_no_relation(reference):
    """Not even with its depth given."""
    assert control_relation(TABLE, (), (), reference, LIP) is None


def test_a_pool_of_a_brook_rises_as_one_of_a_river():
    """Discharges below one cubic metre a second fit as well."""
    flows = 0.6 * np.array([0.2, 0.5])
    days = tuple(day(q, LIP * (q / 0.6) ** (1 / POWER) - LIP, 0.002) for q in flows)
    got = control_relation(TABLE, days, (), 0.6, math.nan)
    assert got.level(flows) == pytest.approx([seen.level for seen in days], abs=0.01)


def test_two_marks_are_enough_and_one_has_no_zero():
    """Two give the rise between them; one beside a day of survey says nothing, whatever was read on it."""
    low, high = 0.3 * box.FULL, 2.0 * box.FULL
    marks = (Mark(5.0 + pool(low), low), Mark(5.0 + pool(high), high))
    got = control_relation(TABLE, (), marks, box.FULL, math.nan)
    assert float(got.level(high) - got.level(low)) == pytest.approx(pool(high) - pool(low), abs=0.01)
    seen = (day(low, pool(low)),)
    alone, beside = (control_relation(TABLE, seen, read, box.FULL, math.nan) for read in ((), marks[:1]))
    assert beside.level(high) == alone.level(high)


def test_the_surer_level_leads():
    """A day known to 1 cm leads one half a metre unsure, and marks read to 2 cm a day three decimetres unsure."""
    low, high = 0.3 * box.FULL, 2.0 * box.FULL
    days = (day(low, pool(low), 0.01), day(high, pool(high) + 0.1, 0.5))
    assert float(control_relation(TABLE, days, (), box.FULL, math.nan).level(low)) == pytest.approx(pool(low), abs=5e-3)
    marks = (Mark(5.0 + pool(low), low), Mark(5.0 + pool(high), high))
    got = control_relation(TABLE, (day(low, pool(low) + 0.2, 0.3),), marks, box.FULL, math.nan)
    assert float(got.level(low)) == pytest.approx(pool(low), abs=0.01)
