"""What every gauge service gives back: a `Series` of rows with their quality.

Times are UTC, stage is in metres above the gauge's own zero, NaN means unknown.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from enum import StrEnum

import numpy as np

__all__ = ["QUALITY_ORDER", "Quality", "Reading", "Series", "to_datetime", "to_datetime64"]


class Quality(StrEnum):
    """How far a row can be trusted; the words are those shown on the page."""

    MEASURED = "measured"
    PROVISIONAL = "provisional"
    ESTIMATED = "estimated"
    FORECAST = "forecast"
    STALE = "stale"
    ICE = "ice"
    EQUIPMENT = "equipment"
    MISSING = "missing"


# From best to worst. Where stage and discharge of one row differ, the row carries the worse of the two. Ice stands
# above equipment and missing because it says why the value is missing and calls for a caution of its own.
QUALITY_ORDER: tuple[Quality, ...] = (
    Quality.MEASURED,
    Quality.PROVISIONAL,
    Quality.ESTIMATED,
    Quality.FORECAST,
    Quality.STALE,
    Quality.MISSING,
    Quality.EQUIPMENT,
    Quality.ICE,
)

# A value of another parameter may stand up to this long before the row it is read with (stations send stage every
# 15 min and temperature every hour). Design choice.
_COMPANION = np.timedelta64(3600, "s")


@dataclass(frozen=True)
class Reading:
    """One row of a series.

    Parameters
    ----------
    time : datetime
        UTC.
    stage_m : float
        Stage above the gauge's zero [m].
    discharge_m3s : float
        Discharge [m³/s].
    temperature_c : float
        Water temperature [°C].
    turbidity_fnu : float
        Turbidity [FNU].
    quality : Quality
        The worse of the qualities of stage and discharge.
    """

    time: datetime
    stage_m: float
    discharge_m3s: float
    temperature_c: float
    turbidity_fnu: float
    quality: Quality


@dataclass(frozen=True)
class Series:
    """Rows of one station, times ascending and unique.

    Parameters
    ----------
    station : str
        ``service:station``, such as ``usgs:01541000``.
    service : str
        The part before the colon.
    name : str
        The station's name as the service gives it.
    times : np.ndarray
        UTC, datetime64[s], shape (n,).
    stage_m, discharge_m3s, temperature_c, turbidity_fnu : np.ndarray
        float64, shape (n,); NaN is unknown [m], [m³/s], [°C], [FNU].
    quality : np.ndarray
        Words of `Quality`, shape (n,).
    notes : tuple of str
        Said aloud: which sensor was chosen, what was left out or missing.
    retrieved_at : datetime
        When the reply was received or the file read, UTC.
    from_cache : bool
        True when the service did not answer and stored observations stand in.
    """

    station: str
    service: str
    name: str
    times: np.ndarray
    stage_m: np.ndarray
    discharge_m3s: np.ndarray
    temperature_c: np.ndarray
    turbidity_fnu: np.ndarray
    quality: np.ndarray
    notes: tuple[str, ...]
    retrieved_at: datetime
    from_cache: bool = False

    def __len__(self) -> int:
        return len(self.times)

    def has_level(self) -> np.ndarray:
        """Rows with a stage or a discharge, bool, shape (n,)."""
        return np.isfinite(self.stage_m) | np.isfinite(self.discharge_m3s)

    def last(self) -> Reading:
        """Last row with a stage or a discharge; the last row of all when no row has one.

        The other values come from their newest row within 1 h before, unless the last row itself is flagged as ice,
        equipment or missing; a stage or discharge that is flagged as equipment trouble stands beside no other.

        Raises
        ------
        IndexError
            When the series has no row.
        """
        good = np.flatnonzero(self.has_level())
        return self.reading(int(good[-1]) if len(good) else len(self.times) - 1)

    def reading(self, row: int) -> Reading:
        """The reading of one row, with companions up to 1 h older (see `last`)."""
        if not len(self.times):
            raise IndexError("the series has no row")
        quality = Quality(str(self.quality[row]))
        flagged = quality in (Quality.ICE, Quality.EQUIPMENT, Quality.MISSING)

        def value(column: np.ndarray, fill: bool) -> float:
            level = column is self.stage_m or column is self.discharge_m3s
            for at in range(row, -1, -1):
                if self.times[row] - self.times[at] > _COMPANION or (at < row and not fill):
                    break
                spoilt = level and at < row and self.quality[at] == str(Quality.EQUIPMENT)
                if not np.isnan(column[at]) and not spoilt:
                    return float(column[at])
            return float("nan")

        return Reading(
            time=to_datetime(self.times[row]),
            stage_m=value(self.stage_m, not flagged),
            discharge_m3s=value(self.discharge_m3s, not flagged),
            temperature_c=value(self.temperature_c, True),
            turbidity_fnu=value(self.turbidity_fnu, True),
            quality=quality,
        )

    def last_flags(self) -> tuple[Quality, ...]:
        """Qualities from the last row with a stage or discharge to the end, each once, in order of time.

        A series that ends in rows without value because of ice gives for example ``(provisional, ice)``.
        """
        good = np.flatnonzero(self.has_level())
        tail = self.quality[int(good[-1]) if len(good) else 0 :]
        return tuple(Quality(word) for word in dict.fromkeys(str(word) for word in tail))

    def between(self, start: datetime, end: datetime) -> Series:
        """Rows from `start` to `end`, both included."""
        keep = (self.times >= to_datetime64(start)) & (self.times <= to_datetime64(end))
        return self if bool(keep.all()) else self.rows(keep)

    def rows(self, keep: np.ndarray) -> Series:
        """The rows chosen by a boolean or index array."""
        return replace(
            self,
            times=self.times[keep],
            stage_m=self.stage_m[keep],
            discharge_m3s=self.discharge_m3s[keep],
            temperature_c=self.temperature_c[keep],
            turbidity_fnu=self.turbidity_fnu[keep],
            quality=self.quality[keep],
        )

    def stood_in(self, why: str) -> Series:
        """The same rows as stored observations: the last one with a level is stale, and the notes say why."""
        quality = self.quality.copy()
        good = np.flatnonzero(self.has_level())
        if len(good) and QUALITY_ORDER.index(Quality(str(quality[good[-1]]))) < QUALITY_ORDER.index(Quality.STALE):
            quality[good[-1]] = str(Quality.STALE)
        stored = f"{self.retrieved_at:%Y-%m-%d %H:%M} UTC"
        return replace(self, quality=quality, from_cache=True).noted(
            f"{why}; observations stored on {stored} stand in, the last of them marked stale"
        )

    def noted(self, *notes: str) -> Series:
        """The same series with notes added, each once."""
        return replace(self, notes=tuple(dict.fromkeys((*self.notes, *notes))))


def to_datetime64(time: datetime | np.datetime64) -> np.datetime64:
    """UTC datetime64[s] of an aware time.

    Raises
    ------
    ValueError
        When the time carries no zone.
    """
    if isinstance(time, np.datetime64):
        return time.astype("datetime64[s]")
    if time.tzinfo is None:
        raise ValueError(f"time {time.isoformat()} carries no zone")
    return np.datetime64(time.astimezone(UTC).replace(tzinfo=None), "s")


def to_datetime(time: np.datetime64) -> datetime:
    """Aware UTC datetime of a datetime64 that holds UTC."""
    seconds = int(time.astype("datetime64[s]").astype(np.int64))
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)
