"""Write a file whole or not at all, and turn records into what JSON holds."""

from __future__ import annotations

import contextlib
import errno
import math
import os
import stat
import tempfile
import time
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from planner.errors import NotWritten

__all__ = ["LARGEST_BYTES", "plain", "plain_times", "read_bounded", "sole_writer", "write_whole"]

# A gauge's record of ten years in its agency's longest form has about 60 MB.
LARGEST_BYTES = 256_000_000


def read_bounded(path: Path | str, most: int = LARGEST_BYTES) -> bytes:
    """Content of an ordinary file of bounded size; a pipe is not waited for and a device is not read.

    Parameters
    ----------
    path : Path
        The file; a link is followed.
    most : int
        Largest size [bytes].

    Raises
    ------
    OSError
        Whose `strerror` can be shown: also when the path is no ordinary file or holds more.
    """
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0))
    with os.fdopen(handle, "rb") as stream:
        kind = os.fstat(stream.fileno()).st_mode
        if stat.S_ISDIR(kind):
            raise IsADirectoryError(errno.EISDIR, "it is a folder", str(path))
        if not stat.S_ISREG(kind):
            raise OSError(errno.EINVAL, "it is no ordinary file", str(path))
        raw = stream.read(most + 1) if os.fstat(stream.fileno()).st_size <= most else b""
        if len(raw) > most or os.fstat(stream.fileno()).st_size > most:
            raise OSError(errno.EFBIG, f"it holds more than {most // 1_000_000} MB", str(path))
        return raw


@contextlib.contextmanager
def sole_writer(folder: Path | str, patience_s: float = 10.0) -> Iterator[None]:
    """Keep other processes of this program from writing to a folder meanwhile.

    Without it two processes may both find a file as they read it and the second write over the first. The lock is on
    the folder itself and leaves nothing behind, also when the process is killed. Systems without ``flock`` go without.

    Parameters
    ----------
    folder : Path
        The river folder; one that is missing is left for the writer to say.
    patience_s : float
        How long to wait for another writer [s].

    Raises
    ------
    NotWritten
        When another process holds it for longer.
    """
    try:
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
    except (ImportError, OSError):
        yield
        return
    try:
        until = time.monotonic() + patience_s
        while True:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                if time.monotonic() > until:
                    raise NotWritten(
                        "another process has been writing to the folder all the while", "the folder to itself",
                        "wait until it ends and repeat your change", where=str(folder),
                    ) from None  # fmt: skip
                time.sleep(0.02)
            except OSError:  # a file system that knows no locks
                break
        yield
    finally:
        os.close(handle)


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


def plain(value: Any) -> Any:
    """Turn records, arrays and times into what JSON holds: unknown (NaN) becomes None, times ISO 8601 in UTC.

    Parameters
    ----------
    value : Any
        Numbers, text, None, datetimes, numpy scalars and arrays, mappings, sequences and frozen dataclasses, nested.

    Examples
    --------
    >>> plain({"depth_m": float("nan"), "at": (1.0, 2)})
    {'depth_m': None, 'at': [1.0, 2]}
    """
    kind = type(value)  # a plan has fifty thousand values, nearly all of these five kinds
    if kind is str or value is None:
        return value
    if kind is float:
        return value if math.isfinite(value) else None
    if kind is dict:
        return {key if type(key) is str else str(key): plain(item) for key, item in value.items()}
    if kind is list:
        return [plain(item) for item in value]
    if isinstance(value, bool | str | int):
        return str(value) if isinstance(value, str) else value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    if type(value).__module__ == "numpy":
        if value.dtype.kind == "M":
            return plain_times(value)
        return plain(value.tolist())
    return [plain(item) for item in value]


def plain_times(times: Any) -> Any:
    """ISO 8601 text in UTC for numpy times [datetime64, UTC]."""
    import numpy as np

    if np.ndim(times) == 0:
        return None if np.isnat(times) else f"{np.datetime_as_string(times, unit='s')}Z"
    return [plain_times(item) for item in times]
