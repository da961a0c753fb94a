"""What `plumbrun swim` takes, and that its words are those of the swim."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from planner.errors import PlumbrunError, UsageMistake
from planner.river.records import TackleFly, TackleLine
from planner.sink import Cast, Current, swim
from planner.sink.bedgrid import bed_by_distance
from planner.sink.fly import fly_from_class
from planner.sink.line import line_from_head
from planner.sink.reach import LONGEST, countdown_to_reach
from planner.sink.report import add_caption, drift_ratio, swim_report, swim_text
from planner.units import FOOT, GRAIN, INCH

SHORT: dict[str, Any] = {"cast": "8 m", "strip": "1 m/s", "countdown": 0.0}


@pytest.mark.parametrize(
    ("what", "ends", "beyond"),
    [
        ("depth", ("0.01 m", "60 m"), ("0 m", "60.1 m")),
        ("near", ("0 m", "60 m"), ("-0.1 m", "60.1 m")),
        ("current", ("0 m/s", "5 m/s"), ("-0.1 m/s", "5.1 m/s")),
        ("cast", ("1 m", "60 m"), ("0.9 m", "60.1 m")),
        ("grains", (40.0, 3000.0), (0.0, 3000.1)),
        ("sink", (0.0, 20.0), (-0.1, 20.1)),
        ("head", ("0.3 m", "40 m"), ("0.29 m", "40.1 m")),
        ("tip", ("0.3 m", "26 ft"), ("0.29 m", "26.1 ft")),
        ("strip", ("0 m/s", "3 m/s"), ("-0.1 m/s", "3.1 m/s")),
        ("lift_at", ("0.5 m", "60 m"), ("0.4 m", "60.1 m")),
        ("tip_height", ("0 m", "4 m"), ("-0.1 m", "4.1 m")),
        ("pause", ("0 s", "1 s", "20 s"), ("-0.1 s", "20.1 s")),
    ],
)
def test_a_quantity_at_the_ends_of_its_range_is_taken_and_beyond_refused(what, ends, beyond) -> None:
    """Each end is let through by its option; what lies beyond is refused by the option's name with the range."""
    still = SHORT | ({"strip": "0.1 m/s"} if what == "pause" else {})
    option = f"--{what.replace('_', '-')}"
    assert [option in _refusal(still | {what: value}) for value in ends] == [False] * len(ends)
    assert [option in _refusal(still | {what: value}) for value in beyond] == [True] * len(beyond)


def _refusal(typed: dict[str, Any]) -> str:
    """The words of a refusal; none when there is a swim. A line that cannot be built says so without the option."""
    try:
        swim_report(**typed)
    except PlumbrunError as refused:
        return str(refused)
    return ""


@pytest.mark.parametrize("pull", ["0.09 s", "20.1 s"])
def test_a_pull_that_no_hand_makes_is_refused(pull) -> None:
    """A pull lasts 0.1 to 20 s."""
    with pytest.raises(UsageMistake, match="--pull"):
        swim_report(**SHORT, pull=pull, pause="1 s")
    swim_report(**(SHORT | {"strip": "0.1 m/s"}), pull="0.1 s", pause="0.1 s")


def test_the_report_is_the_swim_of_what_was_typed() -> None:
    """Depths, distances, phases and lengths are those of the swim made by hand of the same line, fly, cast and bed."""
    report = swim_report(
        depth="2 m", near="1 m", current="0.5 m/s", grains=250.0, head="26 ft", sink=5.0, fly_drag="low",
        fly_weighting="heavy", cast="14 m", angle=60.0, countdown=3.0, strip="0.4 m/s", tip_height="0.5 m",
        lift_at="6 m", pull="0.6 s", pause="0.4 s", mode="fed",
    )  # fmt: skip
    cast = Cast(
        14.0, 60.0, 0.4, 3.0, "fed", "anchored", tip_height_m=0.5, lift_at_m=6.0, pull_s=0.6, pause_s=0.4
    )  # fmt: skip
    line = line_from_head(26 * FOOT, 250 * GRAIN, 5 * INCH)
    bed = bed_by_distance(np.array([0.0, 14.0]), np.array([1.0, 2.0]), 33.0)
    path = swim(line, fly_from_class("low", "heavy"), cast, Current(0.5, 2.0), bed)
    assert report["fly_depth_m"] == pytest.approx(path.fly_depth_m, abs=1e-6)
    assert report["height_m"] == pytest.approx(path.height_m, abs=1e-6)
    assert report["mean_depth_retrieve_m"] == pytest.approx(path.mean_depth_retrieve_m)
    assert report["least_height_m"] == pytest.approx(float(path.clearance_m.min()))
    assert report["fed_m"] == pytest.approx(path.fed_m)
    assert report["line"]["diameter_mm"] == pytest.approx(1000.0 * line.head_diameter_m)
    assert report["line"]["density_kg_m3"] == pytest.approx(line.head_density_kg_m3)
    words = {0: "countdown", 1: "retrieve", 2: "lift"}
    assert report["phase"] == [words[int(phase)] for phase in path.phase]
    assert (report["water"]["bed_distance_m"].tolist(), report["water"]["bed_depth_m"].tolist()) == (
        [0.0, 14.0], [1.0, 2.0],
    )  # fmt: skip


def test_pulls_not_told_last_half_a_second() -> None:
    """With a pause alone the pull is half a second, the same as when that is said."""
    plain, said = (swim_report(**SHORT, pause="0.5 s", **more) for more in ({}, {"pull": "0.5 s"}))
    assert np.array_equal(plain["fly_depth_m"], said["fly_depth_m"])


def test_a_drifting_boat_goes_with_its_share_of_the_surface() -> None:
    """The boat's speed is its ratio of the surface current, and an anchored one has none."""
    report = swim_report(**SHORT, current="0.7 m/s", depth="2 m", stance="drifting")
    surface = 0.7 * 8.0 / 7.0  # of a power law with 1/7
    assert 0.5 < drift_ratio() <= 1.0
    assert report["water"]["boat_speed_m_s"] == pytest.approx(drift_ratio() * surface)
    assert swim_report(**SHORT)["water"]["boat_speed_m_s"] == 0.0


def test_the_reach_is_that_of_the_search_over_the_same_bed() -> None:
    """Counts of the report are the search's, whatever countdown was typed; at the bed there is nothing to reach."""
    typed = {"depth": "2 m", "current": "0.5 m/s", "cast": "10 m", "angle": 60.0, "mode": "held"}
    found = swim_report(**typed, countdown=5.0, reach="0.8 m")["reach"]
    line = line_from_head(26 * FOOT, 200 * GRAIN, 5 * INCH)
    cast = Cast(10.0, 60.0, 1.5 * FOOT, 0.0, "held", "anchored")
    expected = countdown_to_reach(line, fly_from_class("medium", "light"), cast, Current(0.5, 2.0), 0.8, 2.0)
    assert found["at_strip_s"] == pytest.approx(expected.at_strip_s, nan_ok=True)
    assert found["in_swim_s"] == pytest.approx(expected.in_swim_s, nan_ok=True)
    assert found["touches_s"] == pytest.approx(expected.touches_s, nan_ok=True)
    assert found["deepest_m"] == pytest.approx(expected.deepest_m.max())
    assert found["longest_s"] == LONGEST["held"]
    for reach in ("2 m", "2.1 m", "0 m"):
        with pytest.raises(UsageMistake, match="--reach"):
            swim_report(**typed, reach=reach)


def made_up(**changed: Any) -> dict[str, Any]:
    """A report of a real swim with some of its figures put in place of its own."""
    return add_caption(swim_report(**SHORT, depth="2 m", current="0.5 m/s"), "metric") | changed


@pytest.mark.parametrize(
    ("changed", "said", "not_said"),
    [
        ({"touched": True, "touch_at_m": 7.0, "hang": False}, "Touches the bed 7 m from the rod tip.", "hangs"),
        ({"touched": False, "hang": False}, "Touches the bed nowhere.", "from the rod tip."),
        ({"touched": True, "touch_at_m": 7.0, "hang": True}, "from the rod tip. It hangs there.", "nowhere"),
        ({"fed_m": 1.3}, "Fed 1.3 m of line in the count.", "Fed 0"),
        ({"fed_m": 0.06}, "Fed 0.1 m of line", "Fed 1"),
        ({"fed_m": 0.05}, "mean in the retrieve", "Fed"),
        ({"sanity_depth_m": 0.93}, "Closed form beside it 0.9 m", "the line floats"),
        ({"sanity_depth_m": math.nan}, "No closed form beside it: the line floats", "nan"),
        ({"line": {"diameter_mm": 0.912, "density_kg_m3": 2101.4, "flags": []}}, "0.91 mm, 2101 kg/m³.", "Note"),
        ({"line": {"diameter_mm": 1.0, "density_kg_m3": 2000.0, "flags": ["dense"]}}, "Note: dense", "Reach"),
    ],
)
def test_the_words_say_what_the_figures_are(changed, said, not_said) -> None:
    """Touch, hang, line fed, closed form and line: each is said when it is so and else not."""
    text = swim_text(made_up(**changed), "metric")
    assert text.startswith("An estimate:")
    assert said in text
    assert not_said not in text


NEVER = {"depth_m": 1.0, "at_strip_s": math.nan, "in_swim_s": math.nan, "longest_s": 45, "deepest_m": 0.7,
         "touches_s": math.nan}  # fmt: skip


@pytest.mark.parametrize(
    ("reach", "said", "not_said"),
    [
        ({}, "No count of up to 45 s (held) reaches 1.0 m: the fly comes to 0.7 m at most.", "From a count"),
        ({"in_swim_s": 4.0}, "From a count of 4 s on it gets there at some moment", "reaches"),
        ({"in_swim_s": 4.0}, "No count of up to 45 s has it at 1.0 m by the first strip.", "touches the bed"),
        ({"at_strip_s": 6.24, "in_swim_s": 4.0}, "Count 6.2 s (held) to have it at 1.0 m", "No count"),
        ({"at_strip_s": 6.24, "in_swim_s": 4.0, "touches_s": 9.0}, "From a count of 9 s on line or fly touches",
         "No count"),
        ({"at_strip_s": 6.24}, "Count 6.2 s", "From a count"),
    ],
)  # fmt: skip
def test_the_words_on_reach_say_which_counts_do(reach, said, not_said) -> None:
    """None at all, none by the first strip, the one that does, and from which on the bed is touched."""
    text = swim_text(made_up(reach=NEVER | reach), "metric")
    assert said in text
    assert not_said not in text.split("surface")[0]


def test_the_title_names_the_tackle_and_the_caption_the_water() -> None:
    """Described tackle is told in words, tackle of a box by its names; the caption has depth, speed, count and mean."""
    report = swim_report(**(SHORT | {"countdown": 2.5}), depth="2 m", current="0.5 m/s", bead="brass 3 mm", sink=4.0)
    assert (
        report["title"] == "200 grains over 26 ft, 4 inches per second; medium drag fly, light weight, brass 3 mm bead"
    )
    bare = swim_report(**SHORT, fly_weighting="none")["title"]
    assert bare.endswith("medium drag fly, no weight")
    line = TackleLine("the box's own line", "", 26.0, 250.0, 6.0)
    tied = TackleFly("the box's own fly", "low", math.nan, "none", extra={})
    assert swim_report(**SHORT, own=(None, line, tied))["title"] == "the box's own line; the box's own fly"
    assert swim_report(**SHORT, own=(None, line, None))["title"] == "the box's own line; medium drag fly, light weight"
    caption = add_caption(report, "metric")["caption"]
    mean = report["mean_depth_retrieve_m"]
    assert caption.startswith("2.0 m of water at 0.5 m/s, count 2.5 s, held; mean in the retrieve")
    assert f"{mean:.1f} m. An estimate." in caption
