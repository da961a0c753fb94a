"""The further keys of tackle.toml: heads that are not level, weights tied into a fly, a fly timed as it falls.

They stay in an entry's `extra`, so that a rewritten file keeps them as they were; `planner.sink` reads them.

========================  ==========================================================================================
of a ``[[line]]``
``steps``                 two or three parts of the head from the leader on, ``{ ft = …, grains = …, sink_ips = … }``
``front_taper_ft``        length of the head's thinner front
``compensated``           ``true`` where the label says density compensated: the thin front is as much denser
of a ``[[fly]]``
``bead, cone, dumbbell``  what is tied in, such as ``"tungsten 3.3 mm"``; the size of a dumbbell is one eye's
``sink_ips``              rate at which the soaked fly was timed to fall in still water
========================  ==========================================================================================
"""

from __future__ import annotations

import re
from typing import Any

from planner import tables
from planner.river.values import Notebook, short

__all__ = ["WEIGHT_KEYS", "check_head", "check_weights"]

WEIGHT_KEYS = ("bead", "cone", "dumbbell")
_STEP_KEYS = (("ft", "head_ft"), ("grains", "head_grains"), ("sink_ips", "sink_ips"))
_SIZE = re.compile(r"\s*([a-z]+)\s+\d+(\.\d+|\s*/\s*\d+)?\s*(mm|in|\")\s*", re.IGNORECASE)
_NOT_METAL = ("nylon", "fluorocarbon", "floating coating")


def check_head(where: str, entry: dict[str, Any], file: str, notes: Notebook) -> None:
    """Note what is wrong with the shape that a line's entry gives its head."""
    shaped = [key for key in ("steps", "front_taper_ft") if entry.get(key) is not None]
    for key in shaped:
        other = next((name for name in (*shaped, "diameter_mm") if name != key and entry.get(name) is not None), None)
        if other:
            notes.add(
                "error", file, where, f"both {key} and {other}", "one of them", f"delete {key} or {other}", kind="shape"
            )
    steps = entry.get("steps")
    if steps is not None:
        good = isinstance(steps, list) and 2 <= len(steps) <= 3 and all(isinstance(step, dict) for step in steps)
        if not good:
            notes.add(
                "error", file, where, f"steps = {short(steps)}", "two or three { ft = …, grains = …, sink_ips = … }",
                "write one for each step, from the leader on",
            )  # fmt: skip
        for number, step in enumerate(steps if good else [], start=1):
            for key, quantity in _STEP_KEYS:
                if step.get(key) is None:
                    notes.add(
                        "error",
                        file,
                        f"{where}, step {number}",
                        f"{key} is missing",
                        f"{key} as a number",
                        f"add {key}",
                    )
                else:
                    notes.number(step, key, file, f"{where}, step {number}", quantity=quantity)
    notes.number(entry, "front_taper_ft", file, where, quantity="head_ft")
    notes.flag(entry, "compensated", file, where)
    if entry.get("compensated") and "front_taper_ft" not in entry:
        notes.add(
            "warning", file, where, "compensated without front_taper_ft", "the length of the thinner front",
            "add front_taper_ft; without it the head is taken as level, which sinks level anyway",
        )  # fmt: skip


def check_weights(where: str, entry: dict[str, Any], file: str, notes: Notebook) -> bool:
    """Note what is wrong with the weights tied into a fly and its timed fall; True when it names a weight."""
    tied = [key for key in WEIGHT_KEYS if entry.get(key) is not None]
    metals = [row["material"] for row in tables.rows("tackle_materials") if row["material"] not in _NOT_METAL]
    for key in tied:
        size = _SIZE.fullmatch(entry[key]) if isinstance(entry[key], str) else None
        if size is not None and size[1].lower() not in metals:
            notes.add(
                "error", file, where, f"{key} = {short(entry[key])}", f"one of {', '.join(metals)}", "name the metal"
            )
        elif size is None:
            notes.add(
                "error", file, where, f"{key} = {short(entry[key])}", "a material and a size in mm or in",
                f'write it like {key} = "tungsten 3.3 mm"',
            )  # fmt: skip
    notes.number(entry, "sink_ips", file, where, quantity="fly_sink_ips")
    return bool(tied)
