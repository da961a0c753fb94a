"""Alerts, weather, hours and the day's clock on the page; the same words in the exports and on the terminal."""

from __future__ import annotations

import re
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest

from planner.files import read_bounded
from planner.page import build_page, spots_gpx, summary, words
from planner.page.dayclock import day_clock
from planner.page.hourwords import hour_spans
from tests.browser import DESKTOP, opened
from tests.page.sample import NASTY, sample

ALERT = {
    "quoted": True,
    "headline": "Flood Watch <b>until</b> Sunday & longer",
    "event": "Flood Watch",
    "sender": "Weather office (invented)",
    "sent": "2026-06-12T20:04:00Z",
    "area": "Harrow County",
    "description": "* WHAT...All clear of debris is not expected.\n* WHERE...Low ground.",
    "instruction": "Watch later forecasts.",
    "link": "https://example.org/alert/1",
}


def _hour(hour: int, level: int | None, text: str = "", **more: Any) -> dict[str, Any]:
    label = words.LEVEL_WORDS[level]
    row = {"time": f"2026-06-13T{hour:02d}:00:00Z", "now": False, "stage_m": 0.7, "level": level, "label": label}
    return {**row, "text": text, **more}


@pytest.fixture
def full() -> tuple[dict[str, Any], Any]:
    """The sample plan with weather, hours and ways off, all invented."""
    plan, river = sample()
    plan["timezone"] = river.timezone
    for stop in plan["trip"]["stops"]:
        stop["leave_by"] = stop["arrive_at"][:14] + "59:00Z"
    plan["weather"] = {
        "service": "US National Weather Service",
        "issued_at": "2026-06-12T21:00:00Z",
        "thunder_chance": 35.0,
        "air_low_c": 15.0,
        "alerts": [ALERT],
        "notes": ["Wind up the river of about 14 ft/s: expect to row, and a slower float."],
    }
    times = [row["time"] for row in plan["expected"]]
    levels = [1, 1, 2, *[3] * len(times)]
    plan["hours"] = [
        {**_hour(0, levels[k], f"The gauge may reach {2 + k}.{k} ft."), "time": time} for k, time in enumerate(times)
    ]
    plan["trip"]["ways_off"] = [
        {"id": "w", "name": NASTY[0], "lon": -91.3, "lat": 43.58, "at_m": 1.0, "drift_min": 12.0, "note": "steep <i>"}
    ]
    plan["trip"]["margin_before_dusk_min"] = 61.0
    plan["trip"]["shuttle"] = "Shuttle: about 30 min one way by road."
    plan["trip"]["access"] = {plan["spots"][0]["id"]: {"name": "Gate", "walk_m": 300.0}}
    return plan, river


def test_hours_of_the_same_reason_are_one_span_with_its_highest_figures() -> None:
    """Three hours that differ only in their figures read once, with those of the highest stage; another rule parts."""
    rows = [
        _hour(13, 2, "Bar: may reach 7.5 ft."),
        _hour(14, 2, "Bar: may reach 7.9 ft.", stage_m=0.9),
        _hour(15, 2, "Bar: may reach 7.6 ft."),
        _hour(16, 2, "Thunder is likely."),
        _hour(17, None),
    ]
    spans = hour_spans({"timezone": "America/Chicago", "hours": [{**_hour(12, 2), "now": True}, *rows]})
    assert [span["when"] for span in spans] == ["Now", "08:00 to 11:00", "11:00 to 12:00", "12:00 to 13:00"]
    assert spans[1]["text"] == "Bar: may reach 7.9 ft."
    assert spans[3]["level"] is None


def test_hours_without_a_stage_show_the_figures_of_their_highest_discharge() -> None:
    """Where a gauge gives discharge alone, the span does not stand under the figures of its first and lowest hour."""
    rows = [
        _hour(13 + k, 2, f"Bar: may reach {7 + k} ft.", stage_m=None, discharge_m3s=flow)
        for k, flow in enumerate((50.0, 120.0, 90.0))
    ]
    (span,) = hour_spans({"timezone": "America/Chicago", "hours": rows})
    assert span["text"] == "Bar: may reach 8 ft."


def test_an_alert_stands_word_for_word_with_sender_and_time(browser: Any, full: Any, tmp_path: Path) -> None:
    """Headline and body are text exactly as sent, in quotation marks, with who sent them and when."""
    file = tmp_path / "alert.html"
    file.write_text(build_page(*full, "us"), encoding="utf-8")
    with opened(browser, file) as found:
        page = found.page
        assert page.locator("q.as-sent").text_content() == ALERT["headline"]
        assert (
            "sent by Weather office (invented), 15:04 on Fri 12 Jun; relayed unaltered"
            in page.locator(".credit-line").inner_text()
        )
        page.locator(".alerts summary").click()
        bodies = page.locator("p.as-sent").all_text_contents()
        assert bodies == [ALERT[key] for key in ("area", "description", "instruction", "link")]
        assert found.requests == [file.as_uri()]
        assert page.locator(".alerts").bounding_box()["y"] < page.locator("h1").bounding_box()["y"]


def test_the_hours_show_weather_and_the_caution_of_each(browser: Any, full: Any, tmp_path: Path) -> None:
    """Signs stand under the chart for each hour, its table has their words, and the weather's figures are listed."""
    file = tmp_path / "hours.html"
    file.write_text(build_page(*full, "us"), encoding="utf-8")
    with opened(browser, file) as found:
        page = found.page
        signs = page.locator(".chart > use").evaluate_all(
            "nodes => nodes.map(n => [n.getAttribute('href'), +n.getAttribute('y')])"
        )
        foot = [href for href, y in signs if y > 200]
        assert foot[:4] == ["#lv1", "#lv1", "#lv2", "#lv3"]
        assert "3: stay off" in page.locator(".plain").first.text_content()
        said = page.locator(".hours").inner_text()
        assert re.search(r"Thunder: 35 % at most.\s+Air: 59 °F at its coldest", said)
        assert "Wind up the river of about 14 ft/s" in said
        assert page.locator(".hour-list li").count() == 3


def test_the_day_lists_clock_ways_off_access_shuttle_and_margin(full: Any) -> None:
    """Everything that the trip holds is on the page, in order along the river, names escaped."""
    plan, river = full
    said = day_clock(plan, river, "us")
    assert re.search(r"43\.58000, -91\.30000\).*12 min of slow drift.*steep &lt;i&gt;", said)
    assert "<img" not in said
    assert "slow end of the trip 1 h 1 min before the end of dusk" in said
    assert "on foot from <bdi>Gate</bdi>, 984 ft along the river" in said
    assert "Shuttle: about 30 min one way by road." in said
    order = [said.index("Put in at"), said.index("way off"), said.index("Take out at")]
    assert order == sorted(order)
    for stop in plan["trip"]["stops"]:
        assert (
            f"{words.clock(stop['arrive_at'], river.timezone)}–{words.clock(stop['leave_by'], river.timezone)}" in said
        )


def test_a_stop_that_must_be_left_early_for_the_light_says_so(full: Any) -> None:
    """The hour to leave for daylight is said only where it comes before the planned one."""
    plan, river = deepcopy(full[0]), full[1]
    stop = plan["trip"]["stops"][0]
    stop.update(arrive_at="2026-06-13T13:00:00Z", leave_by="2026-06-13T15:00:00Z")
    stop["daylight_leave_by"] = "2026-06-13T14:30:00Z"
    assert "leave by 09:30 to land before dusk" in day_clock(plan, river, "us")
    stop["daylight_leave_by"] = "2026-06-13T15:30:00Z"
    assert "to land before dusk" not in day_clock(plan, river, "us")


def test_the_counts_name_their_mode_in_every_list(full: Any) -> None:
    """Page, terminal and GPX say fed, held or mended beside the seconds."""
    plan, river = full
    best = plan["spots"][0]["best"]
    window = words.countdown_words(best)
    for mode in ("held", "mended"):
        best["countdown_mode"] = mode
        for said in (build_page(plan, river, "us"), summary(plan, "us"), spots_gpx(plan, river)):
            assert f"{window} {mode}" in said


def test_checks_and_what_was_not_assessed_add_up() -> None:
    """The number not assessed is the checks less those made; low-water notes are told apart."""
    plan, river = sample()
    caution = plan["caution"]
    caution["reasons"] = [r for r in caution["reasons"] if r.get("level") is not None]
    caution["reasons"] += [{"rule": f"R{k}", "level": None, "text": f"Unknown {k}."} for k in range(4)]
    caution["low_water"] = [{"rule": "F10", "level": None, "text": "No minimum flow is named."}]
    caution.update(assessed=9, checks=13)
    page, text = build_page(plan, river, "us"), summary(plan, "us")
    assert "9 of 13 checks" in text
    assert "Not assessed (4):" in text
    assert "Low water: No minimum flow is named." in text
    assert '<span data-k="unmade-count">4</span>' in page
    assert "<li>Low water: No minimum flow is named.</li>" in page


def test_the_terminal_cuts_no_name(full: Any) -> None:
    """A long line or fly goes on below and is whole when its words are joined."""
    plan, _ = full
    plan["spots"][0]["best"]["fly"] = "Very long bulky streamer with lead eyes and a rattle"
    said = summary(plan, "us")
    assert "…" not in said
    for part in ("Very long bulky", "streamer with lead", "rattle"):
        assert part in said


def test_a_file_that_never_ends_is_refused(tmp_path: Path) -> None:
    """A reader takes a bounded number of bytes and says what was wrong."""
    with pytest.raises(OSError, match="no ordinary file"):
        read_bounded("/dev/zero", 1_000_000)
    small = tmp_path / "small"
    small.write_bytes(b"abc")
    assert read_bounded(small, 3) == b"abc"
    with pytest.raises(OSError, match="holds more than 0 MB"):
        read_bounded(small, 2)


def test_a_full_day_still_prints_on_one_sheet(browser: Any, full: Any, tmp_path: Path) -> None:
    """Alert, weather, hours, ways off and shuttle leave room on Letter and A4, and no count runs into its neighbour."""
    file = tmp_path / "full.html"
    plan, river = full
    best = plan["spots"][1]["best"]
    best.update(countdown_from_s=112.0, countdown_to_s=115.0, countdown_mode="mended")
    file.write_text(build_page(plan, river, "us"), encoding="utf-8")
    with opened(browser, file, DESKTOP) as found:
        page = found.page
        for paper in ("Letter", "A4"):
            sheet = page.pdf(format=paper, print_background=False)
            assert len(re.findall(rb"/Type\s*/Page\b(?!s)", sheet)) == 1, paper
        page.set_viewport_size({"width": 735, "height": 1050})
        page.emulate_media(media="print")
        wide = "n => [n.scrollWidth, n.clientWidth]"
        for cell in page.locator("#spots td").all():
            scroll, client = cell.evaluate(wide)
            assert scroll <= client + 1, cell.inner_text()
