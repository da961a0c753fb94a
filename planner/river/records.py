"""The records of a river folder: what each file says, in SI, with unknown as NaN.

Coordinates are lon, lat in degrees (WGS 84, RFC 7946), depths positive down [m], stages above the gauge's own
zero [m], times UTC-aware. `extra` of a record holds the members and columns that the reader does not know; the
writer puts them back.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd
    from shapely.geometry.base import BaseGeometry
    from shapely.geometry.polygon import Polygon

__all__ = [
    "BANKS",
    "DRAG_CLASSES",
    "HOLD_HIGH_M",
    "HOLD_LOW_M",
    "PLACE_KINDS",
    "STANCES",
    "WEIGHTINGS",
    "Finding",
    "Place",
    "River",
    "Run",
    "Spot",
    "Tackle",
    "TackleFly",
    "TackleLine",
]

STANCES = ("wading", "bank", "anchored", "drifting")
BANKS = ("both", "left", "right", "none")
PLACE_KINDS = ("put_in", "take_out", "hazard", "flowline")
DRAG_CLASSES = ("high", "medium", "low")
WEIGHTINGS = ("none", "light", "heavy")

# The band above the bed where smallmouth are expected to hold (design choice, see the design's hold band).
HOLD_LOW_M = 0.15
HOLD_HIGH_M = 0.60


@dataclass(frozen=True)
class Finding:
    """One thing that the checker found.

    Parameters
    ----------
    level : str
        ``error`` stops a plan, ``warning`` is said aloud on it, ``note`` is for information.
    file : str
        Name of the file in the river folder.
    where : str
        Feature, line, table or column inside the file.
    given, need, next_step : str
        What was given, what is needed instead, what to do next.
    """

    level: str
    file: str
    where: str
    given: str
    need: str
    next_step: str

    def __str__(self) -> str:
        place = f"{self.file}, {self.where}" if self.where else self.file
        return f"{self.level}: {place}: {self.given}. Needed: {self.need}. Next: {self.next_step}."

    def as_dict(self) -> dict[str, str]:
        """The finding as plain text members, for JSON."""
        return {
            "level": self.level,
            "file": self.file,
            "where": self.where,
            "given": self.given,
            "need": self.need,
            "next_step": self.next_step,
        }


@dataclass(frozen=True)
class Spot:
    """One cast: a line from the stance (where the rod tip is) to the landing (where the fly comes down).

    Parameters
    ----------
    id, run, name : str
        Its id, the id of its run, the name shown.
    stance : str
        ``wading``, ``bank``, ``anchored`` or ``drifting``.
    boat_speed_ratio : float
        Boat speed over surface current at the boat; NaN takes the default of the stance kind.
    stance_lonlat, landing_lonlat : tuple of float
        Ends of the cast [degrees].
    hold_low_m, hold_high_m : float or None
        The spot's own hold band above the bed [m]; None takes the run's.
    """

    id: str
    run: str
    name: str
    stance: str
    stance_lonlat: tuple[float, float]
    landing_lonlat: tuple[float, float]
    boat_speed_ratio: float = math.nan
    hold_low_m: float | None = None
    hold_high_m: float | None = None
    note: str = ""
    extra: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Run:
    """A run: a polygon of water that was sounded and is fished.

    Parameters
    ----------
    id, name : str
        Its id and the name shown.
    gauge : str
        Station id such as ``usgs:01541000``; empty when the river has none.
    polygon : shapely Polygon
        Outline in lon, lat [degrees].
    slope : float
        Water-surface slope [m/m]; NaN unknown.
    bed : dict
        ``{"class": name}``, ``{"n": Manning's n [s/m^(1/3)]}``, ``{"d84_mm": [mm]}`` or ``{}``.
    banks : str
        Which edges of the polygon are the water's edge: ``both``, ``left``, ``right``, ``none``.
    waterline_at : datetime or None
        When the outline was drawn, UTC.
    flow_share : float
        Share of the river's discharge that this run carries, 0 to 1; NaN not given.
    area_ratio : float
        Drainage area at the run over that at the gauge.
    lag_min : float
        Minutes after the gauge at which the run sees a change; NaN is computed.
    still : bool
        True for a lake or backwater.
    hold_low_m, hold_high_m : float
        Heights above the bed between which fish are expected [m].
    """

    id: str
    name: str
    gauge: str
    polygon: Polygon
    slope: float = math.nan
    bed: dict[str, Any] = field(default_factory=dict)
    banks: str = "none"
    waterline_at: datetime | None = None
    flow_share: float = math.nan
    area_ratio: float = 1.0
    lag_min: float = math.nan
    still: bool = False
    hold_low_m: float = HOLD_LOW_M
    hold_high_m: float = HOLD_HIGH_M
    note: str = ""
    extra: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Place:
    """A put-in, a take-out, a hazard or the river's flowline (drawn downstream).

    `hazard_kind` is the person's own word (``low-head dam``, ``strainer``, ``bridge pier``) and empty for the rest.
    """

    id: str
    name: str
    kind: str
    geometry: BaseGeometry
    hazard_kind: str = ""
    note: str = ""
    extra: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class TackleLine:
    """A fly line as its label gives it.

    Parameters
    ----------
    name, code : str
        The angler's name for it and its AFFTA designation, e.g. ``WF-8-S`` or ``WF-8-F/S``.
    head_ft : float
        Length of the head [ft], the tip included.
    head_grains : float
        Weight [grains] of the part that sinks: the whole head of a full sinking line, the tip alone where `tip_ft`
        is given (so are tips labelled), the whole head of a floating line.
    sink_ips : float
        Sink rate of that part [inches per second]; 0 for a floating line.
    tip_ft : float
        Length of the sinking tip [ft]; NaN for a full sinking (or full floating) head. The rest of the head floats.
    running : str
        ``floating`` or ``sinking`` running line.
    rod_weight : float
        AFFTA rod weight; NaN unknown.
    diameter_mm : float
        Measured diameter of the sinking part [mm]; NaN unknown. A given diameter wins over the sink rate.
    """

    name: str
    code: str = ""
    head_ft: float = math.nan
    head_grains: float = math.nan
    sink_ips: float = math.nan
    tip_ft: float = math.nan
    running: str = "floating"
    rod_weight: float = math.nan
    diameter_mm: float = math.nan
    extra: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class TackleFly:
    """A fly: drag class (``high``, ``medium``, ``low``), mass [g] or weighting class, length [mm]."""

    name: str
    drag: str = "medium"
    mass_g: float = math.nan
    weighting: str = ""
    length_mm: float = math.nan
    extra: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Tackle:
    """What is in the boat bag: lines, flies, leader and tippet; `generic` when there was no tackle file."""

    lines: tuple[TackleLine, ...]
    flies: tuple[TackleFly, ...]
    leader_m: float
    leader_diameter_mm: float
    leader_material: str
    tippet_m: float
    tippet_x: float
    tippet_material: str
    generic: bool = False
    extra: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class River:
    """A river folder as read.

    Parameters
    ----------
    folder : Path
        Where it was read from.
    name, timezone, units : str
        Name, zoneinfo key, ``us`` or ``metric``.
    gauges : tuple of str
        Station ids, ``service:station``; the first is the default of the runs.
    slope : float
        Default slope of the runs [m/m]; NaN unknown.
    bed : dict
        Default bed, as in `Run`.
    craft : str
        ``drift boat``, ``raft``, ``canoe``, ``kayak``, ``on foot`` or the person's own word; empty not given.
    party : dict
        Who goes: ``adults``, ``children``, ``footing`` (``good``, ``fair``, ``slick``, ``poor``), ``alone`` and more.
    thresholds : tuple of dict
        Local caution thresholds. Keys: ``input`` (``stage``, ``discharge``, ``water_temperature``, ``turbidity``),
        ``level`` (1 to 3), ``at`` and ``unit`` as given, ``at_si`` (m, m³/s, °C, FNU), ``side`` (``above`` or
        ``below``), ``gauge``, ``text``, ``source``.
    authority : dict
        ``name``, ``phone`` and more for the float plan left ashore.
    soundings : pandas.DataFrame
        Columns lon, lat [degrees], depth_m [m], taken_at (UTC, NaT unknown), stage_m [m], method, draft_m [m], note,
        line (line number in the file), then unknown columns as text.
    log : pandas.DataFrame
        What happened on the water, columns as in the file; `line` is the line number.
    findings : tuple of Finding
        Warnings and notes that did not stop the reading.
    documents : dict
        Text of each file as read, so that a writer keeps what it does not know.
    """

    folder: Path
    name: str
    timezone: str
    units: str
    gauges: tuple[str, ...]
    runs: tuple[Run, ...]
    spots: tuple[Spot, ...]
    places: tuple[Place, ...]
    soundings: pd.DataFrame
    tackle: Tackle
    log: pd.DataFrame
    slope: float = math.nan
    bed: dict[str, Any] = field(default_factory=dict)
    craft: str = ""
    party: dict[str, Any] = field(default_factory=dict)
    thresholds: tuple[dict[str, Any], ...] = ()
    authority: dict[str, Any] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    documents: dict[str, str] = field(default_factory=dict)
    extra: dict[str, Any] = field(default_factory=dict)

    def run(self, run_id: str) -> Run:
        """The run of an id; `UsageMistake` names the known ids when there is none."""
        for run in self.runs:
            if run.id == run_id:
                return run
        from planner.errors import UsageMistake

        known = ", ".join(run.id for run in self.runs) or "none"
        raise UsageMistake(f"run {run_id!r} is not in runs.geojson", f"one of: {known}", "correct the run's id")

    def places_of(self, kind: str) -> tuple[Place, ...]:
        """Places of one kind, in file order."""
        return tuple(place for place in self.places if place.kind == kind)

    def flowline(self) -> Place | None:
        """The flowline (drawn downstream), or None."""
        lines = self.places_of("flowline")
        return lines[0] if lines else None
