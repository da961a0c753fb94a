"""Edits of river.toml and tackle.toml: members joined one by one with what stands there; comments and the rest stay."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from planner.desk.store import ChangedMeanwhile
from planner.errors import DataUnfit, UsageMistake

__all__ = ["Members", "join_entries", "join_members", "members_of", "opened"]

Members = dict[str, Any]


def opened(raw: bytes | None, file: str) -> Any:
    """The document of a TOML file, as tomlkit holds it; empty where there is none.

    Raises
    ------
    DataUnfit
        When it cannot be read: then it is mended by hand, not by us.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        return tomlkit.parse((raw or b"").decode("utf-8").removeprefix("\ufeff"))
    except (TOMLKitError, ValueError, RecursionError) as error:
        raise DataUnfit(
            f"{file} cannot be read ({error})", "TOML 1.0", "mend it in an editor, or step back", where=file
        ) from error


def members_of(raw: bytes | None, file: str) -> Members:
    """Its members as plain values; empty where it cannot be read."""
    try:
        return dict(opened(raw, file).unwrap())
    except DataUnfit:
        return {}


def _clash(name: str, file: str, mine: Any, theirs: Any) -> ChangedMeanwhile:
    return ChangedMeanwhile(
        f"{name} was changed elsewhere since you saw it", "take the other value, or set yours again", where=file,
        mine={name: mine}, theirs={name: theirs},
    )  # fmt: skip


def join_members(document: Any, base: Mapping[str, Any], put: Mapping[str, Any], file: str) -> None:
    """Set members of a document in place; null takes one away, a table is joined member by member.

    Parameters
    ----------
    document : tomlkit document or table
        As it stands on disk.
    base : mapping
        Members as the editor saw them.
    put : mapping
        What the editor sets.
    file : str
        For messages.

    Raises
    ------
    ChangedMeanwhile
        When a member was changed on both sides.
    """
    for key, value in put.items():
        if not isinstance(key, str) or not key or len(key) > 60:
            raise UsageMistake(f"member {str(key)[:60]!r}", "a short name", "correct it", where=file)
        there = document.get(key)
        plain = there.unwrap() if hasattr(there, "unwrap") else there
        if isinstance(value, Mapping) and isinstance(plain, Mapping):
            then = base.get(key)
            join_members(there, then if isinstance(then, Mapping) else {}, value, file)
            continue
        if plain == value:
            continue
        if plain != base.get(key):
            raise _clash(key, file, value, plain)
        if value is None:
            document.pop(key, None)
        else:
            document[key] = _bare(value)


def _bare(value: Any) -> Any:
    """A value as TOML can hold it: without nulls inside."""
    if isinstance(value, Mapping):
        return {str(key): _bare(one) for key, one in value.items() if one is not None}
    if isinstance(value, list):
        return [_bare(one) for one in value if one is not None]
    if isinstance(value, str | int | float | bool):
        return value
    raise UsageMistake(f"a value of kind {type(value).__name__}", "text, numbers, lists and tables", "correct it")


def join_entries(
    document: Any, key: str, base: Sequence[Mapping[str, Any]], put: Any, file: str, name: str = "name"
) -> None:
    """Set an array of tables in place, entry by entry under their names; an entry that is not named goes.

    Each entry of `put` is laid over the one of its name (or of the name in its ``was``, when it was renamed): a member
    that it does not give stays, null takes it away. Where `name` is empty the whole array is one member.

    Raises
    ------
    ChangedMeanwhile
        When an entry was changed on both sides.
    """
    import tomlkit

    if not isinstance(put, list) or not all(isinstance(entry, dict) for entry in put):
        raise UsageMistake(f"{key}", f"a list of {key} entries", "send it so", where=file)
    there = list(document.get(key, []))
    now = [dict(entry.unwrap()) for entry in there]
    if not name:
        if now != list(base) and now != put:
            raise _clash(key, file, put, now)
        array = tomlkit.aot()
        for entry in put:
            same = next((raw for raw, plain in zip(there, now, strict=True) if plain == entry), None)
            array.append(same if same is not None else tomlkit.item(_bare(entry)))
    else:
        raw = {str(entry.get(name)): entry for entry in there}
        plain = {str(entry.get(name)): entry for entry in now}
        then = {str(entry.get(name)): dict(entry) for entry in base}
        wanted = [str(entry.get("was") or entry.get(name) or "") for entry in put]
        if not all(str(entry.get(name) or "").strip() for entry in put):
            raise UsageMistake(f"a {key} without a {name}", f"each {key} by its own name", "name it", where=file)
        array = tomlkit.aot()
        for entry, old in zip(put, wanted, strict=True):
            own = {member: value for member, value in entry.items() if member != "was"}
            laid = {**then.get(old, {}), **own}
            mine = {member: value for member, value in laid.items() if value is not None}
            if old in then and mine == then[old]:  # not touched here: whatever stands there, or no longer does, holds
                if old in raw:
                    array.append(raw[old])
                continue
            if plain.get(old) not in (then.get(old), mine):
                raise _clash(old, file, mine, plain.get(old))
            table = raw.get(old, tomlkit.table())
            for member, value in own.items():
                if value is None:
                    table.pop(member, None)
                elif table.get(member) != value:
                    table[member] = _bare(value)
            array.append(table)
        for old, theirs in plain.items():
            if old not in wanted and theirs != then.get(old):
                if old not in then:  # somebody else added it: it stays
                    array.append(raw[old])
                else:
                    raise _clash(old, file, None, theirs)
    if not len(array):
        document.pop(key, None)
    elif key in document:
        document[key] = array
    else:
        document.append(key, array)
