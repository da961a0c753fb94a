"""From a river folder, the gauge's record and what is expected of it to the conditions that the rules look at."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from planner.caution.inputs import party_conditions
from planner.caution.past import rise_conditions
from planner.caution.records import Conditions
from planner.errors import RiverFolderUnfit
from planner.units import parse

if TYPE_CHECKING:
    from datetime import datetime

    from planner.gauges.series import Series
    from planner.river.records import River
    from planner.water.expect import Expected

__all__ = ["at_level", "at_stance", "gather_conditions"]

_DAY_S = 86400


def _extreme(pick: Any, *columns: Any) -> float | None:
    """Highest or lowest known value of the first column that has one."""
    import numpy as np

    for column in columns:
        values = np.asarray(column, dtype=float)
        values = values[np.isfinite(values)]
        if values.size:
            return float(pick(values))
    return None


def _coldest(series: Series, now: datetime) -> float | None:
    """Lowest water temperature of the day before `now` [°C]: the morning is colder than the evening's reading."""
    import numpy as np

    age = now.timestamp() - series.times.astype("datetime64[s]").astype(np.int64)
    return _extreme(min, series.temperature_c[(age >= 0) & (age <= _DAY_S)])


def _folder(river: River) -> dict[str, Any]:
    """What the river folder says beyond its party: ``regulated`` and ``craft_minimum`` (a discharge with its unit)."""
    out = dict(party_conditions(river.party))
    if isinstance(river.extra.get("regulated"), bool):
        out["regulated"] = river.extra["regulated"]
    minimum = river.extra.get("craft_minimum")
    if minimum is not None:
        try:
            out["craft_minimum_m3s"] = parse(str(minimum), "m**3/s", "craft_minimum")
        except Exception as error:
            raise RiverFolderUnfit(
                f"craft_minimum is {minimum!r}", "a discharge such as '350 cfs'", "correct it", "river.toml"
            ) from error
    if river.spots:
        out["wading_planned"] = any(spot.stance == "wading" for spot in river.spots)
    return out


def gather_conditions(
    river: River,
    expected: Expected | None = None,
    series: Series | None = None,
    now: datetime | None = None,
    trip: Any = None,
) -> Conditions:
    """Conditions of the river for the window, each figure on its cautious side.

    Parameters
    ----------
    river : River
        Party, ``regulated`` and ``craft_minimum``.
    expected : Expected, optional
        Its highest upper 90 % stage and discharge over the window count, and its lowest 10 % for low water.
    series : Series, optional
        The record: rise of the last hours, its rank in the record, coldest water of the last day.
    now : datetime, optional
        The plan's clock; later rows are not looked at.
    trip : Trip, optional
        Anything with `takeout_vs_sunset_min`, `takeout_vs_dusk_min` and `hazards_in_reach`.

    Returns
    -------
    Conditions
        With `level_given` when the level was stated by the user; the age is then that of the record, if any.
    """
    found = _folder(river)
    given = expected is not None and expected.given
    found["level_given"] = given
    if series is not None and len(series):
        found |= rise_conditions(series.times, series.stage_m, series.discharge_m3s, now)
        if now is not None:
            found["water_temp_c"] = _coldest(series, now)
    if expected is not None:
        found["stage_m"] = _extreme(max, expected.stage_high_m, expected.stage_m)
        found["discharge_m3s"] = _extreme(max, expected.discharge_high_m3s, expected.discharge_m3s)
        found["discharge_low_m3s"] = _extreme(min, expected.discharge_low_m3s, expected.discharge_m3s)
        found["turbidity_fnu"] = expected.last.turbidity_fnu
        if not given:
            found["data_age_min"], found["quality"] = expected.age_min, str(expected.quality)
        elif str(expected.quality) == "ice":
            found["quality"] = "ice"
    if given and series is not None and now is not None and bool(series.has_level().any()):
        reading = series.rows(series.times.astype("datetime64[s]").astype("int64") <= now.timestamp())
        if bool(reading.has_level().any()):
            found["data_age_min"] = (now - reading.last().time).total_seconds() / 60
    if trip is not None:
        for name in ("takeout_vs_sunset_min", "takeout_vs_dusk_min", "hazards_in_reach"):
            found[name] = getattr(trip, name)
    return Conditions(**found)


def at_level(c: Conditions, stage: float = math.nan, discharge: float = math.nan) -> Conditions:
    """The conditions at one step of the ladder: its level is stated, all else stays as it is.

    Parameters
    ----------
    c : Conditions
        Of the river.
    stage, discharge : float
        The step [m], [m³/s]; NaN unknown.
    """
    return replace(c, stage_m=stage, discharge_m3s=discharge, discharge_low_m3s=discharge, level_given=True)


def at_stance(c: Conditions, depth: float, speed: float, dark: bool | None = None) -> Conditions:
    """The conditions where somebody stands.

    Parameters
    ----------
    c : Conditions
        Of the river or of one step of the ladder.
    depth, speed : float
        Depth [m] and depth-averaged speed [m/s] at the stance, upper 90 %; NaN unknown.
    dark : bool, optional
        Whether the stop lies in the dark.
    """
    return replace(c, wade_depth_m=depth, wade_speed_m_s=speed, dark=dark)
