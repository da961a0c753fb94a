"""Rolling-origin backtest: the expectation made again and again in a record's past, scored on what came.

At each origin only what was known then is used, as in a plan. Scores are on ln discharge, or on stage [m]. The mean
pinball loss over the quantiles 5, 10, 50, 90 and 95 % is set beside that of plain persistence: the last value kept as
median, its range the raw quantiles of its own errors over the same past.

References: for the loss Koenker, R. and Bassett, G. (1978): Regression quantiles. Econometrica 46(1), 33-50,
https://doi.org/10.2307/1913643; a rolling origin as in Tashman, L.J. (2000): Out-of-sample tests of forecasting
accuracy, an analysis and review. International Journal of Forecasting 16(4), 437-450,
https://doi.org/10.1016/S0169-2070(00)00065-0.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from planner.gauges.series import Series, to_datetime
from planner.water.expect import expect
from planner.water.levels import hourly

__all__ = ["LEADS", "Score", "backtest", "pinball", "score_table"]

LEADS = (3, 6, 12, 18, 24, 36, 48)
_QUANTILES = (0.05, 0.10, 0.50, 0.90, 0.95)


@dataclass(frozen=True)
class Score:
    """Scores at one lead time.

    Parameters
    ----------
    lead_h : int
        Hours after the last reading.
    cases : int
        Origins scored.
    loss, loss_persistence : float
        Mean pinball loss over five quantiles [unit of the quantity].
    median_error, median_error_persistence : float
        Mean absolute error of the median.
    coverage_80, coverage_90, coverage_80_persistence : float
        Share of what came inside 10 to 90 % and 5 to 95 % [-].
    """

    lead_h: int
    cases: int
    loss: float
    loss_persistence: float
    median_error: float
    median_error_persistence: float
    coverage_80: float
    coverage_90: float
    coverage_80_persistence: float


def pinball(observed: np.ndarray, said: np.ndarray, quantile: float) -> np.ndarray:
    """Pinball loss of a quantile, zero when what came is what was said.

    L = q (y - x) for y >= x, (1 - q)(x - y) otherwise    (1)

    Examples
    --------
    >>> pinball(np.array([2.0, 1.0]), np.array([1.0, 2.0]), 0.9).round(3).tolist()
    [0.9, 0.1]
    """
    off = np.asarray(observed, np.float64) - np.asarray(said, np.float64)
    return np.maximum(quantile * off, (quantile - 1.0) * off)


def backtest(
    series: Series,
    quantity: str = "discharge",
    *,
    leads: Sequence[int] = LEADS,
    days: int = 60,
    every_h: int = 31,
    first: int = 0,
    regulated: bool | None = None,
) -> list[Score]:
    """Score the expectation on a record.

    Parameters
    ----------
    series : Series
        Months or years; values an hour apart or less.
    quantity : str
        ``discharge`` (scored as its logarithm) or ``stage``.
    leads : sequence of int
        Hours.
    days : int
        How much past each origin sees [d].
    every_h : int
        Hours between origins; no multiple of 24, so that all hours of the day are met.
    first : int
        Origins left out at the start.
    regulated : bool, optional
        As in `planner.water.expect.expect`.
    """
    values = series.discharge_m3s if quantity == "discharge" else series.stage_m
    end = series.times[-1]
    y = hourly(series.times, values, end)
    y = np.log(np.where(y > 0, y, np.nan)) if quantity == "discharge" else y
    grid = end - np.arange(len(y) - 1, -1, -1) * np.timedelta64(3600, "s")
    longest = max(leads)
    said, kept, came = [], [], []
    for row in range(days * 24 + first * every_h, len(y) - longest, every_h):
        if np.isnan(y[row]):
            continue
        origin = grid[row]
        keep = (series.times <= origin) & (series.times > origin - np.timedelta64(days * 86400, "s"))
        now = to_datetime(origin)
        e = expect(series.rows(keep), now, now, now + timedelta(hours=longest), regulated=regulated)
        bands = _bands(e, quantity)
        at = np.array([int((origin - e.times[0]) / np.timedelta64(3600, "s")) + lead for lead in leads])
        if quantity == "discharge":
            with np.errstate(invalid="ignore", divide="ignore"):
                bands = np.log(np.where(bands > 0, bands, np.nan))
        said.append(bands[:, at])
        kept.append(_persistence(y[row - days * 24 + 1 : row + 1], leads))
        came.append(y[row + np.array(leads)])
    return _scores(leads, np.array(said), np.array(kept), np.array(came))


def score_table(scores: list[Score], title: str) -> str:
    """The scores as a Markdown table."""
    lines = [
        f"**{title}** ({max(s.cases for s in scores)} origins)",
        "",
        "| lead [h] | pinball loss | persistence | gain | median error | persistence | within 10-90 % | 5-95 % | "
        "persistence 10-90 % |",
        "| ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    for s in scores:
        gain = 100 * (1 - s.loss / s.loss_persistence)
        lines.append(
            f"| {s.lead_h} | {s.loss:.4f} | {s.loss_persistence:.4f} | {gain:+.0f} % "
            f"| {s.median_error:.4f} | {s.median_error_persistence:.4f} | {100 * s.coverage_80:.0f} % "
            f"| {100 * s.coverage_90:.0f} % | {100 * s.coverage_80_persistence:.0f} % |"
        )
    return "\n".join(lines)


def _bands(e: object, quantity: str) -> np.ndarray:
    """5, 10, 50, 90 and 95 %, shape (5, n)."""
    if quantity == "discharge":
        names = ("discharge_p05_m3s", "discharge_low_m3s", "discharge_m3s", "discharge_high_m3s", "discharge_p95_m3s")
    else:
        names = ("stage_p05_m", "stage_low_m", "stage_m", "stage_high_m", "stage_p95_m")
    return np.array([getattr(e, name) for name in names])


def _persistence(past: np.ndarray, leads: Sequence[int]) -> np.ndarray:
    """The last value with the raw quantiles of its own past errors, shape (5, leads)."""
    out = np.empty((5, len(leads)))
    for i, lead in enumerate(leads):
        off = past[lead:] - past[:-lead]
        off = off[np.isfinite(off)]
        error = np.quantile(off, _QUANTILES) if len(off) else np.full(5, np.nan)
        error[2] = 0.0
        out[:, i] = past[-1] + error
    return out


def _scores(leads: Sequence[int], said: np.ndarray, kept: np.ndarray, came: np.ndarray) -> list[Score]:
    scores = []
    for i, lead in enumerate(leads):
        known = (
            np.isfinite(came[:, i]) & np.isfinite(said[:, :, i]).all(axis=1) & np.isfinite(kept[:, :, i]).all(axis=1)
        )
        y, a, b = came[known, i], said[known, :, i], kept[known, :, i]
        loss = [np.mean([pinball(y, x[:, k], q).mean() for k, q in enumerate(_QUANTILES)]) for x in (a, b)]
        scores.append(
            Score(
                lead_h=int(lead),
                cases=int(known.sum()),
                loss=float(loss[0]),
                loss_persistence=float(loss[1]),
                median_error=float(np.abs(y - a[:, 2]).mean()),
                median_error_persistence=float(np.abs(y - b[:, 2]).mean()),
                coverage_80=float(np.mean((y >= a[:, 1] - 1e-9) & (y <= a[:, 3] + 1e-9))),
                coverage_90=float(np.mean((y >= a[:, 0] - 1e-9) & (y <= a[:, 4] + 1e-9))),
                coverage_80_persistence=float(np.mean((y >= b[:, 1] - 1e-9) & (y <= b[:, 3] + 1e-9))),
            )
        )
    return scores
