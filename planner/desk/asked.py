"""What a request of the page carries, taken out and checked: versions, words, tables, spots, rows of the log."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from planner.errors import DataUnfit, UsageMistake

if TYPE_CHECKING:
    from planner.river import River, Spot

__all__ = ["log_rows_in", "said_in", "spot_in", "table_in", "version_in"]


def table_in(asked: Mapping[str, Any], key: str) -> dict[str, Any]:
    """A table of members under a key."""
    value = asked.get(key)
    if not isinstance(value, dict):
        raise UsageMistake(f"{key} is missing", f"{key}: a table of members", "send one")
    return value


def spot_in(given: Any, river: River) -> Spot:
    """A spot by its id, or as a feature that is not saved."""
    import orjson

    from planner.river.shapes import parse_spots
    from planner.river.values import Notebook

    if isinstance(given, str):
        for spot in river.spots:
            if spot.id == given:
                return spot
        known = ", ".join(spot.id for spot in river.spots[:20]) or "none"
        raise UsageMistake(f"spot {given[:60]!r} is not in spots.geojson", f"one of: {known}", "load the river anew")
    notes = Notebook()
    text = orjson.dumps({"type": "FeatureCollection", "features": [given]}).decode()
    found = parse_spots(text, notes)
    wrong = next((finding for finding in notes.findings if finding.level == "error"), None)
    if wrong is not None or not found:
        given_, need, step = (wrong.given, wrong.need, wrong.next_step) if wrong else ("no spot", "a spot", "draw one")
        raise DataUnfit(given_, need, step, where="spot")
    return found[0]


def log_rows_in(asked: Mapping[str, Any], read: Callable[[str], list[dict[str, str]]]) -> list[dict[str, str]]:
    """Rows of a request, through the reader of log.csv so that it can read them back."""
    import csv
    import io

    if isinstance(asked.get("csv"), str):
        return read(asked["csv"])
    rows = asked.get("rows", [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows) or len(rows) > 5_000:
        raise UsageMistake("the rows", "rows: a list of at most 5,000 entries", "send them so")
    if not rows:
        return []
    names = list(dict.fromkeys(str(name) for row in rows for name in row))
    out = io.StringIO()
    table = csv.DictWriter(out, names, lineterminator="\n")
    table.writeheader()
    table.writerows([{str(k): "" if v is None else " ".join(str(v).split()) for k, v in row.items()} for row in rows])
    return read(out.getvalue())


def version_in(asked: Mapping[str, Any]) -> str:
    """The base version of an edit."""
    version = asked.get("version")
    if not isinstance(version, str):
        raise UsageMistake("an edit without a version", "the version it was made on", "load the river first")
    return version


def said_in(asked: Mapping[str, Any], otherwise: str) -> str:
    """What an edit says of itself, in one short line."""
    said = asked.get("said")
    return " ".join(said.split())[:120] if isinstance(said, str) and said.strip() else otherwise
