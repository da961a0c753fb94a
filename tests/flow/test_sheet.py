"""A sheet that fills from the top: each mark where it was asked for, each axis with figures that a reader can use."""

from __future__ import annotations

from itertools import pairwise
from xml.etree import ElementTree

import pytest

from planner.flow.drawing_parts import Sheet, nice_steps
from planner.units import FOOT

SVG = "{http://www.w3.org/2000/svg}"


def items(sheet, kind):
    """Marks of a kind, as numbers where they are some."""

    def value(text):
        try:
            return float(text)
        except ValueError:
            return text

    found = ElementTree.fromstring(sheet.svg()).iter(SVG + kind)
    return [{name: value(text) for name, text in mark.items()} | {"text": mark.text} for mark in found]


@pytest.mark.parametrize(
    ("top", "step"),
    [
        (5.0, 1.0),
        (5.01, 1.5),
        (7.5, 1.5),
        (8.0, 2.0),
        (12.0, 3.0),
        (20.0, 4.0),
        (25.0, 5.0),
        (26.0, 10.0),
        (0.04, 0.01),
    ],
)
def test_classes_are_the_least_round_ones_that_reach_the_top(top, step):
    """1, 1.5, 2, 3, 4 or 5 times a power of ten, five of them from zero."""
    assert nice_steps(top, 5) == pytest.approx([k * step for k in range(6)])
    assert nice_steps(top / 1000, 5) == pytest.approx([k * step / 1000 for k in range(6)])
    assert nice_steps(top, 1)[-1] >= top


def test_no_depth_at_all_still_has_classes():
    """Of a width that is not zero."""
    assert nice_steps(0.0, 5)[-1] > 0.0


def test_a_sheet_is_as_high_as_what_stands_on_it():
    """Its title at 30 from the top, room of 24 below what was written last, white paper under all of it."""
    sheet = Sheet(500.0, 'a < "b"')
    for words in ("one", "two"):
        sheet.write_wrapped(words, 11)
    root = ElementTree.fromstring(sheet.svg())
    assert root.get("viewBox") == "0 0 500 86"
    assert (root.get("width"), root.get("height"), root.get("aria-label")) == ("500", "86", 'a < "b"')
    paper = items(sheet, "rect")[0]
    assert (paper["width"], paper["height"], paper["fill"]) == (500.0, 86.0, "#ffffff")
    assert [(mark["text"], mark["x"], mark["y"]) for mark in items(sheet, "text")] == [
        ('a < "b"', 40.0, 30.0),
        ("one", 40.0, 46.0),
        ("two", 40.0, 62.0),
    ]
    assert [mark.get("font-weight") for mark in items(sheet, "text")] == ["bold", None, None]


@pytest.mark.parametrize("size", [11, 16])
def test_a_long_sentence_keeps_to_the_paper_and_fills_it(size):
    """At 0.55 of its height for a letter each line ends before the margin, and no word more would have had room."""
    words = " ".join(["water"] * 60)
    sheet = Sheet(500.0, "t")
    sheet.write_wrapped(words, size)
    lines = [mark["text"] for mark in items(sheet, "text")[1:]]
    assert " ".join(lines) == words
    assert all(len(line) * size * 0.55 <= 420.0 for line in lines)
    assert all((len(line) + 6) * size * 0.55 > 420.0 for line in lines[:-1])


def test_a_panel_takes_its_room_below_its_title():
    """30 down to the title, 8 more to its top; what follows stands below it."""
    sheet = Sheet(500.0, "t")
    assert sheet.panel("p & q", 100.0) == (40.0, 68.0)
    assert sheet.y == 168.0
    title = items(sheet, "text")[1]
    assert (title["text"], title["x"], title["y"], title["font-size"]) == ("p & q", 40.0, 60.0, 13.0)


@pytest.mark.parametrize("factor", [1.0, 1 / FOOT])
def test_figures_of_an_axis_stand_where_their_values_are(factor):
    """In the reader's unit, round, from the lower end to the upper; the first is not below, the last not above."""
    sheet = Sheet(500.0, "t")
    place = sheet.axes("p", 200.0, (-3.0, 7.0), (10.0, 12.0), "across", "up", factor, factor)
    frame = items(sheet, "rect")[1]
    assert (frame["x"], frame["y"], frame["width"], frame["height"]) == (80.0, 68.0, 380.0, 200.0)
    assert frame["fill"] == "none"
    assert place(-3.0, 10.0) == pytest.approx((80.0, 268.0))
    assert place(7.0, 12.0) == pytest.approx((460.0, 68.0))
    assert place(2.0, 11.5) == pytest.approx((270.0, 118.0))
    texts = items(sheet, "text")[2:]
    under = [mark for mark in texts if mark["text-anchor"] == "middle" and mark["text"] != "across"]
    beside = [mark for mark in texts if mark["text-anchor"] == "end"]
    for marks, least, most in ((under, -3.0 * factor, 7.0 * factor), (beside, 10.0 * factor, 12.0 * factor)):
        shown = [float(mark["text"]) for mark in marks]
        step = nice_steps(most - least, 5)[1]
        assert [b - a for a, b in pairwise(shown)] == pytest.approx([step] * (len(shown) - 1))
        assert least <= shown[0] < least + step
        assert most - step < shown[-1] <= most + 1e-9
        assert [value / step for value in shown] == pytest.approx([round(value / step) for value in shown])
    for mark in under:
        assert mark["x"] == pytest.approx(place(float(mark["text"]) / factor, 10.0)[0], abs=0.06)
        assert mark["y"] == 282.0
    for mark in beside:
        assert mark["y"] == pytest.approx(place(-3.0, float(mark["text"]) / factor)[1] + 4.0, abs=0.06)
        assert mark["x"] == 75.0
    names = {mark["text"]: (mark["x"], mark["y"]) for mark in texts if mark["text"] in ("across", "up")}
    assert names == {"across": (270.0, 298.0), "up": (86.0, 82.0)}
    # the next thing stands below the axis's name
    assert sheet.y == 302.0


@pytest.mark.parametrize("most", [5.0, 6.0, 7.3, 10.0, 99.0])
def test_an_axis_has_four_to_six_figures(most):
    """Enough to read between and not so many that they touch."""
    sheet = Sheet(500.0, "t")
    sheet.axes("p", 200.0, (0.0, most), (0.0, most), "across", "up", 1.0, 1.0)
    for anchor in ("middle", "end"):
        shown = [mark for mark in items(sheet, "text") if mark["text-anchor"] == anchor and mark["font-size"] == 10.0]
        assert 4 <= len(shown) <= 6


def test_zero_is_written_as_zero():
    """Not as what is left of it after steps of a tenth."""
    sheet = Sheet(500.0, "t")
    sheet.axes("p", 200.0, (-0.3, 0.3), (-0.2, 0.2), "across", "up", 1.0, 1.0)
    shown = [mark["text"] for mark in items(sheet, "text")]
    assert shown.count("0") == 2
    assert not any("e-" in text for text in shown)


def test_marks_stand_where_they_are_put():
    """Polygon, line, dashes, dot and ring, to a tenth."""
    sheet = Sheet(500.0, "t")
    ring = [(1.0, 2.0), (3.04, 4.0), (5.0, 6.0)]
    sheet.polygon(ring, "#abcdef", title="a < b")
    sheet.polygon(ring, "#abcdef")
    sheet.path(ring, "#123456", 1.8)
    sheet.path(ring, closed=True, dashed=True)
    sheet.dot(7.0, 8.0, 1.1)
    sheet.ring(9.0, 10.0, 6.0)
    named, bare = items(sheet, "polygon")
    assert named["points"] == bare["points"] == "1.0,2.0 3.0,4.0 5.0,6.0"
    assert named["fill"] == "#abcdef"
    titles = ElementTree.fromstring(sheet.svg()).findall(f"{SVG}polygon/{SVG}title")
    assert [title.text for title in titles] == ["a < b"]
    plain, dashed = items(sheet, "path")
    assert (plain["d"], plain["stroke"], plain["stroke-width"]) == ("M1.0 2.0 L3.0 4.0 L5.0 6.0", "#123456", 1.8)
    assert "stroke-dasharray" not in plain
    assert dashed["d"].endswith("Z")
    assert "stroke-dasharray" in dashed
    dot, circle = items(sheet, "circle")
    assert (dot["cx"], dot["cy"], dot["r"]) == (7.0, 8.0, 1.1)
    assert (circle["cx"], circle["cy"], circle["r"], circle["fill"]) == (9.0, 10.0, 6.0, "none")


def test_a_legend_names_each_colour_beside_it():
    """Side by side over the width between the margins, the word 20 right of the box, its foot 3 above the box's."""
    sheet = Sheet(500.0, "t")
    sheet.legend(["#111111", "#222222", "#333333"], ["a & b", "c", "d"])
    assert sheet.y == 52.0
    boxes, words = items(sheet, "rect")[1:], items(sheet, "text")[1:]
    assert [(box["fill"], box["x"], box["y"], box["width"]) for box in boxes] == [
        ("#111111", 40.0, 41.0, 14.0),
        ("#222222", 180.0, 41.0, 14.0),
        ("#333333", 320.0, 41.0, 14.0),
    ]
    assert [(word["text"], word["x"], word["y"]) for word in words] == [
        ("a & b", 60.0, 52.0),
        ("c", 200.0, 52.0),
        ("d", 340.0, 52.0),
    ]
