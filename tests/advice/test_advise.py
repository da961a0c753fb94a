"""The advice end to end, on small boxes and invented spots."""

import itertools
import math
import re

import numpy as np
import pytest

from planner.advice import SwimStore, advise, advise_in_full
from planner.advice.advise import rigs_of
from planner.advice.field import field_of, tracks_of, unanswerable
from planner.advice.objective import countdown_window
from planner.advice.reasons import nothing_hangs_less, nothing_reaches, percent, told_second, why
from planner.advice.records import constants
from planner.advice.screen import screen
from planner.advice.search import look, name_variants
from planner.advice.tables import SwimTables
from planner.advice.variants import with_leaders
from planner.advice.ways import normal_strip, require
from planner.river.records import TackleFly

# what the advised way may give less than the best there is: a tie, or the box's own leader instead of another
MARGIN = (1 - constants()["tie_margin"]) / (1 + constants()["variant_gain"])


def _run(make, store, spots, box=None, settings=None):
    box = box or make.box(make.line("three", 3.0), make.line("five", 5.0))
    advices, rods, report = advise_in_full(spots, box, settings or make.quick, store=store)
    return advices, rods, report


def test_a_spot_in_reach_gets_a_line_a_fly_and_a_window(make, store):
    """The answer is whole, within its limits and in the box."""
    advices, rods, report = _run(make, store, [make.spot(depth=1.6, current=0.5, rises=(-0.2, 0.0, 0.2))])
    assert report.swims >= 0
    assert "swims run" in str(report)
    assert [len(levels) for levels in advices] == [3]
    for advice in advices[0]:
        best = advice.best
        assert best is not None, advice.none_because
        assert best.line in ("three", "five")
        assert best.fly in ("bulky", "slim heavy")
        assert 0 <= best.countdown_from_s <= best.countdown_best_s <= best.countdown_to_s
        assert best.hang_chance <= make.quick.hang_limit + 1e-9
        assert best.hang_chance <= best.touch_chance
        assert 0 < best.band_time_s <= best.swim_s
        low, middle, high = best.fly_depth_m
        assert 0 <= low <= middle <= high
        assert best.why.endswith(".")
        assert advice.none_because == ""
        assert advice.next_best is not None
        assert (advice.next_best.line, advice.next_best.fly) != (best.line, best.fly)
        # a tie may go to a rod, and a way that needs another leader or mends counts for less
        assert advice.next_best.band_time_s <= best.band_time_s / MARGIN
    assert {rod.line for rod in rods} <= {"three", "five"}


def test_the_plain_door_gives_the_same(make, store, monkeypatch):
    """`advise` is `advise_in_full` without rods and report."""
    monkeypatch.setenv("PLUMBRUN_CACHE", str(store.folder.parent))
    spots = [make.spot(depth=1.6, current=0.5)]
    box = make.box(make.line("three", 3.0))
    assert advise(spots, box, make.quick) == advise_in_full(spots, box, make.quick, store=store)[0]


def test_a_second_run_from_the_disk_gives_the_same_to_the_digit(make, tmp_path):
    """Cold and warm plans agree, and the warm one solves no table."""
    spots = [make.spot(depth=1.4, current=0.5, cast=9.0, planned=True)]
    box = make.box(make.line("three", 3.0))
    first = advise_in_full(spots, box, make.quick, store=SwimStore(tmp_path))
    again = advise_in_full(spots, box, make.quick, store=SwimStore(tmp_path))
    assert first[:2] == again[:2]
    assert first[2].tables_solved > 0
    assert again[2].tables_solved == again[2].swims == 0
    assert again[2].tables_from_disk == first[2].tables_solved
    assert again[2].direct_swims == first[2].direct_swims > 0


@pytest.mark.parametrize("stance", ["wading", "bank", "anchored", "drifting"])
def test_each_stance_kind_is_answered(make, store, stance):
    """All four stances give an answer or a reason."""
    (levels,), _, _ = _run(make, store, [make.spot(depth=1.6, current=0.6, stance=stance, planned=True)])
    assert (levels[0].best is None) != (levels[0].none_because == "")


def test_a_drifting_boat_fishes_deeper_than_one_that_is_held(make, store):
    """What decides depth is speed relative to the water."""
    box = make.box(make.line("three", 3.0), flies=(TackleFly("slim heavy", "low", math.nan, "heavy"),))
    settings = make.replace(make.quick, modes=("held",))
    deep = []
    for stance in ("anchored", "drifting"):
        spot = make.spot(depth=6.0, current=0.8, stance=stance, hold=(0.15, 5.9), angle=90.0)
        (levels,), _, _ = _run(make, store, [spot], box, settings)
        deep.append(levels[0].best.fly_depth_m[1])
    assert deep[1] > 1.5 * deep[0]


# ---- sense ------------------------------------------------------------------------------------------------------


def test_a_wider_hold_band_never_gives_less_band_time(make, store):
    """Each second in the narrow band is one in the wide band: exact, as draws and swims are shared."""
    previous = 0.0
    for hold in ((0.3, 0.4), (0.2, 0.5), (0.15, 0.6), (0.1, 0.9)):
        (levels,), _, _ = _run(make, store, [make.spot(depth=1.6, current=0.5, hold=hold)])
        best = levels[0].best
        time = 0.0 if best is None else best.band_time_s
        # the rod is lifted under the band's low edge, a tie may go to a rod, and the box's own leader comes first
        assert time >= previous * MARGIN
        previous = time
    assert previous > 0


def test_a_looser_hang_limit_never_gives_less_band_time(make, store):
    """What was allowed stays allowed; a tie may go to a rod, and the box's own leader comes first."""
    times = []
    for limit in (0.02, 0.05, 0.1, 0.2, 0.5, 1.0):
        settings = make.replace(make.quick, hang_limit=limit)
        (levels,), _, _ = _run(make, store, [make.spot(depth=1.6, current=0.5, sd=0.2)], settings=settings)
        best = levels[0].best
        assert best is None or best.hang_chance <= limit + 1e-9
        times.append(0.0 if best is None else best.band_time_s)
    assert all(later >= MARGIN * earlier for earlier, later in itertools.pairwise(times))
    assert times[-1] > times[0]


def test_removing_a_line_that_is_not_advised_changes_nothing(make, store):
    """A line that is neither best, next best nor rigged has no say."""
    lines = [make.line("two", 2.0), make.line("three", 3.0), make.line("five", 5.0), make.line("seven", 6.5)]
    spots = [make.spot(depth=1.6, current=0.5, rises=(-0.1, 0.2)), make.spot(depth=1.2, current=0.5, name="b")]
    settings = make.replace(make.quick, shortlist=8)
    whole, rods, _ = _run(make, store, spots, make.box(*lines), settings)
    used = {rod.line for rod in rods}
    for levels in whole:
        for advice in levels:
            used |= {choice.line for choice in (advice.best, advice.next_best) if choice is not None}
    spare = [one for one in lines if one.name not in used]
    assert spare, "the case must leave a line ashore to say anything"
    less, rods_less, _ = _run(make, store, spots, make.box(*(one for one in lines if one is not spare[0])), settings)
    assert rods_less == rods
    for before, after in zip(whole, less, strict=True):
        for one, other in zip(before, after, strict=True):
            assert (one.best, one.next_best, one.none_because) == (other.best, other.next_best, other.none_because)


def test_the_search_finds_what_weighing_everything_finds(make, store):
    """The shortlist and the coarse seconds lose less than 2 % against all rigs at every second."""
    from planner.advice.advise import rigs_of
    from planner.advice.draws import deviations, draw
    from planner.advice.field import field_of, tracks_of
    from planner.advice.tables import SwimTables
    from planner.advice.ways import Way, require
    from planner.advice.weigh import weigh

    box = make.box(make.line("two", 2.0), make.line("three", 3.0), make.line("five", 5.0))
    rng = np.random.default_rng(7)
    for _ in range(6):
        spot = make.spot(depth=rng.uniform(1.0, 2.4), current=rng.uniform(0.35, 0.7))
        (levels,), _, _ = _run(make, store, [spot], box)
        rigs, _ = rigs_of(box)
        tables, field = SwimTables(rigs, store), field_of(spot, make.quick)
        field.shortlist = list(range(len(rigs)))
        ways, needs = require(field, tables, make.quick)
        tables.require(needs)
        best = 0.0
        rows = deviations(draw(make.quick.draws, make.quick.seed))
        for way in ways:
            assert isinstance(way, Way)
            tracks = tracks_of(field, tables, way.rig, way.mode, way.strip_m_s, 0.45)
            found = weigh(tracks, field.ground, field.spread(rigs[way.rig]), rows, field.seconds(way.mode))
            best = max(best, np.where(found.hang_chance <= 0.1 + 1e-9, found.band_time_s, 0.0).max())
        got = 0.0 if levels[0].best is None else levels[0].best.band_time_s
        floor = constants()["least_band_s"]
        assert got >= 0.98 * best - 1e-9 or (got == 0.0 and best < floor)


def test_direct_swims_move_the_answer_little(make, store):
    """On a canonical cast the refined band time is near the table's: it is the same swim better resolved."""
    found = []
    for planned in (False, True):
        spot = make.spot(depth=1.6, current=0.5, planned=planned)
        (levels,), _, report = _run(make, store, [spot])
        assert levels[0].best.refined is planned
        assert (report.direct_swims > 0) is planned
        found.append(levels[0].best)
    assert found[1].band_time_s == pytest.approx(found[0].band_time_s, rel=0.15)
    assert found[1].fly_depth_m[1] == pytest.approx(found[0].fly_depth_m[1], abs=0.08)


def test_the_window_holds_the_best_second(make, store):
    """From and to stand around the best countdown, and the best meets the limit."""
    (levels,), _, _ = _run(make, store, [make.spot(depth=1.6, current=0.5)])
    best = levels[0].best
    seconds = np.arange(best.countdown_from_s, best.countdown_to_s + 1)
    assert best.countdown_best_s in seconds
    assert countdown_window(seconds, np.ones(len(seconds)), np.zeros(len(seconds)), 0, 0.1)[1] == seconds[-1]


# ---- no advice --------------------------------------------------------------------------------------------------


def test_no_soundings_no_advice(make, store):
    """Without a bed there is nothing to advise on."""
    (levels,), _, report = _run(make, store, [make.spot(soundings=0)])
    assert levels[0].best is None
    assert "No sounding" in levels[0].none_because
    assert report.swims == 0


def test_a_cast_that_no_rod_makes_is_said_and_stops_no_other_spot(make, store):
    """A landing drawn in another bend leaves the rest of the plan whole; this stopped every spot of the river once."""
    far, near = make.spot(cast=75.0, name="far"), make.spot(name="near")
    ((one,), (other,)), _, _ = advise_in_full([far, near], make.box(make.line("three", 3.0)), make.quick, store=store)
    assert one.best is None
    assert "no rod" in one.none_because
    assert other.best is not None


def test_an_unknown_current_gives_advice_in_still_water_only(make, store):
    """In a river the current decides the depth; in still water it is zero."""
    spot = make.spot(depth=1.6)
    unknown = tuple(
        make.replace(level, velocity_m_s=math.nan, velocity_low_m_s=math.nan, velocity_high_m_s=math.nan)
        for level in spot.levels
    )
    river, still = make.replace(spot, levels=unknown), make.replace(spot, levels=unknown, river=False)
    (moving, standing), _, _ = _run(make, store, [river, still])
    assert moving[0].best is None
    assert "current here is not known" in moving[0].none_because
    assert standing[0].best is not None, standing[0].none_because
    assert standing[0].best.countdown_mode == "held"


def test_a_dry_landing_has_no_advice_and_the_next_level_has(make, store):
    """Each level is answered for itself."""
    (levels,), _, _ = _run(make, store, [make.spot(depth=1.6, current=0.5, rises=(-1.7, 0.0))])
    assert levels[0].best is None
    assert "dry" in levels[0].none_because
    assert levels[1].best is not None


def test_a_sinking_running_line_is_refused_in_a_river_and_not_in_still_water(make, store):
    """It lies on the bed in the slack near the angler; in a lake it does not matter."""
    box = make.box(make.line("sunk", 3.0, running="sinking"))
    river, still = make.spot(depth=1.6, current=0.5), make.spot(depth=1.6, current=0.0, river=False)
    (moving, standing), rods, _ = _run(make, store, [river, still], box)
    assert moving[0].best is None
    assert "running line floats" in moving[0].none_because
    assert standing[0].best is not None, standing[0].none_because
    assert standing[0].best.line == "sunk"
    assert [rod.line for rod in rods] == ["sunk"]


def test_what_nothing_reaches_names_the_class_of_line_that_would(make, store):
    """A deep fast run above an intermediate line: the missing sink rate is in the ratio of the depths."""
    box = make.box(make.line("slow", 1.5), flies=(TackleFly("bulky", "high", math.nan, "none"),))
    (levels,), _, _ = _run(make, store, [make.spot(depth=1.5, current=0.5, sd=0.05)], box)
    assert levels[0].best is None
    assert "Nothing in your box reaches here" in levels[0].none_because
    assert "in/s" in levels[0].none_because
    assert levels[0].compromise is None
    (levels,), _, _ = _run(make, store, [make.spot(depth=6.0, current=1.2)], box)
    assert "no class of line" in levels[0].none_because


def test_where_nothing_reaches_only_what_a_swim_says_would_is_offered(make, store):
    """At the level that is planned for no class and no way is named by a ratio: each was swum first.

    A drifting boat and a cast further up were offered wherever no class sinks fast enough, unasked of any swim.
    """
    box = make.box(make.line("slow", 1.5), flies=(TackleFly("bulky", "high", math.nan, "none"),))
    (levels,), _, _ = _run(make, store, [make.spot(depth=6.0, current=1.2, planned=True)], box)
    assert levels[0].best is None
    assert "no class of head up to 9 in/s does" in levels[0].none_because
    assert "ratio" not in levels[0].none_because
    offered = [way for way in ("drift past it", "cast further up") if way in levels[0].none_because]
    assert levels[0].none_because.count("its swim gives") == len(offered)


def test_a_floating_line_that_does_not_reach_is_told_a_head_that_sinks(make, store):
    """The class that would sinks: a floating line's own rate is below zero, and 0 or -1 in/s was told to do."""
    box = make.box(make.line("floater", 0.0, 210.0, 38.0), flies=(TackleFly("bulky", "high", math.nan, "light"),))
    (levels,), _, _ = _run(make, store, [make.spot(depth=1.8, current=0.5, sd=0.05, planned=True)], box)
    assert levels[0].best is None
    assert "Nothing in your box reaches here" in levels[0].none_because
    assert re.search(r"; a [1-9] in/s head \((?!floating)", levels[0].none_because)
    told = nothing_reaches("bulky on floater", 0.4, 1.2, -0.03, "metric")
    assert told.endswith("; it takes a line that sinks.")


def test_a_compromise_fishes_the_band_and_hangs_beyond_the_limit(make, store):
    """Of a band too thin to fish within the limit the compromise is no swim that keeps the limit and does not fish.

    One that hung 1 % and gave 0.3 s was told beside the words that every swim hangs more than 10 %.
    """
    spot = make.spot(depth=1.6, current=0.8, sd=0.4, hold=(0.2, 0.25), planned=True)
    for limit in (0.0, 0.02):
        (levels,), _, _ = _run(make, store, [spot], settings=make.replace(make.quick, hang_limit=limit))
        least = levels[0].compromise
        assert least is not None
        assert least.hang_chance > limit
        assert least.band_time_s >= 0.5


def test_what_is_advised_where_the_shortlist_is_solved_was_solved_itself(make, store):
    """The answer at the planned level rests on a direct swim, also where ties or the ladder choose it."""
    rises = tuple(np.arange(-0.3, 0.31, 0.1))
    spot = make.spot(depth=1.8, current=0.5, rises=rises)
    levels = tuple(make.replace(level, planned=i == 3) for i, level in enumerate(spot.levels))
    (found,), _, _ = _run(make, store, [make.replace(spot, levels=levels)])
    assert [advice.best.refined for advice in found] == [i == 3 for i in range(len(rises))]


def test_a_next_best_that_gives_more_is_told_why_it_comes_second(make, store):
    """No sentence leaves a larger number beside the second choice without its reason."""
    (levels,), _, _ = _run(make, store, [make.spot(depth=1.8, current=0.5, planned=True)])
    best = levels[0].best
    more = make.replace(best, line="other", band_time_s=1.05 * best.band_time_s)
    parts = (best, 1.8, math.nan, more, 0.0, 0.1, "metric")
    assert "none of the day's rods" in why(*parts, told_second(best, more, {best.line}))
    assert "change more often with the level" in why(*parts, told_second(best, more, set()))
    assert told_second(more, best, set()) == ""


def test_a_level_that_is_not_known_is_not_told_as_missing_soundings(make, store):
    """Soundings that cannot be carried to a reading, or cannot be used, are told as that."""
    spot = make.spot(depth=1.8, current=0.5, rises=(math.nan,))
    (levels,), _, _ = _run(make, store, [spot])
    assert "a stage is needed" in levels[0].none_because
    (levels,), _, _ = _run(make, store, [make.spot(soundings=0)])
    assert "No sounding here can be used" in levels[0].none_because


def test_where_everything_hangs_the_compromise_is_named(make, store):
    """A strict limit over a poorly known bed leaves nothing; the doubt is named."""
    settings = make.replace(make.quick, hang_limit=0.0)
    (levels,), _, _ = _run(make, store, [make.spot(depth=1.6, current=0.5, sd=0.8, planned=True)], settings=settings)
    assert levels[0].best is None
    assert "hangs more than 0 %" in levels[0].none_because
    assert "soundings between the landing and the rod would help most" in levels[0].none_because
    assert levels[0].compromise is not None
    assert levels[0].compromise.hang_chance > 0


def test_a_compromise_does_not_blame_the_bed_where_another_doubt_is_larger(make, store):
    """Over a bed that is known to the centimetre soundings would not help; only the spot's own water is asked.

    The doubt of the bed was its median over the whole patch, dry ground and all.
    """
    settings = make.replace(make.quick, hang_limit=0.0)
    spot = make.spot(depth=1.6, current=0.5, sd=0.02, planned=True)
    spot = make.replace(spot, levels=(make.replace(spot.levels[0], level_sd_m=0.8),))
    sd = spot.patch.sd_m.copy()
    sd[:, (spot.patch.east_m < -20.0) | (spot.patch.east_m > 20.0)] = 3.0
    spot = make.replace(spot, patch=make.replace(spot.patch, sd_m=sd))
    (levels,), _, _ = _run(make, store, [spot], settings=settings)
    assert levels[0].compromise is not None
    assert "the bed is not most of the doubt (its share is 0 %), the level is more" in levels[0].none_because
    assert "soundings" not in levels[0].none_because


def test_the_doubts_are_told_as_large_as_they_are_where_the_fly_swims(make, store):
    """The bed's is that of the spot's own water, the level's is the level's, the model's stands by its own name.

    The bed's was its median over the patch (2.9 m at one spot of the demo); the model's was told as the level's.
    """
    spot = make.spot(depth=2.0, current=0.6, sd=0.1, planned=True)
    sd = spot.patch.sd_m.copy()
    sd[:, (spot.patch.east_m < -20.0) | (spot.patch.east_m > 20.0)] = 3.0
    (levels,), _, _ = _run(make, store, [make.replace(spot, patch=make.replace(spot.patch, sd_m=sd))])
    told = {one.unknown: one for one in levels[0].sensitivity}
    assert told["bed"].sd == pytest.approx(0.1, rel=0.05)
    assert told["bed"].sd == told["bed"].height_m
    assert told["level"].sd == told["level"].height_m == pytest.approx(0.04)
    assert told["model's own error"].height_m == pytest.approx(0.02 + 0.06 * 2.0, rel=1e-6)
    assert sum(one.share for one in told.values()) == pytest.approx(1.0)


def test_a_compromise_that_ends_over_a_shelf_says_that_it_may_hang_oftener(make, store):
    """Its hang chance is told as the least where the rod is lifted early, and as it is elsewhere."""
    settings = make.replace(make.quick, hang_limit=0.0)
    (levels,), _, _ = _run(make, store, [make.spot(depth=1.6, current=0.5, sd=0.8)], settings=settings)
    least = levels[0].compromise
    for lift_m, often in ((2.45, False), (2.4384, False), (6.0, True), (math.nan, False)):
        told = nothing_hangs_less(make.replace(least, lift_rod_at_m=lift_m), {}, 0.1, "us")
        assert (f"hangs at least {percent(least.hang_chance)} of the time" in told) is often
        assert (f"hangs {percent(least.hang_chance)} of the time" in told) is not often


def test_a_cast_straight_upstream_says_that_it_hangs_oftener_than_told(make, store):
    """The line comes back slack there, which the chances do not know; across and in still water nothing is said."""
    for angle, river, said in ((175.0, True, True), (90.0, True, False), (175.0, False, False)):
        (levels,), _, _ = _run(make, store, [make.spot(depth=1.6, current=0.5 * river, angle=angle, river=river)])
        assert any("straight upstream" in limit for limit in levels[0].limits) is said


@pytest.mark.parametrize(
    ("angle", "current", "stance", "river", "said"),
    [
        (180.0, 1.0, "anchored", True, True),
        (176.0, 1.0, "wading", True, True),
        (170.0, 1.0, "anchored", True, False),
        (180.0, 0.4, "anchored", True, False),
        (180.0, 1.0, "drifting", True, False),
        (180.0, 0.0, "anchored", False, False),
    ],
)
def test_a_cast_straight_into_fast_water_gets_no_answer(make, angle, current, stance, river, said):
    """No strip takes up what the current brings back; a boat that goes with the water has no such trouble."""
    spot = make.spot(depth=1.6, current=current, angle=angle, stance=stance, river=river)
    assert ("faster than any strip" in unanswerable(spot, 0)) is said


def test_the_steps_beside_the_planned_level_are_solved_too_and_told_briefly(make, store, monkeypatch):
    """Where the river may stand instead, swims are direct; kept ones are not solved again, and answer the same."""
    rises = tuple(np.arange(-0.3, 0.31, 0.1))
    spot = make.spot(depth=1.8, current=0.5, rises=rises)
    levels = [
        make.replace(level, step=k, planned=k == 3, near=0 < abs(k - 3) <= 2) for k, level in enumerate(spot.levels)
    ]
    asked = make.replace(spot, levels=tuple(levels))
    (found,), _, first = _run(make, store, [asked])
    assert [advice.best.refined for advice in found] == [abs(k - 3) <= 2 for k in range(len(rises))]
    assert [advice.planned for advice in found] == [k == 3 for k in range(len(rises))]
    assert [bool(advice.best.seconds) for advice in found] == [k == 3 for k in range(len(rises))]
    (again,), _, second = _run(make, store, [asked])
    assert second.direct_swims < first.direct_swims / 4
    assert [advice.best for advice in again] == [advice.best for advice in found]


def test_a_line_that_cannot_be_is_left_out_and_said(make, store):
    """One bad entry does not stop the plan."""
    box = make.box(make.line("three", 3.0), make.line("odd", 3.0, grains=math.nan))
    (levels,), _, _ = _run(make, store, [make.spot(depth=1.6, current=0.5)], box)
    assert levels[0].best is not None
    assert any("odd" in limit for limit in levels[0].limits)


def test_an_empty_box_says_so(make, store):
    """No line, no advice, no error."""
    (levels,), rods, _ = _run(make, store, [make.spot()], make.box())
    assert levels[0].best is None
    assert levels[0].none_because
    assert rods == []


def test_the_limits_of_a_level_stay_with_the_advice(make, store):
    """What weakens the current weakens the advice."""
    spot = make.spot(depth=1.6, current=0.5)
    said = make.replace(spot, levels=(make.replace(spot.levels[0], limits=("Stale reading.",)),))
    (levels,), _, _ = _run(make, store, [said])
    assert "Stale reading." in levels[0].limits


def test_the_record_has_no_nan(make, store):
    """Unknown is None in the plan."""
    (levels,), rods, _ = _run(make, store, [make.spot(depth=1.6, current=0.5)])
    record = levels[0].best.as_dict()
    assert set(record) == set(
        "line fly countdown_mode countdown_from_s countdown_to_s strip_m_s lift_rod_at_m fly_depth_m band_time_s "
        "touch_chance hang_chance leader_m why".split()
    )
    assert len(record["fly_depth_m"]) == 3
    assert all(value == value for value in record.values())
    assert set(rods[0].as_dict()) == {"line", "flies", "spots", "band_time_s", "lost_share"}


def test_the_sentence_is_in_the_users_units(make, store):
    """Feet for one, metres for the other."""
    for units, unit, other in (("us", " ft", " m "), ("metric", " m", " ft")):
        settings = make.replace(make.quick, units=units)
        (levels,), _, _ = _run(make, store, [make.spot(depth=1.6, current=0.5)], settings=settings)
        assert unit in levels[0].best.why
        assert other not in levels[0].best.why.replace(" m deep", "").replace(" m above", "") or units == "metric"


@pytest.mark.parametrize("ips", [1.5, 4.0, 6.5])
def test_a_held_line_straight_downstream_never_sinks_sooner_in_a_faster_current(make, ips):
    """Time to a fixed depth of a line held against the current, within a record's step; never may be none."""
    from planner.advice.advise import rigs_of
    from planner.sink import Cast, Current, swim

    rig = rigs_of(make.box(make.line("one", ips)))[0][-1]
    reached = []
    for current in (0.1, 0.2, 0.4, 0.8, 1.2):
        path = swim(
            rig.line, rig.fly, Cast(15.0, 0.0, 0.45, 20.0, "held"), Current(current, 4.0), nodes=20, every_s=0.1
        )
        sinking = path.phase == 0
        deep = np.flatnonzero(path.fly_depth_m[sinking] >= 0.5)
        reached.append(path.times_s[sinking][deep[0]] if deep.size else np.inf)
    assert np.isfinite(reached[0])
    for slower, faster in itertools.pairwise(reached):
        assert faster >= slower - 0.1


def test_a_cast_further_up_or_a_drift_is_told_where_its_swim_gives_more(make, store):
    """Across a deep run an intermediate line hardly reaches the band; both bring it deeper, and no tip lies."""
    spot = make.spot(angle=90.0, current=0.6, planned=True)
    (answers,), _, _ = advise_in_full([spot], make.box(make.line("slow", 1.5)), make.quick, store=store)
    now = answers[0].best.band_time_s
    gives = {tip.split()[0]: float(tip.split("gives ")[1].split(" s")[0]) for tip in answers[0].tips}
    assert set(gives) == {"Cast", "Drift"}
    assert min(gives.values()) >= 1.25 * now - 0.05


def test_another_leader_is_advised_only_where_it_gives_a_quarter_more(make, store):
    """Over 24 waters: where it is, the best on the box's own leader gives less than four fifths of it; it is said."""
    spots = [
        make.spot(depth=depth, current=current, angle=angle, name=f"{depth} {current} {angle}")
        for depth in (1.2, 1.8, 2.6)
        for current in (0.3, 0.5, 0.7, 0.9)
        for angle in (45.0, 90.0)
    ]
    answers, _, _ = _run(make, store, spots)
    varied = [
        advice
        for (advice,) in answers
        if advice.best and (advice.best.leader_m == advice.best.leader_m or advice.best.countdown_mode == "mended")
    ]
    assert 0 < len(varied) < len(spots) / 2
    for advice in varied:
        own = max(band for band, _ in advice.by_line.values())
        assert advice.best.band_time_s >= (1 + constants()["variant_gain"]) * own * 0.9  # `by_line` is weighed coarsely
        if advice.best.leader_m == advice.best.leader_m:
            assert "not the box's own" in advice.best.why


def test_a_mended_line_is_searched_and_sinks_deeper_than_a_held_one(make, store):
    """The search names mends for the rig that does best; after five seconds they let the fly down a tenth further."""
    spot = make.spot(depth=2.2, current=0.7, angle=90.0)
    rigs, _ = rigs_of(make.box(make.line("three", 3.0)))
    tables, field = SwimTables(with_leaders(rigs), store), field_of(spot, make.quick)
    screen([(field, list(range(len(rigs))))], tables, make.quick)
    ways, needs = require(field, tables, make.quick)
    tables.require(needs)
    looked = look(field, tables, ways, make.quick)
    tables.require(looked.needs)
    tables.require(name_variants(field, tables, looked, make.quick))
    variants = looked.variants
    assert len({way.rig for way in variants if tables.rigs[way.rig].like is not None}) >= 2
    mended = next(way for way in variants if way.mode == "mended")
    tracks = {
        mode: tracks_of(field, tables, mended.rig, mode, mended.strip_m_s, normal_strip(make.quick))
        for mode in ("held", "mended")
    }
    deep = {}
    for mode, found in tracks.items():
        at = round(5.0 / found.every_s) - 1
        deep[mode] = float(found.count[0, 0, at])
    assert deep["mended"] > 1.1 * deep["held"] > 0.0
