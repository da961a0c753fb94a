"""The stage expected over the trip's hours as a drawing and as a table, with the levels at which the caution turns.

The band holds 80 % of what is expected (10 to 90 %); the line is the middle. A dashed line carries the sign of the
caution that begins there, so that the drawing tells what a rise of a hand's width would do.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

from planner.page import words
from planner.page.hourwords import hour_levels
from planner.page.marks import text
from planner.river.records import River
from planner.units import show, value_in

__all__ = ["chart", "turning_levels"]

_WIDE, _HIGH = 360.0, 216.0
_LEFT, _RIGHT, _TOP, _FOOT = 46.0, 12.0, 12.0, 28.0
_SIGN = 17.0
_KEYS = {
    "level": ("stage_low_m", "stage_m", "stage_high_m"),
    "discharge": ("discharge_low_m3s", "discharge_m3s", "discharge_high_m3s"),
}


def turning_levels(values: Sequence[float], levels: Sequence[int | None]) -> list[tuple[float, str, int]]:
    """Where the caution rises along a ladder: gauge value [m or m³/s], ``above`` or ``below``, the level beyond it.

    Between two steps the caution of the higher level holds, so the turn stands at the step with the lower one.

    Examples
    --------
    >>> turning_levels([1.0, 1.2, 1.4, 1.6], [1, 0, 0, 2])
    [(1.2, 'below', 1), (1.4, 'above', 2)]
    """
    out = []
    for k in range(len(values) - 1):
        here, there = levels[k], levels[k + 1]
        if here is None or there is None or here == there:
            continue
        out.append((values[k], "above", there) if there > here else (values[k + 1], "below", here))
    return out


def _rows(plan: dict[str, Any], gauge: str) -> tuple[str, list[dict[str, Any]]]:
    found = [row for row in plan.get("expected") or () if row.get("gauge") in (None, gauge)]
    for kind, keys in _KEYS.items():
        use = [row for row in found if row.get(keys[1]) is not None]
        if use:
            return kind, use
    return "level", []


def _turns(plan: dict[str, Any], river: River, gauge: str, kind: str) -> list[tuple[float, str, int, str]]:
    """Turning levels of the ladder and the thresholds that the river folder names, with their words."""
    key = _KEYS[kind][1]
    steps = [s for s in plan.get("ladder") or () if s.get("gauge") in (None, gauge) and s.get(key) is not None]
    steps.sort(key=lambda s: float(s[key]))
    levels = [(s.get("caution") or {}).get("level") for s in steps]
    out = [(value, side, level, "") for value, side, level in turning_levels([s[key] for s in steps], levels)]
    wanted = "stage" if kind == "level" else "discharge"
    for threshold in river.thresholds:
        if threshold.get("input") == wanted and threshold.get("gauge") in (None, "", gauge):
            said = str(threshold.get("text") or threshold.get("source") or "local threshold")
            out.append((float(threshold["at_si"]), str(threshold.get("side")), int(threshold["level"]), said))
    return out


def _ticks(low: float, high: float, kind: str, units: str) -> list[float]:
    """Three to six round values between two bounds [m or m³/s]."""
    factor = value_in(1.0, kind, units)
    span = (high - low) * factor
    power = 10.0 ** math.floor(math.log10(span / 3))
    step = max(size * power for size in (1, 2, 5) if size * power <= span / 2.5 or size == 1)
    first = math.ceil(low * factor / step - 1e-9)
    last = math.floor(high * factor / step + 1e-9)
    return [k * step / factor for k in range(first, last + 1)]


def _bounds(values: list[float], turns: list[tuple[float, str, int, str]]) -> tuple[float, float]:
    """Range of the drawing: what is expected, with room, and the nearest turning levels where they are near."""
    low, high = min(values), max(values)
    room = max(high - low, 0.04 * max(abs(high), 0.5))
    near = [value for value, *_ in turns if low - 3 * room <= value <= high + 3 * room]
    low, high = (
        min([low - 0.5 * room, *(v - 0.4 * room for v in near)]),
        max([high + 0.5 * room, *(v + 0.4 * room for v in near)]),
    )
    return low, high


def chart(plan: dict[str, Any], river: River, gauge: str, units: str, index: int = 0) -> str:
    """Drawing and table of one gauge's expectation; empty when there is none.

    Parameters
    ----------
    plan : dict
        As ``plan.json``: ``expected`` rows, ``ladder``.
    river : River
        Its zone and local thresholds.
    gauge : str
        Station id.
    units : str
        ``us`` or ``metric``.
    index : int, optional
        Number of the gauge on the page; the script finds the drawing by it to mark the level that is set.
    """
    kind, rows = _rows(plan, gauge)
    if len(rows) < 2:
        return ""
    low_key, key, high_key = _KEYS[kind]
    middle = [float(row[key]) for row in rows]
    low = [float(row[low_key]) if row.get(low_key) is not None else m for row, m in zip(rows, middle, strict=True)]
    high = [float(row[high_key]) if row.get(high_key) is not None else m for row, m in zip(rows, middle, strict=True)]
    turns = _turns(plan, river, gauge, kind)
    bottom, top = _bounds([*low, *high], turns)

    def x(k: float) -> float:
        return _LEFT + (_WIDE - _LEFT - _RIGHT) * k / (len(rows) - 1)

    def y(value: float) -> float:
        return _TOP + (_HIGH - _TOP - _FOOT) * (top - value) / (top - bottom)

    hours = [words.clock(row.get("time"), river.timezone) for row in rows]
    cautions = _hour_cautions(plan, gauge, rows)
    signs = _signs(cautions, x)
    foot = _HIGH + (_SIGN + 4 if signs else 0)
    seen = sorted({turn for turn in turns if bottom <= turn[0] <= top}, reverse=True)
    beyond = sorted({turn for turn in turns if not bottom <= turn[0] <= top})
    expects = f"Expected {hours[0]} to {hours[-1]}: {words.span(min(low), max(high), kind, units)}"
    turning = [_turn_words(turn, kind, units) for turn in seen]
    says = ". ".join([expects, *(said[:1].upper() + said[1:] for said in turning)]) + "."
    out = [
        f'<svg class="chart" viewBox="0 0 {_WIDE:.0f} {foot:.0f}" role="img" aria-label="{text(says)}" '
        f'data-chart="{index}" data-top="{top:.4f}" data-bottom="{bottom:.4f}" data-y="{_TOP:.0f}" '
        f'data-high="{_HIGH - _TOP - _FOOT:.0f}">'
    ]
    for value in _ticks(bottom, top, kind, units):
        label = show(value, kind, units).split(" ")[0]
        out.append(
            f'<path d="M{_LEFT:.0f} {y(value):.1f}H{_WIDE - _RIGHT:.0f}" stroke="#c9c4b8"/>'
            f'<text x="{_LEFT - 5:.0f}" y="{y(value) + 4.5:.1f}" text-anchor="end">{label}</text>'
        )
    upper = " ".join(f"{x(k):.1f},{y(v):.1f}" for k, v in enumerate(high))
    lower = " ".join(f"{x(k):.1f},{y(low[k]):.1f}" for k in range(len(low) - 1, -1, -1))
    line = " ".join(f"{x(k):.1f},{y(v):.1f}" for k, v in enumerate(middle))
    out.append(f'<polygon points="{upper} {lower}" fill="#bdd7e7" stroke="#3182bd" stroke-dasharray="4 3"/>')
    out.append(f'<polyline points="{line}" fill="none" stroke="#111111" stroke-width="3"/>')
    every = max(1, math.ceil((len(rows) - 1) / 5))
    for k in range(0, len(rows), every):
        anchor = "end" if k == len(rows) - 1 else "middle"
        at = x(k) + (8 if anchor == "end" else 0)
        out.append(
            f'<path d="M{x(k):.1f} {_HIGH - _FOOT:.0f}v5" stroke="#111111"/>'
            f'<text x="{at:.1f}" y="{_HIGH - 9:.0f}" text-anchor="{anchor}">{hours[k]}</text>'
        )
    out.append(
        f'<path d="M{_LEFT:.0f} {_TOP:.0f}V{_HIGH - _FOOT:.0f}H{_WIDE - _RIGHT:.0f}" fill="none" stroke="#111111" '
        'stroke-width="1.5"/>'
    )
    free = -99.0
    for value, side, level, said in seen:
        at = y(value)
        label_at = max(at - 5, free + 17)
        free = label_at
        label = f"{words.LEVEL_WORDS.get(level, '')} {side} {show(value, kind, units)}{' (local)' if said else ''}"
        out.append(
            f'<path d="M{_LEFT:.0f} {at:.1f}H{_WIDE - _RIGHT:.0f}" stroke="#111111" stroke-width="2" '
            f'stroke-dasharray="{"2 3" if said else "9 4"}"/>'
            f'<use href="#lv{level}" x="{_LEFT + 4:.0f}" y="{label_at - 13:.1f}" width="17" height="17"/>'
            f'<text x="{_LEFT + 25:.0f}" y="{label_at:.1f}" class="over">{text(label)}</text>'
        )
    out.append(
        f'<g class="chart-now" data-k="chart-now"><path d="M{_LEFT:.0f} 0H{_WIDE - _RIGHT:.0f}" stroke="#5b1a8b" '
        f'stroke-width="3"/><text x="{_WIDE - _RIGHT - 3:.0f}" y="-5" text-anchor="end" class="over">set</text></g>'
        f"{signs}</svg>"
    )
    label = f"Expected at the gauge, {words.number_rule(kind, units)[1]}: middle (line) and 10 to 90 % (band)."
    if signs:
        label += " Signs: the caution of each hour."
    more = f" Not drawn: {'; '.join(_turn_words(turn, kind, units) for turn in beyond)}." if beyond else ""
    more_head = "<th scope='col'>Caution</th>" if signs else ""
    body = "".join(
        f'<tr><th scope="row">{hour}</th><td>{text(show(m, kind, units))}</td>'
        f"<td>{text(words.span(a, b, kind, units))}</td>"
        f"{f'<td>{text(words.caution_short(at))}</td>' if signs else ''}</tr>"
        for hour, m, a, b, at in zip(hours, middle, low, high, cautions, strict=True)
    )
    return (
        f'<figure class="expectation">{"".join(out)}<figcaption>{text(label + more)}</figcaption>'
        '<details class="folded"><summary>These hours as a table</summary><table class="plain">'
        f"<caption>{text(says)}</caption><thead><tr><th scope='col'>Hour</th><th scope='col'>Middle</th>"
        f"<th scope='col'>10 to 90 %</th>{more_head}</tr></thead><tbody>{body}</tbody></table></details></figure>"
    )


def _hour_cautions(plan: dict[str, Any], gauge: str, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The caution of each row's hour; of the first gauge alone, whose hours the plan assesses."""
    first = next((str(g.get("id") or "") for g in plan.get("gauges") or ()), gauge)
    known = hour_levels(plan) if gauge == first else {}
    return [known.get(words.clock(row.get("time"), "UTC", with_day=True), {}) for row in rows]


def _signs(cautions: list[dict[str, Any]], x: Callable[[float], float]) -> str:
    """Signs of the hours' cautions under the axis; where they would touch, one for the highest of several hours."""
    if not any(cautions):
        return ""
    every = max(1, math.ceil((_SIGN + 2) / max(x(1) - x(0), 1e-9)))
    out = []
    for k in range(0, len(cautions), every):
        some = [caution.get("level") for caution in cautions[k : k + every] if caution]
        if not some:
            continue
        level = "n" if all(one is None for one in some) else max(one for one in some if one is not None)
        out.append(
            f'<use href="#lv{level}" x="{x(k) - _SIGN / 2:.1f}" y="{_HIGH - 2:.0f}" width="{_SIGN:.0f}" '
            f'height="{_SIGN:.0f}"/>'
        )
    return "".join(out)


def _turn_words(turn: tuple[float, str, int, str], kind: str, units: str) -> str:
    value, side, level, said = turn
    return f"{words.LEVEL_WORDS.get(level, '')} {side} {show(value, kind, units)}" + (f" ({said})" if said else "")
