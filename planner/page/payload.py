"""The plan as the page's script reads it: positions instead of keys, each text and each caution once.

Forty spots on twenty-five levels are a thousand answers; written with their keys and sentences they would not fit
the page. A row of the ladder becomes a short list of numbers, and texts and cautions become indexes into tables.
All numbers stay SI; the script shows them in the reader's unit by the rules in ``units``.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Any

from planner.page import words
from planner.page.more import more_words
from planner.river.records import HOLD_HIGH_M, HOLD_LOW_M, River

__all__ = ["payload", "planned_level", "script_json", "step_value"]

_SPOT_NUMBERS = ("countdown_from_s", "countdown_to_s", "strip_m_s", "touch_chance", "hang_chance", "band_time_s")


_SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz-_"


class _Tables:
    """Texts and cautions, each kept once."""

    def __init__(self) -> None:
        self.texts: list[str] = []
        self.cautions: list[list[Any]] = []
        self._text_at: dict[str, int] = {}
        self._caution_at: dict[str, int] = {}

    def text(self, value: Any) -> int | None:
        if value is None or value == "":
            return None
        key = str(value)
        if key not in self._text_at:
            self._text_at[key] = len(self.texts)
            self.texts.append(key)
        return self._text_at[key]

    def caution(self, caution: dict[str, Any] | None, whole: bool = False) -> int | None:
        """Index of a caution; `whole` keeps the words of what was not assessed, which only the day's own shows."""
        if caution is None:
            return None
        found = caution.get("reasons") or ()
        row = [
            caution.get("level"),
            self.text(words.caution_line(caution)),
            self.text(words.unlisted_words(caution)),
            [[r["level"], self.text(r.get("text")), self.text(r.get("rule"))] for r in words.raised(found)],
            [self.text(note) for note in words.low_notes(caution)] if whole else [],
            self.text(words.caution_short(caution)),
            [[self.text(r.get("rule")), self.text(r.get("text")) if whole else None] for r in words.missing(caution)],
            [self.text(n.get("text") or n.get("rule")) for n in words.missing_notes(caution)] if whole else [],
        ]
        key = json.dumps(row)
        if key not in self._caution_at:
            self._caution_at[key] = len(self.cautions)
            self.cautions.append(row)
        return self._caution_at[key]


def _number(value: Any, digits: int = 3) -> float | int | None:
    if value is None or isinstance(value, bool) or not math.isfinite(float(value)):
        return None
    short = round(float(value), digits)
    return int(short) if short == int(short) else short


def step_value(step: dict[str, Any]) -> tuple[str, float | None]:
    """What a step of the ladder is keyed on: ``level`` with its stage [m], or ``discharge`` [m³/s]."""
    if step.get("stage_m") is not None:
        return "level", step["stage_m"]
    return "discharge", step.get("discharge_m3s")


def planned_level(plan: dict[str, Any], gauge: str, kind: str, runs_of_gauge: set[str]) -> float | None:
    """The gauge value for which the plan's own answers hold: the middle of its spots' stages, else of the day's.

    Parameters
    ----------
    plan : dict
        The plan.
    gauge : str
        Station id.
    kind : str
        ``level`` [m] or ``discharge`` [m³/s].
    runs_of_gauge : set of str
        Ids of the runs that this gauge speaks for.
    """
    key = "stage_m" if kind == "level" else "discharge_m3s"
    found = [s[key] for s in plan.get("spots") or () if s.get("run") in runs_of_gauge and s.get(key) is not None]
    if not found:
        rows = [r for r in plan.get("expected") or () if r.get("gauge") in (None, gauge)]
        found = [r[key] for r in rows if r.get(key) is not None]
    if not found:
        found = [g[key] for g in plan.get("gauges") or () if g.get("id") == gauge and g.get(key) is not None]
    found.sort()
    return found[len(found) // 2] if found else None


def _spot_row(row: dict[str, Any], tables: _Tables) -> list[Any]:
    """Fixed order: depth, current, line, fly, six numbers, caution, mode, why or reason, lift, depths, swim, leader."""
    out: list[Any] = [_number(row.get("depth_m")), _number(row.get("velocity_m_s"))]
    out += [tables.text(row.get("line")), tables.text(row.get("fly"))]
    out += [_number(row.get(name)) for name in _SPOT_NUMBERS]
    out.append(tables.caution(row.get("caution")))
    fly_depths = [_number(v, 2) for v in row.get("fly_depth_m") or ()]
    out += [tables.text(row.get("countdown_mode")), tables.text(row.get("why") or row.get("none_because"))]
    out += [_number(row.get("lift_rod_at_m"), 1), fly_depths or None, _short_swim(row.get("swim"))]
    out.append(_number(row.get("leader_m")))
    while out[-1] is None:
        out.pop()
    return out


def _run_row(row: dict[str, Any], tables: _Tables) -> list[Any]:
    """Fixed order: level, mean depth, current low, current high, caution, current used."""
    names = ("level_m", "mean_depth_m", "velocity_low_m_s", "velocity_high_m_s")
    return [
        *(_number(row.get(name)) for name in names),
        tables.caution(row.get("caution")),
        _number(row.get("velocity_used_m_s")),
    ]


def _swim(swim: dict[str, Any] | None) -> list[Any] | None:
    if not swim or not swim.get("x_m"):
        return None
    series = [[_number(v, 2) for v in swim.get(name) or ()] for name in ("x_m", "depth_m", "bed_depth_m")]
    way = [[_number(v, 1) for v in swim.get(name) or ()] for name in ("east_m", "north_m")]
    return [*series, swim.get("strip_from"), *([way] if len(way[0]) == len(way[1]) == len(series[0]) else [])]


def _short_swim(swim: dict[str, Any] | None) -> str | None:
    """A swim of the ladder as text of 64 signs: farthest [dm] and deepest [cm] in two signs each, the index of the
    first strip in one, then three for each point: distance, fly and bed as shares of those; the last sign is unknown.

    A thousand swims of sixteen points would not fit the page as numbers; a share of 1/62 is a pixel of the drawing.

    Examples
    --------
    >>> _short_swim({"x_m": [10.0, 2.0], "depth_m": [0.0, 1.5], "bed_depth_m": [2.0, None], "strip_from": 1})
    '1a381-0-Ck_'
    """
    if not swim or not swim.get("x_m"):
        return None
    far = max([*swim["x_m"], 0.1])
    deep = max((v for key in ("depth_m", "bed_depth_m") for v in swim[key] if v is not None), default=0.0)
    dm, cm = min(math.ceil(10 * far), 4095), min(max(math.ceil(100 * deep), 1), 4095)

    def share(value: float | None, most: float) -> str:
        if value is None or not math.isfinite(value):
            return _SIGNS[63]
        return _SIGNS[min(max(round(62 * value / most), 0), 62)]

    head = _SIGNS[dm // 64] + _SIGNS[dm % 64] + _SIGNS[cm // 64] + _SIGNS[cm % 64] + _SIGNS[min(swim["strip_from"], 63)]
    points = zip(swim["x_m"], swim["depth_m"], swim["bed_depth_m"], strict=True)
    return head + "".join(share(x, dm / 10) + share(d, cm / 100) + share(b, cm / 100) for x, d, b in points)


def _run_worth(run: dict[str, Any], hold: tuple[float, float]) -> dict[str, Any]:
    """What the card of a run shows beside the answers of a level: its bed across, its two currents, its limits."""
    section = run.get("section") or {}
    n, z = section.get("n_m") or (), section.get("z_m") or ()
    pairs = [(a, b) for a, b in zip(n, z, strict=False) if a is not None and b is not None]
    out = {
        "section": [[_number(a, 1) for a, _ in pairs], [_number(b, 2) for _, b in pairs]] if len(pairs) > 2 else None,
        "hold": [_number(hold[0], 2), _number(hold[1], 2)],
        "soundings": run.get("soundings") or 0,
        "limits": [str(limit) for limit in run.get("limits") or () if limit],
    }
    names = ("max_depth_m", "bed_error_m", "velocity_manning_m_s", "velocity_continuity_m_s", "n", "n_calibrated")
    out.update({name: _number(run.get(name)) for name in names})
    out["slope"] = _number(run.get("slope"), 7)
    return out


def _least(choice: dict[str, Any] | None, tables: _Tables) -> int | None:
    """What hangs least where the hang limit leaves nothing, as one sentence."""
    if not choice:
        return None
    count, hang = words.count_words(choice), words.percent(choice.get("hang_chance"))
    return tables.text(f"{choice.get('line')}, {choice.get('fly')}, {count}: hangs in {hang} of casts")


def _planned_spot(spot: dict[str, Any], tables: _Tables, learned: dict[str, Any] | None, units: str) -> dict[str, Any]:
    best = spot.get("best") or {}
    row = {
        **best,
        "depth_m": spot.get("depth_m"),
        "velocity_m_s": spot.get("velocity_m_s"),
        "caution": spot.get("caution"),
    }
    if not best:
        row["none_because"] = spot.get("none_because")
    other = spot.get("next_best") or {}
    return {
        "row": _spot_row(row, tables),
        "depth": [_number(spot.get("depth_low_m")), _number(spot.get("depth_high_m"))],
        "speed": [_number(spot.get("velocity_low_m_s")), _number(spot.get("velocity_high_m_s"))],
        "stance": [_number(spot.get("stance_depth_m")), _number(spot.get("stance_velocity_m_s"))],
        "next": [
            tables.text(other.get("line")),
            tables.text(other.get("fly")),
            tables.text(words.count_words(other)),
        ]
        if other
        else None,
        "swim": _swim(spot.get("swim")),
        "least": _least(spot.get("compromise"), tables),
        "more": [[tables.text(label), tables.text(text)] for label, text in more_words(spot, learned, units)],
    }


def _ladders(plan: dict[str, Any], tables: _Tables, runs: Sequence[str], spots: Sequence[str]) -> list[dict[str, Any]]:
    run_at = {name: i for i, name in enumerate(runs)}
    spot_at = {name: i for i, name in enumerate(spots)}
    groups: dict[str, list[dict[str, Any]]] = {}
    for step in plan.get("ladder") or ():
        groups.setdefault(str(step.get("gauge") or ""), []).append(step)
    out = []
    for gauge, steps in groups.items():
        kind = step_value(steps[0])[0]
        use = sorted(
            (s for s in steps if step_value(s)[0] == kind and step_value(s)[1] is not None),
            key=lambda s: step_value(s)[1] or 0.0,
        )
        if not use:
            continue
        run_rows = [
            {run_at[r["id"]]: _run_row(r, tables) for r in s.get("runs") or () if r["id"] in run_at} for s in use
        ]
        spot_rows = [
            {spot_at[r["id"]]: _spot_row(r, tables) for r in s.get("spots") or () if r["id"] in spot_at} for s in use
        ]
        own = {runs[i] for i in run_rows[0]}
        out.append(
            {
                "gauge": tables.text(gauge),
                "kind": kind,
                "planned": _number(planned_level(plan, gauge, kind, own), 4),
                "at": [_number(step_value(s)[1], 4) for s in use],
                "flow": [_number(s.get("discharge_m3s"), 2) for s in use],
                "caution": [tables.caution(s.get("caution"), whole=True) for s in use],
                "runs": sorted(run_rows[0]),
                "spots": sorted(spot_rows[0]),
                "runRows": [[rows.get(i) for i in sorted(run_rows[0])] for rows in run_rows],
                "spotRows": [[rows.get(i) for i in sorted(spot_rows[0])] for rows in spot_rows],
            }
        )
    return out


def payload(plan: dict[str, Any], river: River, units: str) -> dict[str, Any]:
    """The data of the page's script.

    Parameters
    ----------
    plan : dict
        As ``plan.json``.
    river : River
        Gives outlines, casts and places; a run or spot that it lacks stays in the tables and off the map.
    units : str
        ``us`` or ``metric``.
    """
    from planner.page.ground import map_data

    tables = _Tables()
    bands = {run.id: (run.hold_low_m, run.hold_high_m) for run in river.runs}
    runs = [run["id"] for run in plan.get("runs") or ()]
    spots = [spot["id"] for spot in plan.get("spots") or ()]
    data: dict[str, Any] = {
        "units": {kind: words.number_rule(kind, units) for kind in words.KINDS},
        "classes": {
            kind: [
                list(words.class_steps(kind, units)),
                words.CLASSES[kind]["letters"],
                list(words.CLASSES[kind]["colours"]),
            ]
            for kind in ("depth", "speed")
        },
        "modes": {mode: words.mode_words(mode) for mode in ("fed", "held", "mended")},
        "caution": tables.caution(plan.get("caution"), whole=True),
        "ladders": _ladders(plan, tables, runs, spots),
        "runs": [
            {
                "name": run.get("name") or run["id"],
                "row": _run_row(run, tables),
                **_run_worth(run, bands.get(run["id"], (HOLD_LOW_M, HOLD_HIGH_M))),
            }
            for run in plan.get("runs") or ()
        ],
        "spots": [_planned_spot(spot, tables, plan.get("learned"), units) for spot in plan.get("spots") or ()],
        "observed": [g.get("observed_at") for g in plan.get("gauges") or ()],
        "day": plan.get("for_day"),
        "invented": river.extra.get("invented") is True,
        "zone": river.timezone,
        "map": map_data(plan, river),
    }
    hold = {spot.id: spot for spot in river.spots}
    for row, spot in zip(data["spots"], plan.get("spots") or (), strict=True):
        own = hold.get(spot["id"])
        low, high = bands.get(spot.get("run", ""), (None, None))
        row["id"] = spot["id"]
        row["name"] = words.name_of(spot, own)
        row["run"] = runs.index(spot["run"]) if spot.get("run") in runs else None
        low = own.hold_low_m if own is not None and own.hold_low_m is not None else low
        high = own.hold_high_m if own is not None and own.hold_high_m is not None else high
        row["hold"] = [_number(spot.get("hold_low_m", low), 2), _number(spot.get("hold_high_m", high), 2)]
        row["cast"] = [_number(spot.get("cast_m"), 1), words.angle_words(spot.get("angle_deg"))]
        row["stanceWord"] = words.STANCE_WORDS.get(spot.get("stance") or "", ("?", spot.get("stance") or "unknown"))[1]
        row["at"] = words.clock(spot.get("at"), river.timezone)
    data["cautions"], data["texts"] = tables.cautions, tables.texts
    return data


def script_json(data: Any) -> str:
    """JSON that cannot end its script element or be read as markup.

    Examples
    --------
    >>> script_json({"name": "</script>"})
    '{"name":"\\\\u003c/script\\\\u003e"}'
    """
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for sign in ("<", ">", "&", "\u2028", "\u2029"):
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text
