"""What is asked for: the day, the window, the moment called now, and a level of the user's own."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from planner.errors import QuantityUnfit, UsageMistake
from planner.units import parse

if TYPE_CHECKING:
    from planner.gauges.store import Store
    from planner.weather.look import Said

__all__ = ["AskedLevel", "Request", "asked_level", "moment", "request"]


# How far ahead a reading is carried without an agency's forecast, and the bounds of what a river's gauge can read:
# the largest rivers stay under both (design choice).
FARTHEST_DAYS = 10
HIGHEST_STAGE_M = 100.0
# A gauge's zero is set below the lowest water looked for; a bed that has cut down since reads a little below it.
LOWEST_STAGE_M = -0.5
HIGHEST_DISCHARGE_M3S = 500_000.0


@dataclass(frozen=True)
class AskedLevel:
    """A level that the user gives in place of the gauge's reading.

    Parameters
    ----------
    stage_m : float
        Stage above the gauge's zero [m]; NaN when a discharge was given.
    discharge_m3s : float
        Discharge at the gauge [m³/s]; NaN when a stage was given.
    """

    stage_m: float
    discharge_m3s: float


@dataclass(frozen=True)
class Request:
    """One plan asked for.

    Parameters
    ----------
    now, start, end : datetime
        The moment of planning and the trip's window, UTC.
    day : date
        The day in the river's zone.
    level : AskedLevel or None
        A level of the user's own for the river's first gauge.
    replies : tuple of Path
        Recorded gauge replies read in place of the network.
    hang_limit : float
        Largest hang chance allowed [1].
    learning : bool
        Whether the log corrects lines and spots.
    store : Store, optional
        Where readings are kept or were gathered before; the user's own when not given.
    said : Said, optional
        What a weather service was heard to say before. With a store that asks nothing (`planner.gauges.gathered`)
        and without this, the weather stays unasked.
    """

    now: datetime
    start: datetime
    end: datetime
    day: date
    level: AskedLevel | None = None
    replies: tuple[Path, ...] = field(default_factory=tuple)
    hang_limit: float = 0.10
    learning: bool = True
    store: Store | None = None
    said: Said | None = None


def moment(text: str | None, zone: str) -> datetime:
    """The moment called now, in UTC: the clock's when `text` is None; without an offset it is in `zone`.

    Examples
    --------
    >>> moment("2026-06-12T18:00-05:00", "UTC").isoformat()
    '2026-06-12T23:00:00+00:00'
    """
    if text is None:
        return datetime.now(UTC).replace(microsecond=0)
    try:
        found = datetime.fromisoformat(text)
    except ValueError as error:
        raise UsageMistake(
            f"--now {text!r} is no ISO 8601 time", "a time like 2026-06-12T18:00-05:00", "correct it"
        ) from error
    if found.tzinfo is None:
        found = found.replace(tzinfo=ZoneInfo(zone))
    return found.astimezone(UTC)


def asked_level(text: str | None) -> AskedLevel | None:
    """A level or discharge of the user's own, such as ``2.4 ft`` or ``850 cfs``.

    Raises
    ------
    QuantityUnfit
        When the text is neither a length nor a discharge, or the discharge is not positive.
    """
    if text is None:
        return None
    nan = float("nan")
    try:
        stage = parse(text, "m", "--level")
        if abs(stage) > HIGHEST_STAGE_M:
            raise QuantityUnfit(f"--level {text!r} is no river's level", "a stage within 100 m of zero", "correct it")
        if stage < LOWEST_STAGE_M:
            raise QuantityUnfit(
                f"--level {text!r} lies far below a gauge's zero",
                "a stage of at least -0.5 m",
                "correct it; where the gauge does read so low, give a discharge",
            )
        return AskedLevel(stage, nan)
    except QuantityUnfit as no_length:
        if "another kind" not in no_length.given:
            raise
    discharge = parse(text, "m**3/s", "--level")
    if discharge > HIGHEST_DISCHARGE_M3S:
        raise QuantityUnfit(f"--level {text!r} is more than any river carries", "a river's discharge", "correct it")
    if discharge <= 0:
        raise QuantityUnfit(f"--level {text!r} is no flowing water", "a discharge above zero", "correct it")
    return AskedLevel(nan, discharge)


def request(
    zone: str,
    *,
    day: str = "tomorrow",
    start: str = "08:00",
    end: str = "16:00",
    now: str | datetime | None = None,
    level: str | None = None,
    replies: tuple[Path, ...] = (),
    hang_limit: float = 0.10,
    learning: bool = True,
) -> Request:
    """Read a request as a user types it.

    Parameters
    ----------
    zone : str
        The river's time zone (zoneinfo key); day and hours are meant in it.
    day : str
        ``today``, ``tomorrow`` or YYYY-MM-DD.
    start, end : str
        HH:MM of putting in and taking out.
    now : str, datetime or None
        ISO 8601; None is the clock.
    level : str, optional
        A level or discharge of the user's own.
    replies : tuple of Path
        Recorded gauge replies.
    hang_limit : float
        Largest hang chance allowed, between 0 and 1 [1].
    learning : bool
        False leaves the log aside.

    Raises
    ------
    UsageMistake
        When one of them cannot be read, or the window ends before it starts.
    """
    at = now if isinstance(now, datetime) else moment(now, zone)
    local = at.astimezone(ZoneInfo(zone))
    if day in ("today", "tomorrow"):
        date_of_trip = local.date() + timedelta(days=day == "tomorrow")
    else:
        try:
            date_of_trip = date.fromisoformat(day)
        except ValueError as error:
            raise UsageMistake(f"--day {day!r} is no day", "today, tomorrow or YYYY-MM-DD", "correct it") from error
    put_in = datetime.combine(date_of_trip, _hour(start, "--from"), ZoneInfo(zone))
    take_out = datetime.combine(date_of_trip, _hour(end, "--to"), ZoneInfo(zone))
    if take_out <= put_in:
        raise UsageMistake(f"the window {start} to {end} ends before it starts", "--from before --to", "correct them")
    if take_out < at:
        raise UsageMistake(
            f"the window of {date_of_trip} ends before now ({local:%Y-%m-%d %H:%M})",
            "a day that is not over",
            "give --day, or --now to plan as of an earlier moment",
        )
    if level is None and put_in - at > timedelta(days=FARTHEST_DAYS):
        raise UsageMistake(
            f"the window of {date_of_trip} begins {(put_in - at).days} days after now",
            f"a day no more than {FARTHEST_DAYS} days ahead: no reading carries farther",
            "plan nearer to the day, or give the level you expect with --level",
        )
    return Request(
        at,
        put_in.astimezone(UTC),
        take_out.astimezone(UTC),
        date_of_trip,
        asked_level(level),
        tuple(replies),
        hang_limit,
        learning,
    )


def _hour(text: str, option: str) -> time:
    try:
        return time.fromisoformat(text)
    except ValueError as error:
        raise UsageMistake(f"{option} {text!r} is no time of day", "HH:MM", "correct it") from error
