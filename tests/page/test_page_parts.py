"""The page's text, its policy and the exports, without a browser."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import json
import re
import xml.etree.ElementTree as ET
from typing import Any

import pytest

from planner.page import build_page, spots_csv, spots_gpx, summary
from planner.page.exports import GPX_DEPTH_SPACE, GPX_SPACE
from planner.page.figure import PageUnfit, leaflet_file, outside_addresses
from planner.page.front import expected_sentence
from planner.page.payload import payload, script_json
from planner.units import FOOT
from tests.page.sample import LAT0, LON0, NASTY, sample

NEVER = ("safe", "good to go", "all clear", "low risk", "wadeable")


def _texts(plan: dict[str, Any], river: Any, units: str) -> dict[str, str]:
    page = re.sub(r"<(script|style)>.*?</\1>", "", build_page(plan, river, units), flags=re.S)
    return {
        "page": page,
        "summary": summary(plan, units),
        "gpx": spots_gpx(plan, river),
        "csv": spots_csv(plan, river),
    }


# Of version 1.9.4, the same bytes as the map library's own package.
LEAFLET_SHA256 = {
    "leaflet.js": "db49d009c841f5ca34a888c96511ae936fd9f5533e90d8b2c4d57596f4e5641a",
    "leaflet.css": "a7837102824184820dfa198d1ebcd109ff6d0ff9a2672a074b9a1b4d147d04c6",
}


@pytest.mark.parametrize("name", ["leaflet.js", "leaflet.css"])
def test_the_map_library_is_the_one_that_was_looked_at(name: str) -> None:
    """The installed files have the digests of the release that the page was written for."""
    assert hashlib.sha256(leaflet_file(name).encode("utf-8")).hexdigest() == LEAFLET_SHA256[name]


def test_forty_spots_on_twenty_five_levels_fit_the_page() -> None:
    """The page of 20 runs, 40 spots and 25 levels stays within 900 kB and grows less than in step with the levels."""
    sizes = []
    for levels in (5, 25):
        plan, river = sample(runs=20, spots=40, levels=levels)
        assert len(plan["ladder"]) == levels
        sizes.append(len(build_page(plan, river, "us").encode("utf-8")))
    assert sizes[1] <= 900_000
    assert sizes[1] < 2.5 * sizes[0]


def test_the_policy_names_each_script_and_style_and_nothing_else() -> None:
    """Every script and style element is in the policy by its digest, inline code is not allowed at large."""
    plan, river = sample()
    page = build_page(plan, river, "us")
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page).group(1)
    assert policy.startswith("default-src 'none'")
    assert "connect-src 'none'" in policy
    assert "unsafe" not in policy
    for kind in ("script", "style"):
        bodies = re.findall(rf"<{kind}>(.*?)</{kind}>", page, re.S)
        assert len(bodies) >= 2
        found = {f"'sha256-{base64.b64encode(hashlib.sha256(b.encode()).digest()).decode()}'" for b in bodies}
        assert found == set(re.search(rf"{kind}-src ([^;]*)", policy).group(1).split())
    assert " style=" not in re.sub(r"<script.*?</script>", "", page, flags=re.S)
    assert "user-scalable" not in page


@pytest.mark.parametrize(
    "markup",
    [
        '<script src="https://example.org/a.js"></script>',
        "<img src=//example.org/a.png>",
        '<link href="a.css" rel="stylesheet">',
        "<style>p { background: url(pic.png) }</style>",
        '<style>@import "a.css";</style>',
    ],
)
def test_an_outside_file_is_found(markup: str) -> None:
    """Scripts, pictures, linked styles, style addresses and imports that a page would fetch are listed."""
    assert len(outside_addresses(f"<p>text</p>{markup}")) == 1


def test_a_page_that_would_reach_out_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """When the map would bring a file from outside, no page is made and the error names it."""
    from planner.page import figure

    monkeypatch.setattr(figure.OfflineMap, "default_js", [("extra", "https://example.org/extra.js")])
    plan, river = sample()
    with pytest.raises(PageUnfit, match=r"example\.org/extra\.js"):
        build_page(plan, river, "us")


def test_names_cannot_end_the_data_or_open_a_tag() -> None:
    """Names of markup are escaped in the sheet and in the data, and braces are no template."""
    plan, river = sample(names=NASTY)
    page = build_page(plan, river, "us")
    assert NASTY[0] not in page
    assert NASTY[1] not in page
    assert NASTY[2] in page
    data = re.search(r'id="plan-data">(.*?)</script>', page, re.S).group(1)
    assert {row["name"] for row in json.loads(data)["spots"]} == set(NASTY)
    assert "<" not in script_json({"a": "</script><!--"})


@pytest.mark.parametrize("units", ["us", "metric"])
def test_no_output_promises_anything(units: str) -> None:
    """None of the words that would bless the water stand in page, summary or exports; cautions stand first."""
    plan, river = sample()
    for where, text in _texts(plan, river, units).items():
        found = [word for word in NEVER if re.search(rf"\b{word}\b", text, re.I)]
        assert not found, where
    assert summary(plan, units).startswith("CAUTION 1 OF 3: HEADS-UP\n  [1] Water near 14 °C")
    quiet = {**plan, "caution": {"level": 0, "label": "no caution raised", "assessed": 5, "checks": 9, "reasons": []}}
    said = "No caution raised by the 5 of 9 checks that could be made. This is not advice that the river is fit to use."
    for where in ("page", "summary"):
        assert said in " ".join(_texts(quiet, river, units)[where].split()), where


@pytest.mark.parametrize(("units", "wrong"), [("us", r"\d m\b|m³/s|\d m/s"), ("metric", r"\d ft\b|ft³/s|ft/s")])
def test_units_are_the_readers_throughout(units: str, wrong: str) -> None:
    """No quantity of the other system stands in the page or the summary."""
    plan, river = sample()
    for step in [plan, *plan["ladder"]]:
        step["caution"]["reasons"], step["caution"]["turns"] = [], []
        for row in [*step["runs"], *step["spots"]]:
            row["caution"]["reasons"] = []
            row.pop("why", None)
    texts = _texts(plan, river, units)
    for where in ("page", "summary"):
        assert not re.search(wrong, texts[where]), where


def test_a_plan_of_unknowns_still_makes_every_output() -> None:
    """With each figure null, no ladder and no answer, all outputs are made and read unknown or not assessed."""
    plan, river = sample()

    def emptied(value: Any, key: str = "") -> Any:
        if isinstance(value, dict):
            return {name: emptied(inner, name) for name, inner in value.items()}
        if isinstance(value, list):
            return [emptied(inner) for inner in value]
        return value if key in ("id", "run", "for_day", "river", "made_at", "gauge", "stance") else None

    bare = emptied({**plan, "ladder": [], "rods": [], "trip": {}, "expected": []})
    for spot in bare["spots"]:
        spot["best"] = spot["next_best"] = None
    bare["caution"] = {"level": None, "label": "not assessed", "assessed": 0, "checks": 9, "reasons": []}
    texts = _texts(bare, river, "us")
    assert "Caution not assessed" in texts["page"]
    assert "No ladder of levels could be worked out" in texts["page"]
    assert texts["summary"].startswith("CAUTION NOT ASSESSED")
    assert "None" not in texts["page"].replace("NoneType", "")
    assert not re.search(r"\bnan\b|\bNone\b", texts["summary"])


def test_a_ladder_keyed_on_discharge_reads_in_discharge() -> None:
    """Without stage the slider, its ends and the expectation are in discharge."""
    plan, river = sample()
    for step in plan["ladder"]:
        step["stage_m"] = None
    for row in plan["expected"]:
        row.update(stage_m=None, stage_low_m=None, stage_high_m=None, discharge_low_m3s=26.0, discharge_high_m3s=29.0)
    for spot in plan["spots"]:
        spot.update(stage_m=None, discharge_m3s=27.4)
    data = payload(plan, river, "us")
    assert data["ladders"][0]["kind"] == "discharge"
    assert data["ladders"][0]["planned"] == 27.4
    low, high = (plan["ladder"][k]["discharge_m3s"] / FOOT**3 for k in (0, -1))
    assert f"worked out from {low:,.0f} ft³/s to {high:,.0f} ft³/s" in build_page(plan, river, "us")
    assert expected_sentence(plan, river, "us") == "Expected 07:00 to 15:00: 918 to 1,024 ft³/s."


def test_two_gauges_give_two_sliders_each_with_its_own_runs() -> None:
    """Rows of the ladder are grouped by gauge and speak for the runs they name."""
    plan, river = sample()
    second = json.loads(json.dumps(plan["ladder"]))
    for step in plan["ladder"]:
        step["runs"] = step["runs"][:2]
    for step in second:
        step["gauge"], step["runs"] = "file:other.csv", step["runs"][2:]
    plan["ladder"] += second
    data = payload(plan, river, "us")
    assert [ladder["runs"] for ladder in data["ladders"]] == [[0, 1], [2]]
    assert build_page(plan, river, "us").count('<input type="range"') == 2


def test_the_csv_holds_the_plan_in_si() -> None:
    """Each spot is a row with coordinates in lon, lat order and the choice's own figures; formulas are defused."""
    plan, river = sample()
    plan["spots"][1]["name"] = "=HYPERLINK(1)"
    rows = list(csv.DictReader(io.StringIO(spots_csv(plan, river))))
    assert len(rows) == len(plan["spots"])
    first, best = rows[0], plan["spots"][0]["best"]
    assert abs(float(first["landing_lon"]) - LON0) < 0.1
    assert abs(float(first["landing_lat"]) - LAT0) < 0.1
    assert float(first["countdown_from_s"]) == best["countdown_from_s"]
    assert [float(first[f"fly_depth_p{p}_m"]) for p in (10, 50, 90)] == best["fly_depth_m"]
    assert rows[1]["name"] == "'=HYPERLINK(1)"
    assert next(csv.DictReader(io.StringIO(spots_csv(plan))))["landing_lon"] == ""


def test_the_gpx_keeps_depth_out_of_the_height() -> None:
    """Waypoints carry depth in an extension and in words, no ele, and the flowline is a track."""
    plan, river = sample(names=(*NASTY, "bell \x07"))
    root = ET.fromstring(spots_gpx(plan, river))
    points = root.findall(f"{{{GPX_SPACE}}}wpt")
    kinds = [point.findtext(f"{{{GPX_SPACE}}}type") for point in points]
    assert kinds.count("spot") == len(plan["spots"])
    assert {"put-in", "take-out", "hazard"} <= set(kinds)
    depth = points[0].findtext(f"{{{GPX_SPACE}}}extensions/{{{GPX_DEPTH_SPACE}}}depth_m")
    assert float(depth) == pytest.approx(plan["spots"][0]["depth_m"], abs=0.006)
    assert f"Depth about {plan['spots'][0]['depth_m'] / FOOT:.1f} ft" in points[0].findtext(f"{{{GPX_SPACE}}}desc")
    assert root.find(f".//{{{GPX_SPACE}}}ele") is None
    assert len(root.findall(f".//{{{GPX_SPACE}}}trkpt")) > 10
    assert list(root)[-1].tag == f"{{{GPX_SPACE}}}trk"


def test_the_summary_names_how_many_runs_it_leaves_out_and_their_highest_caution() -> None:
    """Twelve runs beyond the eight that are listed, one of them to stay off, are not left out in silence."""
    plan, _ = sample(runs=20, spots=4, levels=3)
    plan["runs"][15]["caution"] = {**plan["runs"][15]["caution"], "level": 3, "label": "stay off"}
    assert "and 12 more runs: see the page; the highest caution among them is 3: stay off" in summary(plan, "us")
    for run in plan["runs"]:
        run["caution"] = {**run["caution"], "level": 0}
    plan["runs"][15]["caution"]["level"] = None
    assert "the highest caution among them is not assessed" in summary(plan, "us")


def test_the_summary_is_short_and_keeps_the_terminal_clean() -> None:
    """Twenty-two spots and more stay within 60 lines, and a name cannot send an escape sequence."""
    plan, _ = sample(runs=20, spots=40, levels=5)
    plan["spots"][0]["name"] = "\x1b[2Jgone\nnext"
    text = summary(plan, "us")
    assert len(text.splitlines()) <= 60
    assert "and 18 more spots" in text
    assert "\x1b" not in text
    assert all(len(line) <= 125 for line in text.splitlines())
