"""One test runs every published check value: each row of `tests/published/*.csv` is a case."""

from __future__ import annotations

import csv
import importlib
import json
import math
from pathlib import Path

import pytest

HERE = Path(__file__).parent
COLUMNS = [
    "case",
    "function",
    "inputs",
    "result",
    "expected",
    "rtol",
    "atol",
    "tolerance_reason",
    "source",
    "place",
    "mark",
]
MARKS = ("source", "secondary", "common practice, no source", "from memory", "computed")


def _cases() -> list:
    cases = []
    for path in sorted(HERE.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as stream:
            reader = csv.DictReader(stream)
            assert reader.fieldnames == COLUMNS, f"{path.name}: columns must be {COLUMNS}, are {reader.fieldnames}"
            for row in reader:
                cases.append(pytest.param(path.name, row, id=f"{path.stem}-{row['case']}"))
    return cases


def _select(value: object, result: str) -> object:
    for name in filter(None, result.split(".")):
        if isinstance(value, dict):
            value = value[name]
        elif name.lstrip("-").isdigit():
            value = value[int(name)]  # type: ignore[index]
        else:
            value = getattr(value, name)
    return value


def _fits(got: object, expected: object, rtol: float, atol: float) -> bool:
    if isinstance(expected, dict):
        number = float(got)  # type: ignore[arg-type]
        return expected.get("min", -math.inf) <= number <= expected.get("max", math.inf)
    if isinstance(expected, list):
        values = list(got)  # type: ignore[call-overload]
        return len(values) == len(expected) and all(
            _fits(g, e, rtol, atol) for g, e in zip(values, expected, strict=True)
        )
    if isinstance(expected, bool | str) or expected is None:
        return got == expected
    return math.isclose(float(got), float(expected), rel_tol=rtol, abs_tol=atol)  # type: ignore[arg-type]


def _margin(got: object, expected: object) -> str:
    """What was got beside what is asked, and how far it lies from the nearest bound."""
    if not isinstance(expected, dict):
        return f"got {got!r}, expected {expected!r}"
    number = float(got)  # type: ignore[arg-type]
    room = min(abs(number - bound) for bound in expected.values())
    return f"got {number:.4g}, to lie within {expected}: {room:.3g} to spare"


@pytest.mark.parametrize(("file", "row"), _cases())
def test_published_value(file: str, row: dict) -> None:
    """The package gives the value that the named source prints."""
    assert row["mark"].split(":")[0] in MARKS, f"{file} {row['case']}: mark {row['mark']!r} is not one of {MARKS}"
    assert row["source"], f"{file} {row['case']}: no source"
    assert row["tolerance_reason"], f"{file} {row['case']}: a tolerance needs its reason"
    module, name = row["function"].split(":")
    function = getattr(importlib.import_module(module), name)
    got = _select(function(**json.loads(row["inputs"])), row["result"])
    expected = json.loads(row["expected"])
    rtol, atol = float(row["rtol"] or 0), float(row["atol"] or 0)
    print(f"{row['case']}: {_margin(got, expected)}")
    assert _fits(got, expected, rtol, atol), (
        f"{file} {row['case']}: got {got!r}, expected {expected!r} (rtol {rtol}, atol {atol}: "
        f"{row['tolerance_reason']}); source: {row['source']}, {row['place']} [{row['mark']}]"
    )
