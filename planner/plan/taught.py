"""What the log taught, as ``plan.json`` and a reader get it."""

from __future__ import annotations

import math
from typing import Any

from planner.advice import Belief, Learned
from planner.units import show

__all__ = ["learned_record", "line_words", "spot_learned", "spot_words", "swims_words"]


def learned_record(learned: Learned, units: str) -> dict[str, Any]:
    """``learned`` of the plan: lines, spots, how many logged swims each rests on, and what was left out."""
    return {
        "swims": learned.swims,
        "lines": [
            {
                "line": name,
                "swims": belief.swims,
                "sink_factor": math.exp(belief.mean),
                "sink_ln_sd": belief.sd,
                "prior_ln_sd": belief.prior_sd,
                "words": line_words(name, belief),
            }
            for name, belief in learned.lines.items()
        ],
        "spots": [
            {
                "spot": name,
                "swims": belief.swims,
                "depth_offset_m": belief.mean,
                "depth_offset_sd_m": belief.sd,
                "prior_sd_m": belief.prior_sd,
                "words": spot_words(belief, units),
            }
            for name, belief in learned.spots.items()
        ],
        "notes": list(learned.notes),
    }


def spot_learned(learned: Learned, spot: str, line: str | None) -> dict[str, Any] | None:
    """``learned`` of a spot: its own depth offset and the sink rate of the line advised there; None without either."""
    here, taught = learned.spots.get(spot), learned.lines.get(line or "")
    if here is None and taught is None:
        return None
    return {
        "swims": here.swims if here is not None else 0,
        "depth_offset_m": here.mean if here is not None else 0.0,
        "depth_offset_sd_m": None if here is None else here.sd,
        "line_swims": taught.swims if taught is not None else 0,
        "sink_factor": math.exp(taught.mean) if taught is not None else 1.0,
    }


def swims_words(swims: int) -> str:
    """How many swims a correction rests on."""
    return f"learned from {swims} swim{'s' if swims != 1 else ''}"


def line_words(name: str, belief: Belief) -> str:
    """A line's correction, in words."""
    percent = 100 * (math.exp(belief.mean) - 1)
    how = "as its label says" if abs(percent) < 0.5 else f"{abs(percent):.0f} % {'faster' if percent > 0 else 'slower'}"
    return f"{name} sinks {how} (± {100 * belief.sd:.0f} %), {swims_words(belief.swims)}."


def spot_words(belief: Belief, units: str) -> str:
    """A spot's correction, in words."""
    sd = show(belief.sd, "depth", units)
    if abs(belief.mean) < 0.01:
        return f"The bed is where the soundings say (± {sd}), {swims_words(belief.swims)}."
    side = "deeper" if belief.mean > 0 else "shallower"
    return (
        f"The bed is taken {show(abs(belief.mean), 'depth', units)} {side} than the soundings say (± {sd}), "
        f"{swims_words(belief.swims)}."
    )
