"""`plumbrun swim` as a user meets it: options, refusals, pictures, and the countdown that reaches a depth."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from planner.cli import main
from planner.errors import UsageMistake
from planner.sink import Cast, Current, swim
from planner.sink.reach import countdown_to_reach
from planner.sink.report import add_caption, swim_report, swim_text
from planner.sink.sideview import swim_svg

DEMO = Path(__file__).parents[2] / "examples" / "demo"


def run(*arguments: str):
    """One command in this process."""
    return CliRunner().invoke(main, ["swim", *arguments])


@pytest.mark.parametrize(
    "wrong",
    ["--depth=-3 ft", "--depth=0 ft", "--near=-1 ft", "--current=-3 ft/s", "--cast=-10 ft", "--cast=0 ft",
     "--strip=-1 ft/s", "--head=0 ft", "--tip=0 ft", "--tip=30 ft", "--grains=0", "--grains=nan", "--sink=-1",
     "--sink=nan", "--reach=9 ft", "--reach=-1 ft", "--pull=1 s", "--pause=-1 s", "--lift-at=-2 ft",
     "--countdown=-1", "--picture=fly.gif"],
)  # fmt: skip
def test_nonsense_is_refused_by_its_option(wrong):
    """Negative, zero and unknown quantities end with code 2 and the option's own name."""
    done = run(wrong)
    assert done.exit_code == 2
    assert wrong.split("=")[0] in done.output
    assert "mistake in the program" not in done.output


def test_a_floating_line_has_no_closed_form_beside_it():
    """A line that does not sink reads so, and not as a negative depth."""
    done = run("--sink", "0")
    assert done.exit_code == 0
    assert "No closed form" in done.output
    assert "-0" not in done.output


def test_the_count_that_reaches_a_depth_is_the_one_that_does(head, slim):
    """A swim with the count found is at the depth by its first strip, and half a second less is not."""
    current, cast = Current(0.6, 3.0), Cast(15.0, 70.0, 0.45, 0.0, "fed")
    found = countdown_to_reach(head, slim, cast, current, 1.0, 3.0)
    at = [
        swim(head, slim, Cast(15.0, 70.0, 0.45, found.at_strip_s + more, "fed"), current, 3.0).depth_at_strip_start_m
        for more in (-0.5, 0.0, 0.5)
    ]
    print(f"count {found.at_strip_s:.2f} s: {at[1]:.3f} m")
    assert at[1] == pytest.approx(1.0, abs=0.03)
    assert at[0] < 1.0 - 0.05
    assert at[2] > 1.0
    assert np.all(np.diff(found.start_depth_m[:11]) > 0.0)
    assert found.in_swim_s <= np.ceil(found.at_strip_s)


def test_a_depth_out_of_reach_is_said_to_be(head, bulky):
    """In fast water a bulky fly held on a tight line never gets near the bed of a deep run."""
    found = countdown_to_reach(head, bulky, Cast(15.0, 10.0), Current(1.5, 4.0), 3.5, 4.0)
    assert np.isnan(found.at_strip_s)
    assert np.isnan(found.in_swim_s)
    assert 0.0 < found.deepest_m.max() < 3.5
    done = run("--current", "5 ft/s", "--depth", "12 ft", "--fly-drag", "high", "--angle", "10", "--reach", "11 ft")
    assert "No count of up to 120 s (held) reaches 11.0 ft" in done.output
    with pytest.raises(UsageMistake):
        countdown_to_reach(head, bulky, Cast(15.0), Current(0.5, 2.0), 2.5, 2.0)


def test_the_answer_of_reach_is_in_text_and_json():
    """Text gives the count with its mode, JSON the same figure."""
    words = ("--fed", "--reach", "4 ft", "--current", "2 ft/s")
    said = re.search(r"Count (\d+\.\d) s \(fed\) to have it at 4.0 ft", run(*words).output)
    assert said
    reach = json.loads(run(*words, "--json").stdout)["reach"]
    assert reach["at_strip_s"] == pytest.approx(float(said[1]), abs=0.06)


def test_a_sloping_bed_is_met_where_the_level_one_is_not():
    """Shallow at the rod tip, the swim touches on the way in; over the level bed it does not."""
    words = {"current": "1 ft/s", "countdown": 4.0, "fly_weighting": "heavy", "strip": "1 ft/s"}
    level, sloped = swim_report(**words), swim_report(**words, near="1 ft")
    assert not level["touched"]
    assert sloped["touched"]
    assert sloped["touch_at_m"] < 12.0
    assert sloped["least_height_m"] < 0.01 < level["least_height_m"]


def test_mends_and_pulses_reach_the_solver():
    """A mended count is deeper than a held one across the current; a pulsed strip moves the fly in steps."""
    held, mended = (swim_report(angle=90.0, countdown=8.0, mode=mode) for mode in ("held", "mended"))
    assert mended["depth_at_strip_start_m"] > 1.03 * held["depth_at_strip_start_m"]
    even, pulsed = swim_report(), swim_report(pull="0.5 s", pause="0.7 s")
    speed = [np.abs(np.diff(r["fly_distance_m"])) for r in (even, pulsed)]
    middle = slice(len(speed[1]) // 3, len(speed[1]) // 2)
    assert np.std(speed[1][middle]) > 5.0 * np.std(speed[0][middle])


def test_a_folders_own_tackle_is_swum():
    """Line and fly by name swim as their entries say, and a wrong or lonely name is refused with what there is."""
    own = ("--folder", str(DEMO), "--line", "26 ft head, 3 ips", "--fly", "slim minnow")
    slow = json.loads(run(*own, "--json").stdout)
    fast = json.loads(
        run("--folder", str(DEMO), "--line", "26 ft head, 6 ips", "--fly", "slim minnow", "--json").stdout
    )
    assert slow["title"] == "26 ft head, 3 ips; slim minnow"
    assert fast["mean_depth_retrieve_m"] > 1.2 * slow["mean_depth_retrieve_m"]
    assert "26 ft head, 5 ips" in run("--folder", str(DEMO), "--line", "none").output
    for lonely in (("--folder", str(DEMO)), ("--fly", "slim minnow")):
        assert run(*lonely).exit_code == 2


def test_a_bead_and_a_high_rod_tip_change_the_swim():
    """The bead's fly swims deeper; with the rod tip high it swims shallower; a bead of no metal is refused."""
    plain, beaded = swim_report(), swim_report(bead="tungsten 4.6 mm")
    high = swim_report(tip_height="6 ft")
    assert beaded["mean_depth_retrieve_m"] > plain["mean_depth_retrieve_m"] + 0.02
    assert high["mean_depth_retrieve_m"] < plain["mean_depth_retrieve_m"]
    assert run("--bead", "wooden 3 mm").exit_code == 2


@pytest.mark.parametrize("name", ["swim.svg", "swim.png"])
def test_the_picture_is_a_whole_file_of_its_kind(tmp_path, name):
    """SVG is well-formed and names its phases; PNG opens, is large enough and not empty. Neither shows green."""
    file = tmp_path / name
    done = run("--near", "2 ft", "--countdown", "6", "--lift-at", "20 ft", "--picture", str(file))
    assert done.exit_code == 0, done.output
    if name.endswith("svg"):
        from xml.etree import ElementTree

        root = ElementTree.fromstring(file.read_text(encoding="utf-8"))
        words = " ".join(text for node in root.iter() for text in [node.text or ""])
        for word in ("countdown (dots)", "retrieve (line)", "rod lifted (dashes)", "rod tip", "bed", "An estimate"):
            assert word in words
    else:
        from PIL import Image

        with Image.open(file) as image:
            assert image.size == (1920, 920)
            pixels = np.asarray(image.convert("RGB")).reshape(-1, 3).astype(int)
        assert len(np.unique(pixels, axis=0)) > 5
        assert not np.any((pixels[:, 1] > pixels[:, 0] + 40) & (pixels[:, 1] > pixels[:, 2] + 40))


def test_a_picture_into_no_folder_is_refused_and_leaves_nothing(tmp_path):
    """The folder must exist; nothing is half-written."""
    done = run("--picture", str(tmp_path / "none" / "a.svg"))
    assert done.exit_code != 0
    assert not (tmp_path / "none").exists()


def test_the_path_drawn_is_the_path_swum():
    """The points of the retrieve in the SVG fall and rise as the fly's depth does."""
    report = add_caption(swim_report(countdown=0.0), "metric")
    drawn = re.findall(
        r'<polyline points="([^"]+)" fill="none" stroke="#08519c" stroke-width="3.5"', swim_svg(report, "metric")
    )
    drawn = [points for points in drawn if points.count(" ") > 5]  # the legend has a stroke of its own
    assert len(drawn) == 1
    places = np.array([[float(value) for value in pair.split(",")] for pair in drawn[0].split()])
    retrieve = np.array(report["phase"]) == "retrieve"
    depth = report["fly_depth_m"][retrieve][-len(places) :]
    assert np.corrcoef(places[-len(depth) :, 1], depth)[0, 1] > 0.999


def test_the_terminal_shows_bed_fly_and_scale():
    """The view in characters has a row of bed, the fly's marks and the far end in the units asked for."""
    text = swim_text(add_caption(swim_report(near="2 ft"), "metric"), "metric").splitlines()
    assert any(line.strip().startswith("bed 2.4 m") and "####" in line for line in text)
    assert sum("*" in line for line in text) >= 3
    assert max(len(line) for line in text[-16:]) <= 80
