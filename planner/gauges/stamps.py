"""Many ISO 8601 time stamps at once to UTC, each by its own offset."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

__all__ = ["NoOffset", "block_times", "parse_stamps"]

_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


class NoOffset(ValueError):
    """A time stamp says no offset from UTC, or is no time stamp; `index` is its place."""

    def __init__(self, index: int, text: str, why: str) -> None:
        self.index, self.text, self.why = index, text, why
        super().__init__(f"{text!r}: {why}")


def parse_stamps(stamps: list[str]) -> np.ndarray:
    """UTC times of ISO 8601 stamps with offsets.

    All stamps of the form ``2019-01-24T00:00:00.000-05:00`` (with or without fraction; ``Z`` too) and of one length
    are read as one block of characters; where the forms differ each stamp is read by itself. The offset of each stamp
    is trusted, so an hour that a clock shows twice stays two hours. Fractions of a second are dropped.

    Parameters
    ----------
    stamps : list of str
        Time stamps, shape (n,).

    Returns
    -------
    np.ndarray
        datetime64[s], UTC, shape (n,).

    Raises
    ------
    NoOffset
        At the first stamp without an offset, or that is no time.

    Examples
    --------
    >>> parse_stamps(["2018-11-04T01:30:00.000-04:00", "2018-11-04T01:30:00.000-05:00"])
    array(['2018-11-04T05:30:00', '2018-11-04T06:30:00'],
          dtype='datetime64[s]')
    """
    if not stamps:
        return np.empty(0, "datetime64[s]")
    block = _as_block(stamps)
    if block is not None:
        times = block_times(block)
        if times is not None:
            return times
    return np.array([_one(i, stamp) for i, stamp in enumerate(stamps)], dtype=np.int64).astype("datetime64[s]")


def _as_block(stamps: list[str]) -> np.ndarray | None:
    """Characters as bytes, shape (n, width), or None when lengths differ or a character is not ASCII."""
    width = len(stamps[0])
    if width < 20:
        return None
    try:
        raw = "".join(stamps).encode("ascii")
    except (UnicodeEncodeError, TypeError):
        return None
    # the total alone could hide two odd lengths; the signs checked in block_times would then be out of place
    return np.frombuffer(raw, np.uint8).reshape(-1, width) if len(raw) == width * len(stamps) else None


def block_times(block: np.ndarray) -> np.ndarray | None:
    """UTC times of equal-width stamps, or None when a character is not where the form puts it.

    Parameters
    ----------
    block : np.ndarray
        Characters, uint8, shape (n, width).

    Returns
    -------
    np.ndarray or None
        datetime64[s], shape (n,).
    """
    width = block.shape[1]
    signs = {4: "-", 7: "-", 10: "T", 13: ":", 16: ":"}
    zulu = bool((block[:, -1] == ord("Z")).all())
    tail = width - 1 if zulu else width - 6
    if tail < 19 or (tail > 19 and tail < 21):
        return None
    if tail > 19:
        signs[19] = "."
    if not zulu:
        signs[width - 3] = ":"
    if any((block[:, at] != ord(sign)).any() for at, sign in signs.items()):
        return None
    columns = [i for i in range(tail) if i not in signs]
    if not zulu:
        columns += [width - 5, width - 4, width - 2, width - 1]
    digits = np.ascontiguousarray(block.T) - np.uint8(ord("0"))  # shape (width, n); below "0" wraps round to above 9
    if digits[columns].max() > 9:
        return None

    def two(at: int) -> np.ndarray:
        return digits[at].astype(np.int64) * 10 + digits[at + 1]

    year, month, day = two(0) * 100 + two(2), two(5), two(8)
    hour, minute, second = two(11), two(14), two(17)
    if (
        month.min() < 1
        or month.max() > 12
        or day.min() < 1
        or hour.max() > 23
        or minute.max() > 59
        or second.max() > 59
    ):
        return None
    leap = (month == 2) & (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0))
    if (day > _DAYS[month - 1] + leap).any():
        return None
    months = ((year - 1970) * 12 + month - 1).astype("datetime64[M]")
    days = months.astype("datetime64[D]").astype(np.int64) + day - 1
    seconds = days * 86400 + hour * 3600 + minute * 60 + second
    if zulu:
        return seconds.astype("datetime64[s]")
    sign = block[:, width - 6]
    if not np.isin(sign, (ord("+"), ord("-"))).all():
        return None
    offset = two(width - 5) * 3600 + two(width - 2) * 60
    return (seconds - np.where(sign == ord("-"), -offset, offset)).astype("datetime64[s]")


def _one(index: int, stamp: str) -> int:
    try:
        time = datetime.fromisoformat(stamp)
    except (ValueError, TypeError) as error:
        raise NoOffset(index, str(stamp), "no ISO 8601 time") from error
    if time.tzinfo is None:
        raise NoOffset(index, stamp, "no offset from UTC")
    try:
        return int(time.astimezone(UTC).timestamp() // 1)
    except (OverflowError, ValueError) as error:
        raise NoOffset(index, stamp, "out of range") from error
