"""Watch the gauge until the launch, and say when a caution level or an answer changes. Quiet, bounded, patient."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from planner.caution import hold_record
from planner.errors import PlumbrunError, SourceUnreachable, UsageMistake
from planner.news import Change, changes_between, is_news, level_words

__all__ = ["CHANGED", "ROSE", "Look", "launch", "period", "run_watch", "stopwatch", "watch", "watched_plan"]

# Exit statuses of the command beside those of every command: an answer or a level changed, a level rose.
CHANGED, ROSE = 5, 6
# Design choices: a service sends every 15 min at best; a watch is for an evening and a night.
LEAST, MOST, LONGEST = timedelta(minutes=5), timedelta(hours=12), timedelta(hours=72)
_COMMAND_S = 60.0
_PERIOD = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*(s|sec|m|min|h|hours?)\s*$")


@dataclass(frozen=True)
class Look:
    """One look at the gauge.

    Parameters
    ----------
    at : datetime
        When, UTC.
    plan : dict or None
        The plan with held cautions; None when nothing could be read.
    changes : tuple of Change
        Against the look before; empty at the first.
    trouble : str
        Why nothing could be read; "" when something was.
    """

    at: datetime
    plan: Mapping[str, Any] | None
    changes: tuple[Change, ...] = ()
    trouble: str = ""
    first: bool = field(default=False)


def period(text: str) -> timedelta:
    """How often to look, such as ``15m`` or ``1h``.

    Raises
    ------
    UsageMistake
        When it cannot be read, or is not between 5 min and 12 h.

    Examples
    --------
    >>> period("15m")
    datetime.timedelta(seconds=900)
    """
    match = _PERIOD.match(text)
    if match is None:
        raise UsageMistake(f"--every {text!r} is no period", "a number and s, m or h", "write it like 15m")
    found = timedelta(seconds=float(match.group(1)) * {"s": 1, "m": 60, "h": 3600}[match.group(2)[0]])
    if not LEAST <= found <= MOST:
        raise UsageMistake(f"--every {text!r}", "between 5m and 12h: gauges send every 15 min at best", "change it")
    return found


def _held(old: Mapping[str, Any], new: dict[str, Any]) -> dict[str, Any]:
    """The new plan with every level held that no newer good reading has cleared."""
    out = {**new, "caution": hold_record(old.get("caution") or {}, new.get("caution") or {})}
    for kind in ("runs", "spots"):
        before = {record["id"]: record.get("caution") or {} for record in old.get(kind) or ()}
        out[kind] = [
            {**record, "caution": hold_record(before.get(record["id"], {}), record.get("caution") or {})}
            for record in new.get(kind) or ()
        ]
    return out


def watch(
    look: Callable[[datetime], dict[str, Any]],
    *,
    every: timedelta,
    until: datetime,
    clock: Callable[[], datetime],
    sleep: Callable[[float], None] = time.sleep,
    count: int | None = None,
    units: str = "us",
) -> Iterator[Look]:
    """Look again and again until the launch.

    Parameters
    ----------
    look : callable
        The moment of looking to a plan as in ``plan.json``; may raise `PlumbrunError`, which never ends the watch.
    every : timedelta
        Pause between looks.
    until : datetime
        The launch, aware; no look is made after it.
    clock, sleep : callable
        The present, UTC, and waiting [s].
    count : int, optional
        Looks at most.
    units : str
        ``us`` or ``metric``, for what is said.

    Yields
    ------
    Look
        One for each look. Levels raised earlier are held until a newer good reading clears them.
    """
    last: Mapping[str, Any] | None = None
    made = 0
    ends = min(until, clock() + LONGEST)
    while count is None or made < count:
        now = clock()
        if made and now >= ends:
            return
        made += 1
        try:
            plan = look(now)
        except PlumbrunError as error:
            yield Look(now, None, trouble=error.given, first=last is None)
        else:
            if last is None:
                yield Look(now, plan, first=True)
                last = plan
            else:
                held = _held(last, plan)
                told = _as_told(last, held)
                yield Look(now, held, tuple(changes_between(last, held, units)))
                last = told
        left = (ends - clock()).total_seconds()
        if left <= 0 or made == count:
            return
        sleep(min(every.total_seconds(), left))


def _as_told(last: Mapping[str, Any], new: Mapping[str, Any]) -> dict[str, Any]:
    """The new plan with the answer and water of each spot as last told, so that small steps add up to news."""
    before = {spot["id"]: spot for spot in last.get("spots") or ()}
    kept = ("best", "depth_m", "velocity_m_s")
    spots = []
    for spot in new.get("spots") or ():
        was = before.get(spot["id"])
        stays = was is not None and not is_news(was, spot)
        spots.append({**spot, **{key: was.get(key) for key in kept}} if was is not None and stays else spot)
    return {**new, "spots": spots}


def watched_plan(folder: Path, asked: Mapping[str, Any]) -> Callable[[datetime], dict[str, Any]]:
    """A `look` for a river folder: reads the folder and the gauge anew each time.

    Parameters
    ----------
    folder : Path
        The river folder.
    asked : mapping
        `day` (a date), `start`, `end`, `level`, `replies`, `units` as `planner.plan.ask.request` takes them.
    """

    def look(now: datetime) -> dict[str, Any]:
        from planner.files import plain
        from planner.plan.ask import request
        from planner.plan.compute import compute_plan
        from planner.river import read_river

        river = read_river(folder)
        wish = request(
            river.timezone, day=asked["day"], start=asked["start"], end=asked["end"], now=now, level=asked.get("level"),
            replies=tuple(asked.get("replies") or ()),
        )  # fmt: skip
        found: dict[str, Any] = plain(compute_plan(river, wish, asked.get("units") or river.units))
        return found

    return look


def run_watch(
    looks: Iterator[Look],
    *,
    say: Callable[[str], None],
    complain: Callable[[str], None],
    zone: str = "UTC",
    command: str | None = None,
    run: Callable[..., Any] = subprocess.run,
) -> int:
    """Say what a watch finds and give its exit status.

    Parameters
    ----------
    looks : iterator of Look
        From `watch`.
    say, complain : callable
        Lines for stdout and stderr.
    zone : str
        The river's zone (zoneinfo key).
    command : str, optional
        Run when something changed, with no shell. It gets ``PLUMBRUN_CHANGES`` (lines), ``PLUMBRUN_LEVEL`` (0 to 3 or
        empty) and ``PLUMBRUN_ROSE`` (0 or 1) in its environment.
    run : callable
        `subprocess.run`, for tests.

    Returns
    -------
    int
        0 nothing changed, 5 a level fell or an answer changed, 6 a level rose, 3 nothing could ever be read.
    """
    status, seen, dead = 0, False, False
    for look in looks:
        at = f"{look.at.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M}"
        if look.plan is None:
            if not dead:
                complain(f"{at}  nothing could be read: {look.trouble}. What was raised before stands; still watching.")
            dead = True
            continue
        caution = look.plan.get("caution") or {}
        if dead and seen:
            complain(f"{at}  the gauge can be read again.")
        dead = False
        if look.first:
            say(f"{at}  watching. The day: caution {level_words(caution.get('level'))}.")
        seen = True
        if not look.changes:
            continue
        for change in look.changes:
            say(f"{at}  {change.text}")
        rose = any(change.rose for change in look.changes)
        status = max(status, ROSE if rose else CHANGED)
        if command is not None:
            _call(command, look, caution.get("level"), rose, complain, run)
    return status if seen else SourceUnreachable.exit_code


def _call(
    command: str,
    look: Look,
    level: int | None,
    rose: bool,
    complain: Callable[[str], None],
    run: Callable[..., Any],
) -> None:
    environment = {
        **os.environ,
        "PLUMBRUN_CHANGES": "\n".join(change.text for change in look.changes),
        "PLUMBRUN_LEVEL": "" if level is None else str(level),
        "PLUMBRUN_ROSE": str(int(rose)),
    }
    try:
        done = run(shlex.split(command), env=environment, timeout=_COMMAND_S, check=False)
    except (OSError, ValueError, subprocess.TimeoutExpired) as error:
        complain(f"the command could not be run to its end ({type(error).__name__}); still watching.")
        return
    if done.returncode:
        complain(f"the command ended with {done.returncode}; still watching.")


def launch(folder: Path, day: str, start: str, end: str, now: datetime) -> tuple[datetime, str, str, str]:
    """When the party launches, the day as a date, and the river's zone and units.

    Raises
    ------
    UsageMistake
        When the launch lies in the past.
    """
    from planner.plan.ask import request
    from planner.river import read_river

    river = read_river(folder)
    wish = request(river.timezone, day=day, start=start, end=end, now=now)
    if wish.start <= now:
        raise UsageMistake(
            f"the launch at {wish.start.astimezone(ZoneInfo(river.timezone)):%Y-%m-%d %H:%M} is over",
            "a launch to come", "give --day and --from",
        )  # fmt: skip
    return wish.start, wish.day.isoformat(), river.timezone, river.units


def stopwatch(now: datetime | None) -> tuple[Callable[[], datetime], Callable[[float], None]]:
    """A clock and a sleep: the machine's, or ones that start at `now` and pass at once, to rehearse."""
    if now is None:
        return (lambda: datetime.now(UTC)), time.sleep
    passed = [now]

    def sleep(seconds: float) -> None:
        passed[0] += timedelta(seconds=seconds)

    return (lambda: passed[0]), sleep
