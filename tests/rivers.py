"""Small river folders for tests: copies of the examples with a short tackle box, so that a plan takes seconds."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

__all__ = ["DATA", "EXAMPLES", "REPLIES", "small_river"]

ROOT = Path(__file__).parent.parent
EXAMPLES = ROOT / "examples"
DATA = ROOT / "data" / "gauges"
REPLIES = {
    "june": DATA / "usgs_iv_01541000_01570500_2018-06_mixed_interval_empty_series.json",
    "ice": DATA / "usgs_iv_01542500_2019-01_ice_missing.json",
    "empty": DATA / "usgs_iv_no_series.json",
}

_TACKLE = """
[[line]]
name = "short head, class 5"
code = "WF-7-S"
head_ft = 26
head_grains = 220
sink_ips = 5.0
running = "floating"
rod_weight = 7

[[fly]]
name = "slim minnow"
drag = "low"
weighting = "light"
"""


def small_river(source: Path, folder: Path, spots: int = 1) -> Path:
    """Copy a river folder with one line, one fly and its first spots.

    Parameters
    ----------
    source, folder : Path
        The river folder and where its copy goes.
    spots : int
        How many spots are kept.
    """
    shutil.copytree(source, folder)
    (folder / "tackle.toml").write_text(_TACKLE, encoding="utf-8")
    path = folder / "spots.geojson"
    drawn = json.loads(path.read_text(encoding="utf-8"))
    drawn["features"] = drawn["features"][:spots]
    path.write_text(json.dumps(drawn), encoding="utf-8")
    return folder
