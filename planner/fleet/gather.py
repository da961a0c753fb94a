"""Read each gauge and ask about each place once for a whole fleet, at a pace that the services bear.

Only the process that was called asks the services, with a few threads that share one pace, so the limits hold however
many workers plan.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import Future, ThreadPoolExecutor, as_completed
from datetime import datetime
from typing import Any

from planner.errors import PlumbrunError
from planner.fleet.jobs import Needs
from planner.gauges.gathered import Fetched, GatheredStore, NotingStore, merged
from planner.gauges.pace import Pace, in_force
from planner.gauges.registry import open_series
from planner.plan.readings import look_beside
from planner.weather.look import Said, Sky, ask_sky

__all__ = ["gather"]

_THREADS = 8


def gather(
    needs: Iterable[Needs],
    now: datetime,
    *,
    pace: Pace | None = None,
    tell: Callable[[int, int], None] = lambda done, of: None,
) -> tuple[GatheredStore, dict[Sky, Said]]:
    """Readings, forecasts and statistics of every gauge, and the weather of every place.

    Parameters
    ----------
    needs : iterable of Needs
        Of all rivers; a gauge that several name is read once, over all windows that any of them wants.
    now : datetime
        The moment called now.
    pace : Pace, optional
        Distance between requests to one host.
    tell : callable
        Told how many of how many questions are done.

    Returns
    -------
    store : GatheredStore
        With the refusal of each gauge that gave nothing.
    said : dict
        By place.
    """
    windows: dict[str, list[tuple[datetime, datetime]]] = {}
    links: dict[str, set[str]] = {}
    skies: dict[Sky, None] = {}
    for need in needs:
        for station, wanted in need.windows.items():
            windows.setdefault(station, []).extend(wanted)
            links.setdefault(station, set()).add(need.links.get(station, ""))
        if need.sky is not None:
            skies[need.sky] = None
    disk = NotingStore()
    fetched: dict[str, tuple[Fetched, ...]] = {}
    said: dict[Sky, Said] = {}
    total = len(windows) + len(skies)
    with in_force(pace or Pace()), ThreadPoolExecutor(_THREADS) as threads:
        gauges: dict[Future[Any], str] = {
            threads.submit(_read, station, merged(windows[station]), sorted(links[station]), now, disk): station
            for station in windows
        }
        places: dict[Future[Any], Sky] = {threads.submit(ask_sky, sky): sky for sky in skies}
        for done, future in enumerate(as_completed([*gauges, *places]), 1):
            if future in gauges:
                fetched[gauges[future]] = future.result()
            else:
                said[places[future]] = future.result()
            tell(done, total)
    return GatheredStore(fetched, disk.noted), said


def _read(
    station: str, windows: list[tuple[datetime, datetime]], links: list[str], now: datetime, disk: NotingStore
) -> tuple[Fetched, ...]:
    """One gauge: the window that ends now first, so that a silent service is known before its past is asked for."""
    out: list[Fetched] = []
    silent: PlumbrunError | None = None
    for start, end in reversed(windows):
        if silent is not None:
            stored = disk.load(station, start, end)
            out.append(Fetched(start, end, stored.stood_in(silent.given) if stored is not None else None, silent))
            continue
        try:
            series = open_series(station, now=now, window=(start, end), cache=disk)
            out.append(Fetched(start, end, series))
        except PlumbrunError as error:
            out.append(Fetched(start, end, None, error))
            silent = error if end == now else None
    online = out[0].series is not None and not out[0].series.from_cache
    for link in links:
        look_beside(station, now, link=link, online=online, cache=disk)
    return tuple(out)
