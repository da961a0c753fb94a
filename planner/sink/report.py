"""One swim from quantities as a user types them: the answer of `plumbrun swim`."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from planner.errors import UsageMistake
from planner.river.records import Tackle, TackleFly, TackleLine
from planner.sink.bedgrid import BedGrid, bed_by_distance
from planner.sink.fly import fly_from_tackle
from planner.sink.line import line_from_tackle
from planner.sink.reach import LONGEST, countdown_to_reach
from planner.sink.records import Cast, Current, Swim
from planner.sink.sideview import side_view
from planner.sink.swim import swim
from planner.tables import constants
from planner.units import parse, show

__all__ = ["add_caption", "drift_ratio", "swim_report", "swim_text"]

_PHASES = ("countdown", "retrieve", "lift")


def _quantity(text: str, unit: str, what: str, low: float, high: float, *, above: bool = False) -> float:
    """A quantity within its range; `above` leaves the lower end out."""
    value = parse(text, unit, what)
    if not (low < value if above else low <= value) or value > high:
        shown = f"above {low:g} and up to {high:g} {unit}" if above else f"{low:g} to {high:g} {unit}"
        raise UsageMistake(f"{what} {text!r}", shown, f"correct {what}")
    return value


def swim_report(
    *,
    depth: str = "8 ft",
    near: str | None = None,
    current: str = "3 ft/s",
    grains: float = 200.0,
    head: str = "26 ft",
    sink: float = 5.0,
    tip: str | None = None,
    running: str = "floating",
    fly_drag: str = "medium",
    fly_weighting: str = "light",
    cast: str = "50 ft",
    angle: float = 45.0,
    countdown: float = 3.0,
    mode: str = "held",
    strip: str = "1.5 ft/s",
    pull: str | None = None,
    pause: str | None = None,
    lift_at: str | None = None,
    stance: str = "anchored",
    reach: str | None = None,
    tip_height: str | None = None,
    bead: str | None = None,
    own: tuple[Tackle, TackleLine | None, TackleFly | None] | None = None,
) -> dict[str, Any]:
    """Solve one swim over a level bed, or one that slopes evenly from the rod tip to the landing.

    Parameters
    ----------
    depth : str
        Depth of the water, where the cast lands.
    near : str, optional
        Depth at the rod tip; the bed slopes evenly from there. Level without it.
    current, head, cast, strip : str
        Quantities with their units.
    tip : str, optional
        Length of a sinking tip; without it the whole head sinks.
    grains : float
        Weight of the part that sinks [grains].
    sink : float
        Its sink rate [inches per second]; 0 for a floating line.
    running, fly_drag, fly_weighting, mode, stance : str
        Words of the tackle, the countdown's mode and the stance.
    angle : float
        From straight downstream [degrees].
    countdown : float
        Seconds before the first strip [s].
    pull, pause : str, optional
        Length of one pull and of the pause after it; the mean speed stays `strip`. Steady without.
    lift_at : str, optional
        Line out at which the rod tip starts to rise.
    reach : str, optional
        A depth; the answer then says which countdown reaches it.
    tip_height : str, optional
        Height of the rod tip above the water; at the water without it.
    bead : str, optional
        Bead on the fly, such as ``"tungsten 3.3 mm"``.
    own : tuple, optional
        Tackle of a river folder, and its line and fly in place of the ones described; None keeps the one described.

    Returns
    -------
    dict
        Arrays over the swim and what it comes to; distances are horizontal metres from the rod tip, tension is at the
        rod tip, unknown is NaN.

    Raises
    ------
    UsageMistake
        When a quantity cannot be read or lies outside its range.
    """
    water = _quantity(depth, "m", "--depth", 0.0, 60.0, above=True)
    speed = _quantity(current, "m/s", "--current", 0.0, 5.0)
    far = _quantity(cast, "m", "--cast", 1.0, 60.0)
    if not (0.0 < grains <= 3000.0):
        raise UsageMistake(f"--grains {grains:g}", "above zero and up to 3000", "correct --grains")
    if not 0.0 <= sink <= 20.0:
        raise UsageMistake(f"--sink {sink:g}", "0 (a floating line) to 20 inches per second", "correct --sink")
    long_m = _quantity(head, "m", "--head", 0.3, 40.0)
    if tip is not None and _quantity(tip, "m", "--tip", 0.3, 40.0) > long_m:
        raise UsageMistake(f"--tip {tip!r} is longer than --head {head!r}", "a tip within the head", "correct one")
    if pull is not None and pause is None:
        raise UsageMistake("--pull without --pause", "both for a pulsed strip", "add --pause, or leave --pull out")
    tackle, entry, tied = own or (None, None, None)
    entry = entry or TackleLine(
        name="the line asked for",
        head_ft=parse(head, "ft", "--head"),
        head_grains=grains,
        sink_ips=sink,
        tip_ft=math.nan if tip is None else parse(tip, "ft", "--tip"),
        running=running,
    )
    line = line_from_tackle(entry, tackle)
    extra = {} if bead is None else {"bead": bead}
    fly = fly_from_tackle(tied or TackleFly("the fly asked for", fly_drag, math.nan, fly_weighting, extra=extra))
    profile = Current(speed, water)
    boat = drift_ratio() * float(profile.at(0.0)) if stance == "drifting" else 0.0
    made = Cast(
        cast_m=far,
        angle_deg=angle,
        strip_m_s=_quantity(strip, "m/s", "--strip", 0.0, 3.0),
        countdown_s=countdown,
        mode=mode,
        stance=stance,
        boat_speed_m_s=boat,
        lift_at_m=math.nan if lift_at is None else _quantity(lift_at, "m", "--lift-at", 0.5, 60.0),
        pull_s=0.5 if pull is None else _quantity(pull, "s", "--pull", 0.1, 20.0),
        tip_height_m=0.0 if tip_height is None else _quantity(tip_height, "m", "--tip-height", 0.0, 4.0),
        pause_s=0.0 if pause is None else _quantity(pause, "s", "--pause", 0.0, 20.0),
    )
    bed: float | BedGrid = water
    ground = (np.array([0.0, far]), np.array([water, water]))
    if near is not None:
        shallow = _quantity(near, "m", "--near", 0.0, 60.0)
        ground = (ground[0], np.array([shallow, water]))
        bed = bed_by_distance(*ground, reach_m=2.0 * far + 5.0)
    path = swim(line, fly, made, profile, bed)
    report = _report(path, made, ground) | {
        "line": {
            "diameter_mm": path.line_diameter_m * 1000.0,
            "density_kg_m3": path.line_density_kg_m3,
            "flags": list(line.flags),
        },
        "water": {
            "depth_m": water,
            "current_m_s": speed,
            "boat_speed_m_s": boat,
            "bed_distance_m": ground[0],
            "bed_depth_m": ground[1],
        },
    }
    report["title"] = _title(entry, tied, fly_drag, fly_weighting, bead)
    if reach is not None:
        wanted = _quantity(reach, "m", "--reach", 0.0, 60.0, above=True)
        if wanted >= water:
            raise UsageMistake(f"--reach {reach!r} in {depth!r} of water", "a depth above the bed", "correct --reach")
        found = countdown_to_reach(line, fly, replace(made, countdown_s=0.0), profile, wanted, bed)
        report["reach"] = {
            "depth_m": wanted,
            "at_strip_s": found.at_strip_s,
            "in_swim_s": found.in_swim_s,
            "longest_s": LONGEST[mode],
            "deepest_m": float(found.deepest_m.max()),
            "touches_s": found.touches_s,
        }
    return report


def _title(line: TackleLine, tied: TackleFly | None, drag: str, weighting: str, bead: str | None) -> str:
    """Line and fly: by the names in the box, else in the trade's words."""
    words = f"{line.head_grains:g} grains over {line.head_ft:g} ft, {line.sink_ips:g} inches per second"
    fly = f"{drag} drag fly, " + ("no weight" if weighting == "none" else f"{weighting} weight")
    fly += "" if bead is None else f", {bead} bead"
    return f"{words if line.name == 'the line asked for' else line.name}; {fly if tied is None else tied.name}"


def _report(path: Swim, cast: Cast, ground: tuple[np.ndarray, np.ndarray]) -> dict[str, Any]:
    return {
        "times_s": path.times_s,
        "fly_depth_m": path.fly_depth_m,
        "fly_distance_m": path.fly_distance_m,
        "fly_x_m": path.fly_x_m,
        "fly_y_m": path.fly_y_m,
        "height_m": path.height_m,
        "low_depth_m": path.low_depth_m,
        "low_distance_m": path.low_distance_m,
        "tension_n": path.tension_n,
        "phase": [_PHASES[int(phase)] for phase in path.phase],
        "mode": cast.mode,
        "countdown_s": cast.countdown_s,
        "fed_m": path.fed_m,
        "depth_at_strip_start_m": path.depth_at_strip_start_m,
        "mean_depth_retrieve_m": path.mean_depth_retrieve_m,
        "max_depth_m": path.max_depth_m,
        "least_height_m": float(np.min(path.clearance_m)),
        "touched": bool(path.touched),
        "touch_at_m": path.touch_at_m,
        "hang": bool(path.hang),
        "relative_speed_m_s": path.relative_speed_m_s,
        "sanity_depth_m": path.sanity_depth_m,
        "stretch": path.stretch,
    }


def drift_ratio() -> float:
    """Boat speed over surface current of a drifting boat unless told otherwise [1]."""
    return constants("advice")["boat_ratio"]


def add_caption(report: dict[str, Any], units: str) -> dict[str, Any]:
    """The report with the picture's caption: water, countdown and what the fly came to."""
    water = report["water"]
    report["caption"] = (
        f"{show(water['depth_m'], 'depth', units)} of water at {show(water['current_m_s'], 'speed', units)}, count "
        f"{report['countdown_s']:g} s, {report['mode']}; mean in the retrieve "
        f"{show(report['mean_depth_retrieve_m'], 'depth', units)}. An estimate."
    )
    return report


def swim_text(report: dict[str, Any], units: str) -> str:
    """A swim for a person: what it comes to, and the path as a side view of characters."""
    depth, water = report["mean_depth_retrieve_m"], report["water"]["depth_m"]
    sanity = report["sanity_depth_m"]
    beside = (
        f"Closed form beside it {show(sanity, 'depth', units)}"
        if sanity == sanity
        else "No closed form beside it: the line floats"
    )
    lines = [
        "An estimate: depth and current are taken as given, turbulence and side currents are left out. "
        "What is seen at the water decides.",
        f"Fly depth at the first strip {show(report['depth_at_strip_start_m'], 'depth', units)}, "
        f"mean in the retrieve {show(depth, 'depth', units)}, "
        f"deepest {show(report['max_depth_m'], 'depth', units)} in {show(water, 'depth', units)} of water.",
        f"{beside}; the fly moves at "
        f"{show(report['relative_speed_m_s'], 'speed', units)} through the water, which is what decides its depth.",
        "Touches the bed "
        + (f"{show(report['touch_at_m'], 'length', units)} from the rod tip." if report["touched"] else "nowhere.")
        + (" It hangs there." if report["hang"] else ""),
        *([f"Fed {show(report['fed_m'], 'depth', units)} of line in the count."] if report["fed_m"] > 0.05 else []),
        f"Line {report['line']['diameter_mm']:.2f} mm, {report['line']['density_kg_m3']:.0f} kg/m³.",
        *(f"Note: {flag}" for flag in report["line"]["flags"]),
        *_reach_text(report, units),
        *side_view(report, units),
    ]
    return "\n".join(lines)


def _reach_text(report: dict[str, Any], units: str) -> list[str]:
    """Which countdown reaches the depth asked for."""
    reach = report.get("reach")
    if reach is None:
        return []
    wanted = show(reach["depth_m"], "depth", units)
    if math.isnan(reach["at_strip_s"]) and math.isnan(reach["in_swim_s"]):
        return [
            f"No count of up to {reach['longest_s']} s ({report['mode']}) reaches {wanted}: the fly comes to "
            f"{show(reach['deepest_m'], 'depth', units)} at most. Feed line, mend, strip slower or take a heavier rig."
        ]
    lines = []
    if math.isnan(reach["at_strip_s"]):
        lines.append(f"No count of up to {reach['longest_s']} s has it at {wanted} by the first strip.")
    else:
        lines.append(f"Count {reach['at_strip_s']:.1f} s ({report['mode']}) to have it at {wanted} by the first strip.")
    if not math.isnan(reach["in_swim_s"]):
        lines.append(f"From a count of {reach['in_swim_s']:.0f} s on it gets there at some moment of the swim.")
    if not math.isnan(reach["touches_s"]):
        lines.append(f"From a count of {reach['touches_s']:.0f} s on line or fly touches the bed.")
    return lines
