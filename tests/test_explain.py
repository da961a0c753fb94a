"""`plumbrun why`: the chain of one spot can be followed with a calculator, and says what the plan says."""

import itertools
import math
import re
from pathlib import Path

import pytest

from planner.errors import UsageMistake
from planner.evening import plan_folder
from planner.explain import why_report, why_text

DEMO = Path(__file__).parent.parent / "examples" / "demo"
NOW = "2026-06-12T18:00-05:00"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The chain of one spot and the plan it belongs to, from one swim store."""
    plan = plan_folder(DEMO, now=NOW, out=tmp_path_factory.mktemp("plan"))
    return why_report(DEMO, "pool-ledge", now=NOW), plan.plan


def _row(report, name):
    return next(row for step in report["chain"] for row in step["rows"] if row["name"] == name)


def _value(report, name):
    return _row(report, name)["value"]


def test_the_chain_ends_in_the_plans_own_answer(made):
    """Line, window and chances are those of plan.json."""
    report, plan = made
    best = next(spot for spot in plan["spots"] if spot["id"] == "pool-ledge")["best"]
    assert _value(report, "count from") == best["countdown_from_s"]
    assert _value(report, "count to") == best["countdown_to_s"]
    assert _value(report, "hang chance") == pytest.approx(best["hang_chance"], abs=1e-4)
    assert _value(report, "time in the hold band") == pytest.approx(best["band_time_s"], abs=1e-3)


def test_a_calculator_arrives_at_each_number(made):
    """Each formula with the printed numbers gives the printed result."""
    report, _ = made
    v = lambda name: _value(report, name)  # noqa: E731
    assert v("discharge at the gauge Qg") * v("area ratio r") * v("share of the flow s") == pytest.approx(
        v("discharge in the run Q")
    )
    assert v("K = √S / n") * v("A R^⅔ at L") == pytest.approx(v("discharge in the run Q"), rel=0.01)
    assert v("discharge in the run Q") / v("area A") == pytest.approx(v("current taken V"), rel=1e-6)
    assert v("level of the run L") - v("bed at the landing z") == pytest.approx(v("depth there h"))
    assert v("current there v") * (1 + 1 / v("exponent of the profile m")) == pytest.approx(
        v("current at the surface u0")
    )
    h, v_run = v("depth there h"), v("current taken V")
    assert v_run * v("area A") / v("sum of h^(5/3) across I") * h ** (2 / 3) == pytest.approx(v("current there v"))
    m = 0.41 * h ** (1 / 6) / (v("n that the sounding day shows") * math.sqrt(9.80665))
    assert min(max(m, 3.5), 7.0) == pytest.approx(v("exponent of the profile m"))
    depth_sd = (_row(report, "depth there h")["high"] - h) / 1.2815515655446004
    spread = math.sqrt(v("doubt of V") ** 2 + v("doubt of the sharing") ** 2 + (2 / 3 * depth_sd / h) ** 2)
    there = _row(report, "current there v")
    assert there["high"] == pytest.approx(there["value"] * math.exp(1.2815515655446004 * spread))
    rho, g = 1000.0, 9.81
    w = (v("density ρl") - rho) * g * math.pi * v("diameter d") ** 2 / 4
    assert v("weight in water w") == pytest.approx(w, rel=2e-3)
    assert v("bed under the retrieve") - v("fly's depth") == pytest.approx(v("height above the bed"))
    parts = [
        row["value"] for step in report["chain"] for row in step["rows"]
        if row["name"].startswith("doubt from")
    ]  # fmt: skip
    assert math.sqrt(sum(part**2 for part in parts)) == pytest.approx(v("doubt of the height"))
    assert len(parts) >= 6


def test_the_window_can_be_read_off_the_seconds(made):
    """Each second of the window meets the limit and gives nine tenths of the best."""
    report, _ = made
    rows = {row["count_s"]: row for row in report["chain"][-1]["seconds"]}
    first, last = int(_value(report, "count from")), int(_value(report, "count to"))
    best = _value(report, "time in the hold band")
    for second in range(first, last + 1):
        assert rows[second]["hang_chance"] <= 0.10 + 1e-9
        assert rows[second]["band_time_s"] >= 0.9 * best - 1e-9


def test_every_number_has_a_unit_and_an_origin(made):
    """No bare number in the chain."""
    report, _ = made
    for step in report["chain"]:
        for row in step["rows"]:
            assert row["unit"], row
            assert row["origin"], row


def test_an_origin_is_where_the_number_comes_from(made):
    """A value that the folder does not give is not said to stand in it; leader and time to the lift are told."""
    report, _ = made
    assert "usual" in _row(report, "hold band, low")["origin"]
    assert _row(report, "slope S")["origin"] == "runs.geojson"
    assert _row(report, "Manning's n")["origin"].startswith("bed class ")
    assert _row(report, "leader and tippet")["origin"] == "as the box holds it"
    assert 0 < _value(report, "time to the lift") <= _value(report, "time to the pick-up") + 1.5


def test_the_text_begins_with_the_cautions_and_shows_both_units(made):
    """Cautions first; feet beside metres for those who read feet."""
    report, _ = made
    text = why_text(report)
    assert text.startswith("THE DAY:")
    assert text.index("decide") < text.index("1. The gauge")
    assert " ft)" in text
    assert " ft)" not in why_text(report, "metric").split("9. The countdown")[0]


def test_the_sensitivity_stands_in_the_plan(made):
    """Shares add to one and the largest comes first, at each spot with an answer."""
    _, plan = made
    for spot in plan["spots"]:
        if spot["best"] is None:
            continue
        shares = [one["share"] for one in spot["sensitivity"]]
        assert sum(shares) == pytest.approx(1.0, abs=1e-3)
        assert shares == sorted(shares, reverse=True)


def test_a_level_of_ones_own_and_an_unknown_spot(made):
    """The level given is the one explained; a spot that is not there is refused by name."""
    report = why_report(DEMO, "slough-drop", now=NOW, level="7 ft", learning=False)
    assert _value(report, "stage taken") == pytest.approx(7 * 0.3048)
    assert report["learned"]["swims"] == 0
    with pytest.raises(UsageMistake, match="pool-ledge"):
        why_report(DEMO, "nowhere", now=NOW)


def test_what_the_docs_say_of_the_demos_ladder_holds(made):
    """docs/advice.md counts leaders, mends and changes along the ladder; a tie on another machine may move a few."""
    _, plan = made
    steps = [[row for row in step["spots"] if row["line"]] for step in plan["ladder"]]
    rows = [row for step in steps for row in step]
    pairs = [
        (one, other)
        for below, above in itertools.pairwise(steps)
        for one in below
        for other in above
        if one["id"] == other["id"]
    ]
    way = ("line", "fly", "leader_m", "countdown_mode", "strip_m_s")
    leaders, mends = (
        sum(row["leader_m"] is not None for row in rows),
        sum(r["countdown_mode"] == "mended" for r in rows),
    )
    rigs = sum((a["line"], a["fly"]) != (b["line"], b["fly"]) for a, b in pairs)
    ways = sum(any(a[name] != b[name] for name in way) for a, b in pairs)
    said = (Path(__file__).parent.parent / "docs" / "advice.md").read_text(encoding="utf-8").replace("\n", " ")
    told = [
        *re.search(
            r"Of the (\d+) answers on the demo’s ladder (\d+) have the longer leader and (\d+) are", said
        ).groups(),
        *re.search(r"at (\d+) and (\d+) now \((\d+) steps up\)", said).groups(),
    ]
    assert [int(word) for word in told] == pytest.approx([len(rows), leaders, mends, rigs, ways, len(pairs)], abs=4)
