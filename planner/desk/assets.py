"""The files that the page loads: a list made once at the start, so that no name of a request becomes a path."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

__all__ = ["Asset", "assets"]

_TYPES = {"js": "text/javascript", "css": "text/css", "svg": "image/svg+xml"}
_NAME = re.compile(r"[a-z0-9_-]+\.(js|css|svg)")


@dataclass(frozen=True)
class Asset:
    """One file as it is sent."""

    body: bytes
    media_type: str


@cache
def assets() -> dict[str, Asset]:
    """Every file that is served under ``/static/``, by name."""
    from planner.desk.page import map_files
    from planner.page.figure import leaflet_file

    found = {}
    for item in (files("planner.desk") / "static").iterdir():
        if _NAME.fullmatch(item.name) and item.is_file():
            found[item.name] = Asset(item.read_bytes(), _TYPES[item.name.rpartition(".")[2]])
    # without pictures and source maps: we draw our own signs, and a missing file would be asked for
    style = re.sub(r"(?:background-image|behavior):\s*url\([^)]*\);?", "", leaflet_file("leaflet.css"))
    script = re.sub(r"//# sourceMappingURL=\S+", "", leaflet_file("leaflet.js"))
    found["leaflet.js"] = Asset(script.encode(), _TYPES["js"])
    found["leaflet.css"] = Asset(style.encode(), _TYPES["css"])
    for name, body in map_files().items():  # what folium would write into the page itself
        found[name] = Asset(body, _TYPES[name.rpartition(".")[2]])
    return found
