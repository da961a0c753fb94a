"""Cautions: rules, one table, from conditions to caution levels with reasons and sources."""

from planner.caution.assess import assess_river, assess_run, assess_spot, hold, worst
from planner.caution.gather import at_level, at_stance, gather_conditions
from planner.caution.inputs import footing_factor, party_conditions
from planner.caution.past import rise_conditions
from planner.caution.records import LABELS, NOT_ASSESSED, Caution, Check, Conditions
from planner.caution.turning import Turning, turning_levels, turning_words
from planner.caution.wording import headline, standing_words

__all__ = [
    "LABELS",
    "NOT_ASSESSED",
    "Caution",
    "Check",
    "Conditions",
    "Turning",
    "assess_river",
    "assess_run",
    "assess_spot",
    "at_level",
    "at_stance",
    "footing_factor",
    "gather_conditions",
    "headline",
    "hold",
    "party_conditions",
    "rise_conditions",
    "standing_words",
    "turning_levels",
    "turning_words",
    "worst",
]
