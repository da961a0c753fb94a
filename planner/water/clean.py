"""Plain checks of a record before anything rests on it: values one off and back, slips of scale, gaps, silence."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from planner.gauges.series import Series, to_datetime64
from planner.water.rules import rule

__all__ = ["Check", "check_record", "cleaned"]


@dataclass(frozen=True)
class Check:
    """What one check found.

    Parameters
    ----------
    name : str
        Of the check.
    count : int
        Values, gaps or hours found.
    text : str
        One sentence.
    """

    name: str
    count: int
    text: str


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


def check_record(series: Series, now: datetime) -> tuple[Check, ...]:
    """The checks that found something, for a table.

    Parameters
    ----------
    series : Series
        As it came.
    now : datetime
        Aware.
    """
    found = []
    for note in cleaned(series).notes:
        if "off and back" in note:
            found.append(Check("spikes", int(note.split()[1]), f"{note[0].upper()}{note[1:]}."))
    good = series.times[series.has_level()].astype(np.int64)
    limit = rule("gap") * 3600.0
    gaps = int((np.diff(good) > limit).sum())
    if gaps:
        found.append(Check("gaps", gaps, f"{gaps} gaps of more than {rule('gap'):.0f} h in the record."))
    if len(good):
        age = float(to_datetime64(now).astype(np.int64) - good[-1])
        if age > rule("stale_after") * 60.0:
            found.append(Check("silent", int(age // 3600), f"No reading for the last {age / 3600:.0f} h."))
    q = series.discharge_m3s[series.discharge_m3s > 0]
    if len(q) > 10:
        # a slip of units by 1000 stands far above anything the record's middle allows
        slips = int((q > 100.0 * np.quantile(q, 0.9)).sum())
        if slips:
            found.append(Check("scale", slips, f"{slips} discharges stand a hundredfold above the rest of the record."))
    if (series.discharge_m3s < 0).any():
        count = int((series.discharge_m3s < 0).sum())
        found.append(Check("negative", count, f"{count} discharges are negative: tide or backwater."))
    return tuple(found)


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
