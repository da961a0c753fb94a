"""Channel coordinates and the outline in them."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon

from planner.bed import ChannelFrame, centreline, flowline_near, polygon_edges
from planner.errors import DataUnfit


def bend(radius: float, turn: float = math.pi / 2, points: int = 40) -> np.ndarray:
    """A bend to the left of a radius [m]."""
    a = np.linspace(0, turn, points)
    return np.column_stack((radius * np.sin(a), radius * (1 - np.cos(a))))


@settings(max_examples=40, deadline=None)
@given(
    radius=st.floats(60, 2000),
    part=st.floats(0.05, 0.95),
    n=st.floats(-25, 25),
    turn=st.floats(-math.pi, math.pi),
)
def test_channel_coordinates_come_back_to_the_same_place(radius, part, n, turn):
    """To s and n and back moves a point by less than a tenth of a millimetre."""
    line = bend(radius) @ np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    frame = ChannelFrame(line)
    s, _ = frame.to_sn(*line[int(part * 39)])
    x, y = frame.to_xy(s, n)
    again = frame.to_sn(x, y)
    assert float(again[0]) == pytest.approx(float(s), abs=1e-4)
    assert float(again[1]) == pytest.approx(n, abs=1e-4)


def test_left_of_the_flow_is_positive():
    """Looking downstream, a point on river left has a positive n."""
    frame = ChannelFrame([(0, 0), (0, -100)])  # flows south, so east is river left
    assert float(frame.to_sn(5.0, -50.0)[1]) == pytest.approx(5.0)


def test_bend_keeps_distances_across():
    """On an arc, n is the radius less the distance to its centre."""
    frame = ChannelFrame(bend(200.0))
    for away in (180.0, 200.0, 215.0):
        a = 0.7
        _, n = frame.to_sn(away * math.sin(a), 200.0 - away * math.cos(a))
        assert float(n) == pytest.approx(200.0 - away, abs=0.05)


def test_points_past_the_flowline_keep_running_coordinates():
    """Upstream of the drawn line s is negative, downstream it is more than the length."""
    frame = ChannelFrame([(0, 0), (100, 0)])
    s, n = frame.to_sn(np.array([-50.0, 180.0]), np.array([3.0, -3.0]))
    assert s == pytest.approx([-50.0, 180.0])
    assert n == pytest.approx([3.0, -3.0])


def test_unknown_place_stays_unknown():
    """NaN in gives NaN out and no warning."""
    s, n = ChannelFrame([(0, 0), (100, 0)]).to_sn(np.nan, 1.0)
    assert np.isnan(s)
    assert np.isnan(n)


def test_direction_is_a_unit_vector_that_turns_with_the_river():
    """At the end of a quarter bend the flow has turned by about ninety degrees."""
    frame = ChannelFrame(bend(100.0))
    dx, dy = frame.direction(np.array([5.0, frame.length - 5.0]))
    assert np.hypot(dx, dy) == pytest.approx([1.0, 1.0])
    assert math.atan2(dy[0], dx[0]) == pytest.approx(0.05, abs=0.03)
    assert math.atan2(dy[1], dx[1]) == pytest.approx(math.pi / 2 - 0.05, abs=0.03)


@pytest.mark.parametrize("line", [[(0, 0)], [(0, 0), (0, 0)], [(np.nan, 0), (1, 1)]])
def test_flowline_without_length_is_refused(line):
    """One distinct point is no line, and the message says what to do."""
    with pytest.raises(DataUnfit, match="draw the flowline"):
        ChannelFrame(line)


def test_oblique_ends_do_not_narrow_the_river():
    """Where the outline ends at a slant, the edges go on at full width and those stations are marked."""
    frame = ChannelFrame([(-100, 0), (300, 0)])
    edges = polygon_edges(frame, Polygon([(0, -20), (160, -20), (200, 20), (40, 20)]), 41)
    assert edges.width == pytest.approx(40.0, abs=8.5)
    assert not edges.whole[0]
    assert not edges.whole[-1]
    assert edges.whole[20]


@pytest.mark.parametrize("turn", [0.0, 0.6, 2.5])
def test_centreline_of_a_bend_is_its_middle(turn):
    """The middle of a curved strip stays within a tenth of its half width of the arc it was made from."""
    arc = bend(150.0, 1.2) @ np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    strip = LineString(arc).buffer(20.0, cap_style="flat")
    line = centreline(strip)
    inner = [LineString(arc).distance(p) for p in map(_point, line[4:-4])]
    assert max(inner) < 2.0


def _point(p):
    from shapely.geometry import Point

    return Point(*p)


def test_centreline_follows_the_hint_downstream():
    """With a direction given, the line runs that way."""
    box = Polygon([(0, 0), (100, 0), (100, 20), (0, 20)])
    for toward in ((1.0, 0.1), (-1.0, 0.1)):
        line = centreline(box, toward)
        assert (line[-1, 0] - line[0, 0]) * toward[0] > 50


def test_other_limb_of_a_meander_does_not_claim_the_run():
    """A flowline that comes back close to the run is cut to the part that crosses it."""
    there = [(0, 0), (300, 0), (400, 50), (300, 100), (0, 100)]
    part = flowline_near(there, Polygon([(80, -20), (160, -20), (160, 20), (80, 20)]))
    assert part is not None
    assert part[:, 1].max() < 40
    assert flowline_near(there, Polygon([(0, 40), (50, 40), (50, 60), (0, 60)])) is None
