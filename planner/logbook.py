"""Add to the log of a river folder: one entry from options or answers, or a file saved from the page."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.errors import DataUnfit, UsageMistake
from planner.files import read_bounded
from planner.units import parse

if TYPE_CHECKING:
    from planner.river import River

__all__ = ["OUTCOMES", "added_log", "asked_entry", "entry_of", "log_entries", "log_text", "rows_of_text"]

OUTCOMES = ("clean", "touched", "hung")
_LESSON = ("line", "fly", "countdown_s")  # what a swim must tell for a plan to learn from it
_SAME = ("spot", "time", "line", "fly", "countdown_s", "touched", "hung")


def entry_of(
    river: River,
    now: datetime,
    *,
    spot: str,
    outcome: str,
    countdown: float | None = None,
    line: str = "",
    fly: str = "",
    at: str | None = None,
    level: str = "",
    mode: str = "",
    strip: str = "",
    caught: int = 0,
    note: str = "",
) -> dict[str, str]:
    """One entry as a row of log.csv.

    Parameters
    ----------
    river : River
        The folder: spot, line and fly must be in it.
    now : datetime
        Taken as the time when `at` is not given.
    spot, line, fly : str
        Id of the spot, names as in the box.
    outcome : str
        ``clean``, ``touched`` or ``hung``.
    countdown : float, optional
        Seconds counted [s].
    at : str, optional
        When, ISO 8601; without an offset in the river's zone.
    level, strip : str
        Gauge level and strip pace with their units; empty not known.
    mode : str
        ``held``, ``fed`` or ``mended``; empty not known.
    caught : int
        Fish.

    Raises
    ------
    UsageMistake
        When one of them is not in the folder or cannot be read.
    """
    from planner.plan.ask import asked_level, moment

    _among(spot, [one.id for one in river.spots], "--spot", "spots.geojson")
    if line:
        _among(line, [one.name for one in river.tackle.lines], "--line", "the box")
    if fly:
        _among(fly, [one.name for one in river.tackle.flies], "--fly", "the box")
    _among(outcome, list(OUTCOMES), "outcome", "the outcomes")
    if level:
        asked_level(level)
    pace = "" if not strip else f"{parse(strip, 'm/s', '--strip'):.3g}"
    from zoneinfo import ZoneInfo

    when = (now if at is None else moment(at, river.timezone)).astimezone(ZoneInfo(river.timezone))
    return {
        "spot": spot,
        "time": when.isoformat(timespec="seconds"),
        "level": level,
        "line": line,
        "fly": fly,
        "countdown_s": "" if countdown is None else f"{countdown:g}",
        "touched": "no" if outcome == "clean" else "yes",
        "caught": str(caught),
        "note": note,
        "hung": "yes" if outcome == "hung" else "no",
        "countdown_mode": mode,
        "strip_m_s": pace,
    }


def _among(given: str, known: Sequence[str], what: str, where: str) -> None:
    if given not in known:
        raise UsageMistake(f"{what} {given!r} is not in {where}", f"one of: {', '.join(known) or 'none'}", "correct it")


def asked_entry(river: River, now: datetime, prompt: Callable[..., Any]) -> dict[str, str]:
    """One entry by questions.

    Parameters
    ----------
    river : River
        The folder.
    now : datetime
        The clock.
    prompt : callable
        Asks with a text, and ``default`` and ``choices`` by name; gives the answer as text.
    """

    def pick(text: str, names: Sequence[str]) -> str:
        return str(prompt(text, choices=list(names), default=names[0]))

    from zoneinfo import ZoneInfo

    clock = now.astimezone(ZoneInfo(river.timezone))
    if not river.spots:
        raise UsageMistake("a river folder without spots", "a spot in spots.geojson", "draw one")
    spot = pick("Spot", [one.id for one in river.spots])
    line = pick("Line", [one.name for one in river.tackle.lines])
    fly = pick("Fly", [one.name for one in river.tackle.flies])
    seconds = str(prompt("Seconds counted before the first strip", default="0"))
    try:
        countdown = float(seconds)
    except ValueError as error:
        raise UsageMistake(f"{seconds!r} is no number of seconds", "a number", "answer again") from error
    return entry_of(
        river,
        now,
        spot=spot,
        line=line,
        fly=fly,
        countdown=countdown,
        mode=pick("Line held, fed or mended in the count", ["held", "fed", "mended"]),
        strip=str(prompt("Strip with unit, e.g. 1.5 ft/s (empty: not known)", default="")).strip(),
        outcome=pick("The swim was", OUTCOMES),
        caught=int(str(prompt("Fish", default="0")).strip() or 0),
        level=str(prompt("Gauge level with unit (empty: what the gauge read)", default="")).strip(),
        at=str(prompt("When (ISO 8601)", default=clock.isoformat(timespec="minutes"))),
        note=str(prompt("Note", default="")).strip(),
    )


def _rows_of(path: Path) -> list[dict[str, str]]:
    """Rows of a file with the columns of log.csv."""
    try:
        text = read_bounded(path).decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise DataUnfit(f"{path} could not be read", "a file saved from the page", "give its path") from error
    return rows_of_text(text, path.name)


def rows_of_text(text: str, name: str = "the entries") -> list[dict[str, str]]:
    """Rows of a text with the columns of log.csv; `name` for messages.

    Raises
    ------
    DataUnfit
        When a row cannot be read.
    """
    from planner.river.depths import parse_log
    from planner.river.values import Notebook

    notes = Notebook()
    table = parse_log(text, notes)
    wrong = [finding for finding in notes.findings if finding.level == "error"]
    if wrong:
        raise DataUnfit(
            f"{name}, {wrong[0].where}: {wrong[0].given}",
            wrong[0].need,
            f"{wrong[0].next_step}; nothing was added",
        )
    return [{str(k): str(v) for k, v in row.items() if k != "file_line"} for row in table.to_dict("records")]


def log_entries(folder: Path, rows: Sequence[dict[str, str]], files: Sequence[Path] = ()) -> dict[str, Any]:
    """Add rows and rows of files to log.csv; a row that stands there already is not added again.

    Returns
    -------
    dict
        ``added``, ``already_there``, ``entries`` (in the log now), ``unknown_spots``, ``silent`` (rows that no plan
        learns from) and ``not_told`` (the columns that they lack), ``rows`` added.
    """
    from planner.files import sole_writer, write_whole
    from planner.river import read_river

    given = [*rows, *(row for path in files for row in _rows_of(path))]
    with sole_writer(folder):  # from reading to writing, so that no entry of another process is lost
        text, report = added_log(read_river(folder), given)
        if text is not None:
            write_whole(Path(folder) / "log.csv", text)
    return report


def added_log(river: River, rows: Sequence[dict[str, str]]) -> tuple[str | None, dict[str, Any]]:
    """Text of log.csv with rows below its own (None when all are there already), and a report as of `log_entries`."""
    import pandas as pd

    from planner.river.write_rows import log_text as text_of

    table = river.log
    have = {_key(row) for row in table.to_dict("records")}
    new: list[dict[str, str]] = []
    seen = 0
    for row in rows:
        if _key(row) in have:
            seen += 1
            continue
        have.add(_key(row))
        new.append(row)
    text: str | None = None
    if new:
        added = pd.DataFrame(new, dtype=object)
        last = int(table["file_line"].max()) if len(table) else 1
        added["file_line"] = range(last + 1, last + 1 + len(new))
        columns = [
            *(c for c in table.columns if c != "file_line"),
            *(c for c in added.columns if c not in table.columns),
        ]
        both = pd.concat([table, added], ignore_index=True) if len(table) else added
        both = both.reindex(columns=[*columns, "file_line"])
        both[columns] = both[columns].astype(object).where(both[columns].notna(), "")
        text = text_of(replace(river, log=both)) or ""
    known = {spot.id for spot in river.spots}
    return text, {
        "added": len(new),
        "already_there": seen,
        "entries": len(table) + len(new),
        "unknown_spots": sorted({row.get("spot", "") for row in new} - known),
        "not_told": sorted({name for row in new for name in _LESSON if not str(row.get(name, "") or "").strip()}),
        "silent": sum(any(not str(row.get(name, "") or "").strip() for name in _LESSON) for row in new),
        "rows": new,
    }


def _key(row: Any) -> tuple[str, ...]:
    def cell(name: str) -> str:
        value = row.get(name, "")
        text = "" if value is None or value != value else str(value).strip()
        return text or ("no" if name == "hung" else "")

    return tuple(cell(name) for name in _SAME)


def log_text(report: dict[str, Any]) -> str:
    """What was added, for a person."""
    words = [f"{report['added']} added, {report['already_there']} there already; log.csv holds {report['entries']}."]
    if report["unknown_spots"]:
        words.append(f"Not among your spots: {', '.join(report['unknown_spots'])}.")
    silent = report["silent"]
    if silent:
        missing = ", ".join(name.removesuffix("_s") for name in report["not_told"])
        words.append(f"{silent} of them without {missing}: no plan learns from {'it' if silent == 1 else 'these'}.")
    if report["added"] > silent:
        words.append("The next plan learns from them; --no-learning leaves them aside, deleting the rows undoes it.")
    if report["rows"]:
        out = io.StringIO()
        table = csv.writer(out, lineterminator="\n")
        for row in report["rows"]:
            table.writerow(
                ["  " + row.get("spot", ""), *(row.get(n, "") for n in ("time", "line", "fly", "countdown_s"))]
            )
        words.append(out.getvalue().rstrip("\n"))
    return "\n".join(words)
