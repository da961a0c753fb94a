"""Texts of soundings.csv and log.csv: rows as read keep their fields, unknown columns stay."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.river import depths
from planner.river.merge import same
from planner.river.records import River
from planner.river.values import Notebook
from planner.units import FOOT

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["log_text", "soundings_text"]


def _csv_text(header: list[str], rows: Iterable[Iterable[str]]) -> str:
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(header)
    table.writerows(rows)
    return out.getvalue()


def _shown(value: Any) -> str:
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, str):
        return value
    if hasattr(value, "isoformat"):
        return "" if value != value else str(value.isoformat())
    return repr(float(value)) if isinstance(value, float) else str(value)


def _frames_same(one: pd.DataFrame, two: pd.DataFrame) -> bool:
    if list(one.columns) != list(two.columns) or len(one) != len(two):
        return False
    for name in one.columns:
        equal = one[name].to_numpy() == two[name].to_numpy()
        if not np.all(equal | (one[name].isna().to_numpy() & two[name].isna().to_numpy())):
            return False
    return True


def _header(table: pd.DataFrame, given: list[str]) -> list[str]:
    """Columns of the file, then those that the table needs besides."""
    header = list(given) or ["lon", "lat", "depth_m", "taken_at"]
    need = [name for name in ("method", "note") if (table[name].fillna("").astype(str) != "").any()]
    if table["draft_m"].fillna(0.0).ne(0.0).any():
        need.append("draft_m")
    if table["stage_m"].notna().any() and not {"stage_m", "stage_ft"} & set(header):
        need.append("stage_m")
    if table["taken_at"].notna().any():
        need.append("taken_at")
    need += [name for name in table.columns if name not in depths.SOUNDING_COLUMNS]
    return header + [name for name in need if name not in header]


def soundings_text(river: River) -> str | None:
    """Text of soundings.csv; changed and new rows are written in the file's own units."""
    text, table = river.documents.get(depths.SOUNDINGS_FILE), river.soundings
    if text is None and not len(table):
        return None
    notes = Notebook()
    before = depths.parse_soundings(text, notes) if text is not None else depths.no_soundings()
    if text is not None and _frames_same(before, table):
        return text
    raw = depths.read_rows(text, depths.SOUNDINGS_FILE, notes) if text is not None else None
    given, rows, lines = raw or ([], [], [])
    header = _header(table, given)
    at = {name: position for position, name in enumerate(given)}
    fields = dict(zip(lines, rows, strict=True))
    as_read = {record["line"]: record for record in before.to_dict("records")}
    out = []
    for record in table.to_dict("records"):
        was, written = as_read.get(record["line"]), fields.get(record["line"])
        row = []
        for name in header:
            source = name.removesuffix("_ft") + "_m" if name in ("depth_ft", "stage_ft") else name
            value = record.get(source, "")
            if was is not None and written is not None and name in at and same(value, was.get(source, "")):
                row.append(written[at[name]])
            elif source != name:
                row.append(_shown(float(value) / FOOT))
            else:
                row.append(_shown(value))
        out.append(row)
    return _csv_text(header, out)


def log_text(river: River) -> str | None:
    """Text of log.csv; None when there is nothing to write."""
    text, table = river.documents.get(depths.LOG_FILE), river.log
    if text is None and not len(table):
        return None
    if text is not None and _frames_same(depths.parse_log(text, Notebook()), table):
        return text
    header = [name for name in table.columns if name != "file_line"]
    return _csv_text(header, ([_shown(record[name]) for name in header] for record in table.to_dict("records")))
