"""The wading rules held against published limits of people in flowing water: never laxer than any of them."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from planner.caution import assess_spot
from tests.caution.test_rules import CALM
from tests.published import stability as published

WATERS = [(float(d), float(v)) for d in np.arange(0.05, 2.2, 0.07) for v in np.arange(0.05, 4.2, 0.11)]
LIGHT, MIDDLE, HEAVY = (1.52, 41.0), (1.71, 68.7), (1.91, 90.0)  # the adults of Abt's tests, lightest to heaviest


@cache
def level_at(depth: float, speed: float, party: tuple[tuple[str, object], ...]) -> int:
    """The level of wading in such water on a calm day."""
    seen = dataclasses.replace(CALM, wade_depth_m=depth, wade_speed_m_s=speed, **dict(party))
    return assess_spot(seen, wading=True).level or 0


def worse_than(limit: Callable[..., float], person: tuple[float, float], *more: str) -> Callable[[float, float], bool]:
    """Whether the push of the water reaches a limit of a person."""
    return lambda depth, speed: published.push(depth, speed) >= limit(*person, *more)


def toppled(person: tuple[float, float]) -> Callable[[float, float], bool]:
    """Whether the current reaches the speed that topples a person."""
    return lambda depth, speed: speed >= published.xia_toppling_speed(depth, *person)


@pytest.mark.parametrize(
    ("named", "least", "party"),
    [
        (lambda d, v: published.flood_hazard_class(d, v) >= "H3", 1, {}),
        (lambda d, v: published.flood_hazard_class(d, v) >= "H4", 2, {}),
        (lambda d, v: published.flood_hazard_class(d, v) >= "H5", 3, {}),
        (lambda d, v: published.stability_band(d, v) != "low", 2, {}),
        (lambda d, v: published.stability_band(d, v) in ("significant", "extreme"), 3, {}),
        (lambda d, v: published.stability_band(d, v, "child") != "low", 3, {"children": True, "child_hm_m_kg": 39.0}),
        (lambda d, v: published.stability_band(d, v, "small child or frail") != "low", 3, {"frail": True}),
        (lambda d, v: published.hazard_rating_class(d, v) in ("most", "all"), 1, {}),
        (lambda d, v: published.hazard_rating_class(d, v) == "all", 2, {}),
        *[(worse_than(published.abt_limit, person), 3, {}) for person in (LIGHT, MIDDLE, HEAVY)],
        *[(worse_than(published.rescdam_limit, person, "good"), 2, {}) for person in (LIGHT, MIDDLE)],
        *[
            (worse_than(published.rescdam_limit, person, "normal"), 2, {"footing": "slick"})
            for person in (LIGHT, MIDDLE)
        ],
        *[(worse_than(published.rescdam_limit, person, "poor"), 2, {"footing": "poor"}) for person in (LIGHT, MIDDLE)],
        (toppled(LIGHT), 1, {}),
        (toppled(MIDDLE), 2, {}),
        (toppled(HEAVY), 2, {}),
    ],
)
def test_no_water_that_a_publication_warns_of_raises_less(named, least, party):
    """Over all depths and speeds: where a published limit is reached, a rule has raised its level before."""
    reached = [(d, v) for d, v in WATERS if named(d, v)]
    assert reached
    assert not [(d, v) for d, v in reached if level_at(d, v, tuple(party.items())) < least]


def test_the_hazard_rating_turns_above_its_bounds_and_not_at_them():
    """At 2.0 m/s the debris factor is still that of the depth; a rating of 2.0 is still dangerous for most, not all."""
    assert published.hazard_rating(0.2, 2.0) == pytest.approx(0.2 * 2.5)
    assert published.hazard_rating(0.2, 2.01) == pytest.approx(0.2 * 2.51 + 1.0)
    assert published.hazard_rating_class(0.8, 0.75) == "most"
    assert published.hazard_rating_class(0.8, 0.76) == "all"
