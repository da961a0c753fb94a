"""The tables of the page: spots, runs, rods, and the empty card that the script fills."""

from __future__ import annotations

from typing import Any

from planner.page import words
from planner.page.marks import caution_mark, name, swatch, text
from planner.river.records import River
from planner.units import show

__all__ = ["cast_card", "rods", "run_card", "run_table", "spot_names", "spot_table"]


def spot_names(plan: dict[str, Any], river: River) -> dict[str, str]:
    """Number and name of each spot by its id, in the order of the plan."""
    known = {spot.id: spot for spot in river.spots}
    return {
        row["id"]: f"{i} {words.name_of(row, known.get(row['id']))}" for i, row in enumerate(plan.get("spots") or (), 1)
    }


def _section(key: str, title: str, content: str) -> str:
    return f'<section aria-labelledby="{key}-h"><h2 id="{key}-h">{title}</h2>{content}</section>'


def _cell(key: str, label: str, content: str) -> str:
    return f'<td role="cell" data-k="{key}" data-label="{label}">{content}</td>'


def spot_table(plan: dict[str, Any], river: River, units: str) -> str:
    """The spots at the planned level; a button in each row opens its card."""
    known = {spot.id: spot for spot in river.spots}
    rows = []
    for i, spot in enumerate(plan.get("spots") or ()):
        best = spot.get("best")
        label = words.name_of(spot, known.get(spot["id"]))
        line = text(best["line"]) if best else text(spot.get("none_because") or "No answer.")
        cells = [
            _cell("caution", "Caution", caution_mark(spot.get("caution"), short=True)),
            _cell("count", "Count", text(words.count_words(best))),
            _cell("line", "Line", line),
            _cell("fly", "Fly", text(words.fly_words(best, units))),
            _cell("strip", "Strip", text(show(best.get("strip_m_s"), "strip", units)) if best else "–"),
            _cell("depth", "Depth", text(show(spot.get("depth_m"), "depth", units))),
            _cell("speed", "Current", text(show(spot.get("velocity_m_s"), "speed", units))),
            _cell("touch", "Touch", text(words.percent(best.get("touch_chance"))) if best else "–"),
        ]
        at = words.clock(spot.get("at"), river.timezone)
        rows.append(
            f'<tr role="row" data-spot="{i}"{"" if best else " class=none"}><th role="rowheader" scope="row">'
            f'<span class="number">{i + 1}</span> {name(label)} <span class="at">{text(at)}</span></th>'
            f'{"".join(cells)}<td role="cell" class="open-cell needs-script"><button type="button" class="open" '
            f'data-open="{i}" aria-haspopup="dialog">Open <span class="hide">{name(label)}</span></button></td></tr>'
        )
    if not rows:
        return _section("spots", "Spots", "<p>No spot is drawn in this river folder.</p>")
    heads = ("Spot", "Caution", "Count", "Line", "Fly", "Strip", "Depth", "Current", "Touch")
    head = "".join(f'<th role="columnheader" scope="col">{word}</th>' for word in heads)
    return (
        '<section class="spots" aria-labelledby="spots-h"><h2 id="spots-h">Spots</h2><table role="table" id="spots">'
        '<caption>Where to cast, with what, and how long to let it sink. <span data-k="table-level"></span></caption>'
        f'<thead role="rowgroup"><tr role="row">{head}<td role="cell" class="open-cell needs-script"></td></tr></thead>'
        f'<tbody role="rowgroup">{"".join(rows)}</tbody></table></section>'
    )


def run_table(plan: dict[str, Any], river: River, units: str) -> str:
    """The runs at the planned level, with what their soundings are worth."""
    rows = []
    for i, run in enumerate(plan.get("runs") or ()):
        depth, speed = run.get("mean_depth_m"), run.get("velocity_used_m_s")
        worth = f"{run.get('soundings') or 0} soundings"
        if run.get("bed_error_m") is not None:
            worth += f", bed known to about {show(run['bed_error_m'], 'depth', units)}"
        cells = [
            _cell("caution", "Caution", caution_mark(run.get("caution"), short=True)),
            _cell(
                "depth",
                "Mean depth",
                f"{swatch('depth', words.class_letter(depth, 'depth', units))} {text(show(depth, 'depth', units))}",
            ),
            _cell(
                "speed",
                "Current",
                f"{swatch('speed', words.class_letter(speed, 'speed', units))} "
                f"{text(words.span(run.get('velocity_low_m_s'), run.get('velocity_high_m_s'), 'speed', units))}",
            ),
            _cell("level", "Level", text(_level(run.get("level_m"), units))),
            _cell("worth", "Bed", text(worth)),
        ]
        rows.append(
            f'<tr role="row" data-run="{i}"><th role="rowheader" scope="row">{name(words.name_of(run))}</th>'
            f'{"".join(cells)}<td role="cell" class="open-cell needs-script"><button type="button" class="open" '
            f'data-open-run="{i}" aria-haspopup="dialog">Open <span class="hide">{name(words.name_of(run))}</span>'
            "</button></td></tr>"
        )
    if not rows:
        return _section("runs", "Runs", "<p>No run is drawn in this river folder.</p>")
    heads = ("Run", "Caution", "Mean depth", "Current", "Level", "Bed")
    head = "".join(f'<th role="columnheader" scope="col">{word}</th>' for word in heads)
    return (
        '<section class="runs" aria-labelledby="runs-h"><h2 id="runs-h">Runs</h2><table role="table" id="runs">'
        "<caption>Mean depth, range of the current, and the water's level against the day it was sounded.</caption>"
        f'<thead role="rowgroup"><tr role="row">{head}<td role="cell" class="open-cell needs-script"></td></tr></thead>'
        f'<tbody role="rowgroup">{"".join(rows)}</tbody></table></section>'
    )


def _level(level: float | None, units: str) -> str:
    if level is None:
        return "unknown"
    shown = show(abs(level), "depth", units)
    return f"{'+' if level >= 0 else '−'}{shown}"


def rods(plan: dict[str, Any], river: River) -> str:
    """The rods to rig for the day."""
    found = plan.get("rods") or []
    if not found:
        return ""
    names = spot_names(plan, river)
    rows = []
    for rod in found:
        flies = ", ".join(text(fly) for fly in rod.get("flies") or ())
        at = [names.get(spot, spot).split(" ")[0] for spot in rod.get("spots") or ()]
        where = f"{'spot' if len(at) == 1 else 'spots'} {text(', '.join(at))}" if at else ""
        served = f" – {where}" if where else ""
        rows.append(f"<li><b>{text(rod.get('line') or '')}</b>{f': {flies}' if flies else ''}{served}</li>")
    return _section("rods", "Rods to rig", f'<ol class="rods">{"".join(rows)}</ol>')


def _card(key: str, ladders: list[dict[str, Any]], foot: str) -> str:
    """An empty card: name, close, cautions, level with its step buttons, body, foot."""
    steps = (
        '<div class="card-level"><button type="button" data-card-step="-1" aria-label="Gauge one step lower">−</button>'
        '<span data-k="card-level" role="status"></span>'
        '<button type="button" data-card-step="1" aria-label="Gauge one step higher">+</button></div>'
        if ladders
        else ""
    )
    return (
        f'<dialog id="{key}" aria-labelledby="{key}-h"><div class="card-top"><h2 id="{key}-h" tabindex="-1"></h2>'
        f'<button type="button" id="{key}-close" aria-label="Close the card">Close</button></div>'
        f'<div data-k="card-caution"></div>{steps}<div id="{key}-body"></div>{foot}</dialog>'
    )


def cast_card(ladders: list[dict[str, Any]]) -> str:
    """The empty card of a spot; the script fills it with text alone."""
    outcomes = "".join(
        f'<button type="button" data-outcome="{key}">{key.capitalize()}</button>'
        for key in ("clean", "touched", "hung", "caught")
    )
    log = (
        '<section id="card-log" class="card-log" aria-labelledby="card-log-h"><h3 id="card-log-h" class="hide">Log '
        f'this cast</h3><p id="card-log-says" role="status"></p><div class="outcomes">{outcomes}</div></section>'
    )
    foot = (
        '<div class="counted"><button type="button" data-count="-1" aria-label="Counted one second less">−</button>'
        '<span>For the log: counted <b id="counted"></b></span>'
        '<button type="button" data-count="1" aria-label="Counted one second more">+</button></div>'
        '<div class="card-foot"><button type="button" data-go="-1">Spot before</button>'
        f'<button type="button" data-go="1">Next spot</button></div>{log}'
    )
    return _card("card", ladders, foot)


def run_card(ladders: list[dict[str, Any]]) -> str:
    """The empty card of a run; the script fills it with text alone."""
    foot = (
        '<div class="card-foot"><button type="button" data-go="-1">Run before</button>'
        '<button type="button" data-go="1">Next run</button></div>'
    )
    return _card("run-card", ladders, foot)
