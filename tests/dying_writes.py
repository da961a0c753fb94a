"""A process that writes a file again and again, each time in a child that dies at another point of the write.

    python -m tests.dying_writes FOLDER POINT...

Each point has its own folder in FOLDER, with ``soundings.csv`` in it. A line is printed for each: the point and the
signal that ended the child, 0 for none. The children are forked here and not by the tests' own process, which has
threads: what a thread holds at the fork stays held in the child.
"""

from __future__ import annotations

import os
import signal
import sys
import tempfile
from pathlib import Path

from planner.files import write_whole

__all__ = ["NEW", "main"]

NEW = "new" * 100_000


def _die_at(point: str) -> None:
    def die(*_: object, **__: object) -> None:
        os.kill(os.getpid(), signal.SIGKILL)

    if point == "mkstemp":
        tempfile.mkstemp = die  # type: ignore[assignment]
    elif point in ("write", "flush"):
        real = os.fdopen

        class Dying:
            def __init__(self, stream: object) -> None:
                self.stream = stream

            def __enter__(self) -> Dying:
                return self

            def __exit__(self, *_: object) -> None:
                pass

            def write(self, raw: bytes) -> None:
                self.stream.write(raw[: len(raw) // 2])
                self.stream.flush()
                if point == "write":
                    die()

            def flush(self) -> None:
                die()

        os.fdopen = lambda *words: Dying(real(*words))  # type: ignore[assignment]
    elif point != "end":
        setattr(os, point, die)


def main(folder: Path, points: list[str]) -> None:
    """Write once for each point."""
    for point in points:
        child = os.fork()
        if child == 0:
            try:
                _die_at(point)
                write_whole(folder / point / "soundings.csv", NEW)
            finally:
                os._exit(0)
        _, status = os.waitpid(child, 0)
        print(point, os.WTERMSIG(status) if os.WIFSIGNALED(status) else 0)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
