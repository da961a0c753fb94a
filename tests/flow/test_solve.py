"""The drawn water's edge and the level of its day by hand, and levels that two days of survey share out."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
import pytest
from shapely.geometry import Polygon

from planner.bed.outline import polygon_edges
from planner.flow.solve import Waterline, drawn_waterline
from planner.gauges.series import Series
from tests.flow import box
from tests.flow.test_prism import FULL, PLAIN, RULES, level_of, prism
from tests.flow.world import World, gauge_stage

DRAWN = datetime(2026, 5, 2, tzinfo=UTC)
NOTHING = np.empty(0)


def record(stage=1.5, discharge=20.0):
    """A gauge that reads so at noon on 1 May and twice as much an hour later, with hours of it before and after."""
    hours = np.arange(48)
    grown = np.where(hours > 12, 2.0, 1.0)
    blank = np.full(48, np.nan)
    return Series(
        station="file:gauge.csv", service="file", name="Invented",
        times=np.datetime64("2026-05-01T00:00:00", "s") + hours * np.timedelta64(3600, "s"),
        stage_m=stage * grown, discharge_m3s=discharge * grown, temperature_c=blank, turbidity_fnu=blank,
        quality=np.full(48, "provisional"), notes=(), retrieved_at=DRAWN,
    )  # fmt: skip


def drawn(walls=(True, True), series=None, rating=None, polygon=None, stations=48, **run):
    """The water's edge of the flume."""
    flow = box.flume(run={"waterline_at": DRAWN} | run)
    polygon = polygon or flow.polygon
    edges = polygon_edges(flow.frame, polygon, stations)
    return drawn_waterline(flow.run, edges, walls, flow.frame, polygon, series, rating)


@pytest.mark.parametrize(
    ("stage", "discharge", "known"),
    [(1.5, math.nan, True), (math.nan, 20.0, True), (1.5, 20.0, True), (math.nan, math.nan, False)],
)
def test_either_stage_or_discharge_tells_the_water_of_a_day(stage, discharge, known):
    """One of the two is enough."""
    assert Waterline(NOTHING, NOTHING, stage, discharge).known is known


def test_only_edges_that_are_the_water_s_are_taken_each_in_two_dozen_places():
    """Right at -10 m, left at +10 m, none where the outline is no shore."""
    for walls, sides in (((True, True), [-10.0, 10.0]), ((True, False), [-10.0]), ((False, True), [10.0])):
        line = drawn(walls)
        assert sorted(set(np.round(line.n, 6))) == sides
        assert len(line.s) == 24 * len(sides)
        assert (line.s.min() < 5.0, line.s.max() > 95.0) == (True, True)
    assert len(drawn((False, False)).s) == 0
    # a short outline has each of its stations
    assert len(drawn(stations=8).s) == 16


@pytest.mark.parametrize(("side", "gap"), [(8.0, 1.0), (40.0, 1.0), (100.0, 2.0)])
def test_an_island_s_shore_is_an_edge_every_metre_or_in_two_hundred_places(side, gap):
    """A square island, with or without walls outside it."""
    shell = [(-300.0, -300.0), (400.0, -300.0), (400.0, 300.0), (-300.0, 300.0)]
    ring = [(50.0 + a * side / 2, b * side / 2) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    line = drawn((False, False), polygon=Polygon(shell, [ring]))
    assert len(line.s) == 4 * side / gap
    assert np.maximum(np.abs(line.s - 50.0), np.abs(line.n)) == pytest.approx(side / 2)


def test_the_water_of_an_edge_is_that_of_the_moment_it_was_drawn_less_the_way_from_the_gauge():
    """Drawn at midnight the gauge read its second figures; for a run twelve hours below it the first; six, between."""
    assert (drawn(series=record()).stage, drawn(series=record()).discharge) == (3.0, 40.0)
    late = drawn(series=record(), lag_min=720.0)
    assert (late.stage, late.discharge) == (1.5, 20.0)
    between = drawn(series=record(), lag_min=690.0)
    assert between.stage == pytest.approx(2.25)
    noon = drawn(series=record(), waterline_at=datetime(2026, 5, 1, 12, 30, tzinfo=UTC))
    assert noon.stage == pytest.approx(2.25, rel=1e-6)


@pytest.mark.parametrize("flow", [20.0, 0.3])
def test_a_share_of_the_discharge_runs_by_the_edge(flow):
    """Of a river and of a brook."""
    half = drawn(series=record(discharge=flow), flow_share=0.5)
    assert half.discharge == pytest.approx(flow)


def test_a_gauge_with_stage_alone_gives_the_discharge_by_its_pairs():
    """Where there are any; a discharge in the record wins over them."""
    bare = drawn(series=record(discharge=math.nan))
    assert (bare.stage, math.isnan(bare.discharge)) == (3.0, True)
    paired = drawn(series=record(discharge=math.nan), rating=box.Rating())
    assert paired.discharge == pytest.approx(box.discharge(1.5))
    assert drawn(series=record(), rating=box.Rating()).discharge == 40.0
    assert math.isnan(drawn(series=record(stage=math.nan, discharge=math.nan), rating=box.Rating()).discharge)


def test_without_a_record_a_day_or_an_edge_the_water_is_unknown():
    """Each of the three alone."""
    for line in (drawn(), drawn(series=record(), waterline_at=None), drawn((False, False), series=record())):
        assert not line.known
        assert math.isnan(line.discharge)


def test_two_days_that_disagree_share_the_level_of_the_second_between_them():
    """Seen 6 cm higher than Manning has it: the relation through both misses it, by less, and passes near the first."""
    q = 1.5
    seen = level_of(q * FULL) + 0.06
    flow = prism(days=(1.0, q), held=(0.0, seen))
    first, second = flow.fit.days
    assert second.seen.level == pytest.approx(seen, abs=0.01)
    assert level_of(q * FULL) + 0.01 < second.fitted < seen - 0.005
    assert abs(first.fitted) < 0.05
    assert flow.fit.control == "friction"
    # one day alone is kept by the relation exactly, whatever else is known
    assert prism().fit.days[0].fitted == pytest.approx(0.0, abs=1e-3)


@dataclass
class Lapsing(World):
    """A world whose gauge gave a discharge of zero from the eleventh day on, as an iced one may."""

    def series(self):
        """The record with the lapse in it."""
        whole = super().series()
        return replace(whole, discharge_m3s=np.where(np.arange(len(whole.times)) > 240, 0.0, whole.discharge_m3s))


LAPSING = Lapsing(days=PLAIN.days, bed=PLAIN.bed)


def test_a_day_without_a_discharge_tells_nothing_of_the_constant():
    """One day alone does: its doubt is that of a gauge, and its level is held exactly."""
    two, lapsed, one = prism(days=(1.0, 1.5)), prism(days=(1.0, 1.5), world=LAPSING), prism()
    assert lapsed.fit.constant_ln_sd == one.fit.constant_ln_sd == RULES["discharge_rel_sd"]
    assert two.fit.constant_ln_sd != RULES["discharge_rel_sd"]
    assert lapsed.relation.level(FULL) == pytest.approx(0.0, abs=1e-3)
    assert math.isnan(lapsed.fit.days[1].fitted)


def test_an_edge_drawn_while_the_gauge_gave_no_water_stands_where_the_stage_puts_it():
    """The soundings are calibrated all the same."""
    flow = prism(days=(1.0, 1.5), world=LAPSING, waterline_at=datetime(2026, 5, 16, tzinfo=UTC))
    assert flow.calibrated
    assert flow.waterline == pytest.approx(flow.rise_ratio * float(gauge_stage(1.5 * FULL) - gauge_stage(FULL)))
    assert not any("did not settle" in text for text in flow.survey_limits)


def test_a_share_of_the_flow_scales_the_constant_and_moves_no_level():
    """Half a hundredth of the river, under a cubic metre a second, on two days: the levels of the whole."""
    days = {"days": (1.0, 1.5), "waterline_at": datetime(2026, 5, 16, tzinfo=UTC)}
    whole, part = prism(**days), prism(flow_share=0.005, **days)
    assert part.discharge_ref == pytest.approx(0.005 * FULL)
    assert part.discharge_ref < 1.0
    assert part.relation.constant == pytest.approx(0.005 * whole.relation.constant, rel=1e-6)
    assert part.fit.constant_ln_sd == pytest.approx(whole.fit.constant_ln_sd)
    assert part.fit.days[1].fitted == pytest.approx(whole.fit.days[1].fitted, abs=1e-6)
    assert part.waterline == pytest.approx(whole.waterline, abs=1e-6)


def test_a_pool_that_nobody_marked_says_what_it_was_known_by():
    """The discharges and how far the level moved between them; one that was marked says so."""
    q = 0.4
    low = 0.6 * q ** (1 / 1.67) - 0.6
    found = prism(days=(1.0, q), held=(0.0, low))
    words = f"downstream: from {FULL:.3g} to {q * FULL:.3g} m³/s the level moved {low:+.2f} m, normal depth -"
    assert found.fit.control.startswith(words)
    marked = prism(days=(1.0, q), held=(0.0, low), extra={"control": "downstream"})
    assert marked.fit.control == "downstream: marked by you"
    alone = prism(extra={"control": "downstream"})
    assert alone.fit.control == "unknown: marked by you"


def test_water_that_stood_higher_at_less_discharge_is_no_riffle_s():
    """No riffle gives such levels: the run is left to friction, and that its days disagree is said."""
    flow = prism(days=(1.0, 0.4), held=(0.0, 0.5))
    assert flow.fit.control == "friction"
    assert any("survey days disagree" in text for text in flow.survey_limits)


def test_levels_settle_to_a_centimetre_though_they_begin_far_off():
    """Days that share no ground begin at the gauge's rise, half a metre too high for the run."""
    q = 2.0
    flow = prism(days=(1.0, q), apart=True)
    assert math.isnan(flow.fit.days[1].seen.level)
    assert float(gauge_stage(q * FULL) - gauge_stage(FULL)) > level_of(q * FULL) + 0.3
    assert flow.levels_sounded[1] == pytest.approx(level_of(q * FULL), abs=0.02)
    middle = np.abs(flow.bed.grid.n) < 18.0
    assert flow.bed.grid.z[middle] == pytest.approx(-2.0, abs=0.03)


@pytest.mark.parametrize("with_stage", [True, False])
def test_a_pool_sounded_in_a_flood_keeps_its_bed(with_stage):
    """Regression: beyond 4 m above the first day, at a gauge without stage, the flood's soundings were laid at level 0.

    Forty times the discharge stands 4.9 m higher over a lip of 0.6 m: the bed came out 2.4 m too deep.
    """
    high = 0.6 * 40 ** (1 / 1.67) - 0.6
    pool = {"control": "downstream", "control_depth_m": 0.6}
    drawn_then = datetime(2026, 5, 16, tzinfo=UTC)
    world = PLAIN.but(with_stage=with_stage)
    flow = prism(days=(1.0, 40.0), held=(0.0, high), world=world, extra=pool, waterline_at=drawn_then)
    assert flow.levels_sounded[1] == pytest.approx(high, abs=1e-3)
    assert flow.waterline == pytest.approx(high, abs=1e-3)
    assert flow.bed.grid.z[np.abs(flow.bed.grid.n) < 18.0] == pytest.approx(-2.0, abs=0.02)
    assert float(flow.relation.level(40.0 * FULL)) == pytest.approx(high, abs=1e-3)
