"""The chain from the gauge to the countdown for one spot, step by step, each number with unit, origin and spread.

Each step has a formula and the formula with its numbers in it, so that a person with a calculator arrives where the
plan did. What only a solver can do (the swim) stands beside its closed form.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.advice import Choice
from planner.advice.advise import rigs_of
from planner.errors import PlumbrunError
from planner.flow.relation import ControlRelation, LevelRelation, reach_wetted
from planner.flow.state import TEN_NINETY, FlowState
from planner.gauges.series import to_datetime64
from planner.plan.day import Day, SpotDay
from planner.plan.side import chosen_swim
from planner.plan.taught import swims_words
from planner.sink.constants import constant
from planner.water.transfer import area_ratio_exponent

if TYPE_CHECKING:
    from planner.river import River

__all__ = ["chain_of"]

Step = dict[str, Any]


def _row(
    name: str, value: Any, unit: str, origin: str, *, low: float | None = None, high: float | None = None,
    sd: float | None = None,
) -> dict[str, Any]:  # fmt: skip
    if sd is not None and isinstance(value, float) and math.isfinite(sd):
        low, high = value - TEN_NINETY * sd, value + TEN_NINETY * sd
    return {"name": name, "value": value, "unit": unit, "low": low, "high": high, "origin": origin}


def _step(title: str, rows: list[dict[str, Any]], formula: str = "", worked: str = "", words: str = "") -> Step:
    return {"title": title, "formula": formula, "worked": worked, "rows": rows, "words": words}


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
    steps = [
        _gauge(found, day, at),
        _discharge(day, state),
        _level(day, state),
        _current(day, state),
        _spot(day, at, state),
    ]
    choice = answer.best or answer.compromise
    if choice is None:
        return [*steps, _step("No answer", [], words=answer.none_because)]
    steps += _swim(found, river, day, at, choice)
    steps += [_height(day, choice, answer), _window(choice, hang_limit)]
    if answer.best is None:
        steps.append(_step("No answer", [], words=answer.none_because))
    return steps


def _gauge(found: Day, day: SpotDay, at: int) -> Step:
    view, level = day.water.view, day.levels[at]
    expected = view.expected
    rows = []
    if view.series is not None and len(view.series.times):
        last = view.series.last()
        age = f"{expected.age_min:.0f} min old" if math.isfinite(expected.age_min) else "age unknown"
        origin = f"{view.station}, read {last.time:%Y-%m-%d %H:%M} UTC, {last.quality}, {age}"
        rows += [
            _row("stage read", last.stage_m, "m", origin),
            _row("discharge read", last.discharge_m3s, "m³/s", origin),
        ]
    hours = expected.times.astype("datetime64[s]").astype(np.int64).astype(float)
    moment = float(to_datetime64(found.trip.arrival(day.spot.id)).astype(np.int64)) - day.water.lag_s

    def then(values: np.ndarray) -> float:
        return float(np.interp(moment, hours, values))

    origin = f"{expected.basis} At {found.trip.arrival(day.spot.id):%Y-%m-%d %H:%M} UTC, when you come there"
    if day.water.lag_s:
        origin += f", less the run's lag of {day.water.lag_s / 60:.0f} min"
    rows += [
        _row(
            "stage taken", level.stage_m, "m", origin,
            low=then(expected.stage_low_m), high=then(expected.stage_high_m),
        ),
        _row(
            "discharge taken", level.discharge_m3s, "m³/s", origin,
            low=then(expected.discharge_low_m3s), high=then(expected.discharge_high_m3s),
        ),
    ]  # fmt: skip
    if view.rating is not None:
        rows.append(_row("spread of the gauge's own relation", view.rating.rel_sd, "1", view.rating.basis))
    return _step("The gauge", rows)


def _discharge(day: SpotDay, state: FlowState) -> Step:
    run = day.water.run
    share = 1.0 if math.isnan(run.flow_share) else run.flow_share
    phi = area_ratio_exponent()
    gauge = state.discharge_m3s / (run.area_ratio**phi * share)
    return _step(
        f"The discharge in {run.name or run.id}",
        [
            _row("discharge at the gauge Qg", gauge, "m³/s", "the gauge, or its own relation of stage and discharge"),
            _row("area ratio r", run.area_ratio, "1", "runs.geojson"),
            _row("exponent φ", phi, "1", "area_ratio_exponents.csv"),
            _row(
                "share of the flow s",
                share,
                "1",
                "runs.geojson" if run.flow_share == run.flow_share else "not given: 1",
            ),
            _row("discharge in the run Q", state.discharge_m3s, "m³/s", "computed"),
        ],
        "Q = Qg r^φ s",
        f"{gauge:.4g} × {run.area_ratio:g}^{phi:g} × {share:g} = {state.discharge_m3s:.4g} m³/s",
    )


def _level(day: SpotDay, state: FlowState) -> Step:
    flow = day.water.flow
    rows = [_row("level of the run L", state.level_m, "m", "above its reference survey", sd=state.level_sd_m)]
    relation = flow.relation
    q, level = state.discharge_m3s, state.level_m
    if flow.calibrated and math.isfinite(q) and isinstance(relation, LevelRelation) and math.isfinite(level):
        carried = float(relation.conveyance(level))
        rows += [
            _row("A R^⅔ at L", carried, "m^(8/3)", f"from {flow.soundings} soundings"),
            _row(
                "K = √S / n", relation.constant, "1", f"calibrated: {flow.discharge_ref:.4g} m³/s on the sounding day"
            ),
        ]
        worked = f"{relation.constant:.4g} × {carried:.5g} = {relation.constant * carried:.4g} m³/s"
        formula = "Q = K A R^⅔"
        if relation.drift:
            worked += (
                f"; roughness changes with the flow: {relation.pivot:.4g} × "
                f"({relation.constant * carried:.4g} / {relation.pivot:.4g})^(1/(1 − {relation.drift:.3g})) = "
                f"{float(relation.discharge(level)):.4g} m³/s"
            )
        return _step("The run's level", rows, formula, worked)
    rows += [
        _row("stage at the gauge H", state.stage_m, "m", "step 1"),
        _row("stage on the sounding day H0", flow.stage_ref, "m", "the gauge's record"),
    ]
    if isinstance(relation, ControlRelation) and flow.calibrated and math.isfinite(q):
        above = max(level - relation.lip, 0.0)
        worked = (
            f"{relation.constant:.4g} × {above:.4g}^{relation.power:.4g} = {float(relation.discharge(level)):.4g} m³/s"
        )
        return _step("The run's level", rows, "Q = c (L − e)^p, held by what lies below the run", worked)
    ratio = 1.0 if flow.run.still else flow.rise_ratio
    rows.append(_row("rise of the run over the gauge's a", ratio, "1", "two surveys where they tell, else 1"))
    worked = f"{ratio:.3g} × ({state.stage_m:.3f} − {flow.stage_ref:.3f}) = {ratio * state.level_parallel_m:.3f} m"
    return _step("The run's level", rows, "L = a (H − H0)", worked if math.isfinite(state.level_parallel_m) else "")


def _current(day: SpotDay, state: FlowState) -> Step:
    flow = day.water.flow
    base = state.level_parallel_m if math.isfinite(state.level_parallel_m) else state.level_m
    rows = [
        _row("area A", state.area_m2, "m²", "the sounded bed under L"),
        _row("hydraulic radius R", state.hydraulic_radius_m, "m", "the same"),
        _row("slope S", state.slope, "1", "runs.geojson or river.toml"),
        _row("Manning's n", state.n, "s/m^⅓", "the bed's class, grain or as given"),
        _row("n that the sounding day shows", state.n_calibrated, "s/m^⅓", "calibrated"),
        _row("by Manning Vm", state.velocity_manning_m_s, "m/s", "class n, at the level of parallel rise"),
        _row("by continuity Vc", state.velocity_continuity_m_s, "m/s", "the same level"),
        _row(
            "current taken V", state.velocity_used_m_s, "m/s", f"rests on {state.basis}",
            low=state.velocity_low_m_s, high=state.velocity_high_m_s,
        ),
    ]  # fmt: skip
    worked = []
    if flow.bed is not None and flow.bed.grid is not None and math.isfinite(base) and state.velocity_manning_m_s > 0:
        water = reach_wetted(flow.bed.grid, np.array([base]), flow.bed.walls)
        radius, area = float(water.radius[0]), float(water.area[0])
        speed = radius ** (2 / 3) * math.sqrt(state.slope) / state.n
        worked.append(f"Vm = {radius:.4g}^⅔ × √{state.slope:.4g} / {state.n:.4g} = {speed:.3f} m/s")
        if math.isfinite(state.velocity_continuity_m_s):
            worked.append(f"Vc = {state.discharge_m3s:.4g} / {area:.5g} = {state.discharge_m3s / area:.3f} m/s")
    if state.basis == "discharge":
        worked.append(f"V = {state.discharge_m3s:.4g} / {state.area_m2:.5g} = {state.velocity_used_m_s:.3f} m/s")
    if day.water.run.still:
        return _step("The run's current", rows[:2], words="Still water: no current. " + " ".join(state.limits))
    return _step("The run's current", rows, "Vm = R^⅔ √S / n;  Vc = Q / A", ";  ".join(worked), " ".join(state.limits))


def _spot(day: SpotDay, at: int, state: FlowState) -> Step:
    here = day.waters[at]
    bed = state.level_m - here.depth_m
    m, h, v = here.exponent_m, here.depth_m, here.velocity_m_s
    bed_sd = math.sqrt(max(here.depth_sd_m**2 - state.level_sd_m**2, 0.0)) if here.depth_sd_m > 0 else math.nan
    rows = [
        _row("bed at the landing z", bed, "m", "above the run's reference level, from the soundings", sd=bed_sd),
        _row("depth there h", h, "m", "h = L − z", sd=here.depth_sd_m),
        _row(
            "current there v", v, "m/s", "V shared over the section as h^⅔",
            low=here.velocity_low_m_s, high=here.velocity_high_m_s,
        ),
        _row("exponent of the profile m", m, "1", "from n and the depth"),
    ]  # fmt: skip
    worked = f"h = {state.level_m:.3f} − ({bed:.3f}) = {h:.3f} m"
    if v > 0 and m > 0:
        rows.append(_row("current at the surface u0", v * (1 + 1 / m), "m/s", "power law"))
        worked += f";  u0 = {v:.3f} × (1 + 1/{m:.3g}) = {v * (1 + 1 / m):.3f} m/s"
    return _step(
        f"The water at {day.spot.name or day.spot.id}", rows, "h = L − z;  u(d) = v (1 + 1/m) (1 − d/h)^(1/m)", worked
    )


def _swim(found: Day, river: River, day: SpotDay, at: int, choice: Choice) -> list[Step]:
    rigs, _ = rigs_of(river.tackle)
    rig = next(one for one in rigs if (one.line_name, one.fly_name) == (choice.line, choice.fly))
    line, fly, belief = rig.line, rig.fly, found.learned.lines.get(choice.line)
    factor = 1.0 if belief is None else math.exp(belief.mean)
    sink = line.sink_rate_m_s * factor
    sd = 0.5 * (line.sink_sd_below + line.sink_sd_above) * (1.0 if belief is None else belief.known)
    d, rho = line.head_diameter_m, constant("water_density")
    weight = (line.head_density_kg_m3 - rho) * constant("gravity") * math.pi * d**2 / 4
    grains = line.head_mass_kg / 6.479891e-5
    learned = "" if belief is None else f", × {factor:.3f} {swims_words(belief.swims)}"
    tackle = _step(
        f"The tackle: {choice.fly} on {choice.line}",
        [
            _row("sinking part, length", line.head_length_m, "m", "its label"),
            _row("sinking part, mass", line.head_mass_kg, "kg", f"its label, {grains:.0f} grains"),
            _row("diameter d", d, "m", "from length, mass and sink rate"),
            _row("density ρl", line.head_density_kg_m3, "kg/m³", "the same"),
            _row("weight in water w", weight, "N/m", "computed"),
            _row("sink rate vt", sink, "m/s", f"its label{learned}", sd=sd * sink),
            _row("fly, weight in water", fly.wet_weight_n, "N", "its class and weighting"),
            _row("fly, towed drag area", fly.towed_area_m2, "m²", "its class"),
        ],
        "w = (ρl − ρ) g π d² / 4 = ½ ρ Cn d vt²",
        f"w = ({line.head_density_kg_m3:.0f} − {rho:.0f}) × 9.81 × π × {d:.5f}² / 4 = {weight:.5f} N/m, "
        f"so Cn = {2 * weight / (rho * d * max(line.sink_rate_m_s, 1e-6) ** 2):.2f} at the label's rate",
    )
    rows = [
        _row("cast", day.asked.cast_m, "m", "spots.geojson"),
        _row("angle from straight downstream", day.asked.angle_deg, "°", "spots.geojson and the flowline"),
        _row("countdown", choice.countdown_best_s, "s", f"the search's best, {choice.countdown_mode}"),
        _row("strip", choice.strip_m_s, "m/s", "the search's best"),
    ]
    formula, worked = "d ≈ L vt / U (sanity line: steady tow of the line that is under water)", ""
    try:
        path = chosen_swim(day.asked, at, choice, river.tackle, found.learned)
    except PlumbrunError:  # the solver's own bounds: the tables' answer stands without its full path
        return [tackle, _step("The swim", rows, formula, "the full swim left the solver's bounds; the table's stands")]
    speed, sunk = path.relative_speed_m_s, path.sanity_depth_m * path.relative_speed_m_s / max(sink, 1e-9)
    rows += [
        _row("fly's speed through the water U", speed, "m/s", "the swim, mean over the retrieve"),
        _row("closed form d", path.sanity_depth_m, "m", "L vt / U"),
        _row("fly's depth at the first strip", path.depth_at_strip_start_m, "m", "the swim, bed left out"),
        _row("fly's mean depth in the retrieve", path.mean_depth_retrieve_m, "m", "the swim, bed left out"),
        _row("time out", float(path.times_s[-1]), "s", "the swim"),
    ]
    worked = (
        f"d ≈ {sunk:.2f} × {sink:.4f} / {speed:.3f} = {path.sanity_depth_m:.2f} m beside the swim's "
        f"{path.mean_depth_retrieve_m:.2f} m"
    )
    return [tackle, _step("The swim", rows, formula, worked)]


def _height(day: SpotDay, choice: Choice, answer: Any) -> Step:
    low, middle, high = choice.fly_depth_m
    height = choice.bed_m - middle
    rows = [
        _row(
            "bed under the retrieve",
            choice.bed_m,
            "m",
            "soundings carried to this level, where the water is the spot's",
        ),
        _row("fly's depth", middle, "m", "median of the draws, mean over the retrieve", low=low, high=high),
        _row("height above the bed", height, "m", "the two above"),
        _row("hold band, low", day.asked.hold_low_m, "m", "runs.geojson, or the spot's own"),
        _row("hold band, high", day.asked.hold_high_m, "m", "the same"),
    ]
    told = answer.sensitivity
    worked = ""
    if told:
        rows += [_row(f"doubt from the {one.unknown}", one.height_m, "m", _spread_words(one)) for one in told]
        total = math.sqrt(sum(one.height_m**2 for one in told))
        rows.append(_row("doubt of the height", total, "m", "root of the sum of squares of the above"))
        worked = "√(" + " + ".join(f"{one.height_m:.3f}²" for one in told) + f") = {total:.3f} m"
        if total > 0:
            worked += f";  the bed is {height / total:.1f} of these below the fly"
    return _step("The fly above the bed", rows, "height = bed − fly;  doubt² = sum of the parts²", worked)


def _spread_words(one: Any) -> str:
    size = {
        "1": f"{100 * one.sd:.0f} %",
        "m": f"{one.sd:.2f} m",
        "s": f"{one.sd:.1f} s",
        "m2": f"{1e4 * one.sd:.2f} cm²",
    }
    return (
        f"one standard deviation, {size[one.unit]}; {100 * one.share:.0f} % of the variance; "
        f"known, up to {one.band_if_known_s:.1f} s in the band and {100 * one.hang_if_known:.0f} % hangs at this count"
    )


def _window(choice: Choice, hang_limit: float) -> Step:
    rows = [
        _row("count from", choice.countdown_from_s, "s", "first second of the window"),
        _row("count to", choice.countdown_to_s, "s", "last second of the window"),
        _row("time in the hold band", choice.band_time_s, "s", "mean of the draws at the best second"),
        _row("touch chance", choice.touch_chance, "1", "share of the draws"),
        _row("hang chance", choice.hang_chance, "1", f"share of the draws; the limit is {100 * hang_limit:.0f} %"),
        _row("lift the rod at", choice.lift_rod_at_m, "m", "distance of the fly from the rod tip"),
    ]
    made = _step(
        "The countdown", rows,
        "the most time in the band with the hang chance within the limit; the window is each second around it that "
        "meets the limit and loses under a tenth of that time",
    )  # fmt: skip
    made["seconds"] = [
        {"count_s": c, "band_time_s": b, "touch_chance": t, "hang_chance": h} for c, b, t, h in choice.seconds
    ]
    made["words"] = choice.why
    return made
