"""Heads that are not level, weights tied in, flies of each class: what their labels and sizes come to."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.errors import UsageMistake
from planner.river.records import TackleFly, TackleLine
from planner.river.tackle import parse_tackle
from planner.river.values import Notebook
from planner.sink import Cast, Current, fly_from_tackle, line_from_tackle, line_with_sink_factor, swim
from planner.sink.fly import fall_rate, fly_from_class
from planner.sink.heads import sinking_part, stepped_head, thin_front
from planner.sink.weights import added_weight, read_added
from planner.tables import rows
from planner.units import GRAIN, INCH

LEVEL = TackleLine("head", "", 26.0, 250.0, 5.0)
STEPS = [{"ft": 10, "grains": 90, "sink_ips": 6.0}, {"ft": 16, "grains": 160, "sink_ips": 4.5}]


@settings(deadline=None, derandomize=True, max_examples=60)
@given(front=st.floats(0.5, 7.0), sink=st.floats(0.03, 0.16), mass=st.floats(9e-3, 25e-3))
def test_a_compensated_front_sinks_as_the_belly_and_a_plain_one_lags(front, sink, mass):
    """Both keep the label's length and mass; the compensated head falls level unless a coating cannot be that dense."""
    for compensated in (True, False):
        steps, flags = thin_front(8.0, mass, sink, front, compensated)
        assert sum(step.length_m for step in steps) == pytest.approx(8.0)
        assert sum(step.mass_kg for step in steps) == pytest.approx(mass, rel=1e-6)
        if not flags:
            ahead, behind = (step.sink_rate_m_s for step in steps)
            assert behind == pytest.approx(sink, rel=1e-3)
            assert ahead == pytest.approx(sink, rel=1e-3) if compensated else ahead < 0.9 * behind


def test_a_front_that_no_coating_makes_lags_and_the_head_keeps_its_weight():
    """A head that lost what its front could not hold was lighter than its label; the note has the label's own rate."""
    (front, belly), (said,) = thin_front(8.0, 13e-3, 6.0 * INCH, 3.0, True)
    assert front.density_kg_m3 == 3500.0 > belly.density_kg_m3
    assert front.sink_rate_m_s < belly.sink_rate_m_s == pytest.approx(6.0 * INCH, rel=1e-3)
    assert front.mass_kg + belly.mass_kg == pytest.approx(13e-3, rel=1e-6)
    assert "at 6.0 in/s the thin front needs" in said
    steps, (said,) = thin_front(8.0, 13e-3, 8.0 * INCH, 3.0, True)
    assert [step.density_kg_m3 for step in steps] == [3500.0, 3500.0]
    assert sum(step.mass_kg for step in steps) == pytest.approx(13e-3, rel=1e-6)
    asked, used = (float(rate) for rate in re.findall(r"([\d.]+) in/s", said))
    assert asked == 8.0
    assert used == pytest.approx(steps[1].sink_rate_m_s / INCH, abs=0.05)


@pytest.mark.parametrize("front", [0.0, 8.0])
def test_a_front_that_is_none_or_the_whole_head_is_refused(front):
    """The refusal has front, head and the label's rate."""
    with pytest.raises(UsageMistake, match=rf"a front of {front:.2f} m on a head of 8.00 m that sinks 6.0 in/s"):
        thin_front(8.0, 13e-3, 6.0 * INCH, front, False)


@pytest.mark.parametrize("density", [3500.0, 3501.0])
def test_a_measured_thickness_is_doubted_only_beyond_the_densest_coating(density):
    """The densest coating taken as possible is possible."""
    mass = density * (math.pi / 4.0 * 1e-3**2)
    assert bool(sinking_part(mass, 0.1, 1e-3)[4]) is (density > 3500.0)


@pytest.mark.parametrize("sink", [0.0, 0.51])
def test_a_step_that_does_not_sink_or_sinks_faster_than_any_line_is_refused(sink):
    """Up to half a metre a second is taken, which is 20 in/s; the refusal names the step and its own rate."""
    steps, _ = stepped_head([(4.0, 7e-3, 0.1), (4.0, 7e-3, 0.5)])
    assert len(steps) == 2
    with pytest.raises(UsageMistake, match=rf"step 2 of 4.00 m, 7.00 g, sinking {sink / INCH:.1f} in/s"):
        stepped_head([(4.0, 7e-3, 0.1), (4.0, 7e-3, sink)])


def test_a_level_head_written_as_equal_steps_swims_as_the_level_head():
    """Two steps of the same line are that line, to a centimetre of the whole swim."""
    half = {"ft": 13, "grains": 125, "sink_ips": 5.0}
    stepped = line_from_tackle(replace(LEVEL, extra={"steps": [half, half]}))
    plain = line_from_tackle(LEVEL)
    assert stepped.head_density_kg_m3 == pytest.approx(plain.head_density_kg_m3, rel=1e-6)
    fly, cast, current = fly_from_class("low", "light"), Cast(15.0, 60.0, 0.45, 3.0), Current(0.8, 2.5)
    one, two = (swim(line, fly, cast, current).mean_depth_retrieve_m for line in (stepped, plain))
    assert one == pytest.approx(two, abs=0.01)


def test_the_front_of_a_head_decides_how_the_fly_hangs():
    """With the fast step in front the fly of a countdown lies deeper than with the slow step in front."""
    fast = line_from_tackle(replace(LEVEL, extra={"steps": STEPS}))
    slow = line_from_tackle(replace(LEVEL, head_grains=250, extra={"steps": [
        {"ft": 16, "grains": 160, "sink_ips": 4.5}, {"ft": 10, "grains": 90, "sink_ips": 6.0}]}))  # fmt: skip
    assert fast.head_mass_kg == pytest.approx(slow.head_mass_kg) == pytest.approx(250 * GRAIN)
    fly, still = fly_from_class("high", "none"), Current(0.0, 10.0)
    deep, less = (swim(line, fly, Cast(15.0, 0.0, 0.0, 8.0), still).depth_at_strip_start_m for line in (fast, slow))
    print(f"after 8 s of still water: fast front {deep:.2f} m, slow front {less:.2f} m")
    assert deep > 1.05 * less


def test_density_compensation_swims_the_front_deeper():
    """On a tight line in current the compensated head's fly hangs deeper than the plain tapered one's."""
    fly, depth = fly_from_class("medium", "light"), {}
    for compensated in (False, True):
        line = line_from_tackle(replace(LEVEL, extra={"front_taper_ft": 10, "compensated": compensated}))
        depth[compensated] = float(swim(line, fly, Cast(10.0, 0.0, 0.0), Current(0.6, 10.0)).fly_depth_m[-1])
    print(f"compensated {depth[True]:.2f} m, plain {depth[False]:.2f} m")
    assert depth[True] > 1.05 * depth[False]


def test_a_sink_factor_moves_every_step():
    """A stepped line drawn 10 % slower is slower in each step and as thick."""
    line = line_from_tackle(replace(LEVEL, extra={"steps": STEPS}))
    slow = line_with_sink_factor(line, 0.9)
    for old, new in zip(line.steps, slow.steps, strict=True):
        assert new.sink_rate_m_s == pytest.approx(0.9 * old.sink_rate_m_s, rel=1e-6)
        assert new.diameter_m == old.diameter_m


def test_steps_that_do_not_add_up_are_refused_with_their_sums():
    """Steps of another length or weight than the label name both."""
    with pytest.raises(UsageMistake, match=r"20.0 ft"):
        line_from_tackle(replace(LEVEL, extra={"steps": [STEPS[0], STEPS[0]]}))
    with pytest.raises(UsageMistake, match="two or three"):
        stepped_head([(8.0, 13e-3, 0.1)])
    with pytest.raises(UsageMistake, match="step 2"):
        stepped_head([(4.0, 7e-3, 0.1), (4.0, 7e-3, -0.1)])


def test_a_step_no_coating_can_make_is_flagged_and_widens_the_spread():
    """A thin step at 8 in/s is held at the densest coating, said aloud with its number, and the spread reaches down."""
    steps = [{"ft": 10, "grains": 60, "sink_ips": 8.0}, {"ft": 16, "grains": 190, "sink_ips": 4.0}]
    line = line_from_tackle(replace(LEVEL, extra={"steps": steps}))
    assert line.flags[0].startswith("step 1: weight and sink rate disagree")
    assert line.sink_sd_below > line.sink_sd_above
    assert line.sink_rate_m_s < line.stated_sink_m_s


@pytest.mark.parametrize("row", rows("fly_fall_rates"), ids=lambda row: f"{row['drag']}-{row['weighting']}")
def test_each_class_falls_at_the_rate_its_table_says(row):
    """Weight in water against broadside area gives the table's still-water rate, inside its band."""
    rate = fall_rate(fly_from_class(row["drag"], row["weighting"])) / INCH
    assert rate == pytest.approx(float(row["usual_ips"]), abs=0.06)
    assert float(row["low_ips"]) <= rate <= float(row["high_ips"])


def test_a_fly_dropped_alone_reaches_the_rate_of_its_class():
    """On a metre of slack thin leader the solver lets a heavy fly fall as its weight and area say, within a tenth."""
    fly = fly_from_class("low", "heavy")
    line = replace(line_from_tackle(LEVEL), leader_length_m=12.0, leader_diameter_m=0.1e-3, leader_density_kg_m3=1000.0)
    path = swim(line, fly, Cast(12.0, 0.0, 0.0, 6.0, "fed"), Current(0.0, 20.0), nodes=30)
    count = path.phase == 0
    speed = np.gradient(path.fly_depth_m[count], path.times_s[count])
    print(f"fastest {speed.max():.3f} m/s, alone {fall_rate(fly):.3f} m/s")
    assert speed.max() == pytest.approx(fall_rate(fly), rel=0.1)


def test_a_bead_sinks_a_fly_faster_by_its_metal():
    """Tungsten over lead over brass of one size; each is deeper in current than none."""
    depths = []
    for bead in (None, "brass 4.6 mm", "lead 4.6 mm", "tungsten 4.6 mm"):
        fly = fly_from_tackle(TackleFly("x", "low", math.nan, "none", extra={"bead": bead} if bead else {}))
        line = line_from_tackle(LEVEL)
        depths.append(swim(line, fly, Cast(15.0, 45.0, 0.45, 3.0), Current(1.0, 3.0)).mean_depth_retrieve_m)
    print("none, brass, lead, tungsten: " + ", ".join(f"{depth:.2f} m" for depth in depths))
    assert np.all(np.diff(depths) > 0.01)


def test_a_weighed_fly_with_a_bead_keeps_its_mass_and_takes_the_beads_volume():
    """Mass as weighed stands; a tungsten bead leaves the fly smaller than as much lead."""
    plain = fly_from_tackle(TackleFly("x", "low", 2.0, ""))
    beaded = fly_from_tackle(TackleFly("x", "low", 2.0, "", extra={"bead": "tungsten 4.6 mm"}))
    assert beaded.mass_kg == pytest.approx(plain.mass_kg)
    assert beaded.volume_m3 < plain.volume_m3


@pytest.mark.parametrize("text", ["gold 3 mm", "tungsten", "tungsten 40 mm", "tungsten 3/0 in", "3 mm tungsten", "x"])
def test_weights_no_table_knows_are_refused(text):
    """Unknown metals, missing or impossible sizes are refused."""
    with pytest.raises(UsageMistake):
        read_added("bead", text)


def test_sizes_in_inches_and_millimetres_are_the_same():
    """3/16 in is 4.7625 mm."""
    inches, metric = read_added("dumbbell", 'lead 3/16"'), added_weight("dumbbell", "lead", 4.7625e-3)
    assert inches.mass_kg == pytest.approx(metric.mass_kg)
    assert inches.volume_m3 == pytest.approx(metric.volume_m3)


TEXT = """
[[line]]
name = "a"
head_ft = 26
head_grains = 250
sink_ips = 5
{line}

[[fly]]
name = "b"
drag = "low"
{fly}
"""


def _findings(line: str = "", fly: str = 'weighting = "none"') -> list[str]:
    notes = Notebook()
    parse_tackle(TEXT.format(line=line, fly=fly), notes)
    return [f"{finding.level}: {finding.given}" for finding in notes.all()]


def test_the_tackle_file_takes_steps_tapers_weights_and_timed_flies():
    """Entries as documented are read without a finding; a bead stands in for mass and weighting."""
    steps = "steps = [ { ft = 10, grains = 90, sink_ips = 6 }, { ft = 16, grains = 160, sink_ips = 4.5 } ]"
    assert not _findings(steps)
    assert not _findings("front_taper_ft = 8\ncompensated = true")
    assert not _findings(fly='bead = "tungsten 3.3 mm"')
    assert not _findings(fly='weighting = "heavy"\nsink_ips = 11.0')


@pytest.mark.parametrize(
    ("line", "fly", "word"),
    [
        ("steps = 3", 'weighting = "none"', "steps"),
        ("steps = [ { ft = 9, grains = 90 }, { ft = 9, grains = 9, sink_ips = 4 } ]", 'weighting = "none"', "sink_ips"),
        ("front_taper_ft = 8\ndiameter_mm = 1.0", 'weighting = "none"', "both"),
        ('front_taper_ft = "long"', 'weighting = "none"', "front_taper_ft"),
        ("", "bead = 3", "bead"),
        ("", 'bead = "gold 3 mm"', "bead"),
        ("", 'cone = "big"', "cone"),
        ("", 'weighting = "none"\nsink_ips = -2', "sink_ips"),
        ("", "", "neither"),
    ],
)  # fmt: skip
def test_the_tackle_file_says_what_is_wrong_with_them(line, fly, word):
    """Each wrong entry is an error that names its key."""
    assert any(finding.startswith("error") and word in finding for finding in _findings(line, fly))
