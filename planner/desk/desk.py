"""One desk: the folder on it, and what each request of the page does with it."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from planner.desk import features, reply
from planner.desk.rivers import Read, read_contents, settings_given
from planner.desk.store import Now, Store
from planner.errors import UsageMistake

__all__ = ["Clock", "Desk"]


@dataclass(frozen=True)
class Clock:
    """What stands in for the network and the clock.

    Parameters
    ----------
    replies : tuple of Path
        Recorded gauge replies read in place of the network.
    now : str or None
        ISO 8601; None is the clock.
    """

    replies: tuple[Path, ...] = ()
    now: str | None = None


class Desk:
    """A river folder with everything that is kept in memory for it.

    Parameters
    ----------
    folder : Path or None
        The river folder; None until it is made.
    clock : Clock
        Recorded replies and the moment called now.
    parent : Path
        Where a new folder is made.
    """

    def __init__(self, folder: Path | None, clock: Clock | None = None, parent: Path | None = None) -> None:
        self.clock = clock or Clock()
        self.parent = Path(parent) if parent is not None else Path.cwd()
        self._store: Store | None = None
        self._folder: Path | None = None
        self._reading = threading.Lock()
        self._read: tuple[str, Read] | None = None
        if folder is not None:
            self.lay(Path(folder))

    def lay(self, folder: Path) -> None:
        """Lay a folder on the desk."""
        self._folder, self._store, self._read = folder, Store(folder), None

    @property
    def started(self) -> bool:
        """Whether a folder lies on the desk."""
        return self._folder is not None

    @property
    def folder(self) -> Path:
        """The river folder."""
        if self._folder is None:
            raise UsageMistake("there is no river folder yet", "a river folder", "answer the five questions first")
        return self._folder

    @property
    def store(self) -> Store:
        """Its files."""
        if self._store is None:
            raise UsageMistake("there is no river folder yet", "a river folder", "answer the five questions first")
        return self._store

    def read(self, now: Now) -> Read:
        """The river of the folder as it stands, parsed once per version."""
        with self._reading:
            if self._read is None or self._read[0] != now.version:
                self._read = (now.version, read_contents(now.contents, self.folder))
            return self._read[1]

    def river(self) -> dict[str, Any]:
        """Everything that the page shows of the folder."""
        return self.body(self.store.now())

    def body(self, now: Now) -> dict[str, Any]:
        """The same, for a state at hand."""
        return reply.river_body(self.folder.name, now, self.read(now))

    def shapes(self, kind: str, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Add, change and remove features of one file."""
        put, remove = asked.get("set", []), asked.get("remove", [])
        if not isinstance(put, list) or not isinstance(remove, list) or not all(isinstance(i, str) for i in remove):
            raise UsageMistake("the edit", "set: a list of features, remove: a list of ids", "send it so", where=kind)
        file = features.KINDS[kind]
        merged: list[str] = []
        given = settings_given(self.read(self.store.now()).river)

        def change(now: dict[str, bytes], base: dict[str, bytes] | None) -> dict[str, bytes | None]:
            then = (base or {}).get(file)
            joined = features.join(kind, now.get(file), then, base is not None, put, remove, given)
            merged.extend(joined.merged)
            return {file: joined.text.encode()}

        _, after = self.store.edit(version_in(asked), said_in(asked, f"Changed {kind}"), change)
        return self.saved(after) | {"merged": merged}

    def saved(self, now: Now) -> dict[str, Any]:
        """What every write answers."""
        return {
            "version": now.version,
            "findings": reply.findings_of(self.read(now), now),
            "history": reply.history_of(now),
        }

    def step(self, by: int, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Go back or forward in the history."""
        base = asked.get("version")
        return self.body(self.store.step(by, base if isinstance(base, str) else None))


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
