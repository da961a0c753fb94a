"""Shapes edited on the desk and on disk at once: a three-way join per feature, checked before it is written.

A feature of an edit is laid over the one that stands there as RFC 7396 merges: a member that is not named stays, null
takes it away. So members that the desk does not know stay as they are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from planner.desk.store import ChangedMeanwhile
from planner.errors import DataUnfit
from planner.river import shapes
from planner.river.values import Notebook
from planner.river.write_shapes import collection_text, feature_id

__all__ = ["KINDS", "Joined", "features_of", "join", "laid_over"]

KINDS = {"runs": shapes.RUNS_FILE, "spots": shapes.SPOTS_FILE, "places": shapes.PLACES_FILE}
# More positions than any hand draws; beyond it a file is no drawing (design choice).
MOST_POSITIONS = 20_000

Feature = dict[str, Any]


@dataclass(frozen=True)
class Joined:
    """The new text of a file, and the ids that somebody else changed since the base."""

    text: str
    merged: list[str]


def features_of(raw: bytes | None, file: str) -> tuple[dict[str, Any], dict[str, Feature]]:
    """Document and features by id of a GeoJSON file; an empty collection when there is no file.

    Raises
    ------
    DataUnfit
        When it is no collection of features with ids: then it is mended by hand, not by us.
    """
    import orjson

    empty: dict[str, Any] = {"type": "FeatureCollection", "features": []}
    if raw is None:
        return empty, {}
    try:
        document = orjson.loads(raw.removeprefix(b"\xef\xbb\xbf"))
        features = document["features"]
        found = {feature_id(feature): feature for feature in features}
        fit = document["type"] == "FeatureCollection" and len(found) == len(features)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        fit, document, found = False, empty, {}
    if not fit:
        raise DataUnfit(
            f"{file} cannot be read as features that each have an id of their own",
            "a GeoJSON FeatureCollection",
            "mend it in an editor, or step back to the last state that could be read",
            where=file,
        )
    return document, found


def laid_over(feature: Feature, over: Feature | None) -> Feature:
    """A feature with the members that an edit names; null takes a member away.

    Examples
    --------
    >>> laid_over({"properties": {"name": "B", "note": None}}, {"properties": {"name": "A", "note": "x", "mine": 1}})
    {'properties': {'name': 'B', 'mine': 1}}
    """
    merged = dict(over or {"type": "Feature"})
    for key, value in feature.items():
        if key == "properties" and isinstance(value, dict):
            own = {**(merged.get("properties") or {}), **value}
            merged["properties"] = {name: one for name, one in own.items() if one is not None}
        elif value is None:
            merged.pop(key, None)
        else:
            merged[key] = value
    return merged


def _checked(kind: str, feature: Feature, settings: dict[str, Any]) -> None:
    """Refuse a feature that the reader of the folder would refuse."""
    import orjson

    notes = Notebook()
    positions = orjson.dumps(feature.get("geometry")).count(b"[") if isinstance(feature, dict) else 0
    if positions > MOST_POSITIONS:
        raise DataUnfit(f"{positions:,} positions", f"at most {MOST_POSITIONS:,}", "draw it with fewer points")
    text = orjson.dumps({"type": "FeatureCollection", "features": [feature]}).decode()
    if kind == "runs":
        shapes.parse_runs(text, notes, settings)
    elif kind == "spots":
        shapes.parse_spots(text, notes)
    else:
        shapes.parse_places(text, notes)
    wrong = next((finding for finding in notes.findings if finding.level == "error"), None)
    if wrong is not None:
        name = str((feature.get("properties") or {}).get("id", ""))
        raise DataUnfit(wrong.given, wrong.need, wrong.next_step, where=f"{kind.removesuffix('s')} {name}".strip())


def join(
    kind: str,
    now: bytes | None,
    base: bytes | None,
    base_known: bool,
    put: list[Feature],
    remove: list[str],
    settings: dict[str, Any],
) -> Joined:
    """Join an edit with what stands on disk.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    now, base : bytes or None
        The file as it stands, and as the editor saw it; None when there was none.
    base_known : bool
        False when the base is no longer kept: then nothing that exists may be changed.
    put : list of dict
        Features added or changed.
    remove : list of str
        Ids to take away.
    settings : dict
        Gauges, slope and bed of river.toml, as `planner.river.shapes.parse_runs` takes them.

    Raises
    ------
    ChangedMeanwhile
        The same feature was changed on both sides.
    DataUnfit
        A feature breaks a rule of the folder, or the file on disk cannot be read.
    """
    file = KINDS[kind]
    document, theirs = features_of(now, file)
    if base == now:
        then = theirs
    else:
        try:
            then = features_of(base, file)[1] if base_known else {}
        except DataUnfit:
            then = {}  # an unreadable base: whatever stands there now was changed since
    wanted: dict[str, Feature | None] = {}
    for feature in put:
        name = feature_id(feature) if isinstance(feature, dict) else "None"
        if name in ("None", "") or name in wanted:
            raise DataUnfit("a feature without an id of its own", "an id in its properties", "give it one", where=kind)
        wanted[name] = laid_over(feature, then.get(name))
    for name in remove:
        wanted[name] = None
    clash = {}
    for name, mine in wanted.items():
        there = theirs.get(name)
        if there != then.get(name) and there != mine:
            clash[name] = (mine, there)
        if mine is not None:
            _checked(kind, mine, settings)
    if clash:
        names = ", ".join(clash)
        raise ChangedMeanwhile(
            f"{names} was changed elsewhere since you saw it",
            "take the other version, or make your change again on top of it",
            where=file,
            mine=[mine or {"id": name, "removed": True} for name, (mine, _) in clash.items()],
            theirs=[there or {"id": name, "removed": True} for name, (_, there) in clash.items()],
        )
    merged = [name for name in {**theirs, **then} if theirs.get(name) != then.get(name) and name not in wanted]
    after = {**theirs, **{name: mine for name, mine in wanted.items() if mine is not None}}
    kept = [after[name] for name in after if wanted.get(name, True) is not None]
    return Joined(collection_text(document, kept), merged)
