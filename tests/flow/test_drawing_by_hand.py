"""The drawing of a flume known in closed form, read as a reader does: by its axes, its letters and its legend."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from shapely.affinity import rotate, translate
from shapely.geometry import Polygon

from planner.bed.frame import ChannelFrame
from planner.flow.days import DaySeen, SurveyDay, SurveyFit
from planner.flow.drawing import draw
from planner.units import CFS, FOOT
from tests.flow import box

SVG = "{http://www.w3.org/2000/svg}"
BLUES = ("#eff3ff", "#bdd7e7", "#6baed6", "#3182bd", "#08519c")
PURPLES = ("#f2f0f7", "#cbc9e2", "#9e9ac8", "#756bb1", "#54278f")
DEPTH, SPEED = "Depth from above, the water runs to the right", "Speed from above, the water runs to the right"
SECTION, CURVE = "Section through", "Level and discharge of the run"


def tilted(n):
    """A bed a metre deep at the right bank and three at the left."""
    return -2.0 - n / 10.0


def panels(svg):
    """Marks of a drawing by the title that they stand below; what stands above all of them below nothing."""
    found = {"": []}
    here = found[""]
    for mark in ElementTree.fromstring(svg):
        if mark.tag == SVG + "text" and mark.get("font-size") == "13" and mark.get("font-weight") == "bold":
            here = found.setdefault(mark.text, [])
        else:
            here.append(mark)
    return found


def panel(svg, title):
    """Marks below the one title that begins so."""
    (name,) = [name for name in panels(svg) if name.startswith(title)]
    return panels(svg)[name]


def heading(svg, title):
    """How far down a title stands."""
    texts = of(ElementTree.fromstring(svg), "text", font_size="13")
    (at,) = [float(mark.get("y")) for mark in texts if mark.text.startswith(title)]
    return at


def of(marks, kind, **wanted):
    """Marks of a kind with these attributes."""
    return [
        mark
        for mark in marks
        if mark.tag == SVG + kind and all(mark.get(k.replace("_", "-")) == v for k, v in wanted.items())
    ]


def places(mark):
    """Corners of a polygon or a path."""
    words = (mark.get("points") or mark.get("d")).replace("M", "").replace("L", "").replace("Z", "").replace(",", " ")
    return np.array(words.split(), dtype=float).reshape(-1, 2)


def centre(mark):
    """Of a circle."""
    return np.array([[float(mark.get("cx")), float(mark.get("cy"))]])


def by_the_axes(marks):
    """A function that reads a place off the figures at the axes, as a reader does."""
    texts = of(marks, "text", font_size="10")
    under = [(float(mark.get("x")), float(mark.text)) for mark in texts if mark.get("text-anchor") == "middle"]
    beside = [(float(mark.get("y")) - 4.0, float(mark.text)) for mark in texts if mark.get("text-anchor") == "end"]
    across, up = (np.polyfit(*np.array(pairs).T, 1) for pairs in (under, beside))
    return lambda at: np.column_stack((np.polyval(across, at[:, 0]), np.polyval(up, at[:, 1])))


def cells(marks):
    """Middle, colour and words of each cell."""
    return [
        (places(mark).mean(axis=0), mark.get("fill"), mark.find(SVG + "title").text) for mark in of(marks, "polygon")
    ]


def drawn(flow=None, at=0.0, units="metric", caption=(), q=None, **changes):
    """The drawing of the flume at a level, and its state."""
    flow = flow or box.flume(tilted)
    state = flow.at(q or float(flow.relation.discharge(at)), box.STAGE + at)
    return draw(flow, state, units, caption), state


@pytest.mark.parametrize("turn", [0.0, 70.0, 180.0, 250.0])
def test_a_run_lies_along_the_sheet_whatever_its_bearing(turn):
    """To one scale, downstream to the right, the left bank above: 100 m over the 820 between the margins."""
    flow = box.flume(tilted)
    a = math.radians(turn)
    start = (300.0, -200.0)
    end = (start[0] + box.LENGTH * math.cos(a), start[1] + box.LENGTH * math.sin(a))
    moved = translate(rotate(flow.polygon, turn, origin=(0, 0)), *start)
    turned = box.but(flow, frame=ChannelFrame([start, end]), polygon=moved)
    svg, _ = drawn(turned)
    for title in (DEPTH, SPEED):
        marks = panel(svg, title)
        outline = places(of(marks, "path")[0])
        left, top = outline.min(axis=0)
        assert top > heading(svg, title)
        assert min(float(mark.get("y")) for mark in of(marks, "rect", width="14")) > top + 164.0
        assert outline.max(axis=0) - (left, top) == pytest.approx([820.0, 164.0], abs=0.2)
        assert left == pytest.approx(40.0, abs=0.1)
        # the deep side is the left bank, above in the drawing: the run was not mirrored
        rows = sorted((float(words.split(" ")[1]), at[1]) for at, _, words in cells(marks))
        assert rows[0][1] > top + 140.0
        assert rows[-1][1] < top + 24.0
        # the first corner drawn is the upstream one at the right bank
        assert outline[0] == pytest.approx([left, top + 164.0], abs=0.2)
        assert outline[1] == pytest.approx([left + 820.0, top + 164.0], abs=0.2)


def test_a_wide_run_is_fitted_to_the_height():
    """A hundred metres wide it takes 260 units up and as many along; text below keeps clear of it."""
    corners = [(0.0, -50.0), (100.0, -50.0), (100.0, 50.0), (0.0, 50.0)]
    nodes = box.grid(tilted)
    wide = box.flume(nodes=type(nodes)(nodes.s, nodes.n * 5, nodes.z, nodes.sd, nodes.whole), polygon=Polygon(corners))
    marks = panel(drawn(wide)[0], DEPTH)
    outline = places(of(marks, "path")[0])
    assert np.ptp(outline, axis=0) == pytest.approx([260.0, 260.0], abs=0.1)
    boxes = of(marks, "rect")
    assert min(float(mark.get("y")) for mark in boxes) > outline[:, 1].max()


@pytest.mark.parametrize(("units", "factor", "steps"), [("metric", 1.0, 1.0), ("us", 1 / FOOT, 2.0)])
def test_each_cell_has_the_letter_colour_and_depth_of_its_place(units, factor, steps):
    """Depth is 2 m and a tenth of the way to the left; the classes run 0, 1, 2, … m or 0, 2, 4, … ft."""
    marks = panel(drawn(units=units)[0], DEPTH)
    top = places(of(marks, "path")[0])[:, 1].min()
    found = cells(marks)
    assert len(found) == 16 * 5
    written = {(float(t.get("x")), float(t.get("y")) - 3.0): t for t in of(marks, "text", text_anchor="middle")}
    letters = 0
    for at, fill, words in found:
        depth = (2.0 + (10.0 - (at[1] - top) / 8.2) / 10.0) * factor
        letter, shown = words.split(", ")
        number, unit = shown.split(" ")
        assert float(number) == pytest.approx(depth, abs=0.07 * factor)
        assert unit == ("m" if units == "metric" else "ft")
        kind = "ABCDE".index(letter)
        assert kind * steps - 0.02 * factor <= depth <= (kind + 1) * steps + 0.02 * factor
        assert fill == BLUES[kind]
        for place, mark in written.items():
            if math.dist(place, at) < 0.2:
                letters += 1
                assert mark.text == letter
                assert mark.get("fill") == ("#000000" if kind < 3 else "#ffffff")
    assert letters == len(written) >= 5
    spread = sorted({x for x, _ in written}), sorted({y for _, y in written})
    assert len(spread[1]) >= 5


def test_a_cell_is_as_deep_as_its_own_water():
    """Of a bed that falls by 1 in 50 along the run too: at its middle, not further down."""
    nodes = box.grid(tilted)
    nodes.z[:] -= nodes.s[:, None] / 50.0
    marks = panel(drawn(box.flume(nodes=nodes), q=box.FULL)[0], DEPTH)
    state = box.flume(nodes=nodes).at(box.FULL, box.STAGE)
    top = places(of(marks, "path")[0])[:, 1].min()
    for at, _, words in cells(marks):
        depth = state.level_m + 2.0 + (10.0 - (at[1] - top) / 8.2) / 10.0 + (at[0] - 40.0) / 8.2 / 50.0
        assert float(words.split(" ")[1]) == pytest.approx(depth, abs=0.07)


def test_shallow_water_beside_dry_ground_has_classes_of_its_own_depth():
    """Of 0.44 m it fills five classes of a tenth."""
    flow = box.flume(lambda n: np.where(n < -4.9, 0.5, -0.44))
    marks = panel(draw(flow, flow.at(box.FULL, box.STAGE, level_m=0.0)), DEPTH)
    assert {words for _, _, words in cells(marks)} == {"E, 0.4 m"}
    assert [mark.text for mark in of(marks, "text", font_size="11") if " to " in mark.text][-1] == "E  0.4 to 0.5 m"


def test_letters_stand_in_every_sixth_row_and_third_column():
    """Of a run with sixty rows, so that each can be told from its neighbours."""
    marks = panel(drawn(box.flume(nodes=box.grid(tilted, stations=61)))[0], DEPTH)
    at = np.array([(float(t.get("x")), float(t.get("y"))) for t in of(marks, "text", text_anchor="middle")])
    along, across = np.unique(at[:, 0]), np.unique(at[:, 1])
    assert len(at) == len(along) * len(across)
    assert np.diff(along) == pytest.approx(6 * 820.0 / 60, abs=0.2)
    assert np.diff(across) == pytest.approx(3 * 164.0 / 16, abs=5.2)
    assert along[0] == pytest.approx(40.0 + 2.5 * 820.0 / 60, abs=0.2)


def test_a_fine_grid_is_drawn_in_sixty_by_sixteen_cells():
    """And a coarse one in its own."""
    fine = panel(drawn(box.flume(nodes=box.grid(tilted, columns=101, stations=200)))[0], DEPTH)
    assert len(of(fine, "polygon")) == 60 * 16
    coarse = panel(drawn(box.flume(nodes=box.grid(tilted, columns=5, stations=3)))[0], DEPTH)
    assert len(of(coarse, "polygon")) == 2 * 4


def test_speeds_are_those_of_the_shared_discharge():
    """v = Q h^(2/3) over the integral of h^(5/3) dn, by classes of the greatest."""
    svg, state = drawn()
    marks = panel(svg, SPEED)
    top = places(of(marks, "path")[0])[:, 1].min()
    n = np.linspace(-10.0, 10.0, 4001)
    share = np.trapezoid((2.0 + n / 10.0) ** (5 / 3), n)
    most = state.discharge_m3s * 3.0 ** (2 / 3) / share
    assert 1.0 < most < 1.5
    for at, fill, words in cells(marks):
        depth = 2.0 + (10.0 - (at[1] - top) / 8.2) / 10.0
        speed = state.discharge_m3s * depth ** (2 / 3) / share
        letter, shown = words.split(", ")
        assert float(shown.removesuffix(" m/s")) == pytest.approx(speed, abs=0.06)
        assert fill == PURPLES["ABCDE".index(letter)]
        assert "ABCDE".index(letter) == pytest.approx(speed / 0.3 - 0.5, abs=0.55)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_the_legend_says_each_class_and_dots_are_explained(units):
    """Five names in the reader's unit, one after the other without a gap."""
    svg, _ = drawn(units=units)
    for title, colours, unit in ((DEPTH, BLUES, ("m", "ft")), (SPEED, PURPLES, ("m/s", "ft/s"))):
        marks = panel(svg, title)
        boxes = of(marks, "rect", width="14")
        assert tuple(mark.get("fill") for mark in boxes) == colours
        names = [mark.text for mark in of(marks, "text", font_size="11") if " to " in mark.text]
        assert [name[:3] for name in names] == ["A  ", "B  ", "C  ", "D  ", "E  "]
        assert {name.split(" ")[-1] for name in names} == {unit[units == "us"]}
        spans = [tuple(float(v) for v in name[3:].rsplit(" ", 1)[0].split(" to ")) for name in names]
        assert spans[0][0] == 0.0
        assert all(one[1] == two[0] for one, two in pairwise(spans))
        assert any("Dots: soundings" in (mark.text or "") for mark in marks) is (title is DEPTH)


@pytest.mark.parametrize(("count", "dots"), [(90, 90), (390, 390), (790, 790), (1000, 500), (2000, 400)])
def test_each_sounding_is_a_dot_at_its_place_up_to_several_hundred(count, dots):
    """Of more, every second, third and so on; points of the drawn edge are none."""
    flow = box.flume(tilted)
    bed = flow.bed
    s, n = np.linspace(1.0, 99.0, count), 9.0 * np.sin(np.arange(count))
    blank = np.zeros(count + 7)
    more = type(bed.points)(
        np.append(s, np.full(7, 50.0)), np.append(n, np.full(7, 10.0)), blank - 2.0, blank + 0.05,
        np.arange(count + 7) >= count, np.arange(count + 7),
    )  # fmt: skip
    marks = panel(drawn(box.but(flow, bed=type(bed)(bed.frame, more, 10.0, bed.error, bed.grid, bed.walls)))[0], DEPTH)
    found = np.vstack([centre(mark) for mark in of(marks, "circle", r="1.1")])
    assert len(found) == dots
    step = count // dots
    top = places(of(marks, "path")[0])[:, 1].min()
    assert found[:, 0] == pytest.approx(40.0 + s[::step] * 8.2, abs=0.06)
    assert found[:, 1] == pytest.approx(top + (10.0 - n[::step]) * 8.2, abs=0.06)


def test_dry_ground_is_left_white_and_the_island_has_its_shore():
    """Cells right of the shore are not drawn; a hole of the outline is."""
    flow = box.flume(lambda n: np.where(n < -4.9, 0.5, -2.0))
    island = Polygon(flow.polygon.exterior.coords, [[(40.0, 2.0), (60.0, 2.0), (60.0, 6.0), (40.0, 6.0)]])
    marks = panel(drawn(box.but(flow, polygon=island))[0], DEPTH)
    outline, shore = (places(mark) for mark in of(marks, "path"))
    top = outline[:, 1].min()
    assert {round(10.0 - (at[1] - top) / 8.2) < -4 for at, _, _ in cells(marks)} == {False}
    assert len(cells(marks)) == 5 * 12
    assert shore.min(axis=0) == pytest.approx([40.0 + 40.0 * 8.2, top + 4.0 * 8.2], abs=0.1)
    assert shore.max(axis=0) == pytest.approx([40.0 + 60.0 * 8.2, top + 8.0 * 8.2], abs=0.1)


@pytest.mark.parametrize(("over", "columns"), [(0.1, 16), (0.03, 16), (0.01, 12)])
def test_ground_a_hand_under_water_is_drawn_and_a_film_is_not(over, columns):
    """Two centimetres of water is none."""
    flow = box.flume(lambda n: np.where(n < -4.9, -over, -2.0))
    svg = draw(flow, flow.at(box.FULL, box.STAGE, level_m=0.0))
    assert len(cells(panel(svg, DEPTH))) == 5 * columns


def test_an_eddy_is_lettered_and_explained_below_what_juts_out():
    """Behind ground that stands out of the water over the left half, on its side and downstream alone."""
    bed = np.full((11, 41), -2.0)
    bed[2, 20:] = 0.5
    nodes = box.grid(lambda n: bed, stations=11)
    svg, _ = drawn(box.flume(nodes=nodes))
    marks = panel(svg, SPEED)
    top = places(of(marks, "path")[0])[:, 1].min()
    letters = of(marks, "text", text_anchor="middle")
    eddies = [(float(mark.get("x")), float(mark.get("y")) - 3.0) for mark in letters if mark.text == "e"]
    assert len(eddies) > 5
    assert all(x > 40.0 + 20.0 * 8.2 and y < top + 82.0 for x, y in eddies)
    assert all(min(math.dist(eddy, at) for at, _, _ in cells(marks)) < 0.2 for eddy in eddies)
    assert any("eddy is likely" in (mark.text or "") for mark in marks)
    plain = panel(drawn()[0], SPEED)
    assert not any("eddy" in (mark.text or "") for mark in plain)
    assert "e" not in {mark.text for mark in of(panel(svg, DEPTH), "text", text_anchor="middle")}


def deepest():
    """The flume with a hole half a metre deep at its station 60 m down."""
    nodes = box.grid(tilted)
    nodes.z[3] -= 0.5
    return box.flume(nodes=nodes)


@pytest.mark.parametrize(("units", "factor"), [("metric", 1.0), ("us", 1 / FOOT)])
def test_the_section_is_that_of_the_deepest_station_seen_downstream(units, factor):
    """Bed, band of one standard deviation and water are read off its axes; the right bank is to the right."""
    svg, _ = drawn(deepest(), units=units)
    marks = panel(svg, SECTION)
    read = by_the_axes(marks)
    n = np.linspace(-10.0, 10.0, 41)
    bed = read(places(of(marks, "path", stroke_width="1.8")[0])) / factor
    assert bed[:, 0] == pytest.approx(-n, abs=0.02)
    assert bed[:, 1] == pytest.approx(-2.5 - n / 10.0, abs=0.01)
    band = read(places(of(marks, "polygon")[0])) / factor
    assert band[:41, 1] == pytest.approx(-2.4 - n / 10.0, abs=0.01)
    assert band[41:, 1] == pytest.approx((-2.6 - n / 10.0)[::-1], abs=0.01)
    assert band[:41, 0] == pytest.approx(band[:40:-1, 0])
    water = read(places(of(marks, "path", stroke="#08519c")[0])) / factor
    assert water == pytest.approx(np.array([[-10.0, 0.0], [10.0, 0.0]]), abs=0.02)
    unit = "m" if units == "metric" else "ft"
    assert {f"to the right bank [{unit}]", f"above the run's datum [{unit}]"} <= {mark.text for mark in marks}
    frame = of(marks, "rect", fill="none")[0]
    edge = float(frame.get("y")) + np.array([0.0, float(frame.get("height"))])
    assert read(np.column_stack(([40.0, 40.0], edge)))[:, 1] / factor == pytest.approx([0.2, -3.7], abs=0.01)


def test_water_over_a_section_reaches_from_its_first_wet_place_to_its_last():
    """Dry at the right bank beyond 5 m; a section that is dry throughout has none."""
    svg, _ = drawn(box.flume(lambda n: np.where(n < -5.1, 0.5, -2.0)))
    marks = panel(svg, SECTION)
    water = by_the_axes(marks)(places(of(marks, "path", stroke="#08519c")[0]))
    assert water == pytest.approx(np.array([[-10.0, 0.0], [5.0, 0.0]]), abs=0.02)
    frame = of(marks, "rect", fill="none")[0]
    top = by_the_axes(marks)(np.array([[40.0, float(frame.get("y"))]]))[0, 1]
    assert top == pytest.approx(0.7, abs=0.01)


def test_soundings_within_a_twelfth_of_the_run_are_in_the_section():
    """The two cross lines of nine 5 m from it, not those at 15 m; drawn to the right bank as the bed is."""
    marks = panel(drawn(deepest())[0], SECTION)
    dots = by_the_axes(marks)(np.vstack([centre(mark) for mark in of(marks, "circle", r="2")]))
    assert sorted(np.round(dots[:, 0])) == sorted([*range(-8, 9, 2)] * 2)
    assert dots[:, 1] == pytest.approx(-2.0, abs=0.01)


@pytest.mark.parametrize(("length", "within"), [(100.0, 100.0 / 12.0), (30.0, 3.0), (6.0, 3.0)])
def test_a_short_run_takes_soundings_within_three_metres(length, within):
    """Soundings every quarter of a metre along: those nearer to the section than a twelfth, or than 3 m."""
    nodes = box.grid(tilted)
    nodes.z[3] -= 0.5
    nodes = replace(nodes, s=np.linspace(0.0, length, 6))
    flow = box.flume(nodes=nodes)
    s = np.arange(0.125, length, 0.25)
    zero = np.zeros_like(s)
    soundings = {"s": s, "n": zero, "z": zero - 2.0, "sd": zero + 0.05, "edge": s < 0.0, "cell": np.arange(len(s))}
    points = replace(flow.bed.points, **soundings)
    marks = panel(drawn(box.but(flow, bed=replace(flow.bed, points=points)), q=box.FULL)[0], SECTION)
    assert len(of(marks, "circle", r="2")) == (np.abs(s - 0.6 * length) < within).sum()


def test_soundings_off_the_section_are_not_drawn_on_it_and_no_more_than_two_hundred():
    """Beside its width, above its frame or under it: none of them; of three hundred within two hundred."""
    flow = deepest()
    sound = (0.0, -2.0)
    for n, z, dots in ((0.0, -2.0, 4), (10.5, -2.0, 3), (-10.5, -2.0, 3), (0.0, 0.3, 3), (0.0, -3.9, 3)):
        at = np.array([sound, (n, z), sound, sound])
        points = replace(
            flow.bed.points, s=np.full(4, 60.0), n=at[:, 0], z=at[:, 1], sd=np.full(4, 0.05), edge=np.zeros(4, bool),
            cell=np.arange(4),
        )  # fmt: skip
        svg = drawn(box.but(flow, bed=replace(flow.bed, points=points)))[0]
        assert len(of(panel(svg, SECTION), "circle", r="2")) == dots
    many = np.full(300, 60.0)
    points = replace(
        flow.bed.points, s=many, n=np.linspace(-9, 9, 300), z=many * 0.0 - 2.0, sd=many, edge=many < 0.0,
        cell=np.arange(300),
    )  # fmt: skip
    svg = drawn(box.but(flow, bed=replace(flow.bed, points=points)))[0]
    assert len(of(panel(svg, SECTION), "circle", r="2")) == 200


def test_a_brook_is_drawn_as_a_river_is():
    """Half a cubic metre a second at a few hundredths of a metre per second: current, day, curve and ring."""
    flow = surveyed_on(("a", 0.8, 0.0))
    brook = box.but(flow, relation=flow.relation.calibrated(0.8, 0.0), discharge_ref=0.8)
    svg, state = drawn(brook, q=0.5)
    assert state.velocity_used_m_s < 0.05
    assert len(of(panel(svg, SECTION), "path", stroke_dasharray="6 4")) == 1
    marks = panel(svg, CURVE)
    read = by_the_axes(marks)
    curve = read(places(of(marks, "path", stroke_width="1.8")[0]))
    assert curve[[0, -1], 0] == pytest.approx([0.5 / 1.6, 0.8 * 1.6], abs=0.01)
    assert read(centre(of(marks, "circle", r="3.5")[0]))[0, 0] == pytest.approx(0.8, abs=0.01)
    assert read(centre(of(marks, "circle", r="6")[0]))[0, 0] == pytest.approx(0.5, abs=0.01)


def test_the_current_of_each_vertical_is_dashed_and_its_greatest_is_said():
    """Its greatest stands at 0.45 of the height; the others by h^(2/3)."""
    svg, state = drawn()
    marks = panel(svg, SECTION)
    (dashed,) = of(marks, "path", stroke_dasharray="6 4")
    read = by_the_axes(marks)(places(dashed))
    n = np.linspace(-10.0, 10.0, 41)
    assert read[:, 0] == pytest.approx(-n, abs=0.02)
    low, high = -3.0 - 0.1 - 0.1, 0.2
    share = ((2.0 + n / 10.0) / 3.0) ** (2 / 3)
    assert read[:, 1] == pytest.approx(low + 0.45 * (high - low) * share, abs=0.01)
    across = np.linspace(-10.0, 10.0, 4001)
    most = state.discharge_m3s * 3.0 ** (2 / 3) / np.trapezoid((2.0 + across / 10.0) ** (5 / 3), across)
    assert any(f"its greatest {most:.1f} m/s" in (mark.text or "") for mark in marks)


def surveyed_on(*days):
    """The flume with days of survey at levels of its own."""
    seen = [DaySeen(day, 40, q, math.nan, level, 0.02, k == 0) for k, (day, q, level) in enumerate(days)]
    fit = SurveyFit(tuple(SurveyDay(one, one.level, 0.0) for one in seen))
    return box.flume(fit=fit)


@pytest.mark.parametrize(("units", "factor", "flow_factor"), [("metric", 1.0, 1.0), ("us", 1 / FOOT, 1 / CFS)])
def test_the_curve_is_manning_s_with_the_days_and_the_water_on_it(units, factor, flow_factor):
    """From the least discharge over 1.6 to the greatest times 1.6; days as dots with dates, the water a ring."""
    days = (("2026-05-05", box.FULL, 0.0), ("2026-05-15", 0.5 * box.FULL, box.level(0.5 * box.FULL)))
    svg, state = drawn(surveyed_on(*days), at=0.3, q=box.discharge(0.3), units=units)
    marks = panel(svg, CURVE)
    read = by_the_axes(marks)
    curve = read(places(of(marks, "path", stroke_width="1.8")[0])) / (flow_factor, factor)
    ends = 0.5 * box.FULL / 1.6, box.discharge(0.3) * 1.6
    assert curve[[0, -1], 0] == pytest.approx(ends, rel=0.01)
    assert curve[:, 1] == pytest.approx([box.level(q) for q in np.clip(curve[:, 0], 1e-3, None)], abs=0.02)
    assert len(curve) == 60
    dots = np.vstack([centre(mark) for mark in of(marks, "circle", r="3.5")])
    assert read(dots) / (flow_factor, factor) == pytest.approx(
        np.array([(q, level) for _, q, level in days]), abs=0.15, rel=0.01
    )
    named = {mark.text: (float(mark.get("x")), float(mark.get("y"))) for mark in of(marks, "text")}
    for (day, _, _), dot in zip(days, dots, strict=True):
        assert named[day] == pytest.approx((dot[0] + 6.0, dot[1] + 12.0), abs=0.11)
    (ring,) = of(marks, "circle", r="6")
    assert read(centre(ring))[0] / (flow_factor, factor) == pytest.approx(
        [state.discharge_m3s, state.level_m], abs=0.1, rel=0.01
    )
    frame = of(marks, "rect", fill="none")[0]
    edge = float(frame.get("y")) + np.array([0.0, float(frame.get("height"))])
    levels = read(np.column_stack(([40.0, 40.0], edge)))[:, 1] / factor
    assert levels == pytest.approx([box.level(ends[1]) + 0.1, box.level(ends[0]) - 0.1], abs=0.02)
    left, wide = float(frame.get("x")), float(frame.get("width"))
    zero, most = read(np.array([[left, edge[0]], [left + wide, edge[0]]]))[:, 0] / flow_factor
    assert (zero, most) == (pytest.approx(0.0, abs=0.1), pytest.approx(ends[1], rel=0.01))


def test_a_day_without_discharge_or_level_is_not_on_the_curve():
    """Nor does it stretch it."""
    flow = surveyed_on(("a", box.FULL, 0.0), ("b", math.nan, 0.2), ("c", box.FULL, math.nan), ("d", 0.0, -1.0))
    marks = panel(drawn(flow)[0], CURVE)
    assert len(of(marks, "circle", r="3.5")) == 1
    assert {mark.text for mark in of(marks, "text", font_size="10")} & {"a", "b", "c", "d"} == {"a"}


def test_water_of_no_known_discharge_has_no_ring_and_a_bed_not_calibrated_no_curve():
    """The curve still stands by the sounding day's; without a relation one sentence does."""
    flow = surveyed_on(("a", box.FULL, 0.0))
    marks = panel(draw(flow, flow.at(stage_m=box.STAGE)), CURVE)
    assert not of(marks, "circle", r="6")
    assert len(of(marks, "path", stroke_width="1.8")) == 1
    loose = box.flume(tilted)
    loose = box.but(loose, relation=replace(loose.relation, constant=math.nan))
    svg = draw(loose, loose.at(box.FULL, box.STAGE))
    assert not [name for name in panels(svg) if name.startswith(CURVE)]
    assert "could not be calibrated" in svg


def test_cautions_come_first_then_what_the_state_lacks_then_the_depth():
    """Above the first title; without a current there is no plan of speeds and no dashed line."""
    flow = box.flume(tilted, run={"still": False})
    state = flow.at(box.FULL, box.STAGE)
    svg = draw(flow, state, caption=("Stay off.", "Ask a guide."))
    assert [mark.text for mark in of(panels(svg)[""], "text")] == [
        "Flume: depth, speed, section and level",
        "Stay off.",
        "Ask a guide.",
        *state.limits,
    ]
    assert [name.split(" ")[0] for name in panels(svg)] == ["", "Depth", "Speed", "Section", "Level"]
    blind = draw(flow, replace(state, velocity_used_m_s=math.nan))
    assert [name.split(" ")[0] for name in panels(blind)] == ["", "Depth", "Section", "Level"]
    assert "Dashed" not in blind


def test_still_water_has_no_dashed_current_and_every_place_a_figure():
    """Nothing is divided by a current of zero."""
    flow = box.flume(tilted, run={"still": True})
    svg = draw(flow, flow.at(box.FULL, box.STAGE))
    assert "Dashed" not in svg
    assert "nan" not in svg
