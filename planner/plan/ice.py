"""What may still be said of a run or spot whose gauge reports ice: the caution, and that nothing can be read.

Ice backs the water up, so neither stage nor discharge can be read from the gauge, and the relations of a run hold for
open water. A range around such a figure would look like knowledge.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from planner.plan.readings import GaugeView

__all__ = ["ICED", "iced", "open_water_only"]

ICED = "The gauge reports ice, which backs the water up: neither level nor current can be read from it."
_NOT_KNOWN = (
    "level_m area_m2 hydraulic_radius_m mean_depth_m max_depth_m velocity_manning_m_s velocity_continuity_m_s "
    "velocity_used_m_s velocity_low_m_s velocity_high_m_s velocity_ratio depth_m depth_low_m depth_high_m velocity_m_s "
    "stance_depth_m stance_velocity_m_s"
).split()


def iced(view: GaugeView) -> bool:
    """Whether the gauge reports ice and no level was stated in its place."""
    return str(view.expected.quality) == "ice" and not view.expected.given


def open_water_only(row: dict[str, Any], view: GaugeView) -> dict[str, Any]:
    """A run or spot of ``plan.json`` as it stands; under ice without level, depth, current and count, and with the
    reason. A level that the user states is taken at his word.

    Parameters
    ----------
    row : dict
        One of `runs` or `spots`.
    view : GaugeView
        Its gauge.
    """
    if not iced(view):
        return row
    out = {**row, **{name: math.nan for name in _NOT_KNOWN if name in row}, "limits": [ICED, *row["limits"]]}
    if "best" in row:
        out |= {"best": None, "next_best": None, "compromise": None, "swim": None, "none_because": ICED}
        out |= {"if_lower": None, "if_higher": None, "sensitivity": [], "tips": []}
    elif row.get("section") is not None:
        out["section"] = {**row["section"], "level_m": math.nan}
    return out
