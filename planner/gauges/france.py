"""Gauges of Hub'Eau (France), ``france:``: real-time height and discharge. Data: Hub'Eau / Vigicrues (PHyC).

Height comes in mm and discharge in l/s. The service answers 206 when more pages exist; every page is asked for. A
negative height can be real. Discharges come a second time with an empty station code, for the site as a whole.
"""

from __future__ import annotations

import math
import os
import re
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.errors import GaugeReplyUnfit, UsageMistake
from planner.gauges.assemble import Column, assemble, rank
from planner.gauges.near import Nearby
from planner.gauges.series import Quality, Series
from planner.gauges.stamps import NoOffset, parse_stamps

if TYPE_CHECKING:
    import requests

    from planner.gauges.transport import Answer

__all__ = ["ADDRESS", "SERVICE", "STATIONS", "VARIABLES", "get", "get_stations", "parse", "read", "stations_in"]

SERVICE = "Hub'Eau, France"
ADDRESS = "https://hubeau.eaufrance.fr/api/v2/hydrometrie/observations_tr"
STATIONS = "https://hubeau.eaufrance.fr/api/v2/hydrometrie/referentiel/stations"

# grandeur_hydro -> (our column, factor to SI): mm, l/s
VARIABLES = {"H": ("stage_m", 1e-3), "Q": ("discharge_m3s", 1e-3)}
# code_qualification_obs and code_statut of the service's nomenclature -> quality; the worse of the two counts
_QUALIFICATION = {12: Quality.ESTIMATED, 16: Quality.PROVISIONAL, 20: Quality.MEASURED}
_STATUS = {4: Quality.PROVISIONAL, 8: Quality.PROVISIONAL, 12: Quality.PROVISIONAL, 16: Quality.MEASURED}
_NEED = f"observations_tr of {SERVICE}"


def get(
    station: str, start: datetime, end: datetime, session: requests.Session | None = None, folder: Path | None = None
) -> bytes:
    """Ask for height and discharge, all pages of each, as one JSON object ``{"H": [...], "Q": [...]}``."""
    from planner.gauges.transport import ask_all, iso_z

    code = _code(station)
    address = os.environ.get("PLUMBRUN_FRANCE", ADDRESS)
    parts = []
    for grandeur in VARIABLES:
        query = {
            "code_entite": code,
            "grandeur_hydro": grandeur,
            "date_debut_obs": iso_z(start),
            "date_fin_obs": iso_z(end),
            "size": "20000",
        }
        what = f"station {code} of {SERVICE}"
        answers = ask_all(address, query, _next_page, session=session, what=what, statuses=(200, 203, 206))
        parts.append(b'"%s":[%s]' % (grandeur.encode(), b",".join(answer.body for answer in answers)))
    return b"{" + b",".join(parts) + b"}"


def read(path: Path) -> bytes:
    """A recorded reply."""
    from planner.gauges.recorded import read as read_file

    return read_file(path)


def parse(raw: bytes, station: str, where: str = "", retrieved_at: datetime | None = None) -> Series:
    """Pages as `get` gives them, or one recorded page, as a `Series`.

    A row of a page says itself whether it is H or Q; a page that was asked without that field cannot be told and is
    refused.

    Raises
    ------
    GaugeReplyUnfit
        When the text is no reply of the service, is of another station, or holds no row.
    """
    code = _code(station)
    where = where or f"reply of {SERVICE}"
    notes: list[str] = []
    columns: dict[str, Column] = {}
    groups: dict[str, list[dict[str, Any]]] = {}
    others: list[str] = []
    site_rows = 0
    for grandeur, row in _rows(raw, where, notes):
        named = row.get("code_station")
        if named not in (None, "", code):
            others.append(str(named))
            continue
        if named in (None, "") and "code_site" in row:
            if str(row["code_site"]) != code[:8]:
                others.append(str(row["code_site"]))
                continue
            site_rows += 1
        if grandeur not in VARIABLES:
            raise GaugeReplyUnfit(
                "the rows do not say whether they are H or Q",
                "rows with grandeur_hydro",
                "record the reply without fields=, or with grandeur_hydro among them",
                where=where,
            )
        groups.setdefault(grandeur, []).append(row)
    if site_rows:
        notes.append(f"{site_rows} rows are of the site as a whole; where the station has the same time it stands")
    for grandeur, rows in groups.items():
        key, factor = VARIABLES[grandeur]
        columns[key] = _column(rows, factor, where)
    if not columns:
        held = f"{', '.join(dict.fromkeys(others))} and not" if others else "no row of"
        raise GaugeReplyUnfit(
            f"the reply holds {held} station {code}",
            f"values of station {code}",
            "check the station, choose another gauge, or give the level with --level",
            where=where,
        )
    return assemble(station, "", columns, notes, retrieved_at)


def _rows(raw: bytes, where: str, notes: list[str]) -> list[tuple[str, dict[str, Any]]]:
    import orjson

    try:
        reply = orjson.loads(raw)
    except orjson.JSONDecodeError as error:
        html = bytes(raw[:200]).lstrip().startswith(b"<")
        what = "an HTML or XML page" if html else "no whole JSON text"
        raise GaugeReplyUnfit(f"the reply is {what}", _NEED, "ask again later", where=where) from error
    if isinstance(reply, dict) and "data" not in reply and set(reply) <= set(VARIABLES):
        pages = [
            (key, page) for key, group in reply.items() for page in (group if isinstance(group, list) else [group])
        ]
    else:
        pages = [("", reply)]
        if isinstance(reply, dict) and reply.get("next"):
            notes.append("the reply is one page of several; the pages after it are not in the file")
    out = []
    for key, page in pages:
        data = page.get("data") if isinstance(page, dict) else None
        if not isinstance(data, list) or not all(isinstance(row, dict) for row in data):
            raise GaugeReplyUnfit("the reply is JSON without data", _NEED, "record the reply again", where=where)
        out += [(str(row.get("grandeur_hydro") or key), row) for row in data]
    return out


def _column(rows: list[dict[str, Any]], factor: float, where: str) -> Column:
    own = {str(row.get("date_obs")) for row in rows if row.get("code_station") not in (None, "")}
    rows = [row for row in rows if row.get("code_station") not in (None, "") or str(row.get("date_obs")) not in own]
    stamps = [str(row.get("date_obs") or "") for row in rows]
    stamps = [stamp if re.search(r"(Z|[+-]\d\d:\d\d)$", stamp) else f"{stamp}Z" for stamp in stamps]
    try:
        times = parse_stamps(stamps)
    except NoOffset as error:
        raise GaugeReplyUnfit(
            f"time {error.text!r} has {error.why}", "UTC times", "record the reply again", where=where
        ) from error
    values = np.full(len(rows), np.nan)
    ranks = np.empty(len(rows), np.int8)
    for i, row in enumerate(rows):
        value = row.get("resultat_obs")
        if isinstance(value, int | float):
            values[i] = value
        found = [
            _QUALIFICATION.get(row.get("code_qualification_obs", 16), Quality.ESTIMATED),
            _STATUS.get(row.get("code_statut", 4), Quality.PROVISIONAL),
        ]
        quality = max(found, key=rank)
        ranks[i] = rank(quality if np.isfinite(values[i]) else Quality.MISSING)
    return Column(times, values * factor, ranks)


def _next_page(answer: Answer) -> str | None:
    import orjson

    try:
        page = orjson.loads(answer.body)
    except orjson.JSONDecodeError as error:
        raise GaugeReplyUnfit("a page of the reply is no whole JSON text", _NEED, "ask again later") from error
    address = page.get("next") if isinstance(page, dict) else None
    return str(address) if address else None


def _code(station: str) -> str:
    code = station.split(":", 1)[-1].upper()
    if not re.fullmatch(r"[A-Z]\d{9}", code):
        raise UsageMistake(f"station {station!r} is none of {SERVICE}", "such as france:V715501001", "correct it")
    return code


def get_stations(lat: float, lon: float, within_km: float, session: requests.Session | None = None) -> list[bytes]:
    """Ask for the stations around a point; names of the parameters from memory."""
    from planner.gauges.transport import fetch

    address = os.environ.get("PLUMBRUN_FRANCE_STATIONS", STATIONS)
    query = {"latitude": f"{lat:.5f}", "longitude": f"{lon:.5f}", "distance": f"{within_km:.0f}", "size": "1000"}
    return [fetch(address, query, session=session, what="station list of france")]


def stations_in(reply: Any) -> list[Nearby]:
    """Stations of a list; it does not say what they measure. See `planner.gauges.near.parse_stations`."""
    return [
        Nearby(
            f"france:{row['code_station']}",
            str(row.get("libelle_station", "")),
            float(row.get("longitude_station", math.nan)),
            float(row.get("latitude_station", math.nan)),
        )
        for row in reply["data"]
    ]
