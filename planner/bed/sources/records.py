"""What a file of soundings held, before any of it is judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

__all__ = ["Batch", "Drop", "batch", "joined"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Drop:
    """Why some records were not taken.

    Parameters
    ----------
    reason : str
        For a reader.
    count : int
        How many.
    first : str
        Where the first of them stands, such as ``line 12``.
    """

    reason: str
    count: int
    first: str


@dataclass(frozen=True, eq=False)
class Batch:
    """Soundings of one file, in its order.

    Parameters
    ----------
    file, kind : str
        The file's name and what it was read as.
    lon, lat : numpy.ndarray, shape (k,)
        Position [degrees].
    depth_m : numpy.ndarray, shape (k,)
        Depth as measured, below the transducer where `draft_m` is not 0 [m].
    taken_at : numpy.ndarray of datetime64[ms], shape (k,)
        Moment, UTC; NaT unknown.
    stage_m, draft_m : numpy.ndarray, shape (k,)
        Stage noted with the sounding, NaN unknown; transducer below the surface [m].
    method, note : numpy.ndarray of object, shape (k,)
        Text of the file, or what the kind of file implies.
    where : numpy.ndarray of int, shape (k,)
        Line or record number in the file.
    unit : str
        What `where` counts: ``line`` or ``point``.
    extra : dict
        Further columns as text by name, shape (k,) each.
    seen : int
        Records found, dropped ones counted.
    drops : tuple of Drop
        What was not taken.
    notes : tuple of str
        What was assumed.
    """

    file: str
    kind: str
    lon: Floats
    lat: Floats
    depth_m: Floats
    taken_at: npt.NDArray[np.datetime64]
    stage_m: Floats
    draft_m: Floats
    method: npt.NDArray[np.object_]
    note: npt.NDArray[np.object_]
    where: npt.NDArray[np.int64]
    unit: str = "line"
    extra: dict[str, npt.NDArray[np.object_]] = field(default_factory=dict)
    seen: int = 0
    drops: tuple[Drop, ...] = ()
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.lon)

    def place(self, position: int) -> str:
        """Where a record stands in the file."""
        return f"{self.unit} {int(self.where[position])}"

    def without(self, bad: npt.NDArray[np.bool_], reason: str) -> Batch:
        """The batch less those of a mask, which are counted under a reason."""
        if not bad.any():
            return self
        drop = Drop(reason, int(bad.sum()), self.place(int(np.argmax(bad))))
        return replace(self.only(~bad), drops=(*self.drops, drop))

    def only(self, keep: npt.NDArray[np.bool_]) -> Batch:
        """Those of a mask."""
        names = ("lon", "lat", "depth_m", "taken_at", "stage_m", "draft_m", "method", "note", "where")
        taken: dict[str, Any] = {name: getattr(self, name)[keep] for name in names}
        return replace(self, **taken, extra={name: values[keep] for name, values in self.extra.items()})

    def noting(self, *notes: str) -> Batch:
        """The batch with more said about it."""
        return replace(self, notes=(*self.notes, *(note for note in notes if note)))


def batch(file: str, kind: str, lon: Any, lat: Any, depth_m: Any, **columns: Any) -> Batch:
    """A batch with what the file does not give filled in; arguments as in `Batch`."""
    count = len(lon)

    def floats(values: Any, unknown: float) -> Floats:
        return np.full(count, unknown) if values is None else np.asarray(values, dtype=np.float64)

    def texts(values: Any) -> npt.NDArray[np.object_]:
        filled = np.empty(count, dtype=object)
        filled[:] = "" if values is None else values
        return filled

    taken = columns.pop("taken_at", None)
    where = columns.pop("where", None)
    return Batch(
        file=file,
        kind=kind,
        lon=floats(lon, np.nan),
        lat=floats(lat, np.nan),
        depth_m=floats(depth_m, np.nan),
        taken_at=np.full(count, np.datetime64("NaT", "ms")) if taken is None else np.asarray(taken, "datetime64[ms]"),
        stage_m=floats(columns.pop("stage_m", None), np.nan),
        draft_m=floats(columns.pop("draft_m", None), 0.0),
        method=texts(columns.pop("method", None)),
        note=texts(columns.pop("note", None)),
        where=np.arange(1, count + 1) if where is None else np.asarray(where, dtype=np.int64),
        extra={name: texts(values) for name, values in columns.pop("extra", {}).items()},
        **{"seen": count, **columns},
    )


def joined(reasons: Sequence[tuple[str, str]]) -> tuple[Drop, ...]:
    """Drops from (reason, where) of each record not taken, in the order of their first."""
    first: dict[str, str] = {}
    count: dict[str, int] = {}
    for reason, where in reasons:
        first.setdefault(reason, where)
        count[reason] = count.get(reason, 0) + 1
    return tuple(Drop(reason, count[reason], first[reason]) for reason in first)
