"""The paper left ashore: a plan and the party's own file in, a float plan to print and to send out."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from planner.errors import DataUnfit, NotWritten
from planner.files import read_bounded
from planner.trip.floatplan import float_plan
from planner.trip.personal import (
    PERSONAL_FILE,
    keep_out_of_git,
    read_personal,
    write_private,
    write_template,
)

__all__ = ["Ashore", "latest_plan", "leave_ashore"]


@dataclass(frozen=True)
class Ashore:
    """A float plan as written.

    Parameters
    ----------
    page, text : Path
        The two files.
    first_call, second_call : str
        The hours on them, in the river's zone.
    blanks : tuple of str
        What is left to fill in by hand.
    template : Path or None
        The personal file, when it was made just now.
    """

    page: Path
    text: Path
    first_call: str
    second_call: str
    blanks: tuple[str, ...]
    template: Path | None


def latest_plan(folder: Path) -> Path:
    """The folder of the river's plan for the latest day.

    Raises
    ------
    DataUnfit
        When there is none.
    """
    found = sorted(Path(folder).glob("plans/*/plan.json"), key=lambda path: path.parent.name)
    if not found:
        raise DataUnfit("no plan was made for this river yet", "a plan", f"run: plumbrun plan {folder}", str(folder))
    return found[-1].parent


def leave_ashore(
    folder: Path,
    *,
    plan: Path | None = None,
    out: Path | None = None,
    units: str | None = None,
    now: datetime | None = None,
) -> Ashore:
    """Write the float plan, for this user's eyes only and out of version control.

    Parameters
    ----------
    folder : Path
        The river folder; ``floatplan.toml`` in it holds the party's own data.
    plan : Path, optional
        Folder with ``plan.json``; the river's latest when not given.
    out : Path, optional
        Where to write; ``FOLDER/floatplan`` when not given.
    units : str, optional
        ``us`` or ``metric``.
    now : datetime, optional
        When the paper is made; the clock's when not given.

    Raises
    ------
    DataUnfit
        When there is no plan, or a file cannot be read.
    NotWritten
        When a file cannot be written.
    """
    from zoneinfo import ZoneInfo

    from planner.page.floatplan import float_plan_html, float_plan_text
    from planner.river import read_river

    river = read_river(folder)
    source = (Path(plan) if plan is not None else latest_plan(folder)) / "plan.json"
    try:
        document = json.loads(read_bounded(source))
    except (OSError, ValueError) as error:
        raise DataUnfit(
            "no plan could be read", "a folder with plan.json", "make the plan again", str(source)
        ) from error
    target = Path(out) if out is not None else Path(folder) / "floatplan"
    try:
        made_now = write_template(Path(folder))
        target.mkdir(parents=True, exist_ok=True)
        if target.resolve() != (Path(folder) / "floatplan").resolve():
            keep_out_of_git(target)
    except OSError as error:
        raise NotWritten(
            f"the folder could not be made ({error.strerror})", "a folder that may be written to", "choose another",
            str(target),
        ) from error  # fmt: skip
    paper = float_plan(document, river, read_personal(folder), units or river.units, now or datetime.now(UTC))
    zone = str(document.get("timezone") or river.timezone)
    page, text = target / "floatplan.html", target / "floatplan.txt"
    write_private(page, float_plan_html(paper, zone))
    write_private(text, float_plan_text(paper, zone))
    first, second = (f"{t.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M}" for t in (paper.first_call, paper.second_call))
    return Ashore(page, text, first, second, paper.blanks, Path(folder) / PERSONAL_FILE if made_now else None)
