"""The services, and the one door to them: `open_series`.

A new service is one module of this package, named as the service, with `SERVICE`, `get`, `read` and `parse`, and one
line in `planner.services`.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np

from planner.errors import GaugeReplyUnfit, SourceUnreachable, StationUnknown, UsageMistake
from planner.gauges.assemble import join
from planner.gauges.beside import is_side_reply
from planner.gauges.series import Series, to_datetime64
from planner.services import SERVICES

if TYPE_CHECKING:
    import requests

    from planner.gauges.store import Store

__all__ = ["DAYS", "Service", "open_series", "service_of"]

_SAME_GAUGE_M = 0.5  # design choice: one gauge's readings of the same hours do not differ so, two gauges' mostly do
DAYS = 60.0  # how far back a plan reads; design choice: two months hold a few recessions to learn from


class Service(Protocol):
    """What a module of a service gives."""

    SERVICE: str

    def get(
        self, station: str, start: datetime, end: datetime, session: requests.Session | None, folder: Path | None
    ) -> bytes:
        """The service's reply."""

    def read(self, path: Path) -> bytes:
        """A recorded reply."""

    def parse(self, raw: bytes, station: str, where: str = "", retrieved_at: datetime | None = None) -> Series:
        """A reply as a series."""


def service_of(station: str) -> Service:
    """The module that answers for ``service:station``.

    Raises
    ------
    UsageMistake
        When the service is not one of `planner.services.SERVICES`.
    """
    name, _, number = station.partition(":")
    if name not in SERVICES or not number:
        raise UsageMistake(
            f"gauge {station!r} names no service known here",
            " or ".join(f"{known}:…" for known in SERVICES),
            "correct the gauge",
        )
    return import_module(f"planner.gauges.{name}")  # type: ignore[return-value]


def open_series(
    station: str,
    *,
    now: datetime,
    days: float = DAYS,
    folder: Path | None = None,
    reply_files: Iterable[Path | str] = (),
    cache: Path | Store | None = None,
    session: requests.Session | None = None,
    window: tuple[datetime, datetime] | None = None,
) -> Series:
    """The series of a station, from its service, from recorded replies, or from a file.

    Parameters
    ----------
    station : str
        ``service:station``.
    now : datetime
        Aware; rows after it are left out, so that a recorded reply can be planned with as on its day.
    days : float
        How far back.
    folder : Path, optional
        The river folder, for ``file:`` stations.
    reply_files : iterable of Path
        Recorded replies to use in place of the network; each is looked through for the station.
    cache : Path or Store, optional
        Where the last good observations are kept; default the user's cache folder or ``PLUMBRUN_CACHE``.
    session : requests.Session, optional
        Default `planner.gauges.transport.make_session`.
    window : (datetime, datetime), optional
        In place of `days`: from and to.

    Raises
    ------
    SourceUnreachable
        No answer, or none in the service's form, and no stored observation.
    GaugeReplyUnfit
        The reply is of another station or empty; a recorded one or a file is not in its form.
    UsageMistake
        The service is unknown or the station malformed.
    """
    service = service_of(station)
    start, end = window or (now - timedelta(days=days), now)
    files = [Path(path) for path in reply_files]
    if files and station.split(":", 1)[0] != "file":
        return _trim(_from_files(service, station, files), start, end, now)
    if station.split(":", 1)[0] == "file":
        raw = service.get(station, start, end, session, folder)
        return _trim(service.parse(raw, station, where=str((folder or Path()) / station[5:])), start, end, now)
    from planner.gauges.store import Store

    store = cache if isinstance(cache, Store) else Store(cache)
    kept = store.fresh(station, start, end)
    if kept is None:
        kept = _from_network(service, station, start, end, session, store)
    return _trim(kept, start, end, now)


def _from_network(
    service: Service,
    station: str,
    start: datetime,
    end: datetime,
    session: requests.Session | None,
    store: Store,
) -> Series:
    """Ask the service and keep what it says; where it does not answer, the stored observations stand in."""
    try:
        # an hour more than needed: services round the ends of a window each in its own way
        series = service.parse(service.get(station, start - timedelta(hours=1), end, session, None), station)
    except StationUnknown:
        raise  # the service did answer: what was stored does not speak against it
    except (SourceUnreachable, GaugeReplyUnfit) as error:
        stored = store.load(station, start, end)
        if stored is not None:
            return stored.stood_in(error.given)
        if isinstance(error, GaugeReplyUnfit) and "holds" not in error.given:
            # a page, half a text, a flood of bytes: the service is not reached, whatever its status says
            raise SourceUnreachable(error.given, error.need, error.next_step, where=error.where) from error
        raise
    return series.noted(*store.keep(series, start, end))


def _from_files(service: Service, station: str, files: list[Path]) -> Series:
    parts: list[Series] = []
    refusals: list[GaugeReplyUnfit] = []
    replies = [(path, service.read(path)) for path in files]
    series_files = [(path, raw) for path, raw in replies if not is_side_reply(raw, station)]
    for path, raw in series_files or replies:
        try:
            parts.append(service.parse(raw, station, where=str(path)))
        except GaugeReplyUnfit as error:
            refusals.append(error)
    if not parts:
        first = refusals[0]
        given = "; ".join(
            dict.fromkeys(f"{error.where}: {error.given}" if len(refusals) > 1 else error.given for error in refusals)
        )
        raise GaugeReplyUnfit(given, first.need, first.next_step, where=first.where if len(refusals) == 1 else "")
    _one_gauge(parts)
    unfit = [f"{error.where}: {error.given}; left out" for error in refusals if "and not station" not in error.given]
    return join(parts).noted(*unfit)


def _one_gauge(parts: list[Series]) -> None:
    """Refuse replies that name no gauge and read two levels in the same hours: joined they would be no river's."""
    for i, one in enumerate(parts):
        for other in parts[i + 1 :]:
            off = _apart_m(one, other)
            if off > _SAME_GAUGE_M:
                raise GaugeReplyUnfit(
                    f"two replies taken for {one.station} differ by {off:.2f} m in the same hours",
                    "replies of one gauge",
                    "give those of that gauge alone; a stageflow reply does not say whose it is",
                )


def _apart_m(one: Series, other: Series) -> float:
    """Median difference of the stages where both read, 0 where they do not meet [m]."""
    a, b = (part.rows(np.isfinite(part.stage_m)) for part in (one, other))
    if not len(a) or not len(b):
        return 0.0
    inside = (a.times >= b.times[0]) & (a.times <= b.times[-1])
    if not inside.any():
        return 0.0
    there = np.interp(a.times[inside].astype(np.int64), b.times.astype(np.int64), b.stage_m)
    return float(np.median(np.abs(a.stage_m[inside] - there)))


def _trim(series: Series, start: datetime, end: datetime, now: datetime) -> Series:
    """Rows of the window and none after now; when the window leaves nothing, that is an error and says so."""
    later = int((series.times > to_datetime64(now)).sum())
    kept = series.between(start, min(end, now))
    if len(series) and not len(kept):
        first, last = series.times[0], series.times[-1]
        raise GaugeReplyUnfit(
            f"the values of {series.station} run from {first} to {last} UTC",
            f"values from {start.isoformat()} to {min(end, now).isoformat()}",
            "set the clock with --now, ask for more days, or give the level with --level",
        )
    return kept.noted(f"{later} values are later than the plan's clock; left out") if later else kept
