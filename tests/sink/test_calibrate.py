"""A stopwatch and a pool: what is timed comes back as the rate that the solver then swims."""

from __future__ import annotations

import math
import re
import shutil
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.cli import main
from planner.errors import PlumbrunError, UsageMistake
from planner.river.records import TackleLine
from planner.sink.bucket import calibrate_text, fly_report, line_report, water_celsius
from planner.sink.calibrate import long_line_rate, short_piece_share, timed_fall, timed_fly, timed_line, water_at
from planner.sink.constants import constant
from planner.sink.drag import sink_rate_broadside
from planner.sink.fly import fall_rate, fly_from_class
from planner.tables import rows
from planner.units import INCH
from tests.sink.closed import broadside_drop

DEMO = Path(__file__).parents[2] / "examples" / "demo"


def run(*arguments: str):
    """One command in this process."""
    return CliRunner().invoke(main, list(arguments))


@settings(deadline=None, derandomize=True)
@given(rate=st.floats(0.02, 0.3), inertia=st.floats(1.2, 8.0), depth=st.floats(0.5, 6.0))
def test_the_start_is_not_taken_for_slowness(rate, inertia, depth):
    """A fall made by the closed form from rest gives its terminal rate back."""
    tau = inertia * rate / 9.80665
    times = np.linspace(0.0, 2.0 * depth / rate + 5 * tau, 200_001)
    arg = times / tau
    fallen = rate * tau * (arg + np.log1p(np.exp(-2 * arg)) - math.log(2.0))
    time = float(np.interp(depth, fallen, times))
    if 0.6 <= time <= 600.0 and time > 2.5 * tau:
        assert timed_fall(depth, [time], inertia).sink_m_s == pytest.approx(rate, rel=1e-4)


@pytest.mark.parametrize("water", [4.0, 12.0, 20.0, 28.0])
@pytest.mark.parametrize("mass", [1.635e-3, 2.976e-3])
def test_a_line_dropped_by_the_model_is_found_again(water, mass):
    """A long line of known thickness let fall in water of any temperature gives its rate at 12 °C and its thickness."""
    diameter = 1.1e-3 if mass < 2e-3 else 1.4e-3
    density = mass / (math.pi / 4 * diameter**2)
    nu, rho = water_at(water)
    here = sink_rate_broadside(diameter, density, "cheng", nu, rho)
    time = 1.5 / here + (density + rho) / (density - rho) * here / 9.80665 * math.log(2.0)
    fall, found, _, ends = timed_line(1.5, [time], water, 8.0, mass)
    assert fall.sink_m_s == pytest.approx(sink_rate_broadside(diameter, density), rel=3e-3)
    assert found == pytest.approx(diameter, rel=3e-3)
    assert 0.998 < ends < 1.0


def test_the_closed_drop_is_found_again():
    """The time of the model's own broadside drop over 1.5 m gives its sink rate back within half a percent."""
    time = 11.85
    depth = broadside_drop(time, 0.127, 1.2e-3, 1858.0)
    assert timed_fall(depth, [time], (1858.0 + 999.5) / (1858.0 - 999.5)).sink_m_s == pytest.approx(0.127, rel=5e-3)


def test_a_short_piece_is_corrected_for_its_ends_and_a_long_one_hardly():
    """Two inches lose a tenth, a yard half a percent, a whole head nothing; half of it stands as uncertainty."""
    drops = {piece: timed_line(1.5, [10.0], 12.0, piece) for piece in (0.05, 0.9, 8.0)}
    assert [round(100 * (1 - made[3]), 1) for made in drops.values()] == pytest.approx([8.8, 0.5, 0.1], abs=0.5)
    assert drops[0.05][0].error_m_s > 2 * drops[8.0][0].error_m_s
    assert math.isnan(short_piece_share(1e-3, 0.01))
    assert long_line_rate(0.12, 1e-3, 0.04) < 0.12


def test_more_falls_make_it_surer_and_scatter_less_so():
    """The error falls with the root of the number of falls and grows with their scatter."""
    one, four = timed_fall(1.5, [9.8], 3.0), timed_fall(1.5, [9.8, 9.7, 9.9, 9.8], 3.0)
    wild = timed_fall(1.5, [8.0, 12.0, 9.4, 9.8], 3.0)
    assert four.error_m_s < one.error_m_s < wild.error_m_s
    assert any("fifth" in note for note in wild.notes)


def test_a_timed_fly_falls_as_timed_with_its_weight_kept():
    """Both drag areas scale; the fly made falls at the rate found."""
    fly = fly_from_class("medium", "heavy")
    fall, made = timed_fly(1.5, [8.0], fly)
    assert fall_rate(made) == pytest.approx(fall.sink_m_s, rel=1e-9)
    assert made.mass_kg == fly.mass_kg
    assert made.broadside_area_m2 / made.towed_area_m2 == pytest.approx(fly.broadside_area_m2 / fly.towed_area_m2)
    with pytest.raises(UsageMistake, match="in/s"):
        timed_fly(1.5, [100.0], fly)


@pytest.mark.parametrize(
    ("given", "error"),
    [
        ({"length": "-3 ft", "fell": "1.5m", "times": ["9"]}, "--length"),
        ({"length": "3 ft", "fell": "deep", "times": ["9"]}, "--fell"),
        ({"length": "3 ft", "fell": "1.5m", "times": ["soon"]}, "--in"),
        ({"length": "3 ft", "fell": "1.5m", "times": ["0"]}, "0 s"),
        ({"length": "3 ft", "fell": "1.5m", "times": ["0.5"]}, "speeding up"),
        ({"length": "3 ft", "fell": "1.5m", "times": ["9"], "weight": "3 kg"}, "--weight"),
        ({"length": "3 ft", "fell": "1.5m", "times": ["9"], "water": "warm"}, "--water"),
        ({"length": "3 ft", "fell": "1.5m", "times": ["9"], "water": "90 C"}, "90 °C"),
    ],
)
def test_what_cannot_be_is_refused_by_name(given, error):
    """Every quantity that cannot be a fall's is refused with its option."""
    with pytest.raises(PlumbrunError, match=error):
        line_report(**given)


def test_the_commands_print_what_to_write():
    """The line of the issue's own example answers, in text and JSON."""
    done = run("calibrate", "line", "--length", "3 ft", "--fell", "1.5m", "--in", "9.8s")
    assert done.exit_code == 0
    assert "sink_ips = 5.94" in done.output
    done = run("calibrate", "fly", "--fell", "1.5m", "--in", "6.5", "--drag", "low", "--weighting", "light", "--json")
    assert done.exit_code == 0
    assert '"sink_ips"' in done.output
    warm = ("--fell", "1.5m", "--in", "7 s", "--water", "60 F")
    assert "16 °C" in run("calibrate", "line", "--length", "3 ft", *warm).output


def test_a_folder_gets_the_rate_and_keeps_every_other_byte(tmp_path):
    """Only the one value of the one line changes, a fly gains one key, comments stay; the plan's reader takes it."""
    folder = tmp_path / "river"
    shutil.copytree(DEMO, folder)
    before = (folder / "tackle.toml").read_text(encoding="utf-8").splitlines()
    line = ("calibrate", "line", "--length", "26 ft", "--fell", "2m", "--in", "17", "--folder", str(folder))
    done = run(*line, "--name", "26 ft head, 5 ips")
    assert done.exit_code == 0, done.output
    done = run("calibrate", "fly", "--fell", "1.5m", "--in", "7", "--folder", str(folder), "--name", "slim minnow")
    assert done.exit_code == 0, done.output
    after = (folder / "tackle.toml").read_text(encoding="utf-8").splitlines()
    assert [row for row in after if row not in before] == ["sink_ips = 4.56", "sink_ips = 8.5"]
    assert len(after) == len(before) + 1
    flies = tomllib.loads("\n".join(after))["fly"]
    assert next(fly for fly in flies if fly["name"] == "slim minnow")["sink_ips"] == 8.5
    assert run("check", str(folder)).exit_code == 0
    assert run(*line).exit_code != 0  # no name: refused, and the file as it was
    assert (folder / "tackle.toml").read_text(encoding="utf-8").splitlines() == after


def test_a_folder_without_a_tackle_file_is_refused(tmp_path):
    """There is nothing to write into, and nothing is made."""
    folder = tmp_path / "river"
    shutil.copytree(DEMO, folder)
    (folder / "tackle.toml").unlink()
    done = run("calibrate", "fly", "--fell", "1.5m", "--in", "7", "--folder", str(folder), "--name", "x")
    assert done.exit_code != 0
    assert "no tackle.toml" in done.output
    assert not (folder / "tackle.toml").exists()


def test_temperatures_are_read_both_ways():
    """Fahrenheit and Celsius, with or without the sign; other texts are refused."""
    assert water_celsius("50 F") == pytest.approx(10.0)
    assert water_celsius("-1°C") == -1.0
    with pytest.raises(PlumbrunError):
        water_celsius("12")


def test_a_fly_outside_its_class_is_told():
    """A slim fly that falls like a bulky one is said to be of another class."""
    report = fly_report(fell="1.5 m", times=["17"], drag="low", weighting="none")
    assert any("another drag" in note for note in report["notes"])
    assert report["sink_m_s"] == pytest.approx(3.48 * INCH, rel=0.01)


@pytest.mark.parametrize(
    ("depth", "time", "taken"),
    [(10.0, 600.0, True), (10.5, 300.0, False), (10.0, 600.5, False), (0.2, 0.5, True), (0.19, 2.0, False),
     (0.2, 0.49, False)],
)  # fmt: skip
def test_a_fall_at_the_ends_of_what_is_taken_is_taken_and_beyond_them_refused(depth, time, taken):
    """0.2 to 10 m in 0.5 to 600 s, as the refusal says."""
    if taken:
        assert timed_fall(depth, [time], 1.2).sink_m_s > depth / time
    else:
        with pytest.raises(UsageMistake, match=r"0\.2 to 10 m in 0\.5 to 600 s"):
            timed_fall(depth, [time], 1.2)


def test_a_poorly_known_rate_is_said_with_its_own_share():
    """The share in the note is the error over the rate; a good fall has no note."""
    poor = timed_fall(0.3, [2.0], 1.5)
    (said,) = [int(word) for note in poor.notes for word in re.findall(r"Known to (\d+) %", note)]
    assert said == round(100 * poor.error_m_s / poor.sink_m_s) > 5
    assert timed_fall(1.5, [9.8], 1.5).notes == ()


def test_a_timed_fly_is_told_beside_what_its_class_falls():
    """The note has the rate of the table of fly falls."""
    row = next(row for row in rows("fly_fall_rates") if (row["drag"], row["weighting"]) == ("medium", "heavy"))
    fall, _ = timed_fly(1.5, [8.0], fly_from_class("medium", "heavy"))
    (said,) = re.findall(r"it would fall ([\d.]+) inches per second", " ".join(fall.notes))
    assert float(said) == pytest.approx(float(row["usual_ips"]), abs=0.11)


@pytest.mark.parametrize("density", [0.9, 1.0])
def test_a_fly_that_floats_or_hangs_in_the_water_has_no_fall_to_time(density):
    """A fly of the water's own density never arrives, and is refused like one that floats."""
    fly = fly_from_class("low", "none")
    with pytest.raises(UsageMistake, match="floats by its mass"):
        timed_fly(1.5, [8.0], replace(fly, mass_kg=density * constant("water_density") * fly.volume_m3))


def test_the_time_that_the_start_costs_is_what_a_fall_at_full_pace_would_save():
    """Depth over the piece's own rate, and the time said to be taken out, make the time on the stopwatch."""
    report = line_report(length="3 ft", fell="1.5 m", times=["9.8"], weight="1.5 g")
    piece_m_s = report["sink_here_m_s"] / report["ends"]
    assert 1.5 / piece_m_s + report["start_s"] == pytest.approx(9.8, abs=0.01)


@pytest.mark.parametrize(("stated", "words"), [(4.0, "% more."), (8.0, "% less: labels are of pieces")])
def test_the_words_for_a_line_have_the_figures_of_the_report(stated, words):
    """Rate, error, start, ends and how far the tackle file is off, each in its own unit."""
    line = TackleLine("head", "", 26.0, 250.0, stated)
    report = line_report(length="1 in", fell="1.5 m", times=["9.8", "9.6"], entry=line)
    text = calibrate_text(report, "metric")
    ((rate, error),) = re.findall(r"sinks (\d+\.\d+) inches per second, give or take (\d+\.\d+)", text)
    rate, error = float(rate), float(error)
    assert (rate, error) == pytest.approx((report["sink_m_s"] / 0.0254, report["error_m_s"] / 0.0254), abs=0.006)
    assert "in 9.7 s (mean of 2)" in text
    ((start, ends),) = re.findall(r"([\d.]+) s for the start, ([\d.]+) % for water slip", text)
    assert float(start) == pytest.approx(report["start_s"], abs=0.006)
    assert float(ends) == pytest.approx(100 * (1 - report["ends"]), abs=0.06)
    ((file, off),) = re.findall(r"The tackle file has ([\d.]+); this is (\d+) ", text)
    assert float(file) == stated
    assert int(off) == pytest.approx(100 * abs(rate / stated - 1), abs=0.6)
    assert words in text
    assert "mean of" not in calibrate_text(line_report(length="2 in", fell="1.5 m", times=["9.8"]), "metric")


@pytest.mark.parametrize("row", rows("fly_fall_rates"), ids=lambda row: f"{row['drag']}-{row['weighting']}")
def test_a_fly_within_its_class_is_not_told_to_change_it(row):
    """Every class takes its own usual rate, and names its own band to a fly that is far beyond it."""
    rate = float(row["usual_ips"]) * INCH
    tau = 0.1 * rate
    usual = fly_report(fell="3 m", times=[str(3.0 / rate + tau)], drag=row["drag"], weighting=row["weighting"])
    assert not any("another drag" in note for note in usual["notes"])
    fast = 1.1 * float(row["high_ips"]) * INCH
    if fast < 2.2 * rate:  # beyond that no drag area of the class would do, and the fly is refused
        other = fly_report(fell="3 m", times=[str(3.0 / fast)], drag=row["drag"], weighting=row["weighting"])
        assert any(f"fall about {row['low_ips']} to {row['high_ips']}:" in note for note in other["notes"])


@pytest.mark.parametrize(("length", "taken"), [("1.9 cm", False), ("3 cm", True), ("40 m", True), ("40.5 m", False)])
def test_a_piece_that_is_none_is_refused(length, taken):
    """2 cm to 40 m, as the refusal says."""
    if taken:
        assert line_report(length=length, fell="1.5 m", times=["9.8"])["length_m"] > 0.0
    else:
        with pytest.raises(UsageMistake, match="2 cm to 40 m"):
            line_report(length=length, fell="1.5 m", times=["9.8"])


def test_a_line_a_hair_faster_than_its_file_falls_more_and_not_less():
    """Half a percent above what the file has is more, and no label of short pieces explains it."""
    told = {"length": "8 ft", "fell": "1.5 m", "times": ["9.8"]}
    rate = line_report(**told)["toml"]["sink_ips"]
    report = line_report(**told, weight=None, entry=TackleLine("head", "", 26.0, math.nan, 0.995 * rate))
    assert report["sink_m_s"] > report["stated_sink_m_s"]
    assert "% more." in calibrate_text(report, "metric")


@pytest.mark.parametrize("weight", ["0.15 g", "25 g"])
def test_a_piece_of_a_weight_that_no_line_has_is_refused(weight):
    """A metre of line weighs 0.2 to 20 g, as the refusal says."""
    with pytest.raises(UsageMistake, match=r"0\.2 to 20 g a metre"):
        line_report(length="1 m", fell="1.5 m", times=["9.8"], weight=weight)


@pytest.mark.parametrize(("length", "weight", "taken"), [("0.2 m", "0.3 g", True), ("5 m", "0.3 g", False)])
def test_the_weight_of_a_piece_is_taken_by_the_metre(length, weight, taken):
    """0.3 g on 20 cm are 1.5 g a metre, on 5 m they are too little; what follows from it is told with it alone."""
    given = {"length": length, "fell": "1.5 m", "times": ["9.8"]}
    if not taken:
        with pytest.raises(UsageMistake, match="a metre"):
            line_report(**given, weight=weight)
        return
    # 1.5 g/m is 7.06 grains a foot
    assert any(hint.startswith("7.1 grains a foot") for hint in line_report(**given, weight=weight)["hints"])
    assert not any("grains a foot" in hint for hint in line_report(**given)["hints"])
