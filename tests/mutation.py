"""Mutation check: change one operator, number or comparison at a time and see whether a test of the module fails.

    python -m tests.mutation [--each COUNT] [MODULE...]

A seeded sample of so many changes (30) per module. The mutated code takes the place of the functions' and methods' own
within one process, so a mutant costs one run of its tests and no start of Python; what was kept in a cache of a
function is let go before each. A run that computes for ten times as long as the sound one counts as a failed test; a
stall of a busy machine does not. Survivors are printed with their line. Decorators, class bodies, defaults and module
constants are not mutated.

What numba compiles cannot be exchanged within a process, as machine code that runs takes no other; and a wrong size
handed to it ends the process. Each mutant of such modules (ALONE) stands in a copy of the package, and its tests run in
a process of their own that compiles it anew.

Mutmut 3.8 works here too; a mutant of it costs a start of the whole tests of a package, and many of its mutants are
changed words of keys. `docs/faults.md` says what was measured.
"""

from __future__ import annotations

import ast
import contextlib
import copy
import functools
import importlib
import io
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import types
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, settings

__all__ = ["ALONE", "TARGETS", "main", "mutants"]

ROOT = Path(__file__).parent.parent
_FORMULAS = ("tests/flow/test_estimates.py", "tests/flow/test_formulas.py")
_FLUME = ("tests/flow/test_flume.py", "tests/flow/test_flume_points.py")
_FLIES = ("tests/sink/test_fly_scaling.py", "tests/sink/test_tackle_physics.py")
_HELD = ("tests/caution/test_hold_and_turn.py",)
TARGETS: dict[str, tuple[str, ...]] = {
    "planner.flow.manning": (*_FORMULAS, "planner/flow/manning.py"),
    "planner.flow.weighing": (
        "tests/flow/test_estimates.py",
        "tests/flow/test_formulas.py",
        "planner/flow/weighing.py",
    ),
    "planner.flow.profile": (*_FORMULAS, "planner/flow/profile.py"),
    "planner.flow.roughness": (*_FORMULAS, "tests/flow/test_water.py", "planner/flow/roughness.py"),
    "planner.flow.days": ("tests/flow/test_days_by_hand.py", "tests/flow/test_days.py"),
    "planner.flow.survey": ("tests/flow/test_prism.py", "tests/flow/test_survey.py", "tests/flow/test_missing.py"),
    "planner.flow.level": (*_FLUME, "tests/flow/test_survey.py", "tests/flow/test_missing.py"),
    "planner.flow.slack": ("tests/flow/test_water_by_hand.py", "tests/flow/test_water.py", "planner/flow/slack.py"),
    "planner.flow.relation": ("tests/flow/test_relations.py", "tests/flow/test_days.py", "planner/flow/relation.py"),
    "planner.flow.runflow": (*_FLUME, "tests/flow/test_survey.py", "tests/flow/test_missing.py"),
    "planner.flow.reduction": ("tests/flow/test_reduction.py", "tests/flow/test_survey.py"),
    "planner.flow.control": ("tests/flow/test_controls.py", "tests/flow/test_days.py"),
    "planner.flow.solve": (
        "tests/flow/test_solve.py",
        "tests/flow/test_prism.py",
        "tests/flow/test_survey.py",
        "tests/flow/test_days.py",
    ),
    "planner.flow.drawing": ("tests/flow/test_drawing_by_hand.py", "tests/flow/test_drawing.py"),
    "planner.flow.drawing_parts": ("tests/flow/test_sheet.py", "planner/flow/drawing_parts.py"),
    "planner.flow.roughness_help": ("tests/flow/test_roughness_help.py", "tests/flow/test_water.py"),
    "planner.flow.survey_words": ("tests/flow/test_survey_words.py", "tests/flow/test_drawing.py"),
    "planner.flow.division": ("tests/flow/test_relations.py", "tests/flow/test_days.py"),
    "planner.flow.field": (*_FLUME, "tests/flow/test_survey.py", "tests/flow/test_water.py", "tests/flow/test_days.py"),
    "planner.flow.doubt": ("tests/flow/test_relations.py", "tests/flow/test_days.py"),
    "planner.flow.state": ("tests/flow/test_relations.py", "tests/flow/test_survey.py"),
    "planner.sink.drag": ("tests/sink/test_line.py", "tests/sink/test_tackle_physics.py", "planner/sink/drag.py"),
    "planner.sink.fly": (
        "tests/sink/test_fly_scaling.py",
        "tests/sink/test_tackle_physics.py",
        "tests/sink/test_line.py",
        "planner/sink/fly.py",
    ),
    "planner.sink.heads": ("tests/sink/test_tackle_physics.py", "planner/sink/heads.py"),
    "planner.sink.weights": (*_FLIES, "planner/sink/weights.py"),
    "planner.sink.line": ("tests/sink/test_line.py", "tests/sink/test_tackle_physics.py"),
    "planner.sink.bucket": ("tests/sink/test_calibrate.py", "planner/sink/bucket.py"),
    "planner.sink.calibrate": ("tests/sink/test_calibrate.py", "planner/sink/calibrate.py"),
    "planner.sink.records": ("tests/sink/test_records.py", "tests/sink/test_swim.py", "planner/sink/records.py"),
    "planner.sink.bedgrid": ("tests/sink/test_bed_and_current.py", "planner/sink/bedgrid.py"),
    "planner.sink.many": ("tests/sink/test_bed_and_current.py", "planner/sink/many.py"),
    "planner.sink.reach": ("tests/sink/test_reach.py", "planner/sink/reach.py"),
    "planner.sink.report": ("tests/sink/test_report.py",),
    "planner.sink.sideview": ("tests/sink/test_sideview.py",),
    "planner.sink.compiled": ("tests/sink/test_compiled.py", "planner/sink/compiled.py"),
    "planner.sink.constants": ("tests/sink/test_standards.py", "planner/sink/constants.py"),
    "planner.sink.standards": ("tests/sink/test_standards.py", "planner/sink/standards.py"),
    "planner.caution.keep": ("tests/caution/test_keep.py",),
    "planner.caution.turning": ("tests/caution/test_hold_and_turn.py", "planner/caution/turning.py"),
    "planner.caution.rules": ("tests/caution/test_rules.py", "tests/caution/test_rule_rows.py", *_HELD),
    "planner.caution.assess": ("tests/caution/test_rules.py", "tests/caution/test_assessing.py", *_HELD),
    "planner.caution.inputs": (
        "tests/caution/test_rules.py",
        "tests/caution/test_rule_rows.py",
        "tests/caution/test_assessing.py",
        "tests/caution/test_gather.py",
        "planner/caution/inputs.py",
    ),
    "planner.caution.hourly": ("tests/caution/test_hourly.py",),
    "planner.caution.gather": ("tests/caution/test_gather.py", "tests/caution/test_hourly.py"),
    "planner.caution.past": ("tests/caution/test_past.py", "planner/caution/past.py"),
    "planner.caution.local": ("tests/caution/test_local.py",),
    "planner.caution.records": ("tests/caution/test_records_and_words.py", "planner/caution/records.py"),
    "planner.caution.wording": ("tests/caution/test_records_and_words.py", "planner/caution/wording.py"),
}
_SWIMS = (
    *("tests/sink/test_turned.py", "tests/sink/test_forces.py", "tests/sink/test_nodes.py"),
    *("tests/sink/test_bed_and_current.py", "tests/sink/test_closed_forms.py", "tests/sink/test_swim.py"),
    *("tests/sink/test_batch.py", "tests/sink/test_moordyn.py", "tests/sink/test_tackle_physics.py"),
    "tests/sink/test_swim_command.py",
)
# A mutant of these costs a process of its own.
ALONE: dict[str, tuple[str, ...]] = {
    "planner.sink.solver": _SWIMS,
    "planner.sink.nodes": ("tests/sink/test_nodes.py", *_SWIMS),
    "planner.sink.course": ("tests/sink/test_course.py", "tests/sink/test_swim.py", *_SWIMS),
    "planner.sink.batch": (
        "tests/sink/test_swim_bounds.py",
        "tests/sink/test_batch.py",
        "tests/sink/test_swim.py",
        "tests/sink/test_bed_and_current.py",
    ),
    "planner.sink.swim": (
        "tests/sink/test_swim_bounds.py",
        "tests/sink/test_swim.py",
        "tests/sink/test_batch.py",
        "tests/sink/test_bed_and_current.py",
    ),
}
# What a mutant that the quick tests let live is tried on: the check values from print.
WIDER: dict[str, tuple[str, ...]] = {
    "flow": ("tests/published/test_published.py", "-k", "hydraulics"),
    "sink": ("tests/published/test_published.py", "-k", "line"),
    "caution": ("tests/published/test_published.py", "-k", "safety"),
}
_COMPARE = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
_BINARY = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult}


def mutants(tree: ast.Module) -> Iterator[tuple[str, int, ast.Module]]:
    """Each change with its words and line, as a whole tree."""
    places = {
        id(node): node
        for function in ast.walk(tree)
        if isinstance(function, ast.FunctionDef)
        for statement in function.body
        if not (isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant))
        for node in ast.walk(statement)
        if isinstance(node, ast.Compare | ast.BinOp | ast.BoolOp | ast.Constant | ast.UnaryOp)
    }
    for node in places.values():
        kept = copy.copy(node.__dict__)
        words = ""
        if isinstance(node, ast.Compare) and type(node.ops[0]) in _COMPARE:
            new = _COMPARE[type(node.ops[0])]
            words = f"{type(node.ops[0]).__name__} to {new.__name__}"
            node.ops = [new(), *node.ops[1:]]
        elif isinstance(node, ast.BinOp) and type(node.op) in _BINARY:
            new_op = _BINARY[type(node.op)]
            words = f"{type(node.op).__name__} to {new_op.__name__}"
            node.op = new_op()
        elif isinstance(node, ast.BoolOp):
            words = "and to or" if isinstance(node.op, ast.And) else "or to and"
            node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            words = "not to is true"
            node.operand = ast.UnaryOp(ast.Not(), node.operand)
        elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
            words = f"{node.value} to {node.value + 1}"
            node.value = node.value + 1
        if words:
            yield words, node.lineno, ast.fix_missing_locations(copy.deepcopy(tree))
        node.__dict__.clear()
        node.__dict__.update(kept)


def _functions(space: dict[str, object], module: str) -> dict[str, types.FunctionType]:
    """The functions and methods written in a module, by dotted name; those behind a cache too."""
    found: dict[str, types.FunctionType] = {}
    for name, value in space.items():
        if getattr(value, "__module__", "") != module:
            continue
        members = vars(value).items() if isinstance(value, type) else [("", value)]
        for member, held in members:
            bare = held.fget if isinstance(held, property) else getattr(held, "__func__", held)
            bare = getattr(bare, "__wrapped__", bare)
            if isinstance(bare, types.FunctionType) and bare.__module__ == module:
                found[f"{name}.{member}"] = bare
    return found


def _let_go() -> None:
    """Empty each cache of a function, so that no answer of another mutant is taken for this one's."""
    for name, module in [*sys.modules.items()]:
        if name.startswith(("planner", "tests")):
            for value in [*vars(module).values()]:
                if isinstance(value, functools._lru_cache_wrapper):
                    value.cache_clear()


def _hang(signum: int, frame: object) -> None:
    raise KeyboardInterrupt  # pytest ends its run at once, and no property is tried again


def _passes(tests: tuple[str, ...], most: float) -> bool:
    """Whether the tests pass within so many seconds of computing."""
    _let_go()
    signal.signal(signal.SIGPROF, _hang)
    signal.setitimer(signal.ITIMER_PROF, most)
    try:
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            words = ["-x", "-q", "--no-header", "--tb=no", "-p", "no:cacheprovider", "-p", "no:randomly"]
            words += ["-W", "ignore::pytest.PytestAssertRewriteWarning"]  # hypothesis is known already
            return pytest.main([*words, "--hypothesis-profile=mutation", *tests]) == 0
    except KeyboardInterrupt:
        return False
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)


def _check(name: str, tests: tuple[str, ...], most: int) -> None:
    """Try a sample of the mutants of one module and print its score and survivors."""
    module = importlib.import_module(name)
    path = Path(str(module.__file__))
    own = _functions(vars(module), name)
    codes = {key: function.__code__ for key, function in own.items()}
    every = [*mutants(ast.parse(path.read_text(encoding="utf-8")))]
    random.Random(1).shuffle(every)
    began, computed = time.monotonic(), time.process_time()
    if not (_passes(tests, 600.0) and _passes(tests, 600.0)):
        print(f"{name}: its tests fail without any change", flush=True)
        return
    limit = 10 + 5 * (time.process_time() - computed)
    killed, survived = 0, []
    for words, line, tree in every[:most]:
        space = dict(vars(module))
        try:
            exec(compile(tree, str(path), "exec"), space)
        except Exception:
            killed += 1
            continue
        for key, function in _functions(space, name).items():
            if key in own and len(function.__code__.co_freevars) == len(own[key].__code__.co_freevars):
                own[key].__code__ = function.__code__
        if _passes(tests, limit) and _passes(WIDER[name.split(".")[1]], limit + 60):
            survived.append(f"  line {line}: {words}")
        else:
            killed += 1
        for key, code in codes.items():
            own[key].__code__ = code
    _say(name, killed + len(survived), survived, len(every), began)


@contextlib.contextmanager
def _copy_of_the_house() -> Iterator[Path]:
    """A folder with a copy of the package that may be changed, and everything beside it as it stands."""
    with tempfile.TemporaryDirectory() as name:
        for item in ROOT.iterdir():
            if item.name != "planner" and not item.name.startswith("."):
                (Path(name) / item.name).symlink_to(item)
        shutil.copytree(ROOT / "planner", Path(name) / "planner", ignore=shutil.ignore_patterns("__pycache__"))
        yield Path(name)


def _passes_alone(house: Path, tests: tuple[str, ...], most: int) -> bool:
    """Whether the tests pass in a process of their own within so many seconds of computing.

    What is compiled is compiled anew where its sources changed, see `planner.sink.compiled`.
    """
    own = {"PYTHONPATH": str(house), "NUMBA_CACHE_DIR": str(house / "machine_code"), "CI": "true"}
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "-p", "no:randomly", *tests],
        cwd=house, env=os.environ | own, check=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_CPU, (most, most)),
    )  # fmt: skip
    return done.returncode == 0


def _check_alone(name: str, tests: tuple[str, ...], most: int) -> None:
    """As `_check`, with a process for each mutant."""
    path = ROOT / Path(*name.split(".")).with_suffix(".py")
    # as text: the trees of a long module fill the memory
    every = [(words, line, ast.unparse(tree)) for words, line, tree in mutants(ast.parse(path.read_text("utf-8")))]
    random.Random(1).shuffle(every)
    began, wider = time.monotonic(), WIDER[name.split(".")[1]]
    survived = []
    with _copy_of_the_house() as house:
        if not _passes_alone(house, tests, 600):
            print(f"{name}: its tests fail without any change", flush=True)
            return
        limit = 60 + 5 * round(resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime)
        for words, line, text in every[:most]:
            (house / path.relative_to(ROOT)).write_text(text, encoding="utf-8")
            if _passes_alone(house, tests, limit) and _passes_alone(house, wider, limit + 60):
                survived.append(f"  line {line}: {words}")
    _say(name, min(most, len(every)), survived, len(every), began)


def _say(name: str, tried: int, survived: list[str], possible: int, began: float) -> None:
    """Print the score of a module and what lived."""
    seconds = time.monotonic() - began
    print(f"{name}: {tried - len(survived)} of {tried} killed, {possible} possible, {seconds:.0f} s", flush=True)
    if survived:
        print("\n".join(sorted(survived)), flush=True)


def main() -> None:
    """Check each module named, or all."""
    words = sys.argv[1:]
    most = 30
    if words[:1] == ["--each"]:
        most, words = int(words[1]), words[2:]
    settings.register_profile(
        "mutation",
        deadline=None,
        suppress_health_check=[HealthCheck.too_slow],
        derandomize=True,
        database=None,
        phases=[Phase.explicit, Phase.generate],
    )
    for name in words or [*TARGETS, *ALONE]:
        if name in ALONE:
            _check_alone(name, ALONE[name], most)
        else:
            _check(name, TARGETS[name], most)


if __name__ == "__main__":
    main()
