"""The nodes of a swim as its course leaves them: what they displace, and how short the last link may be."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from planner.sink import Cast, Current, Fly, swim
from planner.sink.batch import LEVEL, scenario_row, water_constants
from planner.sink.columns import FLAG_COLUMNS, RECORD_COLUMNS
from planner.sink.constants import constant
from planner.sink.course import GIVE_UP, NA, run_one, scratch
from planner.sink.drag import cn_table
from planner.sink.nodes import START_DEPTH
from planner.sink.solver import DIAMETER, DISPLACED, REST


def after(line, fly, cast, current, seconds, nodes=12, dt=0.04):
    """The nodes of the line so long after it has landed."""
    count = round(seconds / dt)
    down, back = np.empty((count + 1, len(RECORD_COLUMNS))), np.empty((1, 1, len(RECORD_COLUMNS)))
    space, vectors = scratch(nodes)
    p = np.array(scenario_row(line, fly, cast, current))
    records = down, back, np.empty((1, len(FLAG_COLUMNS)))
    counts = np.array([count], dtype=np.int64)
    run_one(p, counts, nodes, dt, 1, cn_table(), water_constants(), *records, space, vectors, LEVEL, LEVEL)
    return space[0][: int(vectors[3][NA])]


@pytest.mark.parametrize("mode", ["held", "fed", "mended"])
def test_every_node_displaces_the_water_of_its_own_thickness(head, slim, mode):
    """Those that fed line and mends have added too."""
    line = replace(head, rear_length_m=3.0, rear_diameter_m=2e-3, rear_density_kg_m3=800.0)
    cast = Cast(15.0, 90.0, 0.45, mode=mode, mend_every_s=1.5)
    landed, late = (after(line, slim, cast, Current(0.8, 3.0), seconds) for seconds in (0.0, 10.0))
    for nodes in (landed, late):
        area = math.pi * nodes[:, DIAMETER] ** 2 / 4.0
        assert nodes[:, DISPLACED] == pytest.approx(constant("water_density") * area)
    assert (len(late) > len(landed)) is (mode != "held")


def test_no_line_lands_with_a_stub_before_the_tip(head, slim):
    """Shorter than a share of the next link, or than the drop from the tip, it joins that link; no line is lost."""
    line = replace(head, rear_length_m=1.0, rear_diameter_m=2e-3, rear_density_kg_m3=800.0)
    cast = Cast(12.0, 60.0, 0.45)
    for metres in np.arange(9.0, 16.0, 0.05):
        nodes = after(line, slim, replace(cast, cast_m=float(metres)), Current(0.5, 3.0), 0.0)
        assert nodes[:, REST].sum() == pytest.approx(metres)
        assert nodes[-1, REST] >= GIVE_UP * nodes[-2, REST]
        assert nodes[-1, REST] >= 1.05 * (cast.tip_height_m + START_DEPTH)


def test_a_heavy_fly_stretches_its_line_by_one_in_three_hundred(head):
    """Links are made so stiff for the weight that hangs on them: 60 g of lead in still water."""
    lead = Fly("lead", 0.06, 0.06 / 11340.0, 2e-5, 2e-5)
    path = swim(head, lead, Cast(8.0, 0.0, 0.0, 12.0), Current(0.0, 20.0), swing_s=2.0)
    assert 0.0025 < path.stretch < 0.004
