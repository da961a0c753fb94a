"""The float plan as plain text and as a page to print; personal data stand in these two files and nowhere else."""

from __future__ import annotations

import html
import textwrap
from datetime import datetime
from zoneinfo import ZoneInfo

from planner.trip.floatplan import FloatPlan

__all__ = ["float_plan_html", "float_plan_text"]

_WIDE = 88
_STYLE = """
body{font:11pt/1.35 sans-serif;color:#000;background:#fff;max-width:190mm;margin:8mm auto;padding:0 4mm}
h1{font-size:16pt;margin:0 0 2mm}h2{font-size:12pt;margin:5mm 0 1mm;border-bottom:1px solid #000}
.call{border:3px solid #000;padding:2mm 4mm;margin:3mm 0}.call li{margin:1.5mm 0}
dl{display:grid;grid-template-columns:52mm 1fr;gap:1mm 3mm;margin:0}
dt{font-weight:bold}dd{margin:0;overflow-wrap:anywhere}
section{break-inside:avoid}
@media print{body{margin:0}@page{margin:12mm}}
@media(max-width:600px){dl{grid-template-columns:1fr}dd{margin-bottom:2mm}}
"""


def _times(plan: FloatPlan, zone: str) -> tuple[str, str]:
    def clock(moment: datetime) -> str:
        return f"{moment.astimezone(ZoneInfo(zone)):%H:%M on %d %B}"

    return clock(plan.first_call), clock(plan.second_call)


def float_plan_text(plan: FloatPlan, zone: str) -> str:
    """The float plan for a message or a plain printer.

    Parameters
    ----------
    plan : FloatPlan
        As laid out.
    zone : str
        The river's zone (zoneinfo key).
    """
    first, second = _times(plan, zone)
    out = [plan.title.upper(), "=" * min(len(plan.title), _WIDE), *textwrap.wrap(plan.lead, _WIDE), ""]
    out.append(f"CALL THE PARTY BY {first}. CALL FOR HELP BY {second}.")
    for number, step in enumerate(plan.steps, 1):
        out += textwrap.wrap(step, _WIDE, initial_indent=f"{number}. ", subsequent_indent="   ")
    for section in plan.sections:
        out += ["", section.title.upper()]
        for label, value in section.rows:
            out += textwrap.wrap(f"{label}: {value}", _WIDE, initial_indent="  ", subsequent_indent="      ")
    return "\n".join(out) + "\n"


def float_plan_html(plan: FloatPlan, zone: str) -> str:
    """The float plan as a whole HTML page that loads nothing from anywhere.

    Parameters
    ----------
    plan : FloatPlan
        As laid out.
    zone : str
        The river's zone (zoneinfo key).
    """
    first, second = _times(plan, zone)

    def plain(text: str) -> str:
        return html.escape(text, quote=True)

    steps = "".join(f"<li>{plain(step)}</li>" for step in plan.steps)
    parts = []
    for section in plan.sections:
        rows = "".join(f"<dt>{plain(label)}</dt><dd>{plain(value)}</dd>" for label, value in section.rows)
        parts.append(f"<section><h2>{plain(section.title)}</h2><dl>{rows}</dl></section>")
    return (
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
        "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">"
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">"
        f"<title>{plain(plan.title)}</title><style>{_STYLE}</style></head><body><main>"
        f"<h1>{plain(plan.title)}</h1><p>{plain(plan.lead)}</p>"
        f"<div class=\"call\"><p><strong>Call the party by {plain(first)}. "
        f"Call for help by {plain(second)}.</strong></p>"
        f"<ol>{steps}</ol></div>{''.join(parts)}</main></body></html>\n"
    )  # fmt: skip
