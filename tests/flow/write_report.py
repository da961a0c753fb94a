# ruff: noqa: E501  # rows of tables in Markdown
"""Write docs/bed-and-flow.md from the measurements themselves: python tests/flow/write_report.py [bench lines file]."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from planner.flow import survey_run
from tests.flow import measured
from tests.flow.world import FULL, HALF, LENGTH, N, World, bed_level, gauge_stage, level_at, truth


def table(head: list[str], lines: list[list[str]]) -> str:
    """A table in Markdown."""
    return "\n".join([f"| {' | '.join(row)} |" for row in (head, ["---"] * len(head), *lines)])


def gauging_part() -> str:
    """Each gauging: errors, then its verticals."""
    parts, lines, notes = [], [], []
    for one in measured.gaugings():
        model, flat = one.predicted(), one.flat()
        own, plain = one.misses(model), one.misses(flat)
        lines.append(
            [one.name, str(len(one.depth)), f"{one.discharge:.2f}", f"{own['rms']:.3f}", f"{own['rms_flow']:.3f}",
             f"{own['ln_sd']:.3f}", f"{plain['ln_sd']:.3f}", f"{own['share']:.0%}"]
        )  # fmt: skip
        notes.append(
            f"<details><summary>{one.name}, each vertical</summary>\n\n"
            + table(
                ["depth [m]", "measured [m/s]", "predicted [m/s]", "miss"],
                [
                    [f"{d:.2f}", f"{v:.2f}", f"{p:.2f}", f"{p - v:+.2f}"]
                    for d, v, p in zip(one.depth, one.speed, model, strict=True)
                ],
            )
            + "\n\n</details>"
        )
    parts.append(
        table(
            [
                "gauging",
                "verticals",
                "Q [m³/s]",
                "rms miss [m/s]",
                "weighted by flow",
                "spread of ln",
                "with one speed",
                "flow within 10 to 90 %",
            ],
            lines,
        )
    )
    return "\n\n".join(parts + notes)


def profile_part() -> str:
    """Vertical profile against measured ones."""
    two, river = measured.two_point(), measured.tanana()
    lines = [
        [f"{d:.2f}", f"{u:.3f}", f"{p:.3f}", f"{g:.3f}"]
        for d, u, p, g in zip(river["down"], river["mean"], river["power"], river["log"], strict=True)
    ]
    off = [float(np.max(np.abs(np.array(river[k]) / river["mean"] - 1))) for k in ("power", "log")]
    return (
        "Long-Legged River, 15 verticals with speeds at 0.2 and 0.8 of the depth: one exponent "
        f"m = {two['fitted_m']:.2f} (median ratio) meets the speed at 0.2 within {two['fitted_rms_02']:.1%} and at "
        f"0.8 within {two['fitted_rms_08']:.1%} (root mean square); m = 7 misses by {two['seventh_rms_02']:.1%} and "
        f"{two['seventh_rms_08']:.1%}. A rocky river is no 1/7 power.\n\n"
        f"Tanana River at Nenana, ensembles over 5 m deep, mean by tenth of the depth; power law m = {river['m']:.2f} "
        f"(worst tenth {off[0]:.1%}), log law u* = {river['shear']:.3f} m/s, ks/h = {river['ks_share']:.3f} (worst "
        f"{off[1]:.1%}). The greatest speed lies below the surface there, which neither law has.\n\n"
        + table(["depth fraction", "measured [m/s]", "power law", "log law"], lines)
    )


def world_part() -> str:
    """The invented run: what was put in and what came out."""
    parts = []
    world = World(days=((FULL, 200), (0.6 * FULL, 160), (1.7 * FULL, 160)))
    run, river = world.river()
    flow = survey_run(run, river, world.series())
    lines = []
    for part in (0.4, 0.6, 1.0, 1.5):
        q, level = part * FULL, level_at(part * FULL)
        area, _, _ = truth(level)
        state = flow.at(q, float(gauge_stage(q)))
        lines.append(
            [f"{q:.1f}", f"{level:+.2f}", f"{state.level_m + level_at(FULL):+.2f}", f"{state.level_parallel_m:+.2f}",
             f"{q / area:.2f}", f"{state.velocity_used_m_s:.2f}",
             f"{state.velocity_low_m_s:.2f} to {state.velocity_high_m_s:.2f}"]
        )  # fmt: skip
    parts.append(
        table(
            [
                "Q [m³/s]",
                "true level [m]",
                "found",
                "if it rose as the gauge",
                "true mean current [m/s]",
                "found",
                "10 to 90 %",
            ],
            lines,
        )
    )
    random = np.random.default_rng(1)
    s, n = random.uniform(5, LENGTH - 5, 500), random.uniform(-HALF + 3, HALF - 3, 500)
    local = flow.local(flow.at(FULL, float(gauge_stage(FULL))), *world.place(s, n))
    miss = local["depth_m"] + bed_level(s, n)
    fit = flow.fit
    parts.append(
        f"n put in {N:.3f}; found from the constant and the map's slope {flow.n_calibrated:.4f}; after weighing with "
        f"its class (winding_pools, usual 0.040) {fit.n:.3f} ({fit.n_low:.3f} to {fit.n_high:.3f}). Drift of ln K with "
        f"ln Q {fit.drift:+.3f} ± {fit.drift_sd:.3f} (put in 0). Bed at 500 places: rms "
        f"{np.sqrt(np.mean(miss**2)):.3f} m "
        f"(soundings carry 0.03 m of noise), stated block error {flow.bed.error.rmse:.3f} m."
    )
    parts.append("Residuals of the survey days, as the program shows them:\n\n" + table(
        ["day", "soundings", "Q [m³/s]", "level seen [m]", "± [m]", "by the relation", "residual"],
        [[d.seen.day, str(d.seen.soundings), f"{d.seen.discharge:.1f}", f"{d.seen.level:+.3f}",
          f"{d.seen.level_sd:.3f}", f"{d.fitted:+.3f}", f"{d.residual:+.3f}"] for d in fit.days],
    ))  # fmt: skip
    alone = survey_run(replace(run, banks="none"), river, world.series())
    true = [
        (level_at(q) - level_at(FULL)) / float(gauge_stage(q) - gauge_stage(FULL)) for q in (0.6 * FULL, 1.7 * FULL)
    ]
    parts.append(
        "The same soundings without banks or flow share, where no discharge can be used: the run is found to rise "
        f"{alone.rise_ratio:.2f} ± {alone.rise_ratio_sd:.2f} times as much as the gauge (true: {true[0]:.2f} on the "
        f"fall, {true[1]:.2f} on the rise)."
    )
    doubt = flow.doubt.as_dict()
    parts.append(
        "Parts of a sounding's uncertainty there, root mean square [m]:\n\n"
        + table(list(doubt), [[f"{value:.3f}" for value in doubt.values()]])
    )
    return "\n\n".join(parts)


def main() -> None:
    """Write the page."""
    bench = Path(sys.argv[1]).read_text(encoding="utf-8").strip() if len(sys.argv) > 1 else ""
    bed = measured.lujan_errors()
    reaches = [
        [name, f"{low:.2f}" if math.isclose(low, high) else f"{low:.2f} to {high:.2f}", f"{a:.2f} to {b:.2f}"]
        for name, low, high, a, b in measured.barnes()
    ]
    text = f"""# Bed and current: how good the figures are

Written by `tests/flow/write_report.py` from the open data in `data/channels/` and an invented run whose truth is known.
`tests/flow/` and `tests/published/hydraulics.csv` hold the same figures. Depth and current are estimates for a reach,
not for the place where a foot goes; what is seen at the water decides.

## Current across a section, from depths and total discharge alone

Unit discharge is shared by h^(5/3). Nothing is fitted. "Spread of ln" is the flow-weighted root mean square of
ln(measured / predicted); the program states 0.18 for it. "With one speed" is the same when every vertical gets Q/A.

{gauging_part()}

Recomputed by the mid-section method both gaugings give their published totals (rows `verde-*`, `long-legged-*`).

## Current from bed to surface

{profile_part()}

## Bed between soundings

Lujan reach, 170 points over 1.05 km, spread of the bed {bed["spread"]:.2f} m, (s/10, n) and the linear kernel:

{
        table(
            ["left out", "rms miss [m]", "aim [m]"],
            [
                ["a block of ten along the channel", f"{bed['gap']:.3f}", "0.46"],
                [
                    "all but 60 random points, forty repeats",
                    f"{bed['sixty']:.3f} (sd of the repeats {bed['sixty_sd']:.3f})",
                    "0.38",
                ],
            ],
        )
    }

Where the blocks are cut matters more than the method: eight blocks in place of ten give {bed["gap_of_eight"]:.2f} m on
the same points.

## Manning against verified reaches

Averages over several sections of a reach, so that 15 % is what such a comparison can show:

{table(["reach", "Manning [m/s]", "measured [m/s]"], reaches)}

## An invented run, found again

160 m long, 50 m wide, sounded on three days; its gauge stands where the river rises more than in the run.

{world_part()}

## What you can tell about a run

Besides slope, bed and banks, the properties of a run in `runs.geojson` may hold:

| property | what it does |
| --- | --- |
| a hole in the polygon | an island: its ring is the water's edge whatever `banks` says, for a hole can be drawn around nothing but dry ground; inside it the ground rises 1 in 5 |
| `bank_bed` | a bed class for shelves beside the channel; sections are divided there and each part conveys by its own n |
| `gauge_km` | how far below its gauge the run lies along the river (negative above it): the lag follows from its current where `lag_min` is not given |
| `flow_bearing_deg` | which way it flows, in degrees from north, where no flowline is drawn |
| `control: "downstream"` | a riffle or weir below holds the water: the level follows Q = c (L - e)^p, not friction |
| `control_depth_m` | depth of the water over that riffle on the day of the reference survey; then one survey is enough |
| `levels` | levels read on a mark of your own, `[{{"level_m": 0.42, "taken_at": "2026-05-01T10:00-05:00"}}]`; `stage_m` or `discharge_m3s` may stand in place of the time; only differences count |

Two surveys over the same ground need none of this: where the level moved otherwise than friction would have it, by more
than 0.08 m and 2.5 standard deviations, the control's relation is taken and said aloud. A column `position_sd_m` in
`soundings.csv` says how sure each position is.

## Time

On two shared cores, lines of `tests/bench/bench_bed.py --million` as printed; cross-validation on at most 5,000 points.

```
{bench}
```
"""
    path = measured.ROOT / "docs" / "bed-and-flow.md"
    path.write_text(text, encoding="utf-8")
    print(path.relative_to(measured.ROOT))


if __name__ == "__main__":
    main()
