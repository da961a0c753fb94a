"""The day's clock as a list of the page: put-in, stops, ways off, take-out, light, shuttle, and whom to call."""

from __future__ import annotations

from typing import Any

from planner.page import words
from planner.page.marks import name, text
from planner.river.records import River
from planner.units import FOOT, show

__all__ = ["day_clock"]


def day_clock(plan: dict[str, Any], river: River, units: str) -> str:
    """The trip in the order of the water; empty when there is none.

    Conflicts come first. Stops carry arrival, leave-by and minutes; ways off stand where they lie between them, with
    their coordinates, for somebody may have to be fetched there.

    Parameters
    ----------
    plan : dict
        As ``plan.json``.
    river : River
        Places by id, zone, and whom to call.
    units : str
        ``us`` or ``metric``.
    """
    found = plan.get("trip") or {}
    conflicts = "".join(f"<li><b>{text(conflict)}</b></li>" for conflict in found.get("conflicts") or ())
    rows = [row for _, row in sorted(_events(plan, river, units), key=lambda pair: pair[0])]
    notes = [*_light(found, river), *_moving(found, units), *_access(found, river, units)]
    if found.get("shuttle"):
        notes.append(text(found["shuttle"]))
    assumed = [text(note) for note in found.get("notes") or ()]
    who, phone = river.authority.get("name"), river.authority.get("phone")
    if who or phone:
        notes.append(f"Leave your plan with someone ashore. Overdue: {name(who or '')} <b>{text(phone or '')}</b>")
    if not (conflicts or rows or notes or assumed):
        return ""
    listed = f"<ul>{conflicts}</ul>" if conflicts else ""
    clock = f'<ol class="day-clock">{"".join(rows)}</ol>' if rows else ""
    said = [*(f"<li>{note}</li>" for note in notes), *(f'<li class="assumed">{note}</li>' for note in assumed)]
    more = f'<ul class="day-notes">{"".join(said)}</ul>' if said else ""
    return f'<section aria-labelledby="day-h"><h2 id="day-h">The day</h2>{listed}{clock}{more}</section>'


def _at(value: Any, river: River) -> str:
    return words.clock(value, river.timezone)


def _row(when: str, what: str, kind: str = "") -> str:
    return f'<li{f" class={kind}" if kind else ""}><b class="when">{text(when)}</b> <span>{what}</span></li>'


def _events(plan: dict[str, Any], river: River, units: str) -> list[tuple[tuple[int, float, int], str]]:
    """What happens, each with its place in the order: before, by station along the river, after, never."""
    found = plan.get("trip") or {}
    names = {place.id: place.name or place.id for place in river.places}
    numbers = {spot["id"]: i for i, spot in enumerate(plan.get("spots") or (), 1)}
    out: list[tuple[tuple[int, float, int], str]] = []
    if found.get("put_in"):
        where = name(names.get(found["put_in"], found["put_in"]))
        out.append(((0, 0.0, 0), _row(_at(found.get("start"), river), f"Put in at {where}", "ramp")))
    last = 0.0
    for turn, stop in enumerate(found.get("stops") or ()):
        at = stop.get("at_m")
        last = float(at) if at is not None else last
        what = f"{numbers.get(stop.get('spot'), '')} {name(stop.get('name') or stop.get('spot') or '')}".strip()
        if not stop.get("arrive_at"):
            out.append(((3, 0.0, turn), _row("–", f"{what}: not on this trip", "stop")))
            continue
        if stop.get("fishing_min") is not None:
            what += f", {stop['fishing_min']:.0f} min"
        by = stop.get("daylight_leave_by")
        if by and stop.get("leave_by") and by < stop["leave_by"]:
            what += f"; <b>leave by {text(_at(by, river))} to land before dusk</b>"
        hours = "–".join(filter(None, (_at(stop["arrive_at"], river), _at(stop.get("leave_by"), river))))
        out.append(((1, last, turn), _row(hours, what, "stop")))
    for way in found.get("ways_off") or ():
        at = way.get("at_m")
        key = (1, float(at), -1) if at is not None else (2, 0.0, 0)
        out.append((key, _row("way off", _way(way, units), "way")))
    if found.get("take_out"):
        where = name(names.get(found["take_out"], found["take_out"]))
        end, latest = _at(found.get("take_out_at") or found.get("end"), river), _at(found.get("take_out_latest"), river)
        late = f"; {text(latest)} with slow water" if latest and latest != end else ""
        out.append(((2, 1.0, 0), _row(end, f"Take out at {where}{late}", "ramp")))
    return out


def _way(way: dict[str, Any], units: str) -> str:
    """A place to leave the river on the way: name, coordinates, slow drift from the put-in, its note."""
    parts = [f"{name(way.get('name') or way.get('id') or '')} ({way['lat']:.5f}, {way['lon']:.5f})"]
    if way.get("drift_min") is not None:
        parts.append(f"{way['drift_min']:.0f} min of slow drift from the put-in, stops not counted")
    if way.get("note"):
        parts.append(text(way["note"]))
    return ", ".join(parts)


def _light(found: dict[str, Any], river: River) -> list[str]:
    light = [f"{key} {_at(found[key], river)}" for key in ("sunrise", "sunset", "dusk") if found.get(key)]
    margin = found.get("margin_before_dusk_min")
    if margin is not None:
        size = f"{abs(margin) // 60:.0f} h {abs(margin) % 60:.0f} min"
        light.append(f"slow end of the trip {size} {'before' if margin >= 0 else 'after'} the end of dusk")
    return [text(words.joined(light).capitalize())] if light else []


def _moving(found: dict[str, Any], units: str) -> list[str]:
    usual, slow, way = (found.get(key) for key in ("travel_min", "travel_slow_min", "distance_m"))
    if usual is None or found.get("by") == "foot":
        return []
    far = (
        "" if way is None else f" over {way / (5280 * FOOT):.1f} mi" if units == "us" else f" over {way / 1000:.1f} km"
    )
    late = f", {slow:.0f} min where the water is slow" if slow is not None else ""
    return [text(f"Drifting takes about {usual:.0f} min{far}{late}; the rest is fishing.")]


def _access(found: dict[str, Any], river: River, units: str) -> list[str]:
    names = {spot.id: spot.name or spot.id for spot in river.spots}
    return [
        f"{name(names.get(spot, spot))}: on foot from {name(way.get('name') or '')}"
        + (f", {text(show(way['walk_m'], 'length', units))} along the river" if way.get("walk_m") is not None else "")
        for spot, way in (found.get("access") or {}).items()
    ]
