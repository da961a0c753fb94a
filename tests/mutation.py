"""Mutation check of small modules: change one operator, number or comparison at a time and see whether a test fails.

    python -m tests.mutation [SECONDS]

The mutated code takes the place of the functions' own within one process, so a mutant costs one run of its tests and no
start of Python. Survivors are printed with their line. Decorators, class bodies and module constants are not
mutated.
"""

from __future__ import annotations

import ast
import contextlib
import copy
import importlib
import io
import random
import sys
import time
import types
from collections.abc import Iterator
from pathlib import Path

import pytest

__all__ = ["TARGETS", "main", "mutants"]

ROOT = Path(__file__).parent.parent
TARGETS: dict[str, tuple[str, ...]] = {
    "planner.flow.manning": ("tests/flow/test_formulas.py",),
    "planner.flow.weighing": ("tests/flow/test_formulas.py", "tests/flow/test_missing.py"),
    "planner.sink.closed": ("tests/sink/test_line.py", "planner/sink/closed.py"),
    "planner.caution.turning": ("tests/caution/test_hold_and_turn.py", "planner/caution/turning.py"),
    "planner.caution.keep": ("tests/caution/test_hold_and_turn.py",),
}
_COMPARE = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
_BINARY = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult}


def mutants(tree: ast.Module) -> Iterator[tuple[str, int, ast.Module]]:
    """Each change with its words and line, as a whole tree."""
    places = [
        (i, node)
        for function in ast.walk(tree)
        if isinstance(function, ast.FunctionDef)
        for statement in function.body
        if not (isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant))
        for i, node in enumerate(ast.walk(statement))
        if isinstance(node, ast.Compare | ast.BinOp | ast.BoolOp | ast.Constant | ast.UnaryOp)
    ]
    for _, node in places:
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
    return {
        name: value
        for name, value in space.items()
        if isinstance(value, types.FunctionType) and value.__module__ == module
    }


def _passes(tests: tuple[str, ...]) -> bool:
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        return pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-p", "no:randomly", *tests]) == 0


def main() -> None:
    """Check each module for at most so many seconds and print its score."""
    limit = float(sys.argv[1]) if sys.argv[1:] else 600.0
    for name, tests in TARGETS.items():
        module = importlib.import_module(name)
        path = Path(str(module.__file__))
        own = _functions(vars(module), name)
        codes = {key: function.__code__ for key, function in own.items()}
        every = [*mutants(ast.parse(path.read_text(encoding="utf-8")))]
        random.Random(1).shuffle(every)
        if not _passes(tests):
            print(f"{name}: its tests fail without any change")
            continue
        began, killed, survived = time.monotonic(), 0, []
        for words, line, tree in every:
            if time.monotonic() - began > limit:
                break
            space = dict(vars(module))
            try:
                exec(compile(tree, str(path), "exec"), space)
            except Exception:
                killed += 1
                continue
            changed = {k: f for k, f in _functions(space, name).items() if k in own}
            for key, function in changed.items():
                if len(function.__code__.co_freevars) == len(own[key].__code__.co_freevars):
                    own[key].__code__ = function.__code__
            if _passes(tests):
                survived.append(f"  line {line}: {words}")
            else:
                killed += 1
            for key, code in codes.items():
                own[key].__code__ = code
        done = killed + len(survived)
        print(f"{name}: {killed} of {done} mutants killed ({len(every)} possible)", flush=True)
        print("\n".join(sorted(survived)), flush=True)


if __name__ == "__main__":
    main()
