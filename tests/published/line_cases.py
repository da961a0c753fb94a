"""Cases behind rows of `line.csv` and `line_trade.csv`: swims set up as the sources set theirs up."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from itertools import pairwise

from planner.sink import Cast, Current, Fly, Line, Swim, swim
from planner.sink.calibrate import long_line_rate
from planner.sink.constants import constant
from planner.sink.drag import wet_weight
from planner.sink.fly import fall_rate, fly_from_class
from planner.sink.line import line_from_head
from planner.units import FOOT, GRAIN, INCH

HEAD = 26.0 * FOOT
NO_FLY = Fly("none", 1e-6, 1e-9, 1e-9, 1e-9)
# the two flies of the check scenarios: a slim weighted one and a bulky one of nearly the water's density
SLIM = Fly("slim weighted", 1.6e-3, 0.35e-6, 1e-4, 1e-4)
BULKY = Fly("bulky", 1.2e-3, 1.15e-6, 4.5e-4, 4.5e-4)
NEUTRAL = Fly("neutral", 1e-3, 1e-3 / constant("water_density"), 4.4e-4, 4.4e-4)
FLIES = {"none": NO_FLY, "slim": SLIM, "bulky": BULKY, "neutral": NEUTRAL}


def carrier(sink_m_s: float, diameter_m: float = 1.2e-3, cn: float = 1.2, length_m: float = HEAD) -> Line:
    """A level line of given diameter whose broadside terminal velocity at constant C_n is `sink_m_s`, no leader."""
    rho = constant("water_density")
    weight = 0.5 * rho * cn * diameter_m * sink_m_s**2
    per_m = wet_weight(diameter_m, rho + 1.0, rho)
    base = line_from_head(length_m, 200 * GRAIN, 5 * INCH)
    return replace(
        base,
        head_diameter_m=diameter_m,
        head_density_kg_m3=rho + weight / per_m,
        leader_length_m=0.0,
        sink_rate_m_s=sink_m_s,
    )


@cache
def tow(sink_m_s: float, speed_m_s: float, fly: str = "none", length_m: float = HEAD) -> Swim:
    """The line alone, held at its end in a uniform current until it no longer moves."""
    settle = 40.0 + 8.0 * length_m / speed_m_s
    return swim(
        carrier(sink_m_s, length_m=length_m),
        FLIES[fly],
        Cast(length_m, 0.0, 0.0, 0.0),
        Current(speed_m_s, 100.0, 1e9),
        nodes=20,
        dt=0.04,
        every_s=0.2,
        cn=1.2,
        swing_s=min(settle, 170.0),
    )


def tow_depth(sink_m_s: float, speed_m_s: float, fly: str = "none", length_m: float = HEAD) -> float:
    """Depth of the free end [m]."""
    return float(tow(sink_m_s, speed_m_s, fly, length_m).fly_depth_m[-1])


def tow_tension(sink_m_s: float, speed_m_s: float) -> float:
    """Tension at the held end [N]."""
    return float(tow(sink_m_s, speed_m_s).tension_n[-1])


def sheared_tow_depth(sink_m_s: float, fly: str = "none") -> float:
    """Depth of the end of the line held in a 1/7-power current of 1.067 m/s, 2.44 m deep [m]."""
    path = swim(
        carrier(sink_m_s),
        FLIES[fly],
        Cast(HEAD, 0.0, 0.0, 0.0),
        Current(1.067, 2.44, 7.0),
        nodes=30,
        dt=0.04,
        every_s=0.2,
        cn=1.2,
        swing_s=60.0,
    )
    return float(path.fly_depth_m[-1])


@cache
def composite(fly: str, sink_ips: float, angle_deg: float, drifting: bool = False) -> Swim:
    """The 48 ft composite cast of the check scenarios: 8 ft of water, 3.5 ft/s, count 3 s, strip 1.5 ft/s."""
    line = line_from_head(HEAD, 200 * GRAIN, sink_ips * INCH, leader_m=4 * FOOT, leader_diameter_m=0.36e-3)
    mean, depth = 3.5 * FOOT, 8.0 * FOOT
    cast = Cast(48 * FOOT, angle_deg, 1.5 * FOOT, 3.0, "held", boat_speed_m_s=mean if drifting else 0.0)
    return swim(line, FLIES[fly], cast, Current(mean, depth, 7.0), depth if drifting else None)


def composite_depth_ft(fly: str, sink_ips: float, angle_deg: float, drifting: bool = False) -> float:
    """Mean depth of the fly over the strip [ft]."""
    return composite(fly, sink_ips, angle_deg, drifting).mean_depth_retrieve_m / FOOT


def fly_fall_m_s(fly: str, broadside_ratio: float) -> float:
    """Speed at which the fly alone falls in still water [m/s]: weight in water against its broadside drag area."""
    body = FLIES[fly]
    return math.sqrt(2 * body.wet_weight_n / (constant("water_density") * body.towed_area_m2 * broadside_ratio))


def short_piece_gain() -> float:
    """How much slower a 10 ft segment of a 5 in/s line of 1 mm falls than its pieces of 1.5 in, as a share [1]."""
    piece = 5 * INCH
    return 1.0 - long_line_rate(piece, 1.0e-3, 1.5 * INCH) / long_line_rate(piece, 1.0e-3, 10 * FOOT)


def class_fall_ips(drag: str, weighting: str) -> float:
    """Rate at which a fly of these classes falls in still water [in/s]."""
    return fall_rate(fly_from_class(drag, weighting)) / INCH


# ------------------------------------------------------------------ facts of the trade
RIVER = Current(3.5 * FOOT, 8.0 * FOOT, 7.0)


def _full_head(ips: float = 6.0, running: str = "floating") -> Line:
    return line_from_head(HEAD, 200 * GRAIN, ips * INCH, running=running)


def _tip_line() -> Line:
    return line_from_head(10 * FOOT, 100 * GRAIN, 6 * INCH, rear_m=20 * FOOT)


def tip_line_fly_depth_m(lift_area_m2: float = 0.0, strip_m_s: float = 1.5 * FOOT) -> float:
    """Mean depth in the retrieve of a stripped high-drag fly on a floating line with a sinking tip, anchored at 45°."""
    fly = replace(fly_from_class("high", "none"), lift_area_m2=lift_area_m2)
    return swim(_tip_line(), fly, Cast(48 * FOOT, 45.0, strip_m_s, 0.0), RIVER).mean_depth_retrieve_m


def tip_line_over_full_head() -> float:
    """That depth over the same fly's on a full sinking head of the same sink rate."""
    cast = Cast(48 * FOOT, 45.0, 1.5 * FOOT, 0.0)
    return tip_line_fly_depth_m() / swim(_full_head(), fly_from_class("high"), cast, RIVER).mean_depth_retrieve_m


def slim_over_bulky() -> float:
    """Mean depth of a slim weighted fly over that of an unweighted high-drag one, same line and cast, anchored."""
    cast = Cast(48 * FOOT, 45.0, 1.5 * FOOT, 3.0)
    slim, bulky = fly_from_class("low", "heavy"), fly_from_class("high", "none")
    return (
        swim(_full_head(), slim, cast, RIVER).mean_depth_retrieve_m
        / swim(_full_head(), bulky, cast, RIVER).mean_depth_retrieve_m
    )


def least_gain_of_a_second() -> float:
    """Least gain in depth at strip start of one more second, 0 to 3 s, fed, light slim fly [m]."""
    fly, line = fly_from_class("low", "light"), _full_head()
    depths = [
        swim(line, fly, Cast(48 * FOOT, 45.0, 0.45, float(count), "fed"), RIVER).depth_at_strip_start_m
        for count in range(4)
    ]
    return min(b - a for a, b in pairwise(depths))


def lake_bottom_gap_m(countdown_s: float) -> float:
    """How far above the bottom, 22 ft down in still water, a heavily weighted fly on a 26 ft head is by then [m]."""
    depth = 22 * FOOT
    path = swim(
        _full_head(),
        fly_from_class("low", "heavy"),
        Cast(60 * FOOT, 0.0, 0.25, countdown_s, "fed"),
        Current(0.0, depth),
        depth,
    )
    return depth - path.depth_at_strip_start_m


@cache
def _slack_water(running: str) -> Swim:
    """A floating head out front in slack water 0.6 m deep, count 25 s."""
    line = line_from_head(26 * FOOT, 160 * GRAIN, 0.0, running=running)
    return swim(line, fly_from_class("high"), Cast(20.0, 0.0, 0.3, 25.0), Current(0.03, 0.6), 0.6)


def running_line_clearance_m(running: str) -> float:
    """How near to the bed any of the line comes in that slack water [m]."""
    return float(_slack_water(running).clearance_m.min())


def running_line_touch_m() -> float:
    """Where the sinking running line of that case first lies on the bed, metres from the rod tip."""
    return _slack_water("sinking").touch_at_m


def fished_distance_m(head_ft: float, grains: float) -> float:
    """Line stripped in from a 70 ft cast until the head reaches the rod tip [m]."""
    line = line_from_head(head_ft * FOOT, grains * GRAIN, 5 * INCH)
    pickup = line.head_length_m + line.leader_length_m
    path = swim(line, fly_from_class("low", "light"), Cast(70 * FOOT, 45.0, 0.45, 0.0, pickup_m=pickup), RIVER)
    retrieve = path.times_s[path.phase == 1]
    return float((retrieve[-1] - retrieve[0]) * 0.45)


@cache
def near_touch_share(strip_m_s: float, lift: bool) -> float:
    """Share of 40 beds (0.1 to 4.0 m deep) reached within the last 4 m of line in slow water, 0.25 m/s.

    A heavy slim fly on a 5 in/s head, 15 m of line at 45°; the rod tip rises over the last 9 m when `lift`.
    """
    cast = Cast(15.0, 45.0, strip_m_s, 3.0, lift_at_m=9.0 if lift else math.nan)
    path = swim(_full_head(5.0), fly_from_class("low", "heavy"), cast, Current(0.25, 4.0))
    near = (path.line_out_m < 4.0) & (path.phase > 0)
    lowest = float(path.low_depth_m[near].max())
    return sum(lowest >= 0.1 * bed for bed in range(1, 41)) / 40.0


def near_touch_drop(what: str) -> float:
    """By how much that share falls when stripping faster, or when lifting the rod tip near the end."""
    base = near_touch_share(0.2, False)
    return base - (near_touch_share(0.6, False) if what == "faster" else near_touch_share(0.2, True))
