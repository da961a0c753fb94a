"""The user's own drawing under the map, the switch for a map from the network, and the hours to come: no browser."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import LineString, Polygon

from planner.page import build_page
from planner.page.background import BackgroundUnfit, background, online_layer
from planner.page.chart import chart, turning_levels
from planner.page.ground import map_data
from tests.page.sample import GAUGE, sample

TILES = "basemap.nationalmap.gov"


def _river(folder: Path, toml: str) -> tuple[Any, list[float]]:
    plan, river = sample()
    return replace(river, folder=folder, documents={"river.toml": toml}), map_data(plan, river)["box"]


def _banks(box: list[float], points: int = 50) -> gpd.GeoDataFrame:
    west, south, east, north = box
    across = np.linspace(west - 1, east + 1, points)
    line = LineString(np.column_stack((across, south + (north - south) * (0.5 + 0.4 * np.sin(9000 * across)))))
    island = Polygon([(west, south), (east, south), (east, north)])
    return gpd.GeoDataFrame({"name": ["</script>", "b"]}, geometry=[line, island], crs=4326)


def test_without_the_key_nothing_lies_under_the_map() -> None:
    """A river folder that names no background gives none, and no address of a map service stands in its page."""
    plan, river = sample()
    assert background(river, [0, 0, 1, 1]) is None
    assert online_layer(river) is None
    assert TILES not in build_page(plan, river, "us")


@pytest.mark.parametrize(("name", "crs"), [("banks.gpkg", 32615), ("banks.geojson", 4326)])
def test_a_drawing_is_clipped_to_the_map_whatever_its_system(tmp_path: Path, name: str, crs: int) -> None:
    """Lines and areas of a GeoPackage in metres or a GeoJSON come out as lat, lon within half a map of the map."""
    river, box = _river(tmp_path, f'background = "{name}"\n')
    _banks(box).to_crs(crs).to_file(tmp_path / name)
    found = background(river, box)
    assert found is not None
    assert found["name"] == name
    assert len(found["lines"]) == len(found["areas"]) == 1
    west, south, east, north = box
    room = 0.5 * max(east - west, north - south) + 2e-3
    points = np.array(found["lines"][0] + found["areas"][0])
    assert (points[:, 0] > south - room).all()
    assert (points[:, 0] < north + room).all()
    assert (points[:, 1] > west - room).all()
    assert (points[:, 1] < east + room).all()


def test_a_large_drawing_is_thinned_until_it_fits(tmp_path: Path) -> None:
    """A bank of two hundred thousand points is drawn with a few thousand, and the page grows by less than 250 kB."""
    river, box = _river(tmp_path, 'background = "banks.gpkg"\n')
    west, south, east, _ = box
    across = np.linspace(west, east, 200_000)
    rng = np.random.default_rng(7)
    line = LineString(np.column_stack((across, south + np.cumsum(rng.normal(0, 2e-7, across.size)))))
    gpd.GeoDataFrame(geometry=[line], crs=4326).to_file(tmp_path / "banks.gpkg")
    found = background(river, box)
    assert found is not None
    assert 500 < sum(len(part) for part in found["lines"]) <= 6000
    plan, plain = sample()
    assert len(build_page(plan, river, "us")) - len(build_page(plan, plain, "us")) < 250_000


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("gone.geojson", None, "no such file"),
        ("photo.png", b"", "a file that ends in .png"),
        ("bad.geojson", b"{", "could not be read"),
        ("far.geojson", "far", "no line or area within the map"),
    ],
)
def test_a_drawing_that_cannot_be_used_is_named_with_the_next_step(
    tmp_path: Path, name: str, content: Any, said: str
) -> None:
    """A missing, unreadable or distant file stops the page with its name, what is needed and what to do."""
    river, box = _river(tmp_path, f'background = "{name}"\n')
    if content == "far":
        gpd.GeoDataFrame(geometry=[LineString([(0, 0), (1, 1)])], crs=4326).to_file(tmp_path / name)
    elif content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(BackgroundUnfit) as raised:
        background(river, box)
    assert said in str(raised.value)
    assert name in str(raised.value)
    assert "remove the key" in str(raised.value) or "Next:" in str(raised.value)


def test_the_policy_widens_only_for_the_page_built_with_a_map_from_the_network() -> None:
    """With the option the policy lets pictures of one host in, names who made them, and nothing else changes."""
    plan, river = sample()
    policies = []
    for online in (False, True):
        page = build_page(plan, river, "us", online=online)
        policies.append(re.search(r'Content-Security-Policy" content="([^"]*)"', page).group(1))
        assert ("public domain" in page) is online
    closed, wide = (re.sub(r"script-src [^;]*", "", policy) for policy in policies)
    assert wide == closed.replace("img-src data: blob:", f"img-src data: blob: https://{TILES}")


def test_a_fall_of_the_caution_turns_below_and_an_unknown_step_turns_nothing() -> None:
    """Turning levels stand at the step with the lower caution; a step that was not assessed gives none."""
    assert turning_levels([1, 2, 3, 4], [2, 1, 1, 3]) == [(2, "below", 2), (3, "above", 3)]
    assert turning_levels([1, 2, 3], [1, None, 3]) == []
    assert turning_levels([], []) == []


def test_the_hours_to_come_say_the_same_in_drawing_and_table() -> None:
    """The drawing's words name the range and the turning levels; the table has a row an hour; no row, no drawing."""
    plan, river = sample()
    drawn = chart(plan, river, GAUGE, "us")
    label = re.search(r'aria-label="([^"]*)"', drawn).group(1)
    assert label.startswith("Expected 07:00 to 15:00: 2.22 to 2.69 ft. ")
    assert "Think again above 2.50 ft. " in f"{label} "
    assert drawn.count('<th scope="row">') == len(plan["expected"])
    top, bottom = (float(re.search(rf'data-{key}="([\d.-]+)"', drawn).group(1)) for key in ("top", "bottom"))
    assert bottom < min(row["stage_low_m"] for row in plan["expected"])
    assert top > max(row["stage_high_m"] for row in plan["expected"])
    assert chart({**plan, "expected": plan["expected"][:1]}, river, GAUGE, "us") == ""


def test_a_flat_expectation_still_has_a_scale() -> None:
    """When nothing is expected to change and no range is known, the drawing keeps a height and round marks."""
    plan, river = sample()
    rows = [{**row, "stage_m": 0.7, "stage_low_m": None, "stage_high_m": None} for row in plan["expected"]]
    drawn = chart({**plan, "expected": rows, "ladder": []}, river, GAUGE, "metric")
    assert drawn.count("<text") >= 5
    assert "nan" not in drawn
