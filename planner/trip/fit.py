"""What fits into the hours: minutes to fish, and what to drop when the drift or the daylight leaves too few."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from planner.trip.route import setting
from planner.trip.sun import SunTimes

__all__ = ["daylight_conflicts", "fit_fishing"]


def fit_fishing(
    window_s: float, travel_s: float, slow_s: float, spots: list[Any], weights: Mapping[str, float], by: str
) -> tuple[list[float], list[str]]:
    """Seconds to fish at each spot, and the conflicts.

    Parameters
    ----------
    window_s, travel_s, slow_s : float
        Length of the hours, time to move at the usual speed and at the slow end [s].
    spots : list of Spot
        Of this trip, in order.
    weights : mapping
        Spot id to its share; 1 when not given.
    by : str
        ``boat`` or ``foot``.
    """
    conflicts: list[str] = []
    left = max(window_s - travel_s, 0.0)
    share = [max(float(weights.get(spot.id, 1.0)), 0.0) for spot in spots]
    total = sum(share)
    fishing = [left * part / total if total > 0 else 0.0 for part in share]
    move = "drift" if by == "boat" else "walk"
    if travel_s > window_s:
        conflicts.append(
            f"The {move} alone takes about {_hours(travel_s)} and your hours hold {_hours(window_s)}. "
            "Start earlier, end later, or take out higher up."
        )
    elif slow_s > window_s:
        conflicts.append(
            f"At the slow end the {move} takes about {_hours(slow_s)} and your hours hold {_hours(window_s)}. "
            "Start earlier or plan a way off the river on the way."
        )
    least = setting("least_fishing") * 60
    short = [spot for spot, seconds in zip(spots, fishing, strict=True) if seconds < least]
    if short and travel_s <= window_s:
        room = int(left // least)
        drop = sorted(zip(spots, share, strict=True), key=lambda pair: pair[1])[: max(len(spots) - room, 0)]
        names = ", ".join(spot.name or spot.id for spot, _ in drop) or ", ".join(s.name or s.id for s in short)
        conflicts.append(f"Fewer than {setting('least_fishing'):.0f} min to fish at some spots. Drop: {names}.")
    return fishing, conflicts


def _hours(seconds: float) -> str:
    return f"{seconds / 3600:.1f} h"


def daylight_conflicts(
    start: datetime, latest: datetime, sun: SunTimes, order: Sequence[tuple[Any, float, float]]
) -> list[str]:
    """What does not fit between dawn and dusk, and which spots to drop for it.

    Parameters
    ----------
    start, latest : datetime
        Leaving the put-in, and the slow end of the trip, UTC.
    sun : SunTimes
        Of the day.
    order : sequence of (Spot, seconds, weight)
        Spots of the trip with their time to fish [s] and their share.

    Returns
    -------
    list of str
        To be off the water an hour before sunset, spots are dropped from the least weight up until the time is found.
    """
    found = []
    if sun.dawn is not None and start < sun.dawn:
        found.append("The start lies before dawn.")
    if sun.sunset is None:
        return found
    over = (latest - sun.sunset).total_seconds() + setting("off_before_sunset") * 60
    if sun.dusk is not None and latest > sun.dusk:
        said = "The slow end reaches the take-out after dusk."
    elif latest > sun.sunset:
        said = "The slow end reaches the take-out after sunset."
    elif over > 0:
        said = "The slow end reaches the take-out less than an hour before sunset."
    else:
        return found
    dropped: list[str] = []
    saved = 0.0
    for spot, seconds, _ in sorted(order, key=lambda item: item[2]):
        if saved >= over or seconds <= 0:
            break
        dropped.append(spot.name or spot.id)
        saved += seconds
    if saved >= over and dropped:
        said += f" Start {over / 60:.0f} min earlier, or drop: {', '.join(dropped)}."
    else:
        said += f" Start at least {over / 60:.0f} min earlier or take out higher up; dropping spots does not mend it."
    return [*found, said]
