"""Replies of the instantaneous values service, as recorded and as they could come."""

from __future__ import annotations

import json
import warnings
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.errors import GaugeReplyUnfit, PlumbrunError, UsageMistake
from planner.gauges import Quality, parse_iv_json
from planner.gauges.iv_rows import lift
from planner.units import CFS, FOOT
from tests.gauges import replies
from tests.gauges.replies import entry, reply, row

STATION = "usgs:01541000"


def _flags(qualifiers: list[str], value: str = "5.0") -> Quality:
    raw = reply(entry("00065", "ft", [row("2026-06-12T00:00:00.000-05:00", value, *qualifiers)]))
    return Quality(str(parse_iv_json(raw, STATION).quality[0]))


def test_missing_code_is_nulled_before_conversion() -> None:
    """The 39 values of -999999 under ice become unknown, never a discharge of -28,317 cubic metres per second."""
    series = parse_iv_json(replies.ICE.read_bytes(), "usgs:01542500")
    assert len(series) == 438
    assert int(np.isnan(series.discharge_m3s).sum()) == 39
    assert np.nanmin(series.discharge_m3s) > 0


def test_ice_stays_visible_on_rows_without_value() -> None:
    """Every missing row of the ice record says ice, and the count is in the notes."""
    series = parse_iv_json(replies.ICE.read_bytes(), "usgs:01542500")
    assert set(series.quality[np.isnan(series.discharge_m3s)]) == {"ice"}
    assert any("39 (ice) of 438" in note for note in series.notes)
    assert int((series.quality == "estimated").sum()) == 7


def test_ice_at_the_end_shows_in_the_last_flags() -> None:
    """The last reading is the last one with a value; what came after it is told by the flags."""
    series = parse_iv_json(replies.ICE.read_bytes(), "usgs:01542500")
    assert series.last().discharge_m3s == pytest.approx(3760 * CFS)
    assert series.last_flags() == (Quality.PROVISIONAL, Quality.ICE)


@pytest.mark.parametrize(
    ("path", "counts"), [(replies.SPRING, [96, 92, 96]), (replies.AUTUMN, [96, 100, 96])], ids=["spring", "autumn"]
)
def test_a_day_of_clock_change_keeps_all_its_quarter_hours(path: Path, counts: list[int]) -> None:
    """A 23-hour day has 92 values and a 25-hour day 100, all at different moments 15 minutes apart."""
    raw = json.loads(path.read_bytes())
    local = [value["dateTime"][:10] for value in raw["value"]["timeSeries"][0]["values"][0]["value"]]
    assert [local.count(day) for day in dict.fromkeys(local)] == counts
    series = parse_iv_json(path.read_bytes(), STATION)
    assert len(series) == sum(counts)
    assert set(np.diff(series.times).astype(int)) == {900}


def test_level_above_a_datum_is_never_stage() -> None:
    """At the Pearl River 19.86 ft is stage and 74.50 ft is a level above NAVD 88; the notes say so."""
    series = parse_iv_json(replies.PEARL.read_bytes(), "usgs:02489500")
    assert series.stage_m[0] == pytest.approx(19.86 * FOOT)
    assert np.nanmax(series.stage_m) < 25 * FOOT
    assert any("63160" in note and "not taken for stage" in note for note in series.notes)


def test_level_above_a_datum_alone_gives_no_stage() -> None:
    """Where only parameter 63160 comes, the station has no stage at all and the reply is refused."""
    raw = reply(entry("63160", "ft", [row("2026-06-12T00:00:00.000-05:00", "74.5")]))
    with pytest.raises(GaugeReplyUnfit):
        parse_iv_json(raw, STATION)


def test_of_two_sensors_the_most_recent_value_decides() -> None:
    """The log boom sensor with the later value is taken although the other has four times as many, and named."""
    series = parse_iv_json(replies.TWO_SENSORS.read_bytes(), "usgs:444306122144600")
    assert len(series) == 34
    note = next(note for note in series.notes if "sensors" in note)
    assert "taken method 254051" in note
    assert "not taken: 254060" in note


def test_a_missing_value_does_not_make_a_sensor_recent() -> None:
    """A dead sensor that goes on sending the missing code loses to one with a value."""
    dead = [row("2026-06-12T01:00:00.000-05:00", "2.0"), row("2026-06-12T09:00:00.000-05:00", "-999999", "P", "Eqp")]
    good = [row("2026-06-12T08:00:00.000-05:00", "3.0")]
    series = parse_iv_json(reply(entry("00065", "ft", dead, good)), STATION)
    assert series.last().stage_m == pytest.approx(3.0 * FOOT)


def test_with_equal_recency_the_fuller_sensor_is_taken_then_the_lower_number() -> None:
    """The rule goes on: most values, then the lowest method id."""
    t0, t1 = "2026-06-12T07:00:00.000-05:00", "2026-06-12T08:00:00.000-05:00"
    fuller = parse_iv_json(reply(entry("00065", "ft", [row(t1, "1")], [row(t0, "2"), row(t1, "2")])), STATION)
    assert fuller.last().stage_m == pytest.approx(2 * FOOT)
    equal = parse_iv_json(reply(entry("00065", "ft", [row(t1, "1")], [row(t1, "2")])), STATION)
    assert equal.last().stage_m == pytest.approx(1 * FOOT)


def test_an_empty_first_sensor_is_passed_over() -> None:
    """At Harrisburg the first block of water temperature is empty and the second holds the data."""
    series = parse_iv_json(replies.BOWER.read_bytes(), "usgs:01570500")
    assert series.temperature_c[0] == pytest.approx(22.1)
    assert any("122067, empty" in note for note in series.notes)


def test_parameters_at_different_intervals_share_one_time_axis() -> None:
    """Temperature every 15 minutes and stage every 30 stand in one series; the last reading has all three."""
    series = parse_iv_json(replies.BOWER.read_bytes(), "usgs:01570500")
    assert len(series) == 96
    assert int(np.isfinite(series.stage_m).sum()) == 48
    last = series.last()
    assert last.time == datetime(2018, 6, 2, 3, 30, tzinfo=UTC)
    assert np.isfinite([last.stage_m, last.discharge_m3s, last.temperature_c]).all()


@pytest.mark.parametrize(
    ("qualifiers", "value", "quality"),
    [
        (["A"], "5", Quality.MEASURED),
        (["P"], "5", Quality.PROVISIONAL),
        (["P", "e"], "5", Quality.ESTIMATED),
        (["A", "e"], "5", Quality.ESTIMATED),
        (["P", "Ice"], "5", Quality.ICE),
        (["P", "ICE"], "-999999", Quality.ICE),
        (["P", "Eqp"], "-999999", Quality.EQUIPMENT),
        (["P", "Mnt"], "-999999", Quality.EQUIPMENT),
        (["P", "Bkw"], "5", Quality.ESTIMATED),
        (["P", "Bkw"], "-999999", Quality.MISSING),
        (["P", "***"], "-999999", Quality.MISSING),
        (["P", "Dis"], "-999999", Quality.MISSING),
        (["P"], "-999999", Quality.MISSING),
        (["P"], "", Quality.MISSING),
        (["P"], "NaN", Quality.MISSING),
        (["P", "Unheard"], "5", Quality.ESTIMATED),
        ([], "5", Quality.PROVISIONAL),
    ],
)
def test_qualifiers_become_quality(qualifiers: list[str], value: str, quality: Quality) -> None:
    """The worst qualifier decides, and one that is not known never counts as better than an estimate."""
    if not qualifiers:
        raw = json.loads(reply(entry("00065", "ft", [row("2026-06-12T00:00:00.000-05:00", value)])))
        raw["value"]["timeSeries"][0]["values"][0]["value"][0]["qualifiers"] = []
        assert str(parse_iv_json(json.dumps(raw).encode(), STATION).quality[0]) == quality
    else:
        assert _flags(qualifiers, value) == quality


def test_the_row_carries_the_worse_of_stage_and_discharge() -> None:
    """Stage approved and discharge under ice gives a row under ice that still has its stage."""
    t = "2026-01-12T00:00:00.000-05:00"
    raw = reply(entry("00065", "ft", [row(t, "5", "A")]), entry("00060", "ft3/s", [row(t, "-999999", "P", "Ice")]))
    series = parse_iv_json(raw, STATION)
    assert series.last().quality == Quality.ICE
    assert series.last().stage_m == pytest.approx(5 * FOOT)
    assert np.isnan(series.last().discharge_m3s)


def test_a_missing_code_of_the_series_own_is_nulled() -> None:
    """The reply's own noDataValue counts as well as the service's usual one."""
    raw = reply(entry("00065", "ft", [row("2026-06-12T00:00:00.000-05:00", "-123456")], no_data=-123456.0))
    assert np.isnan(parse_iv_json(raw, STATION).stage_m).all()


def test_negative_stage_is_kept() -> None:
    """A stage below the gauge's zero is real water, not a missing code."""
    raw = reply(entry("00065", "ft", [row("2026-06-12T00:00:00.000-05:00", "-0.31")]))
    assert parse_iv_json(raw, STATION).last().stage_m == pytest.approx(-0.31 * FOOT)


def test_rows_out_of_order_and_twice_are_settled_by_the_stated_rule() -> None:
    """Rows come out ascending; of two at one time the one with a value and the better quality stays, and it is said."""
    rows = [
        row("2026-06-12T02:00:00.000-05:00", "3", "P"),
        row("2026-06-12T01:00:00.000-05:00", "2", "A"),
        row("2026-06-12T01:00:00.000-05:00", "9", "P"),
        row("2026-06-12T00:00:00.000-05:00", "1", "P"),
        row("2026-06-12T02:00:00.000-05:00", "-999999", "P", "Eqp"),
    ]
    series = parse_iv_json(reply(entry("00065", "ft", rows)), STATION)
    np.testing.assert_allclose(series.stage_m / FOOT, [1, 2, 3])
    assert any("2 of 5 values share their time" in note for note in series.notes)


def test_order_of_rows_does_not_matter() -> None:
    """A shuffled recorded reply gives the same series."""
    raw = json.loads(replies.AUTUMN.read_bytes())
    rows = raw["value"]["timeSeries"][0]["values"][0]["value"]
    straight = parse_iv_json(replies.AUTUMN.read_bytes(), STATION)
    order = np.random.default_rng(5).permutation(len(rows))
    raw["value"]["timeSeries"][0]["values"][0]["value"] = [rows[i] for i in order]
    shuffled = parse_iv_json(json.dumps(raw).encode(), STATION)
    np.testing.assert_array_equal(straight.times, shuffled.times)
    np.testing.assert_array_equal(straight.discharge_m3s, shuffled.discharge_m3s)


def test_another_unit_is_left_out_aloud() -> None:
    """A stage in an unknown unit is not guessed at."""
    t = "2026-06-12T00:00:00.000-05:00"
    raw = reply(entry("00065", "fathom", [row(t, "1")]), entry("00060", "ft3/s", [row(t, "100")]))
    series = parse_iv_json(raw, STATION)
    assert np.isnan(series.stage_m).all()
    assert any("fathom" in note for note in series.notes)


def test_reply_of_other_stations_is_refused_by_name() -> None:
    """The message names what the reply holds and what was asked."""
    with pytest.raises(GaugeReplyUnfit, match=r"01541000.*01570500.*not station 01542500") as caught:
        parse_iv_json(replies.BOWER.read_bytes(), "usgs:01542500")
    assert caught.value.exit_code == 4


def test_reply_without_series_is_refused() -> None:
    """An answer of status 200 with nothing in it is no reading."""
    with pytest.raises(GaugeReplyUnfit, match="no series at all"):
        parse_iv_json(replies.NOTHING.read_bytes(), STATION)


def test_series_without_any_row_is_refused() -> None:
    """A station whose blocks are all empty has no reading."""
    with pytest.raises(GaugeReplyUnfit, match="no value of stage"):
        parse_iv_json(reply(entry("00065", "ft", [])), STATION)


def test_daily_values_are_refused_because_they_carry_no_offset() -> None:
    """A time without offset is not guessed at."""
    with pytest.raises(GaugeReplyUnfit, match="no offset from UTC"):
        parse_iv_json(replies.DAILY.read_bytes(), "usgs:03107698")


@pytest.mark.parametrize("share", [0.1, 0.5, 0.999])
def test_truncated_reply_is_refused(share: float) -> None:
    """Half a reply is an error and never a shorter answer."""
    raw = replies.ICE.read_bytes()
    with pytest.raises(GaugeReplyUnfit, match="no whole JSON"):
        parse_iv_json(raw[: int(share * len(raw))], "usgs:01542500")


def test_html_page_is_refused_as_what_it_is() -> None:
    """A maintenance page is called a page."""
    with pytest.raises(GaugeReplyUnfit, match="HTML or XML page"):
        parse_iv_json(b"<!DOCTYPE html><html><body>Back soon</body></html>", STATION)


@pytest.mark.parametrize("station", ["usgs:1541000", "usgs:", "usgs:abc", "usgs:01541000&sites=x"])
def test_a_malformed_station_is_a_mistake_of_use(station: str) -> None:
    """Station numbers keep their leading zeros and hold nothing but digits."""
    with pytest.raises(UsageMistake):
        parse_iv_json(b"{}", station)


@pytest.mark.parametrize("path", replies.RECORDED, ids=lambda p: p.name[8:30])
def test_values_and_times_agree_with_the_agencys_own_client(path: Path) -> None:
    """On every recorded reply each discharge and stage equals that of dataretrieval, whose -999999 stays unmasked."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from dataretrieval import nwis

        frame = nwis._read_json(json.loads(path.read_bytes()))
    compared = 0
    for site, part in frame.groupby("site_no"):
        for code, name, factor in (("00060", "discharge_m3s", CFS), ("00065", "stage_m", FOOT)):
            if code not in part or part[code].notna().sum() == 0:
                continue
            theirs = part[["datetime", code]].dropna().drop_duplicates("datetime").sort_values("datetime")
            series = parse_iv_json(path.read_bytes(), f"usgs:{site}")
            times = theirs["datetime"].dt.tz_convert(None).to_numpy().astype("datetime64[s]")
            rows = np.searchsorted(series.times, times)
            expected = theirs[code].to_numpy(float)
            expected = np.where(expected == -999999, np.nan, expected * factor)
            np.testing.assert_array_equal(series.times[rows], times)
            np.testing.assert_allclose(getattr(series, name)[rows], expected, rtol=1e-14)
            compared += int(np.isfinite(expected).sum())
    assert compared or path == replies.TWO_SENSORS


@pytest.mark.parametrize("path", replies.RECORDED, ids=lambda p: p.name[8:30])
def test_spaces_in_the_text_change_nothing(path: Path) -> None:
    """The compact form, read as columns of characters, and a spaced one, read as JSON, give the same bits."""
    whole = json.loads(path.read_bytes())
    compact = json.dumps(whole, separators=(",", ":")).encode()
    spaced = json.dumps(whole, indent=1).encode()
    assert lift(compact)[1]
    assert not lift(spaced)[1]
    for site in {made["sourceInfo"]["siteCode"][0]["value"] for made in whole["value"]["timeSeries"]}:
        try:
            a = parse_iv_json(compact, f"usgs:{site}")
        except GaugeReplyUnfit:
            continue
        b = parse_iv_json(spaced, f"usgs:{site}")
        for name in ("times", "stage_m", "discharge_m3s", "temperature_c", "turbidity_fnu", "quality"):
            np.testing.assert_array_equal(getattr(a, name), getattr(b, name))
        assert a.notes == b.notes


_value = st.one_of(
    st.decimals(-99999, 99999, places=2).map(str),
    st.sampled_from(
        ["-999999", "", "1e3", "-", ".5", "5.", "+1", "0x1", "--1", "1.2.3", "12345678901234567890", "é", '"']
    ),
)
_flag = st.lists(st.sampled_from(["P", "A", "e", "Ice", "Eqp", "a,b", "]", '"}]', "{", "\\"]), max_size=3)
_stamp = st.sampled_from(
    [
        "2026-06-12T18:00:00.000-05:00",
        "2026-06-12T18:15:00.000-05:00",
        "2026-06-12T18:00:00Z",
        "2026-02-30T18:00:00.000-05:00",
    ]
)


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(_value, _flag, _stamp), max_size=6))
def test_both_ways_of_reading_agree_on_any_rows(rows: list[tuple[str, list[str], str]]) -> None:
    """Odd numbers, quotes, brackets and unreal days give the same series, or the same refusal, in both forms."""
    made = json.loads(reply(entry("00065", "ft", [row(t, v, *f) for v, f, t in rows])))
    for value, (_, flags, _) in zip(made["value"]["timeSeries"][0]["values"][0]["value"], rows, strict=True):
        value["qualifiers"] = flags
    got = []
    for text in (json.dumps(made, separators=(",", ":")), json.dumps(made, separators=(" , ", " : "))):
        try:
            series = parse_iv_json(text.encode(), STATION)
            got.append((series.times.tolist(), repr(series.stage_m.tolist()), series.quality.tolist(), series.notes))
        except GaugeReplyUnfit as error:
            got.append(str(error))
    assert got[0] == got[1]


_json = st.recursive(
    st.none() | st.booleans() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=6),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=80) | _json.map(lambda value: json.dumps(value).encode()))
def test_no_bytes_make_the_parser_fall_over(raw: bytes) -> None:
    """Whatever comes, the answer is a series or an error that a person can read."""
    with pytest.raises(PlumbrunError):
        parse_iv_json(raw, STATION)


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_no_change_inside_a_real_reply_makes_the_parser_fall_over(data: st.DataObject) -> None:
    """A reply with one part replaced by something else gives a series or a readable error."""
    whole = json.loads(replies.EXCERPT.read_bytes())
    part, path = whole, []
    while isinstance(part, dict | list) and part and (len(path) < 3 or data.draw(st.booleans())):
        key = data.draw(st.sampled_from(sorted(part) if isinstance(part, dict) else range(len(part))))
        path.append((part, key))
        part = part[key]
    holder, key = path[-1]
    holder[key] = data.draw(_json)
    try:
        series = parse_iv_json(json.dumps(whole).encode(), "usgs:01491000")
    except PlumbrunError:
        return
    assert (np.diff(series.times).astype(int) > 0).all()
