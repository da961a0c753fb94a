"""A plain drawing of the river as SVG: what stands for the map in print and where scripts are off."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from planner.page import words
from planner.page.marks import text
from planner.units import value_in

__all__ = ["scale_length", "sketch"]

_WIDE, _MARGIN = 720.0, 34.0


def _frame(box: list[float]) -> tuple[Callable[[list[float]], tuple[float, float]], float, float]:
    """Projection to the drawing, its height, and metres per unit of the drawing."""
    west, south, east, north = box
    squeeze = math.cos(math.radians((south + north) / 2))
    across = max((east - west) * squeeze, 1e-5)
    up = max(north - south, 1e-5)
    scale = min((_WIDE - 2 * _MARGIN) / across, (_WIDE - 2 * _MARGIN) / up)
    high = up * scale + 2 * _MARGIN
    left = (_WIDE - across * scale) / 2

    def project(point: list[float]) -> tuple[float, float]:
        return left + (point[1] - west) * squeeze * scale, high - _MARGIN - (point[0] - south) * scale

    return project, high, 111_195.0 / scale


def scale_length(metres_wide: float, units: str) -> tuple[float, str]:
    """A round length [m] of about a fifth of a width [m], and its words.

    Examples
    --------
    >>> scale_length(700.0, "metric")
    (100.0, '100 m')
    """
    want = value_in(metres_wide / 5, "length", units)
    power = 10 ** math.floor(math.log10(max(want, 1.0)))
    size = max(step * power for step in (1, 2, 5) if step * power <= max(want, 1.0))
    return size / value_in(1.0, "length", units), f"{size:,.0f} {'ft' if units == 'us' else 'm'}"


def sketch(plan: dict[str, Any], data: dict[str, Any], units: str) -> str:
    """The drawing.

    Parameters
    ----------
    plan : dict
        The plan; its runs give the depth classes.
    data : dict
        As `planner.page.ground.map_data`.
    units : str
        ``us`` or ``metric``.
    """
    project, high, metres = _frame(data["box"])
    west, south, east, north = data["box"]
    if east == west and north == south:
        return ""

    def path(line: list[list[float]]) -> str:
        return "M" + " ".join(f"{x:.1f},{y:.1f}" for x, y in map(project, line))

    out = [
        f'<svg class="sketch" viewBox="0 0 {_WIDE:.0f} {high:.0f}" role="img" '
        'aria-label="Drawing of the runs and spots, north up">',
        f'<defs><clipPath id="frame"><rect width="{_WIDE:.0f}" height="{high:.0f}"/></clipPath></defs>',
        '<g clip-path="url(#frame)">',
        *(
            f'<path d="{path(line)}" fill="none" stroke="#1f4e79" stroke-width="2" stroke-dasharray="9 6"/>'
            for line in data["flow"]
        ),
    ]
    labels = []
    for i, (row, run) in enumerate(zip(plan.get("runs") or (), data["runs"], strict=True)):
        if run is None:
            continue
        letter = words.class_letter(row.get("mean_depth_m"), "depth", units)
        letters = words.CLASSES["depth"]["letters"]
        fill = words.CLASSES["depth"]["colours"][letters.index(letter)] if letter in letters else "#e6e6e6"
        out.append(f'<path data-run="{i}" d="{path(run["ring"])}Z" fill="{fill}" stroke="#111111" stroke-width="2"/>')
        x, y = project(run["middle"])
        near = min(max(x, 90.0), _WIDE - 90.0)
        labels.append(
            f'<text x="{near:.1f}" y="{max(y - 26, 16):.1f}" class="sketch-label" text-anchor="middle">'
            f'<tspan data-run-letter="{i}">{letter}</tspan> {text(words.name_of(row))}</text>'
        )
    for i, spot in enumerate(data["spots"]):
        if spot is None:
            continue
        (x0, y0), (x1, y1) = project(spot["from"]), project(spot["to"])
        out.append(
            f'<path d="M{x0:.1f},{y0:.1f} {x1:.1f},{y1:.1f}" stroke="#ffffff" stroke-width="6"/>'
            f'<path d="M{x0:.1f},{y0:.1f} {x1:.1f},{y1:.1f}" stroke="#111111" stroke-width="2.5"/>'
            f'<circle cx="{x0:.1f}" cy="{y0:.1f}" r="4" fill="#ffffff" stroke="#111111" stroke-width="2"/>'
        )
        labels.append(
            f'<rect x="{x1 - 9:.1f}" y="{y1 - 9:.1f}" width="18" height="18" fill="#111111"/>'
            f'<text x="{x1:.1f}" y="{y1 + 5:.1f}" class="sketch-number" text-anchor="middle" fill="#ffffff">'
            f"{i + 1}</text>"
        )
    signs = {"put_in": "IN", "take_out": "OUT", "hazard": "!"}
    for place in data["places"]:
        x, y = project(place["line"][len(place["line"]) // 2])
        x, y = min(max(x, 20.0), _WIDE - 20.0), min(max(y, 16.0), high - 12.0)
        if place["kind"] == "hazard" and len(place["line"]) > 1:
            out.append(
                f'<path d="{path(place["line"])}" fill="none" stroke="#111111" stroke-width="5" '
                'stroke-dasharray="3 3"/>'
            )
        labels.append(
            f'<rect x="{x - 18:.1f}" y="{y - 11:.1f}" width="36" height="20" rx="3" fill="#ffffff" stroke="#111111" '
            f'stroke-width="2"/><text x="{x:.1f}" y="{y + 5:.1f}" class="sketch-number" text-anchor="middle">'
            f"{signs.get(place['kind'], '?')}</text>"
        )
    length, label = scale_length(_WIDE * metres, units)
    bar = length / metres
    out += [
        *labels,
        f'<path d="M14,{high - 14:.0f}v6h{bar:.0f}v-6" fill="none" stroke="#111111" stroke-width="2"/>',
        f'<text x="{20 + bar:.0f}" y="{high - 8:.0f}" class="sketch-number">{label}</text>',
        f'<path d="M{_WIDE - 20:.0f},10l8,22l-8,-5l-8,5z" fill="#111111"/>',
        f'<text x="{_WIDE - 20:.0f}" y="46" class="sketch-number" text-anchor="middle">N</text>',
        "</g></svg>",
    ]
    return "".join(out)
