"""Many rivers: each gauge once, no failure that stops the rest, tables that others can open."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from planner.cli import main
from planner.errors import SourceUnreachable, UsageMistake
from planner.fleet import Order, listed_folders, run_fleet
from planner.fleet.gather import gather
from planner.fleet.jobs import Needs, look_at
from planner.fleet.run import each
from planner.gauges.gathered import GatheredStore
from planner.gauges.pace import Pace, in_force
from planner.gauges.transport import make_session
from planner.weather.look import Said, Sky
from tests.fleet.dying import square_or_die
from tests.gauges.test_service import GOOD, Service, send
from tests.rivers import EXAMPLES, REPLIES, small_river

JUNE = datetime(2018, 6, 2, 3, 50, tzinfo=UTC)
STATION = "usgs:01541000"


RECORDED = EXAMPLES / "recorded"


@pytest.fixture(scope="module")
def rivers(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Two small rivers on one recorded gauge, and one on a gauge that the service does not know."""
    room = tmp_path_factory.mktemp("fleet")
    return [
        small_river(RECORDED / "01541000", room / "Upper Fork"),
        small_river(RECORDED / "01541000", room / "lower"),
        small_river(RECORDED / "01542500", room / "silent"),
    ]


@dataclass(frozen=True)
class Ran:
    """The command's end, what the server was asked, and where all was written."""

    done: Result
    asked: list[str]
    room: Path
    unfit: Path


def _one_gauge(handler: Any) -> None:
    send(*((200, GOOD) if "sites=01541000" in handler.path else (404, b"{}")))(handler)


@pytest.fixture(scope="module")
def ran(rivers: list[Path], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ran]:
    """A fleet of five folders through the command: two fit, one on a silent gauge, one unfit, one missing."""
    room = tmp_path_factory.mktemp("ran")
    unfit = room / "unfit"
    unfit.mkdir()
    (unfit / "river.toml").write_text("name = 3\n", encoding="utf-8")
    listing = room / "rivers.txt"
    listing.write_text(f"# ours\n{rivers[0]}\n\nunfit\nnowhere\n{rivers[2]}\n", encoding="utf-8")
    service = Service()
    service.answers = [_one_gauge]
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBRUN_CACHE", str(room / "cache"))
        for name in ("USGS_STATISTICS", "NOAA"):
            patch.setenv(f"PLUMBRUN_{name}", "http://127.0.0.1:9/")
        patch.setenv("PLUMBRUN_USGS", "iv")
        patch.setenv("PLUMBRUN_USGS_IV", service.address)
        words = ["--list", str(listing), "--now", JUNE.isoformat(), "--out", str(room / "out"), "--workers", "1"]
        yield Ran(run(str(rivers[1]), *words), service.asked, room, unfit)
        service.stop()


@pytest.fixture
def agency(monkeypatch: pytest.MonkeyPatch) -> Iterator[Service]:
    """A server that answers for the gauges and counts what it is asked; statistics and forecasts are not reached."""
    running = Service()
    running.answers = [send(200, GOOD)]
    monkeypatch.setenv("PLUMBRUN_USGS", "iv")
    monkeypatch.setenv("PLUMBRUN_USGS_IV", running.address)
    monkeypatch.setenv("PLUMBRUN_USGS_STATISTICS", "http://127.0.0.1:9/")
    monkeypatch.setenv("PLUMBRUN_NOAA", "http://127.0.0.1:9/")
    yield running
    running.stop()


def run(*words: str) -> Result:
    """Run the command in this process."""
    return CliRunner().invoke(main, ["fleet", *words])


def test_one_gauge_is_read_once_for_all_rivers(ran: Ran) -> None:
    """Two rivers name the gauge, and its service is asked for two months of it once."""
    assert sum("sites=01541000" in path for path in ran.asked) == 1


def test_a_river_that_fails_is_named_and_stops_no_other(ran: Ran, rivers: list[Path]) -> None:
    """Exit code 1, every reason in words, and the two fit rivers have their pages."""
    import geopandas

    assert ran.done.exit_code == 1, ran.done.output
    assert "Not planned: 3" in ran.done.stdout
    table = geopandas.read_parquet(ran.room / "out" / "rivers.parquet").set_index("folder")
    assert len(table) == 5
    failed = table["failed"].dropna()
    assert set(failed.index) == {str(ran.unfit), str(ran.room / "nowhere"), str(rivers[2])}
    assert "01542500" in failed[str(rivers[2])]
    assert "does not exist" in failed[str(ran.room / "nowhere")]
    index = (ran.room / "out" / "index.html").read_text(encoding="utf-8")
    for page in table["page"].dropna():
        assert (ran.room / "out" / page).is_file()
        assert f'href="{page}"' in index
    assert table["page"].notna().sum() == 2


def test_the_tables_open_as_maps(ran: Ran, rivers: list[Path]) -> None:
    """Rivers are points where they were planned, spots are lines from stance to landing, in longitude and latitude."""
    import geopandas

    table = geopandas.read_parquet(ran.room / "out" / "rivers.parquet").set_index("folder")
    assert table.loc[str(rivers[0]), "gauge"] == STATION
    assert (table.geometry.notna() == table["failed"].isna()).all()
    spots = geopandas.read_parquet(ran.room / "out" / "spots.parquet")
    assert set(spots.geom_type) == {"LineString"}
    assert len(spots) == 2
    assert spots.crs.to_epsg() == 4326


def _same(one: Any, other: Any) -> bool:
    """Equal but for the last digits of numbers, which depend on how a library's sums are laid out in memory."""
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(_same(one[key], other[key]) for key in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(_same, one, other))
    return other == (pytest.approx(one, rel=1e-6, abs=1e-6) if isinstance(one, float) else one)


def test_a_river_of_a_fleet_gets_the_plan_that_it_gets_alone(ran: Ran, rivers: list[Path], monkeypatch) -> None:
    """Readings handed over give the same plan as readings asked for."""
    monkeypatch.setenv("PLUMBRUN_CACHE", str(ran.room / "cache"))
    for name in ("USGS_IV", "USGS_STATISTICS", "NOAA"):
        monkeypatch.setenv(f"PLUMBRUN_{name}", "http://127.0.0.1:9/")
    words = ["plan", str(rivers[1]), "--now", JUNE.isoformat(), "--out", str(ran.room / "alone")]
    alone = CliRunner().invoke(main, words)
    assert alone.exit_code == 0, alone.output
    plans = [
        json.loads((folder / "plan.json").read_text(encoding="utf-8"))
        for folder in (ran.room / "alone", ran.room / "out" / "rivers" / "lower")
    ]
    for plan in plans:
        plan.pop("search")  # counts swims, and the second plan finds them in the store
        plan.pop("weather")  # says in two ways that it was not asked
    assert _same(*plans)


def test_a_dask_cluster_plans_as_local_processes_do(rivers: list[Path], tmp_path: Path) -> None:
    """A real scheduler with two worker processes on this machine gives the same rows as one local process."""
    from distributed import LocalCluster

    replies = (REPLIES["june"],)
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address=None, protocol="tcp://"
    ) as cluster:
        there = run_fleet(
            rivers[:2], Order(JUNE, tmp_path / "dask", replies=replies), scheduler=cluster.scheduler_address
        )
    here = run_fleet(rivers[:2], Order(JUNE, tmp_path / "local", replies=replies), workers=1)
    assert there.workers == 2
    assert [one.failed for one in there.outcomes] == ["", ""]
    rows = [
        [{key: one.row[key] for key in one.row if key != "swims"} for one in fleet.outcomes] for fleet in (here, there)
    ]
    assert rows[0] == rows[1]
    assert (tmp_path / "dask" / "rivers" / "upper-fork" / "plan.html").is_file()


def test_a_scheduler_that_is_not_there_is_said() -> None:
    """The message names the address; nothing is planned."""
    with pytest.raises(SourceUnreachable, match=r"127\.0\.0\.1:9"):
        run_fleet([Path("river")], Order(JUNE, Path("out")), scheduler="tcp://127.0.0.1:9")


def test_a_job_that_kills_its_process_is_the_only_one_lost() -> None:
    """Jobs that were under way when a worker died are done again; the killer is given up and named."""
    pools = []

    def make() -> ProcessPoolExecutor:
        pools.append(ProcessPoolExecutor(2, mp_context=get_context("spawn")))
        return pools[-1]

    found = {job[0]: result for job, result in each(make, square_or_die, ((n,) for n in range(9)), 4)}
    errors = {n: type(result).__name__ for n, result in found.items() if isinstance(result, Exception)}
    assert errors == {3: "BrokenProcessPool", 4: "ValueError"}
    assert {n: found[n] for n in found if n not in errors} == {n: n * n for n in range(9) if n not in errors}
    assert len(pools) == 3  # the first, the one after the death, the one after the killer's second try


def test_jobs_are_taken_only_as_workers_can_use_them() -> None:
    """A fleet of any size holds a bounded number of rivers in memory."""
    taken, given = [], []

    def jobs() -> Iterator[tuple[int]]:
        for number in range(50):
            taken.append(number)
            assert len(taken) - len(given) <= 4
            yield (number,)

    for job, _ in each(lambda: ThreadPoolExecutor(2), abs, jobs(), 4):
        given.append(job)
    assert len(given) == 50


def test_requests_to_one_host_keep_their_distance() -> None:
    """The second request waits its spacing, another host goes at once, and a host that asked for a pause is left."""
    clock = [100.0]
    slept = []

    def sleep(seconds: float) -> None:
        slept.append(seconds)
        clock[0] += seconds

    pace = Pace(0.5, clock=lambda: clock[0], sleep=sleep)
    pace.wait("a")
    pace.wait("a")
    pace.wait("b")
    assert slept == [0.5]
    pace.shut("a", 90)
    with pytest.raises(SourceUnreachable, match="lasts 90 s more"):
        pace.wait("a")
    clock[0] += 91
    pace.wait("a")


def test_a_service_that_asks_for_a_long_pause_is_not_asked_again(agency: Service, tmp_path: Path, monkeypatch) -> None:
    """After one refusal with Retry-After the other gauges of that host fail at once, without a request."""
    monkeypatch.setenv("PLUMBRUN_CACHE", str(tmp_path))
    monkeypatch.setattr("planner.fleet.gather._THREADS", 1)
    agency.answers = [send(429, b"{}", Retry_After="600")]
    window = (JUNE - timedelta(days=60), JUNE)
    needs = [Needs({f"usgs:0154100{n}": [window]}, {f"usgs:0154100{n}": ""}) for n in range(4)]
    store, _ = gather(needs, JUNE, pace=Pace(0.0))
    assert len(agency.asked) == 1
    assert all(found[0].refusal is not None for found in store.fetched.values())
    make_session().close()


def test_the_spacing_holds_over_all_threads_that_read(agency: Service, tmp_path: Path, monkeypatch) -> None:
    """Requests that reach the server are as far apart as the pace says, though eight threads ask."""
    monkeypatch.setenv("PLUMBRUN_CACHE", str(tmp_path))
    moments: list[float] = []
    turns = Pace(0.05)
    real = turns.wait

    def wait(host: str) -> None:
        real(host)
        if not host.endswith(":9"):
            moments.append(time.monotonic())

    monkeypatch.setattr(turns, "wait", wait)
    window = (JUNE - timedelta(days=60), JUNE)
    gather([Needs({f"usgs:0154100{n}": [window]}, {f"usgs:0154100{n}": ""}) for n in range(6)], JUNE, pace=turns)
    assert len(moments) >= 6
    assert max(moments) - min(moments) >= 0.05 * (len(moments) - 1) * 0.9


def test_a_gathered_store_asks_nothing_and_says_what_it_lacks() -> None:
    """A window that was not gathered is a refusal, and documents that were not had count as asked in vain."""
    store = GatheredStore({})
    with pytest.raises(SourceUnreachable, match="was not read"):
        store.fresh(STATION, JUNE - timedelta(days=1), JUNE)
    assert store.document(STATION, "normals") == (b"", 0.0)
    with in_force(Pace(0.0)):
        from planner.plan.readings import look_beside

        beside = look_beside(STATION, JUNE, link="noaa:NRKW1", cache=store)
    assert (beside.forecast, beside.categories, beside.normals) == (None, {}, None)


def test_each_place_is_asked_about_the_weather_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rivers at one place share what the service said there."""
    asked = []

    def ask(sky: Sky, session: Any = None) -> Said:
        asked.append(sky)
        return Said(None, (), ("heard",))

    monkeypatch.setattr("planner.fleet.gather.ask_sky", ask)
    here, there = Sky("us", -78.7, 40.9), Sky("us", -90.8, 43.2)
    _, said = gather([Needs(sky=here), Needs(sky=here), Needs(sky=there)], JUNE)
    assert sorted(asked, key=lambda sky: sky.lon) == [there, here]
    assert said[here].notes == ("heard",)


def test_what_a_river_needs_is_found_without_asking(rivers: list[Path], tmp_path: Path) -> None:
    """Windows of readings reach two months back and over the survey's day; a plan of another hour asks no weather."""
    needs = look_at(rivers[0], Order(JUNE, tmp_path))
    assert not needs.failed
    windows = needs.windows[STATION]
    assert windows[0] == (JUNE - timedelta(days=60), JUNE)
    assert needs.sky is None
    assert look_at(tmp_path / "none", Order(JUNE, tmp_path)).failed


def test_a_fleet_without_a_folder_or_with_an_unreadable_list_is_refused(tmp_path: Path) -> None:
    """Usage, exit code 2, and what to do."""
    with pytest.raises(UsageMistake, match="no river folder"):
        listed_folders([])
    with pytest.raises(UsageMistake, match="cannot be read"):
        listed_folders([], tmp_path / "none.txt")
    assert run("--out", str(tmp_path)).exit_code == 2


def test_a_folder_named_twice_is_planned_once(tmp_path: Path) -> None:
    """By name and by list."""
    listing = tmp_path / "all.txt"
    listing.write_text("a\nb\na\n", encoding="utf-8")
    assert listed_folders([tmp_path / "b"], listing) == [tmp_path / "b", tmp_path / "a"]


def test_gathered_rows_are_those_of_the_window(agency: Service, tmp_path: Path, monkeypatch) -> None:
    """A narrower window of a gathered gauge gives its rows and no others."""
    monkeypatch.setenv("PLUMBRUN_CACHE", str(tmp_path))
    window = (JUNE - timedelta(days=60), JUNE)
    store, _ = gather([Needs({STATION: [window]}, {STATION: ""})], JUNE, pace=Pace(0.0))
    start = JUNE - timedelta(hours=6)
    series = store.fresh(STATION, start, JUNE)
    assert series is not None
    assert (series.times >= np.datetime64("2018-06-01T21:50")).all()
    assert len(series)
