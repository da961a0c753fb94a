"""What is wrong with soundings though every field can be read: spikes, lost bottoms, jumps, wrong zones and units."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from planner.bed.sources.records import Batch
from planner.river.ground import LocalPlane
from planner.river.values import limits
from planner.tables import constants

__all__ = ["judge", "places_known"]

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


def places_known(river: Any) -> tuple[Floats, Floats, Floats]:
    """Lon, lat [degrees] and depth with draft [m] of a river's soundings."""
    table = river.soundings
    draft = np.nan_to_num(table["draft_m"].to_numpy(float)) if "draft_m" in table else np.zeros(len(table))
    return table["lon"].to_numpy(float), table["lat"].to_numpy(float), table["depth_m"].to_numpy(float) + draft


def judge(found: Batch, river: Any, now: datetime) -> Batch:
    """The batch less what cannot be a sounding, with what is odd said aloud.

    Parameters
    ----------
    found : Batch
        As parsed.
    river : planner.river.River
        Gives the place of its runs, its time zone and the soundings there were before.
    now : datetime
        The clock, aware: a sounding from later is not taken.

    Notes
    -----
    Readings of one device less than `track_gap_s` apart are a track, where a zero is a lost bottom and a reading far
    off the median of its neighbours a spike. Readings on a rod or lead line stand alone: a zero there is the water's
    edge and a step is a ledge. Thresholds are in the table `sounding_checks`.
    """
    if not len(found):
        return found
    found = _positions(found, river)
    found = _moments(found, river, now)
    if not len(found):
        return found
    bound = limits("depth_still_m" if any(run.still for run in river.runs) else "depth_m")
    found = found.without(found.depth_m < 0, "depth is negative")
    track = _tracks(found)
    found, track = _drop(found, track, track & (found.depth_m == 0), "zero: the sounder had lost the bottom")
    x, y = _metres(found)
    found, track = _drop(found, track, _jumps(found, track, x, y), "the position jumps away and back")
    x, y = _metres(found)
    found, track = _drop(found, track, _stuck(found, track, x, y), "the same depth held over a long way")
    found, track = _drop(found, track, _spikes(found, track), "a spike: far off the readings around it")
    found = found.without(found.depth_m > bound.error_high, f"deeper than {bound.error_high:g} m")
    return found.noting(_speed(found), _units(found, river, bound.error_high > 100), *_still_air(found))


def _drop(found: Batch, track: Mask, bad: Mask, reason: str) -> tuple[Batch, Mask]:
    return found.without(bad, reason), track[~bad]


def _metres(found: Batch) -> tuple[Floats, Floats]:
    if not len(found):
        return np.empty(0), np.empty(0)
    plane = LocalPlane(float(np.median(found.lon)), float(np.median(found.lat)))
    return plane.to_xy(found.lon, found.lat)


def _positions(found: Batch, river: Any) -> Batch:
    found = found.without((found.lon == 0) & (found.lat == 0), "position 0, 0: the receiver had no fix")
    beyond = (np.abs(found.lon) > 180) | (np.abs(found.lat) > 90)
    if not river.runs or not len(found):
        return found.without(beyond, "lon or lat beyond the globe")
    boxes = np.array([run.polygon.bounds for run in river.runs])
    low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    plane = LocalPlane(*((low + high) / 2).tolist())
    reach = constants("sounding_checks")["far_km"] * 1000.0

    def away(lon: Floats, lat: Floats) -> Mask:
        near = (np.abs(lon - plane.lon0) < 5) & (np.abs(lat - plane.lat0) < 5)
        x, y = plane.to_xy(np.where(near, lon, plane.lon0), np.where(near, lat, plane.lat0))
        return ~near | (np.hypot(x, y) > reach)

    far = beyond | away(found.lon, found.lat)
    reason = f"more than {reach / 1000:.0f} km from the river's runs"
    if far.any() and not away(found.lat, found.lon)[far].any():
        reason += " (lon and lat look exchanged)"
    elif far.any() and not away(-found.lon, found.lat)[far].any():
        reason += " (the sign of lon looks lost)"
    return found.without(far, reason)


def _moments(found: Batch, river: Any, now: datetime) -> Batch:
    table = constants("sounding_checks")
    late = np.datetime64(round(now.timestamp() * 1000) + 600_000, "ms")
    found = found.without(found.taken_at > late, "taken later than now: a wrong clock, date or time zone")
    old = found.taken_at < np.datetime64(f"{int(table['old_year'])}-01-01", "ms")
    found = found.without(old, f"dated before {int(table['old_year'])}: the receiver's date has rolled over")
    dated = found.taken_at[~np.isnat(found.taken_at)]
    if len(dated):
        zone = ZoneInfo(river.timezone or "UTC")
        hour = np.array(
            [
                datetime.fromtimestamp(int(t) / 1000, zone).hour
                for t in dated.astype("int64")[:: max(len(dated) // 2000, 1)]
            ]
        )
        night = np.mean((hour >= table["night_from_h"]) | (hour < table["night_to_h"]))
        if night > table["night_share"]:
            found = found.noting(
                f"Most soundings are timed at night in {zone.key} ({hour.min():02d} to {hour.max():02d} h): "
                "check the time zone, for the stage is looked up by it."
            )
    undated = int(np.sum(np.isnat(found.taken_at) & np.isnan(found.stage_m)))
    if undated:
        found = found.noting(f"{undated} soundings have neither time nor stage: they will be left out of the bed.")
    return found


def _tracks(found: Batch) -> Mask:
    """Readings with a neighbour in the file that is close in time, of a device and not of a rod or line."""
    gap = np.abs(np.diff(found.taken_at).astype("timedelta64[ms]").astype(float)) / 1000.0
    near = np.diff(found.taken_at).astype(float) == 0  # NaT compares unequal
    near |= (gap <= constants("sounding_checks")["track_gap_s"]) & ~np.isnat(found.taken_at[1:])
    near &= ~np.isnat(found.taken_at[:-1])
    track = np.zeros(len(found), dtype=bool)
    track[:-1] |= near
    track[1:] |= near
    method = np.char.lower(found.method.astype(str))
    by_hand = (np.char.find(method, "lead") >= 0) | (np.char.find(method, "rod") >= 0)
    return track & ~by_hand


def _seconds(found: Batch) -> Floats:
    return found.taken_at.astype("int64") / 1000.0


def _jumps(found: Batch, track: Mask, x: Floats, y: Floats) -> Mask:
    """Points that no boat reaches from the one before nor leaves toward the one after, while those two agree."""
    bad = np.zeros(len(found), dtype=bool)
    if track.sum() < 3:
        return bad
    table = constants("sounding_checks")
    index = np.flatnonzero(track)
    # several depths share a fix: judge fixes, not readings
    fresh = np.ones(len(index), dtype=bool)
    fresh[1:] = (np.diff(x[index]) != 0) | (np.diff(y[index]) != 0)
    head = index[fresh]
    if len(head) < 3:
        return bad
    t = _seconds(found)[head]
    step = np.hypot(np.diff(x[head]), np.diff(y[head]))
    fast = (step > table["jump_least_m"]) & (step > table["speed_most"] * np.maximum(np.abs(np.diff(t)), 1.0))
    across = np.hypot(x[head][2:] - x[head][:-2], y[head][2:] - y[head][:-2])
    span = np.maximum(np.abs(t[2:] - t[:-2]), 1.0)
    lone = np.zeros(len(head), dtype=bool)
    lone[1:-1] = fast[:-1] & fast[1:] & (across <= np.maximum(table["speed_most"] * span, table["jump_least_m"]))
    lone[0], lone[-1] = fast[0] and not fast[1], fast[-1] and not fast[-2]
    bad[index] = lone[np.cumsum(fresh) - 1]
    return bad


def _stuck(found: Batch, track: Mask, x: Floats, y: Floats) -> Mask:
    bad = np.zeros(len(found), dtype=bool)
    table = constants("sounding_checks")
    index = np.flatnonzero(track)
    if len(index) < table["stuck_count"]:
        return bad
    depth = found.depth_m[index]
    start = np.flatnonzero(np.concatenate(([True], np.diff(depth) != 0)))
    end = np.append(start[1:], len(index))
    way = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(x[index]), np.diff(y[index])))))
    for a, b in zip(start, end, strict=True):
        if b - a >= table["stuck_count"] and way[b - 1] - way[a] >= table["stuck_way_m"]:
            bad[index[a + 1 : b]] = True
    return bad


def _spikes(found: Batch, track: Mask) -> Mask:
    """Readings far off the median of the seven around them, in their own time order."""
    from scipy.ndimage import median_filter

    bad = np.zeros(len(found), dtype=bool)
    table = constants("sounding_checks")
    index = np.flatnonzero(track)
    width = int(table["spike_window"])
    if len(index) < width:
        return bad
    depth = found.depth_m[index]
    middle = median_filter(depth, width, mode="nearest")
    off = np.abs(depth - middle)
    spread = 1.4826 * median_filter(off, 3 * width, mode="nearest")
    bar = np.maximum(np.maximum(table["spike_least_m"], table["spike_share"] * middle), table["spike_spread"] * spread)
    bad[index] = off > bar
    return bad


def _speed(found: Batch) -> str:
    """A sentence when the boat went too fast for a small sounder."""
    if len(found) < 3:
        return ""
    table = constants("sounding_checks")
    x, y = _metres(found)
    seconds = np.diff(_seconds(found))
    moving = (
        (seconds > 0)
        & (seconds <= table["track_gap_s"])
        & ~np.isnat(found.taken_at[1:])
        & ~np.isnat(found.taken_at[:-1])
    )
    speed = np.hypot(np.diff(x), np.diff(y))[moving] / seconds[moving]
    fast = int((speed > table["speed_warn"]).sum())
    if fast < max(3, 0.05 * len(speed)):
        return ""
    return (
        f"{fast} soundings were taken at more than {table['speed_warn']:g} m/s (fastest {speed.max():.1f} m/s): "
        "a small sounder loses the bottom at such speed."
    )


def _units(found: Batch, river: Any, still: bool) -> str:
    """A sentence when depths look like feet read as metres, or the other way."""
    from scipy.spatial import cKDTree

    table = constants("sounding_checks")
    depth = found.depth_m + found.draft_m
    lon, lat, known = places_known(river)
    use = known > 0.3
    if use.any() and len(found):
        plane = LocalPlane(float(np.median(found.lon)), float(np.median(found.lat)))
        gap, which = cKDTree(np.column_stack(plane.to_xy(lon[use], lat[use]))).query(
            np.column_stack(plane.to_xy(found.lon, found.lat)), distance_upper_bound=table["feet_near_m"]
        )
        pair = np.isfinite(gap) & (depth > 0.1)
        if pair.sum() >= table["feet_pairs"]:
            ratio = float(np.median(depth[pair] / known[use][which[pair]]))
            if table["feet_low"] <= ratio <= table["feet_high"]:
                return (
                    f"Depths are {ratio:.1f} times those sounded before at the same places: they look like feet read "
                    "as metres. Give --depth-unit ft."
                )
            if table["feet_low"] <= 1 / ratio <= table["feet_high"]:
                return (
                    f"Depths are 1/{1 / ratio:.1f} of those sounded before at the same places: metres read as feet, or "
                    "the older ones are in feet."
                )
            return ""
    middle = float(np.median(depth)) if len(depth) else 0.0
    if not still and middle > table["feet_depth_m"]:
        return f"Half the soundings are deeper than {middle:.1f} m: if the device shows feet, give --depth-unit ft."
    return ""


def _still_air(found: Batch) -> tuple[str, ...]:
    """Sentences on the water's temperature, which shows a transducer out of the water and a slow sound."""
    if "water_c" not in found.extra:
        return ()
    values = np.array([float(v) if str(v).strip() else math.nan for v in found.extra["water_c"]])
    values = values[np.isfinite(values)]
    if not len(values) or (values.min() >= -0.5 and values.max() <= 35):
        return ()
    return (f"The water's temperature runs from {values.min():.0f} to {values.max():.0f} °C: not of a river.",)
