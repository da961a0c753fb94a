"""The best line, fly and countdown per spot and level, with its uncertainty and its reasons."""

from __future__ import annotations

from planner.advice.advise import advise, advise_in_full, learn_from
from planner.advice.kit import likely_weights, rods_to_rig
from planner.advice.learn import Belief, Learned, LoggedSwim, with_learning
from planner.advice.records import Advice, AdviceReport, AtLevel, BedPatch, Choice, RodToRig, Settings, SpotAtLevels
from planner.advice.store import SwimStore

__all__ = [
    "Advice",
    "AdviceReport",
    "AtLevel",
    "BedPatch",
    "Belief",
    "Choice",
    "Learned",
    "LoggedSwim",
    "RodToRig",
    "Settings",
    "SpotAtLevels",
    "SwimStore",
    "advise",
    "advise_in_full",
    "learn_from",
    "likely_weights",
    "rods_to_rig",
    "with_learning",
]
