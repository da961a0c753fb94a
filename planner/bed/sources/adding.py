"""New soundings below those of a river folder's file, whose own lines keep their text."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import numpy as np

from planner.bed.sources.intake import Intake
from planner.bed.sources.records import Batch
from planner.errors import NotWritten
from planner.files import sole_writer, write_whole
from planner.river.depths import SOUNDINGS_FILE
from planner.units import FOOT

__all__ = ["append", "appended_text"]

_PLAIN = ("lon", "lat", "depth_m", "taken_at")


def append(river: Any, intake: Intake) -> list[Path]:
    """Write the new rows below those of soundings.csv, the file whole or not at all.

    Lines there keep their text and unknown columns stay; columns that the new rows need are added at the right, empty
    in the old lines. Depth and stage are written in the file's own unit.

    Parameters
    ----------
    river : planner.river.River
        The folder as read.
    intake : Intake
        What `take` brought.

    Returns
    -------
    list of Path
        The file, or nothing where there was nothing new.

    Raises
    ------
    NotWritten
        When the file cannot be written, or changed since the river was read.
    """
    path = Path(river.folder) / SOUNDINGS_FILE
    text = river.documents.get(SOUNDINGS_FILE)
    after = appended_text(text, intake)
    if after is None:
        return []
    with sole_writer(path.parent):
        _unchanged(path, text)
        write_whole(path, after)
    return [path]


def appended_text(text: str | None, intake: Intake) -> str | None:
    """Text of soundings.csv with the new rows below those of `text`, as in `append`; None where nothing is new."""
    batches = [one for one in intake.batches if len(one)]
    if not batches:
        return None
    old = (text or "").removeprefix("\ufeff")
    rows = list(csv.reader(io.StringIO(old, newline="")))
    head = next((i for i, row in enumerate(rows) if any(cell.strip() for cell in row)), -1)
    header = [cell.strip() for cell in rows[head]] if head >= 0 else []
    added = _needed(batches, header)
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\n")
    if added:
        # every old line gains empty fields; a file without a header gets one
        blank = [""] * len(added)
        lines = [line.rstrip("\r") for line in old.removesuffix("\n").split("\n")]
        if head < 0:
            write.writerow(added)
        elif '"' in old or len(lines) != len(rows):
            write.writerows(row + (added if i == head else blank) if row else row for i, row in enumerate(rows))
        else:
            ends = ["," + ",".join(added if i == head else blank) if row else "" for i, row in enumerate(rows)]
            out.write("".join(f"{line}{end}\n" for line, end in zip(lines, ends, strict=True)))
    else:
        out.write(old if not old or old.endswith("\n") else old + "\n")
    for one in batches:
        write.writerows(zip(*(_column(one, name) for name in header + added), strict=True))
    return ("\ufeff" if (text or "").startswith("\ufeff") else "") + out.getvalue()


def _unchanged(path: Path, text: str | None) -> None:
    try:
        there = path.read_bytes().decode("utf-8", errors="replace") if path.exists() else None
    except OSError as error:
        raise NotWritten(
            f"the file cannot be read ({error.strerror})", "a readable file", "check it", where=str(path)
        ) from error
    if (there or "").removeprefix("\ufeff") != (text or "").removeprefix("\ufeff"):
        raise NotWritten(
            "the file was changed after the river was read", "the file as it was read", "run the command again",
            where=str(path),
        )  # fmt: skip


def _needed(batches: list[Batch], header: list[str]) -> list[str]:
    """Columns that the new rows need and the file lacks, in order."""
    wanted = [name for name in _PLAIN if name not in header and not (name == "depth_m" and "depth_ft" in header)]
    if any(np.isfinite(one.stage_m).any() for one in batches) and not {"stage_m", "stage_ft"} & set(header):
        wanted.append("stage_m")
    for name in ("method", "draft_m", "note"):
        values = [getattr(one, name) for one in batches]
        filled = any((part != 0).any() if name == "draft_m" else (part != "").any() for part in values)
        if filled and name not in header:
            wanted.append(name)
    for one in batches:
        for name, texts in one.extra.items():
            if (texts != "").any() and name not in header and name not in wanted:
                wanted.append(name)
    return wanted


def _column(one: Batch, name: str) -> list[str]:
    """Fields of a column for the new rows."""
    if name in ("lon", "lat"):
        return [f"{value:.7f}" for value in getattr(one, name).tolist()]
    if name == "taken_at":
        known = ~np.isnat(one.taken_at)
        shown = np.datetime_as_string(one.taken_at.astype("datetime64[s]"), unit="s")
        return [f"{text}Z" if there else "" for text, there in zip(shown.tolist(), known.tolist(), strict=True)]
    unit = FOOT if name.endswith("_ft") else 1.0
    digits = 3 if unit == 1.0 else 2
    if name in ("depth_m", "depth_ft", "stage_m", "stage_ft", "draft_m"):
        values = getattr(one, name.removesuffix("_ft").removesuffix("_m") + "_m") / unit
        return [f"{value:.{digits}f}" if value == value else "" for value in values.tolist()]
    if name in ("method", "note"):
        return [str(value) for value in getattr(one, name)]
    texts = one.extra.get(name)
    return [""] * len(one) if texts is None else [str(value) for value in texts]
