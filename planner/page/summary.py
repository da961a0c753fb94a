"""The plan on the terminal: cautions first, then the day, the spots, the runs, the rods. No colour is used."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

from planner.page import words
from planner.page.hourwords import hour_spans
from planner.page.weather_words import relayed_alerts, weather_figures, weather_notes
from planner.units import show

__all__ = ["summary"]

_WIDE = 100
_MOST_SPOTS = 22
_MOST_RUNS = 8
_MOST_UNMADE = 8


def _wrapped(text: str, first: str = "", rest: str = "  ") -> list[str]:
    return textwrap.wrap(text, _WIDE, initial_indent=first, subsequent_indent=rest)


def _plain(text: Any) -> str:
    """A name as one line of printable text: no escape sequence reaches the terminal."""
    return "".join(sign if sign.isprintable() else " " for sign in str(text)).strip()


def _height(caution: dict[str, Any] | None) -> float:
    """Not assessed stands above none raised and below what is raised: it is no credit, and hides nothing."""
    level = (caution or {}).get("level")
    return 0.5 if level is None else float(level)


def _columns(head: tuple[str, ...], body: Sequence[tuple[str, ...]], widest: int = 26) -> list[str]:
    """Rows under their heads; a long cell goes on in the line below, so that no name is cut."""
    rows = [[textwrap.wrap(cell, widest) or [""] for cell in row] for row in [head, *body]]
    wide = [max(len(line) for row in rows for line in row[i]) for i in range(len(head))]
    out = []
    for row in rows:
        for k in range(max(len(cell) for cell in row)):
            cells = [cell[k] if k < len(cell) else "" for cell in row]
            out.append("  ".join(cell.ljust(wide[i]) for i, cell in enumerate(cells)).rstrip())
    return out


def _cautions(plan: dict[str, Any]) -> list[str]:
    caution = plan.get("caution") or {}
    reasons = caution.get("reasons") or ()
    out = [words.caution_line(caution).upper()]
    for reason in words.raised(reasons):
        out += _wrapped(_plain(reason.get("text") or ""), f"  [{reason['level']}] ", "      ")
    out += _wrapped(words.unlisted_words(caution))
    out += _wrapped(_plain(" ".join(words.note_text(note) for note in caution.get("turns") or ())))
    for alert in relayed_alerts(plan):
        out += _wrapped(_plain(alert), "  alert: ", "      ")
    for note in words.low_notes(caution):
        out += _wrapped(_plain(note), "  low water: ", "      ")
    unmade = [_plain(r.get("text") or r.get("rule") or "") for r in words.missing(caution)]
    unnoted = [f"Low water: {_plain(n.get('text') or n.get('rule') or '')}" for n in words.missing_notes(caution)]
    if unmade:
        out.append(f"Not assessed ({len(unmade)}):")
        for row in unmade[:_MOST_UNMADE]:
            out += _wrapped(row, "  [?] ", "      ")
        if len(unmade) > _MOST_UNMADE:
            out.append(f"  and {len(unmade) - _MOST_UNMADE} more: see the page")
    for note in unnoted:
        out += _wrapped(note, "  [?] ", "      ")
    out += _wrapped(" ".join(words.STANDING))
    return out


def _gauge(gauge: dict[str, Any], units: str) -> str:
    shown = [
        show(gauge[key], kind, units)
        for key, kind in (("stage_m", "level"), ("discharge_m3s", "discharge"))
        if gauge.get(key) is not None
    ]
    if not shown:
        return f"Gauge {gauge.get('id', '')}: no reading, {gauge.get('quality') or 'missing'}"
    quality, trend = gauge.get("quality") or "quality unknown", words.trend_words(gauge.get("trend_m_per_h"), units)
    return words.joined(
        (f"Gauge {gauge.get('id', '')}: {' and '.join(shown)}", words.age_words(gauge.get("age_min")), quality, trend)
    )


def _expected(plan: dict[str, Any], units: str) -> str:
    rows = [row for row in plan.get("expected") or () if row.get("stage_m") is not None]
    kind, keys = ("level", ("stage_low_m", "stage_m", "stage_high_m"))
    if not rows:
        rows = [row for row in plan.get("expected") or () if row.get("discharge_m3s") is not None]
        kind, keys = ("discharge", ("discharge_low_m3s", "discharge_m3s", "discharge_high_m3s"))
    if not rows:
        return "Expected: unknown"
    low = min(row[keys[0]] if row.get(keys[0]) is not None else row[keys[1]] for row in rows)
    high = max(row[keys[2]] if row.get(keys[2]) is not None else row[keys[1]] for row in rows)
    basis = _plain(rows[0].get("basis") or "").rstrip(".")
    return f"Expected over the day: {words.span(low, high, kind, units)}" + (f" ({basis})" if basis else "")


def _hours(plan: dict[str, Any]) -> list[str]:
    """What each hour raises, where the day is not the same throughout."""
    spans = [span for span in hour_spans(plan) if span["when"] != "Now"]
    if len(spans) < 2:
        return []
    out = ["Hour by hour:"]
    for span in spans:
        out += _wrapped(_plain(f"{words.caution_short(span)}. {span['text'] or ''}"), f"  {span['when']}  ", " " * 18)
    return out


def _trip(plan: dict[str, Any], units: str, zone: str) -> list[str]:
    """Conflicts, ways off, and the margin before dusk."""
    trip = plan.get("trip") or {}
    out = [line for conflict in trip.get("conflicts") or () for line in _wrapped(_plain(conflict), "! ")]
    end, late, margin = (trip.get(key) for key in ("take_out_at", "take_out_latest", "margin_before_dusk_min"))
    if end:
        said = f"Take out {words.clock(end, zone)}"
        if late and late != end:
            said += f", with slow water {words.clock(late, zone)}"
        if margin is not None:
            said += f", {abs(margin) / 60:.1f} h {'before' if margin >= 0 else 'after'} the end of dusk"
        out += _wrapped(_plain(f"{said}."))
    ways = [_plain(way.get("name") or way.get("id") or "") for way in trip.get("ways_off") or ()]
    if ways:
        out += _wrapped(f"Ways off between: {', '.join(ways)}.")
    return out


def _spots(plan: dict[str, Any], units: str, zone: str) -> list[str]:
    body: list[tuple[str, ...]] = []
    below: list[str] = []
    spots = plan.get("spots") or []
    for i, spot in enumerate(spots[:_MOST_SPOTS], 1):
        best = spot.get("best")
        body.append(
            (
                str(i),
                _plain(words.name_of(spot)),
                words.clock(spot.get("at"), zone),
                words.caution_short(spot.get("caution")),
                words.count_words(best),
                _plain(best["line"]) if best else "no line",
                _plain(words.fly_words(best, units)),
                show(best.get("strip_m_s"), "strip", units) if best else "–",
                show(spot.get("depth_m"), "depth", units),
            )
        )
        for tip in spot.get("tips") or ():
            below += _wrapped(_plain(f"{i}: {tip}"), "  ", "     ")
        if not best:
            below += _wrapped(_plain(f"{i}: {spot.get('none_because') or 'no answer'}"), "  ", "     ")
    if not body:
        return ["No spot is drawn in this river folder."]
    head = ("", "spot", "at", "caution", "count", "line", "fly", "strip", "water")
    out = [*_columns(head, body, 22), *below]
    if len(spots) > _MOST_SPOTS:
        out.append(f"and {len(spots) - _MOST_SPOTS} more spots: see the page or spots.csv")
    return out


def summary(plan: dict[str, Any], units: str) -> str:
    """The plan as text for a terminal.

    Parameters
    ----------
    plan : dict
        As ``plan.json``. Times are shown in ``plan["timezone"]``, or in UTC without it.
    units : str
        ``us`` or ``metric``.

    Returns
    -------
    str
        About 60 lines at most for 22 spots and three runs; longer plans name how many spots are left out.
    """
    zone = plan.get("timezone") or "UTC"
    out = _cautions(plan)
    out += ["", f"{_plain(plan.get('river') or '')}, {words.day_words(plan['for_day'])} (times are {zone})"]
    for gauge in plan.get("gauges") or ():
        out += _wrapped(_gauge(gauge, units))
    out += [line for note in [*weather_figures(plan, units), *weather_notes(plan)] for line in _wrapped(_plain(note))]
    out += [*_wrapped(_expected(plan, units)), *_hours(plan), *_trip(plan, units, zone), ""]
    out += [*_spots(plan, units, zone), ""]
    runs = plan.get("runs") or []
    if runs:
        body = [
            (
                _plain(words.name_of(run)),
                words.caution_short(run.get("caution")),
                show(run.get("mean_depth_m"), "depth", units),
                words.span(run.get("velocity_low_m_s"), run.get("velocity_high_m_s"), "speed", units),
                str(run.get("soundings") or 0),
            )
            for run in runs[:_MOST_RUNS]
        ]
        out += _columns(("run", "caution", "mean depth", "current", "soundings"), body, 34)
        left = runs[_MOST_RUNS:]
        if left:
            worst = max((run.get("caution") for run in left), key=_height)
            said = f"; the highest caution among them is {words.caution_short(worst)}"
            out.append(f"and {len(left)} more run{'s' if len(left) != 1 else ''}: see the page{said}")
        out.append("")
    for i, rod in enumerate(plan.get("rods") or (), 1):
        flies = ", ".join(_plain(fly) for fly in rod.get("flies") or ())
        out += _wrapped(f"Rod {i}: {_plain(rod.get('line') or '')}" + (f" with {flies}" if flies else ""))
    return "\n".join(out).rstrip() + "\n"
