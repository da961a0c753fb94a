"""The days of survey and what they tell of n and slope, against small cases worked by hand."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from planner.flow.days import DaySeen, fit_constant, levels_seen, split_constant
from planner.flow.state import TEN_NINETY
from planner.tables import constants
from tests.flow import box

RULES = constants("flow")
NEVER = math.nan
TABLE = box.flume().relation


def laid_over(places, depths, unknown=0):
    """The levels of a flat bed sounded 2 m deep every 5 m along and 2 m across, and of a day at places and depths."""
    s, n = (v.ravel() for v in np.meshgrid(np.arange(0.0, 101.0, 5.0), np.arange(-10.0, 11.0, 2.0)))
    first = len(s)
    s, n = np.append(s, [p[0] for p in places]), np.append(n, [p[1] for p in places])
    day = np.array(["2026-05-01"] * first + ["2026-05-09"] * len(places))
    member = day == "2026-05-01"
    flows = np.where(member, 40.0, 60.0)
    flows[:unknown] = math.nan
    member[:unknown] = False
    reduced = SimpleNamespace(
        day=day, depth=np.append(np.full(first, 2.0), depths), discharge=flows, stage=np.where(member, 1.0, 1.6),
        sd=np.full(len(s), 0.05),
    )  # fmt: skip
    return levels_seen(reduced, s, n, member, 10.0)


# two patches, one and a half scaled metres wide each: three times the usual gap of 5 m along, at a stretch of 10
PATCHES = [
    (s, n) for start in (16.0, 46.0) for s, n in zip(start + 4 * np.arange(4), (0.2, 1.2, 0.4, 1.0), strict=True)
]
DEEPS = [2.3, 2.5] * 4


def test_a_day_s_level_is_the_middle_of_bed_and_depth_and_as_sure_as_its_patches():
    """Eight soundings 0.1 m above and below 0.4 m in two patches: the doubt is that of a median of two."""
    first, day = laid_over(PATCHES, DEEPS)
    assert (first.level, first.level_sd, first.reference) == (0.0, 0.0, True)
    assert (day.day, day.soundings, day.discharge, day.stage) == ("2026-05-09", 8, 60.0, 1.6)
    assert day.level == pytest.approx(0.4)
    assert day.level_sd == pytest.approx(math.hypot(1.2533 * 0.14826 / math.sqrt(2), RULES["day_level_sd_m"]), rel=1e-3)
    assert not day.reference


def test_soundings_beside_the_reference_s_ground_do_not_count():
    """Two metres outside it nothing is known of the bed; and seven shared soundings are too few for a level."""
    far = [(s, 12.0) for s in np.arange(5.0, 96.0, 5.0)]
    day = laid_over(PATCHES + far, DEEPS + [9.0] * len(far))[1]
    assert day.level == pytest.approx(0.4)
    assert math.isnan(laid_over(PATCHES[:7], DEEPS[:7])[1].level)
    assert math.isnan(laid_over(far, [9.0] * len(far))[1].level)


def test_the_reference_day_is_one_day_though_a_part_of_it_has_no_discharge():
    """Its soundings outside the gauge's record make no second day of it."""
    assert [day.day for day in laid_over(PATCHES, DEEPS, unknown=20)] == ["2026-05-01", "2026-05-09"]


def test_one_day_gives_the_constant_of_its_own_discharge_and_level():
    """K is Q over C; it is as sure as a day's discharge, its level, and the gauge's bias allow."""
    sd = 0.1
    day = DaySeen("a", 50, box.FULL, NEVER, 0.0, sd)
    constant, spread, drift, drift_sd = fit_constant(TABLE, (day,), box.FULL)
    assert constant == pytest.approx(math.sqrt(box.SLOPE) / box.N, rel=1e-4)
    one = math.hypot(RULES["day_discharge_sd"], box.steep(0.0) * sd)
    assert spread == pytest.approx(math.hypot(one, RULES["discharge_rel_sd"]), rel=1e-2)
    assert (drift, drift_sd) == (pytest.approx(0.0, abs=1e-12), pytest.approx(RULES["conveyance_drift"]))


@pytest.mark.parametrize("made", [0.2, -0.1])
def test_two_days_tell_the_drift_against_what_was_expected(made):
    """Two logs with errors s and a drift expected within t: its share is x² / (x² + 2 s²/t²) of the drift made."""
    two = box.discharge(0.8)
    q = box.FULL * (two / box.FULL) ** (1 / (1 - made))
    days = (DaySeen("a", 50, box.FULL, NEVER, 0.0, 0.0), DaySeen("b", 50, q, NEVER, 0.8, 0.0))
    x, s, t = math.log(q / box.FULL), RULES["day_discharge_sd"], RULES["conveyance_drift"]
    _, _, drift, drift_sd = fit_constant(TABLE, days, box.FULL)
    assert drift == pytest.approx(made * x**2 / (x**2 + 2 * s**2 / t**2), rel=1e-3)
    assert drift_sd == pytest.approx(1 / math.sqrt(x**2 / (2 * s**2) + 1 / t**2), rel=1e-3)


@pytest.mark.parametrize(
    "odd",
    [
        DaySeen("b", 50, NEVER, 1.0, 0.5, 0.02),
        DaySeen("b", 50, 0.0, 1.0, 0.5, 0.02),
        DaySeen("b", 50, 90.0, 1.0, NEVER, NEVER),
        DaySeen("b", 50, 90.0, 1.0, -2.5, 0.02),
    ],
)
def test_a_day_without_discharge_level_or_water_teaches_nothing(odd):
    """It is left out; alone, it leaves the constant unknown and the drift as expected."""
    day = DaySeen("a", 50, box.FULL, NEVER, 0.0, 0.02)
    assert fit_constant(TABLE, (day, odd), box.FULL) == fit_constant(TABLE, (day,), box.FULL)
    constant, spread, drift, drift_sd = fit_constant(TABLE, (odd,), box.FULL)
    assert math.isnan(constant)
    assert math.isnan(spread)
    assert (drift, drift_sd) == (0.0, RULES["conveyance_drift"])


def test_a_brook_of_half_a_cubic_metre_is_fitted_as_a_river_is():
    """Small discharges and conveyances count like large ones."""
    low = box.level(0.05)
    assert float(TABLE.conveyance(low)) < 1
    day = DaySeen("a", 50, 0.05, NEVER, low, 0.0)
    assert fit_constant(TABLE, (day,), 0.05)[0] == pytest.approx(math.sqrt(box.SLOPE) / box.N, rel=2e-2)


def test_n_and_slope_move_as_their_variances():
    """With ln n known to a and ln S to b, an observation off by d moves them by -a d and b d / 2 over the whole."""
    n, slope, a, b, own = 0.04, 0.001, 0.2**2, RULES["slope_ln_sd"] ** 2, 0.1**2
    constant = math.exp(0.2) * math.sqrt(slope) / n
    whole = a + b / 4 + own
    found = split_constant(constant, 0.1, n, 0.2, slope)
    left_n, left_slope = math.sqrt(a - a**2 / whole), math.sqrt(b - b**2 / 4 / whole)
    assert found[0] == pytest.approx(n * math.exp(-0.2 * a / whole))
    assert found[3] == pytest.approx(slope * math.exp(0.2 * b / 2 / whole))
    for value, low, high, sd in ((*found[:3], left_n), (*found[3:], left_slope)):
        assert math.log(value / low) == pytest.approx(TEN_NINETY * sd)
        assert math.log(high / value) == pytest.approx(TEN_NINETY * sd)


@pytest.mark.parametrize("slope", [math.nan, 0.0])
def test_a_slope_that_is_not_known_follows_from_n(slope):
    """S is (K n)²; its log is twice as unsure as those of K and n together, and n stays what it was."""
    found = split_constant(0.8, 0.1, 0.04, 0.2, slope)
    assert found[0] == 0.04
    assert found[3] == pytest.approx((0.8 * 0.04) ** 2)
    assert math.log(found[5] / found[4]) == pytest.approx(2 * TEN_NINETY * 2 * math.hypot(0.1, 0.2))
    assert math.log(found[2] / found[1]) == pytest.approx(2 * TEN_NINETY * 0.2)


@pytest.mark.parametrize("n", [math.nan, 0.0])
def test_an_n_that_is_not_known_follows_from_the_slope(n):
    """n is sqrt(S)/K; its log has K's doubt and half of that of the slope."""
    found = split_constant(0.8, 0.1, n, math.nan, 0.001)
    assert found[0] == pytest.approx(math.sqrt(0.001) / 0.8)
    assert math.log(found[2] / found[1]) == pytest.approx(2 * TEN_NINETY * math.hypot(0.1, RULES["slope_ln_sd"] / 2))
    assert found[3] == 0.001
    assert math.log(found[5] / found[4]) == pytest.approx(2 * TEN_NINETY * RULES["slope_ln_sd"])


@pytest.mark.parametrize("given", [(0.0, 0.1, 0.04, 0.2, 0.001), (0.8, 0.1, math.nan, math.nan, 0.0)])
def test_nothing_known_stays_unknown(given):
    """Without a constant, or with neither n nor slope, nothing follows."""
    assert all(math.isnan(value) for value in split_constant(*given))
