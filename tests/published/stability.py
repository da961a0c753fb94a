"""Published limits of people in flowing water, each as printed: what the wading rules are held against.

None of them is a licence. Tests were made on turf, smooth concrete, steel and fine chip, never on slick cobble; the
rules take the lowest and lower them again for footing. Beside the keys of `planner/tables/references.csv`:

Abt, S.R., Wittler, R.J., Taylor, A. and Love, D.J. (1989): Human stability in a high flood hazard zone. Water Resources
Bulletin 25(4), 881-890, https://doi.org/10.1111/j.1752-1688.1989.tb05404.x
Xia, J., Falconer, R.A., Wang, Y. and Xiao, X. (2014): New criterion for the stability of a human body in floodwaters.
Journal of Hydraulic Research 52(1), 93-104
HR Wallingford, Flood Hazard Research Centre and Risk & Policy Analysts (2006): Flood Risks to People Phase 2, R&D
Technical Report FD2321/TR1. Defra and Environment Agency
Environment Agency and HR Wallingford (2008): Supplementary note on flood hazard ratings and thresholds for development
planning and control purpose,
https://assets.publishing.service.gov.uk/media/602bbdcfe90e070561b31432/Explanatory_note_for_FD2320_and_FD2321_project_record.pdf
"""

from __future__ import annotations

import csv
import math
from functools import cache
from pathlib import Path

TABLES = Path(__file__).parent / "stability"

__all__ = [
    "abt_limit",
    "flood_hazard_class",
    "hazard_rating",
    "hazard_rating_class",
    "push",
    "rescdam_limit",
    "rows",
    "stability_band",
    "xia_toppling_speed",
]


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    """All rows of one of the published tables, as text."""
    with (TABLES / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
        return tuple(csv.DictReader(stream))


@cache
def _constants() -> dict[str, float]:
    return {row["name"]: float(row["value"]) for row in rows("constants")}


def _within(value: float, limit: float) -> bool:
    return round(value, 9) <= round(limit, 9)


def push(depth: float, speed: float) -> float:
    """Depth times speed, rounded to 1e-9 so that 0.75 m × 0.8 m/s is 0.6 m²/s and no more.

    Parameters
    ----------
    depth : float
        Depth [m].
    speed : float
        Depth-averaged speed [m/s].

    Returns
    -------
    float
        [m²/s]

    Examples
    --------
    >>> push(0.75, 0.8)
    0.6
    """
    return round(depth * speed, 9)


def flood_hazard_class(depth: float, speed: float) -> str:
    """Flood hazard class H1 to H6: the smallest whose limits of push, depth and speed all hold.

    Parameters
    ----------
    depth : float
        Depth [m].
    speed : float
        Speed [m/s].

    Notes
    -----
    Limits of Table 2 of [AIDR2017].

    Examples
    --------
    >>> flood_hazard_class(0.75, 0.8)
    'H3'
    """
    for row in rows("flood_hazard_classes"):
        if (
            _within(depth * speed, float(row["push_m2_s"]))
            and _within(depth, float(row["depth_m"]))
            and _within(speed, float(row["speed_m_s"]))
        ):
            return row["class"]
    return "unknown"  # NaN input


def stability_band(depth: float, speed: float, person: str = "adult") -> str:
    """Hazard band of a person in flowing water: low, moderate, significant or extreme.

    Parameters
    ----------
    depth : float
        Depth [m].
    speed : float
        Speed [m/s].
    person : str
        ``adult`` (H·M > 50 m·kg), ``child`` (25 to 50) or ``small child or frail`` (≤ 25).

    Notes
    -----
    Bands and the independent limits of depth and speed of [Cox2010]. Shallow fast water, where feet slide first, is
    rated too low here up to 3 m/s; the speed rule of the caution table catches it.

    Examples
    --------
    >>> stability_band(0.9, 1.0), stability_band(0.6, 0.6, "child")
    ('significant', 'extreme')
    """
    bands = [row for row in rows("bands") if row["person"] == person]
    if math.isnan(depth) or math.isnan(speed):
        return "unknown"
    if not (_within(depth, float(bands[0]["depth_limit_m"])) and _within(speed, float(bands[0]["speed_limit_m_s"]))):
        return "extreme"
    return next(row["band"] for row in bands if _within(depth * speed, float(row["push_to_m2_s"])))


def hazard_rating(depth: float, speed: float, cover: str = "woodland") -> float:
    """Flood hazard rating with its debris factor.

    Parameters
    ----------
    depth : float
        Depth [m].
    speed : float
        Speed [m/s].
    cover : str
        ``pasture``, ``woodland`` or ``urban``: where debris comes from.

    Returns
    -------
    float
        HR = d (v + 0.5) + DF (1), FD2321 with DF of its Table 3.1. Meant for people caught on a flood plain.

    Examples
    --------
    >>> round(hazard_rating(0.9, 0.7), 2)
    2.08
    """
    factors = [row for row in rows("debris_factors") if row["cover"] == cover]
    if math.isnan(depth) or math.isnan(speed):
        return math.nan
    fast = round(speed, 9) > 2.0
    row = factors[-1] if fast else next(row for row in factors if _within(depth, float(row["depth_to_m"])))
    return depth * (speed + 0.5) + float(row["factor"])


def hazard_rating_class(depth: float, speed: float, cover: str = "woodland") -> str:
    """Class of the hazard rating: ``caution``, ``some``, ``most`` or ``all`` (for whom it is dangerous) EA 2008."""
    rating = round(hazard_rating(depth, speed, cover), 9)
    if math.isnan(rating):
        return "unknown"
    table = rows("hazard_rating_classes")
    for row in table[:-2]:
        if rating < float(row["below"]):
            return row["class"]
    return table[-2]["class"] if rating <= float(table[-2]["below"]) else table[-1]["class"]


def abt_limit(height: float, mass: float) -> float:
    """Push of the water at which an adult lost stability on a good surface.

    Parameters
    ----------
    height : float
        Height of the person [m].
    mass : float
        Mass [kg].

    Returns
    -------
    float
        D V = 0.0929 (exp(0.001906 H M + 1.09))² (1) [m²/s]; NaN outside H M of 62 to 173 m·kg, the subjects tested
        Abt et al. 1989. It is a mean of adults on good footing, so no rule uses it as a threshold.

    Examples
    --------
    >>> round(abt_limit(1.75, 75), 3)
    1.355
    """
    k = _constants()
    hm = height * mass
    if not k["abt_hm_low"] <= round(hm, 9) <= k["abt_hm_high"]:
        return math.nan
    return k["abt_scale"] * math.exp(k["abt_slope"] * hm + k["abt_constant"]) ** 2


def rescdam_limit(height: float, mass: float, conditions: str = "poor") -> float:
    """Push of the water at which rescuers in survival suits lost manoeuvrability.

    Parameters
    ----------
    height : float
        Height of the person [m].
    mass : float
        Mass [kg].
    conditions : str
        ``good``, ``normal`` or ``poor`` (slick or uneven bed, dark, debris).

    Returns
    -------
    float
        D V = a H M + b (1) [m²/s], a and b by conditions [Karvonen2000].

    Examples
    --------
    >>> round(rescdam_limit(1.75, 75), 4)
    0.3625
    """
    k = _constants()
    return k[f"rescdam_{conditions}_slope"] * height * mass + k[f"rescdam_{conditions}_constant"]


def xia_toppling_speed(depth: float, height: float, mass: float) -> float:
    """Speed that topples a standing person at a depth, by the moment balance with the lower pair of constants.

    Parameters
    ----------
    depth : float
        Depth h [m], above 0 and up to the person's height.
    height : float
        Height H of the person [m].
    mass : float
        Mass m [kg].

    Returns
    -------
    float
        U = α (h/H)^β √( m / (ρ h²) − (a₁/H² + b₁/(h H)) (a₂ m + b₂) ) (1) [m/s]; NaN outside its depths and where
        buoyancy carries the whole weight Xia et al. 2014.

    Examples
    --------
    >>> round(xia_toppling_speed(0.5, 1.71, 68.7), 2)
    1.33
    """
    if not 0 < depth <= height:
        return math.nan
    k = _constants()
    volume = k["xia_a2"] * mass + k["xia_b2"]
    inside = mass / (1000.0 * depth**2) - (k["xia_a1"] / height**2 + k["xia_b1"] / (depth * height)) * volume
    if inside <= 0:
        return math.nan
    return k["xia_alpha"] * (depth / height) ** k["xia_beta"] * math.sqrt(inside)
