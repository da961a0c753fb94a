"""How fast a service may be asked when many rivers are read at once, and for how long not at all.

A single plan asks a handful of questions and needs no pace. Many rivers are read by one process with a `Pace` in
force: requests to one host keep a distance, and a host that asks to wait is left alone until that time has passed.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from planner.errors import SourceUnreachable

__all__ = ["SPACING_S", "Pace", "ask_again_after", "in_force", "wait_turn"]

# Design choice: four requests a second to one host. Of the services read here one names a limit (1,000 an hour with a
# key) and says in its headers when it is reached; the others name none.
SPACING_S = 0.25


class Pace:
    """A distance in time between requests to one host, kept by all threads that share it.

    Parameters
    ----------
    spacing_s : float
        Least time between the starts of two requests [s].
    clock, sleep : callable
        Seconds that only grow, and a pause; replaced in tests.
    """

    def __init__(
        self,
        spacing_s: float = SPACING_S,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self.spacing_s = spacing_s
        self._clock, self._sleep = clock, sleep
        self._lock = threading.Lock()
        self._next: dict[str, float] = {}
        self._shut: dict[str, float] = {}

    def wait(self, host: str) -> None:
        """Wait for this host's turn.

        Raises
        ------
        SourceUnreachable
            When the host has asked to be left alone for longer.
        """
        with self._lock:
            now = self._clock()
            left = self._shut.get(host, now) - now
            if left > 0:
                raise SourceUnreachable(
                    f"{host} asked for a pause that lasts {left:.0f} s more",
                    "an answer of the service",
                    "run this again later: what was read is kept",
                    where=host,
                )
            turn = max(now, self._next.get(host, now))
            self._next[host] = turn + self.spacing_s
        if turn > now:
            self._sleep(turn - now)

    def shut(self, host: str, seconds: float) -> None:
        """Leave a host alone for so long [s]."""
        with self._lock:
            self._shut[host] = max(self._shut.get(host, 0.0), self._clock() + seconds)


_forces: list[Pace] = []


@contextmanager
def in_force(pace: Pace) -> Iterator[Pace]:
    """Let every request of this process keep a pace."""
    _forces.append(pace)
    try:
        yield pace
    finally:
        _forces.remove(pace)


def wait_turn(host: str) -> None:
    """Wait as the pace in force says; without one go at once."""
    for pace in _forces[-1:]:
        pace.wait(host)


def ask_again_after(host: str, seconds: float) -> None:
    """Note that a host asks for a pause [s]; without a pace in force nothing is noted."""
    for pace in _forces[-1:]:
        pace.shut(host, seconds)
