"""The log on the page: what happened at each cast, kept by the browser and saved as a file for the river folder.

The file has the columns of log.csv and three more: ``hung`` (a hang is what costs a fly, a touch is not),
``countdown_mode`` and ``strip_m_s`` as the page advised them. ``level`` carries its unit, ``touched`` and ``hung`` read
yes or no, ``caught`` is a count.
"""

from __future__ import annotations

import hashlib
from typing import Any

from planner.river.records import River

__all__ = ["log_section", "trip_key"]


def trip_key(plan: dict[str, Any], river: River) -> str:
    """Name under which the browser keeps the log: the same for every plan of one river and day.

    A browser keeps one store for all files it opens from the disk, so the river's name and place are part of it.

    Parameters
    ----------
    plan : dict
        As ``plan.json``.
    river : River
        The river folder.
    """
    spots = ",".join(sorted(f"{s.stance_lonlat[0]:.3f} {s.stance_lonlat[1]:.3f}" for s in river.spots[:1]))
    seed = "|".join((str(plan.get("river") or river.name), *river.gauges, spots))
    return f"plumbrun-log-{str(plan['for_day'])[:10]}-{hashlib.sha256(seed.encode()).hexdigest()[:10]}"


def log_section() -> str:
    """The empty log; the script fills it."""
    return (
        '<section id="log" class="needs-script" aria-labelledby="log-h"><h2 id="log-h">Log</h2>'
        '<p id="log-says" role="status"></p><table class="plain" id="log-table" hidden>'
        "<caption>What happened, last cast first</caption><thead><tr>"
        '<th scope="col">At</th><th scope="col">Spot</th><th scope="col">Count</th><th scope="col">What</th>'
        '<td></td></tr></thead><tbody></tbody></table><div class="log-buttons">'
        '<button type="button" id="log-save" disabled>Save the log as a file</button> '
        '<button type="button" id="log-clear" disabled>Remove all</button></div>'
        '<details class="folded" id="log-copy" hidden><summary>The log as text to copy</summary>'
        '<label for="log-text">If the phone saves no file, copy this into log.csv of the river folder</label>'
        '<textarea id="log-text" rows="6" readonly></textarea></details></section>'
    )
