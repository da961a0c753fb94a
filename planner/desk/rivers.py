"""The river of the contents on disk, parsed again only where a file changed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.desk.history import Contents
from planner.river import Finding, River
from planner.river.depths import SOUNDINGS_FILE, parse_soundings
from planner.river.reader import FILES, parse_river
from planner.river.settings import SETTINGS_FILE
from planner.river.values import Notebook

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Read", "Sounded", "read_contents", "settings_given"]


@dataclass(frozen=True)
class Read:
    """A river as read, whether it is whole or not.

    Parameters
    ----------
    river : River or None
        None when river.toml cannot be taken; features that break a rule are left out of it.
    findings : tuple of Finding
        Errors first.
    settings : dict
        Members of river.toml as they stand there.
    """

    river: River | None
    findings: tuple[Finding, ...]
    settings: dict[str, Any]


class Sounded:
    """The soundings as parsed last: thousands of rows that most edits do not touch."""

    def __init__(self) -> None:
        self._held: tuple[str, pd.DataFrame, list[Finding]] | None = None

    def table(self, text: str) -> tuple[pd.DataFrame, list[Finding]]:
        """Table of a text of soundings.csv, and what its reader found."""
        held = self._held
        if held is None or held[0] != text:
            notes = Notebook()
            held = (text, parse_soundings(text, notes), notes.all())
            self._held = held
        return held[1], held[2]


def read_contents(contents: Contents, folder: Path, sounded: Sounded | None = None) -> Read:
    """Parse the contents of a folder's files; of the soundings only when they changed since `sounded` saw them."""
    notes = Notebook()
    texts = {}
    for name, (level, lost, step) in FILES.items():
        if name not in contents:
            notes.add(level, name, "", "the file is missing", lost, step)
            continue
        try:
            texts[name] = contents[name].decode("utf-8")
        except UnicodeDecodeError:
            notes.add("error", name, "", "the file is not UTF-8", "a UTF-8 text file", "save it again as UTF-8")
    if SETTINGS_FILE in texts:
        texts[SETTINGS_FILE] = texts[SETTINGS_FILE].removeprefix("\ufeff")
    table = None
    if sounded is not None and SOUNDINGS_FILE in texts:
        table, found = sounded.table(texts[SOUNDINGS_FILE])
        notes.findings.extend(found)
    river = parse_river(texts, folder, notes, table)
    findings = tuple(notes.all())
    if river is not None:
        river = replace(river, findings=findings)
    return Read(river, findings, _plain_settings(texts.get(SETTINGS_FILE, "")))


def _plain_settings(text: str) -> dict[str, Any]:
    import tomllib

    from planner.files import plain

    try:
        return dict(plain(tomllib.loads(text)))
    except (tomllib.TOMLDecodeError, ValueError, RecursionError, TypeError):
        return {}


def settings_given(river: River | None) -> dict[str, Any]:
    """What the shapes inherit from river.toml."""
    if river is None:
        return {"gauges": (), "slope": float("nan"), "bed": {}}
    return {"gauges": river.gauges, "slope": river.slope, "bed": river.bed}
