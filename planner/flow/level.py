"""The level of a surveyed run at a reading of its gauge, and whether that is beyond what was sounded."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from planner.errors import DataUnfit
from planner.flow.relation import ControlRelation, LevelRelation
from planner.flow.state import FlowState
from planner.tables import constants

if TYPE_CHECKING:
    from planner.flow.runflow import RunFlow

__all__ = ["beyond", "level_of"]


def _normal(relation: LevelRelation | ControlRelation) -> LevelRelation:
    if isinstance(relation, LevelRelation):
        return relation
    raise DataUnfit("a run held from downstream", "its discharge", "give the discharge")


def level_of(
    flow: RunFlow, state: FlowState, q_sd: float, stage_sd: float, limits: list[str]
) -> tuple[float, float, float]:
    """Level [m], its standard deviation [m] and the part of ln K's drift in it."""
    q, parallel = state.discharge_m3s, state.stage_m - flow.stage_ref
    _, _, relation = flow.surveyed()
    if flow.calibrated and math.isfinite(q) and not flow.run.still:
        level = float(relation.level(q))
        if math.isfinite(level):
            steep, _ = relation.slopes(level)
            rate = relation.drift_sd if math.isfinite(relation.drift_sd) else constants("flow")["conveyance_drift"]
            drift = rate * abs(math.log(q) - math.log(flow.discharge_ref))  # their ratio may be too small for a number
            if not 0.25 < q / flow.discharge_ref < 4.0:
                limits.append(
                    "The discharge is more than four times off that of the sounding day: the level is a guess."
                )
            return level, math.hypot(stage_sd, math.hypot(q_sd, drift) / max(steep, 1e-6)), drift
    if math.isfinite(parallel):
        if not flow.run.still:
            told = flow.rise_ratio_sd < 0.4
            limits.append(
                f"The run is taken to rise {flow.rise_ratio:.2f} times as much as the gauge, as two surveys show."
                if told
                else "The run is taken to rise and fall as much as the gauge does."
            )
            spread = flow.rise_ratio_sd if told else 0.5
            return flow.rise_ratio * parallel, math.hypot(stage_sd, spread * abs(parallel)), math.nan
        return parallel, stage_sd, math.nan
    rough = flow.roughness(0.0)
    if math.isfinite(q) and flow.spans and flow.slope > 0 and rough.n > 0 and not flow.run.still:
        guess = replace(_normal(relation), constant=math.sqrt(flow.slope) / rough.n)
        level = float(guess.level(q))
        if math.isfinite(level):
            limits.append(
                "The run's level rests on Manning's equation alone: no stage, and no discharge on the sounding day."
            )
            spread = math.sqrt(rough.ln_sd**2 + (constants("flow")["slope_ln_sd"] / 2) ** 2 + q_sd**2)
            return level, spread / max(guess.slopes(level)[0], 1e-6), math.nan
    limits.append("Neither stage nor discharge gives the run's level: no depth, no current.")
    return math.nan, math.nan, math.nan


def beyond(flow: RunFlow, level: float, q: float, limits: list[str]) -> bool:
    """Whether a level is beyond what was sounded; said among the limits."""
    bed, grid, _ = flow.surveyed()
    high = any(bed.walls) and level > flow.waterline + 0.3
    low = level < flow.levels_sounded[0] - constants("flow")["control_least_m"]
    deepest = float(grid.z[grid.whole].min() if grid.whole.any() else grid.z.min())
    if level < deepest + 0.1:
        limits.append("The water is down to the lowest sounding: what is left is not known.")
    elif low:
        limits.append(
            f"The water is {flow.levels_sounded[0] - level:.2f} m lower than on any sounding day: its level is "
            "carried on beyond what was sounded."
        )
    far = flow.calibrated and q > 0 and flow.discharge_ref > 0 and not 0.25 < q / flow.discharge_ref < 4.0
    return bool(high or low or far)
