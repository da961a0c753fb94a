"""What services say beside readings: forecast, flood categories, statistics by day, ratings, field measurements.

Each is looked for in recorded replies first; with recorded replies nothing is asked of the network. Else it is asked
of its service and kept on disk. When the service does not answer, what was kept stands in, and without that there is
None: the plan goes on, and what needs it reads not assessed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from planner.errors import PlumbrunError
from planner.files import read_bounded

if TYPE_CHECKING:
    import requests

    from planner.gauges.forecast import FloodCategories, Forecast
    from planner.gauges.measurements import Measurement
    from planner.gauges.ratings import RatingTable
    from planner.gauges.statistics import DayNormal
    from planner.gauges.store import Store

__all__ = [
    "is_side_reply",
    "open_categories",
    "open_forecast",
    "open_measurements",
    "open_normals",
    "open_rating",
]

# How long what was kept is not asked for again [s]. Design choices: forecasts are issued once to four times a day;
# statistics and categories change once a year or less.
_FRESH_S = {"forecast": 1800.0, "categories": 30 * 86400.0, "normals": 30 * 86400.0}
# A forecast older than this is no forecast of tomorrow any more. Design choice.
_ISSUED = timedelta(hours=30)
_Found = TypeVar("_Found")


def is_side_reply(raw: bytes, station: str) -> bool:
    """Whether a recorded reply is none of readings for this station's service, so that its reader leaves it alone."""
    start = bytes(raw[:4000])
    head = start.lstrip(b"\xef\xbb\xbf \r\n\t")
    if head.startswith((b"#", b"agency_cd\t")):
        return True
    if b'"time_of_year"' in start or b'"channel_flow"' in start or b'"field_visit_id"' in start:
        return True
    if station.startswith("noaa:"):
        return b'"lid"' in start and b'"status"' not in raw
    return b'"lid"' in start or b'"pedts"' in start


def open_forecast(
    station: str,
    *,
    now: datetime,
    reply_files: Iterable[Path | str] = (),
    cache: Path | Store | None = None,
    session: requests.Session | None = None,
    online: bool = True,
) -> Forecast | None:
    """The agency's forecast of a ``noaa:`` gauge; None for other services, and when it was issued over 30 h before now.

    Parameters
    ----------
    station : str
        ``noaa:…``.
    now : datetime
        The plan's clock, aware. A forecast issued after it is not known yet.
    reply_files, cache, session
        As of `planner.gauges.registry.open_series`.
    online : bool
        False asks nothing of the network.
    """
    if not station.startswith("noaa:"):
        return None
    from planner.gauges import noaa

    def parse(raw: bytes) -> Forecast | None:
        return noaa.parse_forecast(raw, station)

    def fetch() -> bytes:
        return noaa.get(station, now, now, session)

    files = list(reply_files)
    heard = _all_in_files(parse, files) if files else [_open("forecast", station, parse, fetch, (), cache, online)]
    issued = [one for one in heard if one and one.issued and now - _ISSUED <= one.issued <= now]
    return max(issued, key=lambda one: one.issued or now, default=None)


def open_categories(
    station: str,
    *,
    reply_files: Iterable[Path | str] = (),
    cache: Path | Store | None = None,
    session: requests.Session | None = None,
    online: bool = True,
) -> FloodCategories | None:
    """Flood categories of a ``noaa:`` gauge, or of the ``usgs:`` gauge that a recorded gauge reply says is the same."""
    if not station.startswith(("noaa:", "usgs:")):
        return None
    from planner.gauges import noaa

    def parse(raw: bytes) -> FloodCategories | None:
        found = noaa.parse_categories(raw)
        return found if found is not None and station.upper() in _names(found) else None

    def fetch() -> bytes:
        return noaa.get_gauge(station, session)

    online = online and station.startswith("noaa:")
    return _open("categories", station, parse, fetch, reply_files, cache, online)


def open_normals(
    station: str,
    *,
    reply_files: Iterable[Path | str] = (),
    cache: Path | Store | None = None,
    session: requests.Session | None = None,
    online: bool = True,
) -> Mapping[tuple[int, int], DayNormal] | None:
    """Percentiles of discharge by day of the year of a ``usgs:`` station."""
    if not station.startswith("usgs:"):
        return None
    from planner.gauges import statistics

    def parse(raw: bytes) -> Mapping[tuple[int, int], DayNormal] | None:
        return statistics.parse(raw, station)

    def fetch() -> bytes:
        return statistics.get(station, session)

    return _open("normals", station, parse, fetch, reply_files, cache, online)


def open_rating(station: str, reply_files: Iterable[Path | str]) -> RatingTable | None:
    """The agency's rating of a ``usgs:`` station among recorded replies."""
    from planner.gauges import ratings

    return _in_files(lambda raw: ratings.parse(raw, station), reply_files) if station.startswith("usgs:") else None


def open_measurements(station: str, reply_files: Iterable[Path | str]) -> tuple[Measurement, ...]:
    """Field measurements of a ``usgs:`` station among recorded replies; empty when there are none."""
    from planner.gauges import measurements

    if not station.startswith("usgs:"):
        return ()
    return _in_files(lambda raw: measurements.parse_measurements(raw, station), reply_files) or ()


def _names(found: FloodCategories) -> tuple[str, ...]:
    return (found.station.upper(), found.usgs_station.upper())


def _open(
    kind: str,
    station: str,
    parse: Callable[[bytes], _Found | None],
    fetch: Callable[[], bytes],
    reply_files: Iterable[Path | str],
    cache: Path | Store | None,
    online: bool,
) -> _Found | None:
    files = list(reply_files)
    if files:
        return _in_files(parse, files)
    from planner.gauges.store import Store

    store = cache if isinstance(cache, Store) else Store(cache)
    kept = store.document(station, kind)
    if kept is not None and (not online or kept[1] < _FRESH_S[kind]):
        return _quiet(parse, kept[0])
    if online:
        try:
            raw = fetch()
            found = parse(raw)
            # what says nothing takes the place of nothing that did
            if found is not None or kept is None or _quiet(parse, kept[0]) is None:
                store.keep_document(station, kind, raw)
            if found is not None or kind == "forecast":
                return found
        except PlumbrunError:
            pass
    return _quiet(parse, kept[0]) if kept is not None else None


def _in_files(parse: Callable[[bytes], _Found | None], files: Iterable[Path | str]) -> _Found | None:
    return next(iter(_all_in_files(parse, files)), None)


def _all_in_files(parse: Callable[[bytes], _Found | None], files: Iterable[Path | str]) -> Iterator[_Found]:
    for path in files:
        try:
            raw = read_bounded(path)
        except OSError:
            continue  # the reader of readings says so
        found = _quiet(parse, raw)
        if found is not None:
            yield found


def _quiet(parse: Callable[[bytes], _Found | None], raw: bytes) -> _Found | None:
    try:
        return parse(raw)
    except PlumbrunError:
        return None
