"""The first screen: cautions, river and day, the gauge with its age, the level's slider, and the hours to come.

A phone in the hand shows the caution, every reason of levels 2 and 3, the gauge and the slider without scrolling;
what is longer folds away with its count in sight.
"""

from __future__ import annotations

from typing import Any

from planner.page import words
from planner.page.chart import chart
from planner.page.hourwords import hours_list
from planner.page.marks import caution_mark, name, text
from planner.page.weather_words import alert_parts, weather_figures, weather_notes
from planner.river.records import River
from planner.units import show

__all__ = ["cautions", "expected_sentence", "gauge_sentence", "hours", "levels", "river_and_day"]


def _reason_rows(reasons: list[dict[str, Any]]) -> str:
    return "".join(
        f"<li>{caution_mark({'level': r['level'], 'label': words.LEVEL_WORDS.get(r['level'], '')})} "
        f"<span>{text(r.get('text') or '')}</span></li>"
        for r in reasons
    )


def cautions(plan: dict[str, Any]) -> str:
    """The day's caution; what does not fit a phone's first screen folds away with its number and level in sight."""
    caution = plan.get("caution") or {}
    low = "".join(f"<li>{text(note)}</li>" for note in words.low_notes(caution))
    unmade = [text(r.get("text") or r.get("rule") or "") for r in words.missing(caution)]
    notes = [f"Low water: {text(n.get('text') or n.get('rule') or '')}" for n in words.missing_notes(caution)]
    reasons = words.raised(caution.get("reasons") or ())
    seen = words.in_sight(reasons)
    folded = reasons[seen:]
    return (
        '<section id="cautions" aria-labelledby="cautions-h"><h2 id="cautions-h" class="caution-head">'
        f"{caution_mark(caution, 'caution')}</h2>"
        '<p class="past" id="past" hidden></p>'
        f"{_alerts(plan)}"
        f'<ul class="reasons" data-k="reasons">{_reason_rows(reasons[:seen])}</ul>'
        f'<div class="folds"><details class="folded"{"" if folded else " hidden"} data-k="folded"><summary>'
        f'<span data-k="folded-count">{words.folded_words(len(folded))}</span></summary>'
        f'<ul class="reasons" data-k="folded-list">{_reason_rows(folded)}</ul></details>'
        f'<details class="folded"{"" if unmade or notes else " hidden"} data-k="unmade"><summary>Not assessed: '
        f'<span data-k="unmade-count">{len(unmade)}</span></summary>'
        f'<ul data-k="unmade-list">{"".join(f"<li>{row}</li>" for row in [*unmade, *notes])}</ul></details></div>'
        f'<ul class="low" data-k="low">{low}</ul>'
        f'<p class="standing"><span class="checks" data-k="checks">{text(words.unlisted_words(caution))}</span> '
        f"{text(' '.join(words.STANDING))}</p></section>"
    )


def _alerts(plan: dict[str, Any]) -> str:
    """What a service sent, word for word: the headline in sight, the rest folded under it."""
    rows = []
    for alert in alert_parts(plan):
        body = "".join(f'<p class="as-sent">{text(part)}</p>' for part in alert["body"])
        more = f'<details class="folded"><summary>Read it as sent</summary>{body}</details>' if body else ""
        rows.append(
            f'<li><q class="as-sent">{text(alert["quote"])}</q> <span class="credit-line">({text(alert["credit"])})'
            f"</span>{more}</li>"
        )
    if not rows:
        return ""
    return f'<div class="alerts"><h3>Alerts, relayed</h3><ul>{"".join(rows)}</ul></div>'


def _weather(plan: dict[str, Any], units: str) -> str:
    """Figures of the forecast over the hours, and our notes on what is missing."""
    said = [*weather_figures(plan, units), *weather_notes(plan)]
    if not said:
        return ""
    return f'<h3>Weather</h3><ul class="weather">{"".join(f"<li>{text(row)}</li>" for row in said)}</ul>'


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
    age = words.age_words(gauge.get("age_min"))
    return words.joined(
        (
            f"{gauge.get('id', '')}: {' and '.join(parts)}" + (f" at {at}" if at else ""),
            age if gauge.get("age_min") is None else f"{age} when planned",
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


def river_and_day(plan: dict[str, Any], river: River, units: str) -> str:
    """River, day and the last reading of each gauge with its age."""
    made = words.clock(plan.get("made_at"), river.timezone, with_day=True)
    invented = " (river and day are invented)" if river.extra.get("invented") is True else ""
    gauges = "".join(
        f'<p class="gauge">Last reading {text(gauge_sentence(gauge, river, units))}'
        f'<span class="age-now" data-gauge="{i}"></span></p>'
        for i, gauge in enumerate(plan.get("gauges") or ())
    )
    return (
        f'<header class="river"><h1>{name(plan.get("river") or river.name)}</h1>'
        f'<p class="day">{text(words.day_words(plan["for_day"]))}{invented}</p>{gauges}'
        f'<p class="expected">{text(expected_sentence(plan, river, units))} '
        f'<span class="made">Plan made {text(made)}.</span></p></header>'
    )


def levels(plan: dict[str, Any], data: dict[str, Any], river: River, units: str) -> str:
    """For each gauge with a ladder the slider, its buttons and the field to type into."""
    ladders = data["ladders"]
    turns = " ".join(words.note_text(note) for note in (plan.get("caution") or {}).get("turns") or ())
    said = f'<p class="turns">{text(turns)}</p>' if turns else ""
    if not ladders:
        return (
            '<section id="level" aria-labelledby="level-h"><h2 id="level-h">The gauge reads now</h2>'
            "<p>No ladder of levels could be worked out, so the page holds the planned answers alone.</p>"
            f"{said}</section>"
        )
    out = ['<section id="level" aria-labelledby="level-h"><h2 id="level-h">The gauge reads now</h2>']
    out += [_ladder(i, data, units) for i in range(len(ladders))]
    out.append(f'{said}<p class="answer needs-script" id="answer" role="status" aria-live="polite"></p>')
    out.append(
        "<noscript><p>Scripts are off: every answer below is for the planned level. Where the gauge reads something "
        "else, depth and countdown are not as written.</p></noscript></section>"
    )
    return "".join(out)


def hours(plan: dict[str, Any], data: dict[str, Any], river: River, units: str) -> str:
    """The expectation of each gauge over the trip's hours, in the order of the ladders."""
    texts, ladders = data["texts"], data["ladders"]
    gauges = [str(texts[ladder["gauge"]]) if ladder["gauge"] is not None else "" for ladder in ladders]
    gauges += [str(g.get("id") or "") for g in plan.get("gauges") or () if not ladders]
    drawn = "".join(chart(plan, river, gauge, units, i) for i, gauge in enumerate(gauges))
    beside = f"{hours_list(plan)}{_weather(plan, units)}"
    if not drawn and not beside:
        return ""
    return (
        f'<section class="hours" aria-labelledby="hours-h"><h2 id="hours-h">The hours to come</h2>{drawn}'
        f'<div class="beside">{beside}</div></section>'
    )


def _ladder(i: int, data: dict[str, Any], units: str) -> str:
    ladders, ladder = data["ladders"], data["ladders"][i]
    kind, unit = ladder["kind"], words.number_rule(ladder["kind"], units)[1]
    planned = show(ladder["planned"], kind, units) if ladder["planned"] is not None else "not known"
    which = f"Gauge {data['texts'][ladder['gauge']]}" if len(ladders) > 1 and ladder["gauge"] is not None else ""
    low, high = (show(ladder["at"][k], kind, units) for k in (0, -1))
    return (
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
