"""Readings gathered before for many plans: the store that such a plan reads from, with the network left alone.

One process asks the services, each gauge once, and hands what it got to all that plan with it. A gauge that could not
be read is kept as the refusal that it gave, so that no plan asks again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from planner.errors import PlumbrunError, SourceUnreachable
from planner.gauges.series import Series
from planner.gauges.store import FRESH_S, Store

__all__ = ["Fetched", "GatheredStore", "NotingStore", "merged"]

Window = tuple[datetime, datetime]


@dataclass(frozen=True)
class Fetched:
    """What a gauge gave for a window: its series, or why there is none.

    Parameters
    ----------
    start, end : datetime
        The window asked for, aware.
    series : Series or None
        None when there is none.
    refusal : PlumbrunError or None
        Why.
    """

    start: datetime
    end: datetime
    series: Series | None
    refusal: PlumbrunError | None = None


class GatheredStore(Store):
    """Readings in memory in place of the disk; it keeps nothing more and whatever it lacks counts as asked in vain.

    Parameters
    ----------
    fetched : mapping
        Station to what it gave.
    documents : mapping
        Station and kind to the body of a reply.
    """

    def __init__(
        self, fetched: Mapping[str, tuple[Fetched, ...]], documents: Mapping[tuple[str, str], bytes] | None = None
    ) -> None:
        self.fetched = dict(fetched)
        self.documents = dict(documents or {})

    def keep(self, series: Series, start: datetime, end: datetime) -> tuple[str, ...]:
        """Nothing is kept."""
        return ()

    def load(self, station: str, start: datetime, end: datetime) -> Series | None:
        """Nothing stands in: what was stored before stood in when the gauge was read."""
        return None

    def fresh(self, station: str, start: datetime, end: datetime) -> Series | None:
        """The rows of a window.

        Raises
        ------
        PlumbrunError
            The refusal that the gauge gave, or `SourceUnreachable` when the window was not asked for.
        """
        for found in self.fetched.get(station, ()):
            if found.start <= start and found.end >= end - timedelta(seconds=FRESH_S):
                if found.series is None:
                    raise found.refusal or SourceUnreachable(f"{station} gave nothing", "a reading", "ask again later")
                return found.series.between(start, end)
        raise SourceUnreachable(
            f"{station} was not read from {start:%Y-%m-%d} to {end:%Y-%m-%d} with the other gauges",
            "a reading gathered before",
            "plan this river by itself",
        )

    def keep_document(self, station: str, kind: str, body: bytes) -> None:
        """Nothing is kept."""

    def document(self, station: str, kind: str) -> tuple[bytes, float] | None:
        """A gathered reply, as of this moment; an empty one where none was had, so that none is asked for."""
        return self.documents.get((station, kind), b""), 0.0

    def only(self, stations: list[str], links: list[str]) -> GatheredStore:
        """What one river needs of it, to be sent to where that river is planned."""
        named = {*stations, *links}
        return GatheredStore(
            {station: found for station, found in self.fetched.items() if station in named},
            {key: body for key, body in self.documents.items() if key[0] in named},
        )


class NotingStore(Store):
    """The store on disk that also remembers which documents went through it, so that a full disk loses none.

    Parameters
    ----------
    folder : Path, optional
        As of `Store`.
    """

    def __init__(self, folder: Path | None = None) -> None:
        super().__init__(folder)
        self.noted: dict[tuple[str, str], bytes] = {}

    def keep_document(self, station: str, kind: str, body: bytes) -> None:
        """Keep it on disk and here."""
        self.noted[station, kind] = body
        super().keep_document(station, kind, body)

    def document(self, station: str, kind: str) -> tuple[bytes, float] | None:
        """As on disk; what is found is noted."""
        found = super().document(station, kind)
        if found is not None:
            self.noted.setdefault((station, kind), found[0])
        return found


def merged(windows: list[Window]) -> list[Window]:
    """Windows that overlap or touch made one, ascending.

    Examples
    --------
    >>> from datetime import datetime, UTC
    >>> day = [datetime(2026, 6, n, tzinfo=UTC) for n in range(1, 9)]
    >>> [(a.day, b.day) for a, b in merged([(day[4], day[6]), (day[0], day[2]), (day[2], day[3])])]
    [(1, 4), (5, 7)]
    """
    out: list[Window] = []
    for start, end in sorted(windows):
        if out and start <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], end))
        else:
            out.append((start, end))
    return out
