"""The part of the chain that the river gives: from the gauge to depth and current where the fly lands."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from planner.flow.manning import GRAVITY
from planner.flow.profile import KARMAN
from planner.flow.relation import ControlRelation, LevelRelation, reach_wetted
from planner.flow.state import TEN_NINETY, FlowState
from planner.gauges.series import to_datetime64
from planner.plan.day import Day, SpotDay
from planner.tables import constants
from planner.water.transfer import area_ratio_exponent

__all__ = ["Step", "row", "step", "water_steps"]

Step = dict[str, Any]


def row(
    name: str, value: Any, unit: str, origin: str, *, low: float | None = None, high: float | None = None,
    sd: float | None = None,
) -> dict[str, Any]:  # fmt: skip
    """A number of the chain with its unit, its origin and its 10 and 90 %, given or from a standard deviation."""
    if sd is not None and isinstance(value, float) and math.isfinite(sd):
        low, high = value - TEN_NINETY * sd, value + TEN_NINETY * sd
    return {"name": name, "value": value, "unit": unit, "low": low, "high": high, "origin": origin}


def step(title: str, rows: list[dict[str, Any]], formula: str = "", worked: str = "", words: str = "") -> Step:
    """A step: its numbers, its formula, and the formula with the numbers in it."""
    return {"title": title, "formula": formula, "worked": worked, "rows": rows, "words": words}


def water_steps(found: Day, day: SpotDay, at: int, state: FlowState) -> list[Step]:
    """Gauge, discharge, level, the run's current and the water at the spot, each as a step.

    Parameters
    ----------
    found, day : Day, SpotDay
        The day and the spot.
    at : int
        Index of the spot's level.
    state : FlowState
        The run at that level.
    """
    return [
        _gauge(found, day, at),
        _discharge(day, state),
        _level(day, state),
        _current(day, state),
        _spot(day, at, state),
    ]


def _gauge(found: Day, day: SpotDay, at: int) -> Step:
    view, level = day.water.view, day.levels[at]
    expected = view.expected
    rows = []
    if view.series is not None and len(view.series.times):
        last = view.series.last() if expected.given else expected.last
        age = f"{expected.age_min:.0f} min old" if math.isfinite(expected.age_min) else "age unknown"
        origin = f"{view.station}, read {last.time:%Y-%m-%d %H:%M} UTC, {last.quality}, {age}"
        rows += [
            row("stage read", last.stage_m, "m", origin),
            row("discharge read", last.discharge_m3s, "m³/s", origin),
        ]
    seen = view.seen(day.water.lag_s)
    hours = seen.times.astype("datetime64[s]").astype(np.int64).astype(float)
    moment = float(to_datetime64(found.trip.arrival(day.spot.id)).astype(np.int64)) - day.water.lag_s

    def then(values: np.ndarray) -> float:
        return float(np.interp(moment, hours, values))

    origin = f"{expected.basis} At {found.trip.arrival(day.spot.id):%Y-%m-%d %H:%M} UTC, when you come there"
    if day.water.lag_s:
        origin += f", less the run's lag of {day.water.lag_s / 60:.0f} min"
    rows += [
        row(
            "stage taken", level.stage_m, "m", origin,
            low=then(seen.stage_low_m), high=then(seen.stage_high_m),
        ),
        row(
            "discharge taken", level.discharge_m3s, "m³/s", origin,
            low=then(seen.discharge_low_m3s), high=then(seen.discharge_high_m3s),
        ),
    ]  # fmt: skip
    if view.rating is not None:
        rows.append(row("spread of the gauge's own relation", view.rating.rel_sd, "1", view.rating.basis))
    return step("The gauge", rows)


def _discharge(day: SpotDay, state: FlowState) -> Step:
    run = day.water.run
    share = 1.0 if math.isnan(run.flow_share) else run.flow_share
    phi = area_ratio_exponent()
    gauge = state.discharge_m3s / (run.area_ratio**phi * share)
    return step(
        f"The discharge in {run.name or run.id}",
        [
            row("discharge at the gauge Qg", gauge, "m³/s", "the gauge, or its own relation of stage and discharge"),
            row("area ratio r", run.area_ratio, "1", "runs.geojson"),
            row("exponent φ", phi, "1", "area_ratio_exponents.csv"),
            row(
                "share of the flow s",
                share,
                "1",
                "runs.geojson" if run.flow_share == run.flow_share else "not given: 1",
            ),
            row("discharge in the run Q", state.discharge_m3s, "m³/s", "computed"),
        ],
        "Q = Qg r^φ s",
        f"{gauge:.4g} × {run.area_ratio:g}^{phi:g} × {share:g} = {state.discharge_m3s:.4g} m³/s",
    )


def _level(day: SpotDay, state: FlowState) -> Step:
    flow = day.water.flow
    rows = [row("level of the run L", state.level_m, "m", "above its reference survey", sd=state.level_sd_m)]
    relation = flow.relation
    q, level = state.discharge_m3s, state.level_m
    if flow.calibrated and math.isfinite(q) and isinstance(relation, LevelRelation) and math.isfinite(level):
        carried = float(relation.conveyance(level))
        rows += [
            row("A R^⅔ at L", carried, "m^(8/3)", f"from {flow.soundings} soundings"),
            row("K = √S / n", relation.constant, "1", f"calibrated: {flow.discharge_ref:.4g} m³/s on the sounding day"),
        ]
        worked = f"{relation.constant:.4g} × {carried:.5g} = {relation.constant * carried:.4g} m³/s"
        formula = "Q = K A R^⅔"
        if relation.drift:
            worked += (
                f"; roughness changes with the flow: {relation.pivot:.4g} × "
                f"({relation.constant * carried:.4g} / {relation.pivot:.4g})^(1/(1 − {relation.drift:.3g})) = "
                f"{float(relation.discharge(level)):.4g} m³/s"
            )
        return step("The run's level", rows, formula, worked)
    rows += [
        row("stage at the gauge H", state.stage_m, "m", "step 1"),
        row("stage on the sounding day H0", flow.stage_ref, "m", "the gauge's record"),
    ]
    if isinstance(relation, ControlRelation) and flow.calibrated and math.isfinite(q):
        above = max(level - relation.lip, 0.0)
        worked = (
            f"{relation.constant:.4g} × {above:.4g}^{relation.power:.4g} = {float(relation.discharge(level)):.4g} m³/s"
        )
        return step("The run's level", rows, "Q = c (L − e)^p, held by what lies below the run", worked)
    ratio = 1.0 if flow.run.still else flow.rise_ratio
    rows.append(row("rise of the run over the gauge's a", ratio, "1", "two surveys where they tell, else 1"))
    worked = f"{ratio:.3g} × ({state.stage_m:.3f} − {flow.stage_ref:.3f}) = {ratio * state.level_parallel_m:.3f} m"
    return step("The run's level", rows, "L = a (H − H0)", worked if math.isfinite(state.level_parallel_m) else "")


def _current(day: SpotDay, state: FlowState) -> Step:
    flow = day.water.flow
    base = state.level_parallel_m if math.isfinite(state.level_parallel_m) else state.level_m
    rows = [
        row("area A", state.area_m2, "m²", "the sounded bed under L"),
        row("hydraulic radius R", state.hydraulic_radius_m, "m", "the same"),
        row("slope S", state.slope, "1", _slope_words(day)),
        row("Manning's n", state.n, "s/m^⅓", _rough_words(day)),
        row("n that the sounding day shows", state.n_calibrated, "s/m^⅓", "calibrated"),
        row("by Manning Vm", state.velocity_manning_m_s, "m/s", "class n, at the level of parallel rise"),
        row("by continuity Vc", state.velocity_continuity_m_s, "m/s", "the same level"),
        row(
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
        return step("The run's current", rows[:2], words="Still water: no current. " + " ".join(state.limits))
    return step("The run's current", rows, "Vm = R^⅔ √S / n;  Vc = Q / A", ";  ".join(worked), " ".join(state.limits))


def _slope_words(day: SpotDay) -> str:
    return "runs.geojson" if day.water.run.slope == day.water.run.slope else "river.toml"


def _rough_words(day: SpotDay) -> str:
    """What Manning's n rests on."""
    given = day.water.run.bed
    if not given:
        return "river.toml's bed, or the table's middle class"
    key, value = next(iter(given.items()))
    return {"class": f"bed class {value}", "n": "as given in runs.geojson"}.get(key, f"{key} {value}, runs.geojson")


def _spot(day: SpotDay, at: int, state: FlowState) -> Step:
    here = day.waters[at]
    bed = state.level_m - here.depth_m
    m, h, v = here.exponent_m, here.depth_m, here.velocity_m_s
    bed_sd = math.sqrt(max(here.depth_sd_m**2 - state.level_sd_m**2, 0.0)) if here.depth_sd_m > 0 else math.nan
    rows = [
        row("bed at the landing z", bed, "m", "above the run's reference level, from the soundings", sd=bed_sd),
        row("depth there h", h, "m", "h = L − z", sd=here.depth_sd_m),
    ]
    worked = [f"h = {state.level_m:.3f} − ({bed:.3f}) = {h:.3f} m"]
    if day.water.run.still:
        rows.append(
            row("current there v", v, "m/s", "still water", low=here.velocity_low_m_s, high=here.velocity_high_m_s)
        )
        return step(f"The water at {day.spot.name or day.spot.id}", rows, "h = L − z", worked[0])
    known = v > 0 and h > 0
    if known:
        across = state.velocity_used_m_s * state.area_m2 * h ** (2 / 3) / v
        table = constants("flow")
        spread = math.sqrt(
            state.velocity_ln_sd**2 + table["lateral_ln_sd"] ** 2 + (2 / 3 * min(here.depth_sd_m / h, 1.0)) ** 2
        )
        rows += [
            row("sum of h^(5/3) across I", across, "m^(8/3)", "the section at the landing, from the soundings at L"),
            row("doubt of V", state.velocity_ln_sd, "1", "of its ln, one standard deviation, step 4"),
            row("doubt of the sharing", table["lateral_ln_sd"], "1", "of its ln, from two gauged rivers (flow.csv)"),
        ]
        worked += [
            f"v = {state.velocity_used_m_s:.4g} × {state.area_m2:.5g} / {across:.5g} × {h:.4g}^⅔ = {v:.3f} m/s",
            f"its range v e^(±1.28 × √({state.velocity_ln_sd:.3f}² + {table['lateral_ln_sd']:.3g}² + "
            f"(⅔ × {here.depth_sd_m:.3f} / {h:.3f})²)) = v e^(±1.28 × {spread:.3f})",
        ]
    rows += [
        row(
            "current there v", v, "m/s", "V A shared over the section as h^(5/3)",
            low=here.velocity_low_m_s, high=here.velocity_high_m_s,
        ),
        row("exponent of the profile m", m, "1", _exponent_words(day, state, h)),
    ]  # fmt: skip
    if known and m > 0:
        rows.append(row("current at the surface u0", v * (1 + 1 / m), "m/s", "power law"))
        worked.append(f"u0 = {v:.3f} × (1 + 1/{m:.3g}) = {v * (1 + 1 / m):.3f} m/s")
    formula = "h = L − z;  v = V A / I h^⅔;  u(d) = v (1 + 1/m) (1 − d/h)^(1/m)"
    return step(f"The water at {day.spot.name or day.spot.id}", rows, formula, ";  ".join(worked))


def _exponent_words(day: SpotDay, state: FlowState, depth: float) -> str:
    """Where the exponent of the profile comes from, with its numbers."""
    table, flow = constants("flow"), day.water.flow
    n = flow.n_calibrated if math.isfinite(flow.n_calibrated) else state.n
    if not (n > 0 and depth > 0):
        return "no n or no depth: the table's own"
    plain = KARMAN * depth ** (1 / 6) / (n * math.sqrt(GRAVITY))
    bounds = f"kept within {table['exponent_least']:g} to {table['exponent_most']:g}"
    worked = f"{KARMAN:g} × {depth:.4g}^(1/6) / ({n:.4g} × √{GRAVITY:g})"
    return f"{KARMAN:g} h^(1/6) / (n √g) = {worked} = {plain:.3f}, {bounds}"
