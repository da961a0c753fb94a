"""One swim from quantities as a user types them: the answer of `plumbrun swim`."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from planner.errors import UsageMistake
from planner.river.records import TackleLine
from planner.sink.fly import fly_from_class
from planner.sink.line import line_from_tackle
from planner.sink.records import Cast, Current
from planner.sink.swim import swim
from planner.tables import rows
from planner.units import parse, show

__all__ = ["swim_report", "swim_text"]

_PHASES = ("countdown", "retrieve", "lift")


def swim_report(
    *,
    depth: str,
    current: str,
    grains: float,
    head: str,
    sink: float,
    tip: str | None,
    running: str,
    fly_drag: str,
    fly_weighting: str,
    cast: str,
    angle: float,
    countdown: float,
    fed: bool,
    strip: str,
    stance: str,
) -> dict[str, Any]:
    """Solve one swim over a level bed.

    Parameters
    ----------
    depth, current, head, tip, cast, strip : str
        Quantities with their units; `tip` None for a full sinking head.
    grains : float
        Weight of the part that sinks [grains].
    sink : float
        Its sink rate [inches per second].
    running, fly_drag, fly_weighting, stance : str
        Words of the tackle and the stance.
    angle : float
        From straight downstream [degrees].
    countdown : float
        Seconds before the first strip [s].
    fed : bool
        Whether slack is fed during the countdown.

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
    water = parse(depth, "m", "--depth")
    speed = parse(current, "m/s", "--current")
    if not 0.0 < water <= 60.0:
        raise UsageMistake(f"--depth {depth!r}", "a depth between 0 and 60 m", "correct --depth")
    if grains <= 0 or sink < 0:
        raise UsageMistake(
            f"--grains {grains:g}, --sink {sink:g}", "a weight above zero, a rate from 0", "correct them"
        )
    if tip is not None and parse(tip, "m", "--tip") > parse(head, "m", "--head"):
        raise UsageMistake(f"--tip {tip!r} is longer than --head {head!r}", "a tip within the head", "correct one")
    line = line_from_tackle(
        TackleLine(
            name="the line asked for",
            head_ft=parse(head, "ft", "--head"),
            head_grains=grains,
            sink_ips=sink,
            tip_ft=math.nan if tip is None else parse(tip, "ft", "--tip"),
            running=running,
        )
    )
    fly = fly_from_class(fly_drag, fly_weighting)
    profile = Current(speed, water)
    boat = 0.0
    if stance == "drifting":
        boat = drift_ratio() * float(profile.at(0.0))
    path = swim(
        line,
        fly,
        Cast(
            cast_m=parse(cast, "m", "--cast"),
            angle_deg=angle,
            strip_m_s=parse(strip, "m/s", "--strip"),
            countdown_s=countdown,
            mode="fed" if fed else "held",
            stance=stance,
            boat_speed_m_s=boat,
        ),
        profile,
        water,
    )
    return {
        "times_s": path.times_s,
        "fly_depth_m": path.fly_depth_m,
        "fly_distance_m": path.fly_distance_m,
        "tension_n": path.tension_n,
        "phase": [_PHASES[int(phase)] for phase in path.phase],
        "depth_at_strip_start_m": path.depth_at_strip_start_m,
        "mean_depth_retrieve_m": path.mean_depth_retrieve_m,
        "max_depth_m": path.max_depth_m,
        "touched": bool(path.touched),
        "touch_at_m": path.touch_at_m,
        "hang": bool(path.hang),
        "relative_speed_m_s": path.relative_speed_m_s,
        "sanity_depth_m": path.sanity_depth_m,
        "line": {
            "diameter_mm": path.line_diameter_m * 1000.0,
            "density_kg_m3": path.line_density_kg_m3,
            "flags": list(line.flags),
        },
        "water": {"depth_m": water, "current_m_s": speed, "boat_speed_m_s": boat},
    }


def drift_ratio() -> float:
    """Boat speed over surface current of a drifting boat unless told otherwise [1]."""
    return float(next(row["value"] for row in rows("advice") if row["key"] == "boat_ratio"))


def swim_text(report: dict[str, Any], units: str) -> str:
    """A swim for a person: what it comes to, and the path as a side view of characters."""
    depth, water = report["mean_depth_retrieve_m"], report["water"]["depth_m"]
    lines = [
        f"Fly depth at the first strip {show(report['depth_at_strip_start_m'], 'depth', units)}, "
        f"mean in the retrieve {show(depth, 'depth', units)}, "
        f"deepest {show(report['max_depth_m'], 'depth', units)} in {show(water, 'depth', units)} of water.",
        f"Closed form beside it {show(report['sanity_depth_m'], 'depth', units)}; the fly moves at "
        f"{show(report['relative_speed_m_s'], 'speed', units)} through the water, which is what decides its depth.",
        "Touches the bed "
        + (f"{show(report['touch_at_m'], 'length', units)} from the rod tip." if report["touched"] else "nowhere.")
        + (" It hangs there." if report["hang"] else ""),
        f"Line {report['line']['diameter_mm']:.2f} mm, {report['line']['density_kg_m3']:.0f} kg/m³.",
        *(f"Note: {flag}" for flag in report["line"]["flags"]),
        *side_view(report, units),
    ]
    return "\n".join(lines)


def side_view(report: dict[str, Any], units: str, columns: int = 64, height: int = 10) -> list[str]:
    """The path drawn in characters, the rod tip at the left: o countdown, * retrieve, + lift, = the bed."""
    x, z = np.asarray(report["fly_distance_m"]), np.asarray(report["fly_depth_m"])
    water = report["water"]["depth_m"]
    far = max(float(x.max()), 1e-6)
    grid = [[" "] * columns for _ in range(height + 1)]
    for xi, zi, phase in zip(x, z, report["phase"], strict=True):
        row = min(int(zi / water * height), height - 1) if zi < water else height - 1
        grid[max(row, 0)][min(int(xi / far * (columns - 1)), columns - 1)] = {"countdown": "o", "retrieve": "*"}.get(
            phase, "+"
        )
    grid[height] = ["="] * columns
    labels = ["surface", *[""] * (height - 1), f"bed {show(water, 'depth', units)}"]
    drawn = [f"{label:>12} {''.join(row)}".rstrip() for label, row in zip(labels, grid, strict=True)]
    return [*drawn, f"{'rod tip':>12} {'':<{columns - 12}}{show(far, 'length', units):>12}"]
