"""A sheet of SVG that fills from the top: text, panels, axes and the marks on them."""

from __future__ import annotations

import html
import math
import textwrap
from collections.abc import Callable, Sequence

__all__ = ["Sheet", "nice_steps"]

_DARK = "#1b1b1b"
_MARGIN = 40.0


def nice_steps(top: float, count: int) -> list[float]:
    """Edges of `count` even classes from 0 up to at least `top`: steps of 1, 1.5, 2, 3, 4 or 5 times a power of ten.

    Examples
    --------
    >>> nice_steps(2.3, 5)
    [0.0, 0.5, 1.0, 1.5, 2.0, 2.5]
    """
    raw = max(top, 1e-9) / count
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 10.0) if m * power >= raw * (1 - 1e-9))
    return [round(i * step, 10) for i in range(count + 1)]


class Sheet:
    """A drawing of a given width that grows downward."""

    def __init__(self, wide: float, title: str) -> None:
        self.wide, self.title, self.y = wide, title, 30.0
        self.marks: list[str] = []
        self.text(html.escape(title), _MARGIN, self.y, 16, weight="bold")

    def svg(self) -> str:
        """The whole document."""
        high = self.y + 24
        label = html.escape(self.title, quote=True)
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.wide:.0f} {high:.0f}" width="{self.wide:.0f}" '
            f'height="{high:.0f}" role="img" aria-label="{label}" font-family="sans-serif">'
        )
        paper = f'<rect width="{self.wide:.0f}" height="{high:.0f}" fill="#ffffff"/>'
        return "\n".join([head, f"<title>{html.escape(self.title)}</title>", paper, *self.marks, "</svg>", ""])

    def text(
        self,
        escaped: str,
        x: float,
        y: float,
        size: float,
        anchor: str = "start",
        colour: str = _DARK,
        weight: str = "",
    ) -> None:
        """Text that is escaped already, at a place."""
        bold = f' font-weight="{weight}"' if weight else ""
        self.marks.append(
            f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}" fill="{colour}"{bold}>'
            f"{escaped}</text>"
        )

    def write_wrapped(self, words: str, size: float) -> None:
        """A sentence over as many lines as it needs, below what stands there."""
        for line in textwrap.wrap(words, int((self.wide - 2 * _MARGIN) / (size * 0.55))):
            self.y += size + 5
            self.text(html.escape(line), _MARGIN, self.y, size)

    def panel(self, title: str, high: float) -> tuple[float, float]:
        """Room of a height below a title; its left and top."""
        self.y += 30
        self.text(html.escape(title), _MARGIN, self.y, 13, weight="bold")
        top = self.y + 8
        self.y = top + high
        return _MARGIN, top

    def axes(
        self,
        title: str,
        high: float,
        xs: tuple[float, float],
        ys: tuple[float, float],
        x_name: str,
        y_name: str,
        x_factor: float,
        y_factor: float,
    ) -> Callable[[float, float], tuple[float, float]]:
        """A frame with figures in the reader's units; gives the place of a point in SI."""
        left, top = self.panel(title, high + 34)
        left += 40
        wide = self.wide - left - _MARGIN
        self.marks.append(
            f'<rect x="{left:.1f}" y="{top:.1f}" width="{wide:.1f}" height="{high:.1f}" fill="none" stroke="{_DARK}"/>'
        )

        def place(x: float, y: float) -> tuple[float, float]:
            return left + (x - xs[0]) / (xs[1] - xs[0]) * wide, top + (ys[1] - y) / (ys[1] - ys[0]) * high

        for lower, upper, factor, upright in ((*xs, x_factor, False), (*ys, y_factor, True)):
            step = nice_steps((upper - lower) * factor, 5)[1]
            tick = math.ceil(lower * factor / step) * step
            while tick <= upper * factor + 1e-9:
                at = place(xs[0], tick / factor) if upright else place(tick / factor, ys[0])
                shown = f"{tick:.10g}" if abs(tick) > 1e-12 else "0"
                if upright:
                    self.text(shown, at[0] - 5, at[1] + 4, 10, "end")
                else:
                    self.text(shown, at[0], at[1] + 14, 10, "middle")
                tick += step
        self.text(html.escape(x_name), left + wide / 2, top + high + 30, 11, "middle")
        self.text(html.escape(y_name), left + 6, top + 14, 11)
        return place

    def polygon(self, ring: Sequence[tuple[float, float]], fill: str, title: str = "") -> None:
        """A filled shape with a thin dark edge."""
        points = " ".join(f"{x:.1f},{y:.1f}" for x, y in ring)
        said = f"<title>{html.escape(title)}</title>" if title else ""
        self.marks.append(
            f'<polygon points="{points}" fill="{fill}" stroke="#555555" stroke-width="0.3">{said}</polygon>'
        )

    def path(
        self,
        points: Sequence[tuple[float, float]],
        colour: str = _DARK,
        width: float = 1.2,
        closed: bool = False,
        dashed: bool = False,
    ) -> None:
        """A line."""
        way = "M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in points) + (" Z" if closed else "")
        dash = ' stroke-dasharray="6 4"' if dashed else ""
        self.marks.append(f'<path d="{way}" fill="none" stroke="{colour}" stroke-width="{width:g}"{dash}/>')

    def dot(self, x: float, y: float, radius: float) -> None:
        """A dark dot."""
        self.marks.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}" fill="{_DARK}"/>')

    def ring(self, x: float, y: float, radius: float) -> None:
        """An open circle."""
        self.marks.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}" fill="none" stroke="{_DARK}" stroke-width="2"/>'
        )

    def legend(self, colours: Sequence[str], names: Sequence[str]) -> None:
        """Classes side by side below what stands there."""
        self.y += 22
        step = (self.wide - 2 * _MARGIN) / len(names)
        for i, (colour, name) in enumerate(zip(colours, names, strict=True)):
            x = _MARGIN + i * step
            self.marks.append(
                f'<rect x="{x:.1f}" y="{self.y - 11:.1f}" width="14" height="14" fill="{colour}" stroke="{_DARK}"/>'
            )
            self.text(html.escape(name), x + 20, self.y, 11)
