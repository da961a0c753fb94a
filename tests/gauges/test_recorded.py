"""Every recorded reply of data/gauges is read, and each odd one gives what it must."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from planner.errors import GaugeReplyUnfit
from planner.gauges import (
    Quality,
    Series,
    canada,
    england,
    france,
    measurements,
    noaa,
    open_series,
    ratings,
    usgs,
    usgs_v1,
    v1_pages,
    waterml1,
    waterml2,
)
from planner.gauges import statistics as day_statistics
from planner.gauges.near import parse_stations
from planner.units import CFS, FOOT
from tests.gauges import replies

DATA = replies.DATA
# What reads a recorded file: a reader of readings and the station, or a function for what is none.
SERIES = {
    "usgs_ogc_v1_continuous.json": (usgs, "usgs:06904500", 2),
    "usgs_ogc_v1_latest-continuous.json": (usgs, "usgs:06904500", 1),
    "usgs_ogc_v1_continuous_12210700_2026-06_next_link_excerpt.json": (usgs, "usgs:12210700", 3),
    "usgs_iv_waterml11_01491000_2012-05.xml": (usgs, "usgs:01491000", 192),
    "usgs_iv_waterml11_01117800.xml": (usgs, "usgs:01117800", 9),
    "usgs_dv_waterml20_01646500_2014-09.xml": (usgs, "usgs:01646500", 8),
    "usgs_iv_01542500_2019-01_ice_missing.json": (usgs, "usgs:01542500", 438),
    "usgs_iv_01541000_2018-03_dst_start.json": (usgs, "usgs:01541000", 284),
    "usgs_iv_01541000_2018-11_dst_end.json": (usgs, "usgs:01541000", 292),
    "usgs_iv_01541000_01570500_2018-06_mixed_interval_empty_series.json": (usgs, "usgs:01541000", 96),
    "usgs_iv_444306122144600_2020-04_two_methods.json": (usgs, "usgs:444306122144600", None),
    "usgs_iv_02489500_02492000_2019-02_stage_and_navd88.json": (usgs, "usgs:02492000", None),
    "usgs_iv_01491000_01645000_2019-02_excerpt.json": (usgs, "usgs:01645000", 5),
    "nwps_gauge_KCMO3_2026-08_no_thresholds.json": (noaa, "noaa:KCMO3", 1),
    "nwps_stageflow_NRKW1_2026-10-07_excerpt.json": (noaa, "noaa:NRKW1", 3),
    "ca_wateroffice_realtime_08MF005_level_2025-10-22.csv": (canada, "canada:08MF005", 288),
    "ca_wateroffice_daily_08MF005_flow_2023.csv": (canada, "canada:08MF005", 365),
    "ca_datamart_daily_08NJ026_2026-10_sentinel_excerpt.csv": (canada, "canada:08NJ026", 5),
    "ca_datamart_hourly_08MH001_2026-10_excerpt.csv": (canada, "canada:08MH001", 8),
    "ca_geomet_hydrometric_realtime_05BJ004_one_feature_excerpt.json": (canada, "canada:05BJ004", 1),
    "ea_readings_690140_2015-12-10.json": (england, "england:690140", 50),
    "ea_station_690142_measures_is_object_2015-12.json": (england, "england:690142", 1),
    "ea_station_1491TH_2020-02.json": (england, "england:1491TH", 1),
    "hubeau_v2_observations_tr_B720000001_H_one_row_excerpt.json": (france, "france:B720000001", 1),
}
REFUSED = {
    "usgs_iv_no_series.json": (usgs, "usgs:01541000", "no series at all"),
    "usgs_dv_03107698_2017-04_discontinued_duplicate_date.json": (
        usgs,
        "usgs:03107698",
        "daily values have none|no offset",
    ),
    "nwps_gauge_NRKW1_2026-10_excerpt.json": (noaa, "noaa:NRKW1", "no observation"),
    "nwps_stageflow_forecast_NRKW1_2026-10-08_excerpt.json": (noaa, "noaa:NRKW1", "no observation"),
    "ca_wateroffice_daily_empty.csv": (canada, "canada:08MF005", "no value of station 08MF005"),
    "hubeau_v2_observations_tr_V715501001_H_fields_excerpt.json": (france, "france:V715501001", "H or Q"),
    "hubeau_v2_observations_tr_V715501001_Q_fields_excerpt.json": (france, "france:V715501001", "H or Q"),
    "hubeau_v2_obs_elab_empty.json": (france, "france:V715501001", "no row of station"),
}
OTHER = {
    "usgs_ogc_v1_daily.json",
    "usgs_ogc_v1_latest-daily.json",
    "usgs_ogc_v1_monitoring-locations.json",
    "usgs_ogc_v1_time-series-metadata.json",
    "usgs_ogc_v1_time-series-metadata_12210700_12210500_2026-10.json",
    "usgs_ogc_v1_combined-metadata.json",
    "usgs_ogc_v1_field-measurements-metadata.json",
    "usgs_ogc_v1_field-measurements.json",
    "usgs_ogc_v1_channel-measurements.json",
    "usgs_ogc_v1_peaks.json",
    "usgs_statistics_v0_observationNormals.json",
    "usgs_statistics_v0_observationIntervals.json",
    "usgs_daily_stats_01491000_01645000.rdb",
    "usgs_rating_exsa_01541303_excerpt.rdb",
    "usgs_01594440_rating_base.rdb",
    "usgs_base_ratings_montana.csv",
    "usgs_measurements_01541200_1955-1956_excerpt.rdb",
    "usgs_peaks_06813500_partial_date_excerpt.rdb",
    "ca_geomet_hydrometric_stations_05BJ004_one_feature_excerpt.json",
    "hubeau_v2_stations_ales_fields_excerpt.json",
}


def raw(name: str) -> bytes:
    """Content of a recorded reply."""
    return (DATA / name).read_bytes()


def read(name: str) -> Series:
    """A recorded reply as its reader gives it."""
    module, station, _ = SERIES[name]
    return module.parse(raw(name), station)


def test_no_recorded_reply_is_forgotten() -> None:
    """Every file of data/gauges stands in one of the lists of this module."""
    there = {path.name for path in DATA.iterdir()} - {"README.md"}
    assert there == SERIES.keys() | REFUSED.keys() | OTHER


def test_every_recorded_reply_has_its_row_in_the_readme() -> None:
    """Source and licence stand beside each file."""
    text = (DATA / "README.md").read_text(encoding="utf-8")
    assert [path.name for path in DATA.iterdir() if path.name not in text and path.name != "README.md"] == []


@pytest.mark.parametrize("name", sorted(SERIES))
def test_a_recorded_reply_is_a_series(name: str) -> None:
    """Times ascend and are unique, and the number of rows is the recorded one."""
    series = read(name)
    rows = SERIES[name][2]
    assert rows is None or len(series) == rows
    assert (np.diff(series.times).astype(int) > 0).all()
    for column in (series.stage_m, series.discharge_m3s):
        known = column[np.isfinite(column)]
        assert (np.abs(known) < 20_000).all()  # -999999 ft³/s would be -28,317, 99999 m a mountain


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_a_recorded_reply_without_readings_is_refused(name: str) -> None:
    """Empty and other replies give exit 4 and words, never a level."""
    module, station, words = REFUSED[name]
    with pytest.raises(GaugeReplyUnfit, match=words) as caught:
        module.parse(raw(name), station)
    assert caught.value.exit_code == 4


def test_a_page_with_a_next_link_says_that_more_is_missing() -> None:
    """Three stages and three discharges of Nooksack, in SI, approved, and the missing pages are said."""
    series = read("usgs_ogc_v1_continuous_12210700_2026-06_next_link_excerpt.json")
    np.testing.assert_allclose(series.stage_m / FOOT, [138.77, 138.77, 138.76])
    assert set(series.quality) == {"measured"}
    assert any("one page of several" in note for note in series.notes)


def test_the_first_point_without_time_is_left_out_and_counted() -> None:
    """The WaterML 2.0 file has nine points of which the first is empty; eight daily means remain, at noon."""
    series = read("usgs_dv_waterml20_01646500_2014-09.xml")
    np.testing.assert_allclose(series.discharge_m3s / CFS, [2690, 2750, 2990, 3180, 2940, 3100, 2620, 2300])
    assert series.times[0] == np.datetime64("2014-09-01T12:00:00")
    assert any("1 of 9 points have no time" in note for note in series.notes)


def test_the_offset_of_the_stamp_is_trusted_and_not_the_sites_word_on_summer_time() -> None:
    """The WaterML 1.1 site says that it has no daylight saving, its stamps have; local midnight is 04:00 UTC."""
    series = read("usgs_iv_waterml11_01491000_2012-05.xml")
    assert b'siteUsesDaylightSavingsTime="false"' in raw("usgs_iv_waterml11_01491000_2012-05.xml")
    assert series.times[0] == np.datetime64("2012-05-12T05:00:00")
    assert (np.diff(series.times).astype(int) == 900).all()


def test_kcfs_and_cfs_are_not_mixed() -> None:
    """0.7 kcfs observed is 700 ft³/s; the thresholds of the same gauge have stages and no flow."""
    series = read("nwps_stageflow_NRKW1_2026-10-07_excerpt.json")
    np.testing.assert_allclose(series.discharge_m3s / CFS, [678, 711, 700])
    found = noaa.parse_categories(raw("nwps_gauge_NRKW1_2026-10_excerpt.json"))
    assert found is not None
    assert found.usgs_station == "usgs:12210700"
    assert {k: round(v / FOOT, 4) for k, v in found.known_stages().items()} == {
        "action": 144.8, "minor": 146.5, "moderate": 148.0, "major": 150.0,
    }  # fmt: skip
    assert all(math.isnan(v) for v in found.discharge_m3s.values())


def test_a_gauge_without_thresholds_has_unknown_ones() -> None:
    """-9999 four times over is no category at all, -999 no flow, and the year 0001 no forecast."""
    name = "nwps_gauge_KCMO3_2026-08_no_thresholds.json"
    found = noaa.parse_categories(raw(name))
    assert found is not None
    assert found.known_stages() == {}
    last = read(name).last()
    assert last.stage_m == pytest.approx(3.53 * FOOT)
    assert math.isnan(last.discharge_m3s)
    assert noaa.parse_forecast(raw(name), "noaa:KCMO3") is None


def test_a_forecast_is_never_an_observation() -> None:
    """The series at the root is told by its code; the combined reply gives both, apart."""
    alone = noaa.parse_forecast(raw("nwps_stageflow_forecast_NRKW1_2026-10-08_excerpt.json"), "noaa:NRKW1")
    assert alone is not None
    assert alone.times[-1] == np.datetime64("2026-10-18T12:00:00")
    assert alone.issued == datetime(2026, 10, 8, 15, 12, tzinfo=UTC)
    both = noaa.parse_forecast(raw("nwps_stageflow_NRKW1_2026-10-07_excerpt.json"), "noaa:NRKW1")
    assert both is not None
    np.testing.assert_allclose(both.stage_m / FOOT, [138.05, 138.04, 138.02, 138.01])


@pytest.mark.parametrize(("value", "known"), [(-999, False), (-9999, False), (-9.99, True), (-1.5, True)])
def test_only_the_exact_codes_are_missing(value: float, known: bool) -> None:
    """A negative stage is real; -999 and -9999 are not."""
    made = b'{"observed":{"pedts":"HGIRG","primaryName":"Stage","primaryUnits":"ft","secondaryName":"Flow",'
    made += b'"secondaryUnits":"kcfs","data":[{"validTime":"2026-10-07T20:00:00Z","primary":1,"secondary":1},'
    made += b'{"validTime":"2026-10-07T21:00:00Z","primary":%s,"secondary":-999}]}}' % str(value).encode()
    series = noaa.parse(made, "noaa:NRKW1")
    assert bool(np.isfinite(series.stage_m[1])) is known
    assert math.isnan(series.discharge_m3s[1])


def test_a_sentinel_among_good_rows_is_missing() -> None:
    """99999.000 m is no level; the discharge of that row is empty, and neither is interpolated."""
    series = read("ca_datamart_daily_08NJ026_2026-10_sentinel_excerpt.csv")
    np.testing.assert_array_equal(np.isnan(series.stage_m), [False, False, True, False, False])
    assert np.nanmax(series.stage_m) == 0.640
    assert series.quality[2] == "missing"
    assert series.times[0] == np.datetime64("2026-10-06T22:35:00")  # 14:35 at -08:00
    assert series.discharge_m3s[-1] == 0.353


def test_a_null_discharge_is_absent_and_ice_is_said_to_be_unmarked() -> None:
    """GeoMet gives level alone here, in March; its real-time values carry no ice symbol."""
    series = read("ca_geomet_hydrometric_realtime_05BJ004_one_feature_excerpt.json")
    assert np.isnan(series.discharge_m3s).all()
    assert series.name == "ELBOW RIVER AT BRAGG CREEK"
    assert any("ice is not marked" in note for note in series.notes)


def test_the_byte_order_mark_and_the_symbol_are_read() -> None:
    """The Water Office header begins with a mark and a blank; four days of 2023 are estimates."""
    daily = read("ca_wateroffice_daily_08MF005_flow_2023.csv")
    assert int((daily.quality == "estimated").sum()) == 4
    assert daily.discharge_m3s[0] == 721
    assert set(read("ca_wateroffice_realtime_08MF005_level_2025-10-22.csv").quality) == {"provisional"}


def test_a_station_with_one_measure_as_an_object_is_read() -> None:
    """Items and measures are objects in place of lists."""
    assert read("ea_station_690142_measures_is_object_2015-12.json").last().stage_m == 0.233


def test_downstream_stage_is_not_taken_for_stage() -> None:
    """Of two measures of a lock the upstream one is the stage; both in metres above its own datum."""
    series = read("ea_station_1491TH_2020-02.json")
    assert series.last().stage_m == 2.098
    assert any("downstage" in note and "left out" in note for note in series.notes)


def test_newest_first_becomes_oldest_first() -> None:
    """A small flood of 50 readings, sent newest first, falls from 1.219 m."""
    series = read("ea_readings_690140_2015-12-10.json")
    assert series.times[-1] == np.datetime64("2015-12-10T16:00:00")
    assert series.stage_m[-1] == 0.754
    assert series.stage_m.max() == 1.219


@pytest.mark.parametrize("unit", ["---", "mAOD"])
def test_a_dead_measure_and_a_national_datum_are_left_out(unit: str) -> None:
    """A duplicate with the unit --- and a level above the national datum are named and not taken."""
    row = b'{"dateTime":"2026-01-01T00:00:00Z","value":%s,"measure":"x/690140-level-stage-i-15_min-%s"}'
    made = b'{"items":[%s,%s]}' % (row % (b"70.1", unit.encode()), row % (b"0.5", b"m"))
    series = england.parse(made, "england:690140")
    assert series.last().stage_m == 0.5
    assert any(unit in note for note in series.notes)


def test_french_millimetres_and_litres_become_si() -> None:
    """The two excerpts of Alès under their quantities: 462 mm and 2050 l/s."""
    h = raw("hubeau_v2_observations_tr_V715501001_H_fields_excerpt.json")
    q = raw("hubeau_v2_observations_tr_V715501001_Q_fields_excerpt.json")
    last = france.parse(b'{"H":[%s],"Q":[%s]}' % (h, q), "france:V715501001").last()
    assert last.stage_m == pytest.approx(0.462)
    assert last.discharge_m3s == pytest.approx(2.05)
    one = read("hubeau_v2_observations_tr_B720000001_H_one_row_excerpt.json")
    assert one.last().stage_m == pytest.approx(0.491)
    assert one.last().quality == Quality.PROVISIONAL
    assert any("one page of several" in note for note in one.notes)


def test_rows_of_the_site_do_not_override_the_station() -> None:
    """Discharge comes a second time with a null station; at the same time the station's own stands."""
    made = b'{"data":[{"code_site":"V7155010","code_station":"V715501001","grandeur_hydro":"Q","date_obs":' \
        b'"2026-06-06T11:55:00Z","resultat_obs":2050.0},{"code_site":"V7155010","code_station":null,' \
        b'"grandeur_hydro":"Q","date_obs":"2026-06-06T11:55:00Z","resultat_obs":9999.0}]}'  # fmt: skip
    series = france.parse(made, "france:V715501001")
    assert series.discharge_m3s.tolist() == [2.05]
    assert any("site as a whole" in note for note in series.notes)


def test_a_qualifier_list_with_ice_is_ice() -> None:
    """["ESTIMATED","ICE"] is a value under ice; without value it says why it is missing."""
    row = (
        '{"properties":{"time":"%s","value":%s,"parameter_code":"00060","statistic_id":"00011","time_series_id":"a",'
        '"approval_status":"Provisional","qualifier":["ESTIMATED","ICE"],"unit_of_measure":"ft^3/s",'
        '"monitoring_location_id":"USGS-01542500"}}'
    )
    rows = ",".join([row % ("2026-01-01T00:00:00+00:00", '"535"'), row % ("2026-01-01T00:15:00+00:00", '"-999999"')])
    series = usgs_v1.parse(f'{{"features":[{rows}]}}'.encode(), "usgs:01542500")
    assert series.quality.tolist() == ["ice", "ice"]
    assert math.isnan(series.discharge_m3s[1])


def test_daily_means_are_days_and_not_moments() -> None:
    """The collection daily gives bare dates of the Yahara; the reader of readings refuses them."""
    with pytest.raises(GaugeReplyUnfit, match="no instantaneous"):
        usgs_v1.parse(raw("usgs_ogc_v1_daily.json"), "usgs:05427718")


def test_statistics_of_both_forms_agree_with_their_texts() -> None:
    """366 days of the older table, one day of the newer; intervals are refused."""
    old = day_statistics.parse(raw("usgs_daily_stats_01491000_01645000.rdb"), "usgs:01491000")
    assert len(old) == 366
    assert old[(6, 12)].percentiles[50.0] == pytest.approx(62 * CFS)
    assert old[(6, 12)].years == 72
    new = day_statistics.parse(raw("usgs_statistics_v0_observationNormals.json"), "usgs:12451000")
    assert new[(1, 1)].percentiles[95.0] == pytest.approx(1092.5 * CFS)
    assert new[(1, 1)].highest == pytest.approx(2500 * CFS)
    with pytest.raises(GaugeReplyUnfit):
        day_statistics.parse(raw("usgs_statistics_v0_observationIntervals.json"), "usgs:12451000")


def test_ratings_keep_offsets_periods_and_fixed_points() -> None:
    """The expanded rating has one fixed point among nine and is open-ended; the base one has eleven."""
    table = ratings.parse(raw("usgs_rating_exsa_01541303_excerpt.rdb"), "usgs:01541303")
    assert table.rating_id == "11.0"
    assert table.fixed.tolist() == [True] + [False] * 8
    assert table.offsets_m == pytest.approx((2.0 * FOOT,))
    assert table.periods[-1] == ("20170118000000", "")
    base = ratings.parse(raw("usgs_01594440_rating_base.rdb"), "usgs:01594440")
    assert len(base.stage_m) == 11
    assert base.discharge_m3s[-1] == pytest.approx(31100 * CFS)
    with pytest.raises(GaugeReplyUnfit, match="01594440 and not"):
        ratings.parse(raw("usgs_01594440_rating_base.rdb"), "usgs:01541303")


def continuous(one: measurements.Measurement) -> bool:
    """Whether all three are known and discharge is area times velocity within five percent."""
    return abs(one.area_m2 * one.velocity_m_s / one.discharge_m3s - 1.0) <= 0.05


def test_measurements_satisfy_continuity_where_they_can_be_checked() -> None:
    """Flow is area times velocity within five percent in each channel measurement and in the one full RDB row."""
    channel = measurements.parse_measurements(raw("usgs_ogc_v1_channel-measurements.json"), "usgs:05427718")
    assert [continuous(one) for one in channel] == [True, True]
    assert channel[0].mean_depth_m() == pytest.approx(17.6 / 17.6 * FOOT, rel=1e-9)
    rdb = measurements.parse_measurements(raw("usgs_measurements_01541200_1955-1956_excerpt.rdb"), "usgs:01541200")
    assert len(rdb) == 9
    assert next(one for one in rdb if continuous(one)).width_m == pytest.approx(218 * FOOT)
    field = measurements.parse_measurements(raw("usgs_ogc_v1_field-measurements.json"), "usgs:05427718")
    assert field[0].time == "2014-06-19T16:00:27+00:00"
    assert field[1].rated == "Good"


@pytest.mark.parametrize(
    ("name", "service", "station"),
    [
        ("usgs_ogc_v1_combined-metadata.json", "usgs", "usgs:05427718"),
        ("usgs_ogc_v1_monitoring-locations.json", "usgs", "usgs:410252073314801"),
        ("ca_geomet_hydrometric_stations_05BJ004_one_feature_excerpt.json", "canada", "canada:05BJ004"),
        ("hubeau_v2_stations_ales_fields_excerpt.json", "france", "france:V715501001"),
        ("ea_station_1491TH_2020-02.json", "england", "england:1491TH"),
        ("nwps_gauge_KCMO3_2026-08_no_thresholds.json", "noaa", "noaa:KCMO3"),
    ],
)
def test_station_lists_give_places(name: str, service: str, station: str) -> None:
    """Each list names the station with its place; what it does not tell stays unknown."""
    found = parse_stations(raw(name), service)
    assert station in {one.station for one in found}
    assert all(math.isfinite(one.lat) and math.isfinite(one.lon) for one in found)


def test_time_series_metadata_tells_fresh_series_from_dead_ones() -> None:
    """Of eleven series of two sites four kinds share a code; only instantaneous ones of the living site end in 2026."""
    rows, _ = v1_pages.features(raw("usgs_ogc_v1_time-series-metadata_12210700_12210500_2026-10.json"), "metadata")
    assert len(rows) == 11
    fresh = {
        (row["monitoring_location_id"], row["parameter_code"])
        for row in rows
        if row["statistic_id"] == "00011" and row["end"] > "2026-10-01"
    }
    assert fresh == {("USGS-12210700", "00060"), ("USGS-12210700", "00065")}
    for name in ("usgs_ogc_v1_time-series-metadata.json", "usgs_ogc_v1_field-measurements-metadata.json"):
        listed, more = v1_pages.features(raw(name), name)
        assert len(listed) >= 1
        assert not more
        assert all("parameter_code" in row for row in listed)


def test_a_file_station_reads_waterml_and_foreign_columns(tmp_path: Path) -> None:
    """A WaterML 2.0 file and a CSV with other names, another mark and no offset are gauges too."""
    (tmp_path / "a.xml").write_bytes(raw("usgs_dv_waterml20_01646500_2014-09.xml"))
    now = datetime(2014, 9, 9, tzinfo=UTC)
    assert len(open_series("file:a.xml", now=now, folder=tmp_path)) == 8
    (tmp_path / "b.csv").write_text("Stamp;Pegel;x\n2026-06-12T18:00;1,25;\n2026-06-12T18:15;1,30;\n")
    station = "file:b.csv?time=Stamp&stage_m=Pegel&zone=America/Chicago"
    series = open_series(station, now=datetime(2026, 6, 13, tzinfo=UTC), folder=tmp_path)
    assert series.stage_m.tolist() == [1.25, 1.30]
    assert series.times[0] == np.datetime64("2026-06-12T23:00:00")
    with pytest.raises(GaugeReplyUnfit, match="no column 'Other'"):
        open_series("file:b.csv?stage_m=Other", now=now, folder=tmp_path)


@pytest.mark.parametrize(
    "text", [b"<!DOCTYPE html><html></html>", b"<a><b></a>", b'<!DOCTYPE x [<!ENTITY a "b">]><x/>']
)
def test_xml_that_is_a_page_broken_or_has_entities_is_refused(text: bytes) -> None:
    """Neither a web page nor an entity bomb reaches the parser."""
    for module in (waterml1, waterml2):
        with pytest.raises(GaugeReplyUnfit):
            module.parse(text, "usgs:01491000")


@pytest.mark.parametrize("flagged", [0, 7, 50])
def test_a_long_page_read_by_columns_is_the_same_as_read_by_features(flagged: int) -> None:
    """Twelve days of two series, some rows estimated, one missing: columns and JSON give the same to the last bit."""
    import json

    from planner.gauges.v1_rows import lift_rows

    made = []
    for code, unit, sensor in (("00060", "ft^3/s", "a" * 32), ("00065", "ft", "b" * 32)):
        for i in range(600):
            time = np.datetime64("2026-06-01T00:00") + np.timedelta64(15 * i, "m")
            properties = {
                "time": f"{time}:00+00:00",
                "value": "-999999" if i == 300 else f"{100 + i % 97}.{i % 10}",
                "parameter_code": code,
                "statistic_id": "00011",
                "time_series_id": sensor,
                "approval_status": "Approved" if i < 250 else "Provisional",
                "qualifier": ["ESTIMATED"] if flagged and i % flagged == 0 else None,
                "unit_of_measure": unit,
                "monitoring_location_id": "USGS-01541000",
            }
            made.append({"type": "Feature", "properties": properties, "id": str(i), "geometry": None})
    compact = json.dumps({"features": made, "links": []}, separators=(",", ":")).encode()
    spaced = json.dumps({"features": made, "links": []}, indent=1).encode()
    assert lift_rows(compact) is not None
    assert lift_rows(spaced) is None
    a, b = (usgs_v1.parse(text, "usgs:01541000") for text in (compact, spaced))
    np.testing.assert_array_equal(a.times, b.times)
    np.testing.assert_array_equal(a.stage_m, b.stage_m)
    np.testing.assert_array_equal(a.discharge_m3s, b.discharge_m3s)
    np.testing.assert_array_equal(a.quality, b.quality)
    assert np.isnan(a.stage_m[300])
    with pytest.raises(GaugeReplyUnfit, match="USGS-01541000 and not"):
        usgs_v1.parse(compact, "usgs:01541001")


def test_one_odd_feature_in_a_long_page_is_not_read_wrongly() -> None:
    """A feature whose keys stand in another order sends the whole page to the JSON parser, or is parsed by itself."""
    import json

    base = {
        "time": "2026-06-01T00:00:00+00:00", "value": "1.5", "parameter_code": "00065", "statistic_id": "00011",
        "time_series_id": "a" * 32, "approval_status": "Provisional", "qualifier": None, "unit_of_measure": "ft",
        "monitoring_location_id": "USGS-01541000",
    }  # fmt: skip
    made = []
    for i in range(500):
        one = {**base, "time": f"2026-06-{1 + i // 24:02d}T{i % 24:02d}:00:00+00:00"}
        if i == 250:
            one = dict(reversed(list({**one, "value": "9.5"}.items())))
        made.append({"type": "Feature", "properties": one})
    text = json.dumps({"features": made}, separators=(",", ":")).encode()
    series = usgs_v1.parse(text, "usgs:01541000")
    assert len(series) == 500
    assert series.stage_m[250] == pytest.approx(9.5 * FOOT)
    assert (np.delete(series.stage_m, 250) == 1.5 * FOOT).all()
