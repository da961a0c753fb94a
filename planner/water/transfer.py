"""From the gauge to the run: area ratio, flow share, and how long a change of flow travels."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Protocol

from planner.tables import rows
from planner.water.rules import rule

__all__ = [
    "RunTransfer",
    "area_ratio_exponent",
    "area_ratio_flow",
    "longest_lag_s",
    "ratio_in_range",
    "run_discharge",
    "transfer_to_run",
    "travel_time_s",
]

# Celerity over mean velocity in a wide channel by Manning [Seddon1900].
_WIDE = 5.0 / 3.0


class _Run(Protocol):
    @property
    def area_ratio(self) -> float: ...
    @property
    def flow_share(self) -> float: ...


@dataclass(frozen=True)
class RunTransfer:
    """What a gauge's discharge means at a run, and when.

    Parameters
    ----------
    discharge_m3s : float
        Through the run, with the usual exponent [m³/s].
    low_m3s, high_m3s : float
        With the published exponent that gives least and most [m³/s].
    exponent : float
        The usual one [-].
    ratio : float
        Drainage area at the run over that at the gauge [-].
    in_range : bool
        Whether the ratio lies where the exponent's source allows it.
    lag_given_s, lag_travel_s : float
        The user's lag, and the travel time of a change by kinematic celerity over the run's distance from the gauge;
        NaN where one is not known [s].
    lag_s : float
        The one that counts: the user's, else the travel time, else 0 [s].
    notes : tuple of str
        What must be said.
    """

    discharge_m3s: float
    low_m3s: float
    high_m3s: float
    exponent: float
    ratio: float
    in_range: bool
    lag_given_s: float
    lag_travel_s: float
    lag_s: float
    notes: tuple[str, ...]


def transfer_to_run(run: Any, q_gauge: float, velocity: float = math.nan) -> RunTransfer:
    """A gauge's discharge at a run, with the spread of the published exponents, and both lags.

    Parameters
    ----------
    run : Run
        Its ``area_ratio``, ``flow_share``, ``lag_min``, and ``gauge_km`` among its extra properties: how far below the
        gauge it lies along the river [km], negative above it.
    q_gauge : float
        Discharge at the gauge [m³/s].
    velocity : float
        Mean velocity of the reach between [m/s]; the run's own is the usual stand-in. NaN when not known.

    References
    ----------
    [Seddon1900]
    """
    ratio = float(run.area_ratio)
    usual = area_ratio_exponent()
    exponents = [float(row["exponent"]) for row in rows("area_ratio_exponents")]
    ends = sorted(run_discharge(q_gauge, run, exponent) for exponent in (min(exponents), max(exponents)))
    notes: list[str] = []
    inside = ratio_in_range(ratio)
    if ratio != 1.0:
        low, high = float(_row("usual")["ratio_low"]), float(_row("usual")["ratio_high"])
        notes.append(
            f"Discharge at the run is the gauge's times {ratio:g} to the power {usual:g}; published exponents of "
            f"{min(exponents):g} to {max(exponents):g} change it by {100 * (ends[1] / ends[0] - 1):.0f} %."
            if ends[0] > 0
            else "Discharge at the run is not known."
        )
        if not inside:
            notes.append(
                f"The area ratio {ratio:g} lies outside {low:g} to {high:g}, where the method has been tried; use a "
                "nearer gauge if there is one."
            )
    given, length = _lag_given_s(run), _from_gauge_m(run)
    travel = travel_time_s(length, velocity) if math.isfinite(length) else math.nan
    if math.isfinite(given) and math.isfinite(travel):
        notes.append(
            f"A change reaches the run {_minutes(given)} after the gauge by your lag, {_minutes(travel)} by its travel "
            f"time over {abs(length) / 1000:g} km; yours counts."
        )
    elif math.isfinite(travel):
        notes.append(
            f"A change reaches the run {_minutes(travel)} after the gauge by its travel time; no lag is given."
        )
    elif math.isfinite(given):
        notes.append(f"A change reaches the run {_minutes(given)} after the gauge, by your lag.")
    else:
        notes.append("No lag is given for this run: it is taken to change when the gauge does.")
    lag = given if math.isfinite(given) else travel if math.isfinite(travel) else 0.0
    return RunTransfer(
        run_discharge(q_gauge, run), ends[0], ends[1], usual, ratio, inside, given, travel, lag, tuple(notes)
    )


def longest_lag_s(run: Any) -> float:
    """Longest lag that a run may turn out to have, before its current is known [s].

    The user's, else the travel time of a change at the least velocity of the rules; negative above the gauge, 0 where
    neither a lag nor a distance is given.

    Parameters
    ----------
    run : Run
        As in `transfer_to_run`.
    """
    given = _lag_given_s(run)
    lag = given if math.isfinite(given) else travel_time_s(_from_gauge_m(run), rule("lag_velocity"))
    most = 3600.0 * rule("lag_longest")
    return min(max(lag, -most), most) if math.isfinite(lag) else 0.0


def _lag_given_s(run: Any) -> float:
    return 60.0 * float(run.lag_min)


def _from_gauge_m(run: Any) -> float:
    """How far below the gauge a run lies along the river [m], negative above it; NaN where that is not said."""
    km = run.extra.get("gauge_km") if hasattr(run, "extra") else None
    return 1000.0 * float(km) if isinstance(km, int | float) else math.nan


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.0f} min" if abs(seconds) < 7200 else f"{seconds / 3600:.1f} h"


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


def _row(name: str) -> dict[str, str]:
    return next(row for row in rows("area_ratio_exponents") if row["name"] == name)
