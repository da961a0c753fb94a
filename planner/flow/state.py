"""What a run is like at one discharge or stage."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

__all__ = ["TEN_NINETY", "FlowState"]

TEN_NINETY = 1.2815515655446004  # standard deviations from the median to the 10 and 90 % points


@dataclass(frozen=True)
class FlowState:
    """Level and current of a run; NaN is unknown.

    Parameters
    ----------
    run : str
        The run's id.
    discharge_m3s : float
        Discharge in the run [m³/s].
    stage_m : float
        Stage at the gauge [m].
    level_m : float
        The run's level above its datum [m], the water of the reference survey being 0.
    level_sd_m : float
        Its standard deviation [m].
    level_parallel_m : float
        Level if the run rose as much as the gauge [m].
    area_m2, hydraulic_radius_m, top_width_m, mean_depth_m, max_depth_m : float
        Of the run's mean section; the greatest depth is of the whole run.
    slope, n : float
        Slope of the map [m/m] and n of the bed's class, grain or as given [s/m^(1/3)].
    n_calibrated : float
        n that the reference survey's discharge shows [s/m^(1/3)].
    velocity_manning_m_s : float
        Manning's equation with `n` and `slope` at the level of parallel rise [m/s].
    velocity_continuity_m_s : float
        Discharge over area at that same level [m/s].
    velocity_ratio : float
        The first over the second.
    velocity_used_m_s, velocity_low_m_s, velocity_high_m_s : float
        Mean current of the section taken, its 10 and 90 % [m/s].
    velocity_ln_sd : float
        Standard deviation of the log of the current taken.
    basis : str
        ``discharge``, ``both``, ``manning``, ``continuity``, ``relation``, ``still`` or ``none``: what the current
        taken rests on.
    soundings : int
        Soundings used.
    bed_error_m : float
        Root mean square miss of the bed at soundings left out block by block [m].
    extrapolated : bool
        Whether the level is above the drawn banks, below every sounding day's, or the discharge far off theirs.
    limits : tuple of str
        What is missing or weak, one sentence each.
    """

    run: str
    discharge_m3s: float = math.nan
    stage_m: float = math.nan
    level_m: float = math.nan
    level_sd_m: float = math.nan
    level_parallel_m: float = math.nan
    area_m2: float = math.nan
    hydraulic_radius_m: float = math.nan
    top_width_m: float = math.nan
    mean_depth_m: float = math.nan
    max_depth_m: float = math.nan
    slope: float = math.nan
    n: float = math.nan
    n_calibrated: float = math.nan
    velocity_manning_m_s: float = math.nan
    velocity_continuity_m_s: float = math.nan
    velocity_ratio: float = math.nan
    velocity_used_m_s: float = math.nan
    velocity_low_m_s: float = math.nan
    velocity_high_m_s: float = math.nan
    velocity_ln_sd: float = math.nan
    basis: str = "none"
    soundings: int = 0
    bed_error_m: float = math.nan
    extrapolated: bool = False
    limits: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Members for JSON: unknown is None."""
        return {
            key: None if isinstance(value, float) and not math.isfinite(value) else value
            for key, value in {**asdict(self), "limits": list(self.limits)}.items()
        }
