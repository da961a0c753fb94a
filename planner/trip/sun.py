"""Sun times at the river, horizon at 0 elevation, in UTC."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

__all__ = ["SunTimes", "sun_times"]


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
        Each on that local day, as UTC. Hills and trees take light away earlier.

    Examples
    --------
    >>> sun_times(-91.0, 43.5, date(2026, 6, 21), "America/Chicago").sunset.isoformat(timespec="minutes")
    '2026-06-22T01:48+00:00'
    """
    from astral import Observer
    from astral import sun as astral_sun

    observer = Observer(latitude=lat, longitude=lon, elevation=0.0)
    zone = ZoneInfo(timezone)

    def of(name: str) -> datetime | None:
        try:
            moment: datetime = getattr(astral_sun, name)(observer, date=day, tzinfo=zone)
        except ValueError:  # the sun does not cross that line on this day
            return None
        return moment.astimezone(UTC)

    return SunTimes(of("dawn"), of("sunrise"), of("sunset"), of("dusk"))
