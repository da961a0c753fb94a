"""Which ways to a roughness are told, and from what: each for what it needs and for nothing else."""

from __future__ import annotations

import math

import pytest

from planner.errors import UsageMistake
from planner.flow.roughness import bathurst, composite_by_conveyance, composite_n, jarrett, limerinos, strickler
from planner.flow.roughness_help import Part, ways

BUILD = ("coarse_gravel", "smooth", "gradual", "negligible", "low", "minor")


@pytest.mark.parametrize(
    ("known", "names"),
    [
        ({}, []),
        ({"bed_class": "gravel_cobble"}, ["class"]),
        ({"build_up": BUILD}, ["Cowan's build-up"]),
        ({"d50": 0.04}, ["Strickler"]),
        ({"d84": 0.1}, []),
        ({"radius": 0.8}, []),
        ({"slope": 0.004}, []),
        ({"d84": 0.1, "radius": 0.8}, ["Limerinos", "Bathurst"]),
        ({"slope": 0.004, "radius": 0.8}, ["Jarrett"]),
        ({"d50": 0.0, "d84": 0.0, "slope": 0.0, "radius": 0.8}, []),
        ({"d84": 0.1, "slope": 0.004, "radius": 0.0}, []),
        ({"d84": math.nan, "slope": math.nan, "d50": math.nan, "radius": 0.8}, []),
    ],
)
def test_each_way_is_told_where_all_that_it_needs_is_known(known, names):
    """A size, slope or radius of zero is none."""
    assert [way.name for way in ways(**known)] == names


def test_each_way_is_its_formula_and_says_from_what():
    """Stones in millimetres, the radius to a centimetre; Bathurst's formula takes it as a depth."""
    told = {way.name: way for way in ways(radius=0.8, slope=0.004, d50=0.04, d84=0.1)}
    by_hand = {
        "Strickler": (strickler(0.04), "d50 40 mm, a plane bed without bars, plants or bends"),
        "Limerinos": (limerinos(0.8, 0.1), "radius 0.80 m, d84 100 mm"),
        "Bathurst": (bathurst(0.8, 0.1), "depth 0.80 m, d84 100 mm"),
        "Jarrett": (jarrett(0.8, 0.004), "radius 0.80 m, slope 0.00400"),
    }
    assert {name: (way.n, way.from_what) for name, way in told.items()} == by_hand
    # a boulder of 700 mm is not 701
    assert ways(d50=0.7)[0].from_what.startswith("d50 700 mm")
    assert ways(radius=0.8, d84=0.7)[0].from_what.endswith("d84 700 mm")


def test_cowan_s_build_up_needs_its_six_levels():
    """Base plus additions times the meander's factor, 0.028 with the least of each [PhillipsTadayon2007]."""
    (way,) = ways(build_up=BUILD)
    assert way.from_what == ", ".join(BUILD)
    assert 0.028 <= way.n <= 0.04
    with pytest.raises(UsageMistake, match="5 levels"):
        ways(build_up=BUILD[:5])


def test_parts_of_a_section_are_named_by_what_they_are_called_or_else_by_their_n():
    """Side by side, of one speed and by added forces."""
    parts = [Part(0.03, 20.0, 10.0), Part(0.06, 5.0, 8.0, "willows")]
    told = ways(parts=parts)
    assert {way.from_what for way in told} == {"0.03 over 10.0 m; willows over 8.0 m"}
    n, area, wetted = [0.03, 0.06], [20.0, 5.0], [10.0, 8.0]
    assert [way.n for way in told] == [
        composite_by_conveyance(n, area, wetted),
        composite_n(n, wetted, "horton"),
        composite_n(n, wetted, "pavlovskii"),
    ]
