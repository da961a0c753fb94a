"""The swim store: solved swims on disk, one file per canonical geometry, found again by a hash of all inputs.

A key holds everything that a swim depends on: line, fly, cast, current, numerics, and a digest of the code and the
tables of the swim model, so that a changed model never meets an old swim. A file that is missing, cut short or
written by another layout is ignored and its swims are solved again; nothing here can stop a plan.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
from dataclasses import astuple, dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from planner.cache import cache_folder
from planner.errors import NotWritten
from planner.files import sole_writer, write_whole

__all__ = ["FIELDS", "Block", "SwimStore", "key_of", "model_digest", "packed", "unpacked"]

FIELDS = ("depth", "x", "y", "low_depth", "low_x", "low_y")
_UNIT_M = np.array([0.001, 0.01, 0.01, 0.001, 0.01, 0.01])  # millimetres of depth and centimetres of place suffice
_LAYOUT = 4
_MOST_ENTRIES = 6000


@dataclass(frozen=True)
class Block:
    """Tracks of n swims.

    Parameters
    ----------
    count : numpy.ndarray of int16
        Tracks in the countdown, shape (n, 6, Tc), fields as in `FIELDS`, in the units of the store (see `packed`).
    retrieve : numpy.ndarray of int16
        Tracks in the retrieve, sampled at equal shares of its duration, shape (n, 6, C, S), likewise.
    duration : numpy.ndarray
        Duration of the retrieve after each countdown, shape (n, C) [s].
    taut : numpy.ndarray
        Share of that duration after which the line is tight, shape (n, C) [1].
    """

    count: np.ndarray
    retrieve: np.ndarray
    duration: np.ndarray
    taut: np.ndarray


@cache
def model_digest() -> str:
    """Digest of the code and the tables of the swim model."""
    import planner.sink
    import planner.tables

    digest = hashlib.blake2b(f"layout {_LAYOUT}".encode(), digest_size=16)
    for package, pattern in ((planner.sink, "*.py"), (planner.tables, "*.csv")):
        for path in sorted(Path(str(package.__file__)).parent.glob(pattern)):
            if path.name not in ("references.csv", "advice.csv"):
                digest.update(path.read_bytes())
    return digest.hexdigest()


def key_of(*parts: Any) -> str:
    """Hash of dataclasses, numbers and words that a swim depends on; names of tackle are left out by the caller."""
    digest = hashlib.blake2b(digest_size=16)
    for part in parts:
        plain = astuple(part) if hasattr(part, "__dataclass_fields__") else part
        digest.update(repr(plain).encode())
        digest.update(b"|")
    return digest.hexdigest()


class SwimStore:
    """Swims by key, kept per canonical geometry.

    Parameters
    ----------
    folder : Path, optional
        Where the files are; ``swims`` in the cache folder when not given.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = cache_folder() / "swims" if folder is None else Path(folder)

    def _path(self, geometry: str) -> Path:
        return self.folder / f"{geometry}.npz"

    def read(self, geometry: str) -> tuple[dict[str, int], Block] | None:
        """Index by key and the block of a geometry; None when there is none that can be used."""
        try:
            raw = self._path(geometry).read_bytes()
            with np.load(io.BytesIO(raw), allow_pickle=False) as held:
                if str(held["model"]) != model_digest():
                    return None
                block = Block(held["count"], held["retrieve"], held["duration"], held["taut"])
                keys = held["keys"].tolist()
                check = str(held["check"])
                sums = _check_sum(block.count, block.retrieve, block.duration, keys)
        except Exception:  # a broken file of any kind is the same as none
            return None
        n = len(keys)
        whole = all(len(part) == n for part in (block.count, block.retrieve, block.duration, block.taut))
        if not whole or check != sums or not np.isfinite(block.duration).all():
            return None
        return {key: i for i, key in enumerate(keys)}, block

    def write(self, geometry: str, index: dict[str, int], block: Block) -> None:
        """Write a geometry's swims whole, beside those that another process wrote meanwhile.

        A folder that cannot be written to is no error, nor is another writer that holds it all the while.
        """
        with contextlib.suppress(OSError, NotWritten):
            self.folder.mkdir(parents=True, exist_ok=True)
            with sole_writer(self.folder):
                theirs = self.read(geometry)
                write_whole(self._path(geometry), _as_file(*_merged(index, block, theirs)))


def _merged(
    index: dict[str, int], block: Block, theirs: tuple[dict[str, int], Block] | None
) -> tuple[list[str], Block]:
    """Keys and swims of both, the others' first, each key once; of too many the last are kept."""
    keys = sorted(index, key=index.__getitem__)[-_MOST_ENTRIES:]
    take = [index[key] for key in keys]
    ours = [part[take] for part in _parts(block)]
    if theirs is None or any(a.shape[1:] != b.shape[1:] for a, b in zip(ours, _parts(theirs[1]), strict=True)):
        return keys, Block(*ours)
    more = [key for key in theirs[0] if key not in index]
    more = more[max(len(more) + len(keys) - _MOST_ENTRIES, 0) :]
    first = [theirs[0][key] for key in more]
    both = [np.concatenate([b[first], a]) for a, b in zip(ours, _parts(theirs[1]), strict=True)] if more else ours
    return more + keys, Block(*both)


def _parts(block: Block) -> list[np.ndarray]:
    return [block.count, block.retrieve, block.duration, block.taut]


def _as_file(keys: list[str], block: Block) -> bytes:
    stream = io.BytesIO()
    np.savez(
        stream,
        model=model_digest(),
        keys=np.array(keys),
        count=block.count,
        retrieve=block.retrieve,
        duration=block.duration,
        taut=block.taut,
        check=_check_sum(block.count, block.retrieve, block.duration, keys),
    )
    return stream.getvalue()


def packed(tracks: np.ndarray) -> np.ndarray:
    """Tracks [m], shape (n, 6, ...), in the units of the store: depths in millimetres, places in centimetres."""
    unit = _UNIT_M.reshape(-1, *[1] * (tracks.ndim - 2))
    return np.clip(np.round(tracks / unit), -32767, 32767).astype(np.int16)


def unpacked(tracks: np.ndarray) -> np.ndarray:
    """Tracks of one swim in the units of the store, shape (6, ...), in metres."""
    return tracks * _UNIT_M.reshape(-1, *[1] * (tracks.ndim - 1))


def _check_sum(count: np.ndarray, retrieve: np.ndarray, duration: np.ndarray, keys: list[str]) -> str:
    digest = hashlib.blake2b(digest_size=16)
    for part in (count, retrieve, duration):
        digest.update(np.ascontiguousarray(part).tobytes())
    digest.update("".join(keys).encode())
    return digest.hexdigest()
