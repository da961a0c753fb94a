"""What was weighed for earlier plans, by a hash of all that went into it.

Weighing a way of fishing at a level is a pure function: of the swims' nodes, the bed and the level, the spreads, the
draws and the seconds asked for. Most of it is the same tomorrow, when the gauge reads a little more: the ladder's steps
are round readings, so the same ones come again. What was weighed is therefore kept, one file for each spot's bed and
cast, beside the swim store. A key holds every input and a digest of the code; a file that is missing, cut short or of
another model is ignored and the weighing is done again. Nothing here can change an answer or stop a plan.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache
from pathlib import Path

import numpy as np

from planner.advice.store import SwimStore, model_digest
from planner.errors import NotWritten
from planner.files import write_whole

__all__ = ["Book", "Shelf", "code_digest", "hash_of", "page_key"]

_MOST_FILES = 1200
_NEWS = 0.15
_MOST_ENTRIES = 4000


@cache
def code_digest() -> bytes:
    """Digest of the swim model, of the code of the advice and of its table."""
    import planner.advice
    import planner.tables

    digest = hashlib.blake2b(model_digest().encode(), digest_size=16)
    for path in sorted(Path(str(planner.advice.__file__)).parent.glob("*.py")):
        digest.update(path.read_bytes())
    digest.update((Path(str(planner.tables.__file__)).parent / "advice.csv").read_bytes())
    return digest.digest()


def hash_of(*parts: bytes | float | int | str | np.ndarray) -> bytes:
    """Hash of bytes, words, numbers and arrays, each with its length, 16 bytes.

    Examples
    --------
    >>> hash_of("held", 0.45) == hash_of("held", 0.45), hash_of("a", "bc") == hash_of("ab", "c")
    (True, False)
    """
    digest = hashlib.blake2b(digest_size=16)
    for part in parts:
        if isinstance(part, np.ndarray):
            raw = f"{part.shape}{part.dtype}".encode() + np.ascontiguousarray(part).tobytes()
        elif isinstance(part, bytes):
            raw = part
        else:
            raw = repr(part).encode()
        digest.update(len(raw).to_bytes(4, "little"))
        digest.update(raw)
    return digest.digest()


def page_key(level: bytes, way: bytes, what: str) -> bytes:
    """Key of one weighing, 48 bytes: hashes of the level and the way, and what was asked in 16 letters at most."""
    return level + way + what.encode().ljust(16)


class Pages(Mapping[bytes, np.ndarray]):
    """Arrays by key as they stand in a file, one after the other; each is cut out when it is asked for.

    Parameters
    ----------
    keys : numpy.ndarray of uint8
        Shape (n, 48).
    rows, columns : numpy.ndarray of int
        Shape of each array, shape (n,); one column is no second axis.
    values : numpy.ndarray
        All numbers, in the order of the keys.

    Raises
    ------
    ValueError
        When the shapes do not add up to the numbers there are.
    """

    def __init__(self, keys: np.ndarray, rows: np.ndarray, columns: np.ndarray, values: np.ndarray) -> None:
        self._ends = np.concatenate([[0], np.cumsum(rows * columns)]).tolist()
        if not len(keys) == len(rows) == len(columns) or self._ends[-1] != len(values):
            raise ValueError("the shapes do not add up")
        raw, width = np.ascontiguousarray(keys).tobytes(), keys.shape[1]
        self._place = {raw[i * width : (i + 1) * width]: i for i in range(len(keys))}
        self._columns, self._values = columns.tolist(), values

    def __getitem__(self, key: bytes) -> np.ndarray:
        """The array of a key."""
        i = self._place[key]
        part = self._values[self._ends[i] : self._ends[i + 1]]
        return part.reshape(-1, self._columns[i]) if self._columns[i] != 1 else part

    def __contains__(self, key: object) -> bool:
        """Whether a key is known."""
        return key in self._place

    def __iter__(self) -> Iterator[bytes]:
        """The keys."""
        return iter(self._place)

    def __len__(self) -> int:
        """How many there are."""
        return len(self._place)


class Book:
    """Weights of one spot: arrays of float64 by key (see `page_key`).

    Parameters
    ----------
    pages : mapping, optional
        What is known already.
    """

    def __init__(self, pages: Mapping[bytes, np.ndarray] | None = None) -> None:
        self.pages: Mapping[bytes, np.ndarray] = {} if pages is None else pages
        self.used: dict[bytes, np.ndarray] = {}
        self.new = 0

    def take(self, keys: Sequence[bytes], make: Callable[[list[int]], Sequence[np.ndarray]]) -> list[np.ndarray]:
        """The array of each key; `make` gives those of the positions that are not known, in their order."""
        missing = [i for i, key in enumerate(keys) if key not in self.used and key not in self.pages]
        if missing:
            for i, made in zip(missing, make(missing), strict=True):
                self.used[keys[i]] = np.array(made, dtype=float)
            self.new += len(missing)
        found = []
        for key in keys:
            if key not in self.used:
                self.used[key] = self.pages[key]
            found.append(self.used[key])
        return found


class Shelf:
    """The books of all spots, read from and written to a folder.

    Parameters
    ----------
    store : SwimStore, optional
        Beside whose swims the books stand; None keeps nothing.
    """

    def __init__(self, store: SwimStore | None) -> None:
        self.folder = None if store is None else store.folder / "weighed"
        self.books: dict[bytes, Book] = {}

    def book(self, name: bytes) -> Book:
        """The book of a spot, as it was left."""
        if name not in self.books:
            self.books[name] = Book(self._read(name))
        return self.books[name]

    def save(self) -> None:
        """Write the books to which much was added; a folder that cannot be written to is no error.

        The level that is planned for is new each time and little beside the ladder: it alone does not pay for writing.
        """
        if self.folder is None:
            return
        with contextlib.suppress(OSError, NotWritten):
            for name, book in self.books.items():
                if book.new > _NEWS * len(book.used):
                    self.folder.mkdir(parents=True, exist_ok=True)
                    write_whole(self._path(name), _packed(book))
            _thin(self.folder)

    def _path(self, name: bytes) -> Path:
        assert self.folder is not None
        return self.folder / f"{name.hex()}.npz"

    def _read(self, name: bytes) -> Mapping[bytes, np.ndarray]:
        if self.folder is None:
            return {}
        try:
            with np.load(io.BytesIO(self._path(name).read_bytes()), allow_pickle=False) as held:
                if bytes(held["model"]) != code_digest():
                    return {}
                keys, rows, columns, values = held["keys"], held["rows"], held["columns"], held["values"]
                if bytes(held["check"]) != hash_of(keys, rows, columns, values):
                    return {}
                return Pages(keys, rows, columns, values)
        except Exception:  # a broken file of any kind is the same as none
            return {}


def _packed(book: Book) -> bytes:
    """A book as bytes: what this plan used first, then what earlier ones did, so far as there is room."""
    older = {key: page for key, page in book.pages.items() if key not in book.used}
    kept = dict(list({**book.used, **older}.items())[:_MOST_ENTRIES])
    keys = np.array([np.frombuffer(key, np.uint8) for key in kept])
    rows = np.array([page.shape[0] for page in kept.values()])
    columns = np.array([page.shape[1] if page.ndim > 1 else 1 for page in kept.values()])
    values = np.concatenate([page.ravel() for page in kept.values()])
    model = np.frombuffer(code_digest(), np.uint8)
    check = np.frombuffer(hash_of(keys, rows, columns, values), np.uint8)
    stream = io.BytesIO()
    np.savez(stream, model=model, keys=keys, rows=rows, columns=columns, values=values, check=check)
    return stream.getvalue()


def _thin(folder: Path) -> None:
    """Remove the books longest untouched beyond a number: spots that were moved leave theirs behind."""
    books = sorted(folder.glob("*.npz"), key=lambda path: path.stat().st_mtime)
    for path in books[: max(len(books) - _MOST_FILES, 0)]:
        path.unlink(missing_ok=True)
