"""Leaving the banks of a run out must not make the water where a wader stands look shallower than with them."""

from __future__ import annotations

import json
from pathlib import Path

from planner.evening import DEMO_NOW, unpack_demo
from planner.plan.ask import request
from planner.plan.readings import read_gauges
from planner.plan.waters import GaugeLevel, run_waters, spot_water
from planner.river import read_river


def _high_depths(folder: Path, banks: str) -> dict[str, float]:
    path = folder / "runs.geojson"
    drawn = json.loads(path.read_text(encoding="utf-8"))
    for feature in drawn["features"]:
        feature["properties"]["banks"] = banks
    path.write_text(json.dumps(drawn), encoding="utf-8")
    river = read_river(folder)
    asked = request(river.timezone, day="tomorrow", start="08:00", end="16:00", now=DEMO_NOW)
    waters = run_waters(river, read_gauges(river, asked))
    level = GaugeLevel(1.893, 43.6)
    waded = [spot for spot in river.spots if spot.stance == "wading"]
    return {spot.id: spot_water(waters[spot.run], spot, level).stance_depth_high_m for spot in waded}


def test_a_bank_left_out_never_makes_a_stance_shallower(tmp_path: Path) -> None:
    """The depth held against the wading limits with no bank, or one, is at least that with both, at every stance."""
    folder, _ = unpack_demo(tmp_path)
    known = _high_depths(folder, "both")
    assert len(known) >= 2
    for banks in ("left", "right", "none"):
        for spot, high in _high_depths(folder, banks).items():
            assert high >= known[spot], (banks, spot)
