"""Level, discharge and doubt of sections drawn by hand: boxes, shelves, a lip, a plane."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from planner.bed.surface import Grid
from planner.flow.division import Division, conveyed, divide
from planner.flow.doubt import bed_slopes, doubts
from planner.flow.relation import ControlRelation, LevelRelation, conveyance_table, reach_wetted
from planner.flow.state import FlowState
from planner.tables import constants
from tests.flow import box

RULES = constants("flow")
WALLS = (True, True)
ALL = np.ones(4, dtype=bool)
TABLE = box.flume().relation


def carried(level):
    """A R^(2/3) of the flume [m^(8/3)]."""
    return box.area(level) * box.radius(level) ** (2 / 3)


@pytest.mark.parametrize("level", [-1.9, -1.0, 0.0, 1.3, 3.9])
def test_the_table_of_a_box_is_its_closed_form(level):
    """Conveyance, discharge, level and their slopes are those of a box from nearly dry to twice as deep."""
    rel = 0.02 if level < -1.5 else 1e-3
    assert float(TABLE.conveyance(level)) == pytest.approx(carried(level), rel=rel)
    assert float(TABLE.discharge(level)) == pytest.approx(box.discharge(level), rel=rel)
    assert float(TABLE.level(box.discharge(level))) == pytest.approx(level, abs=3e-3)
    if -1.5 < level < 3.9:
        steep, wide = TABLE.slopes(level)
        assert steep == pytest.approx(box.steep(level), rel=5e-3)
        assert wide == pytest.approx(1 / (box.DEPTH + level), rel=5e-3)


def test_a_table_reaches_four_metres_above_the_datum_or_one_above_its_lowest_ground():
    """And begins at the lowest ground, closer there than above."""
    for bed, above, top in ((-2.0, 4.0, 4.0), (-2.0, 2.5, 2.5), (3.5, 4.0, 4.5)):
        levels = conveyance_table(box.grid(lambda n, z=bed: np.full_like(n, z)), WALLS, above=above).levels
        assert (levels[0], levels[-1], len(levels)) == (pytest.approx(bed), pytest.approx(top), 120)
        steps = np.diff(levels)
        assert (np.diff(steps) > 0).all()


def test_a_trickle_in_the_bottom_of_a_vee_is_carried():
    """A vee of one in five carries from its very bottom on, where the bed that it wets is a few decimetres wide."""
    vee = box.grid(lambda n: -2.0 * (1 - np.abs(n) / 10))
    table = conveyance_table(vee, WALLS)
    depth = table.levels[1] + 2.0
    area, perimeter = 5 * depth**2, 2 * math.hypot(depth, 5 * depth)
    assert perimeter < 1
    assert table.carried[1] == pytest.approx(area * (area / perimeter) ** (2 / 3))


def test_a_relation_with_a_drift_is_steeper_or_flatter_by_it():
    """Q = K (Q/Q0)^g C gives Q = Q0 (K C / Q0)^(1/(1-g)); its slope is that of C over 1 - g."""
    made = TABLE.fitted(TABLE.constant, 0.2, box.FULL, 0.1)
    q = box.FULL * (box.discharge(0.7) / box.FULL) ** (1 / 0.8)
    assert float(made.discharge(0.7)) == pytest.approx(q, rel=1e-3)
    assert float(made.level(q)) == pytest.approx(0.7, abs=1e-3)
    assert made.slopes(0.7)[0] == pytest.approx(box.steep(0.7) / 0.8, rel=5e-3)
    assert made.slopes(0.7)[1] == pytest.approx(TABLE.slopes(0.7)[1])
    assert np.isnan(made.level([0.0, -1.0, math.nan])).all()


def test_no_discharge_and_one_beyond_the_table_have_no_level():
    """Nothing is guessed there; the table's own last discharge has the last level."""
    most = float(TABLE.discharge(TABLE.levels[-1]))
    assert np.isnan(TABLE.level([0.0, -1.0, math.nan, most * 1.001])).all()
    assert float(TABLE.level(most * (1 - 1e-12))) == pytest.approx(float(TABLE.levels[-1]))


def test_a_relation_is_led_through_a_reading_above_the_bed_alone():
    """K is Q over C there; where nothing is carried it stays unknown."""
    assert TABLE.calibrated(30.0, 0.5).constant == pytest.approx(30.0 / carried(0.5), rel=1e-3)
    assert math.isnan(TABLE.calibrated(30.0, -2.5).constant)
    brook = TABLE.calibrated(0.01, -1.95)
    assert brook.constant == pytest.approx(0.01 / float(TABLE.conveyance(-1.95)))


def test_a_dry_start_of_the_table_has_one_level_that_still_carries_nothing():
    """Several levels without flow give the last of them for the least discharge."""
    table = LevelRelation(np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 0.0, 1.0, 3.0]), np.array([0.0, 0, 1, 2]), 1.0)
    assert float(table.level(1e-9)) == pytest.approx(1.0, abs=1e-4)
    assert float(table.level(1.0)) == pytest.approx(2.0)
    assert float(table.level(3.0)) == pytest.approx(3.0)


def test_the_mean_section_is_of_the_whole_stations():
    """One cut short does not count, unless all are."""
    nodes = box.grid(stations=4)
    z = nodes.z.copy()
    z[3] = -1.0
    part = replace(nodes, z=z, whole=np.array([True, True, True, False]))
    assert float(reach_wetted(part, 0.0, WALLS).area) == pytest.approx(40.0)
    none = replace(part, whole=np.zeros(4, dtype=bool))
    assert float(reach_wetted(none, 0.0, WALLS).area) == pytest.approx(35.0)
    wet = reach_wetted(nodes, [0.0, 1.0], (True, False))
    assert wet.perimeter == pytest.approx([22.0, 23.0])
    assert wet.top_width == pytest.approx([20.0, 20.0])


LIP = ControlRelation(TABLE.levels, TABLE.area, 30.0, -0.6, 1.67, 0.15)


def test_a_lip_s_level_and_discharge_undo_each_other():
    """Q = 30 (L + 0.6)^1.67; at and under the lip nothing runs, and no level belongs to nothing."""
    assert LIP.discharge([-1.0, -0.6, 0.4]) == pytest.approx([0.0, 0.0, 30.0])
    assert LIP.level([30.0, 30.0 * 0.25**1.67, 0.5]) == pytest.approx([0.4, -0.35, -0.6 + (0.5 / 30) ** (1 / 1.67)])
    assert np.isnan(LIP.level([0.0, -1.0, math.nan, 30.0 * 4.7**1.67])).all()
    assert float(LIP.level(30.0 * 4.59**1.67)) == pytest.approx(3.99)


def test_a_lip_s_slope_is_its_power_over_the_depth_on_it():
    """1.67 / 1 m at a metre over it, held to two centimetres of depth at it; the area's is the run's own."""
    steep, wide = LIP.slopes(0.4)
    assert steep == pytest.approx(1.67)
    assert wide == pytest.approx(1 / 2.4, rel=5e-3)
    assert LIP.slopes(-0.6)[0] == pytest.approx(1.67 / 0.02)


# shelves beside a channel


def stepped(right=30, left=30, shelf=-0.5, bed=-2.0, width=20, rows=4):
    """A channel of a width between shelves, a node every metre."""
    n = np.tile(np.arange(0.0, right + width + left + 1), (rows, 1))
    return n, np.where((n >= right) & (n <= right + width), bed, shelf)


def test_parts_convey_side_by_side():
    """The water between parts is no wetted perimeter, each shelf has its own ease, and each rim its wall."""
    n, z = stepped(right=12, left=30)
    division = Division(np.full(4, 12), np.full(4, 32), (0.5, 0.8))
    level = 0.4
    got, area = conveyed(n, z, [level], WALLS, division)
    # the pieces that lead down lie in the shelf on the right and in the shelf on the left
    slant, fall = math.hypot(1, 1.5), (0.9 + 2.4) / 2
    right = (11 * 0.9 + fall, 11 + slant + 0.9)
    left = (29 * 0.9 + fall, 29 + slant + 0.9)
    middle = (20 * 2.4, 20.0)
    parts = [(0.5, *right), (1.0, *middle), (0.8, *left)]
    assert area[0] == pytest.approx(sum(a for _, a, _ in parts))
    assert got[0] == pytest.approx(sum(e * a * (a / p) ** (2 / 3) for e, a, p in parts))
    open_sides = conveyed(n, z, [level], (False, False), division)[0]
    bare = [(0.5, right[0], right[1] - 0.9), (1.0, *middle), (0.8, left[0], left[1] - 0.9)]
    assert open_sides[0] == pytest.approx(sum(e * a * (a / p) ** (2 / 3) for e, a, p in bare))


def test_a_section_that_is_not_divided_conveys_as_one():
    """A box with no shelf has its walls on the channel, on either side alone too."""
    nodes = box.grid(stations=4)
    one = Division(np.zeros(4, int), np.full(4, 40))
    assert one.whole(41)
    for walls, added in ((WALLS, 2), ((True, False), 1), ((False, True), 1), ((False, False), 0)):
        got, area = conveyed(nodes.n, nodes.z, [-2.5, 0.0, 1.0], walls, one)
        assert area == pytest.approx([0.0, 40.0, 60.0])
        for k, depth in ((1, 2.0), (2, 3.0)):
            assert got[k] == pytest.approx(20 * depth * (20 * depth / (20 + added * depth)) ** (2 / 3))
        assert got[0] == 0.0


def test_the_wall_beside_a_shelf_of_one_piece_is_the_shelf_s():
    """Half a metre of a box divided off on the right: its own bed and wall, and the rest with the other."""
    nodes = box.grid(stations=4)
    got, _ = conveyed(nodes.n, nodes.z, [0.0], WALLS, Division(np.ones(4, int), np.full(4, 40)))
    assert got[0] == pytest.approx(sum(a * (a / p) ** (2 / 3) for a, p in ((1.0, 2.5), (39.0, 21.5))))


def test_a_channel_of_two_metres_between_shelves_is_told_from_them():
    """Three nodes of deep water are the channel, and the node before them the shelf's last."""
    found = divide(*stepped(width=2), ALL)
    assert (found.right.tolist(), found.left.tolist()) == ([29] * 4, [33] * 4)


def test_each_node_and_piece_belongs_to_its_part():
    """Of ten pieces three are the right shelf's and two the left one's; the rims of the channel are the channel's."""
    division = Division(np.array([3]), np.array([8]), (0.5, 0.7))
    assert division.part(11)[0].tolist() == [0] * 3 + [1] * 5 + [2] * 2
    assert division.factor(11)[0].tolist() == [0.5] * 3 + [1.0] * 6 + [0.7] * 2
    assert not division.whole(11)
    assert not Division(np.array([0, 0]), np.array([10, 8])).whole(11)
    assert not Division(np.array([2, 2]), np.array([10, 10])).whole(11)
    assert Division(np.array([0, 0]), np.array([10, 10])).whole(11)


@pytest.mark.parametrize(("right", "left"), [(30, 30), (30, 3), (3, 30)])
def test_a_shelf_wider_than_five_times_its_step_is_divided_off(right, left):
    """The step is 1.5 m: thirty metres of shelf are one, three metres are the bank."""
    n, z = stepped(right, left)
    found = divide(n, z, ALL, (0.5, 0.6))
    last = n.shape[1] - 1
    assert found.right.tolist() == [29 if right == 30 else 0] * 4
    assert found.left.tolist() == [last - 29 if left == 30 else last] * 4
    assert found.ease == (0.5, 0.6)
    assert not found.whole(last + 1)


def test_a_shelf_on_one_side_alone_is_divided_in_the_run_s_table():
    """Regression: on the left bank alone, in the same column at all stations, it was found and then passed over."""
    for right, left in ((30, 3), (3, 30)):
        n, z = stepped(right, left)
        nodes = Grid(np.linspace(0, 90, 4), n, z, np.zeros_like(z), ALL)
        division = divide(n, z, ALL)
        table = conveyance_table(nodes, WALLS, division=division)
        assert table.carried == pytest.approx(conveyed(n, z, table.levels, WALLS, division)[0])
        one = conveyance_table(nodes, WALLS)
        assert float(table.conveyance(-0.4)) > 1.1 * float(one.conveyance(-0.4))


@pytest.mark.parametrize(("step", "divided"), [(0.41, True), (0.39, False)])
def test_a_step_of_four_decimetres_is_the_least(step, divided):
    """Less is a bar, not a shelf."""
    n, z = stepped(shelf=-2.0 + step)
    assert (not divide(n, z, ALL).whole(81)) == divided


def test_a_hump_beside_the_channel_is_no_shelf():
    """Ground that is lower at the bank than beside the channel is not divided off."""
    n, z = stepped(shelf=-1.0)
    z = np.where(n < 15, -1.9, np.where((n >= 15) & (n < 30), -0.2, np.where(n <= 50, -2.0, -1.99)))
    assert divide(n, z, ALL).right.tolist() == [0] * 4


@pytest.mark.parametrize(("with_shelf", "divided"), [(1, False), (2, True), (3, True)])
def test_half_of_the_stations_must_show_a_shelf(with_shelf, divided):
    """One odd station of four divides nothing, two do; a station that does not count has no say."""
    n, z = stepped(rows=5)
    flat = np.where((n >= 30) & (n <= 50), -2.0, -1.99)
    z = np.where(np.arange(5)[:, None] < with_shelf, z, flat)
    z[4] = stepped()[1][0]  # is left out
    found = divide(n, z, np.array([True, True, True, True, False]))
    assert found.right[:4].tolist() == [29 if divided and k < with_shelf else 0 for k in range(4)]
    assert found.left[:4].tolist() == [51 if divided and k < with_shelf else 80 for k in range(4)]


# how sure each sounding is


def plane(rows=5):
    """A bed that rises by 3 cm a metre along and 4 cm a metre across."""
    nodes = box.grid(stations=rows)
    return replace(nodes, z=0.03 * nodes.s[:, None] + 0.04 * nodes.n)


def test_the_steepness_of_a_plane_is_that_of_its_rise():
    """3 and 4 cm a metre at right angles are 5 cm a metre, at every node."""
    assert bed_slopes(plane()) == pytest.approx(np.full((5, 41), 0.05))
    assert bed_slopes(plane(2)) == pytest.approx(np.full((2, 41), 0.05))
    alone = Grid(np.zeros(1), plane().n[:1], plane().z[:1], plane().sd[:1], np.ones(1, dtype=bool))
    assert bed_slopes(alone) == pytest.approx(np.full((1, 41), 0.04))


def test_each_part_of_a_sounding_s_doubt_is_its_own_product():
    """Place by steepness, time by the run's own rise where it is known and by the gauge's where it is not."""
    reduced = SimpleNamespace(
        sd=np.array([0.05, 0.08]), draft_sd=np.array([0.0, 0.12]), place_sd=np.array([2.0, 4.0]),
        time_sd=np.array([600.0, 1200.0]), stage_rate=np.array([-1e-4, 1e-4]), flow_rate=np.array([-5e-5, math.nan]),
    )  # fmt: skip
    s, n, shift = np.array([20.0, 60.0]), np.array([1.0, -3.0]), np.array([0.0, 0.1])
    got = doubts(reduced, plane(), s, n, shift, TABLE)
    assert got.position == pytest.approx([0.1, 0.2])
    assert got.time == pytest.approx([5e-5 / TABLE.slopes(0.0)[0] * 600, 0.12])
    assert got.stage == pytest.approx([RULES["stage_sd_m"]] * 2)
    assert got.total[1] == pytest.approx(math.sqrt(0.08**2 + 0.12**2 + 0.02**2 + 0.12**2 + 0.2**2 + 0.1**2))
    assert got.reading[1] == pytest.approx(math.sqrt(0.08**2 + 0.12**2 + 0.02**2 + 0.12**2 + 0.1**2))
    assert got.as_dict()["method"] == pytest.approx(math.sqrt((0.05**2 + 0.08**2) / 2))
    by_gauge = doubts(reduced, plane(), s, n, shift, None)
    assert by_gauge.time == pytest.approx([0.06, 0.12])
    unknown = SimpleNamespace(**{**vars(reduced), "stage_rate": np.full(2, math.nan)})
    assert doubts(unknown, plane(), s, n, shift, None).time == pytest.approx([0.0, 0.0])


def test_a_state_goes_into_json_with_null_for_what_is_unknown():
    """Infinity is unknown too; words, counts and figures stay."""
    state = FlowState("a", level_m=0.5, slope=math.inf, soundings=7, extrapolated=True, limits=("said",))
    told = json.loads(json.dumps(state.as_dict(), allow_nan=False))
    assert (told["level_m"], told["slope"], told["stage_m"]) == (0.5, None, None)
    assert (told["run"], told["soundings"], told["extrapolated"], told["limits"]) == ("a", 7, True, ["said"])
