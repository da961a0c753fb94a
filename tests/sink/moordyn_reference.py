"""Run MoorDyn, an independent lumped-mass code [HallGoupee2015], on the same line in the same current."""

from __future__ import annotations

import contextlib
import math
import os
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np

from planner.sink import Current
from planner.sink.constants import constant
from planner.sink.drag import cn_table
from planner.sink.solver import BED, COLUMNS, DIAMETER, DISPLACED, MASS, REST, SHARE, step

__all__ = ["Part", "follow", "run_moordyn"]

Part = tuple[float, float, float, int]  # length, diameter, density, segments; from the fly up


@contextlib.contextmanager
def _hushed(folder: Path) -> Iterator[None]:
    """MoorDyn prints from C++ and reads its current beside the working folder."""
    before = os.getcwd()
    kept = os.dup(1), os.dup(2)
    with open(os.devnull, "w") as nowhere:
        os.dup2(nowhere.fileno(), 1)
        os.dup2(nowhere.fileno(), 2)
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(before)
        for number, copy in zip((1, 2), kept, strict=True):
            os.dup2(copy, number)
            os.close(copy)


def run_moordyn(
    folder: Path,
    parts: Sequence[Part],
    fly: tuple[float, float, float],
    current: Current,
    seconds: float,
    *,
    step_s: float,
    angle_deg: float = 0.0,
    cn: float = 1.2,
    every_s: float = 0.1,
    scheme: str = "RK2",
    straight: bool = False,
    start: list[np.ndarray] | None = None,
    pull: Callable[[float], float] | None = None,
) -> tuple[np.ndarray, float]:
    """Path of the fly and the processor time it took.

    The line starts at rest in the frame of the surface water, as a line does that has just landed; the rod tip moves
    up through that frame at the surface speed.

    Parameters
    ----------
    folder : Path
        An empty folder for the input files.
    parts : sequence of Part
        Length [m], diameter [m], density [kg/m³] and segments, from the fly to the rod tip.
    fly : tuple
        Mass [kg], volume [m³], drag coefficient × area [m²].
    current : Current
        The water.
    seconds : float
        How long [s].
    step_s : float
        MoorDyn's own step [s].
    angle_deg : float
        Where the line lies at the start: 0 straight downstream.
    straight : bool
        Start from a straight line, as ours lands: each segment is a line of its own then, as MoorDyn hangs the
        inner nodes of a line in a catenary, which it needs seconds to leave.
    start : list, optional
        Filled with one array of the nodes' places at the start, from the fly to the rod tip, relative to it [m].
    pull : callable, optional
        Way of the rod tip away from the line at a moment [m], besides the current.

    Returns
    -------
    array, shape (T, 5)
        Time [s], x, y and depth [m] of the fly, relative to the rod tip, and the tension there [N].
    float
        Processor seconds of the steps alone.
    """
    import moordyn

    ca, sa = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    out = sum(part[0] for part in parts)
    if straight:
        parts = [(length / n, diameter, density, 1) for length, diameter, density, n in parts for _ in range(n)]
    types, lines = [], []
    points = [f"1 Free {out * ca} {out * sa} -0.005 {fly[0]} {fly[1]} {fly[2]} 1.0"]
    for i, (length, diameter, density, segments) in enumerate(parts):
        mass = density * math.pi * diameter**2 / 4.0
        damping = -0.2  # share of critical: more asks for a shorter explicit step
        types.append(
            f"t{i} {diameter} {mass} {constant('axial_stiffness')} {damping} 0 {cn} 1.0 {constant('tangential_drag')} 0"
        )
        out -= length
        last = i == len(parts) - 1
        place = "0 0 0" if last else f"{out * ca} {out * sa} -0.005"
        points.append(f"{i + 2} {'Coupled' if last else 'Free'} {place} 0 0 0 0")
        lines.append(f"{i + 1} t{i} {i + 1} {i + 2} {length} {segments} -")
    (folder / "line.txt").write_text(
        "\n".join(
            [
                "--- MoorDyn input ---", "a line", "--- LINE TYPES ---", "Name Diam Mass EA BA EI Cd Ca CdAx CaAx", "-",
                *types, "--- POINTS ---", "ID Type X Y Z Mass Volume CdA Ca", "-", *points, "--- LINES ---",
                "ID Type A B Length Segments Out", "-", *lines, "--- OPTIONS ---", f"{step_s} dtM", f"{scheme} tScheme",
                f"{constant('water_density')} WtrDnsty", f"{constant('gravity')} g", "100 WtrDpth", "1e5 kBot",
                "1e4 cBot", "0 writeLog", "1 Currents", "0 WaveKin", "--- end ---", "",
            ]
        )
    )  # fmt: skip
    depths = np.linspace(0.98, 0.0, 65) * current.depth_m
    surface = float(current.at(0.0))
    rows = [f"-99 {float(current.at(depths[0])) - surface} 0 0"]
    rows += [f"{-z} {float(current.at(z)) - surface} 0 0" for z in depths]
    (folder / "current_profile.txt").write_text("\n".join(["--- current ---", "a", "z ux uy uz", *rows, ""]))
    path = []
    with _hushed(folder):
        system = moordyn.Create(str(folder / "line.txt"))
        at = [0.0, 0.0, 0.0]
        moordyn.Init_NoIC(system, at, [-surface, 0.0, 0.0])
        if start is not None:
            nodes = []
            for i, part in enumerate(parts):
                line = moordyn.GetLine(system, i + 1)
                nodes += [moordyn.GetLineNodePos(line, j) for j in range(part[3] + (i == len(parts) - 1))]
            start.append(np.array(nodes))
        top, ends = moordyn.GetLine(system, len(parts)), parts[-1][3]
        point = moordyn.GetPoint(system, 1)
        begin = time.process_time()
        for k in range(round(seconds / every_s)):
            now, after = k * every_s, (k + 1) * every_s
            more = 0.0 if pull is None else pull(after) - pull(now)
            speed = -surface - more / every_s
            moordyn.Step(system, at, [speed, 0.0, 0.0], now, every_s)
            at = [at[0] + speed * every_s, 0.0, 0.0]
            x, y, z = moordyn.GetPointPos(point)
            path.append((after, x - at[0], y, -z, math.hypot(*moordyn.GetLineNodeTen(top, ends))))
        spent = time.process_time() - begin
        moordyn.Close(system)
    return np.array(path), spent


def follow(
    places: np.ndarray,
    parts: Sequence[Part],
    fly: tuple[float, float, float],
    current: Current,
    seconds: float,
    *,
    dt: float,
    cn: float = 1.2,
    ct: float | None = None,
    every_s: float = 0.1,
    velocity: tuple[float, float, float] | None = None,
    pull: Callable[[float], float] | None = None,
) -> np.ndarray:
    """Our own step from given places of the nodes, with the stiffness and drag that MoorDyn was given.

    Parameters are those of `run_moordyn`; ``places`` has shape (n + 1, 3), from the fly to the rod tip, heights
    positive up; ``velocity`` is that of all nodes at the start relative to the rod tip [m/s], the surface water's
    unless given.

    Returns
    -------
    array, shape (T, 5)
        As `run_moordyn`.
    """
    rho, area = constant("water_density"), math.pi / 4.0
    n = len(places) - 1
    st, work = np.zeros((n, COLUMNS)), np.zeros((n, COLUMNS))
    st[:, :3] = (places[:-1] - places[-1]) * [1.0, 1.0, -1.0]
    surface = float(current.at(0.0))
    st[:, 3:6] = (surface, 0.0, 0.0) if velocity is None else velocity
    st[:, BED], st[:, SHARE] = math.inf, 1.0
    i = 0
    for length, diameter, density, count in parts:
        for _ in range(count):
            st[i, REST], st[i, DIAMETER] = length / count, diameter
            st[i, MASS], st[i, DISPLACED] = density * area * diameter**2, rho * area * diameter**2
            i += 1
    depths = np.linspace(0.0, 0.98, 65) * current.depth_m
    body = np.array([fly[0], rho * fly[1], fly[2], fly[2], 0.0])
    const = [constant(name) for name in ("water_density", "water_viscosity", "gravity", "axial_stiffness")]
    const += [constant("tangential_drag") if ct is None else ct, 0.0, 0.0, 0.0]
    still, path = np.asarray(current.at(depths), dtype=float), []
    for k in range(round(seconds / dt)):
        more = 0.0 if pull is None else pull((k + 1) * dt) - pull(k * dt)
        if pull is not None:
            # in the frame of the rod tip, which moves up through the water faster while it pulls
            before = 0.0 if k == 0 else pull(k * dt) - pull((k - 1) * dt)
            st[:, 3] += (more - before) / dt
        tension = step(
            st, n, work, dt, 0.0, still + more / dt, 64 / (0.98 * current.depth_m), cn_table(cn), body, np.array(const)
        )[0]
        if (k + 1) % round(every_s / dt) == 0:
            path.append(((k + 1) * dt, st[0, 0], st[0, 1], st[0, 2], tension))
    return np.array(path)
