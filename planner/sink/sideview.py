"""A swim seen from the side: in characters for the terminal, as SVG, or as PNG through pillow.

Both pictures are one list of shapes. Heights are drawn larger than lengths, and the picture says how much.
"""

from __future__ import annotations

import html
import io
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from planner.errors import UsageMistake
from planner.files import write_whole
from planner.units import show, value_in

__all__ = ["draw_swim", "side_view", "swim_png", "swim_svg"]

_WIDE, _HIGH = 960, 460
_LEFT, _RIGHT, _TOP, _BOTTOM = 92, 28, 92, 78
_INK, _WATER, _EDGE, _BED, _LOW = "#1b1b1b", "#eff3ff", "#08519c", "#cfc6b8", "#756bb1"
# colour, width, dashes and word of each phase; never colour alone
_PHASES = {
    "countdown": ("#E69F00", 3.0, (2, 6), "countdown (dots)"),
    "retrieve": ("#08519c", 3.5, (), "retrieve (line)"),
    "lift": ("#D55E00", 3.0, (12, 6), "rod lifted (dashes)"),
}
Shape = tuple[str, Any]


def bed_at(report: dict[str, Any], distance: np.ndarray) -> np.ndarray:
    """Depth of the bed at distances from the rod tip [m]."""
    return np.interp(distance, report["water"]["bed_distance_m"], report["water"]["bed_depth_m"])


def side_view(report: dict[str, Any], units: str, columns: int = 64, height: int = 12) -> list[str]:
    """The swim in characters, the rod tip at the left.

    ``~`` is the surface, ``o`` the countdown, ``*`` the retrieve, ``+`` the lift, ``.`` the lowest part of the line or
    the fly where that is not the fly, ``#`` the bed.
    """
    x, z = np.asarray(report["fly_distance_m"]), np.asarray(report["fly_depth_m"])
    low_x, low_z = np.asarray(report["low_distance_m"]), np.asarray(report["low_depth_m"])
    far = max(float(x.max()), 1e-6)
    ground = bed_at(report, (np.arange(columns) + 0.5) / columns * far)
    deepest = float(ground.max())
    grid = [[" "] * columns for _ in range(height)]
    for column in range(columns):
        for row in range(height):
            if (row + 0.5) / height * deepest >= ground[column]:
                grid[row][column] = "#"

    def put(at: float, depth: float, mark: str, over: str) -> None:
        column = min(int(at / far * columns), columns - 1)
        row = max(min(int(depth / deepest * height), height - 1), 0)
        while row > 0 and grid[row][column] == "#":
            row -= 1
        if grid[row][column] in over:
            grid[row][column] = mark

    for at, depth, fly in zip(low_x, low_z, z, strict=True):
        if at <= far and depth > fly + 0.5 * deepest / height:
            put(at, depth, ".", " ")
    for at, depth, phase in zip(x, z, report["phase"], strict=True):
        mark = {"countdown": "o", "retrieve": "*"}.get(phase, "+")
        put(at, depth, mark, " .")
    rows = [f"{'surface':>12} {'~' * columns}"]
    for row in range(height):
        label = show((row + 1) / height * deepest, "depth", units) if row % 3 == 2 and row < height - 1 else ""
        rows.append(f"{label:>12} {''.join(grid[row])}".rstrip())
    rows.append(f"{'bed ' + show(deepest, 'depth', units):>12} {'#' * columns}")
    rows.append(f"{'rod tip':>12} {'':<{columns - 12}}{show(far, 'length', units):>12}")
    return [*rows, f"{'':>12} o countdown  * retrieve  + lift  . lowest part of the line  # bed"]


def _shapes(report: dict[str, Any], units: str) -> list[Shape]:
    x, z = np.asarray(report["fly_distance_m"]), np.asarray(report["fly_depth_m"])
    times, phases = np.asarray(report["times_s"]), np.asarray(report["phase"])
    far = max(float(x.max()), 1.0) * 1.03
    places = np.linspace(0.0, far, 121)
    ground = bed_at(report, places)
    deepest = float(ground.max()) * 1.08
    wide, high = _WIDE - _LEFT - _RIGHT, _HIGH - _TOP - _BOTTOM

    def px(distance: Any) -> Any:
        return _LEFT + np.asarray(distance, dtype=float) / far * wide

    def py(depth: Any) -> Any:
        return _TOP + np.clip(np.asarray(depth, dtype=float), -0.05 * deepest, deepest) / deepest * high

    foot = _TOP + high
    bed = [*zip(px(places), py(ground), strict=True)]
    shapes: list[Shape] = [
        ("area", ([(_LEFT, _TOP), (_LEFT + wide, _TOP), *reversed(bed)], _WATER)),
        ("area", ([*bed, (_LEFT + wide, foot), (_LEFT, foot)], _BED)),
        ("path", (bed, _INK, 2.0, ())),
        ("path", ([(_LEFT, _TOP), (_LEFT + wide, _TOP)], _EDGE, 2.0, ())),
        ("text", (report["title"], _LEFT - 64, 30, 19, "start", _INK, True)),
        ("text", (report["caption"], _LEFT - 64, 54, 15, "start", _INK, False)),
        ("text", ("surface", _LEFT - 8, _TOP + 5, 14, "end", _INK, False)),
        ("text", ("bed", _LEFT + wide - 6, float(py(ground[-1])) + 20, 14, "end", _INK, True)),
    ]
    for depth in _ticks(deepest, "depth", units, 6):
        shapes.append(("path", ([(_LEFT - 5, float(py(depth))), (_LEFT, float(py(depth)))], _INK, 1.5, ())))
        shapes.append(("text", (show(depth, "depth", units), _LEFT - 8, float(py(depth)) + 5, 14, "end", _INK, False)))
    for at in _ticks(far, "length", units, 6):
        shapes.append(("path", ([(float(px(at)), foot), (float(px(at)), foot + 5)], _INK, 1.5, ())))
        shapes.append(("text", (show(at, "length", units), float(px(at)), foot + 20, 14, "middle", _INK, False)))
    shapes.append(("text", ("rod tip", _LEFT, foot + 20, 14, "middle", _INK, True)))
    low_x, low_z = np.asarray(report["low_distance_m"]), np.asarray(report["low_depth_m"])
    hangs = (low_z > z + 0.05) & (low_x <= far) & (np.floor(times) > np.floor(np.concatenate([[-1.0], times[:-1]])))
    for at, depth in zip(px(low_x[hangs]), py(low_z[hangs]), strict=True):
        shapes.append(("dot", (float(at), float(depth), 3.0, _LOW)))
    for name, (colour, width, dashes, _) in _PHASES.items():
        chosen = np.flatnonzero(phases == name)
        if chosen.size:
            chosen = np.arange(max(chosen[0] - 1, 0), chosen[-1] + 1)
            shapes.append(("path", ([*zip(px(x[chosen]), py(z[chosen]), strict=True)], colour, width, dashes)))
    said = (-99.0, -99.0)
    for second in range(0, int(times[-1]) + 1, 5 if times[-1] < 45.0 else 10):
        i = int(np.argmin(np.abs(times - second)))
        at, depth = float(px(x[i])), float(py(z[i]))
        shapes.append(("dot", (at, depth, 4.0, _INK)))
        if math.hypot(at - said[0], depth - said[1]) < 36.0:
            continue
        said = at, depth
        above = depth - 9 if depth > _TOP + 26 else depth + 19
        shapes.append(("text", (f"{second} s", at, above, 13, "middle", _INK, False)))
    if report["touched"] and report["touch_at_m"] == report["touch_at_m"]:
        at = float(px(report["touch_at_m"]))
        on = float(py(bed_at(report, np.array([report["touch_at_m"]]))[0]))
        shapes.append(("path", ([(at - 7, on - 7), (at + 7, on + 7)], "#D55E00", 3.0, ())))
        shapes.append(("path", ([(at - 7, on + 7), (at + 7, on - 7)], "#D55E00", 3.0, ())))
        shapes.append(("text", ("first touch", at, on + 22, 13, "middle", _INK, True)))
    left = float(_LEFT - 64)
    for colour, width, dashes, word in _PHASES.values():
        shapes.append(("path", ([(left, _HIGH - 22), (left + 34, _HIGH - 22)], colour, width, dashes)))
        shapes.append(("text", (word, left + 42, _HIGH - 17, 14, "start", _INK, False)))
        left += 62 + 7.2 * len(word)
    shapes.append(("dot", (left + 6, _HIGH - 22, 3.0, _LOW)))
    shapes.append(("text", ("line below the fly, each second", left + 18, _HIGH - 17, 14, "start", _INK, False)))
    larger = (high / deepest) / (wide / far)
    if not 0.9 < larger < 1.1:
        words = f"heights {larger:.1f} times lengths" if larger > 1.0 else f"lengths {1 / larger:.1f} times heights"
        shapes.append(("text", (words, _WIDE - _RIGHT, _TOP - 12, 14, "end", _INK, False)))
    return shapes


def _ticks(top: float, kind: str, units: str, count: int) -> list[float]:
    per = top / value_in(top, kind, units)
    raw = value_in(top, kind, units) / count
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= raw)
    return [i * step * per for i in range(1, int(top / per / step) + 1)]


def swim_svg(report: dict[str, Any], units: str) -> str:
    """The side view as an SVG document."""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDE} {_HIGH}" width="{_WIDE}" height="{_HIGH}" '
        f'role="img" aria-label="{html.escape(report["title"], quote=True)}" font-family="sans-serif">',
        f"<title>{html.escape(report['title'])}</title><desc>{html.escape(report['caption'])}</desc>",
        f'<rect width="{_WIDE}" height="{_HIGH}" fill="#ffffff"/>',
    ]

    def points(places: Sequence[tuple[float, float]]) -> str:
        return " ".join(f"{a:.1f},{b:.1f}" for a, b in places)

    for kind, what in _shapes(report, units):
        if kind == "area":
            parts.append(f'<polygon points="{points(what[0])}" fill="{what[1]}"/>')
        elif kind == "path":
            dash = f' stroke-dasharray="{what[3][0]} {what[3][1]}" stroke-linecap="round"' if what[3] else ""
            parts.append(
                f'<polyline points="{points(what[0])}" fill="none" stroke="{what[1]}" stroke-width="{what[2]}"{dash}/>'
            )
        elif kind == "dot":
            parts.append(f'<circle cx="{what[0]:.1f}" cy="{what[1]:.1f}" r="{what[2]}" fill="{what[3]}"/>')
        else:
            text, at, down, size, anchor, colour, bold = what
            weight = ' font-weight="bold"' if bold else ""
            parts.append(
                f'<text x="{at:.1f}" y="{down:.1f}" font-size="{size}" text-anchor="{anchor}" fill="{colour}"{weight}>'
                f"{html.escape(text)}</text>"
            )
    return "\n".join([*parts, "</svg>", ""])


def swim_png(report: dict[str, Any], units: str, scale: int = 2) -> bytes:
    """The side view as a PNG, drawn by pillow at `scale` pixels a unit."""
    from PIL import Image, ImageDraw, ImageFont

    image = Image.new("RGB", (_WIDE * scale, _HIGH * scale), "#ffffff")
    pen = ImageDraw.Draw(image)
    anchors = {"start": "ls", "middle": "ms", "end": "rs"}
    for kind, what in _shapes(report, units):
        if kind == "area":
            pen.polygon([(a * scale, b * scale) for a, b in what[0]], fill=what[1])
        elif kind == "path":
            for stretch in _dashed([(float(a), float(b)) for a, b in what[0]], what[3]):
                pen.line(
                    [(a * scale, b * scale) for a, b in stretch], what[1], max(1, round(what[2] * scale)), joint="curve"
                )
        elif kind == "dot":
            at, down, radius, colour = what
            box = [(at - radius) * scale, (down - radius) * scale, (at + radius) * scale, (down + radius) * scale]
            pen.ellipse(box, fill=colour)
        else:
            text, at, down, size, anchor, colour, bold = what
            font = ImageFont.load_default(size * scale)
            pen.text(
                (at * scale, down * scale), text, colour, font, anchors[anchor], stroke_width=scale // 2 if bold else 0
            )
    stream = io.BytesIO()
    image.save(stream, "PNG", optimize=True)
    return stream.getvalue()


def _dashed(places: list[tuple[float, float]], dashes: tuple[int, ...]) -> list[list[tuple[float, float]]]:
    """A path cut into its dashes; whole without."""
    if not dashes:
        return [places]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(np.array(places), axis=0).T))])
    if along[-1] == 0.0:
        return [places]
    xs, ys = np.array(places).T
    cut = []
    for begin in np.arange(0.0, along[-1], sum(dashes)):
        at = np.linspace(begin, min(begin + dashes[0], along[-1]), 4)
        cut.append([*zip(np.interp(at, along, xs), np.interp(at, along, ys), strict=True)])
    return cut


def draw_swim(report: dict[str, Any], units: str, file: Path) -> None:
    """Write the side view to a file, SVG or PNG by its name.

    Raises
    ------
    UsageMistake
        When the name ends otherwise.
    NotWritten
        When the file cannot be written.
    """
    kind = file.suffix.lower()
    if kind not in (".svg", ".png"):
        raise UsageMistake(f"--picture {str(file)!r}", "a name that ends in .svg or .png", "rename it")
    write_whole(file, swim_svg(report, units) if kind == ".svg" else swim_png(report, units))
