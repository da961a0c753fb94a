"""An invented winding river of any number of runs and spots, for the tests of the page."""

from __future__ import annotations

import math
from pathlib import Path

import pandas as pd
from shapely.geometry import LineString, Point, Polygon

from planner.river.records import Place, River, Run, Spot, Tackle, TackleFly, TackleLine

__all__ = ["FLIES", "GAUGE", "LAT0", "LINES", "LON0", "NASTY", "STANCES", "sample_river"]

NASTY = (
    '<img src=x onerror="document.title=1">',
    "</script><script>document.title=2</script>",
    "{{ 7 * 7 }} {% raise %}",
    "\u202eabc & 'q' \"d\"",
)
STANCES = ("wading", "bank", "anchored", "drifting")
LON0, LAT0 = -91.31, 43.58
M_LON = 111320 * math.cos(math.radians(LAT0))
M_LAT = 111130.0
GAUGE = "file:gauge.csv"
LINES = ("Full sinking 6", "Short head 250", "Short sink tip", "Intermediate", "Floating")
FLIES = ("Weighted craw", "Slim baitfish", "Bulky deer hair", "Swimming leech", "Small nymph")


def _lonlat(x: float, y: float) -> tuple[float, float]:
    return round(LON0 + x / M_LON, 7), round(LAT0 + y / M_LAT, 7)


def _middle(s: float) -> tuple[float, float, float, float]:
    """Point of an invented winding channel at distance s [m], and its direction."""
    bend = 90 * math.sin(s / 260)
    slope = 90 / 260 * math.cos(s / 260)
    size = math.hypot(1, slope)
    return s, bend, 1 / size, slope / size


def _at(s: float, n: float) -> tuple[float, float]:
    x, y, ex, ey = _middle(s)
    return _lonlat(x - n * ey, y + n * ex)


def sample_river(runs: int = 3, spots: int = 6, units: str = "us", names: tuple[str, ...] = ()) -> River:
    """A river of that many runs and spots; `names` replaces the first names of runs, spots and places."""
    length = 170.0
    made: list[Run] = []
    for i in range(runs):
        start = 60 + i * (length + 60)
        steps = [start + k * length / 8 for k in range(9)]
        ring = [_at(s, 24) for s in steps] + [_at(s, -24) for s in reversed(steps)]
        name = names[i % len(names)] if names else f"{('Ferry', 'Ledge', 'Willow', 'Barn')[i % 4]} run {i + 1}"
        made.append(
            Run(
                id=f"run-{i + 1}",
                name=name,
                gauge=GAUGE,
                polygon=Polygon(ring),
                slope=0.0006,
                bed={"class": "gravel"},
                banks="both",
            )
        )
    casts: list[Spot] = []
    for i in range(spots):
        run = i % runs
        s = 60 + run * (length + 60) + 30 + 110 * ((i // runs + 1) / (spots // runs + 1))
        side = 1 if i % 2 else -1
        kind = STANCES[i % 4]
        casts.append(
            Spot(
                id=f"spot-{i + 1}",
                run=f"run-{run + 1}",
                name=names[i % len(names)] if names else f"{('Boulder', 'Seam', 'Shelf', 'Slot')[i % 4]} {i + 1}",
                stance=kind,
                stance_lonlat=_at(s, side * 18),
                landing_lonlat=_at(s + 8, side * 1),
            )
        )
    end = 60 + runs * (length + 60)
    label = names[0] if names else ""
    places = (
        Place("in", label or "Ferry landing", "put_in", Point(*_at(20, 20))),
        Place("out", label or "Mill ramp", "take_out", Point(*_at(end, -20))),
        Place("h1", label or "Leaning tree", "hazard", Point(*_at(end - 60, 12)), hazard_kind=label or "strainer"),
        Place("flow", "", "flowline", LineString([_at(s, 0) for s in range(0, int(end) + 40, 20)])),
    )
    tackle = Tackle(
        tuple(TackleLine(name) for name in LINES),
        tuple(TackleFly(name) for name in FLIES),
        1.8,
        0.33,
        "fluorocarbon",
        0.6,
        2.0,
        "fluorocarbon",
    )
    return River(
        folder=Path("invented"),
        name=names[0] if names else "Harrow Fork (invented)",
        timezone="America/Chicago",
        units=units,
        gauges=(GAUGE,),
        runs=tuple(made),
        spots=tuple(casts),
        places=places,
        soundings=_soundings(runs, length),
        tackle=tackle,
        log=pd.DataFrame(),
        craft="drift boat",
        authority={"name": label or "Invented county sheriff", "phone": "555-0100"},
    )


def _soundings(runs: int, length: float) -> pd.DataFrame:
    """Thirty soundings in each run, in lines across."""
    at = [
        _at(60 + i * (length + 60) + 10 + 25 * k, -20 + 9 * j) for i in range(runs) for k in range(6) for j in range(5)
    ]
    return pd.DataFrame({"lon": [p[0] for p in at], "lat": [p[1] for p in at], "depth_m": 1.5})
