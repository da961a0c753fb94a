"""A run as it was computed, drawn as SVG: depth and speed from above, a section, and level against discharge.

Depth and speed are in five classes of the ColorBrewer Blues and Purples with class letters, so that no figure rests on
colour alone.
"""

from __future__ import annotations

import html
import math
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from planner.flow.drawing_parts import Sheet, nice_steps
from planner.flow.field import node_speeds
from planner.flow.runflow import RunFlow
from planner.flow.slack import water_nodes
from planner.flow.state import FlowState
from planner.flow.survey_words import survey_record, survey_words
from planner.units import unit_of, value_in

__all__ = ["draw"]

Floats = npt.NDArray[np.float64]

_BLUES = ("#eff3ff", "#bdd7e7", "#6baed6", "#3182bd", "#08519c")
_PURPLES = ("#f2f0f7", "#cbc9e2", "#9e9ac8", "#756bb1", "#54278f")
_WIDE = 900.0


def draw(flow: RunFlow, state: FlowState, units: str = "metric", caption: Sequence[str] = ()) -> str:
    """The drawing of a run at one state, as SVG text.

    Parameters
    ----------
    flow, state : RunFlow, FlowState
        The run and its water.
    units : str
        ``us`` or ``metric``.
    caption : sequence of str
        Sentences set above the drawing, cautions first.

    Raises
    ------
    DataUnfit
        When the run has no soundings.
    """
    flow.surveyed()
    name = flow.run.name or flow.run.id
    sheet = Sheet(_WIDE, f"{name}: depth, speed, section and level")
    for line in (*caption, *state.limits):
        sheet.write_wrapped(line, 12)
    speeds_known = math.isfinite(state.velocity_used_m_s)
    _plan(sheet, flow, state, units, "depth")
    if speeds_known:
        _plan(sheet, flow, state, units, "speed")
    _section(sheet, flow, state, units, speeds_known)
    _curve(sheet, flow, state, units)
    for line in survey_words(survey_record(flow), units):
        sheet.write_wrapped(f"{line}.", 11)
    return sheet.svg()


def _coarse(flow: RunFlow) -> tuple[Floats, Floats]:
    """Rows and columns of the grid that are drawn: at most 60 by 16 cells."""
    grid = flow.surveyed()[1]
    rows = np.unique(np.linspace(0, len(grid.s) - 1, min(len(grid.s), 61)).round().astype(int))
    columns = np.unique(np.linspace(0, grid.n.shape[1] - 1, min(grid.n.shape[1], 17)).round().astype(int))
    return rows, columns


def _plan(sheet: Sheet, flow: RunFlow, state: FlowState, units: str, kind: str) -> None:
    bed, grid, _ = flow.surveyed()
    values = state.level_m - grid.z if kind == "depth" else node_speeds(flow, grid, state)
    wet = state.level_m - grid.z > 0.02
    colours = _BLUES if kind == "depth" else _PURPLES
    top = float(np.max(np.where(wet, values, 0.0)))
    steps = nice_steps(value_in(max(top, 1e-3), kind, units), 5)
    rows, columns = _coarse(flow)
    x, y = flow.frame.to_xy(grid.s[:, None], grid.n)
    turned = _turn(x, y, sheet, f"{kind.capitalize()} from above, the water runs to the right")
    letters = "ABCDE"
    kinds = water_nodes(flow, state, grid) if kind == "speed" else None
    for a, b in pairwise(rows):
        for c, d in pairwise(columns):
            cell = (slice(a, b + 1), slice(c, d + 1))
            if wet[cell].mean() < 0.5:
                continue
            shown = value_in(float(np.mean(values[cell][wet[cell]])), kind, units)
            level = min(int(np.searchsorted(steps[1:], shown, side="right")), 4)
            ring = [turned(x[i, j], y[i, j]) for i, j in ((a, c), (b, c), (b, d), (a, d))]
            sheet.polygon(ring, colours[level], title=f"{letters[level]}, {shown:.1f} {unit_of(kind, units)}")
            at_x, at_y = (float(v) for v in np.mean(ring, axis=0))
            ink = "#000000" if level < 3 else "#ffffff"
            if kinds is not None and (kinds[cell] == 3).mean() > 0.5:
                sheet.text("e", at_x, at_y + 3, 9, "middle", ink)
            elif (int(np.searchsorted(rows, a)) % 6, int(np.searchsorted(columns, c)) % 3) == (2, 1):
                sheet.text(letters[level], at_x, at_y + 3, 9, "middle", ink)
    outline = np.asarray(flow.polygon.exterior.coords)
    sheet.path([turned(*point) for point in outline], closed=True)
    for hole in flow.polygon.interiors:
        sheet.path([turned(*point) for point in np.asarray(hole.coords)], closed=True)
    if kind == "depth":
        use = np.flatnonzero(~bed.points.edge)
        for k in use[:: max(len(use) // 400, 1)]:
            at = flow.frame.to_xy(bed.points.s[k], bed.points.n[k])
            sheet.dot(*turned(float(at[0]), float(at[1])), 1.1)
    spans = [f"{steps[i]:g} to {steps[i + 1]:g}" for i in range(5)]
    sheet.legend(colours, [f"{letters[i]}  {spans[i]} {unit_of(kind, units)}" for i in range(5)])
    if kind == "depth":
        sheet.write_wrapped("Dots: soundings (merged where they repeat).", 11)
    elif kinds is not None and (kinds == 3).any():
        sheet.write_wrapped("e: an eddy is likely, its current is not computed.", 11)


def _turn(x: Floats, y: Floats, sheet: Sheet, title: str) -> Callable[[float, float], tuple[float, float]]:
    """Places on the sheet from metres: the run lies along it, downstream to the right; room is taken for it."""
    middle = x.shape[1] // 2
    along = math.atan2(float(y[-1, middle] - y[0, middle]), float(x[-1, middle] - x[0, middle]))
    cos, sin = math.cos(along), math.sin(along)
    u, v = x * cos + y * sin, -x * sin + y * cos
    scale = min((_WIDE - 80.0) / float(np.ptp(u)), 260.0 / max(float(np.ptp(v)), 1.0))
    left, top = sheet.panel(title, float(np.ptp(v)) * scale + 16.0)
    u0, v1 = float(u.min()), float(v.max())

    def place(px: float, py: float) -> tuple[float, float]:
        return left + (px * cos + py * sin - u0) * scale, top + 8.0 + (v1 - (-px * sin + py * cos)) * scale

    return place


def _section(sheet: Sheet, flow: RunFlow, state: FlowState, units: str, speeds_known: bool) -> None:
    bed, grid, _ = flow.surveyed()
    whole = grid.whole if grid.whole.any() else np.ones(len(grid.s), dtype=bool)
    row = int(np.flatnonzero(whole)[np.argmin(grid.z[whole].min(axis=1))])
    n, z, sd = grid.n[row], grid.z[row], grid.sd[row]
    near = ~bed.points.edge & (np.abs(bed.points.s - grid.s[row]) < max(np.ptp(grid.s) / 12.0, 3.0))
    title = "Section through the deepest water, looking downstream; band: one standard deviation"
    high = max(state.level_m, float(z.max())) + 0.2
    low = float((z - sd).min()) - 0.1
    axes = sheet.axes(
        title, 230.0, (-float(n.max()), -float(n.min())), (low, high),
        f"to the right bank [{unit_of('depth', units)}]", f"above the run's datum [{unit_of('depth', units)}]",
        value_in(1.0, "depth", units), value_in(1.0, "depth", units),
    )  # fmt: skip
    band = [axes(-a, b) for a, b in zip(n, z + sd, strict=True)] + [
        axes(-a, b) for a, b in zip(n[::-1], (z - sd)[::-1], strict=True)
    ]
    sheet.polygon(band, "#dddddd", title="one standard deviation of the bed")
    sheet.path([axes(-a, b) for a, b in zip(n, z, strict=True)], width=1.8)
    if math.isfinite(state.level_m):
        wet = z < state.level_m
        if wet.any():
            sheet.path(
                [axes(-float(n[wet].max()), state.level_m), axes(-float(n[wet].min()), state.level_m)], "#08519c", 1.5
            )
    for k in np.flatnonzero(near)[:200]:
        if low <= bed.points.z[k] <= high and n.min() <= bed.points.n[k] <= n.max():
            sheet.dot(*axes(-float(bed.points.n[k]), float(bed.points.z[k])), 2.0)
    if speeds_known:
        speed = node_speeds(flow, grid, state)[row]
        tall = float(speed.max())
        if tall > 0:
            base = [axes(-a, low + (high - low) * 0.9 * v / tall * 0.5) for a, v in zip(n, speed, strict=True)]
            sheet.path(base, "#54278f", 1.2, dashed=True)
            sheet.write_wrapped(
                f"Dashed: mean current of each vertical, its greatest {value_in(tall, 'speed', units):.1f} "
                f"{unit_of('speed', units)}.  Dots: soundings nearby.", 11,
            )  # fmt: skip


def _curve(sheet: Sheet, flow: RunFlow, state: FlowState, units: str) -> None:
    """Level against discharge with the survey days and the state."""
    relation = flow.relation
    if not flow.calibrated or relation is None:
        sheet.write_wrapped("Level and discharge of this run could not be calibrated: no curve.", 12)
        return
    days = [day.seen for day in flow.fit.days if day.seen.discharge > 0 and math.isfinite(day.seen.level)]
    flows = [day.discharge for day in days] + [state.discharge_m3s, flow.discharge_ref]
    least, most = (f(q for q in flows if q == q and q > 0) for f in (min, max))
    q = np.geomspace(least / 1.6, most * 1.6, 60)
    level = relation.level(q)
    use = np.isfinite(level)
    q, level = q[use], level[use]
    if len(q) < 2:
        return
    axes = sheet.axes(
        "Level and discharge of the run; dots: survey days, ring: the water asked for", 230.0,
        (0.0, float(q.max())), (float(level.min()) - 0.1, float(level.max()) + 0.1),
        f"discharge in the run [{unit_of('discharge', units)}]", f"above the datum [{unit_of('depth', units)}]",
        value_in(1.0, "discharge", units), value_in(1.0, "depth", units),
    )  # fmt: skip
    sheet.path([axes(float(a), float(b)) for a, b in zip(q, level, strict=True)], "#08519c", 1.8)
    for day in days:
        place = axes(day.discharge, day.level)
        sheet.dot(*place, 3.5)
        sheet.text(html.escape(day.day), place[0] + 6, place[1] + 12, 10)
    if state.discharge_m3s > 0 and math.isfinite(state.level_m):
        sheet.ring(*axes(state.discharge_m3s, state.level_m), 6.0)
