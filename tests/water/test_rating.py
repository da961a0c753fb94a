"""Stage and discharge of a gauge."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from planner.gauges import open_series
from planner.units import CFS, FOOT
from planner.water import rating_of
from planner.water.rating import interpolate_rating
from tests.gauges import replies
from tests.water import made


def test_a_known_rating_is_found_again() -> None:
    """From pairs made with Q = 12 (h - 0.35)^1.8 the fit gives the three numbers back."""
    q = made.recession(40)
    rating = rating_of(made.series(made.power(q), q))
    assert rating is not None
    assert rating.coefficient == pytest.approx(12.0, rel=0.02)
    assert rating.offset_m == pytest.approx(0.35, abs=0.02)
    assert rating.exponent == pytest.approx(1.8, abs=0.03)


def test_weeks_of_low_water_do_not_outweigh_a_flood() -> None:
    """The fit at the flood's level is as near as at low water although low water fills 97 % of the record."""
    q = np.concatenate([np.linspace(9.5, 10.5, 5000), np.linspace(10.5, 300, 150)])
    rating = rating_of(made.series(made.power(q), q))
    assert rating is not None
    for discharge in (10.0, 100.0, 290.0):
        assert float(rating.discharge(made.power(discharge))) == pytest.approx(discharge, rel=0.01)


def quiet() -> tuple[np.ndarray, np.ndarray]:
    """Stage to a hundredth of a foot and discharge of two quiet months."""
    t = np.arange(5760)
    q = 20.0 + 2.0 * np.sin(t / 300) + 0.5 * np.sin(t / 40)
    return np.round(made.power(q) / 0.003048) * 0.003048, q


@pytest.mark.parametrize("which", ["stage", "discharge"])
def test_one_value_that_jumps_does_not_bend_the_relation(which: str) -> None:
    """Regression: a single spike of stage, one distinct stage among sixty, told 20 m³/s at 3 m in place of 68."""
    stage, discharge = quiet()
    plain = rating_of(made.series(stage, discharge))
    bent_h, bent_q = stage.copy(), discharge.copy()
    if which == "stage":
        bent_h[3000] += 6.0
    else:
        bent_q[3000] *= 30.0
    bent = rating_of(made.series(bent_h, bent_q))
    assert plain is not None
    assert bent is not None
    assert float(bent.discharge(3.0)) == pytest.approx(float(plain.discharge(3.0)), rel=0.02)
    assert bent.highest_m == plain.highest_m


def test_a_short_flood_in_both_is_no_spike() -> None:
    """A peak of one reading that stage and discharge tell together is the best pair there is."""
    stage, discharge = quiet()
    stage[3000], discharge[3000] = float(made.power(np.array(200.0))), 200.0
    rating = rating_of(made.series(stage, discharge))
    assert rating is not None
    assert rating.highest_m == stage[3000]
    assert float(rating.discharge(stage[3000])) == pytest.approx(200.0, rel=0.02)


def test_fit_agrees_with_a_general_least_squares_solver() -> None:
    """On the recorded pairs at Bower, scipy's solver in three unknowns gives no smaller sum of squares."""
    now = datetime(2018, 6, 2, 4, tzinfo=UTC)
    series = open_series("usgs:01541000", now=now, reply_files=[replies.BOWER])
    rating = rating_of(series)
    assert rating is not None
    keys = np.round(series.stage_m / 0.003048).astype(int)
    h = np.array([series.stage_m[keys == k].mean() for k in np.unique(keys)])
    y = np.log([np.median(series.discharge_m3s[keys == k]) for k in np.unique(keys)])

    def residual(p: np.ndarray) -> np.ndarray:
        return p[0] + p[1] * np.log(h - (h[0] - np.exp(p[2]))) - y

    solved = least_squares(residual, [3.0, 1.7, 0.0], xtol=1e-14, ftol=1e-14, gtol=1e-14)
    ours = float(((np.log(rating.discharge(h)) - y) ** 2).sum())
    assert ours == pytest.approx(2 * solved.cost, rel=1e-4)
    assert rating.rel_sd < 0.01
    assert rating.offset_m == pytest.approx(h[0] - np.exp(solved.x[2]), abs=0.01)


def test_fit_passes_through_recorded_pairs() -> None:
    """8.25 ft went with 2,540 ft³/s and 6.67 ft with 1,090 ft³/s."""
    series = open_series("usgs:01541000", now=datetime(2018, 6, 2, 4, tzinfo=UTC), reply_files=[replies.BOWER])
    rating = rating_of(series)
    assert rating is not None
    assert float(rating.discharge(8.25 * FOOT)) == pytest.approx(2540 * CFS, rel=0.02)
    assert float(rating.stage(1090 * CFS)) == pytest.approx(6.67 * FOOT, abs=0.02)


def test_stage_and_discharge_undo_each_other() -> None:
    """Going to discharge and back gives the stage."""
    q = made.recession(40)
    rating = rating_of(made.series(made.power(q), q))
    assert rating is not None
    h = np.linspace(0.5, 4.0, 50)
    np.testing.assert_allclose(rating.stage(rating.discharge(h)), h, rtol=1e-12)


def test_beyond_its_pairs_a_rating_is_flagged_and_below_its_foot_unknown() -> None:
    """Extrapolation is marked; no discharge is given at or below the offset, nor a stage for no discharge."""
    q = made.recession(40)
    stage = made.power(q)
    rating = rating_of(made.series(stage, q))
    assert rating is not None
    assert rating.extrapolated([stage.max() + 0.1, stage.mean(), stage.min() - 0.1, np.nan]).tolist() == [
        True,
        False,
        True,
        True,
    ]
    assert np.isnan(rating.discharge([rating.offset_m, rating.offset_m - 1, np.nan])).all()
    assert np.isnan(rating.stage([0.0, -1.0, np.nan])).all()


def test_pairs_under_ice_are_left_out() -> None:
    """Stages lifted by ice do not bend the rating."""
    q = made.recession(40)
    stage = made.power(q)
    quality = np.full(len(q), "provisional", dtype="U12")
    stage[-800:] += 0.8
    quality[-800:] = "ice"
    rating = rating_of(made.series(stage, q, quality=quality))
    assert rating is not None
    assert rating.rel_sd < 0.01


@pytest.mark.parametrize(
    ("stage", "discharge"),
    [(np.full(500, 1.5), np.full(500, 20.0)), (np.linspace(1, 1.02, 500), np.linspace(20, 21, 500))],
    ids=["one level", "two centimetres"],
)
def test_too_little_change_gives_no_rating(stage: np.ndarray, discharge: np.ndarray) -> None:
    """A steady river does not tell its rating."""
    assert rating_of(made.series(stage, discharge)) is None


def test_discharge_alone_gives_no_rating() -> None:
    """A station without stage has no rating here."""
    series = open_series("usgs:01542500", now=datetime(2019, 1, 29, tzinfo=UTC), reply_files=[replies.ICE])
    assert rating_of(series) is None


def test_a_rating_table_is_not_extended() -> None:
    """Below and above its points a table gives unknown."""
    got = interpolate_rating([0.9, 1.0, 2.0, 2.1], [1.0, 2.0], [10.0, 40.0])
    assert np.isnan(got[[0, 3]]).all()
    np.testing.assert_allclose(got[[1, 2]], [10.0, 40.0])


@pytest.mark.parametrize(
    ("stages", "discharges", "offsets", "breakpoints"),
    [
        ([2.0, 1.0], [1.0, 2.0], [0.0], []),
        ([1.0, 2.0], [0.0, 2.0], [0.0], []),
        ([1.0, 2.0], [1.0, 2.0], [1.0], []),
        ([1.0, 2.0], [1.0, 2.0], [0.0, 0.1], []),
        ([1.0], [1.0], [0.0], []),
    ],
)
def test_a_table_that_is_none_is_refused(
    stages: list[float], discharges: list[float], offsets: list[float], breakpoints: list[float]
) -> None:
    """Points out of order, no discharge, or an offset above a point are said, not computed with."""
    with pytest.raises(ValueError, match="rating"):
        interpolate_rating(1.5, stages, discharges, offsets, breakpoints)


@settings(max_examples=80, deadline=None)
@given(st.floats(0.5, 200), st.floats(-2, 2), st.floats(1.2, 3.0), st.floats(0.3, 3.0), st.integers(20, 200))
def test_any_power_law_in_range_is_reproduced(a: float, e: float, b: float, span: float, n: int) -> None:
    """Within its pairs the fit is within 1 % of any rating of that form."""
    h = e + 0.2 + np.linspace(0, span, n)
    rating = rating_of(made.series(h, a * (h - e) ** b))
    if rating is None:
        assert len(np.unique(np.round(h / 0.003048))) < 12
        return
    np.testing.assert_allclose(rating.discharge(h), a * (h - e) ** b, rtol=0.01)
