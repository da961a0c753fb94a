"""The chain from the gauge to the countdown for one spot, step by step, each number with unit, origin and spread.

Each step has a formula and the formula with its numbers in it, so that a person with a calculator arrives where the
plan did. What only a solver can do (the swim) stands beside its closed form.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from planner.advice import Choice
from planner.advice.advise import rigs_of
from planner.errors import PlumbrunError
from planner.plan.chain_water import Step, row, step, water_steps
from planner.plan.day import Day, SpotDay
from planner.plan.ice import ICED, iced
from planner.plan.side import chosen_swim
from planner.plan.taught import swims_words
from planner.river.records import HOLD_HIGH_M, HOLD_LOW_M
from planner.sink.constants import constant
from planner.units import GRAIN, show

if TYPE_CHECKING:
    from planner.river import River

__all__ = ["chain_of"]


def chain_of(found: Day, river: River, day: SpotDay, at: int, answer: Any, hang_limit: float) -> list[Step]:
    """Steps of the chain for one spot at one of its levels.

    Parameters
    ----------
    found : Day
        The day.
    river : River
        The folder.
    day : SpotDay
        The spot.
    at : int
        Index of the level.
    answer : Advice
        The advice at that level.
    hang_limit : float
        Of the request [1].
    """
    state = day.water.at(day.levels[at])
    steps = water_steps(found, day, at, state)
    if iced(day.water.view):
        return [steps[0], step("No answer", [], words=ICED)]
    choice = answer.best or answer.compromise
    if choice is None:
        return [*steps, step("No answer", [], words=answer.none_because)]
    steps += _swim(found, river, day, at, choice)
    steps += [_height(day, choice, answer), _window(choice, hang_limit)]
    if answer.best is None:
        steps.append(step("No answer", [], words=answer.none_because))
    return steps


def _swim(found: Day, river: River, day: SpotDay, at: int, choice: Choice) -> list[Step]:
    rigs, _ = rigs_of(river.tackle)
    rig = next(one for one in rigs if (one.line_name, one.fly_name) == (choice.line, choice.fly))
    line, fly, belief = rig.line, rig.fly, found.learned.lines.get(choice.line)
    factor = 1.0 if belief is None else math.exp(belief.mean)
    sink = line.sink_rate_m_s * factor
    sd = 0.5 * (line.sink_sd_below + line.sink_sd_above) * (1.0 if belief is None else belief.known)
    d, rho = line.head_diameter_m, constant("water_density")
    weight = (line.head_density_kg_m3 - rho) * constant("gravity") * math.pi * d**2 / 4
    grains = line.head_mass_kg / GRAIN
    own = show(line.leader_length_m, "depth", "metric")
    leader = (line.leader_length_m, "m", "as the box holds it")
    if choice.leader_m == choice.leader_m:
        leader = (choice.leader_m, "m", f"the search's best; the box's own is {own}")
    learned = "" if belief is None else f", × {factor:.3f} {swims_words(belief.swims)}"
    tackle = step(
        f"The tackle: {choice.fly} on {choice.line}",
        [
            row("leader and tippet", *leader),
            row("sinking part, length", line.head_length_m, "m", "its label"),
            row("sinking part, mass", line.head_mass_kg, "kg", f"its label, {grains:.0f} grains"),
            row("diameter d", d, "m", "from length, mass and sink rate"),
            row("density ρl", line.head_density_kg_m3, "kg/m³", "the same"),
            row("weight in water w", weight, "N/m", "computed"),
            row("sink rate vt", sink, "m/s", f"its label{learned}", sd=sd * sink),
            row("fly, weight in water", fly.wet_weight_n, "N", "its class and weighting"),
            row("fly, towed drag area", fly.towed_area_m2, "m²", "its class"),
        ],
        "w = (ρl − ρ) g π d² / 4 = ½ ρ Cn d vt²",
        f"w = ({line.head_density_kg_m3:.0f} − {rho:.0f}) × 9.81 × π × {d:.5f}² / 4 = {weight:.5f} N/m, "
        f"so Cn = {2 * weight / (rho * d * max(line.sink_rate_m_s, 1e-6) ** 2):.2f} at the label's rate",
    )
    rows = [
        row("cast", day.asked.cast_m, "m", "spots.geojson"),
        row("angle from straight downstream", day.asked.angle_deg, "°", "spots.geojson and the flowline"),
        row("countdown", choice.countdown_best_s, "s", f"the search's best, {choice.countdown_mode}"),
        row("strip", choice.strip_m_s, "m/s", "the search's best"),
    ]
    formula, worked = "d ≈ L vt / U (sanity line: steady tow of the line that is under water)", ""
    try:
        path = chosen_swim(day.asked, at, choice, river.tackle, found.learned)
    except PlumbrunError:  # the solver's own bounds: the tables' answer stands without its full path
        return [tackle, step("The swim", rows, formula, "the full swim left the solver's bounds; the table's stands")]
    speed, sunk = path.relative_speed_m_s, path.sanity_depth_m * path.relative_speed_m_s / max(sink, 1e-9)
    rows += [
        row("fly's speed through the water U", speed, "m/s", "the swim, mean over the retrieve"),
        row("closed form d", path.sanity_depth_m, "m", "L vt / U"),
        row("fly's depth at the first strip", path.depth_at_strip_start_m, "m", "the swim, bed left out"),
        row(
            "fly's mean depth in the retrieve", path.mean_depth_retrieve_m, "m", "the swim to the pick-up, bed left out"
        ),
        row("time to the pick-up", float(path.times_s[-1]), "s", "the swim, were the rod kept low to its end"),
    ]
    worked = (
        f"d ≈ {sunk:.2f} × {sink:.4f} / {speed:.3f} = {path.sanity_depth_m:.2f} m beside the swim's "
        f"{path.mean_depth_retrieve_m:.2f} m"
    )
    return [tackle, step("The swim", rows, formula, worked)]


def _height(day: SpotDay, choice: Choice, answer: Any) -> Step:
    low, middle, high = choice.fly_depth_m
    height = choice.bed_m - middle
    rows = [
        row(
            "bed under the retrieve",
            choice.bed_m,
            "m",
            "soundings carried to this level, where the water is the spot's",
        ),
        row(
            "fly's depth",
            middle,
            "m",
            "median of the draws, mean over the retrieve up to the lift and over that water",
            low=low,
            high=high,
        ),
        row("height above the bed", height, "m", "the two above"),
        row(
            "hold band, low",
            day.asked.hold_low_m,
            "m",
            _band_words(day.spot.hold_low_m, day.water.run.hold_low_m, HOLD_LOW_M),
        ),
        row(
            "hold band, high",
            day.asked.hold_high_m,
            "m",
            _band_words(day.spot.hold_high_m, day.water.run.hold_high_m, HOLD_HIGH_M),
        ),
    ]
    told = answer.sensitivity
    worked = ""
    if told:
        rows += [row(f"doubt from the {one.unknown}", one.height_m, "m", _spread_words(one)) for one in told]
        total = math.sqrt(sum(one.height_m**2 for one in told))
        rows.append(row("doubt of the height", total, "m", "root of the sum of squares of the above"))
        worked = "√(" + " + ".join(f"{one.height_m:.3f}²" for one in told) + f") = {total:.3f} m"
        if total > 0:
            worked += f";  the bed is {height / total:.1f} of these below the fly"
    return step("The fly above the bed", rows, "height = bed − fly;  doubt² = sum of the parts²", worked)


def _band_words(of_spot: float | None, of_run: float, usual: float) -> str:
    """Where an edge of the hold band comes from."""
    if of_spot is not None:
        return "the spot's own, spots.geojson"
    return "runs.geojson" if of_run != usual else f"the usual {usual:g} m; runs.geojson gives no other"


def _spread_words(one: Any) -> str:
    size = {
        "1": f"{100 * one.sd:.0f} %",
        "m": f"{one.sd:.2f} m",
        "s": f"{one.sd:.1f} s",
        "m2": f"{1e4 * one.sd:.2f} cm²",
    }
    return (
        f"one standard deviation, {size[one.unit]}; {100 * one.share:.0f} % of the variance; "
        f"known to be as taken, up to {one.band_if_known_s:.1f} s in the band and "
        f"{100 * one.hang_if_known:.0f} % hangs at this count"
    )


def _window(choice: Choice, hang_limit: float) -> Step:
    rows = [
        row("count from", choice.countdown_from_s, "s", "first second of the window"),
        row("count to", choice.countdown_to_s, "s", "last second of the window"),
        row("time in the hold band", choice.band_time_s, "s", "mean of the draws at the best second"),
        row("touch chance", choice.touch_chance, "1", "share of the draws"),
        row("hang chance", choice.hang_chance, "1", f"share of the draws; the limit is {100 * hang_limit:.0f} %"),
        row("lift the rod at", choice.lift_rod_at_m, "m", "distance of the fly from the rod tip"),
        row("time to the lift", choice.swim_s, "s", "from the landing, the count with it"),
    ]
    made = step(
        "The countdown", rows,
        "the most time in the band with the hang chance within the limit; the window is each second around it that "
        "meets the limit and loses under a tenth of that time",
    )  # fmt: skip
    made["seconds"] = [
        {"count_s": c, "band_time_s": b, "touch_chance": t, "hang_chance": h} for c, b, t, h in choice.seconds
    ]
    made["words"] = choice.why
    return made
