"""How the fishing time is shared out: the person's own weights, and more where the fly stays longer in the band."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from planner.errors import RiverFolderUnfit

if TYPE_CHECKING:
    from planner.river.records import River

__all__ = ["fishing_weights"]

# Design choices: a spot twice as good as the average gets twice the time and no more; one with no answer a quarter.
_MOST, _LEAST, _NO_ANSWER = 2.0, 0.5, 0.25


def _own(record: Any, what: str) -> float:
    value = record.extra.get("weight")
    if value is None:
        return 1.0
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value) or value < 0:
        raise RiverFolderUnfit(
            f"weight of {what} is {value!r}", "a number of 0 or more; 1 is usual", "correct it", "weight"
        )
    return float(value)


def fishing_weights(river: River, band_times: Mapping[str, float | None] | None = None) -> dict[str, float]:
    """Share of the fishing time of each spot, for `planner.trip.schedule`.

    Parameters
    ----------
    river : River
        ``weight`` of a spot and of a run in their GeoJSON properties; 1 when not given.
    band_times : mapping, optional
        Spot id to the band time of its answer [s]; None or NaN for a spot with no answer.

    Returns
    -------
    dict
        Spot id to weight: the spot's own times its run's, times its band time over the mean of all, between 0.5 and 2;
        a spot with no answer counts a quarter.

    Raises
    ------
    RiverFolderUnfit
        When a weight is not a number of 0 or more.

    Examples
    --------
    >>> from types import SimpleNamespace as N
    >>> spots = [N(id="a", run="r", extra={}), N(id="b", run="r", extra={"weight": 2}), N(id="c", run="r", extra={})]
    >>> fishing_weights(N(spots=spots, runs=[N(id="r", extra={})]), {"a": 10.0, "b": 10.0, "c": None})
    {'a': 1.0, 'b': 2.0, 'c': 0.25}
    """
    runs = {run.id: _own(run, f"run {run.id}") for run in river.runs}
    given = {spot.id: _own(spot, f"spot {spot.id}") * runs.get(spot.run, 1.0) for spot in river.spots}
    if band_times is None:
        return given
    known = {spot: t for spot, t in band_times.items() if t is not None and math.isfinite(t) and t > 0}
    mean = sum(known.values()) / len(known) if known else math.nan
    return {
        spot: weight * (min(max(known[spot] / mean, _LEAST), _MOST) if spot in known else _NO_ANSWER)
        for spot, weight in given.items()
    }
