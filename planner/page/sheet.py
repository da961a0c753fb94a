"""The page as text: cautions, river and day, gauge, level, map, spots, runs, rods, and where it all came from.

Everything stands in the HTML at the planned level, so that the sheet reads and prints with scripts off; the script
then repaints the same elements (found by ``data-k``) for the level that the reader sets.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

from planner.page import words
from planner.page.background import background, online_layer
from planner.page.dayclock import day_clock
from planner.page.front import cautions, hours, levels, river_and_day
from planner.page.ledger import cast_card, rods, run_card, run_table, spot_table
from planner.page.logbook import log_section, trip_key
from planner.page.marks import caution_mark, name, signs, swatch, text
from planner.page.payload import payload, script_json
from planner.page.sketch import sketch
from planner.river.records import River
from planner.units import show

__all__ = ["build_page"]


def build_page(plan: dict[str, Any], river: River, units: str, *, online: bool | None = None) -> str:
    """The page for the river as one HTML file that asks for nothing from the network.

    Parameters
    ----------
    plan : dict
        As ``plan.json``; unknown is None. Beside the listed keys it may hold ``spots[].swim`` {x_m (from the rod
        tip), depth_m, bed_depth_m, strip_from (index)}, ``spots[].name``, and in the ladder's spots
        ``countdown_mode``, ``why``, ``none_because``, ``lift_rod_at_m``, ``fly_depth_m``; what is there is shown.
    river : River
        The river folder: outlines, casts, places, zone.
    units : str
        ``us`` or ``metric``.
    online : bool, optional
        Offer a background map from the network, which the reader must switch on; only then does the page's policy let
        pictures of that one service in. None takes ``online_background`` of river.toml, which is false when not given.

    Returns
    -------
    str
        The HTML.

    Raises
    ------
    PageUnfit
        When the installed map library would make the page ask for an outside file.
    BackgroundUnfit
        When the drawing that river.toml names as ``background`` cannot be drawn.
    PhotoUnfit
        When the picture that it names cannot be drawn.
    """
    from planner.page.figure import compose

    data = payload(plan, river, units)
    data["map"]["under"] = background(river, data["map"]["box"])
    layer = online_layer(river, online)
    data["map"]["online"] = layer
    data["trip"] = trip_key(plan, river)
    west, south, east, north = data["map"]["box"]
    drawing = sketch(plan, data["map"], units)
    if drawing and data["map"]["under"] and data["map"]["under"].get("picture"):
        data["map"]["under"] = {**data["map"]["under"], "picture": _IN_DRAWING}
    title = f"{plan.get('river') or river.name}, {words.day_words(plan['for_day'])}"
    before = "\n".join(
        [
            signs(),
            '<a class="skip" href="#level">Skip to the gauge level</a>',
            "<main>",
            cautions(plan),
            river_and_day(plan, river, units),
            levels(plan, data, river, units),
            '<div class="field"><section class="map-part" aria-labelledby="map-h"><h2 id="map-h">Map</h2>',
            _legend(plan, data, units),
            f'<div class="no-script-only print-only">{drawing}</div>',
            f'<div class="map-frame {_shape(data["map"]["box"])}" id="map-frame">'
            '<svg class="north" viewBox="0 0 24 40" aria-hidden="true">'
            '<path d="M12 1 21 26 12 20 3 26Z" fill="#111111"/><text x="12" y="39" text-anchor="middle" '
            'font-size="13" font-weight="700" fill="#111111">N</text></svg>',
        ]
    )
    after = "\n".join(
        [
            '</div><p class="where needs-script"><button type="button" id="where" hidden>Where am I</button> '
            f'<span id="where-says" role="status"></span></p>{_online(layer, data)}</section>',
            spot_table(plan, river, units),
            "</div>",
            hours(plan, data, river, units),
            run_table(plan, river, units),
            log_section(),
            '<div class="rest">',
            rods(plan, river),
            day_clock(plan, river, units),
            _worth(plan, river),
            "</div>",
            "</main>",
            _foot(plan, river),
            cast_card(data["ladders"]),
            run_card(data["ladders"]),
            _dock(data["ladders"]),
        ]
    )
    pictures = layer["host"] if layer else ""
    return compose(title, before, after, script_json(data), ((south + north) / 2, (west + east) / 2), pictures)


_IN_DRAWING = "#"  # the picture stands in the drawing, from where the script takes it


def _legend(plan: dict[str, Any], data: dict[str, Any], units: str) -> str:
    parts = []
    for kind, title in (("depth", "mean depth"), ("speed", "current")):
        steps = words.class_steps(kind, units)
        unit = words.number_rule(kind, units)[1]
        ends = [show(step, kind, units).split(" ")[0] for step in steps]
        ranges = [
            f"under {ends[0]}",
            *(f"{a}–{b}" for a, b in pairwise(ends)),
            f"{ends[-1]} and more",
        ]
        rows = "".join(
            f"<li>{swatch(kind, letter)} {text(words_)}</li>"
            for letter, words_ in zip(words.CLASSES[kind]["letters"], ranges, strict=True)
        )
        hidden = " hidden" if kind == "speed" else ""
        parts.append(
            f'<ul class="classes" data-legend="{kind}"{hidden} aria-label="Classes of {title}, {unit}">{rows}</ul>'
        )
    pick = (
        '<div class="pick needs-script" role="group" aria-label="Colour the runs by">'
        '<span aria-hidden="true">Runs by</span>'
        '<button type="button" data-by="depth" aria-pressed="true">depth</button>'
        '<button type="button" data-by="speed" aria-pressed="false">current</button></div>'
    )
    named = [
        words.name_of(run) for run, drawn in zip(plan.get("runs") or (), data["map"]["runs"], strict=True) if drawn
    ]
    at = [i for i, drawn in enumerate(data["map"]["runs"]) if drawn]
    choices = "".join(f'<option value="{i}">{text(label)}</option>' for i, label in zip(at, named, strict=True))
    go = (
        '<div class="pick needs-script"><label for="go-to">Show</label><select id="go-to">'
        f'<option value="">the whole river</option>{choices}</select></div>'
        if choices
        else ""
    )
    stances = ", ".join(f"{letter} {word}" for letter, word in words.STANCE_WORDS.values())
    drawn = data["map"]["soundings"]
    dots = f"Dot: a sounding ({_dots_words(drawn)}), seen when a run fills the map. " if drawn["total"] else ""
    return (
        f'<div class="picks">{pick}{go}</div><div class="legend"><p class="legend-unit" data-k="legend-unit">'
        "Mean depth, "
        f"{text(words.number_rule('depth', units)[1])}</p>{''.join(parts)}"
        '<details class="folded"><summary>Signs on the map</summary>'
        f'<p class="legend-signs">Arrow: from the stance ({text(stances)}) to where the fly lands (black number); '
        "while they would cover each other their numbers stand in the label of their run: press it to come nearer. "
        "Purple: the swim; its broad part is in the hold band. White arrows: the current, the larger the faster. "
        f"Dashed: the flowline, with the clock of the plan. {dots}IN put-in, OUT take-out, ! hazard.</p>"
        "</details></div>"
    )


def _online(layer: dict[str, Any] | None, data: dict[str, Any]) -> str:
    """The switch of the background map, off until pressed, and the name of the reader's own drawing or picture."""
    own = data["map"]["under"]
    how = ", in pale grey; the river may have moved since it was taken" if own and "picture" in own else ""
    credit = f" {text(own['credit'])}" if own and own.get("credit") else ""
    said = f'<p class="note">Under the runs: {name(own["name"])} from the river folder{how}.{credit}</p>' if own else ""
    if layer is None:
        return said
    return (
        f'{said}<p class="needs-script"><button type="button" id="online" aria-pressed="false">Background map from the '
        'network</button> <span id="online-says" role="status"></span></p>'
    )


def _dots_words(drawn: dict[str, Any]) -> str:
    shown, total = len(drawn["at"]), drawn["total"]
    return f"{total}" if shown == total else f"{shown} of {total} drawn"


def _dock(ladders: list[dict[str, Any]]) -> str:
    """Caution and level in a bar at the foot of the screen, there while the slider itself is out of sight."""
    if not ladders:
        return ""
    steps = (
        '<button type="button" data-dock-step="-1" aria-label="Gauge one step lower">−</button>'
        '<a class="dock-level" href="#level" data-k="dock-level"></a>'
        '<button type="button" data-dock-step="1" aria-label="Gauge one step higher">+</button>'
        if len(ladders) == 1
        else '<a class="dock-level" href="#level" data-k="dock-level"></a>'
    )
    mark = caution_mark({}, "dock-caution")
    return f'<aside id="dock" aria-label="Caution and gauge level" hidden>{mark}{steps}</aside>'


def _shape(box: list[float]) -> str:
    """Whether the river lies across, stands tall or neither, for the height of the map."""
    wide = (box[2] - box[0]) * math.cos(math.radians((box[1] + box[3]) / 2))
    aspect = wide / max(box[3] - box[1], 1e-9)
    return "lies" if aspect > 1.8 else "stands" if aspect < 0.6 else "even"


def _worth(plan: dict[str, Any], river: River) -> str:
    notes = [("", said) for said in _folder_words(river)]
    for run in plan.get("runs") or ():
        notes += [(words.name_of(run), str(limit)) for limit in run.get("limits") or () if limit]
    for spot in plan.get("spots") or ():
        notes += [(words.name_of(spot), str(limit)) for limit in spot.get("limits") or () if limit]
    for gauge in plan.get("gauges") or ():
        said = gauge.get("notes") or ()
        notes += [(str(gauge.get("id") or ""), words.note_text(note)) for note in said]
    notes += [("", words.note_text(note)) for note in plan.get("notes") or ()]
    if not notes:
        return ""
    rows = "".join(f"<li>{text(note)}</li>" for note in words.grouped(notes))
    return (
        f'<section aria-labelledby="worth-h"><h2 id="worth-h">What weakens these answers</h2><ul>{rows}</ul></section>'
    )


def _folder_words(river: River) -> list[str]:
    """What the check of the river folder found, in a reader's words; a file that need not be there is no weakness."""
    out = ["No tackle is listed: generic classes of line and fly stand in for yours."] if river.tackle.generic else []
    for finding in river.findings:
        if finding.level == "note" and finding.given == "the file is missing":
            continue
        place = f"{finding.file}, {finding.where}" if finding.where else finding.file
        out.append(f"{place}: {finding.given}. To mend it: {finding.next_step}.")
    return out


def _bases(plan: dict[str, Any]) -> str:
    """Where the expected levels come from."""
    found = dict.fromkeys(str(row["basis"]).rstrip(".") for row in plan.get("expected") or () if row.get("basis"))
    return "".join(f"<p class='basis'>Expected level: {text(basis)}.</p>" for basis in found)


def _foot(plan: dict[str, Any], river: River) -> str:
    gauges = ", ".join(text(g.get("id", "")) for g in plan.get("gauges") or ())
    return (
        f"<footer>{_bases(plan)}<p>Gauge: {gauges or 'none'}. {text(words.STANDING[1])} "
        f"Times are those of {text(river.timezone)}. "
        "A countdown between two worked-out levels is that of the lower, a caution that of the higher.</p>"
        '<p class="credit">Map drawing by Leaflet 1.9.4, © 2010–2023 Vladimir Agafonkin, © 2010–2011 CloudMade, '
        "BSD-2-Clause.</p>"
        "</footer>"
    )
