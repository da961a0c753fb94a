"""Cautions: rules, one table, from conditions to caution levels with reasons and sources."""

from planner.caution.assess import assess_beside, assess_river, assess_run, assess_spot, worst
from planner.caution.gather import at_level, at_stance, flood_categories, gather_conditions, release_within
from planner.caution.hourly import HourCaution, Stance, hourly_cautions, turning_hours
from planner.caution.inputs import footing_factor, party_conditions
from planner.caution.keep import hold_record
from planner.caution.past import cloudy_conditions, rise_conditions
from planner.caution.records import LABELS, NOT_ASSESSED, Caution, Check, Conditions, label_of
from planner.caution.turning import Turning, turning_levels, turning_words
from planner.caution.wording import standing_words

__all__ = [
    "LABELS",
    "NOT_ASSESSED",
    "Caution",
    "Check",
    "Conditions",
    "HourCaution",
    "Stance",
    "Turning",
    "assess_beside",
    "assess_river",
    "assess_run",
    "assess_spot",
    "at_level",
    "at_stance",
    "cloudy_conditions",
    "flood_categories",
    "footing_factor",
    "gather_conditions",
    "hold_record",
    "hourly_cautions",
    "label_of",
    "party_conditions",
    "release_within",
    "rise_conditions",
    "standing_words",
    "turning_hours",
    "turning_levels",
    "turning_words",
    "worst",
]
