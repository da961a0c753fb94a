"""Soundings judged and added to a river folder."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from click.testing import CliRunner

from planner.bed.sources import append, take
from planner.bed.sources.records import batch
from planner.bed.sources.sanity import judge
from planner.cli import main
from planner.errors import NotWritten
from planner.river import LocalPlane, read_river
from tests.bed.test_sources import rmc, sentence
from tests.rivers import EXAMPLES, small_river

NOW = datetime(2026, 6, 12, 23, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A river folder to add to."""
    return small_river(EXAMPLES / "recorded" / "01541000", tmp_path / "river")


@pytest.fixture
def river(folder: Path):
    """It, as read."""
    return read_river(folder)


def track(river, depth, *, step_m: float = 1.0, every_s: float = 1.0, start: str = "2026-05-01T15:00:00", **columns):
    """A straight sonar track through the middle of the first run."""
    count = len(depth)
    middle = river.runs[0].polygon.centroid
    plane = LocalPlane(middle.x, middle.y)
    lon, lat = plane.to_lonlat(np.arange(count) * step_m, np.zeros(count))
    taken = np.datetime64(start, "ms") + (np.arange(count) * every_s * 1000).astype("timedelta64[ms]")
    given = {"taken_at": taken, "method": "sonar", **columns}
    return batch("t", "test", given.pop("lon", lon), given.pop("lat", lat), np.asarray(depth, float), **given)


def reasons(found) -> dict[str, int]:
    """Drops by the first words of their reason."""
    return {drop.reason.split(":")[0]: drop.count for drop in found.drops}


def smooth(count: int = 60) -> np.ndarray:
    """A bed without faults."""
    return 1.0 + 0.4 * np.sin(np.arange(count) / 9)


def test_a_sound_track_loses_nothing(river) -> None:
    """No reading of a faultless track is dropped and nothing is said of it."""
    found = judge(track(river, smooth()), river, NOW)
    assert len(found) == 60
    assert found.drops == ()
    assert found.notes == ()


def test_a_spike_goes_and_a_ledge_stays(river) -> None:
    """One reading of 5 m in 1 m of water is dropped; a step of 1.2 m that lasts is the bed."""
    depth = smooth()
    depth[20] = 5.0
    depth[40:] += 1.2
    found = judge(track(river, depth), river, NOW)
    assert reasons(found) == {"a spike": 1}
    assert 5.0 not in found.depth_m
    assert found.depth_m[-1] == depth[-1]


def test_zeros_of_a_sounder_are_lost_bottoms_and_those_of_a_line_are_the_edge(river) -> None:
    """Zero from a sounder is no depth; zero on a lead line is the water's edge."""
    depth = smooth()
    depth[10:14] = 0
    assert reasons(judge(track(river, depth), river, NOW)) == {"zero": 4}
    by_hand = judge(track(river, depth, every_s=10.0, method="lead line"), river, NOW)
    assert by_hand.drops == ()


def test_a_jump_of_the_position_goes(river) -> None:
    """A fix 300 m aside for one second is dropped, the track goes on."""
    whole = track(river, smooth())
    lat = whole.lat.copy()
    lat[30] += 0.0027
    found = judge(track(river, smooth(), lat=lat), river, NOW)
    assert reasons(found) == {"the position jumps away and back": 1}


def test_a_held_depth_goes_when_the_boat_moves(river) -> None:
    """Forty equal readings over forty metres keep only the first; at anchor they all stay."""
    depth = smooth(100)
    depth[30:70] = 1.11
    assert reasons(judge(track(river, depth), river, NOW)) == {"the same depth held over a long way": 39}
    assert judge(track(river, depth, step_m=0.01), river, NOW).drops == ()


def test_exchanged_lon_and_lat_are_recognised(river) -> None:
    """Positions that fit the river only when exchanged are dropped with that said; so is a lost sign."""
    right = track(river, smooth())
    turned = judge(track(river, smooth(), lon=right.lat, lat=right.lon), river, NOW)
    assert len(turned) == 0
    assert "exchanged" in turned.drops[0].reason
    unsigned = judge(track(river, smooth(), lon=-right.lon), river, NOW)
    assert "sign of lon" in unsigned.drops[0].reason


def test_clocks_that_cannot_be_right_are_found(river) -> None:
    """The future and a receiver's rolled-over date are dropped; a survey at night makes the zone doubtful."""
    assert reasons(judge(track(river, smooth(), start="2026-07-01T15:00:00"), river, NOW)) == {
        "taken later than now": 60
    }
    rolled = judge(track(river, smooth(), start="2003-07-01T15:00:00"), river, NOW)
    assert reasons(rolled) == {"dated before 2005": 60}
    zone = ZoneInfo(river.timezone)
    night = datetime(2026, 5, 1, 1, 30, tzinfo=zone).astimezone(UTC).replace(tzinfo=None)
    found = judge(track(river, smooth(), start=night.isoformat()), river, NOW)
    assert len(found) == 60
    assert any("at night" in note for note in found.notes)


def test_feet_read_as_metres_show_against_older_soundings(river) -> None:
    """The same places 3.3 times as deep as before look like feet; a river half a metre higher does not."""
    table = river.soundings
    lon, lat, depth = (table[name].to_numpy(float) for name in ("lon", "lat", "depth_m"))

    def again(new: np.ndarray):
        moments = np.datetime64("2026-05-01T15:00:00", "ms") + np.arange(len(new)) * np.timedelta64(60, "s")
        return judge(batch("t", "test", lon, lat, new, taken_at=moments), river, NOW)

    assert any("--depth-unit ft" in note for note in again(depth / 0.3048).notes)
    assert not any("feet" in note for note in again(depth + 0.5).notes)


def test_a_fast_boat_is_said(river) -> None:
    """At 5 m/s a small sounder loses the bottom: the track is kept and the speed is said."""
    found = judge(track(river, smooth(), step_m=5.0), river, NOW)
    assert len(found) == 60
    assert any("m/s" in note for note in found.notes)


def written_csv(folder: Path, count: int = 8) -> Path:
    """A CSV of new soundings in feet."""
    river = read_river(folder)
    middle = river.runs[0].polygon.centroid
    rows = [
        f"{middle.x + i * 1e-5:.6f},{middle.y:.6f},{3 + i / 10:.1f},2018-05-20T1{i}:00:00-04:00,gravel"
        for i in range(count)
    ]
    path = folder.parent / "new.csv"
    path.write_text("lon,lat,depth_ft,taken_at,bottom\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_new_rows_are_added_and_old_ones_keep_their_text(folder: Path) -> None:
    """Every old line starts as it was, and the new rows carry their extra column."""
    path = folder / "soundings.csv"
    old = path.read_text(encoding="utf-8").splitlines()
    before = len(read_river(folder).soundings)
    river = read_river(folder)
    assert append(river, take(river, [written_csv(folder)], NOW)) == [path]
    new = path.read_text(encoding="utf-8").splitlines()
    assert all(line.startswith(was) for was, line in zip(old, new, strict=False))
    after = read_river(folder).soundings
    assert len(after) == before + 8
    assert after["bottom"].tolist()[-1] == "gravel"
    assert after["depth_m"].to_numpy()[-8:] == pytest.approx((3 + np.arange(8) / 10) * 0.3048, abs=6e-4)


def test_the_same_file_twice_adds_nothing(folder: Path) -> None:
    """A second reading of a file finds all its rows already there, and the file stays byte for byte."""
    file = written_csv(folder)
    river = read_river(folder)
    append(river, take(river, [file], NOW))
    raw = (folder / "soundings.csv").read_bytes()
    again = read_river(folder)
    intake = take(again, [file, file], NOW)
    assert intake.new == 0
    assert intake.doubled == (8, 8)
    assert append(again, intake) == []
    assert (folder / "soundings.csv").read_bytes() == raw


def test_a_folder_without_soundings_gets_the_file(folder: Path) -> None:
    """The first import writes the file."""
    (folder / "soundings.csv").unlink()
    river = read_river(folder)
    append(river, take(river, [written_csv(folder)], NOW))
    assert len(read_river(folder).soundings) == 8


def test_what_someone_wrote_meanwhile_is_not_overwritten(folder: Path) -> None:
    """When soundings.csv changes after the river was read, nothing is written."""
    river = read_river(folder)
    intake = take(river, [written_csv(folder)], NOW)
    path = folder / "soundings.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("\n", "\n", 1) + "\n", encoding="utf-8")
    raw = path.read_bytes()
    with pytest.raises(NotWritten):
        append(river, intake)
    assert path.read_bytes() == raw


def test_the_command_reports_and_writes(folder: Path, tmp_path: Path) -> None:
    """A log is reported without being written, then written, then found again, and --json says the same."""
    middle = read_river(folder).runs[0].polygon.centroid
    lines = []
    for i in range(40):
        lines.append(rmc(f"1500{i:02d}", middle.x + i * 1e-5, middle.y, "250518"))
        lines.append(sentence(f"SDDPT,{0 if i in (5, 6) else 1 + i / 50:.2f},0.2"))
    log = tmp_path / "log.nmea"
    log.write_text("\n".join(lines), encoding="utf-8")
    path = folder / "soundings.csv"
    raw = path.read_bytes()

    def run(*words: str):
        done = CliRunner().invoke(main, ["soundings", str(folder), str(log), "--now", "2018-06-01T23:50-04:00", *words])
        assert done.exit_code == 0, done.output
        return done.stdout

    dry = run("--dry-run")
    assert "dropped 2: zero" in dry
    assert "38 would be added" in dry
    assert path.read_bytes() == raw
    assert "38 added" in run()
    told = json.loads(run("--json"))
    assert told["new"] == 0
    assert told["files"][0]["already_there"] == 38
    assert math.isclose(read_river(folder).soundings["draft_m"].iloc[-1], 0.2)


def test_a_wrong_option_ends_with_its_own_message(folder: Path) -> None:
    """A transducer nine feet up, a zone that is none and a column without a heading are refused."""
    file = written_csv(folder)
    for words in (["--transducer-depth", "-9 ft"], ["--timezone", "Mars/Base"], ["--column", "lon"]):
        done = CliRunner().invoke(main, ["soundings", str(folder), str(file), *words])
        assert done.exit_code == 2, done.output
        assert words[0] in done.output


def test_a_file_in_feet_stays_in_feet_and_quoted_notes_stay_whole(folder: Path) -> None:
    """Depths are added in the file's own unit; a note with a comma and a quote is read back as it was."""
    path = folder / "soundings.csv"
    middle = read_river(folder).runs[0].polygon.centroid
    path.write_text(
        f'lon,lat,depth_ft,taken_at,note\n{middle.x},{middle.y},4.0,2018-05-01T10:00:00-04:00,"ledge, ""big"""\n',
        encoding="utf-8",
    )
    river = read_river(folder)
    append(river, take(river, [written_csv(folder)], NOW))
    text = path.read_text(encoding="utf-8")
    assert text.splitlines()[0] == "lon,lat,depth_ft,taken_at,note,bottom"
    after = read_river(folder).soundings
    assert after["note"].iloc[0] == 'ledge, "big"'
    assert after["depth_m"].to_numpy() == pytest.approx([1.2192, *((3 + np.arange(8) / 10) * 0.3048)], abs=2e-3)
    assert take(read_river(folder), [written_csv(folder)], NOW).new == 0


def test_a_last_line_without_an_end_is_not_run_into(folder: Path) -> None:
    """A file that ends without a line feed keeps its last row apart from the first new one."""
    path = folder / "soundings.csv"
    path.write_text(path.read_text(encoding="utf-8").rstrip("\n"), encoding="utf-8")
    river = read_river(folder)
    before = len(river.soundings)
    append(river, take(river, [written_csv(folder)], NOW))
    assert len(read_river(folder).soundings) == before + 8
