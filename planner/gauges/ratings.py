"""Rating tables of the US Geological Survey (RDB): base ratings and expanded, shift-adjusted ones."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from planner.errors import GaugeReplyUnfit
from planner.gauges.rdb import read_table
from planner.units import CFS, FOOT

if TYPE_CHECKING:
    import requests

__all__ = ["RatingTable", "get", "parse"]

SEARCH = "https://api.waterdata.usgs.gov/stac/v0/search"
_NEED = "a stage-discharge rating of the US Geological Survey as RDB"


@dataclass(frozen=True)
class RatingTable:
    """One rating table.

    Parameters
    ----------
    station : str
        ``usgs:…``.
    rating_id : str
        The agency's number of the rating.
    stage_m : np.ndarray
        Ascending, shape (n,) [m].
    shift_m : np.ndarray
        Shift at each stage, shape (n,); zero in a base rating [m].
    discharge_m3s : np.ndarray
        Shape (n,) [m³/s].
    fixed : np.ndarray
        Points that the agency set (``*``); those between are interpolated by it, bool, shape (n,).
    offsets_m, breakpoints_m : tuple of float
        Offsets of the logarithmic segments and the stages at which they change [m].
    expansion : str
        ``logarithmic``, ``linear`` or empty.
    periods : tuple of (str, str)
        When it was or is in force, begin and end as the agency writes them; an open end is empty.
    """

    station: str
    rating_id: str
    stage_m: np.ndarray
    shift_m: np.ndarray
    discharge_m3s: np.ndarray
    fixed: np.ndarray
    offsets_m: tuple[float, ...]
    breakpoints_m: tuple[float, ...]
    expansion: str
    periods: tuple[tuple[str, str], ...]


def get(station: str, session: requests.Session | None = None, kind: str = "exsa") -> bytes:
    """Ask the catalogue for a station's rating and fetch the RDB that it names, on the catalogue's own host only.

    Parameters
    ----------
    station : str
        ``usgs:…``.
    session : requests.Session, optional
        From `planner.gauges.transport.make_session`.
    kind : str
        ``exsa`` (expanded, with shifts) or ``base``.
    """
    import os
    from urllib.parse import urlsplit

    import orjson

    from planner.gauges.transport import ask
    from planner.gauges.usgs_text import site_number

    number = site_number(station)
    address = os.environ.get("PLUMBRUN_USGS_STAC", SEARCH)
    what = f"rating of station {number} of the US Geological Survey"
    query = {"filter": f"monitoring_location_id IN ('USGS-{number}') AND file_type = '{kind}'"}
    try:
        reply = orjson.loads(ask(address, query, session=session, what=what).body)
        hrefs = [asset["href"] for feature in reply["features"] for asset in feature["assets"].values()]
    except (orjson.JSONDecodeError, KeyError, TypeError, AttributeError) as error:
        raise GaugeReplyUnfit(f"{what}: the catalogue answers in another form", _NEED, "report it") from error
    wanted = [href for href in hrefs if str(href).endswith(".rdb") and number in str(href)]
    if not wanted or urlsplit(wanted[0]).netloc != urlsplit(address).netloc:
        raise GaugeReplyUnfit(f"{what}: the catalogue names no rating on its own host", _NEED, "use another gauge")
    return ask(wanted[0], {}, session=session, what=what, kinds=("text/plain", "application/octet-stream")).body


def parse(raw: bytes, station: str, where: str = "") -> RatingTable:
    """A rating table.

    Raises
    ------
    GaugeReplyUnfit
        When the text is no rating of stage and discharge of this station, or its stages do not ascend.
    """
    where = where or "rating"
    table = read_table(raw, where)
    text = "\n".join(table.comments)
    number = station.split(":", 1)[-1]
    named = re.search(r'NUMBER="(\d+)\s*"', text)
    if not {"INDEP", "DEP"} <= set(table.header):
        raise GaugeReplyUnfit(f"the columns are {', '.join(table.header)}", _NEED, "give a rating", where)
    if named and named[1] != number:
        raise GaugeReplyUnfit(f"the rating is of {named[1]} and not of {number}", _NEED, "give the right one", where)
    try:
        stage = np.array([float(row["INDEP"]) for row in table.rows])
        discharge = np.array([float(row["DEP"] or "nan") for row in table.rows])
        shift = np.array([float(row.get("SHIFT") or 0.0) for row in table.rows])
    except ValueError as error:
        raise GaugeReplyUnfit(f"a value is no number ({error})", _NEED, "record it again", where) from error
    if len(stage) < 2 or (np.diff(stage) <= 0).any():
        raise GaugeReplyUnfit("the stages of the rating do not ascend", _NEED, "record it again", where)
    try:
        offsets = tuple(float(v) * FOOT for v in re.findall(r"OFFSET\d+=([-+.\dEe]+)", text))
        breaks = tuple(float(v) * FOOT for v in re.findall(r"BREAKPOINT\d+=([-+.\dEe]+)", text))
    except ValueError as error:
        raise GaugeReplyUnfit(f"an offset is no number ({error})", _NEED, "record it again", where) from error
    periods = re.findall(r"RATING_DATETIME BEGIN=(\d{14}).*? END=(\d{14}|-+)", text)
    return RatingTable(
        station=station,
        rating_id=_word(r'RATING ID="([^"]*)"', text),
        stage_m=stage * FOOT,
        shift_m=shift * FOOT,
        discharge_m3s=discharge * CFS,
        fixed=np.array([row.get("STOR") == "*" for row in table.rows]),
        offsets_m=offsets or (0.0,),
        breakpoints_m=breaks,
        expansion=_word(r'EXPANSION="([^"]*)"', text),
        periods=tuple((begin, "" if end.startswith("-") else end) for begin, end in periods),
    )


def _word(pattern: str, text: str) -> str:
    found = re.search(pattern, text)
    return found[1].strip() if found else ""
