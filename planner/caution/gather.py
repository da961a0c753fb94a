"""From a river folder, the gauge's record and what is expected of it to the conditions that the rules look at."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from planner.caution.inputs import party_conditions
from planner.caution.past import cloudy_conditions, rise_conditions
from planner.caution.records import Conditions
from planner.errors import RiverFolderUnfit
from planner.services import marks_ice
from planner.units import parse

if TYPE_CHECKING:
    from planner.gauges.series import Series
    from planner.river.records import River
    from planner.water.expect import Expected

__all__ = ["at_level", "at_stance", "flood_categories", "gather_conditions", "release_within"]

_DAY_S = 86400
_CATEGORIES = ("action", "minor", "moderate", "major")
# Design choice: water let go this long before the hours on the river may still be on its way down.
_RELEASE_ON_ITS_WAY = timedelta(hours=6)


def _extreme(pick: Any, *columns: Any) -> float | None:
    """Highest or lowest known value of the first column that has one."""
    import numpy as np

    for column in columns:
        values = np.asarray(column, dtype=float)
        values = values[np.isfinite(values)]
        if values.size:
            return float(pick(values))
    return None


def _temperatures(series: Series, now: datetime) -> dict[str, float | None]:
    """Lowest and highest water temperature of the day before `now` [°C]: one reading is neither of the two."""
    import numpy as np

    age = now.timestamp() - series.times.astype("datetime64[s]").astype(np.int64)
    day = series.temperature_c[(age >= 0) & (age <= _DAY_S)]
    return {"water_temp_c": _extreme(min, day), "water_temp_high_c": _extreme(max, day)}


def _without_failures(series: Series, now: datetime | None) -> Series:
    """The record without what a failed instrument gave between good readings; at its end it stands, marked as it is."""
    import numpy as np

    from planner.gauges.series import Quality
    from planner.water.clean import without_marked

    known = series.has_level() & (series.quality != str(Quality.EQUIPMENT))
    if now is not None:
        known &= series.times.astype("datetime64[s]").astype(np.int64) <= now.timestamp()
    good = np.flatnonzero(known)
    return without_marked(series, Quality.EQUIPMENT, until=int(good[-1]) if len(good) else 0)


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


def flood_categories(river: River) -> dict[str, float]:
    """Flood categories that the river folder holds, for a gauge whose service gives none.

    ``[flood_stage]`` in river.toml: ``unit``, ``source`` and any of ``action``, ``minor``, ``moderate``, ``major``.

    Returns
    -------
    dict
        Category to stage [m].
    """
    table = river.extra.get("flood_stage")
    if not isinstance(table, Mapping):
        return {}
    found = {}
    for name in _CATEGORIES:
        if table.get(name) is None:
            continue
        try:
            found[name] = parse(f"{table[name]} {table.get('unit', 'm')}", "m", f"flood_stage {name}")
        except Exception as error:
            raise RiverFolderUnfit(
                f"flood_stage {name} is {table[name]!r}",
                "a number, with unit = 'ft' or 'm'",
                "correct it",
                "river.toml",
            ) from error
    return found


def release_within(river: River, start: datetime, end: datetime) -> bool | None:
    """Whether a release that the river folder lists falls into some hours; None when it lists none.

    ``[[release]]`` in river.toml: ``from`` and ``to`` with their offset, and ``source``. A release counts from its
    beginning to 6 h after its end. None falling in is no promise: a regulated reach keeps its own caution.

    Parameters
    ----------
    river : River
        As read.
    start, end : datetime
        The hours, aware.
    """
    listed = river.extra.get("release")
    if isinstance(listed, Mapping):
        listed = [listed]
    if not isinstance(listed, list | tuple) or not listed:
        return None
    hit = False
    for item in listed:
        begins, ends = (_aware(item, name) for name in ("from", "to"))
        hit = hit or (begins <= end and ends + _RELEASE_ON_ITS_WAY >= start)
    return hit


def _aware(item: Any, name: str) -> datetime:
    value = item.get(name) if isinstance(item, Mapping) else None
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError:
            value = None
    if not isinstance(value, datetime) or value.tzinfo is None:
        raise RiverFolderUnfit(
            f"release {name} is {item.get(name) if isinstance(item, Mapping) else item!r}",
            "a time with its offset, like 2026-06-13T10:00:00-05:00",
            "correct it",
            "river.toml",
        )
    return value


def gather_conditions(
    river: River,
    expected: Expected | None = None,
    series: Series | None = None,
    now: datetime | None = None,
    trip: Any = None,
    *,
    categories: Mapping[str, float] | None = None,
    standing: Mapping[str, float | None] | None = None,
    weather: Any = None,
) -> Conditions:
    """Conditions of the river for the window, each figure on its cautious side.

    Parameters
    ----------
    river : River
        Party, ``regulated`` and ``craft_minimum``.
    expected : Expected, optional
        Its highest upper 90 % stage and discharge over the window count, and its lowest 10 % for low water.
    series : Series, optional
        The record: rise of the last hours, its rank in the record, coldest and warmest water of the last
        day.
    now : datetime, optional
        The plan's clock; later rows are not looked at.
    trip : Trip, optional
        Anything with `takeout_vs_sunset_min`, `takeout_vs_dusk_min` and `hazards_in_reach`, and `start`, `end` and
        `take_out_latest` for the releases.
    categories : mapping, optional
        The agency's flood categories of the gauge: ``action``, ``minor``, ``moderate``, ``major`` to stage [m]. Of
        these and the river folder's own the lower counts.
    standing : mapping, optional
        `percentile_season` and `percentile_all_days` of the discharge [%].
    weather : Weather, optional
        Anything whose `conditions()` gives `air_temp_c`, `thunder_chance` and alerts for the hours.

    Returns
    -------
    Conditions
        With `level_given` when the level was stated by the user; the age is then that of the record, if any.
    """
    found = _folder(river)
    given = expected is not None and expected.given
    found["level_given"] = given
    if series is not None:
        found["ice_unmarked"] = not marks_ice(series.station)
    if series is not None and len(series):
        risen = _without_failures(series, now)
        found |= rise_conditions(series.times, risen.stage_m, risen.discharge_m3s, now)
        found |= cloudy_conditions(series.times, series.turbidity_fnu, now)
        if now is not None:
            found |= _temperatures(series, now)
    if expected is not None:
        found["stage_m"] = _extreme(max, expected.stage_cautious_m)
        found["discharge_m3s"] = _extreme(max, expected.discharge_cautious_m3s)
        found["discharge_low_m3s"] = _extreme(min, expected.discharge_low_m3s, expected.discharge_m3s)
        found["turbidity_fnu"] = expected.last.turbidity_fnu
        if not given:
            found["observed_stage_m"] = expected.last.stage_m
            found["data_age_min"], found["quality"] = expected.age_min, str(expected.quality)
        elif str(expected.quality) == "ice":
            found["quality"] = "ice"
    if given and series is not None and now is not None and bool(series.has_level().any()):
        reading = series.rows(series.times.astype("datetime64[s]").astype("int64") <= now.timestamp())
        if bool(reading.has_level().any()):
            found["data_age_min"] = (now - reading.last().time).total_seconds() / 60
            if found.get("quality") is None and "equipment" in reading.last_flags():
                found["quality"] = "equipment"  # of what the record says beside the stated level, the rise above all
    if trip is not None:
        for name in ("takeout_vs_sunset_min", "takeout_vs_dusk_min", "hazards_in_reach"):
            found[name] = getattr(trip, name)
        if hasattr(trip, "start") and hasattr(trip, "end"):
            # the slow end of a float comes after the hours asked for
            found["release_in_window"] = release_within(
                river, trip.start, max(trip.end, getattr(trip, "take_out_latest", trip.end))
            )
    for name, own in flood_categories(river).items():
        found[f"{name}_stage_m"] = own
    for name, stage in (categories or {}).items():
        if name in _CATEGORIES and stage is not None and math.isfinite(stage):
            found[f"{name}_stage_m"] = min(stage, found.get(f"{name}_stage_m", math.inf))
    found |= {name: value for name, value in (standing or {}).items() if name.startswith("percentile_")}
    if weather is not None:
        found |= weather.conditions()
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
