"""Small helpers that rows of `gauge_hydrology.csv` call."""

from __future__ import annotations

import csv
import math
from datetime import UTC, datetime
from pathlib import Path

from planner.gauges.statistics import DayNormal
from planner.water.percentiles import standing
from planner.water.rating import interpolate_rating
from planner.water.recession import Recession

DATA = Path(__file__).parents[2] / "data" / "gauges"


def montana_rating(site: str, stage: float) -> float:
    """Discharge [ft³/s] of one of the recorded USGS base ratings at a stage [ft]."""
    with (DATA / "usgs_base_ratings_montana.csv").open(encoding="utf-8", newline="") as stream:
        points = [row for row in csv.DictReader(stream) if row["site_no"] == site]
    return float(
        interpolate_rating(
            stage,
            [float(row["gage_height_ft"]) for row in points],
            [float(row["discharge_ft3_s"]) for row in points],
            offsets=[float(e) for e in points[0]["offsets_ft_below;above"].split(";")],
            breakpoints=[float(points[0]["breakpoint_ft"])],
        )
    )


def patuxent_rating(stage: float) -> float:
    """Discharge [ft³/s] of the recorded base rating of 01594440 at a stage [ft]."""
    points, offset = [], 0.0
    for line in (DATA / "usgs_01594440_rating_base.rdb").read_text(encoding="utf-8").splitlines():
        if "RATING OFFSET1=" in line:
            offset = float(line.split("=")[1])
        if line[:1].isdigit() and "N" not in line:
            points.append([float(cell) for cell in line.split("\t")[:2]])
    return float(interpolate_rating(stage, *zip(*points, strict=True), offsets=[offset]))


def _receding(constant: float) -> Recession:
    """The recession whose discharge is multiplied by a constant each day."""
    return Recession(rate=-math.log(constant) / 24.0, power=1.0, hours=0)


def carried(discharge: float, constant: float, days: float) -> float:
    """Discharge after so many days; unit of `discharge`."""
    return float(_receding(constant).carry(discharge, 24.0 * days))


def half_life(constant: float) -> float:
    """Days in which the discharge halves."""
    return _receding(constant).half_life_days(1.0)


def flow_class(discharge: float, p10: float, p25: float, p75: float, p90: float, lowest: float, highest: float) -> str:
    """Class of a discharge by the percentiles of its day, out of the words that stand beside it."""
    normal = DayNormal(89, {10.0: p10, 25.0: p25, 75.0: p75, 90.0: p90}, lowest, highest)
    day = datetime(2026, 7, 1, 12, tzinfo=UTC)
    return standing(discharge, day, {(7, 1): normal}).words.split(" for the date")[0]
