"""Sentences of the advice, each from the computation itself and in the user's units."""

from __future__ import annotations

import math
from collections.abc import Sequence

from planner.advice.records import Choice, constants
from planner.sink.constants import constant
from planner.sink.standards import sink_class
from planner.units import INCH, show

__all__ = [
    "HEAVIEST_IPS",
    "beyond_reach",
    "nothing_hangs_less",
    "nothing_reaches",
    "only_sinking_running_lines",
    "percent",
    "seconds",
    "straight_upstream",
    "told_second",
    "way_words",
    "why",
]

HEAVIEST_IPS = 9  # the fastest class of head sold [in/s] (common practice, no source)
_UPSTREAM_DEG = 150.0
_EARLY_M = 0.05  # a rod lifted so much farther out than where any swim ends is lifted early


def percent(chance: float) -> str:
    """A chance as a whole percentage; the draws carry no finer.

    Examples
    --------
    >>> percent(0.0625)
    '6 %'
    """
    return f"{100 * chance:.0f} %"


def seconds(value: float) -> str:
    """Band time or a count to what it is worth: tenths under 10 s, whole seconds above.

    Examples
    --------
    >>> seconds(3.24), seconds(23.6)
    ('3.2 s', '24 s')
    """
    return f"{value:.1f} s" if value < 9.95 else f"{value:.0f} s"


def why(
    choice: Choice,
    bed_depth_m: float,
    hang_next: float,
    rival: Choice | None,
    rival_height_m: float,
    hang_limit: float,
    units: str,
    told_second: str = "",
) -> str:
    """Why this swim, in one sentence.

    Parameters
    ----------
    choice : Choice
        The swim advised.
    bed_depth_m : float
        Depth of the bed under the fly in the retrieve, median [m].
    hang_next : float
        Hang chance one second past the window; NaN when the window ends with the longest count [1].
    rival : Choice or None
        The next best.
    rival_height_m : float
        How much higher than the choice's the next best's fly swims; negative when lower [m].
    hang_limit : float
        The limit [1].
    units : str
        ``us`` or ``metric``.
    told_second : str
        Why a next best that gives more is told second.
    """
    low, middle, high = choice.fly_depth_m
    height = bed_depth_m - middle
    leader = show(choice.leader_m, "depth", units)
    words = "The fly" if choice.leader_m != choice.leader_m else f"On a leader of about {leader}, not the box's own, it"
    words += (
        f" swims about {show(middle, 'depth', units)} deep ({_range(low, high, units)}) over water about "
        f"{show(bed_depth_m, 'depth', units)} deep, {show(abs(height), 'depth', units)} "
        f"{'above' if height >= 0 else 'below'} the bed on average, and is in the hold band for about "
        f"{seconds(choice.band_time_s)} of {seconds(choice.swim_s)}"
    )
    if hang_next > hang_limit + 0.015:  # a difference that shows in whole per cent
        words += f"; one second more of countdown would hang {percent(hang_next)} of the time"
    if rival is not None:
        words += f"; the next best, {rival.fly} on {rival.line}"
        words += f" counted {rival.countdown_mode}" if (rival.line, rival.fly) == (choice.line, choice.fly) else ""
        gives = f"gives {seconds(rival.band_time_s)}"
        if rival.hang_chance > choice.hang_chance + 0.03:
            gives += f" and hangs {percent(rival.hang_chance)} of the time"
        if abs(rival_height_m) >= 0.1:
            side = "higher" if rival_height_m > 0 else "deeper"
            words += f", rides {show(abs(rival_height_m), 'depth', units)} {side} and {gives}"
        else:
            words += f", {gives}"
        words += f", {told_second}" if told_second else ""
    return words + "."


def told_second(choice: Choice, rival: Choice, rigged: set[str]) -> str:
    """Why a rival that gives more band time is told second; empty when it does not give more.

    Within the margin of the best (`tie_margin`) ways are the same for all that the model can tell.
    """
    if rival.band_time_s <= choice.band_time_s or seconds(rival.band_time_s) == seconds(choice.band_time_s):
        return ""
    words = "which is no more than the model can tell apart, but "
    if choice.line in rigged and rival.line not in rigged:
        return words + "its line is on none of the day's rods"
    return words + "the answer would change more often with the level"


def _range(low: float, high: float, units: str) -> str:
    first, last = show(low, "depth", units).split()[0], show(high, "depth", units)
    return last if first == last.split()[0] else f"{first} to {last}"


def nothing_reaches(
    deepest: str,
    deepest_m: float,
    wanted_m: float,
    sink_m_s: float,
    units: str,
    *,
    swum: bool = False,
    would: tuple[int, float] | None = None,
    ways: Sequence[str] = (),
) -> str:
    """What no line in the box can do, and which class of line would.

    Depth of a towed line is about sunk length × sink rate / speed relative to the water, so that the sink rate that
    is missing is in the ratio of the depths [Pode1951]; a swim says it better where there is one.

    Parameters
    ----------
    deepest : str
        Rig that swims deepest here, in words.
    deepest_m, wanted_m : float
        Depth that it reaches, and depth of the hold band's upper edge [m].
    sink_m_s : float
        Sink rate of that rig's line; negative floats [m/s].
    units : str
        ``us`` or ``metric``.
    swum : bool
        Whether faster classes were swum here, so that `would` None says that none does.
    would : tuple, optional
        Sink rate [in/s] and band time [s] of the class that a direct swim says would.
    ways : sequence of str
        Other ways that a swim says would, see `way_words`.
    """
    words = (
        f"Nothing in your box reaches here: {deepest} swims deepest, at about {show(deepest_m, 'depth', units)}, and "
        f"the hold band begins at {show(wanted_m, 'depth', units)}"
    )
    if would is not None:
        ips, band = would
        return (
            words + f"; a {ips} in/s head ({sink_class(ips * INCH)}) would: its swim gives {seconds(band)} in the band."
        )
    if swum:
        words += f"; no class of head up to {HEAVIEST_IPS} in/s does"
        return words + (f", but {_one_of(list(ways))}." if ways else ".")
    if deepest_m >= wanted_m:
        return words + "; it passes through the band too briefly to fish it."
    if sink_m_s <= 0.0:
        return words + "; it takes a line that sinks."
    rate = sink_m_s * wanted_m / max(deepest_m, 0.05)
    if rate <= HEAVIEST_IPS * INCH:
        return (
            words + f"; by the ratio of the depths a head of about {rate / INCH:.0f} in/s ({sink_class(rate)}) would."
        )
    return words + "; by the ratio of the depths no class of line sinks fast enough for that."


def nothing_hangs_less(least: Choice, doubts: dict[str, float], hang_limit: float, units: str) -> str:
    """The hang limit leaves nothing: what hangs least, and what would help most to know.

    Parameters
    ----------
    least : Choice
        The best compromise.
    doubts : dict
        Variance that each unknown gives the fly's height [m²], see `sensitivity.variances`; empty says nothing of them.
    hang_limit : float
        The limit [1].
    units : str
        ``us`` or ``metric``.
    """
    at = least.lift_rod_at_m if math.isfinite(least.lift_rod_at_m) else math.nan
    # beyond the limit, a swim that ends early over a shelf hung oftener than computed, see docs/advice.md
    often = "at least " if at > constant("pickup_length") + _EARLY_M else ""
    words = (
        f"Every swim that gets down here hangs more than {percent(hang_limit)} of the time; the one that gives the "
        f"most for the least, {least.fly} on {least.line}, hangs {often}{percent(least.hang_chance)} of the time and "
        f"gives {seconds(least.band_time_s)} in the band"
    )
    total = sum(doubts.values())
    if total <= 0.0:
        return words + "."
    most = max(doubts, key=lambda name: doubts[name])
    share = percent(doubts[most] / total)
    if most == "bed":
        # a swim that is lifted late goes over all of it; only an early end says where the bed comes up
        where = _where(at if often else math.nan, units)
        return words + f"; most of the doubt is the bed ({share}), so more soundings {where} would help most."
    bed = percent(doubts["bed"] / total)
    words += f"; the bed is not most of the doubt (its share is {bed}), the {most} is more ({share})"
    return words + (": time it with a stopwatch." if most == "line's sink rate" else ".")


def _one_of(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def _where(at_m: float, units: str) -> str:
    if at_m != at_m:
        return "between the landing and the rod"
    return f"about {show(at_m, 'length', units)} from the rod"


def one_step(here: Choice | None, there: Choice | None, because: str, units: str) -> str:
    """What changes when the level is one step away.

    Parameters
    ----------
    here, there : Choice or None
        The answer at this level and at the other.
    because : str
        Why there is none at the other.
    units : str
        ``us`` or ``metric``.
    """
    if there is None:
        return f"No answer there: {because}" if here is not None else ""
    first, last = (f"{value:.0f}" for value in (there.countdown_from_s, there.countdown_to_s))
    count = f"count {first if first == last else f'{first} to {last}'} s, {there.countdown_mode}"
    leader = _leader_step(here, there, units)
    strip = f"strip {show(there.strip_m_s, 'strip', units)}"
    band = f"{seconds(there.band_time_s)} in the band"
    if here is None:
        return f"There {there.fly} on {there.line} does: {leader}{count}, {strip}, {band}."
    if (here.line, here.fly) != (there.line, there.fly):
        return f"Change to {there.fly} on {there.line}: {leader}{count}, {strip}, {band}."
    changes = [leader.removesuffix(", ")] if leader else []
    now = (here.countdown_from_s, here.countdown_to_s, here.countdown_mode)
    if now != (there.countdown_from_s, there.countdown_to_s, there.countdown_mode):
        changes.append(count)
    if here.strip_m_s != there.strip_m_s:
        changes.append(strip)
    same = "The same rig" if changes else "The same rig, count and strip"
    return f"{': '.join([same, ', '.join(changes)]) if changes else same}; {band}."


def _leader_step(here: Choice | None, there: Choice, units: str) -> str:
    """What changes about the leader, with a comma after it; empty when nothing does."""
    now = math.nan if here is None else here.leader_m
    if now == there.leader_m or (now != now and there.leader_m != there.leader_m):
        return ""
    if there.leader_m != there.leader_m:
        return "the box's own leader, "
    return f"a leader of {show(there.leader_m, 'depth', units)}, "


def tip_words(kind: str, band_s: float, angle_deg: float, now: Choice, units: str) -> str:
    """A tip that a swim has checked.

    Parameters
    ----------
    kind, band_s, angle_deg
        As `planner.advice.alternatives.Tip` holds them.
    now : Choice
        The choice it is compared with.
    units : str
        ``us`` or ``metric``.
    """
    how, instead = _ways(angle_deg)[kind], seconds(now.band_time_s)
    return f"{how[0].upper()}{how[1:]}: its swim gives {seconds(band_s)} in the band instead of {instead}."


def way_words(kind: str, band_s: float, angle_deg: float) -> str:
    """A tip that a swim has checked where nothing else reaches, as part of a sentence."""
    return f"{_ways(angle_deg)[kind]} and its swim gives {seconds(band_s)} in the band"


def _ways(angle_deg: float) -> dict[str, str]:
    return {
        "further_up": f"cast further up, to the same lie at {angle_deg:.0f}° from downstream",
        "drift": "drift past it instead of anchoring",
        "anchor": "hold the boat instead of drifting",
    }


def only_sinking_running_lines() -> str:
    """Why a box of lines with sinking running lines has no answer in a river."""
    return (
        "All lines in your box have a sinking running line, which lies on the bed in the slack water near you: in a "
        "river take one whose running line floats."
    )


def straight_upstream(angle_deg: float, current_m_s: float) -> str:
    """A note that a cast nearly straight upstream hangs oftener than told (docs/advice.md); empty for others."""
    if not (angle_deg >= _UPSTREAM_DEG and current_m_s > 0.0):
        return ""
    return (
        "The cast goes nearly straight upstream: the current brings the line back slack, and in slow water such swims "
        "hung twice as often as told."
    )


def beyond_reach(cast_m: float, units: str) -> str:
    """A note that the cast is longer than an ordinary one; empty when it is not."""
    reach = constants()["reach_m"]
    if cast_m <= reach * 1.005:
        return ""
    return (
        f"The cast is {show(cast_m, 'length', units)}, longer than an ordinary one of about "
        f"{show(reach, 'length', units)}."
    )
