"""Plain checks of a record before anything rests on it: values one off and back, slips of scale, gaps, silence."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from planner.gauges.series import Quality, Series, to_datetime64
from planner.water.rules import rule

__all__ = ["Check", "check_table", "cleaned", "without_marked"]


@dataclass(frozen=True)
class Check:
    """One named check of a record.

    Parameters
    ----------
    name : str
        Of the check.
    statistic : float
        What was counted or measured; NaN when it could not be.
    unit : str
        Of the statistic.
    operator : str
        How it is held against the threshold, such as ``<=``.
    threshold : float
        What passes.
    passed : bool or None
        None when the check could not be made.
    comment : str
        One sentence.
    """

    name: str
    statistic: float
    unit: str
    operator: str
    threshold: float
    passed: bool | None
    comment: str


def cleaned(series: Series) -> Series:
    """The series with values that jump off and back made unknown, and a note that says how many.

    One or two values count as a spike when they lie off both neighbours by more than 0.15 m, or a factor of
    exp(0.5) in discharge, to the same side, while the neighbours differ by less than a third of that. A value at the
    end of the record is never taken out: whether it is a spike or the front of a rise shows only later.
    """
    stage = _without_spikes(series.stage_m, rule("spike_stage"))
    with np.errstate(divide="ignore", invalid="ignore"):
        ln = np.log(np.where(series.discharge_m3s > 0, series.discharge_m3s, np.nan))
    lost = np.isfinite(ln) & np.isnan(_without_spikes(ln, rule("spike_discharge")))
    notes = []
    for label, count in (
        ("stage", int((np.isfinite(series.stage_m) & np.isnan(stage)).sum())),
        ("discharge", int(lost.sum())),
    ):
        if count:
            plural = "value jumps" if count == 1 else "values jump"
            notes.append(f"{label}: {count} {plural} off and back; taken as unknown")
    if not notes:
        return series
    discharge = np.where(lost, np.nan, series.discharge_m3s)
    return replace(series, stage_m=stage, discharge_m3s=discharge).noted(*notes)


def without_marked(series: Series, *marks: Quality, until: int | None = None) -> Series:
    """The series with stage and discharge of rows that carry one of these marks made unknown.

    Parameters
    ----------
    series : Series
        As it came.
    *marks : Quality
        Such as equipment trouble, whose figures are no readings of the water.
    until : int, optional
        Rows from this one on are left as they are.
    """
    marked = np.isin(series.quality, [str(mark) for mark in marks]) & series.has_level()
    marked[len(series) if until is None else until :] = False
    if not marked.any():
        return series
    stage, discharge = (np.where(marked, np.nan, column) for column in (series.stage_m, series.discharge_m3s))
    return replace(series, stage_m=stage, discharge_m3s=discharge)


def check_table(series: Series, now: datetime) -> tuple[Check, ...]:
    """All checks of a record, passed or not.

    Parameters
    ----------
    series : Series
        As it came.
    now : datetime
        Aware.
    """
    table = [_spikes(series, "stage"), _spikes(series, "discharge"), _flat(series)]
    good = series.times[series.has_level()].astype(np.int64)
    gaps = int((np.diff(good) > rule("gap") * 3600.0).sum())
    table.append(_check("gaps", gaps, "", 0, f"{gaps} gaps of more than {rule('gap'):.0f} h in the record."))
    age = (float(to_datetime64(now).astype(np.int64)) - good[-1]) / 60.0 if len(good) else math.nan
    silent = f"The last reading is {age / 60:.1f} h old." if len(good) else "There is no reading."
    table.append(_check("silence", age, "min", rule("stale_after"), silent))
    missing = 1.0 - len(good) / len(series) if len(series) else math.nan
    table.append(
        _check("missing", missing, "1", rule("missing_share"), f"{100 * missing:.0f} % of the rows have no value.")
    )
    q = series.discharge_m3s[series.discharge_m3s > 0]
    if len(q) > 10:
        # a slip of units by 1000 stands far above anything the record's middle allows
        top = float(q.max() / np.quantile(q, 0.9))
        table.append(
            _check("scale", top, "1", rule("slip"), f"The highest discharge is {top:.0f} times the record's 90 %.")
        )
    negative = int((series.discharge_m3s < 0).sum())
    table.append(_check("negative", negative, "", 0, f"{negative} discharges are negative: tide or backwater."))
    return tuple(table)


def _check(name: str, statistic: float, unit: str, threshold: float, comment: str) -> Check:
    passed = bool(statistic <= threshold) if statistic == statistic else None
    return Check(name, float(statistic), unit, "<=", float(threshold), passed, comment)


def _spikes(series: Series, label: str) -> Check:
    if label == "stage":
        values, least = series.stage_m, rule("spike_stage")
    else:
        with np.errstate(divide="ignore", invalid="ignore"):
            values = np.log(np.where(series.discharge_m3s > 0, series.discharge_m3s, np.nan))
        least = rule("spike_discharge")
    count = int((np.isfinite(values) & np.isnan(_without_spikes(values, least))).sum())
    words = "value jumps" if count == 1 else "values jump"
    return _check(f"spikes in {label}", count, "", 0, f"{count} {words} off and back; taken as unknown.")


def _flat(series: Series) -> Check:
    """Longest time over which the stage stays to the last digit while the discharge moves, or the other way round."""
    both = np.isfinite(series.stage_m) & (series.discharge_m3s > 0)
    if both.sum() < 3:
        comment = "A flat line cannot be told without both stage and discharge."
        return Check("flat line", math.nan, "h", "<=", rule("flat_hours"), None, comment)
    times = series.times[both].astype(np.int64)
    longest = 0.0
    ln = np.log(series.discharge_m3s[both])
    for still, moving, least in ((series.stage_m[both], ln, rule("flat_moves")), (ln, series.stage_m[both], 0.03)):
        edges = np.flatnonzero(np.diff(still) != 0.0) + 1
        for first, last in zip(np.append(0, edges), np.append(edges, len(still)), strict=True):
            hours = (times[last - 1] - times[first]) / 3600.0
            if hours > longest and np.ptp(moving[first:last]) > least:
                longest = float(hours)
    return _check(
        "flat line", longest, "h", rule("flat_hours"), f"One value stood still for {longest:.0f} h as the other moved."
    )


def _without_spikes(values: np.ndarray, least: float) -> np.ndarray:
    known = np.flatnonzero(np.isfinite(values))
    y = values[known]
    bad = np.zeros(len(y), bool)
    for width in (1, 2):
        if len(y) < width + 2:
            continue
        before, after = y[: -width - 1], y[width + 1 :]
        inner = np.array([y[1 + k : len(y) - width + k] for k in range(width)])
        low, high = np.minimum(before, after), np.maximum(before, after)
        off = np.maximum((inner - high).min(axis=0), (low - inner).min(axis=0))
        spike = (off > least) & (high - low < off / 3.0)
        for k in range(width):
            bad[1 + k : len(y) - width + k] |= spike
    out = values.copy()
    out[known[bad]] = np.nan
    return out
