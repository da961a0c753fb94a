"""The gauge services: what may stand before the colon of ``service:station``, and what is known of each.

This is the one list of them. It stands left of the river folder, the gauges, the weather, the commands and the desk,
which all read it, and loads nothing, so that ``plumbrun --help`` stays quick. A service's module is
`planner.gauges.NAME`.
"""

from __future__ import annotations

from typing import NamedTuple

__all__ = ["SERVICES", "GaugeService", "country_of", "marks_ice", "one_of", "with_list"]


class GaugeService(NamedTuple):
    """One service.

    Parameters
    ----------
    country : str
        Whose water it gauges, by the word that the weather services go by; empty for a file of one's own.
    said : str
        What it gauges, as a person chooses it from a list; empty when it has no list of stations to look in.
    marks_ice : bool
        Whether its readings say so when there is ice; the silence of one that never does says nothing.
    """

    country: str
    said: str
    marks_ice: bool = False


SERVICES = {
    "usgs": GaugeService("us", "United States", marks_ice=True),
    "noaa": GaugeService("us", "United States, forecast points"),
    "canada": GaugeService("canada", "Canada"),
    "england": GaugeService("england", "England"),
    "france": GaugeService("france", "France"),
    "file": GaugeService("", "", marks_ice=True),
}


def with_list() -> tuple[str, ...]:
    """Services whose stations can be looked for around a point."""
    return tuple(name for name, service in SERVICES.items() if service.said)


def country_of(station: str) -> str:
    """Country of ``service:station``; empty when the service tells none.

    Examples
    --------
    >>> country_of("noaa:LGNN8"), country_of("file:gauge.csv")
    ('us', '')
    """
    name = station.partition(":")[0]
    return SERVICES[name].country if name in SERVICES else ""


def marks_ice(station: str) -> bool:
    """Whether the readings of ``service:station`` say so when there is ice; False when the service is not known.

    Examples
    --------
    >>> marks_ice("usgs:01541000"), marks_ice("canada:05BJ004"), marks_ice("")
    (True, False, False)
    """
    name = station.partition(":")[0]
    return name in SERVICES and SERVICES[name].marks_ice


def one_of(names: tuple[str, ...]) -> str:
    """Names as a sentence offers them.

    Examples
    --------
    >>> one_of(("usgs", "noaa", "canada"))
    'usgs, noaa or canada'
    """
    return " or ".join(part for part in (", ".join(names[:-1]), *names[-1:]) if part)
