"""Replay recorded rises reading by reading: when would which rule have raised which level, and how long before the
agency's own flood categories were reached?

    python examples/replay_rises.py

At each reading only what had been read by then is known. The gauge's own rules are looked at: the highest stage
expected within a day (upper 90 %) and the stage read, both against the flood categories; rise, its rank among the
gauge's own, gain of flow; ice, water near freezing. Party, map, weather and alerts are left out.
"""

from __future__ import annotations

import csv
import gzip
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from planner.caution import Caution, Conditions, assess_river, rise_conditions
from planner.gauges import Series, parse_iv_json
from planner.gauges.file import parse
from planner.gauges.rdb import read_table
from planner.gauges.series import to_datetime64
from planner.units import CFS, FOOT
from planner.water import expect

DATA = Path(__file__).parent.parent / "data"
AHEAD = timedelta(hours=24)
NONE = "no category of this gauge is in the open record; a local threshold would be the river folder's"


@dataclass(frozen=True)
class Rise:
    """A recorded rise.

    Parameters
    ----------
    name : str
        Place and days.
    series : Series
        The gauge's record, with the past that the rules look at.
    categories : mapping
        The agency's flood categories, lowest first, to stage [m].
    agency : str
        Whose they are.
    zone : str
        Time zone of the tables.
    start, end : datetime, optional
        First and last reading replayed; the record's own if None.
    marks : mapping
        What else is timed: words to a discharge [m³/s].
    """

    name: str
    series: Series
    categories: Mapping[str, float]
    agency: str
    zone: str
    start: datetime | None = None
    end: datetime | None = None
    marks: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Raised:
    """The first time that a rule stood at a level: rule, level, hour and its words."""

    rule: str
    level: int
    when: datetime
    text: str


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


def _flood(file: str) -> Series:
    return parse(gzip.decompress((DATA / "floods" / f"{file}.gz").read_bytes()), f"file:{file}")


def _guadalupe(usgs: str) -> Series:
    """A table of the US Geological Survey; every time in these files is Central Daylight Time, UTC-5."""
    table = read_table((DATA / "floods" / f"usgs_iv_{usgs}_2025-07_guadalupe_rise.rdb").read_bytes())
    assert {row["tz_cd"] for row in table.rows} == {"CDT"}
    stage, discharge = (next(name for name in table.header if name.endswith(code)) for code in ("_00065", "_00060"))
    rows = [f"{row['datetime'].replace(' ', 'T')}-05:00,{row[stage]},{row[discharge]}" for row in table.rows]
    return parse("\n".join(["time,stage_ft,discharge_ft3s", *rows]).encode(), f"file:{usgs}")


def categories_of(usgs: str) -> dict[str, float]:
    """The US National Weather Service's flood categories of a gauge [m], lowest first; those not set are left out."""
    with (DATA / "floods" / "nws_categories_2024-07.csv").open(encoding="utf-8", newline="") as file:
        row = next(row for row in csv.DictReader(file) if row["usgs_id"] == usgs)
    feet = {name: float(row[f"{name}_ft"]) for name in ("action", "minor", "moderate", "major")}
    return {name: value * FOOT for name, value in feet.items() if value > -9999}


def _nws(usgs: str) -> str:
    stages = ", ".join(f"{name} {stage / FOOT:g} ft" for name, stage in categories_of(usgs).items())
    return f"US National Weather Service, as set in July 2024: {stages}"


@cache
def rises() -> tuple[Rise, ...]:
    """The rises on record here."""
    new_york, chicago = "America/New_York", "America/Chicago"
    return (
        Rise("England, station 690140, 10 December 2015", _england(), {}, NONE, "UTC"),
        Rise(
            "West Branch Susquehanna River at Karthaus PA, 24 to 28 January 2019 (discharge only)",
            _usgs("usgs_iv_01542500_2019-01_ice_missing.json", "usgs:01542500"), {},
            "categories are stages and this record has none, so F4 is not assessed", new_york,
        ),
        Rise(
            "Pearl River near Bogalusa LA, 25 February to 1 March 2019",
            _usgs("usgs_iv_02489500_02492000_2019-02_stage_and_navd88.json", "usgs:02489500"),
            categories_of("02489500"), _nws("02489500"), chicago,
        ),
        Rise(
            "Plumtree Run near Bel Air MD, 31 August 2018",
            _flood("usgs_01581752_2018-08_5min.csv"), categories_of("01581752"), _nws("01581752"), new_york,
            datetime(2018, 8, 31, 20, tzinfo=UTC), datetime(2018, 8, 31, 23, 30, tzinfo=UTC),
        ),
        Rise(
            "Plumtree Run near Bel Air MD, 18 August 2017",
            _flood("usgs_01581752_2017-08_5min.csv"), categories_of("01581752"), _nws("01581752"), new_york,
            datetime(2017, 8, 18, 20, tzinfo=UTC), datetime(2017, 8, 18, 22, 35, tzinfo=UTC),
        ),
        Rise(
            "Sligo Creek near Takoma Park MD, 23 May 2019",
            _flood("usgs_01650800_2019-05_5min.csv"), categories_of("01650800"), _nws("01650800"), new_york,
            datetime(2019, 5, 23, 18, tzinfo=UTC), datetime(2019, 5, 23, 20, 30, tzinfo=UTC),
        ),
        Rise(
            "Guadalupe River at Hunt TX, 4 July 2025",
            _guadalupe("08165500"), categories_of("08165500"), _nws("08165500"), chicago,
            datetime(2025, 7, 3, 20, tzinfo=UTC), datetime(2025, 7, 4, 10, 10, tzinfo=UTC),
        ),
        Rise(
            "Guadalupe River at Kerrville TX, 4 July 2025",
            _guadalupe("08166200"), categories_of("08166200"), _nws("08166200"), chicago,
            datetime(2025, 7, 3, 20, tzinfo=UTC), datetime(2025, 7, 4, 11, 45, tzinfo=UTC),
        ),
        Rise(
            "Guadalupe River at Comfort TX, 4 July 2025",
            _guadalupe("08167000"), categories_of("08167000"), _nws("08167000"), chicago,
            datetime(2025, 7, 3, 20, tzinfo=UTC), datetime(2025, 7, 4, 16, tzinfo=UTC),
        ),
        Rise(
            "Guadalupe River near Spring Branch TX, 4 and 5 July 2025",
            _guadalupe("08167500"), categories_of("08167500"), _nws("08167500"), chicago,
            datetime(2025, 7, 3, 20, tzinfo=UTC), datetime(2025, 7, 5, 9, 45, tzinfo=UTC),
        ),
        Rise(
            "Turkey River near Eldorado IA, 7 to 9 June 2008 (discharge only)",
            _flood("usgs_05411850_2008-06_15min.csv"), {},
            "categories are stages (major 17 ft) and this record has none, so F4 is not assessed. In August 2016 the "
            "gauge read 17.22 ft at 19,200 ft³/s; the hour at which that flow was reached stands for major, as far as "
            "the bed of 2008 was that of 2016",
            chicago, datetime(2008, 6, 7, 12, tzinfo=UTC), datetime(2008, 6, 9, 12, 45, tzinfo=UTC),
            {"19,200 ft³/s, about major": 19200 * CFS},
        ),
    )  # fmt: skip


def highest_expected(series: Series, now: datetime) -> tuple[float, float]:
    """Highest upper 90 % of stage [m] and discharge [m³/s] of the next 24 h, as a plan made now would have it."""
    e = expect(series, now, now, now + AHEAD)

    def most(*values: np.ndarray) -> float:
        known = np.concatenate([value[np.isfinite(value)] for value in values])
        return float(known.max()) if len(known) else np.nan

    return most(e.stage_high_m, e.stage_m), most(e.discharge_high_m3s, e.discharge_m3s)


def _replayed(rise: Rise) -> np.ndarray:
    """Which readings are replayed, shape (n,)."""
    times = rise.series.times
    first = times[0] if rise.start is None else to_datetime64(rise.start)
    last = times[-1] if rise.end is None else to_datetime64(rise.end)
    return np.asarray((times >= first) & (times <= last))


def replay(rise: Rise) -> Iterator[tuple[datetime, Caution]]:
    """The caution at each reading."""
    series = rise.series
    for i in np.flatnonzero(_replayed(rise)).tolist():
        end = int(series.times[i].astype(np.int64))
        now = datetime.fromtimestamp(end, UTC)
        quality = str(series.quality[i])
        stage, discharge = highest_expected(series, now)
        seen = Conditions(
            stage_m=stage, observed_stage_m=float(series.stage_m[i]), discharge_m3s=discharge, data_age_min=0.0,
            quality=quality, ice=quality == "ice", water_temp_c=float(series.temperature_c[i]),
            **{f"{name}_stage_m": level for name, level in rise.categories.items()},
            **rise_conditions(series.times, series.stage_m, series.discharge_m3s, now),
        )  # fmt: skip
        yield now, assess_river(seen)


@cache
def _first_raised(name: str) -> tuple[Raised, ...]:
    rise = next(rise for rise in rises() if rise.name == name)
    found: dict[tuple[str, int], Raised] = {}
    for now, caution in replay(rise):
        for reason in caution.reasons:
            key = (reason["rule"], reason["level"])
            if reason["level"] and key not in found:
                found[key] = Raised(*key, now, reason["text"])
    return tuple(sorted(found.values(), key=lambda raised: (raised.when, raised.level, raised.rule)))


def first_raised(rise: Rise) -> tuple[Raised, ...]:
    """For each rule and level: the first reading at which it stood, in order of time."""
    return _first_raised(rise.name)


def level_times(rise: Rise) -> dict[int, datetime]:
    """For each level reached: the first reading at which the caution stood at it or above."""
    raised = first_raised(rise)
    return {
        level: min(r.when for r in raised if r.level >= level)
        for level in range(1, max((r.level for r in raised), default=0) + 1)
    }


def category_times(rise: Rise) -> list[tuple[str, datetime | None, bool]]:
    """When each of the agency's categories, and each mark, was first reached; True when the record begins above it."""
    out = []
    series = rise.series
    for values, limits in ((series.stage_m, rise.categories), (series.discharge_m3s, rise.marks)):
        for name, limit in limits.items():
            rows = np.flatnonzero((np.round(values, 9) >= round(limit, 9)) & _replayed(rise))
            when = datetime.fromtimestamp(int(series.times[rows[0]].astype(np.int64)), UTC) if len(rows) else None
            out.append((name, when, bool(len(rows)) and int(rows[0]) == 0))
    return out


def evening_before(rise: Rise) -> tuple[datetime, float] | None:
    """What a plan at 20:00 on the evening before the first category expected at most within 24 h [m].

    None when no category is reached within the record.
    """
    reached = [when for name, when, before in category_times(rise) if name in rise.categories and when and not before]
    if not reached:
        return None
    day = min(reached).astimezone(ZoneInfo(rise.zone)) - timedelta(days=1)
    evening = day.replace(hour=20, minute=0)
    return evening, highest_expected(rise.series, evening)[0]


def lead(raised: datetime, reached: datetime) -> str:
    """How long the level stood before the category, in words."""
    minutes = round((reached - raised).total_seconds() / 60)
    size = f"{abs(minutes) // 60} h {abs(minutes) % 60:02d} min" if abs(minutes) >= 60 else f"{abs(minutes)} min"
    return "at it" if not minutes else size if minutes > 0 else f"{size} after it"


def table(rise: Rise) -> list[str]:
    """One rise as lines of Markdown."""
    zone = ZoneInfo(rise.zone)
    has_stage = bool(np.isfinite(rise.series.stage_m).any())
    values, kind, digits = (rise.series.stage_m, "m", 2) if has_stage else (rise.series.discharge_m3s, "m³/s", 0)
    top = int(np.nanargmax(np.where(_replayed(rise), values, np.nan)))
    peak = datetime.fromtimestamp(int(rise.series.times[top].astype(np.int64)), UTC).astimezone(zone)
    times = category_times(rise)
    timed = [(name, when) for name, when, before in times if when is not None and not before]
    lines = [f"### {rise.name}", ""]
    lines += [f"Highest reading {values[top]:,.{digits}f} {kind} on {peak:%d %b %H:%M}. Agency: {rise.agency}.", ""]
    for name, when, before in times:
        if before:
            said = "reached before the record begins"
        else:
            said = "not reached" if when is None else f"reached {when.astimezone(zone):%d %b %H:%M}"
        lines.append(f"- {name}: {said}")
    evening = evening_before(rise)
    if evening is not None:
        lines.append(f"- the evening before, {evening[0]:%d %b %H:%M}: up to {evening[1]:.2f} m expected within 24 h")
    if times:
        lines.append("")
    ahead = [f"before {name}" for name, _ in timed]
    lines.append("| " + " | ".join(["level", "first raised", "rule", *ahead, "what it said"]) + " |")
    lines.append("| " + " | ".join(["---"] * (4 + len(ahead))) + " |")
    for raised in first_raised(rise):
        leads = [lead(raised.when, when) for _, when in timed]
        cells = [str(raised.level), f"{raised.when.astimezone(zone):%d %b %H:%M}", raised.rule, *leads, raised.text]
        lines.append("| " + " | ".join(cells) + " |")
    return [*lines, ""]


def report() -> str:
    """All rises as Markdown."""
    return "\n".join(line for rise in rises() for line in table(rise))


if __name__ == "__main__":
    print(report())
