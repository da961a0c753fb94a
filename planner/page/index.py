"""The page over many rivers: the most cautious first, those that could not be planned named, a link to each plan.

Plain HTML and CSS with no script, so that it opens anywhere; names are text, signs are those of the plan's page.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from datetime import datetime
from importlib.resources import files
from typing import Any

from planner.page import words
from planner.page.marks import caution_mark, name, signs, text
from planner.units import show

__all__ = ["ORDER", "index_page"]

# Levels as they follow each other on the page. What was not assessed stands before what raised nothing: it may hide
# any level.
ORDER: tuple[int | None, ...] = (3, 2, 1, None, 0)

_STYLES = ("page.css", "index.css")


def index_page(rows: Sequence[dict[str, Any]], failed: Sequence[tuple[str, str]], made: datetime) -> str:
    """One HTML file over the plans of many rivers.

    Parameters
    ----------
    rows : sequence of dict
        One per planned river: ``name``, ``day``, ``timezone``, ``units``, ``level``, ``label``, ``reasons``,
        ``more_reasons``, ``checks``, ``assessed``, ``gauge``, ``stage_m``, ``discharge_m3s``, ``quality``,
        ``age_min``, ``spots``, ``answered``, ``page`` (relative address of its plan).
    failed : sequence of (name, reason)
        Rivers that could not be planned.
    made : datetime
        When the plans were made, UTC.
    """
    static = files("planner.page") / "static"
    style = "".join((static / sheet).read_text(encoding="utf-8") for sheet in _STYLES).replace("\r\n", "\n")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    groups = {level: sorted((r for r in rows if r["level"] == level), key=_by_name) for level in ORDER}
    every = len(rows) + len(failed)
    title = f"{len(rows)} of {every} rivers by caution" if failed else f"Rivers by caution: {every}"
    head = [
        '<section id="cautions" aria-labelledby="title"><h1 id="title">' + text(title) + "</h1>",
        f'<p class="made">Plans made {made:%Y-%m-%d %H:%M} UTC.</p><ul class="count">',
        *(_jump(level, len(groups[level])) for level in ORDER if groups[level] and level is not None and level > 0),
        f'<li><a href="#unplanned">Not planned: {len(failed)}</a></li>' if failed else "",
        *(_jump(level, len(groups[level])) for level in ORDER if groups[level] and not level),
        f'</ul><p class="standing">{text(" ".join(words.STANDING))}</p></section>',
    ]
    body = [_group(level, groups[level]) for level in ORDER if groups[level] and level]
    body.append(_unplanned(failed))
    body += [_group(level, groups[level]) for level in ORDER if groups[level] and not level]
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        f"style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'\">"
        f"<title>{text(title)}</title><style>{style}</style></head><body>"
        f"{signs()}<main>{''.join(head)}{''.join(body)}</main></body></html>\n"
    )


def _by_name(row: dict[str, Any]) -> tuple[str, str]:
    return str(row["name"]).casefold(), str(row["page"])


def _key(level: int | None) -> str:
    return "n" if level is None else str(level)


def _jump(level: int | None, count: int) -> str:
    mark = caution_mark({"level": level, "label": words.LEVEL_WORDS[level]}, short=True)
    return f'<li><a href="#level-{_key(level)}">{mark} <span>{count} river{"" if count == 1 else "s"}</span></a></li>'


def _group(level: int | None, rows: list[dict[str, Any]]) -> str:
    mark = caution_mark({"level": level, "label": words.LEVEL_WORDS[level]})
    key = _key(level)
    note = ""
    if level == 0:
        note = "<p>By the checks that could be made. This is not advice that a river is fit to use.</p>"
    return (
        f'<section aria-labelledby="level-{key}"><h2 id="level-{key}">{mark}</h2>{note}'
        f'<ul class="rivers">{"".join(_river(row) for row in rows)}</ul></section>'
    )


def _river(row: dict[str, Any]) -> str:
    mark = caution_mark({"level": row["level"], "label": row["label"]})
    more = row["more_reasons"]
    reasons = [f"<li>{text(reason)}</li>" for reason in row["reasons"]] + (
        [f"<li>and {more} more</li>"] if more else []
    )
    why = f'<ul class="why">{"".join(reasons)}</ul>' if reasons else ""
    read = [
        show(row[key], kind, row["units"])
        for key, kind in (("stage_m", "level"), ("discharge_m3s", "discharge"))
        if row[key] is not None
    ]
    gauge = words.joined(
        (
            f"{row['gauge']}: {' and '.join(read) if read else 'no reading'}",
            words.age_words(row["age_min"]),
            row["quality"] or "quality unknown",
        )
    )
    spots = f"{row['answered']} of {row['spots']} spots have an answer" if row["spots"] else "No spot is drawn"
    return (
        f'<li><h3>{mark}<a href="{text(row["page"])}">{name(row["name"])}</a></h3>{why}'
        f"<p>{text(words.day_words(row['day']))}. {row['assessed']} of {row['checks']} checks could be made. "
        f"{spots}.</p>"
        f'<p class="gauge">Last reading {text(gauge)}</p></li>'
    )


def _unplanned(failed: Sequence[tuple[str, str]]) -> str:
    if not failed:
        return ""
    rows = "".join(f"<dt>{name(who)}</dt><dd>{text(why)}</dd>" for who, why in failed)
    return (
        '<section aria-labelledby="unplanned"><h2 id="unplanned">Not planned</h2><div class="unplanned">'
        f"<p>Nothing was assessed for these rivers.</p><dl>{rows}</dl></div></section>"
    )
