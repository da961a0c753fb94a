"""The page as text: cautions, river and day, gauge, level, map, spots, runs, rods, and where it all came from.

Everything stands in the HTML at the planned level, so that the sheet reads and prints with scripts off; the script
then repaints the same elements (found by ``data-k``) for the level that the reader sets.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

from planner.page import words
from planner.page.ledger import cast_card, rods, run_table, spot_table, trip
from planner.page.marks import caution_mark, name, signs, swatch, text
from planner.page.payload import payload, script_json
from planner.page.sketch import sketch
from planner.river.records import River
from planner.units import show

__all__ = ["build_page", "expected_sentence", "gauge_sentence"]


def build_page(plan: dict[str, Any], river: River, units: str) -> str:
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

    Returns
    -------
    str
        The HTML.

    Raises
    ------
    PageUnfit
        When the installed map library would make the page ask for an outside file.
    """
    from planner.page.figure import compose

    data = payload(plan, river, units)
    west, south, east, north = data["map"]["box"]
    drawing = sketch(plan, data["map"], units)
    title = f"{plan.get('river') or river.name}, {words.day_words(plan['for_day'])}"
    before = "\n".join(
        [
            signs(),
            '<a class="skip" href="#level">Skip to the gauge level</a>',
            "<main>",
            _cautions(plan),
            _river_and_day(plan, river, units),
            _levels(plan, data, river, units),
            '<div class="field"><section class="map-part" aria-labelledby="map-h"><h2 id="map-h">Map</h2>',
            _legend(units),
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
            '<span id="where-says" role="status"></span></p></section>',
            spot_table(plan, river, units),
            "</div>",
            run_table(plan, river, units),
            '<div class="rest">',
            rods(plan, river),
            trip(plan, river, units),
            _worth(plan, river),
            "</div>",
            "</main>",
            _foot(plan, river),
            cast_card(data["ladders"]),
        ]
    )
    return compose(title, before, after, script_json(data), ((south + north) / 2, (west + east) / 2))


def _reason_rows(reasons: list[dict[str, Any]]) -> str:
    return "".join(
        f"<li>{caution_mark({'level': r['level'], 'label': words.LEVEL_WORDS.get(r['level'], '')})} "
        f"<span>{text(r.get('text') or '')}</span></li>"
        for r in reasons
    )


def _cautions(plan: dict[str, Any]) -> str:
    """The day's caution; what does not fit a phone's first screen folds away with its number and level in sight."""
    caution = plan.get("caution") or {}
    low = "".join(f"<li>{text(note)}</li>" for note in words.low_notes(caution))
    turns = " ".join(words.note_text(note) for note in caution.get("turns") or ())
    unmade = [text(r.get("text") or r.get("rule") or "") for r in words.missing(caution)]
    reasons = words.raised(caution.get("reasons") or ())
    seen = words.in_sight(reasons)
    folded = reasons[seen:]
    return (
        '<section id="cautions" aria-labelledby="cautions-h"><h2 id="cautions-h" class="caution-head">'
        f"{caution_mark(caution, 'caution')}</h2>"
        '<p class="past" id="past" hidden></p>'
        f'<ul class="reasons" data-k="reasons">{_reason_rows(reasons[:seen])}</ul>'
        f'<details class="folded"{"" if folded else " hidden"} data-k="folded"><summary>'
        f'<span data-k="folded-count">{words.folded_words(len(folded))}</span></summary>'
        f'<ul class="reasons" data-k="folded-list">{_reason_rows(folded)}</ul></details>'
        f'<p class="turns">{text(turns)}</p><ul class="low" data-k="low">{low}</ul>'
        f'<div class="made-checks"><p class="checks" data-k="checks">{text(words.unlisted_words(caution))}</p>'
        f'<details class="folded"{"" if unmade else " hidden"} data-k="unmade"><summary>Not assessed: '
        f'<span data-k="unmade-count">{len(unmade)}</span></summary>'
        f'<ul data-k="unmade-list">{"".join(f"<li>{row}</li>" for row in unmade)}</ul></details></div>'
        f'<p class="standing">{text(" ".join(words.STANDING))}</p></section>'
    )


def gauge_sentence(gauge: dict[str, Any], river: River, units: str) -> str:
    """The last reading of a gauge with its age, quality and trend."""
    parts = []
    if gauge.get("stage_m") is not None:
        parts.append(show(gauge["stage_m"], "level", units))
    if gauge.get("discharge_m3s") is not None:
        parts.append(show(gauge["discharge_m3s"], "discharge", units))
    if not parts:
        return f"{gauge.get('id', '')}: no reading ({gauge.get('quality') or 'missing'})"
    at = words.clock(gauge.get("observed_at"), river.timezone, with_day=True)
    return words.joined(
        (
            f"{gauge.get('id', '')}: {' and '.join(parts)}" + (f" at {at}" if at else ""),
            words.age_words(gauge.get("age_min")),
            gauge.get("quality") or "quality unknown",
            words.trend_words(gauge.get("trend_m_per_h"), units),
        )
    )


def expected_sentence(plan: dict[str, Any], river: River, units: str) -> str:
    """What the gauge is expected to read over the day's hours."""
    rows = plan.get("expected") or []
    if not rows:
        return "No expectation for the day: no reading to start from."
    kind, keys = "level", ("stage_low_m", "stage_m", "stage_high_m")
    if all(row.get("stage_m") is None for row in rows):
        kind, keys = "discharge", ("discharge_low_m3s", "discharge_m3s", "discharge_high_m3s")
    low = [row[keys[0]] for row in rows if row.get(keys[0]) is not None]
    high = [row[keys[2]] for row in rows if row.get(keys[2]) is not None]
    middle = [row[keys[1]] for row in rows if row.get(keys[1]) is not None]
    if not middle:
        return "No expectation for the day."
    hours = f"{words.clock(rows[0].get('time'), river.timezone)} to {words.clock(rows[-1].get('time'), river.timezone)}"
    bounds = words.span(min(low or middle), max(high or middle), kind, units)
    return f"Expected {hours}: {bounds}."


def _river_and_day(plan: dict[str, Any], river: River, units: str) -> str:
    made = words.clock(plan.get("made_at"), river.timezone, with_day=True)
    gauges = "".join(
        f'<p class="gauge">Last reading {text(gauge_sentence(gauge, river, units))}'
        f'<span class="age-now" data-gauge="{i}"></span></p>'
        for i, gauge in enumerate(plan.get("gauges") or ())
    )
    return (
        f'<header class="river"><h1>{name(plan.get("river") or river.name)}</h1>'
        f'<p class="day">{text(words.day_words(plan["for_day"]))} <span class="made">plan made {text(made)}</span></p>'
        f"{gauges}"
        f'<p class="expected">{text(expected_sentence(plan, river, units))}</p></header>'
    )


def _levels(plan: dict[str, Any], data: dict[str, Any], river: River, units: str) -> str:
    ladders = data["ladders"]
    if not ladders:
        return (
            '<section id="level" aria-labelledby="level-h"><h2 id="level-h">The gauge reads now</h2>'
            "<p>No ladder of levels could be worked out, so the page holds the planned answers alone.</p></section>"
        )
    out = ['<section id="level" aria-labelledby="level-h"><h2 id="level-h">The gauge reads now</h2>']
    for i, ladder in enumerate(ladders):
        kind, unit = ladder["kind"], words.number_rule(ladder["kind"], units)[1]
        planned = show(ladder["planned"], kind, units) if ladder["planned"] is not None else "not known"
        which = f"Gauge {data['texts'][ladder['gauge']]}" if len(ladders) > 1 and ladder["gauge"] is not None else ""
        low, high = (show(ladder["at"][k], kind, units) for k in (0, -1))
        out.append(
            f'<div class="ladder" data-ladder="{i}" role="group" aria-label="{text(which or "Gauge level")}">'
            f'<p class="reading"><span data-k="reading" id="reading-{i}">{text(planned)}</span> '
            f'<span class="reading-note" data-k="reading-note">the planned level</span>'
            f"{f' <span>{text(which)}</span>' if which else ''}</p>"
            '<div class="steps needs-script">'
            '<button type="button" data-step="-1" aria-label="One step lower">−</button>'
            f'<input type="range" min="0" max="{len(ladder["at"]) - 1}" step="1" value="0" '
            f'aria-label="The gauge reads now" aria-describedby="ends-{i}">'
            '<button type="button" data-step="1" aria-label="One step higher">+</button></div>'
            f'<p class="ends needs-script" id="ends-{i}">Answers are worked out from {text(low)} to {text(high)}.</p>'
            f'<form class="typed needs-script"><label for="typed-{i}">Or type the reading in {text(unit)}</label>'
            f'<input id="typed-{i}" type="text" inputmode="decimal" autocomplete="off" size="7"> '
            '<button type="submit">Set</button> <button type="button" data-back>Back to the plan</button></form>'
            f'<p class="beyond" data-k="beyond" role="alert" hidden></p>'
            "</div>"
        )
    out.append('<p class="answer needs-script" id="answer" role="status" aria-live="polite"></p>')
    out.append(
        "<noscript><p>Scripts are off: every answer below is for the planned level. Where the gauge reads something "
        "else, depth and countdown are not as written.</p></noscript></section>"
    )
    return "".join(out)


def _legend(units: str) -> str:
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
    stances = ", ".join(f"{letter} {word}" for letter, word in words.STANCE_WORDS.values())
    return (
        f'{pick}<div class="legend"><p class="legend-unit" data-k="legend-unit">Mean depth, '
        f"{text(words.number_rule('depth', units)[1])}</p>{''.join(parts)}"
        f'<p class="legend-signs">Arrow: from the stance ({text(stances)}) to where the fly lands (black number). '
        "IN put-in, OUT take-out, ! hazard.</p></div>"
    )


def _shape(box: list[float]) -> str:
    """Whether the river lies across, stands tall or neither, for the height of the map."""
    wide = (box[2] - box[0]) * math.cos(math.radians((box[1] + box[3]) / 2))
    aspect = wide / max(box[3] - box[1], 1e-9)
    return "lies" if aspect > 1.8 else "stands" if aspect < 0.6 else "even"


def _worth(plan: dict[str, Any], river: River) -> str:
    notes = [("", str(finding)) for finding in river.findings]
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
