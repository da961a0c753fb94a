"""A plain drawing of the river as SVG: what stands for the map in print and where scripts are off."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from planner.page import words
from planner.page.marks import text
from planner.units import value_in

__all__ = ["scale_length", "sketch"]

_WIDE, _MARGIN, _HIGHEST = 720.0, 30.0, 330.0


def _frame(data: dict[str, Any]) -> tuple[Callable[[list[float]], tuple[float, float]], float, float, float]:
    """Projection to the drawing, its height, metres per unit of the drawing, and where north points [degrees].

    The river is turned so that it lies along the sheet, its flow to the right: a river that runs down the page
    would leave the runs too small to see.
    """
    west, south, east, north = data["box"]
    lat0, lon0 = (south + north) / 2, (west + east) / 2
    squeeze = math.cos(math.radians(lat0))

    def flat(point: list[float]) -> tuple[float, float]:
        return (point[1] - lon0) * squeeze * 111_195.0, (point[0] - lat0) * 111_195.0

    points = [flat(p) for run in data["runs"] if run for p in run["ring"]]
    points += [flat(p) for place in data["places"] for p in place["line"]]
    points += [flat(p) for spot in data["spots"] if spot for p in (spot["from"], spot["to"])]
    mx, my = (sum(p[k] for p in points) / len(points) for k in (0, 1))
    xx, yy = sum((p[0] - mx) ** 2 for p in points), sum((p[1] - my) ** 2 for p in points)
    turn = 0.5 * math.atan2(2 * sum((p[0] - mx) * (p[1] - my) for p in points), xx - yy)
    if data["flow"] and len(data["flow"][0]) > 1:
        (x0, y0), (x1, y1) = flat(data["flow"][0][0]), flat(data["flow"][0][-1])
        if (x1 - x0) * math.cos(turn) + (y1 - y0) * math.sin(turn) < 0:
            turn += math.pi
    turned = [_turned(p, turn) for p in points]
    low_x, high_x = min(p[0] for p in turned), max(p[0] for p in turned)
    low_y, high_y = min(p[1] for p in turned), max(p[1] for p in turned)
    metres = max((high_x - low_x) / (_WIDE - 2 * _MARGIN), (high_y - low_y) / (_HIGHEST - 2 * _MARGIN), 0.05)
    high = max((high_y - low_y) / metres + 2 * _MARGIN, 130.0)

    def project(point: list[float]) -> tuple[float, float]:
        x, y = _turned(flat(point), turn)
        return _WIDE / 2 + (x - (low_x + high_x) / 2) / metres, high / 2 - (y - (low_y + high_y) / 2) / metres

    return project, high, metres, math.degrees(turn)


def _turned(point: tuple[float, float], angle: float) -> tuple[float, float]:
    cos, sin = math.cos(angle), math.sin(angle)
    return point[0] * cos + point[1] * sin, point[1] * cos - point[0] * sin


_Box = tuple[float, float, float, float]


def _free(at: tuple[float, float], half: float, high: float, taken: list[_Box]) -> tuple[float, float]:
    """Where a label as wide as twice `half` covers nothing, near a point; the first place where none is free."""
    x, y = min(max(at[0], half), max(_WIDE - half, half)), at[1]
    places = [(x + aside, y + up) for aside in (0, -60, 60) for up in (-26, 30, -44, 48, -62, 66)]
    boxes = [(a - half, b - 9, a + half, b + 9) for a, b in places]
    for place, box in zip(places, boxes, strict=True):
        clear = all(box[0] >= t[2] or t[0] >= box[2] or box[1] >= t[3] or t[1] >= box[3] for t in taken)
        if clear and box[0] >= 0 and box[2] <= _WIDE and box[1] > 0 and box[3] < high:
            taken.append(box)
            return place
    return x, min(max(y - 26, 12.0), high - 12.0)


def _casts(
    data: dict[str, Any], project: Callable[[list[float]], tuple[float, float]], taken: list[_Box]
) -> tuple[list[str], list[str]]:
    """Lines from stance to landing, and the numbers at the landings."""
    lines, marks = [], []
    for i, spot in enumerate(data["spots"], 1):
        if spot is None:
            continue
        (x0, y0), (x1, y1) = project(spot["from"]), project(spot["to"])
        lines.append(
            f'<path d="M{x0:.1f},{y0:.1f} {x1:.1f},{y1:.1f}" stroke="#ffffff" stroke-width="6"/>'
            f'<path d="M{x0:.1f},{y0:.1f} {x1:.1f},{y1:.1f}" stroke="#111111" stroke-width="2.5"/>'
            f'<circle cx="{x0:.1f}" cy="{y0:.1f}" r="4" fill="#ffffff" stroke="#111111" stroke-width="2"/>'
        )
        marks.append(
            f'<rect x="{x1 - 9:.1f}" y="{y1 - 9:.1f}" width="18" height="18" fill="#111111"/>'
            f'<text x="{x1:.1f}" y="{y1 + 5:.1f}" class="sketch-number" text-anchor="middle" fill="#ffffff">{i}</text>'
        )
        taken.append((x1 - 9, y1 - 9, x1 + 9, y1 + 9))
    return lines, marks


def _places(
    data: dict[str, Any], project: Callable[[list[float]], tuple[float, float]], high: float, taken: list[_Box]
) -> list[str]:
    """Put-ins, take-outs and hazards."""
    signs = {"put_in": "IN", "take_out": "OUT", "hazard": "!"}
    out = []
    for place in data["places"]:
        x, y = project(place["line"][len(place["line"]) // 2])
        x, y = min(max(x, 20.0), _WIDE - 20.0), min(max(y, 16.0), high - 12.0)
        out.append(
            f'<rect x="{x - 18:.1f}" y="{y - 11:.1f}" width="36" height="20" rx="3" fill="#ffffff" stroke="#111111" '
            f'stroke-width="2"/><text x="{x:.1f}" y="{y + 5:.1f}" class="sketch-number" text-anchor="middle">'
            f"{signs.get(place['kind'], '?')}</text>"
        )
        taken.append((x - 18, y - 11, x + 18, y + 9))
    return out


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


def _under(data: dict[str, Any], project: Callable[[list[float]], tuple[float, float]]) -> list[str]:
    """What the reader laid under the runs. A picture is turned and stretched with the drawing by its three corners;
    the page's script takes it from here, so that it stands in the page once."""
    under = data.get("under")
    if not under:
        return []
    if under.get("picture"):
        (south, west), (north, east) = under["corners"]
        (x0, y0), (x1, y1), (x2, y2) = (project(list(at)) for at in ((north, west), (north, east), (south, west)))
        numbers = " ".join(f"{v:.2f}" for v in (x1 - x0, y1 - y0, x2 - x0, y2 - y0, x0, y0))
        return [
            f'<image class="sketch-under" width="1" height="1" preserveAspectRatio="none" '
            f'transform="matrix({numbers})" href="{text(under["picture"])}"/>'
        ]

    def path(line: list[list[float]]) -> str:
        return "M" + " ".join(f"{x:.1f},{y:.1f}" for x, y in map(project, line))

    areas = "".join(f"{path(ring)}Z" for ring in under.get("areas") or ())
    lines = "".join(path(line) for line in under.get("lines") or ())
    style = 'stroke="#8a6a4a" stroke-width="1.2"'
    return [
        *([f'<path d="{areas}" fill="#efe2cf" fill-rule="evenodd" {style}/>'] if areas else []),
        *([f'<path d="{lines}" fill="none" {style}/>'] if lines else []),
    ]


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
    west, south, east, north = data["box"]
    if east == west and north == south:
        return ""
    project, high, metres, north_turn = _frame(data)

    def path(line: list[list[float]]) -> str:
        return "M" + " ".join(f"{x:.1f},{y:.1f}" for x, y in map(project, line))

    out = [
        f'<svg class="sketch" viewBox="0 0 {_WIDE:.0f} {high:.0f}" role="img" '
        'aria-label="Drawing of the runs and spots, flow to the right">',
        f'<defs><clipPath id="frame"><rect width="{_WIDE:.0f}" height="{high:.0f}"/></clipPath></defs>',
        '<g clip-path="url(#frame)">',
        *_under(data, project),
        *(
            f'<path d="{path(line)}" fill="none" stroke="#1f4e79" stroke-width="2" stroke-dasharray="9 6"/>'
            for line in data["flow"]
        ),
    ]
    taken: list[_Box] = [(_WIDE - 56, high - 58, _WIDE, high), (0.0, high - 26, 160.0, high)]
    arrows, marks = _casts(data, project, taken)
    places = _places(data, project, high, taken)
    labels = []
    for i, (row, run) in enumerate(zip(plan.get("runs") or (), data["runs"], strict=True)):
        if run is None:
            continue
        letter = words.class_letter(row.get("mean_depth_m"), "depth", units)
        letters = words.CLASSES["depth"]["letters"]
        fill = words.CLASSES["depth"]["colours"][letters.index(letter)] if letter in letters else "#e6e6e6"
        out.append(f'<path data-run="{i}" d="{path(run["ring"])}Z" fill="{fill}" stroke="#111111" stroke-width="2"/>')
        title = words.name_of(row)
        x, y = _free(project(run["middle"]), 5.0 * (len(title) + 3), high, taken)
        labels.append(
            f'<text x="{x:.1f}" y="{y + 6:.1f}" class="sketch-label" text-anchor="middle">'
            f'<tspan data-run-letter="{i}">{letter}</tspan> {text(title)}</text>'
        )
    for place in data["places"]:
        if place["kind"] == "hazard" and len(place["line"]) > 1:
            out.append(
                f'<path d="{path(place["line"])}" fill="none" stroke="#111111" stroke-width="5" '
                'stroke-dasharray="3 3"/>'
            )
    labels = [*arrows, *labels, *marks, *places]
    length, label = scale_length(_WIDE * metres, units)
    bar = length / metres
    out += [
        *labels,
        f'<path d="M14,{high - 14:.0f}v6h{bar:.0f}v-6" fill="none" stroke="#111111" stroke-width="2"/>',
        f'<text x="{20 + bar:.0f}" y="{high - 8:.0f}" class="sketch-number">{label}</text>',
        f'<g transform="translate({_WIDE - 28:.0f},{high - 30:.0f}) rotate({north_turn:.0f})">'
        '<path d="M0,-20l8,24l-8,-6l-8,6z" fill="#111111"/>'
        '<text y="20" class="sketch-number" text-anchor="middle">N</text></g>',
        "</g></svg>",
    ]
    return "".join(out)
