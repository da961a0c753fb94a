"""One HTML file that asks for nothing: the map library's files, our style and script, and a strict content policy.

The map is made by folium, with its lists of outside files emptied; Leaflet comes from an installed package and is
written into the page. Every script and style element is named in the policy by its SHA-256, so that no other can
run, whatever a name in the data holds.
"""

from __future__ import annotations

import base64
import hashlib
import html
import re
from importlib import resources
from typing import Any

import folium
from branca.element import Element, Figure
from folium.template import Template

from planner.errors import PlumbrunError

__all__ = ["OfflineFigure", "OfflineMap", "PageUnfit", "compose", "leaflet_file", "outside_addresses"]

_POLICY_PLACE = "@@policy@@"
_FOLIUM_VIEWPORT = re.compile(r'<meta name="viewport" content="[^"]*user-scalable=no"\s*/>')
_SCRIPT = re.compile(r"<script>(.*?)</script>", re.S)
_STYLE = re.compile(r"<style>(.*?)</style>", re.S)
_OUTSIDE = (
    re.compile(r"<(?:script|img|iframe|source|embed)\b[^>]*\bsrc\s*=\s*[\"']?(?!data:)([^\s\"'>]+)", re.I),
    re.compile(r"<link\b[^>]*\bhref\s*=\s*[\"']?([^\s\"'>]+)", re.I),
    re.compile(r"url\(\s*[\"']?(?!data:|#)([^\s\"')]+)", re.I),
    re.compile(r"@import\s+[\"']?([^\s\"';]+)", re.I),
)


class PageUnfit(PlumbrunError):
    """The page would not be self-contained; it is not written."""


class OfflineMap(folium.Map):
    """A folium map that asks for no outside file."""

    default_js: list[tuple[str, str]] = []  # noqa: RUF012  # folium's own form
    default_css: list[tuple[str, str]] = []  # noqa: RUF012


class OfflineFigure(Figure):
    """The frame of the page: language, title, policy, what stands before the map and after it.

    Parts are values of the template, never templates themselves: a name may hold braces.

    Parameters
    ----------
    title : str
        Title of the document, as text.
    before, after : str
        HTML ahead of the map and behind it.
    data : str
        JSON for the script, with the signs of markup escaped.
    """

    _template = Template(
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta http-equiv="Content-Security-Policy" content="' + _POLICY_PLACE + '">\n'
        "<title>{{ this.safe_title }}</title>\n{{ this.header.render(**kwargs) }}\n</head>\n<body>\n"
        "{{ this.before }}\n{{ this.html.render(**kwargs) }}\n{{ this.after }}\n"
        '<script type="application/json" id="plan-data">{{ this.data }}</script>\n'
        "<script>{{ this.script.render(**kwargs) }}</script>\n"
        "<script>{{ this.own_script }}</script>\n</body>\n</html>\n"
    )

    def __init__(self, title: str, before: str, after: str, data: str) -> None:
        super().__init__()
        self.safe_title = html.escape(title)
        self.before, self.after, self.data = before, after, data
        self.own_script = _own("js")
        self.header = Element()
        self.header._parent = self


class _Raw(Element):
    """Text that is written as it is."""

    _template = Template("{{ this.source }}")

    def __init__(self, source: str) -> None:
        super().__init__()
        self.source = source


def leaflet_file(name: str) -> str:
    """A file of the map library from the installed package, as text."""
    folder = resources.files("js_lib_leaflet") / "static" / "js_lib_leaflet"
    return (folder / name).read_bytes().decode("utf-8")


_SCRIPTS = ("base", "level", "river", "labels", "under", "paint", "side", "log", "card", "run", "start")


def _own(kind: str) -> str:
    folder = resources.files("planner.page") / "static"
    if kind == "css":
        return "\n".join((folder / f"{name}.css").read_text(encoding="utf-8") for name in ("page", "card", "print"))
    parts = [(folder / f"{name}.js").read_text(encoding="utf-8") for name in _SCRIPTS]
    return '(function () {\n"use strict";\n' + "\n".join(parts) + "\n})();"


def _leaflet_style() -> str:
    """The library's style without its pictures: we draw our own signs, and a missing picture would be asked for."""
    return re.sub(r"(?:background-image|behavior):\s*url\([^)]*\);?", "", leaflet_file("leaflet.css"))


def _leaflet_script() -> str:
    """The library's script without the address of its map file, which a browser's tools would ask for."""
    return re.sub(r"//# sourceMappingURL=\S+", "", leaflet_file("leaflet.js"))


def outside_addresses(page: str) -> list[str]:
    """Addresses that a page would fetch by itself: scripts, pictures, linked styles, style urls, imports.

    Examples
    --------
    >>> outside_addresses('<link rel="stylesheet" href="https://example.org/a.css"><p>url</p>')
    ['https://example.org/a.css']
    """
    markup = _SCRIPT.sub("<script></script>", page)
    return [found for pattern in _OUTSIDE for found in pattern.findall(markup)]


def _hashes(pattern: re.Pattern[str], page: str) -> str:
    digests = {
        base64.b64encode(hashlib.sha256(body.encode("utf-8")).digest()).decode() for body in pattern.findall(page)
    }
    return " ".join(f"'sha256-{digest}'" for digest in sorted(digests))


def compose(title: str, before: str, after: str, data: str, middle: tuple[float, float], pictures: str = "") -> str:
    """Put the page together around the map.

    Parameters
    ----------
    title, before, after, data : str
        As in `OfflineFigure`.
    middle : tuple of float
        Lat, lon where the map starts [degrees].
    pictures : str, optional
        The one host from which pictures may come when the reader switches the background on; none when empty.

    Returns
    -------
    str
        The whole HTML.

    Raises
    ------
    PageUnfit
        When the map library's files or frame are not those this module was written for, or the page would ask for
        an outside file.
    """
    figure = OfflineFigure(title, before, after, data)
    options: dict[str, Any] = {"attribution_control": False, "zoom_snap": 0.25, "scroll_wheel_zoom": False}
    river_map = OfflineMap(location=middle, zoom_start=15, tiles=None, zoom_control=True, **options)
    river_map._id = "river"
    figure.header.add_child(_Raw(f"<script>{_leaflet_script()}</script>"), name="leaflet")
    figure.header.add_child(_Raw(f"<style>{_leaflet_style()}</style>"), name="leaflet_css")
    figure.add_child(river_map)
    page = figure.render()
    page, changed = _FOLIUM_VIEWPORT.subn('<meta name="viewport" content="width=device-width, initial-scale=1">', page)
    if changed != 1:
        raise PageUnfit(
            f"the map library wrote its zoom lock {changed} times",
            "exactly one, to replace it by a page that can be enlarged",
            "install folium 0.20",
        )
    page = page.replace("</head>", f"<style>{_own('css')}</style>\n</head>", 1)
    # a browser reads CR LF as LF before it takes the digest that the policy names
    page = page.replace("\r\n", "\n").replace("\r", "\n")
    asked = outside_addresses(page)
    if asked:
        raise PageUnfit(
            f"the page would ask for {', '.join(asked[:3])}",
            "a page that works with no network",
            "remove what was added to the map",
        )
    policy = (
        f"default-src 'none'; script-src {_hashes(_SCRIPT, page)}; style-src {_hashes(_STYLE, page)}; "
        f"img-src data: blob:{' ' + pictures if pictures else ''}; connect-src 'none'; base-uri 'none'; "
        "form-action 'none'"
    )
    return page.replace(_POLICY_PLACE, policy, 1)
