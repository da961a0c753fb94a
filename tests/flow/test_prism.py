"""A prismatic run surveyed from soundings without error: what it finds against Manning and continuity in closed form.

The section is a trapezoid 40 m wide at its bed 2 m below the first day's water and 50 m wide at the drawn edge, where
the banks stand upright.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import brentq
from shapely.geometry import Point, Polygon

from planner.flow import survey_run
from planner.flow.roughness import roughness_of
from planner.flow.survey import _shelf_ease
from planner.river.records import Place
from planner.tables import constants
from tests.flow.world import LENGTH, SLOPE, T0, N, World, gauge_stage

RULES = constants("flow")
SIDE = math.hypot(1, 2.5)


def section(level):
    """Area [m²] and wetted perimeter [m] at a level."""
    depth, over = min(level, 0.0) + 2.0, max(level, 0.0)
    return 40 * depth + 2.5 * depth**2 + 50 * over, 40 + 2 * SIDE * depth + 2 * over


def discharge(level):
    """By Manning's equation [m³/s]."""
    area, perimeter = section(level)
    return area * (area / perimeter) ** (2 / 3) * math.sqrt(SLOPE) / N


@cache
def level_of(q):
    """Level at a discharge [m]."""
    return float(brentq(lambda at: discharge(at) - q, -1.99, 4.0))


FULL = discharge(0.0)
PLAIN = World(days=((FULL, 0),), bed={"n": N})


def prism(days=(1.0,), world=PLAIN, held=None, across=24, position_sd_m=None, apart=False, **changes):
    """The prism surveyed on days at parts of the discharge of the first, every 8 m along and 2 m across; its world.

    Each day sounds all of it, or of two each an end for itself.
    """
    world = world.but(days=tuple((part * FULL, 0) for part in days))
    run, river = world.river()
    s, n = (v.ravel() for v in np.meshgrid(np.arange(4.0, LENGTH, 8.0), np.arange(-24.0, across + 1.0, 2.0)))
    rows = []
    for k, part in enumerate(days):
        level = held[k] if held else level_of(part * FULL)
        depth = level + np.clip(2.0 - (np.abs(n) - 20) / 2.5, 0.0, 2.0)
        lon, lat = world.place(s, n)
        moment = pd.Timestamp(T0 + np.timedelta64(int((240 * k + 110) * 3600), "s"), tz="UTC")
        frame = pd.DataFrame({"lon": lon, "lat": lat, "depth_m": depth})
        frame = frame.assign(taken_at=moment, stage_m=math.nan, method="rod", draft_m=0.0, note="", line=range(len(s)))
        rows.append(frame[(depth > 0.05) & ((np.abs(s / LENGTH - k) < 0.28) if apart else True)])
    rows = pd.concat(rows, ignore_index=True)
    if position_sd_m is not None:
        rows = rows.assign(position_sd_m=position_sd_m)
    places = changes.pop("places", river.places)
    river = replace(river, soundings=rows.assign(taken_at=pd.to_datetime(rows["taken_at"], utc=True)), places=places)
    return survey_run(replace(run, **changes), river, world.series(), changes.get("rating"))


@pytest.fixture(scope="module")
def plain():
    """The prism, sounded on one day."""
    return prism()


@pytest.mark.parametrize("part", [0.4, 0.7, 1.0, 1.4])
def test_a_prism_has_the_level_area_and_current_of_manning(plain, part):
    """From four tenths to 1.4 times the sounding day's discharge; n comes out as the one that made it."""
    q = part * FULL
    state = plain.at(q, float(gauge_stage(q)))
    area, perimeter = section(level_of(q))
    assert state.level_m == pytest.approx(level_of(q), abs=0.01)
    assert state.area_m2 == pytest.approx(area, rel=0.01)
    assert state.hydraulic_radius_m == pytest.approx(area / perimeter, rel=0.01)
    assert state.velocity_used_m_s == pytest.approx(q / area, rel=0.01)
    assert plain.n_calibrated == pytest.approx(N, rel=0.01)


def test_a_survey_that_lacks_nothing_says_nothing(plain):
    """No sentence is spoken that is not needed; the figures of its own day stand."""
    assert plain.survey_limits == ()
    assert (plain.stage_ref, plain.discharge_ref) == (pytest.approx(float(gauge_stage(FULL))), pytest.approx(FULL))
    assert plain.levels_sounded == (pytest.approx(0.0, abs=1e-3), pytest.approx(0.0, abs=1e-3))
    assert plain.waterline == pytest.approx(0.0, abs=1e-3)
    assert (plain.spans, plain.calibrated, plain.soundings, plain.left_out) == (True, True, 500, 0)
    assert plain.fit.control == "friction"
    assert (plain.ease == 1.0).all()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"banks": "left"}, "Only the left edge"),
        ({"banks": "none"}, "The outline's edges are not the water's edge, so"),
        ({"banks": "none", "flow_share": 1.0}, "the flow share is taken as that of the drawn part"),
        ({"slope": 0.0}, "No slope is given"),
        ({"bed": {}}, "No bed class"),
        ({"waterline_at": None}, "When the water's edge was drawn"),
        ({"bed": {"n": 0.08}}, "The sounding day's discharge shows n = 0.036"),
        ({"extra": {"control": "upstream"}}, 'only "downstream" is known'),
    ],
)
def test_each_lack_is_said_in_one_sentence(changes, words):
    """And in no other."""
    said = prism(**changes).survey_limits
    assert len(said) == 1
    assert words in said[0]


def test_still_water_needs_neither_slope_nor_bed_nor_direction():
    """None of them is asked for."""
    world = PLAIN.but(flowline=False)
    assert prism(world=world, still=True, slope=0.0, bed={}, banks="none").survey_limits == ()


def test_a_roughness_within_its_range_is_not_doubted():
    """An n given as 0.04 holds 0.036 within its 10 to 90 %; the class's n is not said to be off."""
    assert prism(bed={"n": 0.04}).survey_limits == ()
    assert prism(bed={"n": 0.033}).survey_limits == ()


def test_two_days_find_each_other_s_level_and_one_roughness():
    """Their levels are seen on the beds and fitted by one n; the doubt of a level is its drift's share."""
    flow = prism(days=(1.0, 1.5))
    first, second = flow.fit.days
    assert first.seen.reference
    assert second.seen.level == pytest.approx(level_of(1.5 * FULL), abs=0.01)
    assert second.fitted == pytest.approx(level_of(1.5 * FULL), abs=0.01)
    assert second.residual == pytest.approx(second.seen.level - second.fitted)
    assert flow.levels_sounded == (pytest.approx(0.0, abs=0.01), pytest.approx(level_of(1.5 * FULL), abs=0.01))
    assert flow.fit.n == pytest.approx(N, rel=0.03)
    assert flow.fit.slope == pytest.approx(SLOPE, rel=0.06)
    shift = np.sort(np.unique(np.round(flow.doubt.shift, 6)))
    assert shift[-1] == pytest.approx(RULES["conveyance_drift"] * level_of(1.5 * FULL), rel=0.03)
    assert flow.survey_limits == ()


def test_a_high_day_has_room_above_it():
    """A day three metres up leaves three metres of the table over it."""
    flow = prism(days=(1.0, discharge(1.6) / FULL))
    assert flow.relation.levels[-1] == pytest.approx(1.6 + 3.0, abs=0.05)
    assert prism().relation.levels[-1] == pytest.approx(4.0)


def test_without_banks_two_days_tell_how_much_of_the_gauge_s_rise_the_run_takes():
    """Expected at one within a half, the ratio moves to what is seen, by the doubt of level and gauge."""
    flow = prism(days=(1.0, 1.6), banks="none")
    seen = flow.fit.days[1].seen
    rise = float(gauge_stage(1.6 * FULL) - gauge_stage(FULL))
    weight = (rise / math.hypot(seen.level_sd, RULES["stage_sd_m"])) ** 2
    assert flow.rise_ratio == pytest.approx((4 + weight * seen.level / rise) / (4 + weight), rel=1e-6)
    assert flow.rise_ratio_sd == pytest.approx(1 / math.sqrt(4 + weight), rel=1e-6)
    assert flow.doubt.shift.max() == pytest.approx(flow.rise_ratio_sd * flow.rise_ratio * rise, rel=1e-6)
    assert math.isnan(flow.fit.days[1].fitted)
    one = prism(banks="none")
    assert (one.rise_ratio, one.rise_ratio_sd) == (1.0, 0.5)


def test_an_edge_drawn_on_another_day_stands_at_that_day_s_level():
    """Drawn at the second day's water the rim is that much higher; a run that is late sees the gauge of before."""
    drawn = datetime(2026, 5, 16, tzinfo=UTC)
    flow = prism(days=(1.0, 1.5), waterline_at=drawn)
    assert flow.waterline == pytest.approx(level_of(1.5 * FULL), abs=0.05)
    late = prism(days=(1.0, 1.5), waterline_at=datetime(2026, 5, 13, tzinfo=UTC), lag_min=2 * 24 * 60.0)
    assert late.waterline == pytest.approx(level_of((1 + 0.5 * 60 / 119) * FULL), abs=0.02)  # half way up the ramp
    loose = prism(days=(1.0, 1.5), waterline_at=drawn, banks="left")
    rise = float(gauge_stage(1.5 * FULL) - gauge_stage(FULL))
    assert loose.waterline == pytest.approx(loose.rise_ratio * rise, rel=1e-6)


@pytest.mark.parametrize(("turn", "shift"), [(90.0, (0.0, 300.0)), (0.0, (300.0, 0.0))])
@pytest.mark.parametrize("way", [1, -1])
def test_put_in_and_take_out_tell_which_way_is_down(turn, shift, way):
    """A run that lies north and south, or east and west, sounded without a flowline, runs from the one to the other."""
    world = PLAIN.but(flowline=False, turn_deg=turn, shift=shift)
    ends = []
    for kind, s in (("put_in", -500.0), ("take_out", LENGTH + 200.0)):
        lon, lat = world.place(s if way > 0 else LENGTH - s, 0.0)
        ends.append(Place(kind, kind, kind, Point(float(lon), float(lat))))
    flow = prism(world=world, places=tuple(ends))
    along = flow.flow_direction(*world.place(80.0, 0.0))[1 if turn else 0]
    assert float(along) == pytest.approx(way, abs=0.02)
    assert [text.split(":")[0] for text in flow.survey_limits] == [
        "No flowline",
        "Downstream is taken from put-in to take-out",
    ]


@pytest.mark.parametrize("bearing", [0.0, 180.0])
def test_a_bearing_tells_it_too(bearing):
    """Given in degrees from north, to the side the water goes."""
    world = PLAIN.but(flowline=False, turn_deg=90.0)
    flow = prism(world=world, extra={"flow_bearing_deg": bearing})
    east, north = flow.flow_direction(*world.place(80.0, 0.0))
    assert float(north) == pytest.approx(math.cos(math.radians(bearing)), abs=0.02)
    assert float(east) == pytest.approx(0.0, abs=0.05)


def test_shelves_rougher_than_the_channel_need_a_shelf_and_both_roughnesses():
    """An even section has none; where the channel's own n is unknown the shelves' says nothing."""
    brush = {"bank_bed": "light_brush"}
    for bed in ({"n": N}, {}):
        assert (prism(bed=bed, extra=brush).ease == 1.0).all()


def test_a_pool_takes_the_level_of_its_lip_at_the_soundings_and_at_the_edge():
    """Held by a riffle 0.6 m under the first day's water: the second day stands where that has it."""
    q = 0.4
    low = 0.6 * q ** (1 / 1.67) - 0.6
    held = {"extra": {"control": "downstream", "control_depth_m": 0.6}}
    flow = prism(days=(1.0, q), held=(0.0, low), waterline_at=datetime(2026, 5, 16, tzinfo=UTC), **held)
    assert flow.levels_sounded == (pytest.approx(low, abs=1e-3), pytest.approx(0.0, abs=1e-3))
    assert flow.waterline == pytest.approx(low, abs=1e-3)
    state = flow.at(q * FULL, float(gauge_stage(q * FULL)))
    assert state.level_m == pytest.approx(low, abs=1e-3)
    assert math.isnan(flow.n_calibrated)
    assert len(flow.survey_limits) == 1
    assert "marked by you" in flow.survey_limits[0]


def test_shelves_convey_by_their_roughness_against_the_channels():
    """As n of the channel over n of the shelf, stones taken at a radius of 1 m; alike where one is not known."""
    brush = SimpleNamespace(extra={"bank_bed": "light_brush"})
    shelf = roughness_of({"class": "light_brush"}, 1.0).n
    stones = roughness_of({"d84_mm": 120.0}, 1.0).n
    assert stones != pytest.approx(roughness_of({"d84_mm": 120.0}, 2.0).n, rel=0.01)
    assert _shelf_ease(brush, {"n": 0.03}) == pytest.approx((0.03 / shelf, 0.03 / shelf))
    assert _shelf_ease(brush, {"d84_mm": 120.0}) == pytest.approx((stones / shelf, stones / shelf))
    assert _shelf_ease(brush, {}) == (1.0, 1.0)
    assert _shelf_ease(SimpleNamespace(extra={}), {"n": 0.03}) == (1.0, 1.0)


def test_the_error_of_positions_makes_the_banks_doubtful_by_their_steepness():
    """Its common part times the rise of 1 in 2.5 on the sides, nothing over the even bed; doubts add as squares."""
    near, far = (prism(position_sd_m=sd).bed.grid for sd in (1.0, 3.0))
    added = np.sqrt(far.sd**2 - near.sd**2)
    sides, even = (np.abs(near.n) > 21.0) & (np.abs(near.n) < 24.0), np.abs(near.n) < 18.0
    assert added[sides] == pytest.approx(math.sqrt(RULES["position_common"] * (9.0 - 1.0)) / 2.5, rel=0.1)
    assert added[even] == pytest.approx(0.0, abs=0.01)


def test_an_island_s_shore_is_found_to_within_a_column_of_half_the_width():
    """Ten metres wide and 40 long in the middle of the prism: dry within, 2 m deep beside it, two shores apart."""
    corners = ((60.0, -5.0), (100.0, -5.0), (100.0, 5.0), (60.0, 5.0))
    whole = prism()
    island = Polygon(whole.run.polygon.exterior.coords, [[tuple(map(float, PLAIN.place(*at))) for at in corners]])
    flow = prism(polygon=island)
    gap, coarse = (float(np.diff(one.bed.grid.n[0]).max()) for one in (flow, whole))
    assert gap < 0.5 * coarse
    state = flow.at(FULL, float(gauge_stage(FULL)))
    n = np.arange(-19.0, 19.01, 0.25)
    depth = flow.local(state, *PLAIN.place(np.full(len(n), 80.0), n))["depth_m"]
    assert (depth[np.abs(n) < 5.0 - gap] < 0.0).all()
    assert depth[np.abs(n) > 8.0] == pytest.approx(2.0, abs=0.05)
    bare = flow.local(state, *PLAIN.place(np.full(len(n), 20.0), n))["depth_m"]
    assert bare == pytest.approx(2.0, abs=0.05)
    shore = np.abs(n[np.flatnonzero(np.diff(np.sign(depth)))])
    assert shore == pytest.approx(5.0, abs=gap + 0.25)
