"""Texts of river.toml and tackle.toml: comments, order and unknown keys stay."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from planner.river import settings, tackle
from planner.river.merge import same, update_table
from planner.river.records import River
from planner.river.values import Notebook

__all__ = ["settings_text", "tackle_text"]

_PLAIN = ("name", "timezone", "units", "gauges", "slope", "craft", "party", "authority")
_BED = ("bed", "n", "d84_mm")


def _settings_members(values: Mapping[str, Any]) -> dict[str, Any]:
    own = {key: values[key] for key in _PLAIN}
    bed = values["bed"]
    return own | {"bed": bed.get("class"), "n": bed.get("n"), "d84_mm": bed.get("d84_mm")} | values["extra"]


def _written_threshold(entry: Mapping[str, Any], given: Mapping[str, Any], default_gauge: str) -> dict[str, Any]:
    """A threshold as the file holds it: without the value in SI, and without what the reader filled in."""
    kept = {key: value for key, value in entry.items() if key != "at_si"}
    for key, default in (("side", "above"), ("gauge", default_gauge)):
        if key not in given and kept.get(key) == default:
            kept.pop(key, None)
    return kept


def _put(document: Any, key: str, array: Any) -> None:
    """An array of tables in its old place in the document, or at the end."""
    if not len(array):
        document.pop(key, None)
    elif key in document:
        document[key] = array
    else:
        document.append(key, array)


def settings_text(river: River) -> str:
    """Text of river.toml."""
    import tomlkit

    text = river.documents.get(settings.SETTINGS_FILE, "")
    document = tomlkit.parse(text)
    old = settings.parse_settings(text, Notebook()) if text.strip() else None
    before = _settings_members(old) if old else {}
    now = _settings_members({**{key: getattr(river, key) for key in (*_PLAIN, "bed")}, "extra": river.extra})
    changed = False
    if not all(same(now[key], before.get(key)) for key in _BED):
        changed = any(key in document for key in _BED)
        for key in _BED:
            document.pop(key, None)
        before = {key: value for key, value in before.items() if key not in _BED}
    elif old:
        now = {key: value for key, value in now.items() if key not in _BED}
        before = {key: value for key, value in before.items() if key not in _BED}
    changed |= update_table(document, now, before)
    if (old["thresholds"] if old else ()) != river.thresholds:
        changed = True
        raw = list(document.get("threshold", []))
        default_gauge = river.gauges[0] if river.gauges else ""
        array = tomlkit.aot()
        for number, entry in enumerate(river.thresholds):
            given = raw[number] if number < len(raw) else {}
            array.append(tomlkit.item(_written_threshold(entry, given, default_gauge)))
        _put(document, "threshold", array)
    return tomlkit.dumps(document) if changed else text


def _flat(entry: Any) -> dict[str, Any]:
    return {key: value for key, value in vars(entry).items() if key != "extra"} | entry.extra


def _leader(box: Any) -> dict[str, Any]:
    return {"length_m": box.leader_m, "diameter_mm": box.leader_diameter_mm, "material": box.leader_material}


def _tippet(box: Any) -> dict[str, Any]:
    return {"length_m": box.tippet_m, "x": box.tippet_x, "material": box.tippet_material}


def _all_same(one: Mapping[str, Any], two: Mapping[str, Any]) -> bool:
    return set(one) == set(two) and all(same(value, two[key]) for key, value in one.items())


def _updated(table: Any, now: Mapping[str, Any], before: Mapping[str, Any]) -> None:
    """Bring a table up to date, new keys right after its last one and not after the blank lines that follow it."""
    end = table.value.body if hasattr(table.value, "body") else []
    tail = []
    while end and end[-1][0] is None and not str(end[-1][1].as_string()).strip():
        tail.append(end.pop())
    update_table(table, now, before)
    table.value.body.extend(reversed(tail))


def tackle_text(river: River) -> str | None:
    """Text of tackle.toml; None where the generic tackle stands in."""
    import tomlkit

    text, box = river.documents.get(tackle.TACKLE_FILE), river.tackle
    if box.generic:
        return text
    bare = (text or "").removeprefix("\ufeff")
    document = tomlkit.parse(bare)
    old = tackle.parse_tackle(bare, Notebook()) if bare.strip() else None
    changed = False
    now: tuple[Any, ...]
    was: tuple[Any, ...]
    for key, now, was in (
        ("line", box.lines, old.lines if old else ()),
        ("fly", box.flies, old.flies if old else ()),
    ):
        members = {entry.name: _flat(entry) for entry in was}
        if [entry.name for entry in now] == list(members) and all(_all_same(_flat(e), members[e.name]) for e in now):
            continue
        changed = True
        raw = {str(entry.get("name")).strip(): entry for entry in document.get(key, [])}
        if [entry.name for entry in now] == list(raw) == list(members):
            for entry in now:  # in place: a rebuilt array would move blank lines and comments
                _updated(raw[entry.name], _flat(entry), members[entry.name])
            continue
        array = tomlkit.aot()
        for entry in now:
            table = raw.get(entry.name, tomlkit.table())
            update_table(table, _flat(entry), members.get(entry.name, {}) if entry.name in raw else {})
            array.append(table)
        _put(document, key, array)
    for key, members_of in (("leader", _leader), ("tippet", _tippet)):
        given, before = members_of(box), members_of(old) if old else {}
        if _all_same(given, before):
            continue
        changed = True
        if key not in document:
            document.append(key, tomlkit.table())
        if not same(given["length_m"], before.get("length_m")):
            document[key].pop("length_ft", None)  # type: ignore[union-attr]
        update_table(document[key], given, before)
    changed |= update_table(document, box.extra, old.extra if old else {})
    return tomlkit.dumps(document) if changed else text
