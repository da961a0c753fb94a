"""A river folder from five answers: name, gauge, units, craft, first put-in."""

from __future__ import annotations

import json
import math
import os
import re
import shutil
import tempfile
import unicodedata
from collections.abc import Mapping
from datetime import datetime, timedelta
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from planner.desk.taken import position
from planner.errors import NotWritten, PlumbrunError, UsageMistake
from planner.files import write_whole
from planner.river.settings import UNITS, gauge_problem

__all__ = ["folder_name", "gauge_checked", "gauges_near", "make_folder", "nearest_zone"]

_FOLDER = re.compile(r"[a-z0-9][a-z0-9-]{0,59}")


def folder_name(name: str) -> str:
    """A folder's name from a river's: lower case letters, digits and hyphens only.

    Examples
    --------
    >>> folder_name("Kettlemoor River / Long Réach ../..")
    'kettlemoor-river-long-reach'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60].strip("-") or "river"


@cache
def _towns() -> list[tuple[str, float, float]]:
    from planner.river.checker import zone_town

    text = (files("tzdata") / "zoneinfo" / "zone.tab").read_text(encoding="utf-8")
    names = [row.split("\t")[2] for row in text.splitlines() if row and not row.startswith("#")]
    return [(name, *town) for name in names if (town := zone_town(name)) is not None]


def nearest_zone(lon: float, lat: float) -> str:
    """The time zone whose principal town is nearest; a guess that the settings can correct.

    Examples
    --------
    >>> nearest_zone(-87.7, 41.9)
    'America/Chicago'
    """

    def far(town: tuple[str, float, float]) -> float:
        a, b = math.radians(town[2]), math.radians(lat)
        half = math.sin((b - a) / 2) ** 2 + math.cos(a) * math.cos(b) * math.sin(math.radians(lon - town[1]) / 2) ** 2
        return half

    return min(_towns(), key=far)[0]


def _text(answers: Mapping[str, Any], key: str, most: int) -> str:
    value = answers.get(key, "")
    if not isinstance(value, str):
        raise UsageMistake(f"{key} is no text", "text", "answer again", where=key)
    text = " ".join("".join(sign for sign in value if sign.isprintable() or sign.isspace()).split())
    if len(text) > most:
        raise UsageMistake(f"{key} of {len(text)} signs", f"at most {most}", "shorten it", where=key)
    return text


def make_folder(answers: Mapping[str, Any], parent: Path) -> tuple[Path, list[str]]:
    """Make a river folder of five answers, whole or not at all.

    Parameters
    ----------
    answers : mapping
        ``name``, ``gauge`` (``service:station``; empty for none), ``units``, ``craft``, ``put_in`` [lon, lat], and
        where given ``folder`` (its name, inside `parent`), ``timezone``, ``put_in_name``.
    parent : Path
        Fixed at the start of the desk.

    Returns
    -------
    folder : Path
        The new one.
    notes : list of str
        What was guessed.

    Raises
    ------
    UsageMistake
        When an answer cannot be taken, or the folder is there already.
    NotWritten
        When it cannot be made.
    """
    import tomlkit

    name = _text(answers, "name", 80)
    if not name:
        raise UsageMistake("no name", "the river's name", "type it", where="name")
    units = answers.get("units") or "us"
    if units not in UNITS:
        raise UsageMistake(f"units {str(units)[:20]!r}", "us or metric", "choose one", where="units")
    gauge = _text(answers, "gauge", 80)
    wrong = gauge_problem(gauge, None) if gauge else None
    if gauge.startswith("file:"):
        wrong = (f"gauge {gauge!r}", "a station of a service; a file can be named once the folder is there", "leave it")
    if wrong is not None:
        raise UsageMistake(*wrong, where="gauge")
    place = position(answers.get("put_in"))
    if place is None:
        raise UsageMistake(
            "no first put-in", "lon and lat in degrees", "click it on the map or type it", where="put_in"
        )
    own = answers.get("folder") or folder_name(name)
    if not isinstance(own, str) or not _FOLDER.fullmatch(own):
        raise UsageMistake(
            f"folder {str(own)[:60]!r}", "small letters, digits and hyphens", "choose another name", where="folder"
        )
    notes = []
    zone = _text(answers, "timezone", 60)
    if not zone:
        zone = nearest_zone(*place)
        notes.append(f"The time zone {zone} is a guess from the put-in: check it in the settings.")
    document = tomlkit.document()
    for key, value in (("name", name), ("timezone", zone), ("units", units), ("gauges", [gauge] if gauge else [])):
        document[key] = value
    craft = _text(answers, "craft", 40)
    if craft:
        document["craft"] = craft
    _zone_known(zone)
    put_in = {"id": "put-in", "kind": "put_in", "name": _text(answers, "put_in_name", 80) or "Put-in"}
    places = [{"type": "Feature", "properties": put_in, "geometry": {"type": "Point", "coordinates": place}}]
    target = Path(parent) / own
    made = {
        "river.toml": tomlkit.dumps(document),
        "runs.geojson": _collection([]),
        "spots.geojson": _collection([]),
        "places.geojson": _collection(places),
    }
    _make(target, made)
    return target, notes


def _zone_known(zone: str) -> None:
    import zoneinfo

    try:
        zoneinfo.ZoneInfo(zone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise UsageMistake(
            f"time zone {zone!r}", "a name such as America/Chicago", "correct it", where="timezone"
        ) from error


def _collection(features: list[dict[str, Any]]) -> str:
    body = ",\n".join(json.dumps(feature, ensure_ascii=False) for feature in features)
    return f'{{"type": "FeatureCollection", "features": [\n{body}\n]}}\n'


def _make(target: Path, made: dict[str, str]) -> None:
    """Write the files into a folder beside, then give it its name."""
    if target.exists():
        raise UsageMistake(
            f"the folder {target.name} is there already", "a new name", "choose another, or open that folder",
            where="folder",
        )  # fmt: skip
    building = None
    try:
        building = tempfile.mkdtemp(prefix=".new-river-", dir=target.parent)
        for name, text in made.items():
            write_whole(Path(building) / name, text)
        os.chmod(building, 0o755)
        os.rename(building, target)
    except (OSError, NotWritten) as error:
        if building is not None:
            shutil.rmtree(building, ignore_errors=True)
        why = error.given if isinstance(error, NotWritten) else str(error.strerror)
        raise NotWritten(
            f"the folder could not be made ({why})", "a place that may be written to and has room",
            "start the desk in another folder", where=str(target),
        ) from error  # fmt: skip


def gauges_near(
    lon: float, lat: float, service: str, within_km: float, now: datetime, replies: tuple[Path, ...]
) -> dict[str, Any]:
    """Stations of a service around a point; of recorded replies the first that is a station list is read."""
    from planner.gaugeview import near_report

    point = f"{lat},{lon}"
    if not replies:
        return {"stations": near_report(point, service, within_km, now)}
    refused: PlumbrunError | None = None
    for reply in replies:
        try:
            return {"stations": near_report(point, service, within_km, now, reply)}
        except PlumbrunError as error:
            refused = error
    assert refused is not None  # there was at least one reply
    raise refused


def gauge_checked(station: str, now: datetime, replies: tuple[Path, ...], folder: Path | None) -> dict[str, Any]:
    """What a station reads now, so that it can be chosen with open eyes."""
    from planner.gauges import open_series
    from planner.plan.readings import GaugeView, gauge_record
    from planner.water import expect, rating_of

    wrong = gauge_problem(station, folder)
    if wrong is not None or (station.startswith("file:") and folder is None):
        raise UsageMistake(*(wrong or ("a file as gauge", "a station of a service", "name one")), where="gauge")
    series = open_series(station, now=now, folder=folder, reply_files=replies)
    expected = expect(series, now, now, now + timedelta(hours=24))
    report = gauge_record(GaugeView(station, series, rating_of(series), expected, (*series.notes, *expected.notes)))
    names = ("id", "service", "name", "stage_m", "discharge_m3s", "temperature_c", "observed_at", "age_min", "quality",
             "trend_m_per_h", "notes")  # fmt: skip
    return {"reminder": "Gauge data are provisional.", **{name: report.get(name) for name in names}}
