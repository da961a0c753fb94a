"""Swim tables against direct swims."""

import numpy as np
import pytest

from planner.advice import tables as tables_module
from planner.advice.advise import rigs_of
from planner.advice.canon import Canon, count_knots, current_grid
from planner.advice.field import field_of, tracks_of, varied
from planner.advice.tables import EVERY_S, SAMPLES, Need, SwimTables, longest_count
from planner.advice.ways import require
from planner.sink import Cast, Current, swim


@pytest.fixture
def filled(make, store):
    """A box and a table maker over the common store."""
    rigs, left = rigs_of(make.box(make.line("three", 3.0), make.line("five", 5.0)))
    assert left == ()
    return rigs, SwimTables(rigs, store)


def _direct(rig, spot, mode, count, strip=0.45):
    level = spot.levels[0]
    cast = Cast(spot.cast_m, spot.angle_deg, strip, count, mode, spot.spot.stance)
    return swim(rig.line, rig.fly, cast, Current(level.velocity_m_s, level.depth_m, level.exponent_m))


@pytest.mark.parametrize(("mode", "count"), [("held", 2.0), ("held", 9.0), ("fed", 3.0)])
@pytest.mark.parametrize("current", [0.45, 0.75])
def test_the_interpolated_table_is_near_the_direct_swim(make, filled, mode, count, current):
    """Depth in the retrieve within 2 cm + 3 % of its mean, rms over the retrieve.

    The share holds 1.4 % of interpolation in the current and 1 to 2 % of the snapped depth of the profile and of ten
    nodes against thirty; the fixed part is the interpolation between knots of the countdown (most of it: long held
    countdowns of a heavy fly miss the most). The draws spread the fly three to ten times as far. The cast is a
    canonical one here: what snapping it costs is taken away by the direct swims of the finalists.
    """
    rigs, tables = filled
    spot = make.spot(depth=2.0, current=current, cast=15.0, angle=45.0)
    field = field_of(spot, make.quick)
    knots = count_knots(longest_count(field.canon, mode))
    k = int(np.clip(np.searchsorted(knots, count, side="right") - 1, 0, len(knots) - 2))
    b = (count - knots[k]) / (knots[k + 1] - knots[k])
    for r, rig in enumerate(rigs):
        field.shortlist = [r]
        tables.require(require(field, tables, make.quick)[1])
        tracks = tracks_of(field, tables, r, mode, 0.45, 0.45)
        depth = (1 - b) * tracks.retrieve[0, 0, k] + b * tracks.retrieve[0, 0, k + 1]
        path = _direct(rig, spot, mode, count)
        after = path.phase > 0
        time = path.times_s[after] - path.times_s[after][0]
        at = (np.arange(SAMPLES) + 0.5) / SAMPLES * time[-1]
        truth = np.interp(at, time, path.fly_depth_m[after])
        miss = np.sqrt(np.mean((depth - truth) ** 2))
        assert miss <= 0.02 + 0.03 * truth.mean(), (rig.line_name, rig.fly_name, miss, truth.mean())


def test_the_countdown_is_followed_as_the_direct_swim_goes(make, filled):
    """The table's countdown of the slim fly is within 2 cm of the direct one: coarser nodes and steps alone."""
    rigs, tables = filled
    spot = make.spot(depth=2.0, current=0.6)
    field = field_of(spot, make.quick)
    field.shortlist = [1]
    tables.require(require(field, tables, make.quick)[1])
    tracks = tracks_of(field, tables, 1, "held", 0.45, 0.45)
    path = _direct(rigs[1], spot, "held", 10.0)
    before = path.phase == 0
    times = EVERY_S * (np.arange(20) + 1)
    truth = np.interp(times[:18], path.times_s[before], path.fly_depth_m[before])
    assert np.abs(tracks.count[0, 0, :18] - truth).max() <= 0.02


def test_each_second_fed_is_deeper_at_the_first_strip(filled):
    """A longer countdown starts the retrieve deeper, for each rig and current."""
    rigs, tables = filled
    canon = Canon(15.0, 45.0, 0.0, 6.0, 30.0)
    needs = [Need(canon, r, "fed", 0.45, (node, 5)) for r in range(len(rigs)) for node in (3, 6, 8)]
    tables.require(needs)
    for need in needs:
        retrieve = tables.get(need)[1]
        assert (np.diff(retrieve[0, :, 0]) > 0).all()


def test_a_faster_current_never_tows_deeper(filled):
    """Straight downstream on a held line, from the same countdown, late in the retrieve."""
    rigs, tables = filled
    canon = Canon(15.0, 0.0, 0.0, 6.0, 30.0)
    for r in range(len(rigs)):
        needs = [Need(canon, r, "held", 0.45, (node, 6)) for node in range(4, 9)]
        tables.require(needs)
        depth = [tables.get(need)[1][0, 0, SAMPLES // 2] for need in needs]
        assert (np.diff(depth) < 0).all(), current_grid()[4:9]


def test_swims_from_the_disk_are_those_that_were_solved(make, filled, store):
    """Another table maker over the same store solves nothing and gives the same tracks, whatever the names."""
    _, tables = filled
    need = Need(Canon(15.0, 45.0, 0.0, 6.0, 30.0), 1, "held", 0.45, (5, 5), "lift")
    tables.require([need])
    renamed, _ = rigs_of(make.box(make.line("another name", 3.0), make.line("five", 5.0)))
    again = SwimTables(renamed, store)
    again.require([need, need])
    assert (again.solved, again.swims, again.from_disk) == (0, 0, 1)
    for one, other in zip(tables.get(need), again.get(need), strict=True):
        assert np.array_equal(one, other)


def test_a_spoilt_store_is_solved_again(make, filled, tmp_path):
    """A cut file costs time, not the plan."""
    from planner.advice import SwimStore

    rigs, _ = filled
    need = Need(Canon(9.0, 0.0, 0.0, 6.0, 30.0), 1, "held", 0.45, (6, 4))
    first = SwimTables(rigs, SwimStore(tmp_path))
    first.require([need])
    (path,) = tmp_path.iterdir()
    path.write_bytes(path.read_bytes()[:1000])
    again = SwimTables(rigs, SwimStore(tmp_path))
    again.require([need])
    assert again.solved == 1
    assert np.array_equal(again.get(need)[1], first.get(need)[1])
    third = SwimTables(rigs, SwimStore(tmp_path))
    third.require([need])
    assert third.solved == 0


def test_a_swim_that_fails_is_solved_in_shorter_steps(filled, monkeypatch):
    """One bad swim neither stops its batch nor changes the others."""
    from planner.errors import SwimFailed

    rigs, _ = filled
    canon = Canon(9.0, 0.0, 0.0, 6.0, 30.0)
    needs = [Need(canon, r, "held", 0.45, (6, 4)) for r in (0, 1, 2)]
    plain = SwimTables(rigs, None)
    plain.require(needs)
    solve = tables_module.free_swims
    bad = plain.rigs[1].fly.mass_kg
    steps = []

    def fragile(batch, counts, **options):
        if len(batch) > 1 and (batch["fly_mass_kg"] == bad).any():
            raise SwimFailed("a speed", "less", "shorten the step")
        if batch["fly_mass_kg"][0] == bad:
            steps.append(options["dt"])
            if len(steps) < 3:
                raise SwimFailed("a speed", "less", "shorten the step")
        return solve(batch, counts, **options)

    monkeypatch.setattr(tables_module, "free_swims", fragile)
    tables = SwimTables(rigs, None)
    tables.require(needs)
    assert steps[0] > steps[1] > steps[2]
    assert np.array_equal(tables.get(needs[0])[1], plain.get(needs[0])[1])
    assert np.abs(tables.get(needs[1])[1] - plain.get(needs[1])[1])[0].max() < 0.1


def test_the_responses_foretell_a_swim_with_all_unknowns_moved(make, filled):
    """Moved by one standard deviation each at once, the linear answer is within 25 % of the true change.

    The change is a product of shares in truth and a sum here: with five unknowns of 10 to 35 % the cross terms reach a
    quarter of it. What matters is that the spread of the fly's depth is right to that degree.
    """
    from dataclasses import replace

    from planner.advice.weigh import RESPONSES
    from planner.sink import line_with_sink_factor

    rigs, tables = filled
    spot = make.spot(depth=2.2, current=0.6)
    field = field_of(spot, make.quick)
    assert "boat" not in varied(field)
    moves = {"current": 0.12, "sink_rate": -0.08, "drag_area": 0.3, "lift": 1.5e-5}
    for r, rig in enumerate(rigs):
        field.shortlist = [r]
        tables.require(require(field, tables, make.quick)[1])
        tracks = tracks_of(field, tables, r, "held", 0.45, 0.45)
        moved = replace(
            rig,
            line=line_with_sink_factor(rig.line, np.exp(moves["sink_rate"])),
            fly=replace(
                rig.fly,
                towed_area_m2=rig.fly.towed_area_m2 * np.exp(moves["drag_area"]),
                broadside_area_m2=rig.fly.broadside_area_m2 * np.exp(moves["drag_area"]),
                lift_area_m2=rig.fly.lift_area_m2 + moves["lift"],
            ),
        )
        level = spot.levels[0]
        faster = replace(level, velocity_m_s=level.velocity_m_s * np.exp(moves["current"]))
        base, true = (
            _direct(one, where, "held", 4.5) for one, where in ((rig, spot), (moved, replace(spot, levels=(faster,))))
        )
        change = sum(
            moves[name] * tracks.retrieve[0, 6 + 2 * i, 1].mean() for i, name in enumerate(RESPONSES) if name in moves
        )
        truth = true.fly_depth_m[true.phase > 0].mean() - base.fly_depth_m[base.phase > 0].mean()
        assert truth < 0
        assert abs(change - truth) <= 0.25 * abs(truth), (rig.line_name, rig.fly_name, change, truth)
