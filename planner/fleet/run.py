"""The order of a fleet: look at every folder, gather what they need, plan each; no failure stops the others."""

from __future__ import annotations

import os
import re
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from planner import __version__
from planner.errors import SourceUnreachable, UsageMistake
from planner.files import read_bounded
from planner.fleet.gather import gather
from planner.fleet.jobs import Needs, Order, Outcome, look_at, plan_one
from planner.gauges.gathered import GatheredStore
from planner.weather.look import Said, Sky

__all__ = ["Fleet", "each", "listed_folders", "places_of", "run_fleet"]

_PER_WORKER = 3  # jobs handed out ahead, so that no worker waits and memory stays bounded


@dataclass(frozen=True)
class Fleet:
    """What became of a fleet.

    Parameters
    ----------
    outcomes : tuple of Outcome
        One per folder, in the order given.
    gauges : int
        Stations that were read, each once.
    workers : int
        Processes that planned.
    """

    outcomes: tuple[Outcome, ...]
    gauges: int
    workers: int


def listed_folders(folders: Iterable[Path], listing: Path | None = None) -> list[Path]:
    """River folders by name and from a list, each once, in order.

    Parameters
    ----------
    folders : iterable of Path
        As given.
    listing : Path, optional
        A text file with one folder a line, relative to the file's own folder; a line that begins with ``#`` is a
        remark.

    Raises
    ------
    UsageMistake
        When the list cannot be read or nothing is named.
    """
    found = [Path(folder) for folder in folders]
    if listing is not None:
        try:
            lines = read_bounded(listing).decode("utf-8").splitlines()
        except (OSError, UnicodeDecodeError) as error:
            raise UsageMistake(
                f"the list {listing} cannot be read ({error})",
                "a text file with one river folder a line",
                "check --list",
            ) from error
        named = [line.strip() for line in lines]
        found += [Path(listing).parent / name for name in named if name and not name.startswith("#")]
    if not found:
        raise UsageMistake("no river folder is named", "one at least", "name folders, or give --list FILE")
    return list(dict.fromkeys(Path(os.path.abspath(folder)) for folder in found))


def places_of(folders: Iterable[Path]) -> list[str]:
    """A plain folder name for each river, no two the same.

    Examples
    --------
    >>> places_of([Path("a/Upper Fork"), Path("b/upper-fork"), Path("c/Ö")])
    ['upper-fork', 'upper-fork-2', 'river']
    """
    taken: set[str] = set()
    out = []
    for folder in folders:
        plain = re.sub(r"[^a-z0-9]+", "-", folder.name.lower()).strip("-") or "river"
        name, number = plain, 1
        while name in taken:
            number += 1
            name = f"{plain}-{number}"
        taken.add(name)
        out.append(name)
    return out


def each(
    make: Callable[[], Executor], work: Callable[..., Any], jobs: Iterable[tuple[Any, ...]], width: int
) -> Iterator[tuple[tuple[Any, ...], Any]]:
    """Do jobs in an executor, `width` at a time, and give each with its result or the error that it ended in.

    When a process dies it takes the whole pool along. Those that were under way are then done again one by one in a
    fresh pool, and only the job that kills its process again is given up.

    Parameters
    ----------
    make : callable
        Gives a fresh executor.
    work : callable
        What is done with the parts of a job.
    jobs : iterable of tuple
        Taken as they are needed.
    width : int
        Jobs under way at once.
    """
    source, suspects = iter(jobs), deque[tuple[Any, ...]]()
    executor = make()
    flying: dict[Future, tuple[tuple[Any, ...], bool]] = {}
    try:
        while True:
            alone = bool(suspects)
            while len(flying) < (1 if alone else width):
                job = suspects.popleft() if suspects else None if alone else next(source, None)
                if job is None:
                    break
                try:
                    flying[executor.submit(work, *job)] = (job, alone)
                except BrokenExecutor:
                    suspects.append(job)
                    executor = _again(executor, make)
                    break
            if not flying:
                if suspects:
                    continue
                return
            done, _ = wait(flying, return_when=FIRST_COMPLETED)
            broken = False
            for future in done:
                job, alone = flying.pop(future)
                try:
                    yield job, future.result()
                except BrokenExecutor as error:
                    broken = True
                    if alone:
                        yield job, error
                    else:
                        suspects.append(job)
                except Exception as error:
                    yield job, error
            if broken:
                suspects.extend(job for job, _ in flying.values())
                flying.clear()
                executor = _again(executor, make)
    finally:
        for future in flying:
            future.cancel()
        executor.shutdown(wait=False)


def _again(executor: Executor, make: Callable[[], Executor]) -> Executor:
    executor.shutdown(wait=False)
    return make()


@contextmanager
def _workers(count: int | None, scheduler: str | None) -> Iterator[tuple[Callable[[], Executor], int]]:
    if scheduler is None:
        cores = count or len(
            os.sched_getaffinity(0) if hasattr(os, "sched_getaffinity") else range(os.cpu_count() or 1)
        )
        yield lambda: ProcessPoolExecutor(cores, mp_context=get_context("spawn")), cores
        return
    try:
        from distributed import Client
    except ImportError as error:
        raise UsageMistake(
            "--scheduler needs dask.distributed, which is not installed", "the fleet extra",
            "pip install 'plumbrun[fleet]'",
        ) from error  # fmt: skip
    try:
        client = Client(scheduler, timeout="5s", set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise SourceUnreachable(
            f"no Dask scheduler answers at {scheduler}", "a running one, such as tcp://host:8786",
            "check the address, or leave --scheduler out",
        ) from error  # fmt: skip
    with client:
        versions = client.run(_version)
        if not versions:
            raise SourceUnreachable(
                f"the Dask cluster at {scheduler} has no worker", "one at least", "start workers, then run this again"
            )
        other = {where: found for where, found in versions.items() if found != __version__}
        if other:
            where, found = next(iter(other.items()))
            raise UsageMistake(
                f"the worker at {where} has Plumbrun {found or 'not installed'}, here is {__version__}",
                "the same version everywhere", "install it on the workers",
            )  # fmt: skip
        threads = sum(client.nthreads().values())
        yield lambda: client.get_executor(pure=False), threads


def _version() -> str:
    return __version__


def run_fleet(
    folders: list[Path],
    order: Order,
    *,
    workers: int | None = None,
    scheduler: str | None = None,
    tell: Callable[[str, int, int], None] = lambda stage, done, of: None,
) -> Fleet:
    """Plan every river of a list.

    Parameters
    ----------
    folders : list of Path
        River folders, each once.
    order : Order
        What is asked of each.
    workers : int, optional
        Local processes; one per core when not given.
    scheduler : str, optional
        Address of a Dask scheduler whose workers plan in place of local processes. They need the same version of
        Plumbrun and the same folders under the same names.
    tell : callable
        Told the stage (``looking``, ``reading``, ``planning``) with how many of how many are done.

    Raises
    ------
    UsageMistake, SourceUnreachable
        When the cluster cannot be used. What goes wrong with one river is in its outcome.
    """
    ended: dict[Path, Outcome] = {}
    needs: dict[Path, Needs] = {}
    store, said = GatheredStore({}), dict[Sky, Said]()
    with _workers(workers, scheduler) as (make, count):
        width = count * _PER_WORKER
        if order.replies:
            needs = dict.fromkeys(folders, Needs())
        else:
            for (folder, _), found in each(make, look_at, ((folder, order) for folder in folders), width):
                if isinstance(found, Exception) or found.failed:
                    ended[folder] = Outcome(
                        folder, failed=_died(found) if isinstance(found, Exception) else found.failed
                    )
                else:
                    needs[folder] = found
                tell("looking", len(needs) + len(ended), len(folders))
            store, said = gather(needs.values(), order.now, tell=lambda done, of: tell("reading", done, of))

        def jobs() -> Iterator[tuple[Any, ...]]:
            for folder, place in zip(folders, places_of(folders), strict=True):
                need = needs.get(folder)
                if need is None:
                    continue
                mine = None if order.replies else store.only(list(need.windows), list(need.links.values()))
                yield folder, place, order, mine, None if need.sky is None else said.get(need.sky)

        for job, outcome in each(make, plan_one, jobs(), width):
            ended[job[0]] = Outcome(job[0], failed=_died(outcome)) if isinstance(outcome, Exception) else outcome
            tell("planning", len(ended), len(folders))
    return Fleet(tuple(ended[folder] for folder in folders), len(store.fetched), count)


def _died(error: Exception) -> str:
    return f"the process that planned it died ({type(error).__name__}); out of memory? Plan it by itself to see"
