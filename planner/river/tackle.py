"""Parse tackle.toml, and the generic classes that stand in where there is none."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

from planner import tables
from planner.river.records import DRAG_CLASSES, WEIGHTINGS, Tackle, TackleFly, TackleLine
from planner.river.rigging import check_head, check_weights
from planner.river.settings import load_toml
from planner.river.values import Notebook, short
from planner.units import FOOT

__all__ = ["TACKLE_FILE", "generic_tackle", "parse_tackle"]

TACKLE_FILE = "tackle.toml"
MATERIALS = ("nylon", "fluorocarbon")
# Where the file gives no leader or tippet: a short one, as sinking lines take (common practice, no source).
_LEADER_M, _LEADER_MM, _TIPPET_M, _TIPPET_X = 1.2, 0.36, 0.0, math.nan
_LINE_KEYS = {
    "name", "code", "head_ft", "head_grains", "sink_ips", "tip_ft", "running", "rod_weight", "diameter_mm",
}  # fmt: skip
_FLY_KEYS = {"name", "drag", "mass_g", "weighting", "length_mm"}


@cache
def generic_tackle() -> Tackle:
    """Lines and flies of `tables/generic_tackle.csv`, by class and without a maker."""

    def figure(row: dict[str, str], key: str) -> float:
        return float(row[key]) if row[key] else math.nan

    rows = tables.rows("generic_tackle")
    return Tackle(
        lines=tuple(
            TackleLine(
                row["name"],
                row["code"],
                figure(row, "head_ft"),
                figure(row, "head_grains"),
                figure(row, "sink_ips"),
                figure(row, "tip_ft"),
                row["running"],
                figure(row, "rod_weight"),
            )
            for row in rows
            if row["kind"] == "line"
        ),
        flies=tuple(
            TackleFly(row["name"], row["drag"], figure(row, "mass_g"), row["weighting"], figure(row, "length_mm"))
            for row in rows
            if row["kind"] == "fly"
        ),
        leader_m=_LEADER_M,
        leader_diameter_mm=_LEADER_MM,
        leader_material="nylon",
        tippet_m=_TIPPET_M,
        tippet_x=_TIPPET_X,
        tippet_material="nylon",
        generic=True,
    )


def _entries(document: dict[str, Any], key: str, notes: Notebook) -> list[tuple[str, dict[str, Any]]]:
    value = document.get(key, [])
    if not isinstance(value, list):
        value = [value]
    kept: list[tuple[str, dict[str, Any]]] = []
    names: set[str] = set()
    for number, entry in enumerate(value, start=1):
        where = f"{key} {number}"
        if not isinstance(entry, dict):
            notes.add("error", TACKLE_FILE, where, short(entry), f"a [[{key}]] table", f"write [[{key}]]")
            continue
        name = notes.text(entry, "name", TACKLE_FILE, where, needed=True)
        if not name:
            continue
        if name in names:
            notes.add(
                "error", TACKLE_FILE, where, f"name {short(name)} stands twice", f"each {key} by its own name",
                "rename one of them",
            )  # fmt: skip
            continue
        names.add(name)
        kept.append((f"{where} ({name})", entry))
    if not kept:
        notes.add(
            "warning", TACKLE_FILE, key, f"no [[{key}]]", f"at least one [[{key}]]", "add one; generic ones stand in"
        )
    return kept


def _line(where: str, entry: dict[str, Any], notes: Notebook) -> TackleLine:
    figure = {
        name: notes.number(entry, name, TACKLE_FILE, where, quantity=quantity)
        for name, quantity in (
            ("head_ft", "head_ft"),
            ("head_grains", "head_grains"),
            ("sink_ips", "sink_ips"),
            ("tip_ft", "tip_ft"),
            ("rod_weight", "rod_weight"),
            ("diameter_mm", "line_diameter_mm"),
        )
    }
    for name in ("head_ft", "head_grains", "sink_ips"):
        if entry.get(name) is None:
            notes.add(
                "error", TACKLE_FILE, where, f"{name} is missing", f"{name} as a number",
                "read it off the line's label; a floating line has sink_ips = 0",
            )  # fmt: skip
    if figure["tip_ft"] > figure["head_ft"]:
        notes.add(
            "error", TACKLE_FILE, where, f"tip_ft {figure['tip_ft']:g} exceeds head_ft {figure['head_ft']:g}",
            "head_ft with the tip included", "correct one of them",
        )  # fmt: skip
    check_head(where, entry, TACKLE_FILE, notes)
    return TackleLine(
        name=str(entry["name"]).strip(),
        code=notes.text(entry, "code", TACKLE_FILE, where),
        running=notes.choice(entry, "running", ("floating", "sinking"), TACKLE_FILE, where, default="floating"),
        extra={key: value for key, value in entry.items() if key not in _LINE_KEYS},
        **figure,
    )


def _fly(where: str, entry: dict[str, Any], notes: Notebook) -> TackleFly:
    mass = notes.number(entry, "mass_g", TACKLE_FILE, where, quantity="fly_mass_g")
    weighting = notes.choice(entry, "weighting", WEIGHTINGS, TACKLE_FILE, where)
    tied = check_weights(where, entry, TACKLE_FILE, notes)
    if math.isnan(mass) and not weighting and not tied:
        notes.add(
            "error", TACKLE_FILE, where, "neither mass_g nor weighting", "one of them, or a bead, cone or dumbbell",
            f"weigh the fly, or write weighting as one of {', '.join(WEIGHTINGS)}",
        )  # fmt: skip
    return TackleFly(
        name=str(entry["name"]).strip(),
        drag=notes.choice(entry, "drag", DRAG_CLASSES, TACKLE_FILE, where, default="medium", needed=True),
        mass_g=mass,
        weighting=weighting,
        length_mm=notes.number(entry, "length_mm", TACKLE_FILE, where, quantity="fly_length_mm"),
        extra={key: value for key, value in entry.items() if key not in _FLY_KEYS},
    )


def _length(table: dict[str, Any], quantity: str, where: str, default: float, notes: Notebook) -> float:
    if table.get("length_ft") is not None and table.get("length_m") is not None:
        notes.add("error", TACKLE_FILE, where, "both length_ft and length_m", "one of them", "delete one of them")
        return default
    metres = notes.number(table, "length_m", TACKLE_FILE, where, quantity=quantity)
    if math.isfinite(metres):
        return metres
    return notes.number(table, "length_ft", TACKLE_FILE, where, default, quantity=quantity, factor=FOOT)


def _table(document: dict[str, Any], key: str, notes: Notebook) -> dict[str, Any]:
    value = document.get(key, {})
    if isinstance(value, dict):
        return value
    notes.add("error", TACKLE_FILE, key, f"{key} = {short(value)}", f"a [{key}] table", f"write [{key}]")
    return {}


def parse_tackle(text: str, notes: Notebook) -> Tackle:
    """Tackle of a tackle.toml text; what it leaves out comes from the generic classes."""
    document = load_toml(text, TACKLE_FILE, notes)
    if document is None:
        return generic_tackle()
    lines = tuple(_line(where, entry, notes) for where, entry in _entries(document, "line", notes))
    flies = tuple(_fly(where, entry, notes) for where, entry in _entries(document, "fly", notes))
    leader, tippet = _table(document, "leader", notes), _table(document, "tippet", notes)
    generic = generic_tackle()
    return Tackle(
        lines=lines or generic.lines,
        flies=flies or generic.flies,
        leader_m=_length(leader, "leader_m", "leader", _LEADER_M, notes),
        leader_diameter_mm=notes.number(
            leader, "diameter_mm", TACKLE_FILE, "leader", _LEADER_MM, quantity="leader_diameter_mm"
        ),
        leader_material=notes.choice(leader, "material", MATERIALS, TACKLE_FILE, "leader", default="nylon"),
        tippet_m=_length(tippet, "tippet_m", "tippet", _TIPPET_M, notes),
        tippet_x=notes.number(tippet, "x", TACKLE_FILE, "tippet", _TIPPET_X, quantity="tippet_x"),
        tippet_material=notes.choice(tippet, "material", MATERIALS, TACKLE_FILE, "tippet", default="nylon"),
        generic=False,
        extra={key: value for key, value in document.items() if key not in ("line", "fly", "leader", "tippet")},
    )
