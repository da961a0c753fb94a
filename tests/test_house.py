"""The rules of the house that a machine can hold."""

from __future__ import annotations

import ast
import csv
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
MODULES = sorted(path for path in (ROOT / "planner").rglob("*.py"))
TABLES = sorted((ROOT / "planner" / "tables").glob("*.csv"))
KEY = re.compile(r"\[((?:[A-Z][A-Za-z]+)+(?:1[89]|20)\d\d[a-z]?)\]")
FORBIDDEN = re.compile(
    r"\b(all clear|good to go|low risk|wadeable|safe to|is safe|are safe|perfectly safe|no danger)\b", re.IGNORECASE
)
HEAVY = ("numpy", "scipy", "pandas", "geopandas", "shapely", "folium", "numba", "pint", "requests", "astral", "tomlkit")


def _named(path: Path) -> str:
    return str(path.relative_to(ROOT))


def _references() -> dict[str, dict[str, str]]:
    with (ROOT / "planner" / "tables" / "references.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    keys = [row["key"] for row in rows]
    assert len(keys) == len(set(keys)), "a key stands twice in references.csv"
    return {row["key"]: row for row in rows}


def _cited() -> dict[str, set[str]]:
    cited: dict[str, set[str]] = {}
    for path in [*MODULES, *TABLES]:
        if path.name == "references.csv":
            continue
        for key in KEY.findall(path.read_text(encoding="utf-8")):
            cited.setdefault(key, set()).add(_named(path))
    return cited


def test_each_cited_key_is_in_the_reference_list() -> None:
    """A citation such as [Chow1959] leads to a full reference."""
    known = _references()
    lost = {key: sorted(places) for key, places in _cited().items() if key not in known}
    assert not lost


def test_each_reference_is_cited() -> None:
    """No reference stands in the list unused: code cites it in brackets, a table names it as source."""
    texts = "\n".join(path.read_text(encoding="utf-8") for path in [*MODULES, *TABLES] if path.name != "references.csv")
    assert not [key for key in _references() if not re.search(rf"\b{re.escape(key)}\b", texts)]


@pytest.mark.parametrize("path", TABLES, ids=lambda path: path.stem)
def test_each_table_row_names_its_source_and_mark(path: Path) -> None:
    """Every reference number says where it comes from and how far it is to be trusted."""
    if path.name == "references.csv":
        pytest.skip("this is the list of sources itself")
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(line for line in stream if line.strip() and not line.startswith("#")))
    assert rows
    for number, row in enumerate(rows, start=2):
        assert None not in row, f"{path.name}:{number} has more cells than columns"
        assert row.get("mark"), f"{path.name}:{number} has no mark"
        unsourced = row["mark"].startswith(("design choice", "common practice", "from memory"))
        assert row.get("source") or unsourced, f"{path.name}:{number} names no source"


@pytest.mark.parametrize("path", MODULES, ids=_named)
def test_each_module_says_what_it_gives(path: Path) -> None:
    """Every module has a docstring and an `__all__` whose names it has."""
    if path.name == "__main__.py":
        pytest.skip("the command has no names to give")
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree), "no module docstring"
    given = None
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and any(isinstance(t, ast.Name) and t.id == "__all__" for t in node.targets):
            given = ast.literal_eval(node.value)
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.Assign):
            names.update(part.id for target in node.targets for part in ast.walk(target) if isinstance(part, ast.Name))
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            names.add(node.target.id)
        elif isinstance(node, ast.ImportFrom | ast.Import):
            names.update((alias.asname or alias.name).split(".")[0] for alias in node.names)
    assert given is not None, "no __all__"
    lazily = "__getattr__" in names
    assert lazily or not set(given) - names


@pytest.mark.parametrize("path", [path for path in MODULES if path.name != "units.py"], ids=_named)
def test_no_module_repeats_a_conversion_factor(path: Path) -> None:
    """Foot, inch, grain and cubic foot stand in `planner.units` alone; a factor typed anew can be typed wrong."""
    exact = (0.3048, 0.0254, 25.4, 64.79891, 6.479891e-05, 6.479891, 0.028316846592)
    numbers = {node.value for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
               if isinstance(node, ast.Constant) and isinstance(node.value, float)}  # fmt: skip
    assert not numbers & set(exact)


def _texts() -> list[Path]:
    found = [*MODULES, *TABLES, ROOT / "README.md", ROOT / "DEVELOPERS.md"]
    found += [path for path in (ROOT / "planner").rglob("*") if path.suffix in (".js", ".css", ".html")]
    return found


@pytest.mark.parametrize("path", _texts(), ids=_named)
def test_no_text_of_ours_declares_water_fit(path: Path) -> None:
    """No forbidden word stands in code, tables or documents."""
    found = FORBIDDEN.findall(path.read_text(encoding="utf-8"))
    assert not found


def test_help_imports_nothing_heavy() -> None:
    """`plumbrun --help` stays quick because no heavy package is imported for it."""
    code = f"import sys, planner.cli; print([name for name in {HEAVY!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_no_machine_path_or_address_is_in_the_package() -> None:
    """Nothing in the package depends on the machine it was written on."""
    for path in MODULES:
        text = path.read_text(encoding="utf-8")
        assert "/work/" not in text
        assert "/root/" not in text
        assert "/tmp/" not in text
