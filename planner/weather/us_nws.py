"""US National Weather Service API: a point's grid forecast and the alerts in force there. No key is needed.

The service's names on the left, ours on the right:

    properties.forecastGridData                     address of the grid
    properties.updateTime                           Forecast.issued_at
    properties.temperature [wmoUnit:degC]           air_c
    properties.windSpeed [wmoUnit:km_h-1]           wind_m_s
    properties.windDirection [wmoUnit:degree_(angle)]  wind_from_deg
    properties.windGust [wmoUnit:km_h-1]            gust_m_s
    properties.probabilityOfThunder [%]             thunder_chance
    properties.weather[].coverage, .weather         thunder_chance, where the figure is not given
    properties.probabilityOfPrecipitation [%]       rain_chance
    properties.quantitativePrecipitation [wmoUnit:mm]  rain_mm, spread over its hours
    features[].properties.event, headline, description, instruction, areaDesc   the same
    features[].properties.senderName (sender)       sender
    features[].properties.sent, onset (effective), ends   sent, begins, ends

`expires` is when the message runs out, not the event; without `ends` an alert counts as in force.
"""

from __future__ import annotations

import json
import math
import re
from typing import TYPE_CHECKING, Any

from planner.errors import DataUnfit
from planner.tables import rows
from planner.weather.records import Alert, Forecast, moment

if TYPE_CHECKING:
    import requests

__all__ = [
    "SERVICE",
    "get_alerts",
    "get_forecast",
    "parse_alerts",
    "parse_grid",
    "parse_point",
]

SERVICE = "US National Weather Service"
_ADDRESS = "https://api.weather.gov"
_HOST = re.compile(r"^https://api\.weather\.gov/gridpoints/[A-Z]{3}/-?\d+,-?\d+$")
_KINDS = ("application/geo+json", "application/ld+json", "application/json")
_LIMIT_BYTES = 16 * 1024 * 1024
_PERIOD = re.compile(r"^P(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?)?$")
_LONGEST_H = 24 * 14  # a single value for longer than two weeks is no forecast


def _document(raw: bytes, what: str) -> dict[str, Any]:
    try:
        found = json.loads(raw)
    except (ValueError, RecursionError) as error:
        raise _unfit(what, "no JSON") from error
    if not isinstance(found, dict):
        raise _unfit(what, "no JSON object")
    return found


def _unfit(what: str, why: str) -> DataUnfit:
    return DataUnfit(f"{SERVICE}: the reply for {what} is not in the service's form ({why})", "its JSON", "look later")


def parse_point(raw: bytes) -> str:
    """The address of a point's grid forecast.

    Raises
    ------
    DataUnfit
        When there is none, or it leads to another host.
    """
    properties = _document(raw, "the point").get("properties")
    address = properties.get("forecastGridData") if isinstance(properties, dict) else None
    if not isinstance(address, str) or not _HOST.match(address):
        raise _unfit("the point", "no address of a grid forecast")
    return address


def _hours(layer: Any) -> list[tuple[int, int, Any]]:
    """First hour [h since 1970], number of hours and value of each entry of a layer."""
    values = layer.get("values") if isinstance(layer, dict) else None
    found = []
    for entry in values if isinstance(values, list) else ():
        if not isinstance(entry, dict) or not isinstance(entry.get("validTime"), str):
            continue
        begins, _, period = entry["validTime"].partition("/")
        start, match = moment(begins), _PERIOD.match(period)
        if start is None or match is None:
            continue
        days, hours, minutes = (int(part or 0) for part in match.groups())
        length = math.ceil(days * 24 + hours + minutes / 60)
        if 0 < length <= _LONGEST_H:
            found.append((math.floor(start.timestamp() / 3600), length, entry.get("value")))
    return found


def _number(value: Any) -> float:
    if not isinstance(value, int | float) or isinstance(value, bool):
        return math.nan
    try:
        number = float(value)
    except OverflowError:  # JSON bounds no whole number
        return math.nan
    return number if math.isfinite(number) else math.nan


def _thunder(value: Any) -> float:
    """Chance of thunder that a list of coverage words says [%]; NaN for a list that cannot be read."""
    if not isinstance(value, list):
        return math.nan
    words = {row["term"]: float(row["chance"]) for row in rows("weather_terms")}
    chance = 0.0
    for item in value:
        if not isinstance(item, dict):
            return math.nan
        if "thunder" in str(item.get("weather") or ""):
            chance = max(chance, words.get(str(item.get("coverage") or ""), words["other"]))
    return chance


_FACTORS = {"wmoUnit:km_h-1": 1 / 3.6, "wmoUnit:m_s-1": 1.0, "wmoUnit:degC": 1.0, "wmoUnit:mm": 1.0}
_UNITLESS = {"wmoUnit:percent": 1.0, "wmoUnit:degree_(angle)": 1.0}


def parse_grid(raw: bytes) -> Forecast:
    """A grid forecast as a `Forecast`.

    Parameters
    ----------
    raw : bytes
        Reply of ``gridpoints/OFFICE/X,Y``.

    Raises
    ------
    DataUnfit
        When no hour can be read, or a layer comes in a unit that is not known.
    """
    import numpy as np

    properties = _document(raw, "the forecast").get("properties")
    if not isinstance(properties, dict):
        raise _unfit("the forecast", "no properties")
    notes: list[str] = []
    layers: dict[str, list[tuple[int, int, float]]] = {}
    for name in (
        "temperature windSpeed windDirection windGust probabilityOfThunder probabilityOfPrecipitation "
        "quantitativePrecipitation"
    ).split():
        layer = properties.get(name)
        unit = layer.get("uom") if isinstance(layer, dict) else None
        factor = {**_FACTORS, **_UNITLESS}.get(str(unit or "wmoUnit:percent"))
        if factor is None:
            raise _unfit("the forecast", f"{name} in {unit}")
        spread = name == "quantitativePrecipitation"
        layers[name] = [
            (begin, length, _number(value) * factor / (length if spread else 1))
            for begin, length, value in _hours(layer)
        ]
    words = [(begin, length, _thunder(value)) for begin, length, value in _hours(properties.get("weather"))]
    if not layers["probabilityOfThunder"] and words:
        notes.append("The chance of thunder is taken from the forecast's words, at the upper end of each.")
    marks = [begin for layer in (*layers.values(), words) for begin, _, _ in layer]
    ends = [begin + length for layer in (*layers.values(), words) for begin, length, _ in layer]
    if not marks:
        raise _unfit("the forecast", "no hour that can be read")
    first, last = min(marks), min(max(ends), min(marks) + _LONGEST_H)

    def series(layer: list[tuple[int, int, float]]) -> np.ndarray:
        found = np.full(last - first, np.nan)
        for begin, length, value in layer:
            part = found[max(begin - first, 0) : max(begin - first + length, 0)]
            part[:] = np.fmax(part, value)  # where two entries meet, the higher
        return found

    thunder = series(layers["probabilityOfThunder"])
    thunder = np.where(np.isfinite(thunder), thunder, series(words))
    return Forecast(
        SERVICE,
        "",
        moment(properties.get("updateTime")),
        (np.arange(first, last) * 3600).astype("datetime64[s]"),
        series(layers["temperature"]),
        series(layers["windSpeed"]),
        series(layers["windDirection"]),
        series(layers["windGust"]),
        thunder,
        series(layers["probabilityOfPrecipitation"]),
        series(layers["quantitativePrecipitation"]),
        tuple(notes),
    )


def parse_alerts(raw: bytes) -> tuple[Alert, ...]:
    """The alerts of a reply, texts unaltered; test and exercise messages are left out.

    Raises
    ------
    DataUnfit
        When the reply is no list of alerts: no alert is then known, which is not the same as none in force.
    """
    features = _document(raw, "alerts").get("features")
    if not isinstance(features, list):
        raise _unfit("alerts", "no features")
    found = []
    for feature in features:
        properties = feature.get("properties") if isinstance(feature, dict) else None
        if not isinstance(properties, dict) or not isinstance(properties.get("event"), str):
            raise _unfit("alerts", "an alert without its event")

        def text(name: str, given: dict[str, Any] = properties) -> str:
            value = given.get(name)
            return value if isinstance(value, str) else ""

        if text("status") not in ("Actual", "") or text("messageType") == "Cancel":
            continue
        found.append(
            Alert(
                text("id"), text("event"), text("headline"), text("description"), text("instruction"), text("areaDesc"),
                text("senderName") or text("sender"), moment(properties.get("sent")),
                moment(properties.get("onset")) or moment(properties.get("effective")),
                moment(properties.get("ends")), text("severity"), text("certainty"), text("urgency"),
                text("messageType"), text("status"), text("@id"),
            )
        )  # fmt: skip
    return tuple(found)


def _plain(value: float) -> str:
    """Four decimals without trailing zeros: the service redirects anything longer."""
    return f"{value:.4f}".rstrip("0").rstrip(".")


def get_forecast(lon: float, lat: float, session: requests.Session | None = None) -> Forecast:
    """The forecast of a place from the service.

    Parameters
    ----------
    lon, lat : float
        Place [degrees].
    session : requests.Session, optional
        For tests.

    Raises
    ------
    SourceUnreachable, DataUnfit
        No answer, or none that can be read; a place outside the service's area too.
    """
    from planner.gauges.transport import fetch

    point = fetch(
        f"{_ADDRESS}/points/{_plain(lat)},{_plain(lon)}", {}, session=session, what=SERVICE, kinds=_KINDS,
        limit_bytes=_LIMIT_BYTES,
    )  # fmt: skip
    grid = fetch(parse_point(point), {}, session=session, what=SERVICE, kinds=_KINDS, limit_bytes=_LIMIT_BYTES)
    return parse_grid(grid)


def get_alerts(lon: float, lat: float, session: requests.Session | None = None) -> tuple[Alert, ...]:
    """The alerts in force at a place, from the service.

    Raises
    ------
    SourceUnreachable, DataUnfit
        No answer, or none that can be read.
    """
    from planner.gauges.transport import fetch

    raw = fetch(
        f"{_ADDRESS}/alerts/active", {"point": f"{_plain(lat)},{_plain(lon)}"}, session=session, what=SERVICE,
        kinds=_KINDS, limit_bytes=_LIMIT_BYTES,
    )  # fmt: skip
    return parse_alerts(raw)
