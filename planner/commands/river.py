"""The commands that look at one part of the river: its folder, gauges, soundings, bed and current."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from planner.commands.shared import (
    FOLDER,
    JSON,
    NOW,
    REPLY,
    UNITS,
    guarded,
    read_moment,
    say_findings,
    say_json,
    say_text,
)
from planner.services import one_of, with_list

__all__ = ["check", "flow", "gauge", "gauges", "roughness", "soundings"]


@click.command()
@FOLDER
@guarded
def check(folder: Path) -> None:
    """Check every file of a river folder and say what to mend; exits with 4 when something must be mended."""
    from planner.river import check_river

    findings = check_river(folder)
    say_findings(findings)
    errors = sum(finding.level == "error" for finding in findings)
    rest = len(findings) - errors
    click.echo(f"{folder}: {errors} to mend, {rest} to know.")
    sys.exit(4 if errors else 0)


@click.command()
@click.argument("station")
@click.option("--days", type=click.IntRange(1, 120), default=7, show_default=True, help="How far back to show.")
@click.option(
    "--day", default=None, metavar="today|tomorrow|YYYY-MM-DD", help="Day of the trip; the next 24 h without."
)
@click.option("--from", "start", default="08:00", show_default=True, metavar="HH:MM", help="First hour of the trip.")
@click.option("--to", "end", default="16:00", show_default=True, metavar="HH:MM", help="Last hour of the trip.")
@click.option("--zone", default="UTC", show_default=True, help="Zone of the hours, such as America/Chicago.")
@click.option("--regulated", is_flag=True, help="Water is let go above the gauge: a wider range, no recession.")
@click.option("--forecast", "link", default="", metavar="noaa:ID", help="The forecast gauge at the same place.")
@REPLY
@NOW
@UNITS
@JSON
@guarded
def gauge(
    station: str,
    days: int,
    day: str | None,
    start: str,
    end: str,
    zone: str,
    regulated: bool,
    link: str,
    replies: tuple[Path, ...],
    now: str | None,
    units: str | None,
    as_json: bool,
) -> None:
    """Show what a gauge reads, how old that is and where it is heading. STATION is e.g. usgs:01541000."""
    from planner.gaugeview import gauge_report, gauge_text, trip_window

    at = read_moment(now, zone)
    window = trip_window(at, zone, day, start, end) if day else None
    report = gauge_report(
        station, days=days, now=at, replies=replies, window=window, regulated=regulated, link=link, zone=zone
    )
    if as_json:
        say_json(report)
    else:
        say_text(gauge_text(report, station, units, zone))


@click.group()
def gauges() -> None:
    """Find gauges."""


@gauges.command()
@click.argument("point", metavar="LAT,LON")
@click.option("--service", default="usgs", show_default=True, help=f"{one_of(with_list())}.")
@click.option("--within", "within_km", type=click.FloatRange(0.1, 300), default=25.0, show_default=True, help="[km]")
@click.option("--gauge-reply", "reply", type=click.Path(path_type=Path), help="Read a recorded station list.")
@NOW
@JSON
@guarded
def near(point: str, service: str, within_km: float, reply: Path | None, now: str | None, as_json: bool) -> None:
    """List stations around a point, with what they measure and how fresh they are."""
    from planner.gaugeview import near_report, near_text

    rows = near_report(point, service, within_km, read_moment(now), reply)
    if as_json:
        say_json(rows)
    else:
        say_text(near_text(rows, service, within_km))


@click.command()
@FOLDER
@click.argument("files", nargs=-1, required=True, metavar="FILE...", type=click.Path(path_type=Path))
@click.option("--dry-run", is_flag=True, help="Read and judge the files; write nothing.")
@click.option("--transducer-depth", metavar="QUANTITY", help="Transducer below the surface, e.g. '0.5 ft'.")
@click.option("--depth-unit", type=click.Choice(["ft", "m", "fathom", "cm"]), help="Of depths where a file names none.")
@click.option("--timezone", metavar="NAME", help="Of times without an offset; the river's own by default.")
@click.option(
    "--column", "columns", multiple=True, metavar="NAME=HEADING", help="Heading of a CSV, e.g. lon=Longitude."
)
@NOW
@UNITS
@JSON
@guarded
def soundings(
    folder: Path, files: tuple[Path, ...], as_json: bool, units: str | None, now: str | None, **options: Any
) -> None:
    """Read depths from CSV, GPX, GeoJSON, NMEA 0183 logs or a lead-line table and add the new ones to the folder."""
    from planner.surveying import soundings_report, soundings_text

    report = soundings_report(folder, files, now=read_moment(now), **options)
    if as_json:
        say_json(report)
    else:
        say_text(soundings_text(report, units))


@click.command()
@click.option("--class", "bed_class", metavar="NAME", help="A bed class; without any option all are listed.")
@click.option("--radius", metavar="QUANTITY", help="Hydraulic radius, about the mean depth, e.g. '3 ft'.")
@click.option("--slope", type=click.FloatRange(0, 0.2, min_open=True), help="Slope of the water surface [m/m].")
@click.option("--d50", metavar="QUANTITY", help="Median stone size, e.g. '40 mm'.")
@click.option("--d84", metavar="QUANTITY", help="Stone size that 84 % of the bed are finer than.")
@click.option("--build-up", metavar="LEVELS", help="Six levels for Cowan's method, parted by commas.")
@click.option("--part", "parts", multiple=True, metavar="PART", help="'CLASS or n,width,mean depth' of a part.")
@JSON
@guarded
def roughness(as_json: bool, **options: Any) -> None:
    """Explain Manning's n and compute it from bed class, build-up, stones, slope or parts of a section."""
    from planner.surveying import roughness_report, roughness_text

    report = roughness_report(**options)
    if as_json:
        say_json(report)
    else:
        click.echo(roughness_text(report))


@click.command()
@FOLDER
@click.option("--run", "run_id", required=True, metavar="ID", help="The run, by its id in runs.geojson.")
@click.option("--discharge", metavar="QUANTITY", help="Discharge at the gauge, e.g. '850 cfs'.")
@click.option("--svg", type=click.Path(path_type=Path), help="Also draw the run to this file.")
@click.option("--level", metavar="QUANTITY", help="Level at the gauge, e.g. '2.4 ft'.")
@REPLY
@NOW
@UNITS
@JSON
@guarded
def flow(folder: Path, run_id: str, as_json: bool, units: str | None, svg: Path | None, **options: Any) -> None:
    """Show depth and current of one run at a gauge level or discharge (the last reading when none is given)."""
    from planner.evening import flow_report, flow_text

    report = flow_report(folder, run_id, **options)
    if as_json:
        say_json(report)
    else:
        say_text(flow_text(report, folder, units))
    if svg is not None:
        from planner.surveying import flow_drawing

        flow_drawing(folder, run_id, svg, units=units, **options)
        click.echo(f"Drawing: {svg}", err=True)
