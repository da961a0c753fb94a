"""A stopwatch and a pool: what is timed comes back as the rate that the solver then swims."""

from __future__ import annotations

import math
import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.cli import main
from planner.errors import PlumbrunError, UsageMistake
from planner.sink.bucket import fly_report, line_report, water_celsius
from planner.sink.calibrate import long_line_rate, short_piece_share, timed_fall, timed_fly, timed_line, water_at
from planner.sink.drag import sink_rate_broadside
from planner.sink.fly import fall_rate, fly_from_class
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
