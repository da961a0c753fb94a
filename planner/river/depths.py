"""Parse soundings.csv and log.csv, row by row with its line number."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.river.shapes import outside_degrees
from planner.river.values import Notebook, instant, limits, short
from planner.units import FOOT

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["LOG_COLUMNS", "LOG_FILE", "SOUNDINGS_FILE", "SOUNDING_COLUMNS", "parse_log", "parse_soundings", "read_rows"]

SOUNDINGS_FILE = "soundings.csv"
LOG_FILE = "log.csv"
SOUNDING_COLUMNS = ("lon", "lat", "depth_m", "taken_at", "stage_m", "method", "draft_m", "note", "line")
LOG_COLUMNS = ("spot", "time", "level", "line", "fly", "countdown_s", "touched", "caught", "note")
_READ = {"lon", "lat", "depth_m", "depth_ft", "taken_at", "stage_m", "stage_ft", "method", "draft_m", "note"}


def read_rows(text: str, file: str, notes: Notebook) -> tuple[list[str], list[list[str]], list[int]] | None:
    """Header, rows and the line number of each row; None with an error when there is no table at all.

    Blank lines are skipped. A row with too few or too many fields is an error that names its line.
    """
    reader = csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""))
    header: list[str] = []
    rows: list[list[str]] = []
    lines: list[int] = []
    try:
        last = 0
        for row in reader:
            start, last = last + 1, reader.line_num
            if not row or (len(row) == 1 and not row[0].strip()):
                continue
            if not header:
                header = [name.strip() for name in row]
                if len(header) == 1 and re.search(r"[;\t]", header[0]):
                    notes.add(
                        "error", file, f"line {start}", f"the header is {short(header[0])}", "columns parted by commas",
                        "save it as CSV with commas and decimal points",
                    )  # fmt: skip
                    return None
                continue
            if len(row) != len(header):
                notes.add(
                    "error", file, f"line {start}", f"{len(row)} fields under {len(header)} columns",
                    "one field per column", "correct the row; a decimal comma counts as a field", kind="fields",
                )  # fmt: skip
                continue
            rows.append(row)
            lines.append(start)
    except csv.Error as error:
        notes.add("error", file, f"line {reader.line_num}", f"not readable as CSV: {error}", "CSV", "correct that line")
        return None
    if not header:
        notes.add("error", file, "", "the file is empty", "a header line", "add the header or delete the file")
        return None
    doubled = sorted({name for name in header if header.count(name) > 1})
    if doubled:
        notes.add(
            "error",
            file,
            "header",
            f"column {', '.join(doubled)} stands twice",
            "each column once",
            "rename one of them",
        )
        return None
    return header, rows, lines


def _numbers(
    texts: Sequence[str], lines: list[int], column: str, notes: Notebook, *, needed: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Floats of a column and a mask of the unreadable ones; an empty field is NaN, and an error where needed."""
    try:
        if any("_" in text for text in texts):  # Python's own digit grouping is no CSV number
            raise ValueError
        values = np.array(texts, dtype=np.float64)
    except ValueError:
        values = np.empty(len(texts))
        for position, text in enumerate(texts):
            try:
                values[position] = float(text.replace("_", "x")) if text.strip() else np.nan
            except ValueError:
                values[position] = np.inf
    bad = np.isinf(values)
    if needed:
        bad |= np.isnan(values)
    else:
        written = np.array([text.strip() != "" for text in texts], dtype=bool)
        bad |= np.isnan(values) & written
    for position in np.flatnonzero(bad).tolist():
        notes.add(
            "error", SOUNDINGS_FILE, f"line {lines[position]}", f"{column} = {short(texts[position])}",
            f"{column} as a number", "correct the field; the decimal sign is a point", kind=f"number {column}",
        )  # fmt: skip
    return np.where(bad, np.nan, values), bad


def parse_soundings(text: str, notes: Notebook) -> pd.DataFrame:
    """Soundings of a CSV text.

    Parameters
    ----------
    text : str
        The file's text: ``lon,lat,depth_m|depth_ft,taken_at[,stage_m|stage_ft,method,draft_m,note]``.
    notes : Notebook
        Where findings go.

    Returns
    -------
    pandas.DataFrame
        Columns as in `River.soundings`, in file order, rows with an error left out.
    """
    file = SOUNDINGS_FILE
    table = read_rows(text, file, notes)
    if table is None:
        return no_soundings()
    header, rows, lines = table
    for name, pair in (("depth", ("depth_m", "depth_ft")), ("stage", ("stage_m", "stage_ft"))):
        if set(pair) <= set(header):
            notes.add(
                "error", file, "header", f"both {pair[0]} and {pair[1]}", f"one column of {name}", "delete one of them"
            )
            return no_soundings()
    depth_name = "depth_ft" if "depth_ft" in header else "depth_m"
    missing = [name for name in ("lon", "lat", depth_name) if name not in header]
    if missing:
        wanted = "depth_m or depth_ft" if missing == ["depth_m"] else ", ".join(missing)
        notes.add("error", file, "header", f"no column {wanted}", "columns lon, lat and depth_m or depth_ft", "add it")
        return no_soundings()
    index = {name: position for position, name in enumerate(header)}

    columns = list(zip(*rows, strict=True)) or [()] * len(header)

    def texts(name: str) -> Sequence[str]:
        return columns[index[name]]

    lon, bad_lon = _numbers(texts("lon"), lines, "lon", notes, needed=True)
    lat, bad_lat = _numbers(texts("lat"), lines, "lat", notes, needed=True)
    bad = bad_lon | bad_lat
    beyond = ~bad & ((np.abs(lon) > 180) | (np.abs(lat) > 90))
    for position in np.flatnonzero(beyond).tolist():
        notes.add(
            "error", file, f"line {lines[position]}", *outside_degrees(lon[position], lat[position]), kind="degrees"
        )
    bad |= beyond
    depth_texts = texts(depth_name)
    depth, bad_depth = _numbers(depth_texts, lines, depth_name, notes, needed=True)
    bad |= bad_depth
    depth = depth * (FOOT if depth_name == "depth_ft" else 1.0)
    for position in np.flatnonzero(~bad & (depth < 0)).tolist():
        notes.add(
            "error", file, f"line {lines[position]}", f"{depth_name} = {depth_texts[position].strip()} is negative",
            "depth positive down", "write the depth below the water surface without a sign", kind="negative",
        )  # fmt: skip
    bad |= depth < 0
    stage_name = next((name for name in ("stage_m", "stage_ft") if name in header), "")
    stage = np.full(len(rows), np.nan)
    if stage_name:
        stage, wrong = _numbers(texts(stage_name), lines, stage_name, notes, needed=False)
        stage = stage * (FOOT if stage_name == "stage_ft" else 1.0)
        bad |= wrong | _bounds(stage, "sounding_stage_m", stage_name, lines, notes)
    draft = np.full(len(rows), np.nan)
    if "draft_m" in header:
        draft, wrong = _numbers(texts("draft_m"), lines, "draft_m", notes, needed=False)
        bad |= wrong | _bounds(draft, "draft_m", "draft_m", lines, notes)
    taken, wrong = _times(texts("taken_at") if "taken_at" in header else [""] * len(rows), lines, notes)
    bad |= wrong

    import pandas as pd

    keep = np.flatnonzero(~bad)
    blank = [""] * len(rows)
    frame = pd.DataFrame(
        {
            "lon": lon,
            "lat": lat,
            "depth_m": depth,
            "taken_at": pd.DatetimeIndex(taken.astype("datetime64[ns]")).tz_localize("UTC"),
            "stage_m": stage,
            "method": np.array(texts("method") if "method" in header else blank, dtype=object),
            "draft_m": np.where(np.isnan(draft), 0.0, draft),
            "note": np.array(texts("note") if "note" in header else blank, dtype=object),
            "line": np.array(lines, dtype=np.int64),
            **{
                name: np.array(texts(name), dtype=object)
                for name in header
                if name not in _READ and name not in SOUNDING_COLUMNS and name
            },
        }
    )
    frame = frame.iloc[keep].reset_index(drop=True)
    _count_undated(frame, notes)
    return frame


def no_soundings() -> pd.DataFrame:
    """A soundings table with no row."""
    import pandas as pd

    kinds: dict[str, Any] = {"taken_at": "datetime64[ns, UTC]", "method": object, "note": object, "line": np.int64}
    columns: dict[str, Any] = {name: pd.Series([], dtype=kinds.get(name, np.float64)) for name in SOUNDING_COLUMNS}
    return pd.DataFrame(columns)


def _bounds(values: np.ndarray, quantity: str, column: str, lines: list[int], notes: Notebook) -> np.ndarray:
    """Judge a column [SI] against the plausible bounds; mask of those beyond the error bounds."""
    bound = limits(quantity)
    with np.errstate(invalid="ignore"):
        broken = (values < bound.error_low) | (values > bound.error_high)
        odd = (values < bound.warn_low) | (values > bound.warn_high)
    for position in np.flatnonzero(broken | odd):
        notes.plausible(float(values[position]), quantity, column, SOUNDINGS_FILE, f"line {lines[position]}")
    return broken


def _times(texts: Sequence[str], lines: list[int], notes: Notebook) -> tuple[np.ndarray, np.ndarray]:
    """UTC seconds of a column of ISO 8601 times with offset, and a mask of the unreadable ones."""
    known: dict[str, np.datetime64 | None] = {"": np.datetime64("NaT", "s")}
    taken = np.full(len(texts), np.datetime64("NaT", "s"))
    wrong = np.zeros(len(texts), dtype=bool)
    for position, text in enumerate(texts):
        if text not in known:
            moment = instant(text) if text.strip() else None
            known[text] = (
                np.datetime64(moment.replace(tzinfo=None), "s")
                if moment is not None and 1700 <= moment.year <= 2200
                else (None if text.strip() else known[""])
            )
        value = known[text]
        if value is None:
            wrong[position] = True
            notes.add(
                "error", SOUNDINGS_FILE, f"line {lines[position]}", f"taken_at = {short(text)}",
                "an ISO 8601 time with offset", "write it like 2026-05-09T09:30:00-05:00", kind="when",
            )  # fmt: skip
        else:
            taken[position] = value
    return taken, wrong


def _count_undated(frame: pd.DataFrame, notes: Notebook) -> None:
    undated = frame["taken_at"].isna() & frame["stage_m"].isna()
    if undated.any():
        first = ", ".join(str(line) for line in frame.loc[undated, "line"].head(5))
        more = " and more" if int(undated.sum()) > 5 else ""
        notes.add(
            "warning", SOUNDINGS_FILE, f"lines {first}{more}",
            f"{int(undated.sum())} of {len(frame)} soundings have neither taken_at nor a stage: left out of the bed",
            "the moment of each sounding, or the gauge's stage at it", "add taken_at with offset, or a stage column",
        )  # fmt: skip


def parse_log(text: str, notes: Notebook) -> pd.DataFrame:
    """The log as text, columns as in the file, with `file_line`, the line number of each row."""
    import pandas as pd

    table = read_rows(text, LOG_FILE, notes)
    if table is None:
        return no_log()
    header, rows, lines = table
    missing = [name for name in ("spot", "time") if name not in header]
    if missing:
        notes.add("error", LOG_FILE, "header", f"no column {', '.join(missing)}", "columns spot and time", "add them")
        return no_log()
    when = header.index("time")
    for row, line in zip(rows, lines, strict=True):
        if row[when].strip() and instant(row[when]) is None:
            notes.add(
                "error", LOG_FILE, f"line {line}", f"time = {short(row[when])}", "an ISO 8601 time with offset",
                "write it like 2026-06-12T07:40:00-05:00", kind="when",
            )  # fmt: skip
    data: dict[str, Any] = {
        name: np.array([row[position] for row in rows], dtype=object) for position, name in enumerate(header) if name
    }
    return pd.DataFrame({**data, "file_line": np.array(lines, dtype=np.int64)})


def no_log() -> pd.DataFrame:
    """A log with no row."""
    import pandas as pd

    columns: dict[str, Any] = {name: pd.Series(dtype=object) for name in LOG_COLUMNS}
    return pd.DataFrame({**columns, "file_line": pd.Series(dtype=np.int64)})
