"""From the gauge to the run: area ratio, flow share, and how long a change of flow travels."""

from __future__ import annotations

import math
from typing import Protocol

from planner.tables import rows

__all__ = [
    "area_ratio_exponent",
    "area_ratio_flow",
    "kinematic_celerity",
    "lag_s",
    "ratio_in_range",
    "rectangle_celerity",
    "run_discharge",
    "travel_time_s",
]

# Celerity over mean velocity in a wide channel by Manning [Seddon1900].
_WIDE = 5.0 / 3.0


class _Run(Protocol):
    @property
    def area_ratio(self) -> float: ...
    @property
    def flow_share(self) -> float: ...


def area_ratio_exponent(name: str = "usual") -> float:
    """Exponent of the drainage-area ratio from the table of published ones [-]."""
    return float(_row(name)["exponent"])


def ratio_in_range(ratio: float, name: str = "usual") -> bool:
    """Whether an area ratio lies in the range that its source allows."""
    row = _row(name)
    return float(row["ratio_low"]) <= ratio <= float(row["ratio_high"])


def area_ratio_flow(discharge: float, ratio: float, exponent: float | None = None) -> float:
    """Discharge at an ungauged place of the same stream.

    Qu = Qg (Au / Ag)^phi    (1)

    Parameters
    ----------
    discharge : float
        At the gauge, any unit.
    ratio : float
        Drainage area at the place over that at the gauge [-].
    exponent : float, optional
        phi; default the usual one of the table, 1.

    Examples
    --------
    >>> area_ratio_flow(250.0, 120 / 150)
    200.0
    """
    if not ratio > 0:
        raise ValueError("a ratio of drainage areas is positive")
    return discharge * float(ratio) ** (area_ratio_exponent() if exponent is None else exponent)


def run_discharge(q_gauge: float, run: _Run, exponent: float | None = None) -> float:
    """Discharge through a run [m³/s]: the gauge's, by area ratio and by the share of the flow that the run carries.

    Parameters
    ----------
    q_gauge : float
        Discharge at the gauge [m³/s]; NaN stays NaN.
    run : Run
        Its ``area_ratio`` and ``flow_share`` (NaN: not given, taken as 1).
    exponent : float, optional
        Of the area ratio.
    """
    share = 1.0 if math.isnan(run.flow_share) else run.flow_share
    return area_ratio_flow(q_gauge, run.area_ratio, exponent) * share


def travel_time_s(length: float, velocity: float, celerity_ratio: float = _WIDE) -> float:
    """Time that a change of flow needs along a reach [s].

    t = L / c, c = beta V    (1); beta is 5/3 in a wide channel by Manning and less in a narrow one. With
    ``celerity_ratio=1`` it is the time of the water itself, and so of its colour and temperature.

    Parameters
    ----------
    length : float
        Along the flowline [m]; negative upstream of the gauge gives a negative time.
    velocity : float
        Mean velocity of the reach [m/s].
    celerity_ratio : float
        beta [-].

    Returns
    -------
    float
        NaN when the velocity is unknown or not positive.

    References
    ----------
    [Seddon1900]
    """
    return length / (celerity_ratio * velocity) if velocity > 0 else math.nan


def lag_s(lag_min: float, length: float = math.nan, velocity: float = math.nan) -> float:
    """How much later than the gauge a run sees a change [s]: the given lag, else the travel time, else NaN."""
    return 60.0 * lag_min if not math.isnan(lag_min) else travel_time_s(length, velocity)


def kinematic_celerity(velocity: float, hydraulic_radius: float, perimeter_per_area: float) -> float:
    """Celerity of a long wave by Manning in any section [m/s].

    c = dQ/dA = 5/3 V - 2/3 V R dP/dA    (1)

    Parameters
    ----------
    velocity : float
        Mean velocity [m/s].
    hydraulic_radius : float
        R [m].
    perimeter_per_area : float
        dP/dA [1/m]: 0 in a very wide channel, 2/b in a rectangle of width b.

    References
    ----------
    [Seddon1900]
    """
    return _WIDE * velocity - (2.0 / 3.0) * velocity * hydraulic_radius * perimeter_per_area


def rectangle_celerity(width: float, depth: float, n: float, slope: float) -> dict[str, float]:
    """Velocity, celerity and their ratio in a rectangle by Manning [m/s], [m/s], [-].

    beta = 5/3 - 4/3 y / (b + 2 y)    (1)
    """
    radius = width * depth / (width + 2.0 * depth)
    velocity = radius ** (2.0 / 3.0) * math.sqrt(slope) / n
    celerity = kinematic_celerity(velocity, radius, 2.0 / width)
    return {"velocity": velocity, "celerity": celerity, "ratio": celerity / velocity}


def _row(name: str) -> dict[str, str]:
    return next(row for row in rows("area_ratio_exponents") if row["name"] == name)
