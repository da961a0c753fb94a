"""Where a discharge stands among those of the same day in other years."""

from __future__ import annotations

from planner.tables import rows

__all__ = ["percentile_class"]


def percentile_class(
    discharge: float,
    p10: float,
    p25: float,
    p75: float,
    p90: float,
    lowest: float | None = None,
    highest: float | None = None,
) -> str:
    """Class of a discharge by the percentiles of its day of the year.

    Percentiles, extremes and discharge share one unit. A value on a limit belongs to the class nearer to normal.

    Parameters
    ----------
    discharge : float
        Daily or present value; NaN gives ``not ranked``.
    p10, p25, p75, p90 : float
        Percentiles of the day.
    lowest, highest : float, optional
        Extremes on record for the day.

    Returns
    -------
    str
        A class of the table `flow_percentile_classes`, ``lowest on record``, ``highest on record`` or ``not ranked``.

    References
    ----------
    [USGSclasses]

    Examples
    --------
    >>> percentile_class(150.0, p10=27.0, p25=38.0, p75=85.0, p90=221.0)
    'above normal'
    """
    limits = (p10, p25, p75, p90)
    if discharge != discharge or any(limit != limit for limit in limits):
        return "not ranked"
    if lowest is not None and discharge < lowest:
        return "lowest on record"
    if highest is not None and discharge > highest:
        return "highest on record"
    below = (discharge < p10) + (discharge < p25)
    above = (discharge > p75) + (discharge > p90)
    return [row["class"] for row in rows("flow_percentile_classes")][2 - below + above]
