"""One writer at a time in a folder, across processes: the operating system drops the lock when its holder dies."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from planner.errors import NotWritten

__all__ = ["locked"]

# An edit takes milliseconds; whoever waits this long meets a writer that hangs (design choice).
LONGEST_WAIT_S = 5.0
_PAUSE_S = 0.01


def _try(handle: int) -> bool:
    try:
        if os.name == "nt":
            msvcrt: Any = __import__("msvcrt")
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


@contextlib.contextmanager
def locked(home: Path, longest_s: float = LONGEST_WAIT_S) -> Iterator[None]:
    """Hold the lock of a desk's folder.

    Parameters
    ----------
    home : Path
        The folder's ``.desk``; made when it is missing.
    longest_s : float
        How long to wait for another writer [s].

    Raises
    ------
    NotWritten
        When the folder cannot be written to, or another desk holds the lock all that time.
    """
    try:
        home.mkdir(exist_ok=True)
        handle = os.open(home / "lock", os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise NotWritten(
            f"the folder cannot be written to ({error.strerror})",
            "a river folder that may be written to and has room",
            "free room, or change the rights of the folder",
            where=str(home.parent),
        ) from error
    try:
        until = time.monotonic() + longest_s
        while not _try(handle):
            if time.monotonic() > until:
                raise NotWritten(
                    "another desk is writing to this folder and does not come to an end",
                    "one writer at a time",
                    "close the other desk and try again",
                    where=str(home.parent),
                )
            time.sleep(_PAUSE_S)
        yield
    finally:
        os.close(handle)  # closing gives the lock back
