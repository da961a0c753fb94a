"""Small helpers that rows of `gauge_hydrology.csv` call."""

from __future__ import annotations

import csv
from pathlib import Path

from planner.water.rating import interpolate_rating

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
