"""Write two more evenings for the invented demo river: one rising after rain, one in flood.

    python examples/make_demo_days.py [FOLDER]

Each file holds the last two days of the gauge and takes the place of those rows in examples/demo/gauge.csv; the
gauge's own rating (truth.json) ties stage and discharge together. Everything is seeded: the same files come out.
"""

from __future__ import annotations

import csv
import io
import json
import sys
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from planner.files import write_whole

HERE = Path(__file__).parent
HOURS = 48.0
# hours before the evening -> discharge [m³/s], joined smoothly; and the water's warmth at the end [°C]
DAYS = {
    "rising": ([(-48, None), (-9, None), (-6, 46.5), (-3, 51.0), (0, 57.5)], 18.0),
    "flood": ([(-48, None), (-36, 70.0), (-24, 120.0), (-14, 165.0), (-6, 178.0), (0, 176.0)], 15.0),
}
SEED = 20260613


def _base() -> list[dict[str, str]]:
    with (HERE / "demo" / "gauge.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def day_rows(kind: str) -> list[dict[str, str]]:
    """The last two days of one kind, as rows of a gauge file."""
    knots, warmth = DAYS[kind]
    rating = json.loads((HERE / "demo" / "truth.json").read_text(encoding="utf-8"))["rating"]
    rows = _base()
    end = datetime.fromisoformat(rows[-1]["time"])
    rows = [row for row in rows if datetime.fromisoformat(row["time"]) >= end - timedelta(hours=HOURS)]
    hours = np.array([(datetime.fromisoformat(row["time"]) - end).total_seconds() / 3600 for row in rows])
    before = np.array([float(row["discharge_m3s"]) for row in rows])
    at = np.array([knot[0] for knot in knots], dtype=float)
    level = np.array([np.interp(h, hours, before) if q is None else q for h, q in knots])
    first = next(h for h, q in knots if q is not None)
    start = max(h for h, _ in knots if h < first)
    smooth = np.exp(np.interp(hours, at, np.log(level)))
    discharge = np.where(hours <= start, before, smooth)
    rng = np.random.default_rng(SEED)
    discharge *= 1 + np.where(hours <= start, 0.0, rng.normal(0, 0.001, len(hours)))
    stage = rating["e"] + (discharge / rating["c"]) ** (1 / rating["b"])
    cooler = np.interp(hours, [start, 0.0], [0.0, float(rows[-1]["temperature_c"]) - warmth])
    return [
        {
            **row,
            "stage_m": f"{h:.3f}",
            "discharge_m3s": f"{q:.2f}",
            "temperature_c": f"{float(row['temperature_c']) - c:.1f}",
        }
        for row, h, q, c in zip(rows, stage, discharge, cooler, strict=True)
    ]


def write_days(folder: Path) -> None:
    """Write every kind of day into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for kind in DAYS:
        rows = day_rows(kind)
        out = io.StringIO()
        table = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
        table.writeheader()
        table.writerows(rows)
        write_whole(folder / f"{kind}.csv", out.getvalue())


if __name__ == "__main__":
    write_days(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "demo-days")
