"""Replay recorded rises reading by reading: when would which caution level have been raised, and by which rule?

    python examples/replay_rises.py

At each reading only what had been read by then is known. The gauge's own rules are looked at (stage against flood
categories, rise, gain of flow, ice, water near freezing); party, map and weather have no bearing on a replay.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from planner.caution import Caution, Conditions, assess_river, rise_conditions
from planner.gauges import Series, parse_iv_json

DATA = Path(__file__).parent.parent / "data"
FOOT = 0.3048


@dataclass(frozen=True)
class Rise:
    """A recorded rise: its name, gauge record, the agency's categories [m], whose they are, and its zone."""

    name: str
    series: Series
    categories: Mapping[str, float]
    agency: str
    zone: str


def _england() -> Series:
    document = json.loads((DATA / "floods" / "ea_readings_690140_2015-12-10.json").read_text(encoding="utf-8"))
    rows = sorted((item["dateTime"].rstrip("Z"), float(item["value"])) for item in document["items"])
    unknown = np.full(len(rows), np.nan)
    return Series(
        "england:690140", "england", "station 690140", np.array([row[0] for row in rows], dtype="datetime64[s]"),
        np.array([row[1] for row in rows]), unknown, unknown, unknown, np.full(len(rows), "provisional"), (),
        datetime(2015, 12, 10, 16, tzinfo=UTC),
    )  # fmt: skip


def _usgs(file: str, station: str) -> Series:
    return parse_iv_json((DATA / "gauges" / file).read_bytes(), station)


def rises() -> list[Rise]:
    """The rises on record here."""
    none = "no category of this gauge is in the open record; a local threshold would be the river folder's"
    return [
        Rise("England, station 690140, 10 December 2015", _england(), {}, none, "UTC"),
        Rise(
            "West Branch Susquehanna River at Karthaus PA, 24 to 28 January 2019 (discharge only)",
            _usgs("usgs_iv_01542500_2019-01_ice_missing.json", "usgs:01542500"), {}, none, "America/New_York",
        ),
        Rise(
            "Pearl River near Bogalusa LA, 25 February to 1 March 2019",
            _usgs("usgs_iv_02489500_02492000_2019-02_stage_and_navd88.json", "usgs:02489500"),
            {"minor": 18.0 * FOOT},
            "flood stage 18.0 ft, as US National Weather Service flood warnings for the gauge say (read in copies)",
            "America/Chicago",
        ),
    ]  # fmt: skip


def replay(rise: Rise) -> Iterator[tuple[datetime, Caution]]:
    """The caution at each reading."""
    series = rise.series
    ends = series.times.astype(np.int64)
    for i, end in enumerate(ends.tolist()):
        now = datetime.fromtimestamp(end, UTC)
        stage, discharge = float(series.stage_m[i]), float(series.discharge_m3s[i])
        quality = str(series.quality[i])
        seen = Conditions(
            stage_m=stage, observed_stage_m=stage, discharge_m3s=discharge, data_age_min=0.0,
            quality=quality, ice=quality == "ice", water_temp_c=float(series.temperature_c[i]),
            minor_stage_m=rise.categories.get("minor"), action_stage_m=rise.categories.get("action"),
            **rise_conditions(series.times, series.stage_m, series.discharge_m3s, now),
        )  # fmt: skip
        yield now, assess_river(seen)


def first_raised(rise: Rise) -> list[tuple[int, datetime, str, str]]:
    """For each level: the first reading at which it stood, the rule and its words."""
    found: dict[int, tuple[int, datetime, str, str]] = {}
    for now, caution in replay(rise):
        for reason in caution.reasons:
            level = reason["level"]
            if level and level not in found:
                found[level] = (level, now, reason["rule"], reason["text"])
    return [found[level] for level in sorted(found)]


def category_times(rise: Rise) -> list[tuple[str, datetime | None, bool]]:
    """When each of the agency's categories was first reached; True when the record begins above it."""
    out = []
    for name, stage in rise.categories.items():
        over = np.flatnonzero(np.round(rise.series.stage_m, 9) >= round(stage, 9))
        when = datetime.fromtimestamp(int(rise.series.times[over[0]].astype(np.int64)), UTC) if len(over) else None
        out.append((name, when, bool(len(over)) and int(over[0]) == 0))
    return out


def report() -> str:
    """All rises as Markdown."""
    lines: list[str] = []
    for rise in rises():
        zone = ZoneInfo(rise.zone)
        values = rise.series.stage_m if np.isfinite(rise.series.stage_m).any() else rise.series.discharge_m3s
        kind = "m" if np.isfinite(rise.series.stage_m).any() else "m³/s"
        top = int(np.nanargmax(values))
        peak = datetime.fromtimestamp(int(rise.series.times[top].astype(np.int64)), UTC).astimezone(zone)
        lines += [f"### {rise.name}", ""]
        lines += [f"Highest reading {values[top]:.3g} {kind} on {peak:%d %b %H:%M}. Agency: {rise.agency}.", ""]
        lines += ["| level | first raised | rule | what it said |", "| --- | --- | --- | --- |"]
        for level, now, rule, text in first_raised(rise):
            lines.append(f"| {level} | {now.astimezone(zone):%d %b %H:%M} | {rule} | {text} |")
        for name, when, before in category_times(rise):
            if before:
                said = "reached before the record begins"
            else:
                said = "not reached" if when is None else f"{when.astimezone(zone):%d %b %H:%M}"
            lines.append(f"| agency: {name} | {said} | | |")
        lines.append("")
    return "\n".join(lines)


if __name__ == "__main__":
    print(report())
