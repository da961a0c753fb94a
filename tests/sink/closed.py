"""Closed forms of towed and falling lines, which the solver is checked against.

All are for a steady uniform speed V relative to the water and a constant normal drag coefficient. With the weight in
water w [N/m] and R = 1/2 rho C_n d V² the angle phi below the horizontal and the tension T follow, from the fly up,

    T dphi/ds = w cos(phi) - R sin(phi) |sin(phi)|                                        (1)
    dT/ds = w sin(phi) + 1/2 rho pi C_t d V² cos(phi) |cos(phi)|                           (2)
    dz/ds = sin(phi)                                                                       (3)
"""

from __future__ import annotations

import math

from planner.sink.constants import constant

__all__ = [
    "broadside_drop",
    "critical_angle",
    "drogue_tension",
    "neutral_line_depth",
    "towed_line_depth",
    "towed_line_with_fly_depth",
]


def critical_angle(sink_m_s: float, speed_m_s: float) -> float:
    """Angle below the horizontal of a free-ended uniform line towed steadily [rad], [Pode 1951].

    ``w cos(phi) = R sin²(phi)``, so ``cos(phi) = (sqrt(k² + 4) - k)/2`` with ``k = w/R = (v_t/V)²``       (4)

    Parameters
    ----------
    sink_m_s : float
        Terminal velocity of the line falling broadside [m/s].
    speed_m_s : float
        Speed relative to the water [m/s].

    Examples
    --------
    >>> round(math.sin(critical_angle(0.0762, 0.6)), 5)
    0.12649
    """
    k = (sink_m_s / speed_m_s) ** 2
    return math.acos((math.sqrt(k * k + 4.0) - k) / 2.0)


def towed_line_depth(length_m: float, sink_m_s: float, speed_m_s: float) -> float:
    """Depth of the free end of a towed line [m]: the line is straight at the critical angle, (4).

    It depends on neither diameter nor drag coefficient; for V above 3 v_t it is near ``L v_t / V``.

    Examples
    --------
    >>> round(towed_line_depth(7.9248, 0.127, 1.0), 3)
    1.002
    """
    return length_m * math.sin(critical_angle(sink_m_s, speed_m_s))


def neutral_line_depth(
    weight_n: float,
    towed_area_m2: float,
    speed_m_s: float,
    length_m: float,
    diameter_m: float,
    cn: float,
    water_density_kg_m3: float = 1000.0,
) -> float:
    """Depth of a fly on a line without weight in water and without tangential drag [m].

    T = hypot(W, D) is constant, ``cot(phi_L) = cot(phi_0) + R L / T`` and
    ``depth = (T/R) ln[tan(phi_0/2) / tan(phi_L/2)]``                                       (5)

    Examples
    --------
    >>> round(neutral_line_depth(0.0123, 1e-4, 0.6, 7.92, 1.2e-3, 1.2), 4)
    0.3431
    """
    drag = 0.5 * water_density_kg_m3 * towed_area_m2 * speed_m_s**2
    normal = 0.5 * water_density_kg_m3 * cn * diameter_m * speed_m_s**2
    tension = math.hypot(weight_n, drag)
    start = math.atan2(weight_n, drag)
    end = math.atan2(1.0, 1.0 / math.tan(start) + normal * length_m / tension)
    return tension / normal * math.log(math.tan(start / 2.0) / math.tan(end / 2.0))


def towed_line_with_fly_depth(
    sink_m_s: float,
    fly_mass_kg: float,
    fly_volume_m3: float,
    towed_area_m2: float,
    speed_m_s: float,
    length_m: float,
    diameter_m: float,
    cn: float,
    ct: float,
    water_density_kg_m3: float = 1000.0,
    parts: int = 1600,
) -> float:
    """Depth of a fly on a sinking line towed steadily [m]: (1) to (3) by Runge-Kutta 4 from the fly up.

    Examples
    --------
    >>> round(towed_line_with_fly_depth(0.0762, 1.6e-3, 0.35e-6, 1e-4, 1.0, 7.92, 1.2e-3, 1.2, 0.01), 4)
    0.6639
    """
    rho, g = water_density_kg_m3, constant("gravity")
    w = 0.5 * rho * cn * diameter_m * sink_m_s**2
    normal = 0.5 * rho * cn * diameter_m * speed_m_s**2
    along = 0.5 * rho * math.pi * ct * diameter_m * speed_m_s**2
    drag = 0.5 * rho * towed_area_m2 * speed_m_s**2
    weight = (fly_mass_kg - rho * fly_volume_m3) * g

    def slope(state: tuple[float, float, float]) -> tuple[float, float, float]:
        phi, tension, _ = state
        sine, cosine = math.sin(phi), math.cos(phi)
        return (
            (w * cosine - normal * sine * abs(sine)) / tension,
            w * sine + along * cosine * abs(cosine),
            sine,
        )

    state = (math.atan2(weight, drag), math.hypot(weight, drag), 0.0)
    step = length_m / parts
    for _ in range(parts):
        k1 = slope(state)
        k2 = slope(tuple(s + 0.5 * step * k for s, k in zip(state, k1, strict=True)))  # type: ignore[arg-type]
        k3 = slope(tuple(s + 0.5 * step * k for s, k in zip(state, k2, strict=True)))  # type: ignore[arg-type]
        k4 = slope(tuple(s + step * k for s, k in zip(state, k3, strict=True)))  # type: ignore[arg-type]
        state = tuple(  # type: ignore[assignment]
            s + step / 6.0 * (a + 2.0 * b + 2.0 * c + d) for s, a, b, c, d in zip(state, k1, k2, k3, k4, strict=True)
        )
    return state[2]


def broadside_drop(time_s: float, sink_m_s: float, diameter_m: float, density_kg_m3: float) -> float:
    """Depth of a level line let go at rest [m], with a constant drag coefficient and added mass C_a = 1.

    ``z = v_t tau ln cosh(t/tau)`` with ``tau = (m' + rho A) v_t / w``                       (6)

    Examples
    --------
    >>> round(broadside_drop(1.0, 0.127, 1.2e-3, 1858.0), 4)
    0.1232
    """
    rho = constant("water_density")
    tau = (density_kg_m3 + rho) * sink_m_s / ((density_kg_m3 - rho) * constant("gravity"))
    ratio = time_s / tau
    log_cosh = ratio + math.log1p(math.exp(-2.0 * ratio)) - math.log(2.0)
    return sink_m_s * tau * log_cosh


def drogue_tension(
    length_m: float,
    towed_area_m2: float,
    speed_m_s: float,
    diameter_m: float,
    ct: float,
    water_density_kg_m3: float | None = None,
) -> float:
    """Tension at the tip of a weightless line that tows a weightless fly [N].

    ``T = D + 1/2 rho pi C_t d V² L``                                                       (7)

    Examples
    --------
    >>> round(drogue_tension(7.9248, 1e-4, 1.0, 1.2e-3, 0.01, 1000.0), 4)
    0.1994
    """
    rho = constant("water_density") if water_density_kg_m3 is None else water_density_kg_m3
    return 0.5 * rho * speed_m_s**2 * (towed_area_m2 + math.pi * ct * diameter_m * length_m)
