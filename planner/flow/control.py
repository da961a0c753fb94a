"""Runs whose water is held from below: a riffle, a weir or a narrows downstream, not the run's own friction.

In such a run normal depth is the wrong law: a pool keeps its water when the river falls. Its level follows the depth
over the control. A run is taken so when the user marks it, or when two levels show it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from planner.flow.days import DaySeen
from planner.flow.relation import ControlRelation, LevelRelation
from planner.tables import constants

__all__ = ["Mark", "control_asked", "control_relation", "held_from_below", "marks_of", "misread"]


@dataclass(frozen=True)
class Mark:
    """A level that the user read on a mark of their own in the run.

    Parameters
    ----------
    level : float
        Height of the water on the mark [m]; only differences count.
    discharge : float
        Discharge in the run then [m³/s].
    """

    level: float
    discharge: float


def control_asked(run: Any) -> tuple[bool, float]:
    """Whether the user marked a run as held from below, and the depth over the control on the reference day [m].

    Read from the run's properties ``control`` (``"downstream"``) and ``control_depth_m``; NaN where not given.
    """
    asked = str(run.extra.get("control", "")).strip().lower() == "downstream"
    try:
        depth = float(run.extra.get("control_depth_m", math.nan))
    except (TypeError, ValueError):
        depth = math.nan
    return asked, depth if depth > 0 else math.nan


def marks_of(run: Any, series: Any, rating: Any) -> tuple[Mark, ...]:
    """Levels in the run's property ``levels``, a list of objects.

    Each has ``level_m`` and one of ``taken_at``, ``stage_m`` and ``discharge_m3s`` (of the gauge).
    Entries for which no discharge is known are left out.
    """
    from planner.river.values import instant
    from planner.water import discharge_at, run_discharge, stage_at

    found = []
    given = run.extra.get("levels", ())
    for entry in given if isinstance(given, list | tuple) else ():
        try:
            level = float(entry["level_m"])
            flow, stage = (float(entry.get(key, math.nan)) for key in ("discharge_m3s", "stage_m"))
        except (TypeError, ValueError, KeyError, AttributeError):
            continue
        moment = instant(entry.get("taken_at"))
        if moment is not None and series is not None:
            late = run.lag_min * 60.0 if math.isfinite(run.lag_min) else 0.0
            at = np.array([np.datetime64(round(moment.timestamp() - late), "s")])
            flow = flow if math.isfinite(flow) else float(discharge_at(series, at)[0])
            stage = stage if math.isfinite(stage) else float(stage_at(series, at)[0])
        if not math.isfinite(flow) and math.isfinite(stage) and rating is not None:
            flow = float(rating.discharge(stage))
        if flow > 0 and math.isfinite(level):
            found.append(Mark(level, float(run_discharge(flow, run))))
    return tuple(found)


def misread(run: Any, marks: Sequence[Mark]) -> list[str]:
    """Sentences on what of the run's properties on a control could not be used."""
    said = []
    word = str(run.extra.get("control", "")).strip()
    if word and word.lower() != "downstream":
        said.append(f'The run\'s control is {word!r}: only "downstream" is known, so it is passed over.')
    if "control_depth_m" in run.extra and not math.isfinite(control_asked(run)[1]):
        said.append("The run's control_depth_m is not a positive number of metres and is passed over.")
    given = run.extra.get("levels", ())
    count = len(given) if isinstance(given, list | tuple) else 1
    if count > len(marks):
        said.append(f"{count - len(marks)} of the run's levels have no level_m, or no discharge is known for them.")
    return said


def held_from_below(
    normal: LevelRelation, seen: Sequence[DaySeen], marks: Sequence[Mark], reference: float
) -> tuple[bool, str]:
    """Whether levels seen depart from normal depth by more than their error.

    Parameters
    ----------
    normal : LevelRelation
        Of the bed, through the reference survey, without drift.
    seen : sequence of DaySeen
        Days of survey.
    marks : sequence of Mark
        Levels on the user's mark.
    reference : float
        Discharge of the reference survey [m³/s].

    Returns
    -------
    held : bool
        True where the change of level seen is at least `control_least_m` and 2.5 standard deviations off that of
        normal depth for some pair of discharges, and not on both sides of it.
    said : str
        The largest departure, for a reader.
    """
    table = constants("flow")
    pairs = [(d.level, d.level_sd, reference, d.discharge) for d in seen if not d.reference and math.isfinite(d.level)]
    if len(marks) > 1:
        first = min(marks, key=lambda mark: mark.discharge)
        last = max(marks, key=lambda mark: mark.discharge)
        pairs.append((last.level - first.level, 0.02, first.discharge, last.discharge))
    worst, said, signs = 0.0, "", set()
    for change, sd, one, two in pairs:
        if not (one > 0 and two > 0) or abs(math.log(two / one)) < 0.1:
            continue
        levels = normal.level(np.array([one, two]))
        if not np.isfinite(levels).all():
            continue
        wanted = float(levels[1] - levels[0])
        steep = max(normal.slopes(float(levels[1]))[0], 1e-6)
        drift = table["conveyance_drift"] * abs(math.log(two / one))
        error = math.hypot(sd, math.hypot(table["day_discharge_sd"] * 1.5, drift) / steep)
        off = abs(change - wanted)
        if off > max(table["control_least_m"], 2.5 * error):
            signs.add(change > wanted)
            if off / error > worst:
                worst = off / error
                said = f"from {one:.3g} to {two:.3g} m³/s the level moved {change:+.2f} m, normal depth {wanted:+.2f} m"
    return worst > 0 and len(signs) == 1, said


def control_relation(
    table: LevelRelation, seen: Sequence[DaySeen], marks: Sequence[Mark], reference: float, depth: float
) -> ControlRelation | None:
    """The control's own relation.

    Parameters
    ----------
    table : LevelRelation
        Levels and areas of the run.
    seen, marks : sequences
        Days of survey and levels on the user's mark.
    reference : float
        Discharge at level 0 [m³/s].
    depth : float
        Depth over the control on the reference day [m]; NaN unknown.

    Returns
    -------
    ControlRelation or None
        None where neither a second level nor the depth is known: then nothing tells how the pool rises.

    Notes
    -----
    Q = c (L - e)^p is L = e + b Q^(1/p) (1), b = c^(-1/p): straight in Q^(1/p). b and e are fitted for p on a grid and
    p chosen by the sum of squares with p expected at `control_power`; levels on a mark have a zero of their own. With
    the depth given, e = -depth and b follow from the reference alone. Level 0 keeps to the reference discharge.
    """
    if not reference > 0:
        return None
    rules = constants("flow")
    days = [
        (d.level, d.level_sd, d.discharge)
        for d in seen
        if not d.reference and math.isfinite(d.level) and d.discharge > 0
    ]
    if math.isfinite(depth):
        power = rules["control_power"]
        return ControlRelation(
            table.levels, table.area, reference / depth**power, -depth, power, rules["conveyance_drift"]
        )
    flows = [q for _, _, q in days] + [mark.discharge for mark in marks] + [reference]
    if (not days and len(marks) < 2) or max(flows) / min(flows) < 1.1:
        return None
    best: tuple[float, ControlRelation] | None = None
    for power in np.linspace(1.1, 2.6, 31):
        root = reference ** (1 / power)
        rows, values, weight = [], [], []
        for level, sd, q in days:
            rows.append([q ** (1 / power) - root, 0.0])
            values.append(level)
            weight.append(1.0 / max(sd, 0.01))
        for mark in marks if len(marks) > 1 else ():
            rows.append([mark.discharge ** (1 / power), 1.0])
            values.append(mark.level)
            weight.append(1.0 / 0.02)
        x, y, w = np.array(rows), np.array(values), np.array(weight)
        use = [0, 1] if len(marks) > 1 else [0]
        found, *_ = np.linalg.lstsq(x[:, use] * w[:, None], y * w, rcond=None)
        b = float(found[0])
        if b <= 0:
            continue
        miss = float(np.sum(((x[:, use] @ found - y) * w) ** 2))
        miss += ((power - rules["control_power"]) / rules["control_power_sd"]) ** 2
        relation = ControlRelation(
            table.levels, table.area, b ** (-power), -b * root, float(power), rules["conveyance_drift"]
        )
        if best is None or miss < best[0]:
            best = (miss, relation)
    return best[1] if best is not None else None
