"""Write a file whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from planner.errors import NotWritten

__all__ = ["write_whole"]


def write_whole(path: Path, content: str | bytes) -> None:
    """Write `content` so that a reader sees the old file or the new one, never a half.

    A temporary file in the same folder is written, flushed to the disk and renamed over `path`.

    Parameters
    ----------
    path : Path
        The file to write; its folder must exist.
    content : str or bytes
        Text is written as UTF-8 with line feeds as they are.

    Raises
    ------
    NotWritten
        When the folder is missing, read-only or full; `path` is then as it was.
    """
    path = Path(path)
    raw = content.encode("utf-8") if isinstance(content, str) else content
    temporary = None
    try:
        handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(raw)
            stream.flush()
            os.fsync(stream.fileno())
        mode = path.stat().st_mode & 0o777 if path.exists() else 0o644
        os.chmod(temporary, mode)
        os.replace(temporary, path)
    except OSError as error:
        if temporary is not None:
            with contextlib.suppress(OSError):
                os.unlink(temporary)
        raise NotWritten(
            f"the file could not be written ({error.strerror})",
            "a folder that exists, may be written to and has room",
            "free room or choose another folder",
            where=str(path),
        ) from error
