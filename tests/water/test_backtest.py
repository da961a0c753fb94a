"""The expectation on recorded rivers, scored on what came."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest

from planner.gauges import Series
from planner.gauges.file import parse
from planner.gauges.series import to_datetime
from planner.water import expect
from planner.water.levels import hourly
from planner.water.spread import daily_change
from tests.water.backtest import backtest, pinball, score_table

DATA = Path(__file__).parents[2] / "data" / "backtest"
NATURAL = "usgs_01581752_2016-2018_hourly.csv"
DAM = "usgs_colorado_lees_ferry_2024-2025_hourly.csv"


def record(name: str) -> Series:
    """One record of data/backtest."""
    return parse(gzip.decompress((DATA / f"{name}.gz").read_bytes()), f"file:{name}")


@pytest.fixture(scope="module")
def natural() -> Series:
    """Three years of a small stream that rises within the hour."""
    return record(NATURAL)


@pytest.fixture(scope="module")
def dam() -> Series:
    """A year below a hydropower dam."""
    return record(DAM)


def test_the_records_are_those_of_the_readme(natural: Series, dam: Series) -> None:
    """26,304 hours of which some are empty, and 8,331 hours without a gap."""
    assert len(natural) == 26304
    assert int(np.isnan(natural.stage_m).sum()) == 807
    assert int(np.isnan(natural.discharge_m3s).sum()) == 872
    assert len(dam) == 8331
    assert not np.isnan(dam.discharge_m3s).any()


def test_a_natural_stream_is_expected_better_than_by_persistence_and_the_range_holds(natural: Series) -> None:
    """Every thirteenth day of three years: less loss at 12 and 24 h, and 72 to 88 % inside the range of 80 %."""
    scores = backtest(natural, "discharge", leads=(12, 24), every_h=307)
    assert min(score.cases for score in scores) > 70
    for score in scores:
        assert score.loss < score.loss_persistence
        # 78 cases: two standard errors are 9 %, so that the bounds catch a range of 96 % or of 60 %
        assert 0.72 <= score.coverage_80 <= 0.88


def test_a_daily_release_is_followed_and_not_receded(dam: Series) -> None:
    """Half a day ahead the loss below the dam is under two thirds of persistence's, flagged or not."""
    plain = backtest(dam, leads=(12, 36), every_h=149)
    flagged = backtest(dam, leads=(12, 36), every_h=149, regulated=True)
    for score in (*plain, *flagged):
        assert score.loss < (0.67 if score.lead_h == 12 else 0.8) * score.loss_persistence
        assert score.median_error < 0.67 * score.median_error_persistence
    assert plain[0].cases >= 40


def test_a_flagged_river_has_a_range_at_least_as_wide(dam: Series) -> None:
    """The flag never narrows a range, draws no recession and widens it at some hour."""
    origin = dam.times[4000]
    past = dam.rows((dam.times <= origin) & (dam.times > origin - np.timedelta64(60, "D")))
    now = to_datetime(origin)
    end = to_datetime(origin + np.timedelta64(36, "h"))
    plain, flagged = (expect(past, now, now, end, regulated=flag) for flag in (False, True))
    wide = flagged.discharge_high_m3s - flagged.discharge_low_m3s
    narrow = plain.discharge_high_m3s - plain.discharge_low_m3s
    assert (wide >= narrow - 1e-9).all()
    assert (wide > narrow + 0.1).any()
    assert "recede" not in flagged.basis
    assert "half-life" not in flagged.basis
    assert "daily rise and fall" in flagged.basis


def test_a_daily_pattern_uses_nothing_that_came_later(dam: Series) -> None:
    """Cutting the record off at an hour leaves what is said at that hour as it was."""
    y = np.log(hourly(dam.times, dam.discharge_m3s, dam.times[-1]))
    for hours in (1, 12, 24, 30):
        whole = daily_change(y[:3000], hours)
        cut = daily_change(y[:2500], hours)
        np.testing.assert_allclose(whole[2499], cut[-1], rtol=1e-12)
    assert daily_change(y[:3000], 24)[-1] == 0.0


def test_pinball_of_a_perfect_word_is_zero_and_a_table_holds_every_lead(natural: Series) -> None:
    """Loss is zero when what came was said; the table has a row for each lead with persistence beside it."""
    assert pinball(np.array([1.0]), np.array([1.0]), 0.9).tolist() == [0.0]
    table = score_table(backtest(natural, "stage", leads=(6, 24), every_h=2003), "made")
    assert table.count("\n| 6 |") == table.count("\n| 24 |") == 1
    assert "persistence" in table
