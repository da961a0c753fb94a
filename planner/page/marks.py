"""Small pieces of HTML and SVG: caution signs, escaped names, class swatches.

Caution levels: 0 white circle, 1 yellow triangle, 2 orange diamond, 3 vermillion octagon, not assessed grey
hatch; always with number and word, black on them. Everything a person typed passes through `text`.
"""

from __future__ import annotations

import html
from typing import Any

from planner.page import words

__all__ = ["caution_mark", "name", "signs", "swatch", "text"]

_SHAPES = {
    "0": ('<circle cx="24" cy="24" r="20" fill="#ffffff" stroke="#111111" stroke-width="3"/>', "0", 31),
    "1": (
        '<path d="M24 3 46 43H2Z" fill="#F0E442" stroke="#111111" stroke-width="3" stroke-linejoin="round"/>',
        "1",
        37,
    ),
    "2": ('<path d="M24 2 46 24 24 46 2 24Z" fill="#E69F00" stroke="#111111" stroke-width="3"/>', "2", 31),
    "3": (
        '<path d="M15 2H33L46 15V33L33 46H15L2 33V15Z" fill="#D55E00" stroke="#111111" stroke-width="3"/>',
        "3",
        32,
    ),
    "n": (
        '<rect x="4" y="4" width="40" height="40" fill="#d9d9d9" stroke="#111111" stroke-width="3"/>'
        '<path d="M4 16 16 4M4 28 28 4M4 40 40 4M12 44 44 12M24 44 44 24M36 44 44 36" stroke="#6b6b6b" '
        'stroke-width="2"/>'
        '<rect x="15" y="12" width="18" height="25" fill="#ffffff"/>',
        "?",
        32,
    ),
}


def text(value: Any) -> str:
    """Any value as text of HTML, quotes included."""
    return html.escape(str(value), quote=True)


def name(value: Any) -> str:
    """A name that a person typed, kept from turning its neighbours around when it is written right to left."""
    return f"<bdi>{text(value)}</bdi>"


def signs() -> str:
    """The caution signs, drawn once and used by reference."""
    out = []
    for level, (shape, sign, y) in _SHAPES.items():
        out.append(
            f'<symbol id="lv{level}" viewBox="0 0 48 48">{shape}<text x="24" y="{y}" text-anchor="middle" '
            f'font-size="22" font-weight="700" fill="#111111">{sign}</text></symbol>'
        )
    return f'<svg class="store" width="0" height="0" aria-hidden="true" focusable="false">{"".join(out)}</svg>'


def caution_mark(caution: dict[str, Any] | None, key: str = "", short: bool = False) -> str:
    """A caution as sign, number and word; `key` lets the script find it again, `short` is for a column of them."""
    level = (caution or {}).get("level")
    found = "n" if level is None else str(level)
    line = words.caution_short(caution) if short else words.caution_line(caution)
    attribute = f' data-k="{key}"' if key else ""
    return (
        f'<span class="mark"{attribute}><svg class="sign" viewBox="0 0 48 48" aria-hidden="true" focusable="false">'
        f'<use href="#lv{found}"></use></svg><span class="mark-text">{text(line)}</span></span>'
    )


def swatch(kind: str, letter: str) -> str:
    """The letter of a depth or speed class on its colour."""
    colours, letters = words.CLASSES[kind]["colours"], words.CLASSES[kind]["letters"]
    if letter not in letters:
        return '<span class="class-letter class-unknown">?</span>'
    return f'<span class="class-letter {kind}-{letters.index(letter)}">{letter}</span>' if colours else ""
