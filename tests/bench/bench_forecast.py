"""The backtest tables of docs/water.md, on the records of data/backtest; minutes, so not a test."""

from __future__ import annotations

import gzip
import sys
from pathlib import Path

from planner.gauges import Series
from planner.gauges.file import parse
from tests.water.backtest import backtest, score_table

DATA = Path(__file__).parents[2] / "data" / "backtest"
RECORDS = (
    ("usgs_01581752_2016-2018_hourly.csv.gz", "Plumtree Run, natural and flashy", ("discharge", "stage"), False),
    ("usgs_colorado_lees_ferry_2024-2025_hourly.csv.gz", "Colorado below a dam, river mile 0", ("discharge",), True),
    ("usgs_colorado_grand_canyon_2024-2025_hourly.csv.gz", "the same, river mile 88", ("discharge",), True),
)


def record(name: str) -> Series:
    """One record of data/backtest."""
    return parse(gzip.decompress((DATA / name).read_bytes()), f"file:{name.removesuffix('.gz')}")


def main(every_h: int = 31) -> None:
    """Print every table; the argument is the step between origins in hours."""
    for name, title, quantities, regulated in RECORDS:
        series = record(name)
        for quantity in quantities:
            print(score_table(backtest(series, quantity, every_h=every_h), f"{title}, {quantity}"), "\n", flush=True)
            if regulated:
                wide = backtest(series, quantity, every_h=every_h, regulated=True)
                print(score_table(wide, f"{title}, {quantity}, flagged as regulated"), "\n", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 31)
