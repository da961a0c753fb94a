"""The page of the desk as HTML: cautions first, then the map that folium makes, the tools beside it, and the panels.

Nothing stands inline: the map library's files, folium's own few lines and our modules are all served by name, so that
the policy can name the desk itself as the only source of scripts and styles. What a person typed never enters this
text; it reaches the page through the interface and is set as text content there.
"""

from __future__ import annotations

import html
import json
import re
from functools import cache
from typing import Any

from planner.errors import PlumbrunError

__all__ = ["DeskPageUnfit", "map_files", "page_html", "rules"]

_SCRIPT = re.compile(r"<script>(.*?)</script>", re.S)
_STYLE = re.compile(r"<style>(.*?)</style>", re.S)
_MAP_DIV = re.compile(r'<div class="folium-map" id="map_desk"\s*></div>')

_CRAFT = ("drift boat", "raft", "canoe", "kayak", "on foot")
_HAZARDS = (
    "low-head dam", "dam", "weir", "strainer", "logjam", "bridge pier", "ledge", "rapid", "cable", "other",
)  # fmt: skip

_TOOLS = (
    ("pick", "Pick", "Pick a run, spot or place and move its points"),
    ("run", "Run", "Draw the outline of a run"),
    ("spot", "Spot", "Draw a cast: stance, then landing"),
    ("put_in", "Put-in", "Set a put-in"),
    ("take_out", "Take-out", "Set a take-out"),
    ("hazard", "Hazard", "Mark a hazard"),
    ("flowline", "Flowline", "Draw the flowline downstream"),
    ("split", "Split", "Split the picked run in two"),
    ("sound", "Sounding", "Set a sounding"),
)
_PANELS = (
    ("draw", "Draw"), ("soundings", "Soundings"), ("water", "Water"), ("plan", "Plan"), ("box", "Tackle"),
    ("log", "Log"), ("settings", "Settings"),
)  # fmt: skip


class DeskPageUnfit(PlumbrunError):
    """The installed map library does not write what this page was made for."""


@cache
def _map_parts() -> tuple[str, str, str]:
    """Element, script and style that folium writes for an empty map."""
    from branca.element import Figure

    from planner.page.figure import OfflineMap

    options: dict[str, Any] = {
        "attribution_control": False, "zoom_snap": 0.25, "zoom_animation": False, "tap_hold": False,
        "double_click_zoom": False, "scroll_wheel_zoom": True,
    }  # fmt: skip
    river_map = OfflineMap(location=(40.0, -95.0), zoom_start=4, tiles=None, zoom_control=True, **options)
    river_map._id = "desk"
    figure = Figure()
    figure.add_child(river_map)
    text = figure.render()
    element, styles = _MAP_DIV.search(text), "\n".join(_STYLE.findall(text))
    scripts = [body for body in _SCRIPT.findall(text) if "L.map(" in body]
    if element is None or len(scripts) != 1:
        raise DeskPageUnfit(
            f"the map library wrote {len(scripts)} maps", "exactly one map with an element of its own",
            "install folium 0.20",
        )  # fmt: skip
    return element.group(0), scripts[0].strip() + "\n", styles.strip() + "\n"


def map_files() -> dict[str, bytes]:
    """folium's script and style of the map, as files to serve beside our own."""
    _, script, style = _map_parts()
    return {"map-start.js": script.encode(), "map-start.css": style.encode()}


@cache
def rules() -> dict[str, Any]:
    """Number forms of both unit systems, classes, words and choices that the page shares with the rest of Plumbrun."""
    from planner.page import words
    from planner.river.records import BANKS, DRAG_CLASSES, HOLD_HIGH_M, HOLD_LOW_M, STANCES, WEIGHTINGS
    from planner.services import SERVICES, with_list
    from planner.tables import rows

    cast = next(row for row in rows("plausible") if row["quantity"] == "cast_m")
    classes = {
        kind: {
            "letters": "".join(found["letters"]), "colours": list(found["colours"]),
            "us": list(found["us"]), "metric": list(found["metric"]),
        }
        for kind, found in words.CLASSES.items()
    }  # fmt: skip
    return {
        "units": {
            system: {kind: list(words.number_rule(kind, system)) for kind in words.KINDS} for system in ("us", "metric")
        },
        "classes": classes,
        "levels": {("n" if level is None else str(level)): word for level, word in words.LEVEL_WORDS.items()},
        "no_caution": words.NO_CAUTION,
        "stances": {stance: list(words.STANCE_WORDS[stance]) for stance in STANCES},
        "banks": list(BANKS),
        "hold_m": [HOLD_LOW_M, HOLD_HIGH_M],
        "cast_m": [float(cast["error_low"]), float(cast["warn_high"]), float(cast["error_high"])],
        "drags": list(DRAG_CLASSES),
        "weightings": list(WEIGHTINGS),
        "beds": [[row["class"], row["description"]] for row in rows("roughness") if row["kind"] != "flood plain"],
        "craft": list(_CRAFT),
        "hazards": list(_HAZARDS),
        "services": [[name, SERVICES[name].country, SERVICES[name].said] for name in with_list()],
    }


def _tools() -> str:
    return "".join(
        f'<button type="button" data-tool="{tool}" aria-pressed="{"true" if tool == "pick" else "false"}" '
        f'title="{html.escape(title)}">{html.escape(label)}</button>'
        for tool, label, title in _TOOLS
    )


def _tabs() -> str:
    tabs = "".join(
        f'<button type="button" role="tab" id="tab-{key}" aria-controls="panel-{key}" '
        f'aria-selected="{"true" if key == "draw" else "false"}" tabindex="{0 if key == "draw" else -1}">'
        f"{html.escape(label)}</button>"
        for key, label in _PANELS
    )
    panels = "".join(
        f'<div role="tabpanel" id="panel-{key}" aria-labelledby="tab-{key}"{"" if key == "draw" else " hidden"}></div>'
        for key, _ in _PANELS
    )
    return f'<div role="tablist" aria-label="Parts of the desk">{tabs}</div>{panels}'


def page_html(token: str, *, started: bool) -> str:
    """The page.

    Parameters
    ----------
    token : str
        Goes with each request of the page.
    started : bool
        False where there is no river folder yet: the five questions come first.

    Raises
    ------
    DeskPageUnfit
        When the installed map library writes a page other than expected.
    """
    from planner.page import words
    from planner.page.marks import caution_mark, signs

    element, _, _ = _map_parts()
    given = json.dumps(rules(), ensure_ascii=True).replace("<", "\\u003c")
    standing = " ".join(html.escape(sentence) for sentence in words.STANDING)
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="desk-token" content="{html.escape(token)}">
<title>Plumbrun desk</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="/static/leaflet.css">
<link rel="stylesheet" href="/static/map-start.css">
<link rel="stylesheet" href="/static/desk.css">
<link rel="stylesheet" href="/static/desk-map.css">
<script src="/static/leaflet.js" defer></script>
<script src="/static/map-start.js" defer></script>
<script src="/static/start.js" type="module"></script>
</head>
<body data-started="{str(started).lower()}">
{signs()}
<a class="skip" href="#side">Skip the map</a>
<header class="head">
<h1 id="river-name">Plumbrun desk</h1>
<p id="saved" role="status">Opening the folder.</p>
<div class="steps-back" role="group" aria-label="Steps back and forward">
<button type="button" id="back" disabled>Undo</button><button type="button" id="forward" disabled>Redo</button>
</div>
</header>
<div id="alerts" role="alert"></div>
<noscript><p class="notice">The desk needs scripts. The river folder can be edited as files instead.</p></noscript>
<main id="desk">
<h2 id="cautions-h" class="caution-head">{caution_mark(None)}</h2>
<section id="cautions" aria-labelledby="cautions-h">
<div id="caution-reasons"></div>
<p class="standing"><span id="caution-checks"></span> {standing}</p>
</section>
<section id="level" aria-labelledby="level-h"><h2 id="level-h">What if the gauge reads</h2><div id="level-set"></div>
</section>
<section id="map-part" aria-labelledby="map-h"><h2 id="map-h" class="hide">Map</h2>
<div class="tools" role="toolbar" aria-label="Drawing tools">{_tools()}
<button type="button" id="snap" aria-pressed="true" title="Draw to points and edges that are near">Snap</button></div>
<div id="doing" class="doing" hidden></div>
<div class="map-frame" id="map-frame">{element}
<svg class="north" viewBox="0 0 24 40" aria-hidden="true"><path d="M12 1 21 26 12 20 3 26Z"/><text x="12" y="39" \
text-anchor="middle">N</text></svg>
<p id="pointer" class="pointer" aria-hidden="true" hidden></p></div>
<div id="map-below"><p id="map-says" class="hint" role="status"></p></div>
</section>
<div id="side">{_tabs()}</div>
</main>
<div id="toast" class="toast" role="status"></div>
<dialog id="ask" aria-labelledby="ask-h"></dialog>
<p id="spoken" class="hide" aria-live="polite"></p>
<footer class="foot"><p>Map drawing by Leaflet 1.9.4, © 2010–2023 Vladimir Agafonkin, © 2010–2011 CloudMade, \
BSD-2-Clause.</p></footer>
<script type="application/json" id="desk-rules">{given}</script>
</body>
</html>
"""
