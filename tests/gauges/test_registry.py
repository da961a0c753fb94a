"""One door to every service, and recorded replies in place of the network."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from click.testing import CliRunner

from planner.cli import main
from planner.desk.page import rules
from planner.errors import GaugeReplyUnfit, UsageMistake
from planner.gauges import open_series
from planner.gauges.registry import service_of
from planner.gauges.stamps import NoOffset, parse_stamps
from planner.river.settings import gauge_problem
from planner.services import SERVICES, one_of, with_list
from tests.fuzz.readers import READERS
from tests.gauges import replies
from tests.gauges.test_faults import ASKED

ROOT = Path(__file__).parents[2]
JUNE = datetime(2018, 6, 2, 4, tzinfo=UTC)


def test_recorded_reply_stands_in_for_the_network() -> None:
    """With a reply file nothing is asked of the service."""
    series = open_series("usgs:01541000", now=JUNE, reply_files=[replies.BOWER])
    assert len(series) == 96
    assert not series.from_cache


def test_the_clock_cuts_a_recorded_reply() -> None:
    """Planned at noon of that day, the afternoon is not known yet."""
    noon = datetime(2018, 6, 1, 16, tzinfo=UTC)
    series = open_series("usgs:01541000", now=noon, reply_files=[replies.BOWER])
    assert series.times[-1] == np.datetime64("2018-06-01T16:00:00")
    assert any("later than the plan's clock" in note for note in series.notes)


def test_several_reply_files_are_looked_through_and_joined() -> None:
    """Spring and autumn of one station come from two files; a file of another station does no harm."""
    files = [replies.AUTUMN, replies.ICE, replies.SPRING]
    series = open_series("usgs:01541000", now=datetime(2018, 12, 1, tzinfo=UTC), days=300, reply_files=files)
    assert len(series) == 284 + 292
    assert (np.diff(series.times).astype(int) > 0).all()


def test_joining_keeps_rows_that_are_missing_by_ice(tmp_path: Path) -> None:
    """A reply given twice gives the same rows once, the ice among them."""
    copy = tmp_path / "again.json"
    copy.write_bytes(replies.ICE.read_bytes())
    now = datetime(2019, 1, 29, 5, tzinfo=UTC)
    once = open_series("usgs:01542500", now=now, reply_files=[replies.ICE])
    twice = open_series("usgs:01542500", now=now, reply_files=[replies.ICE, copy])
    np.testing.assert_array_equal(once.times, twice.times)
    np.testing.assert_array_equal(once.quality, twice.quality)
    np.testing.assert_array_equal(once.discharge_m3s, twice.discharge_m3s)


def test_no_file_with_the_station_is_refused_naming_all() -> None:
    """Each file and what it holds is named."""
    with pytest.raises(GaugeReplyUnfit) as caught:
        open_series("usgs:01646500", now=JUNE, reply_files=[replies.BOWER, replies.ICE])
    for words in (replies.BOWER.name, replies.ICE.name, "01570500", "01542500"):
        assert words in str(caught.value)


def test_an_unfit_file_beside_a_good_one_is_said(tmp_path: Path) -> None:
    """A truncated file is named in the notes when another file holds the station."""
    half = tmp_path / "half.json"
    half.write_bytes(replies.BOWER.read_bytes()[:999])
    series = open_series("usgs:01541000", now=JUNE, reply_files=[half, replies.BOWER])
    assert any("half.json" in note and "left out" in note for note in series.notes)


def test_a_reply_of_other_days_says_which_days_it_has() -> None:
    """A reply of 2018 with the clock of 2026 gives its days and the way out."""
    with pytest.raises(GaugeReplyUnfit, match=r"run from 2018-06-01.*--now"):
        open_series("usgs:01541000", now=JUNE + timedelta(days=3000), reply_files=[replies.BOWER])


@pytest.mark.parametrize("station", ["nowhere:1", "01541000", "usgs:", ""])
def test_an_unknown_service_is_a_mistake_of_use(station: str) -> None:
    """The services that are known are named."""
    with pytest.raises(UsageMistake, match="usgs:"):
        open_series(station, now=JUNE)


def test_every_service_has_the_same_four_names() -> None:
    """A service is a module with a name, get, read and parse."""
    for name in SERVICES:
        module = service_of(f"{name}:x")
        assert isinstance(module.SERVICE, str)
        for part in ("get", "read", "parse"):
            assert callable(getattr(module, part))


def test_each_service_is_offered_wherever_a_person_chooses_one() -> None:
    """The folder's reader, the command's help and the desk all have their services from the one list."""
    for name in set(SERVICES) - {"file"}:
        assert gauge_problem(f"{name}:01541000", None) is None
        assert isinstance(service_of(f"{name}:x"), ModuleType)
    said = CliRunner().invoke(main, ["gauges", "near", "--help"]).output
    assert f"{one_of(with_list())}." in " ".join(said.split())
    assert [name for name, _, _ in rules()["services"]] == list(with_list())


def test_a_service_is_listed_when_its_module_reads_a_list() -> None:
    """The one list says which services have stations to look for; their modules can ask for them and read them."""
    for name in SERVICES:
        module = service_of(f"{name}:x")
        asks = {part: hasattr(module, part) for part in ("get_stations", "stations_in")}
        assert set(asks.values()) == {name in with_list()}


@pytest.mark.parametrize("service", sorted(set(SERVICES) - {"file"}))
def test_each_service_meets_faults_and_scars_and_stands_in_the_docs(service: str) -> None:
    """No service is added without a faulty server, a scarred reply and its row in the docs."""
    assert any(asked[1].startswith(f"{service}:") for asked in ASKED.values())
    assert f"gauge_{service}" in READERS
    assert f"| `{service}:" in (ROOT / "docs" / "water.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("stamps", "utc"),
    [
        (["2018-03-11T01:45:00.000-05:00", "2018-03-11T03:00:00.000-04:00"], ["2018-03-11T06:45", "2018-03-11T07:00"]),
        (["2020-02-29T23:59:59Z", "2020-12-31T23:59:59Z"], ["2020-02-29T23:59:59", "2020-12-31T23:59:59"]),
        (["2026-06-12T18:00:00+05:30", "2026-06-12T18:00:00-09:30"], ["2026-06-12T12:30", "2026-06-13T03:30"]),
        (["2026-06-12T18:00-05:00", "2026-06-12T18:00:00.5-05:00"], ["2026-06-12T23:00", "2026-06-12T23:00"]),
        (["1969-12-31T23:59:59+00:00"], ["1969-12-31T23:59:59"]),
    ],
)
def test_each_time_is_read_by_its_own_offset(stamps: list[str], utc: list[str]) -> None:
    """Equal and mixed forms give the same moments as the calendar does."""
    np.testing.assert_array_equal(parse_stamps(stamps), np.array(utc, "datetime64[s]"))


@pytest.mark.parametrize(
    "stamp",
    ["2019-02-29T00:00:00.000-05:00", "2019-13-01T00:00:00.000-05:00", "2019-01-01T25:00:00.000-05:00", "2019-01-01",
     "2019-01-01T00:00:00", "", "2019-01-01T00:00:00.000_05:00", "20l9-01-01T00:00:00.000-05:00"],
)  # fmt: skip
def test_a_time_that_is_none_is_refused(stamp: str) -> None:
    """Days that do not exist, letters among digits and times without offset are told, with their place."""
    good = "2019-01-01T00:00:00.000-05:00"
    with pytest.raises(NoOffset) as caught:
        parse_stamps([good, stamp])
    assert caught.value.index == 1
