"""The watch: quiet while nothing changes, bounded, and not lulled by a gauge that falls silent."""

from __future__ import annotations

import dataclasses
import subprocess
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from planner.caution import assess_river
from planner.cli import main
from planner.errors import SourceUnreachable, UsageMistake
from planner.news import changes_between
from planner.watch import period, run_watch, stopwatch, watch
from tests.caution.test_rules import CALM
from tests.caution.words import forbidden_in
from tests.rivers import EXAMPLES

NOW = datetime(2026, 6, 12, 23, tzinfo=UTC)
LAUNCH = NOW + timedelta(hours=14)
QUARTER = timedelta(minutes=15)
BEST = {"line": "26 ft head", "fly": "minnow", "countdown_mode": "held", "countdown_from_s": 6.0, "countdown_to_s": 8.0}


def plan(best=BEST, depth=2.0, speed=0.5, **change):
    """A plan of one spot on a calm day with something changed."""
    caution = assess_river(dataclasses.replace(CALM, **change)).as_dict()
    calm = assess_river(CALM).as_dict()
    spot = {
        "id": "a",
        "run": "r",
        "name": "Ash bar",
        "best": best,
        "caution": calm,
        "depth_m": depth,
        "velocity_m_s": speed,
    }
    return {"caution": caution, "runs": [], "spots": [spot]}


def dead(_now):
    """A gauge that does not answer."""
    raise SourceUnreachable("no connection", "an answer", "look later")


def looks(*plans, every=QUARTER, until=LAUNCH, count=None):
    """Watch a list of plans; a callable is called."""
    clock, sleep = stopwatch(NOW)
    left = list(plans)

    def look(now):
        item = left.pop(0) if len(left) > 1 else left[0]
        return item(now) if callable(item) else item

    return watch(look, every=every, until=until, clock=clock, sleep=sleep, count=count)


def ran(*plans, **more):
    """Exit status and the lines of stdout and stderr."""
    said, complained = [], []
    command, run = more.pop("command", None), more.pop("run", subprocess.run)
    status = run_watch(
        looks(*plans, **more),
        say=said.append,
        complain=complained.append,
        zone="America/Chicago",
        command=command,
        run=run,
    )
    return status, said, complained


def test_nothing_is_said_while_nothing_changes():
    """One line at the start, none after, status 0."""
    status, said, complained = ran(plan())
    assert (status, complained) == (0, [])
    assert said == ["2026-06-12 18:00  watching. The day: caution 0 (no caution raised)."]


def test_the_watch_ends_at_the_launch_and_makes_no_look_after_it():
    """Fourteen hours of quarters, both ends included, and no more."""
    found = list(looks(plan()))
    assert len(found) == 14 * 4
    assert found[-1].at < LAUNCH
    assert len(list(looks(plan(), count=3))) == 3
    assert len(list(looks(plan(), until=NOW + timedelta(hours=500)))) == 72 * 4


def test_a_level_that_rises_is_said_with_its_reason_and_its_own_status():
    """Status 6 once it rose, even when it falls again later."""
    status, said, _ = ran(plan(), plan(stage_m=3.1), plan())
    assert status == 6
    assert "caution 0 (no caution raised) is now 2 (think again). The gauge may reach" in said[1]
    assert "is now 0 (no caution raised)" in said[2]


def test_a_level_that_only_falls_or_an_answer_that_changes_has_a_milder_status():
    """Status 5 for news that asks for no more care."""
    assert ran(plan(stage_m=3.1), plan())[0] == 5
    status, said, _ = ran(plan(), plan({**BEST, "fly": "crayfish"}, depth=2.1))
    assert status == 5
    assert "Ash bar: 26 ft head, minnow, count 6 to 8 s is now 26 ft head, crayfish, count 6 to 8 s." in said[1]
    assert "is now no answer" in ran(plan(), plan(None))[1][1]


def test_a_second_more_on_the_count_is_no_news():
    """A countdown that moves by one second is within what it is worth; two are said."""
    assert ran(plan(), plan({**BEST, "countdown_to_s": 9.0}, depth=2.2))[0] == 0
    assert ran(plan(), plan({**BEST, "countdown_to_s": 10.0}, depth=2.2))[0] == 5


def test_another_rig_in_the_same_water_is_no_news():
    """Where the water has not moved, a rig of the same worth says nothing; small steps add up."""
    other = {**BEST, "fly": "crayfish"}
    assert ran(plan(), plan(other, depth=2.05), plan(depth=2.0))[0] == 0
    assert ran(plan(), plan(other, speed=0.56))[0] == 5
    status, said, _ = ran(plan(), *(plan(other if i % 2 else BEST, depth=2.0 + 0.03 * i) for i in range(1, 6)))
    assert status == 5
    assert len(said) == 2
    assert "minnow" in said[1]
    assert ran(plan(), plan(other, depth=None))[0] == 5


def test_another_leader_alone_is_news_once_the_water_moved():
    """Same line and fly on another leader is said with both lengths; in the same water it is within the ties."""
    long, short = {**BEST, "leader_m": 1.8}, {**BEST, "leader_m": 0.9}
    said = [c.text for c in changes_between(plan(short), plan(long, depth=2.2), "metric")]
    assert said == ["Ash bar: same line and fly, leader 1.8 m instead of 0.9 m, count 6 to 8 s."]
    (own,) = changes_between(plan(BEST), plan({**long, "countdown_to_s": 12.0}, depth=2.2), "metric")
    assert "leader 1.8 m instead of the box’s own, count 6 to 12 s instead of 6 to 8 s" in own.text
    (back,) = changes_between(plan(long), plan(BEST, depth=2.2), "us")
    assert "the box’s own leader instead of 5.9 ft" in back.text
    assert changes_between(plan(short), plan(long)) == []
    assert changes_between(plan(long), plan({**long, "leader_m": 1.82}, depth=2.2)) == []
    status, lines, _ = ran(plan(short), plan(long, depth=2.2))
    assert status == 5
    assert "leader 5.9 ft instead of 3.0 ft" in lines[1]


def test_another_rig_is_said_with_its_leader():
    """A change of fly names the leader that goes with it, and nothing where it is the box's own."""
    (change,) = changes_between(plan(), plan({**BEST, "fly": "crayfish", "leader_m": 2.4}, depth=2.2), "metric")
    assert change.text == (
        "Ash bar: 26 ft head, minnow, count 6 to 8 s is now 26 ft head, crayfish, leader 2.4 m, count 6 to 8 s."
    )


def test_a_run_whose_spot_changed_is_not_said_twice():
    """One line for the place where somebody stands is enough; a run's own change is said."""
    low, high = {"level": 0, "reasons": []}, {"level": 2, "reasons": []}

    def of(run, spot):
        return {"caution": low, "runs": [{"id": "r", "name": "Riffle", "caution": run}],
                "spots": [{"id": "a", "run": "r", "name": "Ash bar", "caution": spot}]}  # fmt: skip

    assert [c.text.split(":")[0] for c in changes_between(of(low, low), of(high, high))] == ["Ash bar"]
    assert [c.text.split(":")[0] for c in changes_between(of(low, low), of(high, low))] == ["Riffle"]


def test_a_dead_network_ends_nothing_and_is_said_once():
    """The watch goes on, complains once for each silence, and says when it is over."""
    status, said, complained = ran(plan(), dead, dead, dead, plan(), dead, plan())
    assert status == 0
    assert len(said) == 1
    assert len(complained) == 4
    assert "no connection" in complained[0]
    assert "can be read again" in complained[1]


def test_a_gauge_that_never_answers_has_the_status_of_an_unreachable_source():
    """Nothing read in the whole night is status 3."""
    status, said, complained = ran(dead)
    assert status == 3
    assert said == []
    assert len(complained) == 1


def test_a_stale_reading_clears_nothing_and_a_good_one_does():
    """Stay off stands through missing and stale readings, and ends with a newer good one."""
    high, silent = plan(stage_m=4.5), plan(stage_m=None, quality="missing", data_age_min=None)
    stale = plan(stage_m=1.0, quality="stale")
    found = list(looks(high, silent, stale, silent, plan(), count=5))
    assert [look.plan["caution"]["level"] for look in found] == [3, 3, 3, 3, 0]
    assert [bool(look.changes) for look in found] == [False, False, False, False, True]


def test_a_silence_between_does_not_forget_what_was_raised():
    """A look that failed keeps the plan before it as the one to compare with."""
    found = list(looks(plan(stage_m=4.5), dead, plan(stage_m=None, quality="missing", data_age_min=None), count=3))
    assert found[2].plan["caution"]["level"] == 3
    assert found[2].changes == ()


def test_the_command_runs_on_change_with_the_news_in_its_environment():
    """No shell reads what changed; the words come as variables."""
    calls = []

    def run(words, env, timeout, check):
        calls.append((words, env["PLUMBRUN_CHANGES"], env["PLUMBRUN_LEVEL"], env["PLUMBRUN_ROSE"]))
        return SimpleNamespace(returncode=0)

    ran(plan(), plan(), plan(stage_m=3.1), command="ring --twice 'the bell'", run=run)
    ((words, changes, level, rose),) = calls
    assert words == ["ring", "--twice", "the bell"]
    assert "is now 2" in changes
    assert (level, rose) == ("2", "1")


@pytest.mark.parametrize("trouble", [FileNotFoundError(), subprocess.TimeoutExpired("ring", 60), ValueError()])
def test_a_command_that_fails_ends_nothing(trouble):
    """The watch complains and goes on."""

    def run(*args, **more):
        raise trouble

    status, said, complained = ran(plan(), plan(stage_m=3.1), plan(), command="ring", run=run)
    assert status == 6
    assert len(said) == 3
    assert all("still watching" in line for line in complained)


def test_what_cannot_be_assessed_any_more_counts_as_worse():
    """From no caution to not assessed is news that asks for care."""
    (change,) = changes_between({"caution": {"level": 0}}, {"caution": {"level": None}})
    assert change.rose
    (back,) = changes_between({"caution": {"level": None}}, {"caution": {"level": 0}})
    assert not back.rose


@pytest.mark.parametrize("text", ["", "15", "4m", "13h", "-15m", "soon", "0.1s"])
def test_a_period_that_is_none_or_impolite_is_refused(text):
    """A service is not asked every minute."""
    with pytest.raises(UsageMistake):
        period(text)


def test_periods_are_read():
    """Seconds, minutes and hours."""
    assert [period(text).total_seconds() for text in ("15m", "1h", "900 s", "7.5min", "2 hours")] == [
        900,
        3600,
        900,
        450,
        7200,
    ]


def test_a_launch_that_is_over_is_refused():
    """There is nothing to watch for after the launch."""
    done = CliRunner().invoke(
        main, ["watch", str(EXAMPLES / "demo"), "--now", "2026-06-13T09:00-05:00", "--day", "today"]
    )
    assert done.exit_code == 2
    assert "is over" in done.output


def test_the_command_watches_a_rehearsed_night(monkeypatch):
    """The command wires folder, hours and status together; the hours pass at once."""
    turns = [plan(), plan(stage_m=3.1)]

    def rehearsed(folder, asked):
        assert asked["day"] == "2026-06-13"
        return lambda now: turns.pop(0) if len(turns) > 1 else turns[0]

    monkeypatch.setattr("planner.watch.watched_plan", rehearsed)
    done = CliRunner().invoke(main, ["watch", str(EXAMPLES / "demo"), "--now", "2026-06-12T18:00-05:00"])
    assert done.exit_code == 6
    assert done.stdout.count("\n") == 2
    assert not forbidden_in(done.output)
    short = [
        "watch",
        str(EXAMPLES / "demo"),
        "--now",
        "2026-06-12T18:00-05:00",
        "--until",
        "2026-06-12T18:40",
        "--every",
        "20m",
    ]
    assert CliRunner().invoke(main, short).exit_code == 0
