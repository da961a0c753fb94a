"""Sun times at the river, horizon at 0 elevation, in UTC."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

__all__ = ["SunTimes", "sun_times"]


_HALF_DAY = timedelta(hours=12, minutes=30)  # a noon differs from the next by less than the half hour


@dataclass(frozen=True)
class SunTimes:
    """Dawn and dusk (civil, sun 6° under the horizon), sunrise and sunset, UTC; None where there is none that day."""

    dawn: datetime | None
    sunrise: datetime | None
    sunset: datetime | None
    dusk: datetime | None

    def is_dark(self, moment: datetime) -> bool | None:
        """Whether a moment of that day lies before dawn or after dusk; None where the sun gives neither."""
        if self.dawn is None or self.dusk is None:
            return None
        return moment < self.dawn or moment > self.dusk


def sun_times(lon: float, lat: float, day: date, timezone: str) -> SunTimes:
    """Sun times of a local day.

    Parameters
    ----------
    lon, lat : float
        Place [degrees].
    day : date
        The day in the river's own zone.
    timezone : str
        zoneinfo key of the river.

    Returns
    -------
    SunTimes
        Of the daylight about that local day's noon, as UTC: far north in summer dusk, and sunset too, come after
        midnight. Hills and trees take light away earlier.

    Examples
    --------
    >>> sun_times(-91.0, 43.5, date(2026, 6, 21), "America/Chicago").sunset.isoformat(timespec="minutes")
    '2026-06-22T01:48+00:00'
    """
    from astral import Observer
    from astral import sun as astral_sun

    observer = Observer(latitude=lat, longitude=lon, elevation=0.0)
    zone = ZoneInfo(timezone)

    def around(name: str) -> list[datetime]:
        """The event on this day, the day before and the day after; one that is named for a date may lie a day off."""
        found = []
        for days in (-1, 0, 1):
            try:
                found.append(getattr(astral_sun, name)(observer, date=day + timedelta(days=days), tzinfo=zone))
            except ValueError:  # the sun does not cross that line on this day
                continue
        return found

    noon = next(moment for moment in around("noon") if moment.date() == day)

    def near(name: str, beyond: datetime | None) -> datetime | None:
        """The event next to noon on its side of it, and no nearer than `beyond`."""
        after = name in ("sunset", "dusk")
        edge = beyond or noon
        half = [m for m in around(name) if (m >= edge if after else m <= edge) and abs(m - noon) < _HALF_DAY]
        return (min(half) if after else max(half)).astimezone(UTC) if half else None

    sunrise, sunset = near("sunrise", None), near("sunset", None)
    return SunTimes(near("dawn", sunrise), sunrise, sunset, near("dusk", sunset))
