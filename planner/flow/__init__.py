"""Depth and current in a run: Manning, roughness, the run's own level, and the profile from bed to surface."""

from planner.flow.manning import critical_depth, froude, manning_velocity, normal_depth
from planner.flow.profile import exponent_of, speed_at_height, surface_speed
from planner.flow.relation import LevelRelation
from planner.flow.roughness import Roughness, class_range, roughness_classes, roughness_of
from planner.flow.runflow import RunFlow
from planner.flow.state import FlowState
from planner.flow.survey import survey_run

__all__ = [
    "FlowState",
    "LevelRelation",
    "Roughness",
    "RunFlow",
    "class_range",
    "critical_depth",
    "exponent_of",
    "froude",
    "manning_velocity",
    "normal_depth",
    "roughness_classes",
    "roughness_of",
    "speed_at_height",
    "surface_speed",
    "survey_run",
]
