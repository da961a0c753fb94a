"""RDB, the tab-separated tables of the US Geological Survey: comment lines, a header, a line of column widths, rows."""

from __future__ import annotations

import re
from dataclasses import dataclass

from planner.errors import GaugeReplyUnfit

__all__ = ["Table", "read_table"]

_WIDTH = re.compile(r"\d+[snd]?", re.IGNORECASE)
_NEED = "an RDB table of the US Geological Survey"


@dataclass(frozen=True)
class Table:
    """One RDB text.

    Parameters
    ----------
    comments : tuple of str
        Without the leading ``#``.
    header : tuple of str
        Column names.
    rows : tuple of dict
        Text by column name, blanks stripped; a short row's missing cells are empty.
    """

    comments: tuple[str, ...]
    header: tuple[str, ...]
    rows: tuple[dict[str, str], ...]


def read_table(raw: bytes, where: str = "") -> Table:
    """An RDB text.

    Raises
    ------
    GaugeReplyUnfit
        When the text is none.
    """
    try:
        text = bytes(raw).decode("utf-8-sig")
    except UnicodeDecodeError:
        text = bytes(raw).decode("latin-1")
    lines = text.splitlines()
    comments = tuple(line.lstrip("#").strip() for line in lines if line.startswith("#"))
    body = [line for line in lines if line.strip() and not line.startswith("#")]
    if len(body) < 2 or "\t" not in body[0] or not all(_WIDTH.fullmatch(c.strip()) for c in body[1].split("\t")):
        start = text.lstrip()[:60].replace("\n", " ")
        raise GaugeReplyUnfit(f"the text begins {start!r}", _NEED, "record the reply again", where=where)
    header = tuple(name.strip() for name in body[0].split("\t"))
    rows = []
    for line in body[2:]:
        cells = [cell.strip() for cell in line.split("\t")]
        if len(cells) > len(header):
            raise GaugeReplyUnfit(
                f"a row has {len(cells)} cells for {len(header)} columns ({line[:60]!r})",
                _NEED,
                "record it again",
                where,
            )
        rows.append(dict(zip(header, cells + [""] * (len(header) - len(cells)), strict=True)))
    return Table(comments, header, tuple(rows))
