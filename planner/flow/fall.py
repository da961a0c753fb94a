"""Fall of the water between a gauge and a run, and a sounding carried to a common datum."""

from __future__ import annotations

import math

__all__ = ["bed_level", "fall_by_levels", "fall_by_slope", "later_depth"]


def fall_by_slope(slope: float, downstream: float, slope_ln_sd: float = 0.3) -> tuple[float, float]:
    """Rise of the water surface from gauge to run [m] and its standard deviation, -S x (1) [USACE2013].

    Parameters
    ----------
    slope : float
        Slope of the water surface between them [m/m].
    downstream : float
        Way along the river from the gauge down to the run [m]; negative where the run lies above the gauge.
    slope_ln_sd : float
        Spread of the slope; that of one read off a map by default.

    Examples
    --------
    >>> round(fall_by_slope(0.0015, 400.0)[0], 6)
    -0.6
    """
    rise = -slope * downstream
    return rise, abs(rise) * slope_ln_sd


def fall_by_levels(run_level: float, gauge_zero: float, stage: float, sd: float = 0.02) -> tuple[float, float]:
    """Rise of the water surface from gauge to run [m] and its standard deviation, from levels of one moment.

    Parameters
    ----------
    run_level : float
        Water level at the run above a common datum [m].
    gauge_zero, stage : float
        The gauge's zero above that datum and its stage at the moment [m].
    sd : float
        Standard deviation of each level [m].
    """
    return run_level - gauge_zero - stage, sd * math.sqrt(2.0)


def bed_level(gauge_zero: float, stage: float, depth: float, draft: float = 0.0, rise: float = 0.0) -> float:
    """Bed above the common datum [m], z = Z0 + G + dW - (d + draft) (1); all [m].

    Examples
    --------
    >>> round(bed_level(100.0, 1.42, 1.85), 6)
    99.57
    """
    return gauge_zero + stage + rise - (depth + draft)


def later_depth(depth: float, stage: float, later_stage: float, rise: float = 0.0, later_rise: float = 0.0) -> float:
    """Depth at another stage [m], d' = d + (G' - G) + (dW' - dW) (1); all [m].

    Examples
    --------
    >>> round(later_depth(1.85, 1.42, 0.97), 6)
    1.4
    """
    return depth + later_stage - stage + later_rise - rise
