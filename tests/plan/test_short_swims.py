"""The side view of the ladder's steps: few points, near the fine swim, and through the page's own signs."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.advice.kept import Shelf
from planner.advice.learn import with_learning
from planner.advice.store import SwimStore
from planner.evening import DEMO_NOW, unpack_demo
from planner.page.payload import _SIGNS, _short_swim
from planner.plan.ask import request
from planner.plan.day import Day, day_of
from planner.plan.side import _telling, short_view, short_views, side_view
from planner.plan.waters import spot_levels
from planner.river import River, read_river


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Day, River]:
    """The demo's day."""
    folder, now = unpack_demo(tmp_path_factory.mktemp("short"))
    river = read_river(folder)
    asked = request(river.timezone, day="tomorrow", start="08:00", end="16:00", now=DEMO_NOW or now)
    return day_of(river, asked, "us"), river


def _deepest(view: dict[str, Any]) -> float:
    return float(np.nanmax(view["depth_m"]))


def test_the_short_view_is_the_fine_one_in_sixteen_points(demo: tuple[Day, River]) -> None:
    """At the planned level landing, deepest point and start of the strip agree with the fine view to 8 cm and 0.6 m."""
    found, river = demo
    seen = 0
    for day, answers in zip(found.spots, found.answers, strict=True):
        best = answers[day.at_arrival].best
        if best is None:
            continue
        fine = side_view(day.asked, day.at_arrival, best, river.tackle, found.learned)
        short = short_view(day.asked, day.at_arrival, best, river.tackle, found.learned)
        assert len(short["x_m"]) <= 16
        assert short["x_m"][0] == pytest.approx(fine["x_m"][0], abs=0.1)
        assert _deepest(short) == pytest.approx(_deepest(fine), abs=0.08)
        assert short["x_m"][short["strip_from"]] == pytest.approx(fine["x_m"][fine["strip_from"]], abs=0.6)
        seen += 1
    assert seen >= 5


def test_kept_side_views_serve_a_ladder_that_begins_a_step_later(
    demo: tuple[Day, River], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the ladder's first step the bed comes from another level; no view of the steps left is drawn anew."""
    found, river = demo
    shelf, first = Shelf(SwimStore(tmp_path)), {}
    asked = {day.spot.id: answers for day, answers in zip(found.spots, found.answers, strict=True)}
    for day in found.spots:
        wanted = [(at, one.best) for at, one in enumerate(asked[day.spot.id]) if one.best and at > 0][:3]
        first[day.spot.id] = wanted, short_views(day.asked, wanted, river.tackle, found.learned, shelf)
    monkeypatch.setattr("planner.plan.side.short_view", lambda *_: pytest.fail("a view was drawn anew"))
    for day in found.spots:
        wanted, views = first[day.spot.id]
        again, _ = spot_levels(day.water, day.spot, day.levels[1:], None)
        again = with_learning(again, found.learned)
        kept = short_views(again, [(at - 1, best) for at, best in wanted], river.tackle, found.learned, shelf)
        assert str(kept) == str(views)
    assert sum(len(wanted) for wanted, _ in first.values()) >= 15


def _read(text: str) -> tuple[list[list[float | None]], int]:
    """What the page's script makes of the signs."""
    at = [_SIGNS.index(sign) for sign in text]
    most = ((64 * at[0] + at[1]) / 10, *[(64 * at[2] + at[3]) / 100] * 2)
    points = [at[i : i + 3] for i in range(5, len(at), 3)]
    return [[None if p[k] == 63 else most[k] * p[k] / 62 for p in points] for k in range(3)], at[4]


@given(
    st.lists(
        st.tuples(st.floats(0, 60), st.floats(0, 12), st.one_of(st.none(), st.floats(-1, 12))),
        min_size=1,
        max_size=16,
    ),
    st.integers(0, 15),
)
def test_signs_give_back_the_swim_to_half_a_share(points: list[tuple[Any, ...]], first: int) -> None:
    """Distances, depths and unknown beds survive the writing within one part in 62 of the largest."""
    x, depth, bed = (list(column) for column in zip(*points, strict=True))
    swim = {"x_m": x, "depth_m": depth, "bed_depth_m": bed, "strip_from": first}
    (x2, depth2, bed2), first2 = _read(_short_swim(swim))
    assert first2 == first
    far = max(*x, 0.1) + 0.1
    deep = max(depth + [b for b in bed if b is not None] + [0.0]) + 0.01
    for old, new, most in ((x, x2, far), (depth, depth2, deep), (bed, bed2, deep)):
        for a, b in zip(old, new, strict=True):
            assert (a is None) == (b is None)
            if a is not None:
                assert b == pytest.approx(max(a, 0.0), abs=most / 124 + 1e-9)


def test_the_points_kept_are_those_that_tell() -> None:
    """A straight way keeps its ends, a corner is kept, an unknown bed stops nothing."""
    line = np.column_stack((np.linspace(10, 0, 50), np.linspace(0, 2, 50), np.full(50, math.nan)))
    assert list(_telling(line, 20)) == [0, 20, 49]
    bent = line.copy()
    bent[:, 1] = np.where(np.arange(50) < 30, 0.0, 2.0)
    assert {29, 30} <= set(_telling(bent, 20))
