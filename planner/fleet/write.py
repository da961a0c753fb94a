"""What a fleet leaves behind: the index page, a table of rivers and a table of spots as GeoParquet."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from planner.errors import NotWritten, UsageMistake
from planner.files import write_whole
from planner.fleet.jobs import Order
from planner.fleet.run import Fleet
from planner.page.index import ORDER, index_page

__all__ = ["fleet_text", "need_parquet", "rivers_frame", "spots_frame", "write_fleet"]


def need_parquet() -> None:
    """Say before the work begins that the tables could not be written after it.

    Raises
    ------
    UsageMistake
        When pyarrow is not installed.
    """
    try:
        import pyarrow  # noqa: F401
    except ImportError as error:
        raise UsageMistake(
            "the tables of a fleet need pyarrow, which is not installed",
            "the fleet extra",
            "pip install 'plumbrun[fleet]'",
        ) from error


def rivers_frame(fleet: Fleet) -> Any:
    """One row per river of the fleet, planned or not, with its middle as a point (geopandas.GeoDataFrame)."""
    import geopandas
    import pandas as pd
    from shapely.geometry import Point

    rows, points = [], []
    for outcome in fleet.outcomes:
        row = outcome.row
        rows.append(
            {
                "river": row.get("name", outcome.folder.name),
                "folder": str(outcome.folder),
                "failed": outcome.failed or None,
                "day": row.get("day"),
                "timezone": row.get("timezone"),
                "caution_level": row.get("level"),
                "caution": row.get("label"),
                "reasons": row.get("reasons", []),
                "checks": row.get("checks"),
                "assessed": row.get("assessed"),
                "gauge": row.get("gauge"),
                "stage_m": row.get("stage_m"),
                "discharge_m3s": row.get("discharge_m3s"),
                "quality": row.get("quality"),
                "age_min": row.get("age_min"),
                "spots": row.get("spots"),
                "answered": row.get("answered"),
                "swims": row.get("swims"),
                "seconds": outcome.seconds,
                "page": page_of(outcome.place) if outcome.place else None,
            }
        )
        points.append(Point(row["lon"], row["lat"]) if row else None)
    frame = pd.DataFrame(rows)
    whole = ("caution_level", "checks", "assessed", "spots", "answered", "swims")
    decimal = ("stage_m", "discharge_m3s", "age_min", "seconds")
    frame = frame.astype(dict.fromkeys(whole, "Int64") | dict.fromkeys(decimal, "float64"))
    return geopandas.GeoDataFrame(frame, geometry=points, crs="EPSG:4326")


def spots_frame(fleet: Fleet) -> Any:
    """One row per spot with the answer at its planned level, as a line from stance to landing."""
    import geopandas
    import pandas as pd
    from shapely.geometry import LineString

    rows = [
        {**{key: value for key, value in spot.items() if key != "line_string"}, "folder": str(outcome.folder)}
        for outcome in fleet.outcomes
        for spot in outcome.spots
    ]
    lines = [LineString(spot["line_string"]) for outcome in fleet.outcomes for spot in outcome.spots]
    frame = pd.DataFrame(rows)
    numbers = [name for name in map(str, frame) if name.endswith(("_m", "_m3s", "_s", "_chance"))]
    frame = frame.astype(dict.fromkeys(numbers, "float64") | ({"caution_level": "Int64"} if len(frame) else {}))
    return geopandas.GeoDataFrame(frame, geometry=lines, crs="EPSG:4326")


def page_of(place: str) -> str:
    """Address of a river's plan, as the index names it."""
    return f"rivers/{place}/plan.html"


def write_fleet(fleet: Fleet, order: Order) -> Path:
    """Write index and tables into the fleet's folder.

    Returns
    -------
    Path
        The index page.

    Raises
    ------
    NotWritten
        When the folder cannot be written to.
    """
    try:
        order.out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise NotWritten(
            f"the folder could not be made ({error.strerror})", "a folder that may be written to",
            "choose another with --out", where=str(order.out),
        ) from error  # fmt: skip
    for name, frame in (("rivers.parquet", rivers_frame(fleet)), ("spots.parquet", spots_frame(fleet))):
        stream = io.BytesIO()
        frame.to_parquet(stream, index=False)
        write_whole(order.out / name, stream.getvalue())
    rows = [{**one.row, "page": page_of(one.place)} for one in fleet.outcomes if not one.failed]
    failed = [(one.folder.name, one.failed) for one in fleet.outcomes if one.failed]
    index = order.out / "index.html"
    write_whole(index, index_page(rows, failed, order.now))
    return index.resolve()


def fleet_text(fleet: Fleet) -> str:
    """The fleet for a terminal: how many rivers at each caution, the highest first, then those not planned."""
    from planner.page.words import LEVEL_WORDS

    planned = [one.row for one in fleet.outcomes if not one.failed]
    failed = [one for one in fleet.outcomes if one.failed]
    lines = []
    for level in ORDER:
        names = sorted(str(row["name"]) for row in planned if row["level"] == level)
        if names:
            sign = "?" if level is None else str(level)
            shown = ", ".join(_printable(name) for name in names[:6])
            lines.append(f"[{sign}] {LEVEL_WORDS[level]}: {len(names)} ({shown}{', …' if len(names) > 6 else ''})")
    if failed:
        lines.append(f"Not planned: {len(failed)}. Nothing was assessed for these rivers.")
        lines += [f"  {_printable(str(one.folder))}: {_printable(one.failed)}" for one in failed[:20]]
        if len(failed) > 20:
            lines.append(f"  and {len(failed) - 20} more: see the index")
    return "\n".join(lines)


def _printable(words: str) -> str:
    return "".join(sign if sign.isprintable() else " " for sign in words)
