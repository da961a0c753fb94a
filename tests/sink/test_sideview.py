"""A swim seen from the side: what is drawn stands where the swim was, in characters and in the picture."""

from __future__ import annotations

import math
import re
from typing import Any

import numpy as np
import pytest

from planner.sink.sideview import _dashed, _ticks, bed_at, side_view, swim_png, swim_svg
from planner.units import FOOT, value_in


def report(**changed: Any) -> dict[str, Any]:
    """A swim made up: down at 16 m to 1.5 m in 8 s, in to 4 m by 20 s, then lifted; the bed falls from 1 to 3 m."""
    times = np.arange(0.0, 25.0, 0.5)
    depth = np.interp(times, [0.0, 8.0, 20.0, 24.5], [0.0, 1.5, 1.0, 0.0])
    distance = np.interp(times, [0.0, 8.0, 20.0, 24.5], [16.0, 16.0, 4.0, 2.0])
    phase = np.where(times < 8.0, "countdown", np.where(times < 20.0, "retrieve", "lift")).tolist()
    return {
        "times_s": times, "fly_depth_m": depth, "fly_distance_m": distance, "phase": phase,
        "low_depth_m": depth + np.where(times < 8.0, 0.5, 0.0), "low_distance_m": distance - 2.0,
        "touched": False, "touch_at_m": math.nan, "title": "a < b", "caption": "An estimate.",
        "water": {"bed_distance_m": np.array([0.0, 16.0]), "bed_depth_m": np.array([1.0, 3.0])},
    } | changed  # fmt: skip


def grid(text: list[str]) -> list[str]:
    """The rows between surface and bed, without their labels."""
    return [line[13:].ljust(64) for line in text[1:13]]


def test_the_bed_is_as_deep_as_it_was_given() -> None:
    """Between its ends it slopes evenly, and beyond them it stays."""
    assert bed_at(report(), np.array([-1.0, 0.0, 4.0, 16.0, 20.0])) == pytest.approx([1.0, 1.0, 1.5, 3.0, 3.0])


def test_each_mark_stands_in_the_column_of_its_distance_and_the_row_of_its_depth() -> None:
    """Every character is explained by a moment of the swim, and every moment has a character, to one cell."""
    one = report()
    text = side_view(one, "metric")
    rows = grid(text)
    deepest = float(bed_at(one, np.array([(63.5) / 64.0 * 16.0]))[0])
    seen = {mark: set() for mark in "o*+."}
    for row, line in enumerate(rows):
        for column, mark in enumerate(line):
            if mark in seen:
                seen[mark].add((row, column))
    marks = {"countdown": "o", "retrieve": "*", "lift": "+"}
    cells: dict[tuple[int, int], str] = {}
    for x, z, phase in zip(one["fly_distance_m"], one["fly_depth_m"], one["phase"], strict=True):
        cells.setdefault((min(int(z / deepest * 12), 11), min(int(x / 16.0 * 64), 63)), marks[phase])
    for mark in "o*+":
        assert seen[mark] == {cell for cell, first in cells.items() if first == mark}
    below = {
        (min(int(z / deepest * 12), 11), min(int(x / 16.0 * 64), 63))
        for x, z in zip(one["low_distance_m"][:16], one["low_depth_m"][:16], strict=True)
    }
    assert seen["."] == below - set(cells)


def test_ground_fills_the_cells_whose_middle_lies_in_the_bed() -> None:
    """Each cell under the slope is bed, none above it."""
    one = report()
    deepest = float(bed_at(one, np.array([63.5 / 64.0 * 16.0]))[0])
    for row, line in enumerate(grid(side_view(one, "metric"))):
        for column, mark in enumerate(line):
            ground = float(bed_at(one, np.array([(column + 0.5) / 64.0 * 16.0]))[0])
            assert (mark == "#") == ((row + 0.5) / 12.0 * deepest >= ground)


def test_depths_beside_the_rows_are_those_of_the_rows() -> None:
    """Every third row names the depth of its lower edge; bed and far end close the scale."""
    text = side_view(report(), "metric")
    deepest = 1.0 + 2.0 * 63.5 / 64.0
    for row in range(12):
        label = text[1 + row][:12].strip()
        if row in (2, 5, 8):
            assert float(label.split()[0]) == pytest.approx((row + 1) / 12.0 * deepest, abs=0.06)
        else:
            assert label == ""
    assert text[13].strip().startswith("bed 3.0 m #")
    assert text[14].endswith("16 m")
    assert {len(line) for line in (text[0], text[13], text[14])} == {77}


def test_line_that_hangs_on_the_bed_is_drawn_over_it_and_the_fly_over_the_line() -> None:
    """A mark never falls into the bed: it goes to the first free cell above; the fly is never hidden by its line."""
    one = report(fly_depth_m=np.full(50, 2.99), low_depth_m=np.full(50, 9.0))
    marks = "".join(grid(side_view(one, "metric")))
    assert "*" in marks
    assert sum(mark == "#" for mark in marks) == sum(m == "#" for m in "".join(grid(side_view(report(), "metric"))))
    with_line = report(low_depth_m=report()["fly_depth_m"] + 0.2, low_distance_m=report()["fly_distance_m"])
    plain = report(low_depth_m=report()["fly_depth_m"])
    kept = [{(r, c) for r, line in enumerate(grid(side_view(it, "metric"))) for c, m in enumerate(line) if m in "o*+"}
            for it in (with_line, plain)]  # fmt: skip
    assert kept[0] == kept[1]


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("top", [0.7, 1.0, 1.9, 3.2, 7.9, 12.0, 25.0, 58.0])
def test_ticks_are_round_and_neither_many_nor_few(top: float, units: str) -> None:
    """Two to six steps of 1, 2 or 5 times a power of ten in the reader's unit, as many as fit."""
    kind = "depth"
    found = np.array([value_in(tick, kind, units) for tick in _ticks(top, kind, units, 6)])
    step = found[0]
    assert round(step / 10.0 ** math.floor(math.log10(step * 1.0001)), 6) in (1.0, 2.0, 5.0)
    assert found == pytest.approx(step * np.arange(1, len(found) + 1))
    last = value_in(top, kind, units)
    assert last - step < found[-1] <= last * (1 + 1e-9)
    assert 2 <= len(found) <= 6


def test_dashes_have_their_length_and_their_gaps() -> None:
    """Along a bent path of 26 units dashes of 4 begin every 10; the last one ends with the path."""
    cut = _dashed([(0.0, 0.0), (13.0, 0.0), (13.0, 13.0)], (4, 6))
    assert [piece[0] for piece in cut] == [(0.0, 0.0), (10.0, 0.0), (13.0, 7.0)]
    assert [piece[-1] for piece in cut] == [(4.0, 0.0), (13.0, 1.0), (13.0, 11.0)]
    assert _dashed([(0.0, 0.0), (5.0, 0.0)], (4, 0))[-1][-1] == (5.0, 0.0)
    assert _dashed([(0.0, 0.0), (5.0, 0.0)], ()) == [[(0.0, 0.0), (5.0, 0.0)]]
    assert _dashed([(2.0, 1.0), (2.0, 1.0)], (4, 6)) == [[(2.0, 1.0), (2.0, 1.0)]]


LINE = re.compile(r'<polyline points="([^"]+)" fill="none" stroke="([^"]+)" stroke-width="([^"]+)"')
WORD = re.compile(r'<text x="([^"]+)" y="([^"]+)" font-size="[^"]+" text-anchor="(\w+)"[^>]*>\n?([^<]*)</text>')
DOT = re.compile(r'<circle cx="([^"]+)" cy="([^"]+)" r="([^"]+)" fill="([^"]+)"')
COLOURS = {"countdown": "#E69F00", "retrieve": "#08519c", "lift": "#D55E00"}


def drawn(svg: str) -> list[tuple[np.ndarray, str, float]]:
    """Lines of a picture: points, colour, width."""
    return [
        (np.array([[float(v) for v in pair.split(",")] for pair in points.split()]), colour, float(width))
        for points, colour, width in LINE.findall(svg)
    ]


def words(svg: str) -> dict[str, tuple[float, float]]:
    """Words of a picture and where they stand."""
    return {text: (float(x), float(y)) for x, y, _, text in WORD.findall(svg)}


def scale(svg: str) -> tuple[float, float, float, float]:
    """Place of the rod tip's foot on the surface, and units a metre across and down, read off the axes' own labels."""
    said = words(svg)
    across, down = said["10 m"][0], said["2.0 m"][1] - 5.0
    left, top = said["rod tip"][0], said["surface"][1] - 5.0
    return left, top, (across - left) / 10.0, (down - top) / 2.0


def test_the_picture_has_each_phase_where_the_axes_say_it_was() -> None:
    """Read against the ticks, the drawn path is the fly's path, and each phase begins where the one before ended."""
    one = report()
    svg = swim_svg(one, "metric")
    left, top, across, down = scale(svg)
    phase = np.array(one["phase"])
    for name, colour in COLOURS.items():
        places = next(p for p, c, w in drawn(svg) if c == colour and w > 2.5 and len(p) > 4)
        at = np.flatnonzero(phase == name)
        at = np.arange(max(at[0] - 1, 0), at[-1] + 1)
        expected = np.stack([left + across * one["fly_distance_m"][at], top + down * one["fly_depth_m"][at]], axis=1)
        assert places == pytest.approx(expected, abs=0.3)
    bed = next(p for p, c, w in drawn(svg) if c == "#1b1b1b" and len(p) > 100)
    assert bed[:, 1] == pytest.approx(top + down * bed_at(one, (bed[:, 0] - left) / across), abs=0.3)
    assert bed[0, 0] == pytest.approx(left)
    assert (bed[-1, 0] - left) / across == pytest.approx(16.0 * 1.03, rel=0.01)


def test_the_picture_says_by_how_much_heights_are_drawn_larger() -> None:
    """The factor in words is the one of the axes; with equal scales nothing is said; a flat one is said as well."""
    svg = swim_svg(report(), "metric")
    _, _, across, down = scale(svg)
    said = re.search(r"heights (\d+\.\d) times lengths", svg)
    assert said
    assert float(said[1]) == pytest.approx(down / across, abs=0.06)
    for metres, word in ((5.45, None), (60.0, "lengths")):
        deep = report(water={"bed_distance_m": np.array([0.0, 16.0]), "bed_depth_m": np.full(2, metres)})
        text = swim_svg(deep, "metric")
        ratio = re.search(r"(heights|lengths) (\d+\.\d) times", text)
        assert (ratio and ratio[1]) == word
        if ratio:
            assert float(ratio[2]) == pytest.approx((60.0 * 1.08 / 290.0) / (16.0 * 1.03 / 840.0), abs=0.06)


@pytest.mark.parametrize(("last", "every"), [(24.5, 5), (25.0, 5), (44.9, 5), (45.0, 10), (49.0, 10)])
def test_seconds_stand_on_the_path(last: float, every: int) -> None:
    """A dot every five seconds of a swim under 45 s, every ten of a longer one, to its end; labels keep apart."""
    one = report()
    one["times_s"] = one["times_s"] * last / one["times_s"][-1]
    svg = swim_svg(one, "metric")
    left, top, across, down = scale(svg)
    dots = np.array([[float(x), float(y)] for x, y, r, _ in DOT.findall(svg) if float(r) == 4.0])
    seconds = np.arange(0, last + 1e-9, every)
    assert len(dots) == len(seconds)
    near = np.abs(one["times_s"][:, None] - seconds).argmin(axis=0)
    expected = np.stack([left + across * one["fly_distance_m"][near], top + down * one["fly_depth_m"][near]], axis=1)
    assert dots == pytest.approx(expected, abs=0.3)
    labels = [text for text in words(svg) if re.fullmatch(r"\d+ s", text)]
    assert labels == [f"{second:.0f} s" for second in seconds]


def test_seconds_that_fall_on_each_other_are_told_once() -> None:
    """While the fly stands still there is one label for all its dots, and the next where it has moved on."""
    one = report(fly_distance_m=np.where(report()["times_s"] < 17.0, 16.0, 9.0), fly_depth_m=np.full(50, 1.2))
    svg = swim_svg(one, "metric")
    assert len([r for _, _, r, _ in DOT.findall(svg) if float(r) == 4.0]) == 5
    assert [text for text in words(svg) if re.fullmatch(r"\d+ s", text)] == ["0 s", "20 s"]


def test_the_first_touch_is_a_cross_on_the_bed() -> None:
    """Where the line touched first two strokes cross on the bed's line; without a touch there are none."""
    svg = swim_svg(report(touched=True, touch_at_m=8.0), "metric")
    left, top, across, down = scale(svg)
    strokes = [p for p, c, w in drawn(svg) if c == "#D55E00" and len(p) == 2 and p[0, 1] < 390]
    assert len(strokes) == 2
    for stroke in strokes:
        assert stroke.mean(axis=0) == pytest.approx([left + 8.0 * across, top + 2.0 * down], abs=0.3)
        assert np.abs(stroke[1] - stroke[0]) == pytest.approx([14.0, 14.0])
    assert np.prod(np.diff(strokes[0], axis=0)) * np.prod(np.diff(strokes[1], axis=0)) < 0.0
    assert "first touch" in svg
    assert "first touch" not in swim_svg(report(), "metric")
    assert "first touch" not in swim_svg(report(touched=True), "metric")


def test_line_below_the_fly_is_dotted_once_a_second() -> None:
    """While line hangs 5 cm or more below the fly there is one dot for each second, at the lowest place."""
    one = report()
    svg = swim_svg(one, "metric")
    left, top, across, down = scale(svg)
    dots = np.array([[float(x), float(y)] for x, y, r, c in DOT.findall(svg) if c == "#756bb1" and float(y) < 400.0])
    at = np.arange(0, 16, 2)
    expected = np.stack([left + across * one["low_distance_m"][at], top + down * one["low_depth_m"][at]], axis=1)
    assert dots == pytest.approx(expected, abs=0.3)
    beyond = report(low_distance_m=np.full(50, 40.0))
    assert len([c for *_, c in DOT.findall(swim_svg(beyond, "metric")) if c == "#756bb1"]) == 1  # that of the legend


def test_us_readers_get_feet_on_the_axes() -> None:
    """The tick that reads 6 ft lies where 6 ft lie."""
    svg = swim_svg(report(), "us")
    said = words(svg)
    top, four, six = said["surface"][1], said["4.0 ft"][1], said["6.0 ft"][1]
    assert (six - top) == pytest.approx(1.5 * (four - top), abs=0.3)
    metre = scale(swim_svg(report(), "metric"))[3]
    assert (six - top) / (6.0 * FOOT) == pytest.approx(metre, rel=0.01)


def test_nothing_is_drawn_outside_the_picture_and_words_are_escaped() -> None:
    """All points lie on the sheet, a bed of dry ground and a fly in the air too; a title's signs are no markup."""
    odd = report(fly_depth_m=report()["fly_depth_m"] - 3.0)
    for one in (report(), odd):
        svg = swim_svg(one, "metric")
        for places, _, _ in drawn(svg):
            assert np.all((places >= 0.0) & (places <= [960.0, 460.0]))
        for x, y in words(svg).values():
            assert 0.0 < x < 960.0
            assert 10.0 < y < 460.0
    assert "a &lt; b" in svg
    assert "a < b" not in svg


def test_the_png_is_the_svg_in_pixels() -> None:
    """Colours of bed, water and paper are where the SVG has them, at either scale."""
    import io

    from PIL import Image

    one = report()
    left, top, across, down = scale(swim_svg(one, "metric"))
    for size in (1, 2):
        with Image.open(io.BytesIO(swim_png(one, "metric", size))) as image:
            assert image.size == (960 * size, 460 * size)
            pixels = np.asarray(image.convert("RGB"))

        def at(distance: float, depth: float, pixels=pixels, size=size) -> tuple[int, ...]:
            x, y = (left + across * distance) * size, (top + down * depth) * size
            return tuple(int(v) for v in pixels[round(y), round(x)])

        assert at(2.0, 1.75) == (0xCF, 0xC6, 0xB8)
        assert at(13.0, 0.5) == (0xEF, 0xF3, 0xFF)
        assert at(13.0, -0.15) == (255, 255, 255)
        assert at(10.3, 1.5 - 0.5 * 5.7 / 12.0) == (0x08, 0x51, 0x9C)


def test_a_png_of_twice_the_size_shows_the_same_in_the_same_places() -> None:
    """Halved it is the small one but for the edges of letters and lines, and ink is where each word of the SVG is."""
    import io

    from PIL import Image

    one = report(touched=True, touch_at_m=8.0)
    small, large = (
        np.asarray(Image.open(io.BytesIO(swim_png(one, "metric", size))).convert("L"), dtype=float) for size in (1, 2)
    )
    halved = large.reshape(460, 2, 960, 2).mean(axis=(1, 3))
    assert np.mean(np.abs(halved - small) > 60.0) < 0.03
    svg = swim_svg(one, "metric")
    for x, y, anchor, text in WORD.findall(svg):
        at = int(float(x)) - {"start": 0, "middle": 8, "end": 16}[anchor]
        box = large[2 * (int(float(y)) - 12) : 2 * int(float(y)), 2 * at : 2 * (at + 16)]
        assert box.min() < 120.0, text
