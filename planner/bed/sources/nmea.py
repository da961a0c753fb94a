"""Soundings from a log of NMEA 0183 sentences, as a sounder and a receiver write it.

Positions come from RMC and GGA, the date from RMC and ZDA, depths from DPT, DBT and DBS, the water's temperature from
MTW. A sentence with a wrong checksum is not read.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from datetime import date
from functools import reduce
from operator import xor

import numpy as np

from planner.bed.sources.records import Batch, Drop, batch
from planner.errors import DataUnfit
from planner.units import FOOT

__all__ = ["checksum", "parse_nmea"]

_SENTENCE = re.compile(r"[$!]([A-Z]{2}[A-Z]{3}|P[A-Z]{4}),([^*$!\r\n]*)(?:\*([0-9A-Fa-f]{2}))?")
_DAY_S = 86400.0


def checksum(body: str) -> int:
    """Exclusive or of the characters between ``$`` and ``*``.

    Examples
    --------
    >>> f"{checksum('GPGLL,4916.45,N,12311.12,W,225444,A'):02X}"
    '31'
    """
    return reduce(xor, body.encode("latin-1", errors="replace"), 0)


def _degrees(value: str, side: str) -> float:
    """Degrees of ddmm.mmm with its hemisphere; NaN when unreadable."""
    try:
        point = value.index(".") if "." in value else len(value)
        whole, minutes = int(value[: point - 2] or 0), float(value[point - 2 :])
    except ValueError:
        return math.nan
    return (whole + minutes / 60.0) * (-1.0 if side in ("S", "W") else 1.0) if minutes < 60 else math.nan


def _seconds(value: str) -> float:
    """Seconds of the day of hhmmss.ss; NaN when unreadable."""
    try:
        hours, minutes, seconds = int(value[:2]), int(value[2:4]), float(value[4:])
    except ValueError:
        return math.nan
    return hours * 3600 + minutes * 60 + seconds if hours < 24 and minutes < 60 and seconds < 61 else math.nan


def _day(day: str, month: str, year: str) -> float:
    """Seconds from 1970 of a date; NaN when unreadable. Two digits of a year below 80 are of this century."""
    try:
        number = int(year)
        number += 0 if number > 99 else (2000 if number < 80 else 1900)
        return (date(number, int(month), int(day)) - date(1970, 1, 1)).days * _DAY_S
    except ValueError:
        return math.nan


def _length(fields: list[str], pairs: tuple[tuple[int, str, float], ...]) -> tuple[float, bool]:
    """Depth [m] of the first of the fields that has its unit, and whether the others agree with it."""
    values = []
    for position, unit, factor in pairs:
        if position + 1 < len(fields) and fields[position + 1].upper() == unit.upper() and fields[position]:
            try:
                values.append(float(fields[position]) * factor)
            except ValueError:
                return math.nan, True
    if not values:
        return math.nan, True
    return values[0], max(values) - min(values) <= 0.1 + 0.03 * max(values)


# metres first: feet and fathoms are rounded by most devices. The unit letter tells feet (f) from fathoms (F) by place.
_BELOW = ((2, "M", 1.0), (0, "f", FOOT), (4, "F", 6 * FOOT))


class _Log:
    """State while a log is read: the last fix, its moment, the last depth of that fix."""

    def __init__(self) -> None:
        self.lon = self.lat = self.clock = self.midnight = math.nan
        self.temperature = math.nan
        self.fixed = False
        self.rows: list[tuple[float, float, float, float, float, float, int]] = []
        self.last: dict[str, int] = {}
        self.drops: Counter[str] = Counter()
        self.first: dict[str, int] = {}
        self.depths = 0
        self.negative_offset = False

    def drop(self, reason: str, line: int) -> None:
        self.drops[reason] += 1
        self.first.setdefault(reason, line)

    def fix(self, clock: float, lon: float, lat: float, valid: bool, midnight: float = math.nan) -> None:
        """A position sentence; of two for one moment the first opens it."""
        self.fixed = valid and math.isfinite(lon) and math.isfinite(lat)
        if math.isfinite(midnight):
            self.midnight = midnight
        elif math.isfinite(clock) and clock < self.clock - _DAY_S / 2:
            self.midnight += _DAY_S  # past midnight before the date was told again
        if clock != self.clock:
            self.last = {}
        self.clock = clock
        if self.fixed:
            self.lon, self.lat = lon, lat

    def depth(self, kind: str, below: float, draft: float, line: int) -> None:
        """A depth sentence; DPT and DBT of one ping stand for one sounding, DPT first as it knows its draft."""
        self.depths += 1
        if not math.isfinite(below):
            self.drop("no depth in the sentence: the sounder had lost the bottom", line)
            return
        if not self.fixed:
            self.drop("no valid position before it", line)
            return
        row = (self.lon, self.lat, below, self.midnight + self.clock, draft, self.temperature, line)
        for other, place in self.last.items():
            if other != kind:
                # the same ping told twice
                if kind == "DPT" or (kind == "DBS" and other == "DBT"):
                    self.rows[place] = row
                    self.last = {kind: place}
                self.drop("the same ping told by a second sentence", line)
                return
        self.last[kind] = len(self.rows)
        self.rows.append(row)


def _sentence(log: _Log, name: str, f: list[str], line: int) -> None:
    """Take one sentence whose checksum holds."""
    if name == "RMC" and len(f) >= 9:
        midnight = _day(f[8][:2], f[8][2:4], f[8][4:]) if len(f[8]) == 6 else math.nan
        log.fix(_seconds(f[0]), _degrees(f[4], f[5]), _degrees(f[2], f[3]), f[1] == "A", midnight)
    elif name == "GGA" and len(f) >= 6:
        log.fix(_seconds(f[0]), _degrees(f[3], f[4]), _degrees(f[1], f[2]), f[5] not in ("", "0"))
    elif name == "ZDA" and len(f) >= 4:
        midnight = _day(f[1], f[2], f[3])
        log.midnight = midnight if math.isfinite(midnight) else log.midnight
    elif name == "DPT":
        below, offset = (_number(f, 0), _number(f, 1))
        if offset < 0:
            log.negative_offset = True
        log.depth("DPT", below, offset if offset > 0 else math.nan, line)
    elif name in ("DBT", "DBS"):
        below, agree = _length(f, _BELOW)
        if not agree:
            log.depths += 1
            log.drop("feet, metres and fathoms of the sentence disagree", line)
        else:
            log.depth(name, below, math.nan if name == "DBT" else 0.0, line)
    elif name == "MTW" and len(f) >= 1:
        log.temperature = _number(f, 0)


def _number(fields: list[str], position: int) -> float:
    try:
        return float(fields[position])
    except (ValueError, IndexError):
        return math.nan


def parse_nmea(text: str, file: str, transducer_m: float = math.nan) -> Batch:
    """Soundings of an NMEA 0183 log.

    Parameters
    ----------
    text, file : str
        The text, and the file's name for messages; what stands before the ``$`` of a line is passed over.
    transducer_m : float
        Transducer below the surface [m]; wins over the offset in DPT. NaN not given.

    Raises
    ------
    DataUnfit
        When the file has no depth sentence.

    Notes
    -----
    A depth belongs to the last fix before it. DBT and DPT are below the transducer: a positive offset of DPT is the
    transducer's depth; a negative one is down to the keel and says nothing of the surface. DBS is below the surface.
    """
    log, sentences = _Log(), 0
    for line, raw in enumerate(text.splitlines(), start=1):
        match = _SENTENCE.search(raw)
        if match is None:
            if "$" in raw:
                log.drop("not a whole sentence", line)
            continue
        talker, body, check = match.groups()
        name = talker[2:]
        if name not in ("RMC", "GGA", "ZDA", "DPT", "DBT", "DBS", "MTW"):
            continue
        sentences += 1
        if check is None:
            log.drop("a sentence without a checksum", line)
        elif checksum(f"{talker},{body}") != int(check, 16):
            log.drop("a sentence with a wrong checksum", line)
        else:
            _sentence(log, name, body.split(","), line)
    if not log.depths:
        raise DataUnfit(
            f"{sentences} sentences of position, none of depth" if sentences else "no NMEA 0183 sentence",
            "depth sentences (DPT, DBT or DBS)", "let the sounder write them to the log", where=file,
        )  # fmt: skip
    table = np.array(log.rows, dtype=np.float64).reshape(-1, 7)
    seconds = table[:, 3]
    dated = np.isfinite(seconds)
    taken = np.full(len(table), np.datetime64("NaT", "ms"))
    taken[dated] = (seconds[dated] * 1000).round().astype("int64").astype("datetime64[ms]")
    draft = table[:, 4]
    notes = []
    if math.isfinite(transducer_m):
        own = draft[np.isfinite(draft) & (draft > 0)]
        if len(own) and abs(float(np.median(own)) - transducer_m) > 0.02:
            notes.append(
                f"The log gives the transducer at {np.median(own):.2f} m; {transducer_m:.2f} m as given is used."
            )
        draft = np.where(draft == 0, 0.0, transducer_m)
    elif np.isnan(draft).any():
        notes.append("The transducer's depth is not known and was taken as 0: give --transducer-depth.")
        if log.negative_offset:
            notes.append("The offset in DPT is down to the keel, so it says nothing of the surface.")
    if not dated.all():
        notes.append(f"{int((~dated).sum())} soundings have no date: the log has neither RMC nor ZDA before them.")
    extra = {}
    if np.isfinite(table[:, 5]).any():
        extra["water_c"] = [f"{value:.1f}" if math.isfinite(value) else "" for value in table[:, 5]]
    return batch(
        file, "NMEA 0183", table[:, 0], table[:, 1], table[:, 2], taken_at=taken, draft_m=np.nan_to_num(draft),
        method=["sonar"] * len(table), where=table[:, 6], extra=extra, seen=log.depths, notes=tuple(notes),
        drops=tuple(Drop(reason, count, f"line {log.first[reason]}") for reason, count in log.drops.items()),
    )  # fmt: skip
