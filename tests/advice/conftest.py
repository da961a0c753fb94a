"""A small box, invented spots over a known bed, and one swim store for the whole folder."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from planner.advice import AtLevel, BedPatch, Settings, SpotAtLevels, SwimStore
from planner.river.records import Tackle, TackleFly, TackleLine


def line(name, ips, grains=200.0, head_ft=26.0, running="floating", tip_ft=math.nan):
    """A line of the box."""
    return TackleLine(name, "WF-7-S", head_ft, grains, ips, tip_ft, running, 7)


def box(*lines, flies=None):
    """A box with the given lines, and a bulky and a slim fly unless others are given."""
    flies = flies or (
        TackleFly("bulky", "high", math.nan, "none"),
        TackleFly("slim heavy", "low", math.nan, "heavy"),
    )
    return Tackle(tuple(lines), tuple(flies), 1.2, 0.33, "nylon", 0.0, 2.0, "nylon")


def spot(
    depth=2.0,
    current=0.6,
    stance="anchored",
    cast=15.0,
    angle=45.0,
    river=True,
    rises=(0.0,),
    sd=0.12,
    soundings=60,
    hold=(0.15, 0.6),
    shelf=0.0,
    planned=False,
    name="a",
    spread=1.15,
):
    """A spot over a level bed; `shelf` lets it rise towards the rod, in metres a metre."""
    axis = np.arange(-60.0, 61.0, 2.0)
    a = math.radians(angle)
    # the current runs north; the landing lies to its left, so the rod is south-east of it
    to_rod = (math.sin(a), -math.cos(a))
    toward = axis[None, :] * to_rod[0] + axis[:, None] * to_rod[1]
    bed = depth - shelf * np.clip(toward, 0.0, None)
    levels = tuple(
        AtLevel(
            rise_m=rise,
            depth_m=depth + rise,
            velocity_m_s=current * (1 + rise / depth) ** (2 / 3),
            velocity_low_m_s=current * (1 + rise / depth) ** (2 / 3) / spread,
            velocity_high_m_s=current * (1 + rise / depth) ** (2 / 3) * spread,
            exponent_m=6.0,
            level_sd_m=0.04,
            planned=planned,
        )
        for rise in rises
    )
    return SpotAtLevels(
        spot=SimpleNamespace(id=name, name=name, stance=stance, boat_speed_ratio=math.nan),
        cast_m=cast,
        angle_deg=angle,
        flow_east=0.0,
        flow_north=1.0,
        side=1,
        patch=BedPatch(axis, axis, bed, np.full(bed.shape, sd)),
        levels=levels,
        river=river,
        hold_low_m=hold[0],
        hold_high_m=hold[1],
        soundings=soundings,
    )


QUICK = Settings(strips_m_s=(0.45,), shortlist=4, draws=64, units="metric")


@pytest.fixture(scope="session")
def store(tmp_path_factory):
    """One store of swims for all tests of this folder, so that each swim is solved once."""
    return SwimStore(tmp_path_factory.mktemp("swims"))


@pytest.fixture
def make():
    """The makers above, for tests in modules of their own."""
    return SimpleNamespace(line=line, box=box, spot=spot, quick=QUICK, replace=replace)
