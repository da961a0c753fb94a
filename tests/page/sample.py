"""An invented plan and river of any size, for the tests of the page; no figure here is of a real place.

The numbers follow simple hydraulics (Manning with a wide section, a fly that sinks at a steady rate) so that they
move the right way when the level moves; they are no output of the planner.
"""

from __future__ import annotations

import math
from typing import Any

from planner.river.records import River
from tests.page.sample_river import FLIES, GAUGE, LAT0, LINES, LON0, NASTY, STANCES, sample_river

__all__ = ["GAUGE", "LAT0", "LON0", "NASTY", "sample", "sample_plan", "sample_river"]


def _caution(level: int | None, reasons: list[dict[str, Any]], assessed: int = 9, checks: int = 13) -> dict[str, Any]:
    words = {0: "no caution raised", 1: "heads-up", 2: "think again", 3: "stay off", None: "not assessed"}
    return {
        "level": level,
        "label": words[level],
        "assessed": assessed if level is not None else 0,
        "checks": checks,
        "reasons": reasons,
        "low_water": [],
    }


def _speed_caution(velocity: float, depth: float) -> dict[str, Any]:
    product = velocity * depth
    level = 0 if product < 0.5 else 1 if product < 0.9 else 2 if product < 1.3 else 3
    reasons = []
    if level:
        reasons.append(
            {
                "rule": "depth_times_speed",
                "level": level,
                "text": f"Depth times current here is about {product:.1f} m²/s; people lose their footing from 0.6 on.",
                "value": round(product, 3),
                "threshold": 0.6,
                "source": "invented for the test",
            }
        )
    return _caution(level, reasons)


def _spot_at(i: int, stage: float, limit: float) -> dict[str, Any]:
    depth = 1.3 + 0.28 * (i % 5) + 0.8 * (stage - 0.7)
    velocity = 0.35 + 0.13 * (i % 4) + 0.35 * (stage - 0.7)
    out: dict[str, Any] = {"depth_m": round(depth, 3), "velocity_m_s": round(velocity, 3)}
    rate = 0.09 + 0.02 * (i % 3)
    start = max(1.0, round((depth - 0.5) / rate * 0.6))
    if velocity > limit:
        out.update(line=None, fly=None, countdown_from_s=None, countdown_to_s=None, strip_m_s=None)
        out.update(touch_chance=None, hang_chance=None, band_time_s=None)
        out["none_because"] = "Nothing in your box reaches the hold band in this current."
    else:
        out.update(line=LINES[i % 3], fly=FLIES[(i + int(stage * 5)) % 5])
        out.update(countdown_from_s=start, countdown_to_s=start + 3, strip_m_s=0.3 + 0.1 * (i % 3))
        out.update(touch_chance=0.12 + 0.01 * i, hang_chance=0.04, band_time_s=round(8 - 3 * velocity, 2))
        out["countdown_mode"] = "fed" if i % 2 else "held"
        out["lift_rod_at_m"], out["fly_depth_m"] = 5.5, [round(depth - cut, 2) for cut in (0.75, 0.45, 0.2)]
        out["why"] = (
            f"At {velocity:.2f} m/s the head sinks to {depth - 0.4:.2f} m by the first strip, so that "
            f"{out['fly'].lower()} stays in the hold band for {out['band_time_s']:.1f} s."
        )
    out["swim"] = _short(_swim(out))
    out["caution"] = _speed_caution(velocity, depth)
    out["caution"]["reasons"] += [
        {"rule": rule, "level": None, "text": f"Not assessed: {rule} was never supplied."}
        for rule in ("footing", "load")
    ]
    return out


def _run_at(i: int, stage: float) -> dict[str, Any]:
    depth = 0.9 + 0.5 * (i % 4) + 0.8 * (stage - 0.7)
    velocity = 0.45 + 0.2 * ((i + 1) % 3) + 0.35 * (stage - 0.7)
    return {
        "id": f"run-{i + 1}",
        "level_m": round(0.8 * (stage - 0.7), 3),
        "mean_depth_m": round(depth, 3),
        "velocity_low_m_s": round(velocity * 0.85, 3),
        "velocity_high_m_s": round(velocity * 1.2, 3),
        "caution": _speed_caution(velocity, 0.5 * depth),
    }


def _choice(row: dict[str, Any], i: int) -> dict[str, Any] | None:
    if row["line"] is None:
        return None
    keys = ["line", "fly"]
    keys += ["countdown_from_s", "countdown_to_s", "strip_m_s", "touch_chance", "hang_chance", "band_time_s"]
    found = {key: row[key] for key in keys}
    depth = row["depth_m"]
    found["countdown_mode"] = "fed" if i % 2 else "held"
    found["lift_rod_at_m"] = 5.5
    found["fly_depth_m"] = [round(depth - 0.75, 2), round(depth - 0.45, 2), round(depth - 0.2, 2)]
    found["why"] = (
        f"The head sinks faster than the bed falls away, so that {row['fly'].lower()} stays in the hold band."
    )
    return found


def _swim(row: dict[str, Any]) -> dict[str, Any] | None:
    if row["line"] is None:
        return None
    x, depth, bed = [], [], []
    for k in range(31):
        away = 18 - 16.5 * k / 30
        ground = row["depth_m"] * (0.55 + 0.45 * min(1, away / 11)) + 0.06 * math.sin(away * 2.3)
        sunk = min(ground - 0.25, row["depth_m"] * 1.25 * (1 - math.exp(-k / 5))) if away > 5 else 0.2 * away
        x.append(round(away, 2))
        depth.append(round(max(0.0, sunk), 3))
        bed.append(round(ground, 3))
    swing = [round(0.5 * k**0.8, 2) for k in range(31)]
    north = [round(-0.3 * k, 2) for k in range(31)]
    return {
        "x_m": x,
        "depth_m": depth,
        "bed_depth_m": bed,
        "strip_from": 9,
        **({"east_m": swing, "north_m": north} if row["depth_m"] > 1.5 else {}),
    }


def _short(swim: dict[str, Any] | None) -> dict[str, Any] | None:
    """Every other point: what a step of the ladder holds."""
    if swim is None:
        return None
    return {**{key: swim[key][::2] for key in ("x_m", "depth_m", "bed_depth_m")}, "strip_from": 4}


def sample_plan(runs: int = 3, spots: int = 6, levels: int = 13, names: tuple[str, ...] = ()) -> dict[str, Any]:
    """An invented plan with the keys of ``plan.json``, of any number of runs, spots and levels."""
    planned, step = 0.744, 0.0762 if levels < 16 else 0.0305
    first = 0.6858 - step * (levels // 2)
    stages = [round(first + step * k, 4) for k in range(levels)]
    river = names[0] if names else "Harrow Fork (invented)"

    def overall(stage: float) -> dict[str, Any]:
        level = 1 if stage < 0.8 else 2 if stage < 1.0 else 3
        reasons = [
            {
                "rule": "cold_water",
                "level": 1,
                "text": "Water near 14 °C (57 °F): a swimmer loses the use of the hands within minutes.",
                "value": 14.0,
                "threshold": 15.0,
                "source": "invented for the test",
            }
        ]
        if level > 1:
            reasons.insert(
                0,
                {
                    "rule": "local_stage",
                    "level": level,
                    "text": names[1]
                    if len(names) > 1
                    else "The gauge is above the level at which the gravel bar goes under.",
                    "value": stage,
                    "threshold": 0.8,
                    "source": "invented for the test",
                },
            )
        unmade = ("air temperature is not given", "footing is not given", "no thunder outlook was read")
        reasons += [{"rule": f"Q{i}", "level": None, "text": f"Not assessed: {t}."} for i, t in enumerate(unmade)]
        found = _caution(level, reasons, 11, 15)
        found["turns"] = ["Heads-up turns to think again at 2.62 ft, to stay off at 3.28 ft."]
        return found

    ladder = []
    for stage in stages:
        ladder.append(
            {
                "gauge": GAUGE,
                "stage_m": stage,
                "discharge_m3s": round(30 * (stage + 0.2) ** 1.9, 2),
                "caution": overall(stage),
                "runs": [_run_at(i, stage) for i in range(runs)],
                "spots": [{"id": f"spot-{i + 1}", **_spot_at(i, stage, 0.88)} for i in range(spots)],
            }
        )
    rows = [_spot_at(i, planned, 0.78 if i == 3 else 2.0) for i in range(spots)]
    spot_rows = []
    for i, row in enumerate(rows):
        best = _choice(row, i)
        other = dict(best, line=LINES[(i + 1) % 3], countdown_from_s=9.0, countdown_to_s=11.0) if best else None
        spot_rows.append(
            {
                "id": f"spot-{i + 1}",
                "run": f"run-{i % runs + 1}",
                "name": names[i % len(names)] if names else f"{('Boulder', 'Seam', 'Shelf', 'Slot')[i % 4]} {i + 1}",
                "at": f"2026-06-13T{12 + i * 8 // spots:02d}:{(i * 37) % 60:02d}:00Z",
                "stage_m": planned,
                "depth_m": row["depth_m"],
                "depth_low_m": round(row["depth_m"] - 0.2, 3),
                "depth_high_m": round(row["depth_m"] + 0.25, 3),
                "velocity_m_s": row["velocity_m_s"],
                "stance": STANCES[i % 4],
                "stance_depth_m": 0.6,
                "stance_velocity_m_s": 0.4,
                "cast_m": 18.6,
                "angle_deg": 66.0,
                "best": best,
                "none_because": None if best else "Nothing in your box reaches the hold band in this current.",
                "next_best": other,
                "hold_low_m": 0.15,
                "hold_high_m": 0.6,
                "swim": _swim(row),
                "caution": row["caution"],
            }
        )
    run_rows = []
    for i in range(runs):
        row = _run_at(i, planned)
        middle = math.sqrt(row["velocity_low_m_s"] * row["velocity_high_m_s"])
        run_rows.append(
            {
                **row,
                "name": names[i % len(names)]
                if names
                else f"{('Ferry', 'Ledge', 'Willow', 'Barn')[i % 4]} run {i + 1}",
                "area_m2": round(48 * row["mean_depth_m"], 1),
                "hydraulic_radius_m": row["mean_depth_m"],
                "max_depth_m": round(row["mean_depth_m"] * 1.6, 2),
                "slope": 0.0006,
                "n": 0.034,
                "velocity_manning_m_s": round(middle * 1.05, 3),
                "velocity_continuity_m_s": round(middle * 0.95, 3),
                "velocity_used_m_s": round(middle, 3),
                "soundings": 134,
                "bed_error_m": 0.14,
                "n_calibrated": 0.031,
                "section": {
                    "n_m": [-24.0 + 3 * k for k in range(17)],
                    "z_m": [round(0.4 - 2.2 * row["mean_depth_m"] * (1 - abs(k - 6) / 11), 3) for k in range(17)],
                    "level_m": row["level_m"],
                },
                "limits": ["The water's edge was drawn at another level."] if i == 1 else [],
            }
        )
    return {
        "format": "plumbrun-plan/1",
        "river": river,
        "made_at": "2026-06-12T23:20:00Z",
        "for_day": "2026-06-13",
        "gauges": [
            {
                "id": GAUGE,
                "service": "file",
                "stage_m": 0.768,
                "discharge_m3s": 28.2,
                "observed_at": "2026-06-12T23:00:00Z",
                "age_min": 20,
                "quality": "provisional",
                "trend_m_per_h": -0.003,
            }
        ],
        "expected": [
            {
                "time": f"2026-06-13T{12 + k:02d}:00:00Z",
                "stage_m": round(planned + 0.004 - 0.001 * k, 3),
                "stage_low_m": round(planned - 0.05 - 0.002 * k, 3),
                "stage_high_m": round(planned + 0.06 + 0.002 * k, 3),
                "discharge_m3s": 27.4,
                "basis": "falling as it fell over the last two days",
            }
            for k in range(9)
        ],
        "caution": overall(planned),
        "runs": run_rows,
        "spots": spot_rows,
        "ladder": ladder,
        "rods": [
            {
                "line": LINES[0],
                "flies": list(FLIES[:2]),
                "spots": ["spot-1", "spot-4"],
                "band_time_s": 6.2,
                "lost_share": 0.0,
            },
            {"line": LINES[1], "flies": [FLIES[1]], "spots": ["spot-2"], "band_time_s": 5.1, "lost_share": 0.07},
        ],
        "trip": {
            "start": "2026-06-13T12:00:00Z",
            "end": "2026-06-13T20:00:00Z",
            "put_in": "in",
            "take_out": "out",
            "take_out_at": "2026-06-13T19:40:00Z",
            "take_out_latest": "2026-06-13T20:25:00Z",
            "sunrise": "2026-06-13T10:23:00Z",
            "sunset": "2026-06-14T01:47:00Z",
            "dusk": "2026-06-14T02:21:00Z",
            "stops": [
                {"spot": row["id"], "run": row["run"], "name": row["name"], "arrive_at": row["at"]} for row in spot_rows
            ],
            "conflicts": [],
            "notes": ["The clock is set by the hours given and the run's current."],
        },
    }


def sample(**size: Any) -> tuple[dict[str, Any], River]:
    """The invented plan and its river, of the same size."""
    river = {key: size[key] for key in ("runs", "spots", "names") if key in size}
    return sample_plan(**size), sample_river(**river)
