"""The folder's past on disk: which contents its files had, step by step, to go back and forward in.

It stands in ``.desk/`` beside the files: each content once, under its hash, and ``history.json`` with the steps. Losing
it loses the steps, never a file of the river.
"""

from __future__ import annotations

import contextlib
import hashlib
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from planner.errors import NotWritten
from planner.files import write_whole

__all__ = ["FOLDER", "MOST_BYTES", "MOST_STEPS", "History", "Step", "hash_of", "version_of"]

FOLDER = ".desk"
# Bounds of what is kept (design choice): an evening's edits many times over, and no more disk than a few photos.
MOST_STEPS = 200
MOST_BYTES = 64_000_000

Contents = dict[str, bytes]


def hash_of(content: bytes) -> str:
    """Name of a content."""
    return hashlib.blake2b(content, digest_size=16).hexdigest()


def version_of(contents: dict[str, str]) -> str:
    """Version of a folder from the hashes of its files, by file name."""
    joined = "\n".join(f"{name} {contents[name]}" for name in sorted(contents))
    return hashlib.blake2b(joined.encode(), digest_size=12).hexdigest()


@dataclass(frozen=True)
class Step:
    """The folder at one moment: hashes of its files, and what was done to come there."""

    version: str
    files: dict[str, str]
    said: str
    when: str


@dataclass
class History:
    """Steps of a folder, and where it stands among them.

    Parameters
    ----------
    home : Path
        The folder's ``.desk``.
    steps : list of Step
        Oldest first.
    at : int
        Index of the present one; -1 when there is none yet.
    """

    home: Path
    steps: list[Step] = field(default_factory=list)
    at: int = -1

    @classmethod
    def read(cls, folder: Path) -> History:
        """The history of a river folder; one that is missing or broken begins anew."""
        import orjson

        home = folder / FOLDER
        try:
            held: Any = orjson.loads((home / "history.json").read_bytes())
            steps = [Step(**step) for step in held["steps"]]
            at = int(held["at"])
        except (OSError, ValueError, KeyError, TypeError):
            return cls(home)
        return cls(home, steps, at) if -1 <= at < len(steps) else cls(home)

    def _write(self) -> None:
        import orjson

        record = {"at": self.at, "steps": [vars(step) for step in self.steps]}
        write_whole(self.home / "history.json", orjson.dumps(record))

    def _prepare(self) -> None:
        try:
            (self.home / "contents").mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise NotWritten(
                f"the desk's folder could not be made ({error.strerror})",
                "a river folder that may be written to and has room",
                "free room, or change the rights of the folder",
                where=str(self.home),
            ) from error
        ignore = self.home / ".gitignore"
        if not ignore.exists():
            write_whole(ignore, "*\n")

    def keep(self, contents: Contents) -> dict[str, str]:
        """Put contents on disk and give the hash of each; those that are there already are not written again."""
        self._prepare()
        hashes = {}
        for name, content in contents.items():
            hashes[name] = hash_of(content)
            path = self.home / "contents" / hashes[name]
            if not path.exists():
                write_whole(path, content)
        return hashes

    def add(self, files: dict[str, str], said: str) -> Step:
        """Note the folder's present state; what lay forward of the old one is dropped."""
        step = Step(version_of(files), files, said, datetime.now(UTC).isoformat(timespec="seconds"))
        self.steps = [*self.steps[: self.at + 1], step]
        self.at = len(self.steps) - 1
        self._trim()
        self._write()
        self._sweep()
        return step

    def stand(self, at: int) -> None:
        """Note that the folder stands at another step now."""
        self.at = at
        self._write()

    def find(self, version: str) -> Step | None:
        """The latest step of a version; None when it was never or is no longer kept."""
        return next((step for step in reversed(self.steps) if step.version == version), None)

    def contents(self, step: Step) -> Contents | None:
        """What the files held at a step; None when any of it is gone or damaged."""
        held = {}
        for name, digest in step.files.items():
            try:
                held[name] = (self.home / "contents" / digest).read_bytes()
            except OSError:
                return None
            if hash_of(held[name]) != digest:
                return None
        return held

    def _sizes(self) -> dict[str, int]:
        sizes = {}
        with contextlib.suppress(OSError):
            sizes = {path.name: path.stat().st_size for path in (self.home / "contents").iterdir()}
        return sizes

    def _trim(self) -> None:
        """Drop the oldest steps beyond the bounds; the present one always stays."""
        sizes = self._sizes()
        keep_from = max(len(self.steps) - MOST_STEPS, 0)
        seen: set[str] = set()
        total = 0
        for index in range(len(self.steps) - 1, keep_from - 1, -1):
            new = set(self.steps[index].files.values()) - seen
            seen |= new
            total += sum(sizes.get(digest, 0) for digest in new)
            if total > MOST_BYTES and index != len(self.steps) - 1:
                keep_from = index + 1
                break
        self.steps = self.steps[keep_from:]
        self.at = len(self.steps) - 1

    def _sweep(self) -> None:
        """Delete contents that no step names, and temporary files of a writer that was killed."""
        named = {digest for step in self.steps for digest in step.files.values()}
        for name in self._sizes():
            if name not in named:
                with contextlib.suppress(OSError):
                    (self.home / "contents" / name).unlink()
