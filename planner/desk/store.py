"""The river folder under the desk: what stands on disk now, each edit saved whole, steps back and forward.

Nothing is overwritten in silence. A change that somebody else made since (another window, another desk, an editor) is
noted as a step of its own before an edit is laid over it; how the two are joined is the edit's own affair.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from planner.desk.history import Contents, History, hash_of, version_of
from planner.desk.lock import locked
from planner.errors import NotWritten, PlumbrunError
from planner.files import write_whole
from planner.river.reader import FILES

__all__ = ["ELSEWHERE", "Change", "ChangedMeanwhile", "Now", "Store"]

# No writer takes this long for one file [s]; what it left then is nobody's (design choice).
_LEFT_S = 60.0
ELSEWHERE = "Changed outside the desk"


class ChangedMeanwhile(PlumbrunError):
    """Somebody else changed the same thing; nothing was written. `mine` and `theirs` are the two versions of it."""

    def __init__(self, given: str, next_step: str, where: str = "", mine: Any = None, theirs: Any = None) -> None:
        super().__init__(given, "the folder as you saw it", next_step, where)
        self.mine, self.theirs = mine, theirs


@dataclass(frozen=True)
class Now:
    """The folder at this moment.

    Parameters
    ----------
    version : str
        Of all contents together.
    contents : dict of bytes
        By file name; a missing file is a missing key.
    back, forward : int
        Steps that can be gone.
    unwritable : str
        Why nothing can be saved; empty when it can.
    """

    version: str
    contents: Contents
    back: int
    forward: int
    unwritable: str = ""


Change = Callable[[Contents, Contents | None], dict[str, bytes | None]]


class Store:
    """A river folder, read and written under one lock.

    Parameters
    ----------
    folder : Path
        The river folder; must exist.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = Path(folder)
        self._threads = threading.RLock()
        self._held: dict[str, tuple[tuple[int, ...], bytes, str]] = {}

    def _read(self) -> tuple[Contents, dict[str, str]]:
        """Contents and hashes of the river's files; a file whose stamp did not change is not read again."""
        contents, hashes = {}, {}
        for name in FILES:
            path = self.folder / name
            try:
                if path.is_symlink() and not path.resolve().is_relative_to(self.folder.resolve()):
                    raise NotWritten(
                        f"{name} is a link that leads out of the folder", "a file inside it", "copy the file there",
                        where=name,
                    )  # fmt: skip
                stat = path.stat()
                stamp = (stat.st_mtime_ns, stat.st_ctime_ns, stat.st_size, stat.st_ino)
                held = self._held.get(name)
                if held is None or held[0] != stamp:
                    raw = path.read_bytes()
                    held = (stamp, raw, hash_of(raw))
                    self._held[name] = held
            except FileNotFoundError:
                continue
            except OSError as error:
                raise NotWritten(
                    f"{name} cannot be read ({error.strerror})", "a readable file", "check its rights", where=name
                ) from error
            contents[name], hashes[name] = held[1], held[2]
        return contents, hashes

    @contextlib.contextmanager
    def _open(self) -> Iterator[tuple[History, Contents, dict[str, str]]]:
        """The history in step with the disk, under the lock of threads and of processes."""
        with self._threads, locked(self.folder / ".desk"):
            history = History.read(self.folder)
            self._finish(history)
            contents, hashes = self._read()
            if history.at < 0 or history.steps[history.at].files != hashes:
                history.keep(contents)
                history.add(hashes, ELSEWHERE if history.steps else "As found")
            yield history, contents, hashes

    def now(self) -> Now:
        """The folder as it stands on disk; a folder that cannot be written to is still read."""
        try:
            with self._open() as (history, contents, hashes):
                return self._as_now(history, contents, hashes)
        except NotWritten as error:
            with self._threads:
                contents, hashes = self._read()
            return Now(version_of(hashes), contents, 0, 0, str(error))

    def version(self) -> str:
        """Version of the folder on disk, without a look at its history."""
        with self._threads:
            return version_of(self._read()[1])

    @staticmethod
    def _as_now(history: History, contents: Contents, hashes: dict[str, str]) -> Now:
        return Now(version_of(hashes), contents, history.at, len(history.steps) - 1 - history.at)

    def edit(self, base: str, said: str, change: Change) -> tuple[Now, Now]:
        """Lay one edit over the folder.

        Parameters
        ----------
        base : str
            Version that the edit was made on.
        said : str
            What was done, in a few words.
        change : callable
            Given the contents now and those of the base (None when they are no longer known), gives the new content
            of each file that changes, None to delete it. May raise `ChangedMeanwhile`; then nothing is written.

        Returns
        -------
        tuple of Now
            The folder before the edit and after it.

        Raises
        ------
        NotWritten
            A full disk or a folder that may not be written to; every file is then as it was.
        """
        with self._open() as (history, contents, hashes):
            before = self._as_now(history, contents, hashes)
            step = history.find(base)
            then = contents if base == before.version else history.contents(step) if step is not None else None
            wanted = {n: c for n, c in change(contents, then).items() if contents.get(n) != c}
            if not wanted:
                return before, before
            after = {name: c for name, c in {**contents, **wanted}.items() if c is not None}
            digests = history.keep({name: c for name, c in wanted.items() if c is not None})
            files = {name: digests.get(name) or hashes[name] for name in after}
            self._put(history, wanted, contents, digests)
            with contextlib.suppress(NotWritten):  # the files are saved: the next look notes the step
                history.add(files, said)
            self._sweep()
            self._forget_pending(history)
            return before, self._as_now(history, after, files)

    def step(self, by: int, base: str | None = None) -> Now:
        """Go back (-1) or forward (+1) one step.

        Raises
        ------
        ChangedMeanwhile
            When there is no such step, its contents are gone, or the folder is no longer the one of `base`.
        """
        with self._open() as (history, contents, hashes):
            now = self._as_now(history, contents, hashes)
            if base is not None and base != now.version:
                raise ChangedMeanwhile("the folder was changed elsewhere", "look at the change, then step again")
            to = history.at + by
            if not 0 <= to < len(history.steps):
                raise ChangedMeanwhile("there is no further step", "nothing is left to do here")
            target = history.contents(history.steps[to])
            if target is None:
                raise ChangedMeanwhile("what the files held then is no longer there", "go on from where you are")
            names = set(contents) | set(target)
            wanted = {name: target.get(name) for name in names if target.get(name) != contents.get(name)}
            self._put(history, wanted, contents, history.steps[to].files)
            with contextlib.suppress(NotWritten):
                history.stand(to)
            self._forget_pending(history)
            return self._as_now(history, target, history.steps[to].files)

    def _put(
        self, history: History, wanted: dict[str, bytes | None], contents: Contents, digests: dict[str, str]
    ) -> None:
        """Write files one after the other; several are announced first, so that a kill between them is made good."""
        if len(wanted) > 1:
            import orjson

            announced = {name: None if c is None else digests[name] for name, c in wanted.items()}
            was = {name: None if name not in contents else hash_of(contents[name]) for name in wanted}
            write_whole(history.home / "pending.json", orjson.dumps({"to": announced, "from": was}))
        done: list[str] = []
        try:
            for name, content in wanted.items():
                self._one(name, content)
                done.append(name)
        except NotWritten:
            for name in done:
                with contextlib.suppress(NotWritten):
                    self._one(name, contents.get(name))
            self._forget_pending(history)
            raise

    def _one(self, name: str, content: bytes | None) -> None:
        path = self.folder / name
        self._held.pop(name, None)
        if content is not None:
            write_whole(path, content)
            return
        try:
            path.unlink(missing_ok=True)
        except OSError as error:
            raise NotWritten(
                f"{name} could not be taken away ({error.strerror})", "a folder that may be written to",
                "change its rights", where=name,
            ) from error  # fmt: skip

    def _sweep(self) -> None:
        """Take away temporary files that a killed writer left; a young one may be a command's that is at work."""
        for name in FILES:
            for left in self.folder.glob(f".{name}.????????"):
                with contextlib.suppress(OSError):
                    if time.time() - left.stat().st_mtime > _LEFT_S:
                        left.unlink()

    @staticmethod
    def _forget_pending(history: History) -> None:
        with contextlib.suppress(OSError):
            (history.home / "pending.json").unlink(missing_ok=True)

    def _finish(self, history: History) -> None:
        """Finish an edit of several files that a kill cut short, unless somebody changed one of them since."""
        import orjson

        path = history.home / "pending.json"
        try:
            held = orjson.loads(path.read_bytes())
            to, was = dict(held["to"]), dict(held["from"])
        except FileNotFoundError:
            return
        except (OSError, ValueError, KeyError, TypeError):
            self._forget_pending(history)
            return
        _, hashes = self._read()
        theirs = any(name not in FILES or hashes.get(name) not in (to[name], was.get(name)) for name in to)
        if not theirs:
            for name, digest in to.items():
                if hashes.get(name) == digest:
                    continue
                content = None
                if digest is not None:
                    try:
                        content = (history.home / "contents" / digest).read_bytes()
                    except OSError:
                        continue
                self._one(name, content)
        self._forget_pending(history)
